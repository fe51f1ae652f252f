"""Rows of quotes in the forms in which they go out.

CSV: RFC 4180, UTF-8 without byte-order mark, one header; texts quoted, numbers bare, an empty cell
for what a row does not have; circuits as JSON text; no cell that a spreadsheet takes for a formula
(``loomwright.harmless``). There is no place for a summary.

NDJSON: one object a line, with all members of ``COLUMNS`` in that order, null where a row does not
have one, so that every line has the same shape; circuits as a list of objects, money as decimal
strings with the decimals of the currency, hours as a number. The summary is the last line,
``{"summary": {...}}``.

Arrow: an IPC stream of record batches of ``row_schema``; the summary is JSON text in the custom
metadata of a last batch without rows. Parquet: the same columns, the summary in the metadata of the
file. Both under the key ``SUMMARY``.

NDJSON or an Arrow stream that was asked for with its summary and has none has been cut short.
"""

import io
from collections.abc import Callable, Iterator, Mapping

import orjson
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.ipc

from loomwright.batch.quote import Amounts
from loomwright.batch.rows import CIRCUITS, COLUMNS, Rows, row_schema
from loomwright.batch.summary import Summary
from loomwright.harmless import SUSPICIOUS, harmless

SUMMARY = "summary"
# Texts that the caller of a batch has a hand in; all others are keys of our own.
_STATED = ("package", "vehicle", CIRCUITS, "detail")
_TEXTS = ("package", "vehicle", "verdict", "currency", "code", "detail")
# What stands in a JSON string as it is; every other text is written by the JSON library.
_NOT_PLAIN_JSON = r'["\\\x00-\x1f]'
_CSV_OPTIONS = pyarrow.csv.WriteOptions(include_header=False)
_RowsToBytes = Callable[[Iterator[Rows], str, Summary | None], Iterator[bytes]]


def summary_metadata(summary: Summary) -> dict[str, str]:
    """Return a summary as the metadata of an Arrow batch or a Parquet file."""
    return {SUMMARY: orjson.dumps(summary.document()).decode()}


class _Sink(io.RawIOBase):
    """Keeps what is written until it is taken."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._position = 0

    def writable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._position

    def write(self, part: object) -> int:
        taken = bytes(part)  # type: ignore[call-overload]
        self._parts.append(taken)
        self._position += len(taken)
        return len(taken)

    def taken(self) -> bytes:
        parts, self._parts = self._parts, []
        return b"".join(parts)


def csv_rows(
    rows: Iterator[Rows], currency: str, summary: Summary | None = None
) -> Iterator[bytes]:
    """Yield rows as CSV.

    Parameters
    ----------
    rows
        Of one batch.
    currency
        ISO 4217 code of all amounts.
    summary
        Has no place in CSV and is passed over.

    Yields
    ------
    bytes
        The header, then the lines of each of the rows.
    """
    del currency, summary
    yield (",".join(f'"{name}"' for name in COLUMNS) + "\r\n").encode()
    for each in rows:
        sink = pa.BufferOutputStream()
        pyarrow.csv.write_csv(_guarded(each.tabular()), sink, _CSV_OPTIONS)
        # No cell holds a line end: those of texts are spaces by now.
        yield sink.getvalue().to_pybytes().replace(b"\n", b"\r\n")


def _guarded(batch: pa.RecordBatch) -> pa.RecordBatch:
    columns = {name: batch.column(name) for name in batch.schema.names}
    for name in _STATED:
        columns[name] = _changed(columns[name], SUSPICIOUS, harmless)
    return pa.RecordBatch.from_arrays(list(columns.values()), names=list(columns))


def _changed(texts: pa.Array, pattern: str, change: Callable[[str], str]) -> pa.Array:
    """Return texts with a change to each that may need it, if any does."""
    if not pc.any(pc.match_substring_regex(texts, pattern)).as_py():
        return texts
    encoded = texts.dictionary_encode()
    changed = pa.array([change(text) for text in encoded.dictionary.to_pylist()], pa.utf8())
    return changed.take(encoded.indices)


def ndjson_rows(
    rows: Iterator[Rows], currency: str, summary: Summary | None = None
) -> Iterator[bytes]:
    """Yield rows as NDJSON.

    Parameters
    ----------
    rows
        Of one batch.
    currency
        ISO 4217 code of all amounts; stands in each line.
    summary
        Written as the last line, with what it counts by then.

    Yields
    ------
    bytes
        The lines of each of the rows, then that of the summary.
    """
    del currency
    for each in rows:
        if each.flat.num_rows:
            yield _lines(each)
    if summary is not None:
        yield orjson.dumps({SUMMARY: summary.document()}) + b"\n"


def _lines(rows: Rows) -> bytes:
    batch = rows.tabular()
    parts: list[pa.Array | str] = []
    for number, name in enumerate(COLUMNS):
        parts += [f'{"," if number else "{"}"{name}":', _json(name, batch.column(name))]
    parts += ["}\n", ""]
    lines = pc.binary_join_element_wise(*parts, null_handling="replace", null_replacement="null")
    # The texts of an array stand one behind the other.
    _, offsets, content = lines.buffers()
    length = pa.Array.from_buffers(pa.int32(), len(lines) + 1, [None, offsets])[-1].as_py()
    return bytes(content.slice(0, length))


def _json(name: str, column: pa.Array) -> pa.Array:
    """Return the JSON text of each value of a column, null for none."""
    if name == CIRCUITS:
        return column
    if name in _TEXTS:
        bare = _changed(column, _NOT_PLAIN_JSON, lambda text: orjson.dumps(text)[1:-1].decode())
        return _quoted(bare)
    if pa.types.is_floating(column.type):
        return pc.if_else(pc.is_finite(column), column, None).cast(pa.utf8())
    text = column.cast(pa.utf8())
    if name in Amounts._fields or pa.types.is_date(column.type):
        return _quoted(text)
    return text


def _quoted(texts: pa.Array) -> pa.Array:
    return pc.binary_join_element_wise('"', texts, '"', "", null_handling="emit_null")


def arrow_rows(
    rows: Iterator[Rows], currency: str, summary: Summary | None = None
) -> Iterator[bytes]:
    """Yield rows as an Arrow IPC stream.

    Parameters
    ----------
    rows
        Of one batch.
    currency
        ISO 4217 code of all amounts; decides the schema.
    summary
        Goes with a last batch without rows, with what it counts by then.

    Yields
    ------
    bytes
        The schema, then a record batch for each of the rows, then the end of the stream.
    """
    sink, schema = _Sink(), row_schema(currency)
    with pyarrow.ipc.new_stream(sink, schema) as writer:
        for each in rows:
            writer.write_batch(each.nested())
            yield sink.taken()
        if summary is not None:
            last = pa.RecordBatch.from_pylist([], schema)
            writer.write_batch(last, summary_metadata(summary))
    yield sink.taken()


# What is written for each form by the name of the form.
ROW_WRITERS: Mapping[str, _RowsToBytes] = {
    "csv": csv_rows,
    "ndjson": ndjson_rows,
    "arrow": arrow_rows,
}
