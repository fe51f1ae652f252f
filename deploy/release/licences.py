"""The licence of each package that is served, as an SPDX expression that is allowed."""

import tomllib
from importlib.metadata import PackageMetadata, metadata
from pathlib import Path
from typing import Any

from boolean.boolean import ParseError
from license_expression import AND, OR, ExpressionError, LicenseExpression, get_spdx_licensing

TABLE = Path(__file__).with_name("licences.toml")
_SPDX = get_spdx_licensing()


class LicenceRefusedError(Exception):
    """The licence of a package is not known, or not allowed."""


def licence_table() -> dict[str, Any]:
    """Return what ``licences.toml`` holds."""
    return tomllib.loads(TABLE.read_text("utf-8"))


def stated_licence(found: PackageMetadata) -> str:
    """Return how the metadata of a package words its licence; empty if it does not.

    ``License-Expression`` goes first, then ``License``, if it is a name and no whole text, then the
    classifiers.
    """
    words = found.get("License-Expression") or found.get("License") or ""
    if words and "\n" not in words:
        return words
    named = (text for text in found.get_all("Classifier") or [] if text.startswith("License ::"))
    return " AND ".join(named)


def licence_of(package: str, table: dict[str, Any], found: PackageMetadata | None = None) -> str:
    """Return the licence of an installed package.

    Parameters
    ----------
    package
        Its name, normalised.
    table
        As ``licence_table`` returns it.
    found
        Its metadata, if they are not those of the installed package.

    Returns
    -------
    str
        A valid SPDX expression that ``table`` allows.

    Raises
    ------
    LicenceRefusedError
        If the licence is not known or not allowed, with what to do.
    """
    says = stated_licence(metadata(package) if found is None else found)
    read = table["read"].get(package)
    if is_valid(says):
        if read:
            raise LicenceRefusedError(
                f"{package} now states {says} itself: take its entry out of {TABLE.name}"
            )
        expression = says
    elif read and read["says"] == says:
        expression = read["expression"]
    else:
        raise LicenceRefusedError(
            f"{package} states its licence as {says!r}, which is no SPDX expression: read its "
            f"licence file, and say under [read.{package}] of {TABLE.name} what it is"
        )
    parsed = _SPDX.parse(expression, validate=True)
    if not is_allowed(parsed, frozenset(table["allowed"])):
        raise LicenceRefusedError(
            f"{package} is under {expression}: use another package, or find that the licence "
            f"agrees with ours and list it as allowed in {TABLE.name}"
        )
    return str(parsed.render())


def is_valid(text: str) -> bool:
    """Tell whether a text is an SPDX expression whose every name is known."""
    try:
        return _SPDX.parse(text, validate=True) is not None
    except (ExpressionError, ParseError):
        return False


def is_allowed(expression: LicenseExpression, allowed: frozenset[str]) -> bool:
    """Tell whether what an expression asks for is allowed: all of AND, one of OR."""
    if isinstance(expression, AND):
        return all(is_allowed(part, allowed) for part in expression.args)
    if isinstance(expression, OR):
        return any(is_allowed(part, allowed) for part in expression.args)
    return expression.render() in allowed
