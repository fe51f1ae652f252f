"""Tables of cells read row by row from CSV, an Arrow IPC stream or a Parquet file.

CSV is read as RFC 4180 says, with a header, in UTF-8; a byte order mark in front, other line ends
and rows without any content are let pass. Cells of Arrow and Parquet are typed or text. Parquet is
for files of one's own: what comes over a network is an Arrow IPC stream, which is held to
``arrow_limits``.
"""

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import IO, Any, NamedTuple

import pyarrow as pa
import pyarrow.ipc
import pyarrow.parquet as pq

from loomwright.batch.forms.arrow_frames import uncompressed
from loomwright.batch.forms.arrow_limits import check_schema, parts_of
from loomwright.batch.forms.form_error import (
    MALFORMED_ARROW,
    MALFORMED_CSV,
    MALFORMED_PARQUET,
    FormError,
)
from loomwright.batch.forms.json_values import check_utf_8
from loomwright.engineering.record import record

_ROWS_AT_ONCE = 512
# A document of fifty circuits with all their members has some two thousand columns.
MOST_COLUMNS = 10_000
# Arrow raises errors of many kinds, those of the system among them; a broken length may ask for
# more memory than there is.
_ARROW_ERRORS = (pa.ArrowException, OSError, ValueError, ArithmeticError, KeyError, MemoryError)
_OTHER_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}


class Row(NamedTuple):
    """A row of a table.

    Parameters
    ----------
    place
        Such as ``line 3``.
    cells
        Of the columns in their order; may be fewer or more where there is a ``message``.
    message
        What is wrong with its shape, if anything is.
    """

    place: str
    cells: Sequence[Any]
    message: str | None = None


@record
class RowTable:
    """A table.

    Parameters
    ----------
    names
        Of the columns, each once.
    rows
        As they come.
    """

    names: Sequence[str]
    rows: Iterator[Row]


def csv_table(stream: IO[bytes]) -> RowTable:
    """Return a CSV text as a table.

    Parameters
    ----------
    stream
        Open for reading.

    Returns
    -------
    RowTable
        Reading a row raises ``FormError`` where the text is no CSV from there on.

    Raises
    ------
    FormError
        It has no header, or a wrong one.
    """
    lines = csv.reader(_text_lines(stream), strict=True)
    rows = _csv_rows(lines)
    header = next(rows, None)
    if header is None:
        raise FormError(MALFORMED_CSV, "A header is needed, and one row for each item.", "line 1")
    names = header[1]
    for mark, words in _OTHER_SEPARATORS.items():
        if len(names) == 1 and mark in names[0]:
            message = f"Columns are separated by commas, not by {words}."
            raise FormError(MALFORMED_CSV, message, "line 1")
    _check_names(names, MALFORMED_CSV, "line 1")
    return RowTable(names, _rows_of_csv(rows, len(names)))


def _text_lines(stream: IO[bytes]) -> Iterator[str]:
    for number, content in enumerate(stream, start=1):
        try:
            line = content.decode()
        except UnicodeDecodeError:
            check_utf_8(content, number)
            raise
        if number == 1:
            line = line.removeprefix("\ufeff")
        if "\r" in line[:-2]:
            yield from io.StringIO(line, newline="")
        else:
            yield line


def _csv_rows(lines: Any) -> Iterator[tuple[int, list[str]]]:
    while True:
        first = lines.line_num + 1
        try:
            cells = next(lines, None)
        except csv.Error as error:
            message = f"Not CSV: {error}. A cell with a quote, comma or line end stands in quotes."
            raise FormError(MALFORMED_CSV, message, f"line {lines.line_num}") from error
        if cells is None:
            return
        if any(cells):
            yield first, cells


def _rows_of_csv(rows: Iterator[tuple[int, list[str]]], count: int) -> Iterator[Row]:
    for number, cells in rows:
        place = f"line {number}"
        if len(cells) == count:
            yield Row(place, cells)
        else:
            message = f"The row has {len(cells)} cells, the header has {count}."
            yield Row(place, cells, message)


def _check_names(names: Sequence[str], code: str, place: str) -> None:
    if len(names) > MOST_COLUMNS:
        message = f"At most {MOST_COLUMNS} columns are read, not {len(names)}."
        raise FormError(code, message, place)
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise FormError(code, f"The column {name} stands here twice.", place)
        seen.add(name)


def arrow_table(stream: IO[bytes]) -> RowTable:
    """Return an Arrow IPC stream as a table.

    Parameters
    ----------
    stream
        Open for reading.

    Returns
    -------
    RowTable
        Reading a row raises ``FormError`` where the stream is broken from there on.

    Raises
    ------
    FormError
        It is no such stream, or columns have the same name.
    """
    needed = "An Arrow IPC stream is needed, from its schema to its end"
    with _told_as(MALFORMED_ARROW, needed):
        reader = pyarrow.ipc.open_stream(uncompressed(stream))
        names = reader.schema.names
        check_schema(reader.schema)
    _check_names(names, MALFORMED_ARROW, "schema")
    parts = _parts_of_stream(iter(reader))
    return RowTable(names, _typed_rows(parts, MALFORMED_ARROW, needed))


def _parts_of_stream(batches: Iterator[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    for batch in batches:
        # Whoever sent it may have sent offsets that lead outside of the buffers.
        batch.validate(full=True)
        yield from parts_of(batch, _ROWS_AT_ONCE)


def parquet_table(stream: IO[bytes]) -> RowTable:
    """Return a Parquet file as a table.

    Parameters
    ----------
    stream
        Open for reading, at any place of the file.

    Returns
    -------
    RowTable
        Reading a row raises ``FormError`` where the file is broken from there on.

    Raises
    ------
    FormError
        It is no such file, or columns have the same name.
    """
    needed = "A Parquet file is needed"
    with _told_as(MALFORMED_PARQUET, needed):
        file = pq.ParquetFile(stream)
        names = file.schema_arrow.names
        batches = file.iter_batches(_ROWS_AT_ONCE)
    _check_names(names, MALFORMED_PARQUET, "schema")
    return RowTable(names, _typed_rows(batches, MALFORMED_PARQUET, needed))


@contextmanager
def _told_as(code: str, needed: str, place: str = "") -> Iterator[None]:
    try:
        yield
    except FormError:
        raise
    except (
        pa.ArrowException,
        OSError,
        ValueError,
        ArithmeticError,
        KeyError,
        MemoryError,
    ) as error:
        first = str(error).splitlines()[0] if str(error) else "it ends too early"
        raise FormError(code, f"{needed}: {first.rstrip('.')}.", place) from error


def _typed_rows(parts: Iterator[pa.RecordBatch], code: str, needed: str) -> Iterator[Row]:
    number = 0
    while True:
        with _told_as(code, needed, f"behind row {number}"):
            part = next(parts, None)
            if part is None:
                return
            columns = [column.to_pylist() for column in part.columns]
        for cells in zip(*columns, strict=True):
            number += 1
            yield Row(f"row {number}", cells)


# What reads a table of each form.
ROW_TABLES: Mapping[str, Callable[[IO[bytes]], RowTable]] = {
    "csv": csv_table,
    "arrow": arrow_table,
    "parquet": parquet_table,
}
