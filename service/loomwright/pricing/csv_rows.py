"""One CSV text read into rows by column, with every fault of its shape."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field

from loomwright.pricing.book_tables import Table
from loomwright.pricing.faults import Fault, pointer_token

# More than any table has; a header of a million commas is not worth a million messages.
_MOST_COLUMNS = 500
_MOST_MISSHAPEN = 1000
_OTHER_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}


@dataclass(frozen=True, slots=True)
class TableFault(Fault):
    """A fault of a table; ``row`` counts the header as 1 and is none for the whole table."""

    table: str
    row: int | None
    column: str | None


def table_fault(table: str, row: int | None, column: str | None, message: str) -> TableFault:
    """Return a fault whose pointer names the table and whose message begins with the place."""
    place = [f"row {row}"] if row is not None else []
    if column is not None:
        place.append(f"column {column}")
    told = f"{', '.join(place)}: {message}" if place else message
    return TableFault(f"/{pointer_token(table)}", told, table, row, column)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number and the cells that are not empty, by column."""

    number: int
    cells: dict[str, str]


@dataclass(slots=True)
class TableRows:
    """The rows of one table with the faults of its shape.

    ``missing`` are required columns that it lacks, ``misshapen`` the numbers of rows that have
    another number of cells than the header. ``is_broken`` where rows or keys are lost, so that
    nothing can be matched with this table.
    """

    rows: list[Row] = field(default_factory=list)
    faults: list[TableFault] = field(default_factory=list)
    missing: frozenset[str] = frozenset()
    misshapen: set[int] = field(default_factory=set)
    is_broken: bool = False


def table_rows(table: Table, text: object) -> TableRows:
    """Return the rows of a CSV text.

    RFC 4180 with a header row; a byte order mark in front, other line ends and rows without any
    content are let pass. Columns may stand in any order, and one that is not required may be left
    out.

    Parameters
    ----------
    table
        Columns that the text may have.
    text
        The CSV text.

    Returns
    -------
    TableRows
        Rows and faults.
    """
    read = TableRows()
    if not isinstance(text, str):
        read.faults.append(table_fault(table.name, None, None, "A CSV text is needed."))
        read.is_broken = True
        return read
    lines = _lines(table, text.removeprefix("\ufeff"), read)
    if read.is_broken and not lines:
        return read
    header = lines[0] if lines else []
    columns = _header(table, header, read)
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cells):
            continue
        if len(cells) != len(header):
            read.misshapen.add(number)
            message = f"The row has {_cells(len(cells))}, the header has {_cells(len(header))}."
            read.faults.append(table_fault(table.name, number, None, message))
            if len(read.misshapen) == _MOST_MISSHAPEN:
                message = "The rows from here on are not read; too many have the wrong length."
                read.faults.append(table_fault(table.name, number + 1, None, message))
                read.is_broken = True
                break
        filled = zip(columns, cells, strict=False)
        read.rows.append(Row(number, {name: cell for name, cell in filled if name and cell}))
    return read


def _cells(count: int) -> str:
    return f"{count} cell" if count == 1 else f"{count} cells"


def _lines(table: Table, text: str, read: TableRows) -> list[list[str]]:
    lines: list[list[str]] = []
    try:
        lines.extend(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        message = f"Not CSV: {error}. The rows from here on are not read."
        read.faults.append(table_fault(table.name, len(lines) + 1, None, message))
        read.is_broken = True
    return lines


def _header(table: Table, header: Sequence[str], read: TableRows) -> list[str]:
    """Return the column of each cell, empty where the cell serves for none."""
    if len(header) > _MOST_COLUMNS:
        message = f"At most {_MOST_COLUMNS} columns are read, not {len(header)}."
        read.faults.append(table_fault(table.name, 1, None, message))
        read.is_broken = True
        return []
    faults: list[TableFault] = []
    names: list[str] = []
    for place, name in enumerate(header):
        if name in header[:place]:
            faults.append(table_fault(table.name, 1, name, "The column stands here twice."))
        elif name not in table.header:
            message = f"Unknown column; the columns are: {', '.join(table.header)}."
            faults.append(table_fault(table.name, 1, name, message))
        is_first = name not in header[:place]
        names.append(name if is_first and name in table.header else "")
    read.missing = frozenset(table.required) - set(names)
    faults += [
        table_fault(table.name, 1, name, "Missing; the column is required.")
        for name in table.required
        if name in read.missing
    ]
    if read.missing & set(table.keys):
        read.is_broken = True
    separated = _other_separator(header)
    if separated:
        message = f"Columns are separated by commas, not by {separated}."
        faults = [table_fault(table.name, 1, None, message)]
    read.faults += faults
    read.is_broken = read.is_broken or not any(names)
    return names


def _other_separator(header: Sequence[str]) -> str | None:
    if len(header) != 1:
        return None
    found = [words for mark, words in _OTHER_SEPARATORS.items() if mark in header[0]]
    return found[0] if found else None
