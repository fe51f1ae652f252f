"""Price books as CSV tables: to the JSON document that they stand for, and back.

The document is then read as any other; its faults are carried back to table, row and column.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.book_tables import BOOK_TABLE, KEY, KIND, TABLES, Column, Table
from loomwright.pricing.cells import cell_of_value, csv_text
from loomwright.pricing.csv_document import CsvDocument
from loomwright.pricing.csv_rows import TableFault, TableRows, table_fault, table_rows
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.price_book import PriceBook

# As many as anyone mends before sending again; a table of empty rows can have half a million.
_MOST_FAULTS = 5000


@dataclass(frozen=True, slots=True)
class TabledBook:
    """The document that tables stand for, unchecked, and the faults of the tables themselves.

    ``is_broken`` where rows or keys are lost, so that the document is not worth reading.
    """

    assembled: CsvDocument
    faults: tuple[TableFault, ...]
    is_broken: bool
    rows: Mapping[str, TableRows]

    @property
    def document(self) -> dict[str, Any]:
        """The document as plain JSON values."""
        return self.assembled.document

    def table_faults(self, faults: Iterable[Fault]) -> list[TableFault]:
        """Return faults of the document as those of the tables.

        Parameters
        ----------
        faults
            By JSON pointer of the document.

        Returns
        -------
        list of TableFault
            By table, row and column, without those that a fault of a table says already.
        """
        carried = [self.assembled.table_fault(fault) for fault in faults]
        return [fault for fault in carried if not self._is_told(fault)]

    def _is_told(self, fault: TableFault) -> bool:
        read = self.rows.get(fault.table)
        if fault.table == BOOK_TABLE and (read is None or not read.rows):
            return True
        if read is None:
            return False
        return fault.column in read.missing or fault.row in read.misshapen


def price_book_from_csv(tables: object) -> PriceBook:
    """Return the price book that CSV tables state.

    Parameters
    ----------
    tables
        CSV texts by name of the table.

    Returns
    -------
    PriceBook
        The checked book, with the digest of the JSON document that the tables stand for.

    Raises
    ------
    DocumentError
        Anything is wrong; ``faults`` are ``TableFault`` and list all of it. Where rows or keys are
        lost, nothing can be matched, and only the faults of the tables themselves are listed.
    """
    if not isinstance(tables, Mapping):
        raise DocumentError("price_book", [Fault("", "An object of CSV texts is needed.")])
    tabled = tabled_book(tables)
    faults = list(tabled.faults)
    if not tabled.is_broken:
        try:
            book = price_book_from_document(tabled.document)
        except DocumentError as error:
            faults += tabled.table_faults(error.faults)
        else:
            if not faults:
                return book
    if len(faults) > _MOST_FAULTS:
        message = f"{len(faults) - _MOST_FAULTS} more faults are not listed."
        faults = [*faults[:_MOST_FAULTS], table_fault(BOOK_TABLE, None, None, message)]
    raise DocumentError("price_book", faults)


def tabled_book(tables: Mapping[str, object]) -> TabledBook:
    """Return the JSON document that CSV tables stand for, with the way back to their cells.

    Parameters
    ----------
    tables
        CSV texts by name of the table.

    Returns
    -------
    TabledBook
        Document and faults.
    """
    known = f"Unknown table; the tables are: {', '.join(TABLES)}."
    faults = [table_fault(name, None, None, known) for name in tables if name not in TABLES]
    if BOOK_TABLE not in tables:
        faults.append(table_fault(BOOK_TABLE, None, None, "Missing; the table is required."))
    read = {name: table_rows(TABLES[name], tables[name]) for name in TABLES if name in tables}
    assembled = CsvDocument()
    for name, rows in read.items():
        faults += rows.faults
        assembled.add(TABLES[name], rows.rows)
    broken = any(rows.is_broken for rows in read.values())
    if not broken:
        told = {(name, row) for name, rows in read.items() for row in rows.misshapen}
        faults += [
            fault
            for fault in assembled.faults
            if (fault.table, fault.row) not in told
            and fault.column not in read[fault.table].missing
        ]
    return TabledBook(assembled, tuple(faults), broken, read)


def document_of_csv(tables: Mapping[str, str]) -> dict[str, Any]:
    """Return the JSON document that CSV tables stand for, unchecked."""
    return tabled_book(tables).document


def csv_of_document(document: Mapping[str, Any]) -> dict[str, str]:
    """Return the CSV tables that stand for a price book document.

    Parameters
    ----------
    document
        A document without faults.

    Returns
    -------
    dict
        CSV texts by name of the table, each with all its columns; tables without a row are left
        out.

    Raises
    ------
    DocumentError
        The document has faults.
    """
    price_book_from_document(document)
    texts = {}
    for table in TABLES.values():
        rows = list(_rows(table, document))
        if rows:
            texts[table.name] = csv_text([table.header, *rows])
    return texts


def _rows(table: Table, document: Mapping[str, Any]) -> Iterator[list[str]]:
    if table.name == BOOK_TABLE:
        yield _cells(table, document)
    elif table.pairs is not None:
        yield from (list(pair) for pair in document.get(table.name_of_list, {}).items())
    elif not table.within:
        yield from (_cells(table, item) for item in document.get(table.name_of_list, ()))
    else:
        for holder in document.get(table.within, ()):
            for item in holder.get(table.name_of_list, ()):
                yield [holder[KEY], *_cells(table, item)]


def _cells(table: Table, item: Mapping[str, Any]) -> list[str]:
    kind = str(item.get(KIND, ""))
    return [_cell(column, item, kind) for column in table.columns]


def _cell(column: Column, item: Mapping[str, Any], kind: str) -> str:
    value: Any = item
    for name in column.path:
        if name not in value:
            return ""
        value = value[name]
    return cell_of_value(column.rule(kind), value)
