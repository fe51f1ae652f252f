"""A single value as plain text."""

from typing import Any

import orjson

from loomwright.web.forms.paths import Path, PathError, value_at

NOTHING = "none"


def text_of_part(document: dict[str, Any], path: Path) -> bytes:
    """Return the value at a path as UTF-8 text in one line.

    Parameters
    ----------
    document
        The answer in plain JSON values.
    path
        Of a single value or a list of such.

    Returns
    -------
    bytes
        Text as it stands, a number as in JSON, ``true`` or ``false``, the entries of a list with a
        comma and a space between them; ``none`` for null and an empty list, so that a formula
        takes it neither for a number nor for an empty cell, which counts as 0.
    """
    value = value_at(document, path)
    entries = value if isinstance(value, list) else [value]
    return ", ".join(text_of_value(entry) for entry in entries).encode() or NOTHING.encode()


def text_of_value(value: Any) -> str:
    """Return one JSON value as text in one line.

    Parameters
    ----------
    value
        Neither list nor object.

    Returns
    -------
    str
        Without control characters.

    Raises
    ------
    PathError
        It is a list or an object after all.
    """
    if value is None:
        return NOTHING
    if isinstance(value, str):
        return in_one_line(value)
    if isinstance(value, (dict, list)):
        raise PathError("this is no single value; name one within it")
    return orjson.dumps(value).decode()


def in_one_line(text: str) -> str:
    """Return text with each run of spaces, line ends and control characters as one space."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
