"""Read one CSV under its spec, failing loudly with every fault at once."""

import csv
import re
import tomllib
from collections.abc import Mapping, Sequence
from importlib.resources import files
from importlib.resources.abc import Traversable
from itertools import pairwise

from loomwright.tables.records import Provenance, Source
from loomwright.tables.specs import Column, Order, Row, TableSpec, grouped

PROVENANCE_COLUMNS = ("note", "checked", "source", "locator")
CHECKED_MARKS = frozenset({"page", "formula", "memory", "practice"})
KELVIN_AT_0_C = 273.15
# float() would also read "nan", "1_0", " 1" and the digits of other scripts.
NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2})?")


class TableError(ValueError):
    """A table breaks its spec; the message lists every fault."""


def package_folder() -> Traversable:
    """Return the folder of the tables inside the installed package."""
    return files("loomwright.tables")


def read_sources(folder: Traversable) -> dict[str, Source]:
    """Return the sources by key."""
    document = tomllib.loads((folder / "sources.toml").read_text("utf-8"))
    return {key: Source(key=key, **fields) for key, fields in document.items()}


def read_table(
    folder: Traversable, spec: TableSpec, sources: Mapping[str, Source]
) -> tuple[Row, ...]:
    """Return the rows of a table, numbers parsed.

    Parameters
    ----------
    folder
        Where the CSV lies.
    spec
        Columns, ranges, order and law.
    sources
        Known sources by key.

    Returns
    -------
    tuple of Row
        In the order of the file.

    Raises
    ------
    TableError
        With every fault: header, empty cell without note, number out of range, unknown source or
        mark, duplicate key, broken order, broken law.
    """
    text = (folder / spec.file).read_text("utf-8")
    reader = csv.DictReader(text.splitlines(), strict=True)
    header = tuple(reader.fieldnames or ())
    wanted = tuple(column.name for column in spec.columns) + PROVENANCE_COLUMNS
    if header != wanted:
        raise TableError(f"{spec.file}: header is {header}, expected {wanted}")
    raw = list(reader)
    faults: list[str] = []
    rows = [
        _row(line, cells, spec, sources, faults)
        for line, cells in enumerate(raw, 2)
        if _has_every_cell(line, cells, faults)
    ]
    if not rows:
        faults.append("no rows")
    if not faults:
        faults += _duplicates(rows, spec.key)
        for order in spec.orders:
            faults += _broken_order(rows, order)
        faults += spec.law(rows)
    if faults:
        raise TableError("\n".join(f"{spec.file}: {fault}" for fault in faults))
    return tuple(rows)


def provenance_of(row: Row) -> Provenance:
    """Return where a row comes from."""
    return Provenance(str(row["source"]), str(row["locator"]), str(row["checked"]))


def second_provenance_of(
    row: Row, kind: str, spec: TableSpec, sources: Mapping[str, Source]
) -> Provenance:
    """Return where the columns of one kind come from, in a table with two provenances a row.

    Parameters
    ----------
    row
        Row with the columns ``{kind}_source``, ``{kind}_locator`` and ``{kind}_checked``.
    kind
        Prefix of these columns.
    spec
        The table.
    sources
        Known sources by key.

    Returns
    -------
    Provenance
        The second provenance.

    Raises
    ------
    TableError
        Where the source or the mark is unknown.
    """
    found = Provenance(
        str(row[f"{kind}_source"]), str(row[f"{kind}_locator"]), str(row[f"{kind}_checked"])
    )
    if found.source not in sources:
        raise TableError(f"{spec.file}: {row['key']}: unknown {kind} source")
    if found.checked not in CHECKED_MARKS:
        raise TableError(f"{spec.file}: {row['key']}: unknown {kind} mark")
    return found


def _has_every_cell(
    line: int, cells: Mapping[str | None, str | list[str] | None], faults: list[str]
) -> bool:
    # DictReader puts cells beyond the header under None, and None into missing ones.
    if None in cells or None in cells.values():
        faults.append(f"line {line}: not as many cells as the header")
        return False
    return True


def _row(
    line: int,
    cells: Mapping[str, str],
    spec: TableSpec,
    sources: Mapping[str, Source],
    faults: list[str],
) -> Row:
    row: dict[str, str | float | None] = {}
    for column in spec.columns:
        row[column.name] = _cell(line, cells, column, faults)
    for name in PROVENANCE_COLUMNS:
        row[name] = cells[name]
    if cells["source"] not in sources:
        faults.append(f"line {line}: unknown source {cells['source']!r}")
    if cells["checked"] not in CHECKED_MARKS:
        faults.append(f"line {line}: checked is {cells['checked']!r}, not {sorted(CHECKED_MARKS)}")
    if not cells["locator"]:
        faults.append(f"line {line}: no locator")
    return row


def _cell(
    line: int, cells: Mapping[str, str], column: Column, faults: list[str]
) -> str | float | None:
    text = cells[column.name]
    if text == "":
        if not column.optional or not cells["note"]:
            faults.append(f"line {line}: {column.name} is empty without a note that says why")
        return None
    if column.least is None or column.greatest is None:
        return text
    if not NUMBER.fullmatch(text):
        faults.append(f"line {line}: {column.name} is {text!r}, not a number")
        return None
    value = float(text)
    if not column.least <= value <= column.greatest:
        faults.append(
            f"line {line}: {column.name} is {text}, outside {column.least} to {column.greatest}"
        )
    return value


def _duplicates(rows: Sequence[Row], key: tuple[str, ...]) -> list[str]:
    seen: set[tuple[object, ...]] = set()
    faults = []
    for row in rows:
        value = tuple(row[name] for name in key)
        if value in seen:
            faults.append(f"duplicate key {value}")
        seen.add(value)
    return faults


def _broken_order(rows: Sequence[Row], order: Order) -> list[str]:
    faults = []
    sign = -1.0 if order.falling else 1.0
    for group, members in grouped(rows, order.within):
        values = [float(cell) for row in members if (cell := row[order.column]) is not None]
        for before, after in pairwise(values):
            step = sign * (after - before)
            if step < 0 or (order.strict and step == 0):
                way = "fall" if order.falling else "rise"
                faults.append(f"{' '.join(group)} {order.column} does not {way} at {after}")
    return faults
