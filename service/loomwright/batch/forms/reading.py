"""Packages, vehicles or pairs of a file or stream that holds nothing else.

=========  ==================================================================================
form       what it is
=========  ==================================================================================
json       An array of documents. It is read as a whole; all other forms are read as they come.
ndjson     A document a line.
csv        A row for each document, in dotted columns (``dotted``).
arrow      An Arrow IPC stream, a row for each document, in dotted columns or in columns of
           nested types that are named like members.
parquet    A Parquet file with the same columns.
=========  ==================================================================================
"""

import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from loomwright.batch.forms.dotted import Columns, UnknownColumnError
from loomwright.batch.forms.form_error import UNKNOWN_COLUMN, UNKNOWN_FORM, WRONG_SHAPE, FormError
from loomwright.batch.forms.items import KEY, Item, packages_of_items, vehicles_of_items
from loomwright.batch.forms.json_values import json_value, ndjson_values
from loomwright.batch.forms.pair_list import PAIR_RECORD, PairList
from loomwright.batch.forms.row_tables import ROW_TABLES, Row, RowTable
from loomwright.batch.forms.streams import Readable, opened
from loomwright.batch.pair import Package, Vehicle, package_record, vehicle_record
from loomwright.pricing.members import Record

_FORM_OF_SUFFIX: Mapping[str, str] = {
    ".json": "json",
    ".ndjson": "ndjson",
    ".jsonl": "ndjson",
    ".csv": "csv",
    ".arrows": "arrow",
    ".arrow": "arrow",
    ".parquet": "parquet",
}
FORMS = ("json", "ndjson", *ROW_TABLES)
_GZIP = ".gz"
MOST_NAMED = 20


def form_of_path(path: Path) -> tuple[str, bool]:
    """Return the form that the name of a file tells, and whether it is packed.

    Parameters
    ----------
    path
        Such as ``vehicles.csv`` or ``vehicles.ndjson.gz``.

    Returns
    -------
    tuple of str and bool
        One of ``FORMS``, and whether the name ends in ``.gz``.

    Raises
    ------
    FormError
        The name tells no form.
    """
    gzipped = path.suffix.lower() == _GZIP
    form = _FORM_OF_SUFFIX.get((path.with_suffix("") if gzipped else path).suffix.lower())
    if form is None:
        ends = ", ".join(_FORM_OF_SUFFIX)
        message = f"The name ends in none of these: {ends}, nor in one of them with {_GZIP}."
        raise FormError(UNKNOWN_FORM, message, path.name)
    if form == "parquet" and gzipped:
        raise FormError(UNKNOWN_FORM, "A Parquet file is packed by itself.", path.name)
    return form, gzipped


def record_items(stream: IO[bytes], form: str, record: Record) -> Iterator[Item]:
    """Yield the items of a stream.

    Parameters
    ----------
    stream
        Open for reading; a Parquet file must be one that can be read at any place.
    form
        One of ``FORMS``.
    record
        Rules of the items.

    Yields
    ------
    Item
        In their order.

    Raises
    ------
    FormError
        What is read is not of the form, has unknown columns, or there is no such form.
    """
    if form == "json":
        yield from _array_items(json_value(stream.read()))
    elif form == "ndjson":
        for number, value in ndjson_values(stream):
            yield Item(f"line {number}", value)
    elif form in ROW_TABLES:
        yield from _row_items(ROW_TABLES[form](stream), record)
    else:
        raise FormError(UNKNOWN_FORM, f"One of these is needed: {', '.join(FORMS)}.", form)


def _array_items(value: object) -> Iterator[Item]:
    if not isinstance(value, list):
        raise FormError(WRONG_SHAPE, "An array of objects is needed.")
    for number, document in enumerate(value, start=1):
        yield Item(f"item {number}", document)


def _row_items(table: RowTable, record: Record) -> Iterator[Item]:
    columns, unknown = Columns(record), list[str]()
    for index, name in enumerate(table.names):
        try:
            columns.add(index, name)
        except UnknownColumnError as error:
            unknown.append(str(error))
    if unknown:
        raise FormError(UNKNOWN_COLUMN, " ".join(unknown[:MOST_NAMED]), "header")
    for row in table.rows:
        yield item_of_row(row, table.names, columns)


def item_of_row(row: Row, names: Sequence[str], columns: Columns) -> Item:
    """Return the item of a row.

    Parameters
    ----------
    row
        A row; of a misshapen one nothing but its key is read.
    names
        Of all columns.
    columns
        Those that the item may have.

    Returns
    -------
    Item
        With what is wrong with its cells.
    """
    if row.message is None:
        document, messages = columns.document(row.cells)
        return Item(row.place, document, tuple(messages))
    keys = [cell for name, cell in zip(names, row.cells, strict=False) if name == KEY]
    return Item(row.place, dict.fromkeys([KEY], keys[0]) if keys else {}, (row.message,))


def read_packages(
    source: Readable, form: str, *, gzipped: bool = False, most_bytes: int | None = None
) -> Iterator[Package]:
    """Yield the packages of a stream that holds nothing else.

    Parameters
    ----------
    source
        Open for reading.
    form
        One of ``FORMS``.
    gzipped
        Whether the stream is packed.
    most_bytes
        Limit of what is read, unpacked; none for no limit.

    Yields
    ------
    Package
        One for each item, with faults where it is at fault.

    Raises
    ------
    FormError
        The stream cannot be read on.
    """
    with _stream(source, form, gzipped, most_bytes) as stream:
        yield from packages_of_items(record_items(stream, form, package_record()))


def read_vehicles(
    source: Readable, form: str, *, gzipped: bool = False, most_bytes: int | None = None
) -> Iterator[Vehicle]:
    """Yield the vehicles of a stream that holds nothing else.

    Parameters
    ----------
    source
        Open for reading.
    form
        One of ``FORMS``.
    gzipped
        Whether the stream is packed.
    most_bytes
        Limit of what is read, unpacked; none for no limit.

    Yields
    ------
    Vehicle
        One for each item, with faults where it is at fault.

    Raises
    ------
    FormError
        The stream cannot be read on.
    """
    with _stream(source, form, gzipped, most_bytes) as stream:
        yield from vehicles_of_items(record_items(stream, form, vehicle_record()))


def read_pairs(
    source: Readable, form: str, *, gzipped: bool = False, most_bytes: int | None = None
) -> PairList:
    """Return the pairs of a stream that holds nothing else, objects of ``package`` and ``vehicle``.

    Parameters
    ----------
    source
        Open for reading.
    form
        One of ``FORMS``.
    gzipped
        Whether the stream is packed.
    most_bytes
        Limit of what is read, unpacked; none for no limit.

    Returns
    -------
    PairList
        Pairs at fault among the others.

    Raises
    ------
    FormError
        The stream cannot be read.
    """
    pairs = PairList()
    with _stream(source, form, gzipped, most_bytes) as stream:
        for item in record_items(stream, form, PAIR_RECORD):
            pairs.add(item)
    return pairs


@contextmanager
def _stream(
    source: Readable, form: str, gzipped: bool, most_bytes: int | None
) -> Iterator[IO[bytes]]:
    if form == "parquet":
        # It is read from its end, which a stream does not have.
        content = source if isinstance(source, io.IOBase) and source.seekable() else None
        yield content or io.BytesIO(source.read())  # type: ignore[misc]
    else:
        with opened(source, gzipped=gzipped, most_bytes=most_bytes) as stream:
            yield stream


def packages_of_path(path: Path) -> Iterator[Package]:
    """Yield the packages of a file whose name tells its form.

    Parameters
    ----------
    path
        Such as ``packages.ndjson``.

    Yields
    ------
    Package
        As ``read_packages`` does.

    Raises
    ------
    FormError
        The name tells no form, or the file cannot be read on.
    """
    form, gzipped = form_of_path(path)
    with path.open("rb") as file:
        yield from read_packages(file, form, gzipped=gzipped)


def vehicles_of_path(path: Path) -> Iterator[Vehicle]:
    """Yield the vehicles of a file whose name tells its form.

    Parameters
    ----------
    path
        Such as ``vehicles.parquet``.

    Yields
    ------
    Vehicle
        As ``read_vehicles`` does.

    Raises
    ------
    FormError
        The name tells no form, or the file cannot be read on.
    """
    form, gzipped = form_of_path(path)
    with path.open("rb") as file:
        yield from read_vehicles(file, form, gzipped=gzipped)


def pairs_of_path(path: Path) -> PairList:
    """Return the pairs of a file whose name tells its form.

    Parameters
    ----------
    path
        Such as ``pairs.csv``.

    Returns
    -------
    PairList
        As ``read_pairs`` does.

    Raises
    ------
    FormError
        The name tells no form, or the file cannot be read.
    """
    form, gzipped = form_of_path(path)
    with path.open("rb") as file:
        return read_pairs(file, form, gzipped=gzipped)
