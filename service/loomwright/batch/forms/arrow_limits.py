"""What an Arrow stream may hold, so that it takes no more memory than its bytes are worth.

Types whose values are longer than their bytes, such as views and runs, would let a small stream
stand for any number of values. They are refused, and so is a batch of more values than bytes.
"""

from collections.abc import Iterator

import pyarrow as pa
import pyarrow.compute as pc

from loomwright.batch.forms.form_error import MALFORMED_ARROW, FormError

# A document of fifty circuits with all their members has some ten thousand values.
MOST_VALUES_OF_ROW = 100_000
_VALUES_BESIDE_BYTES = 10_000
# What texts that stand once for many rows may have; a text of a document has 200 characters.
_LONGEST_SHARED_TEXT = 1000
_DEEPEST = 12
_NEEDED = (
    "Texts, numbers, true or false, days, and structures and lists of these are read, "
    "lists of texts or structures only"
)


def check_schema(schema: pa.Schema) -> None:
    """Raise ``FormError`` where a column is of a type that no member needs.

    Parameters
    ----------
    schema
        Of the stream.

    Raises
    ------
    FormError
        The column and its type are named.
    """
    for field in schema:
        kind = field.type
        is_read = pa.types.is_null(kind) or (
            _is_text(kind.value_type) if pa.types.is_dictionary(kind) else _is_read(kind, 0)
        )
        if not is_read:
            place = f"column {field.name}"
            raise FormError(MALFORMED_ARROW, f"{_NEEDED}, not {str(kind)[:200]}.", place)


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def _is_read(kind: pa.DataType, depth: int) -> bool:
    types = pa.types
    if types.is_struct(kind):
        within = [kind.field(index).type for index in range(kind.num_fields)]
        return bool(within) and depth < _DEEPEST and all(_is_part(each, depth) for each in within)
    if types.is_list(kind) or types.is_large_list(kind):
        inner = kind.value_type
        if types.is_null(inner):
            # So are lists typed that are empty in all rows.
            return True
        return (_is_text(inner) or types.is_struct(inner)) and _is_read(inner, depth + 1)
    is_figure = types.is_integer(kind) or types.is_floating(kind) or types.is_decimal(kind)
    is_day = types.is_date(kind) or types.is_timestamp(kind)
    return bool(_is_text(kind) or types.is_boolean(kind) or is_figure or is_day)


def _is_part(kind: pa.DataType, depth: int) -> bool:
    # What no row of a batch states comes as nulls, which an object leaves out.
    return bool(pa.types.is_null(kind)) or _is_read(kind, depth + 1)


def parts_of(batch: pa.RecordBatch, rows_at_once: int) -> Iterator[pa.RecordBatch]:
    """Yield a batch in parts of which each is small as Python values.

    Parameters
    ----------
    batch
        Validated.
    rows_at_once
        Greatest number of rows of a part.

    Yields
    ------
    pa.RecordBatch
        In their order.

    Raises
    ------
    FormError
        Values are more than the bytes of the batch, or more than a row may have.
    """
    for column in batch.columns:
        if pa.types.is_dictionary(column.type):
            longest = pc.max(pc.binary_length(column.dictionary)).as_py() or 0
            if longest > _LONGEST_SHARED_TEXT:
                message = f"A text of a dictionary is longer than {_LONGEST_SHARED_TEXT} bytes."
                raise FormError(MALFORMED_ARROW, message)
    if batch.num_rows + _values(batch) > batch.nbytes + _VALUES_BESIDE_BYTES:
        raise FormError(
            MALFORMED_ARROW, "A batch of the stream has more rows and values than bytes."
        )
    for first in range(0, batch.num_rows, rows_at_once):
        yield from _halved(batch.slice(first, rows_at_once))


def _halved(part: pa.RecordBatch) -> Iterator[pa.RecordBatch]:
    count = _values(part)
    if count <= MOST_VALUES_OF_ROW:
        yield part
        return
    if part.num_rows == 1:
        message = f"A row has more than {MOST_VALUES_OF_ROW} values."
        raise FormError(MALFORMED_ARROW, message)
    half = part.num_rows // 2
    yield from _halved(part.slice(0, half))
    yield from _halved(part.slice(half))


def _values(batch: pa.RecordBatch) -> int:
    return sum(_values_of(column) for column in batch.columns)


def _values_of(column: pa.Array) -> int:
    count = len(column) - int(column.null_count)
    if pa.types.is_list(column.type) or pa.types.is_large_list(column.type):
        inner = column.flatten()
        return count + int(inner.null_count) + _values_of(inner)
    if pa.types.is_struct(column.type):
        return count + sum(_values_of(inner) for inner in column.flatten())
    return count
