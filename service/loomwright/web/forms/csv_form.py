"""Answers as CSV (RFC 4180), UTF-8 without byte-order mark.

Numbers stand bare; every text is quoted, so that a program that tells the two apart keeps the zeros
of a part number. No cell can become a formula: text that starts as one gets an apostrophe in front.
The rule can be undone: a text of a cell that starts with an apostrophe lost its first character to
nobody but this rule, as a text that has one of its own gets a second.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from marshmallow import Schema, fields

from loomwright.web.forms.paths import Path, leaves, members_of, node_at, path_of, value_at

# What starts a formula: the signs, also as full-width forms, which some programs take for the same.
# Tabs and line ends in front of them are control characters and become spaces first.
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_STARTS_FORMULA = re.compile(rf"[{_SIGNS}'\t\r\n]")
# A program of another country takes a semicolon for the end of a cell, even within the quotes of a
# cell that does not start with one; what follows must not start a formula either.
_FORMULA_BEHIND_SEPARATOR = re.compile(rf"([;|][\s\"]*)(?=[{_SIGNS}])")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ufeff]")

Cell = str | int | float | Decimal | bool | None


def csv_of_part(answer: type[Schema], document: dict[str, Any], path: Path) -> bytes:
    """Return the part of an answer at a path as a table.

    A list of objects, and columns of equal length such as ``candidates``, make a row of each entry
    under a row of names, which are those of the schema whatever the answer holds. A member of a
    member is named ``far_end_opening.state``, a list of texts stands in one cell, and lists of
    objects are left out, as they are tables of their own. Anything else makes a row of path and
    value for each single value.

    Parameters
    ----------
    answer
        Schema of the answer.
    document
        The answer in plain JSON values.
    path
        Empty for all of it.

    Returns
    -------
    bytes
        Lines that end in CR and LF, the first with the names of the columns.
    """
    part = value_at(document, path)
    entry = _entry_of_table(node_at(answer, path))
    if entry is None:
        rows = [(".".join(place), value) for place, value in leaves(part, path)]
        return csv_of_rows(("path", "value"), rows)
    names = tuple(_columns(entry))
    paths = [path_of(name) for name in names]
    table = ([_joined(value_at(row, place)) for place in paths] for row in _entries(part))
    return csv_of_rows(names, table)


def csv_of_rows(names: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """Return a table as CSV.

    Parameters
    ----------
    names
        Of the columns.
    rows
        Cells; None is an empty one.

    Returns
    -------
    bytes
        As the head of this module says.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue().encode()


def harmless(text: str) -> str:
    """Return the text of a cell that no program takes for a formula.

    Parameters
    ----------
    text
        Any.

    Returns
    -------
    str
        With spaces for control characters and, where it starts as a formula or with an apostrophe,
        an apostrophe in front.

    References
    ----------
    CWE-1236; the apostrophe is the common remedy, no source for the rest.
    """
    marked = "'" if _STARTS_FORMULA.match(text.lstrip(" \u00a0")) else ""
    return marked + _FORMULA_BEHIND_SEPARATOR.sub(r"\1'", _CONTROL.sub(" ", text))


def _cell(value: Cell) -> str | Decimal:
    """Return a cell as the CSV writer takes it: numbers bare, all else as text to be quoted."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return harmless(value)
    # By its digits, which are those of JSON.
    return value if isinstance(value, Decimal) else Decimal(repr(value))


def _entries(part: Any) -> Iterable[dict[str, Any]]:
    """Return the entries of a table as objects; there are none in null."""
    if isinstance(part, dict):
        return [dict(zip(part, row, strict=True)) for row in zip(*part.values(), strict=True)]
    return part or ()


def _entry_of_table(node: Any) -> dict[str, Any] | None:
    """Return the members of the entries of a table, or none where a node is no table."""
    if isinstance(node, fields.List):
        return members_of(node.inner) or None
    columns = members_of(node)
    if columns and all(isinstance(column, fields.List) for column in columns.values()):
        return {name: column.inner for name, column in columns.items()}
    return None


def _columns(members: Mapping[str, Any], above: str = "") -> Iterator[str]:
    """Yield the names of the columns; a member of a member has the names of both."""
    for name, node in members.items():
        if isinstance(node, fields.List):
            if not members_of(node.inner):
                yield above + name
        elif inner := members_of(node):
            yield from _columns(inner, f"{above}{name}.")
        else:
            yield above + name


def _joined(value: Any) -> Cell:
    """Return a list, or an object of free names, as the text of one cell."""
    if isinstance(value, list):
        return ", ".join(str(item) for item in value)
    if isinstance(value, dict):
        return ", ".join(f"{name} = {item}" for name, item in value.items())
    cell: Cell = value
    return cell
