"""Answers as CSV: which of their values stand in which rows and columns."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from marshmallow import Schema, fields

from loomwright.documents.csv_text import Cell, csv_of_rows
from loomwright.web.forms.paths import Path, leaves, members_of, node_at, path_of, value_at


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
