"""The JSON document that the rows of CSV tables make up, and where each part of it stands."""

from collections.abc import Mapping, Sequence
from typing import Any

from loomwright.pricing.book_tables import BOOK_TABLE, INNER_TABLES, KEY, KIND, TABLES, Table
from loomwright.pricing.cells import stands_for_nothing, value_of_cell
from loomwright.pricing.csv_rows import Row, TableFault, table_fault
from loomwright.pricing.faults import Fault, pointer_token
from loomwright.pricing.reading import REPEATED


class CsvDocument:
    """The document while it is put together; a table comes after the one that it lies within."""

    def __init__(self) -> None:
        self.document: dict[str, Any] = {}
        self.faults: list[TableFault] = []
        # Table and row of each object, and of the last object of each inner list, by JSON pointer.
        self._objects: dict[str, tuple[str, int]] = {}
        self._last_of_list: dict[str, int] = {}
        # Table, row and column of members that are rows themselves.
        self._pairs: dict[str, tuple[str, int, str]] = {}
        # Object with its pointer, by table and key.
        self._by_key: dict[tuple[str, str], tuple[dict[str, Any], str]] = {}

    def add(self, table: Table, rows: Sequence[Row]) -> None:
        """Add the rows of a table.

        Parameters
        ----------
        table
            The table.
        rows
            Its rows.
        """
        if table.name == BOOK_TABLE:
            self._add_book(table, rows)
        elif table.pairs is not None:
            self._add_pairs(table, table.pairs, rows)
        elif table.within:
            self._add_inner(table, rows)
        else:
            for row in rows:
                item = self._append(table, row, self.document, "")
                key = row.cells.get(KEY)
                if key is not None:
                    self._by_key.setdefault((table.name, key), item)

    def table_fault(self, fault: Fault) -> TableFault:
        """Return a fault of the document as one of its tables.

        Parameters
        ----------
        fault
            By the JSON pointer of the document.

        Returns
        -------
        TableFault
            By table, row and column, as far as the pointer leads.
        """
        if fault.pointer in self._pairs:
            return table_fault(*self._pairs[fault.pointer], fault.message)
        outer, rest = fault.pointer, list[str]()
        while outer and outer not in self._objects:
            outer, _, token = outer.rpartition("/")
            rest.insert(0, token.replace("~1", "/").replace("~0", "~"))
        name, row = self._objects.get(outer, (BOOK_TABLE, None))
        for column in TABLES[name].columns:
            if column.path and tuple(rest[: len(column.path)]) == column.path:
                return table_fault(name, row, column.name, fault.message)
        first = rest[0] if rest else ""
        if (name, first) in INNER_TABLES:
            # A list has no row of its own: named is the last of its rows, or the row that lacks it.
            inner = INNER_TABLES[name, first]
            if fault.pointer in self._last_of_list:
                return table_fault(inner, self._last_of_list[fault.pointer], None, fault.message)
            return table_fault(name, row, None, f"{inner}: {fault.message}")
        if name == BOOK_TABLE and first in TABLES:
            return table_fault(first, None, None, fault.message)
        return table_fault(name, row, None, fault.message)

    def _add_book(self, table: Table, rows: Sequence[Row]) -> None:
        for row in rows[:1]:
            self.document |= _object(table, row)
            self._objects[""] = (table.name, row.number)
        if len(rows) != 1:
            message = f"One row is needed below the header, not {len(rows)}."
            self.faults.append(table_fault(table.name, None, None, message))

    def _add_pairs(self, table: Table, members: Mapping[str, Any], rows: Sequence[Row]) -> None:
        name, value = table.header
        for row in rows:
            absent = [column for column in table.header if column not in row.cells]
            self.faults += [_missing(table, row, column) for column in absent]
            if absent:
                continue
            key = row.cells[name]
            pairs = self.document.setdefault(table.name_of_list, {})
            if key in pairs:
                self.faults.append(table_fault(table.name, row.number, name, REPEATED))
                continue
            pairs[key] = row.cells[value]
            column = value if key in members else name
            pointer = f"/{table.name_of_list}/{pointer_token(key)}"
            self._pairs[pointer] = (table.name, row.number, column)

    def _add_inner(self, table: Table, rows: Sequence[Row]) -> None:
        for row in rows:
            owner = row.cells.get(table.owner)
            if owner is None:
                self.faults.append(_missing(table, row, table.owner))
                continue
            if (table.within, owner) not in self._by_key:
                message = f"No row of the table {table.within} has this key."
                self.faults.append(table_fault(table.name, row.number, table.owner, message))
                continue
            holder, pointer = self._by_key[table.within, owner]
            self._append(table, row, holder, pointer)

    def _append(
        self, table: Table, row: Row, holder: dict[str, Any], pointer: str
    ) -> tuple[dict[str, Any], str]:
        """Append the object of a row to a list; return it with its pointer."""
        items = holder.setdefault(table.name_of_list, [])
        list_pointer = f"{pointer}/{table.name_of_list}"
        place = f"{list_pointer}/{len(items)}"
        items.append(_object(table, row))
        self._objects[place] = (table.name, row.number)
        self._last_of_list[list_pointer] = row.number
        return items[-1], place


def _missing(table: Table, row: Row, column: str) -> TableFault:
    return table_fault(table.name, row.number, column, "Missing; it is required.")


def _object(table: Table, row: Row) -> dict[str, Any]:
    kind = row.cells.get(KIND, "")
    made: dict[str, Any] = {}
    for column in table.columns:
        rule, cell = column.rule(kind), row.cells.get(column.name, "")
        if stands_for_nothing(rule, cell):
            continue
        holder = made
        for name in column.path[:-1]:
            holder = holder.setdefault(name, {})
        holder[column.path[-1]] = value_of_cell(rule, cell)
    return made
