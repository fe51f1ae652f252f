import io
from typing import Any

import pyarrow as pa
import pytest
from stated_forms import arrow_bytes

from loomwright.batch.forms.arrow_limits import MOST_VALUES_OF_ROW
from loomwright.batch.forms.form_error import FormError
from loomwright.batch.forms.row_tables import arrow_table


def read(content: bytes) -> list[Any]:
    table = arrow_table(io.BytesIO(content))
    return [row.cells for row in table.rows]


def told(content: bytes) -> str:
    with pytest.raises(FormError) as raised:
        read(content)
    assert raised.value.code == "malformed_arrow"
    return str(raised.value)


def stream(table: pa.Table, **options: Any) -> bytes:
    sink = io.BytesIO()
    with pa.ipc.new_stream(sink, table.schema, options=pa.ipc.IpcWriteOptions(**options)) as writer:
        writer.write_table(table)
    return sink.getvalue()


@pytest.mark.parametrize("compression", ["zstd", "lz4"])
@pytest.mark.parametrize("encoded", [False, True])
def test_compressed_buffers_are_refused(compression: str, encoded: bool) -> None:
    texts = pa.array(["x" * 500] * 1000)
    column = texts.dictionary_encode() if encoded else texts
    table = pa.table({"key": column})
    assert read(stream(table)) == [("x" * 500,)] * 1000
    assert "write it without compression" in told(stream(table, compression=compression))


@pytest.mark.parametrize("options", [{}, {"emit_dictionary_deltas": True}])
def test_streams_of_many_batches_and_of_none(options: dict[str, Any]) -> None:
    table = pa.table(
        {"key": pa.array(["a", "b", None, "a"]).dictionary_encode(), "n": [1, 2, 3, 4]}
    )
    assert read(arrow_bytes(table, 1)) == [("a", 1), ("b", 2), (None, 3), ("a", 4)]
    assert read(arrow_bytes(table.slice(0, 0))) == []
    assert read(stream(table, **options)) == read(arrow_bytes(table))


def test_a_stream_without_its_end_mark_is_whole() -> None:
    # The format lets a writer close the stream instead of writing the mark.
    assert read(arrow_bytes(pa.table({"key": ["a"]}))[:-8]) == [("a",)]


@pytest.mark.parametrize(
    "column",
    [
        pa.array(["a"], pa.string_view()),
        pa.array([["a"]], pa.list_view(pa.utf8())),
        pa.array([["a"]], pa.list_(pa.utf8(), 1)),
        pa.array([[True]]),
        pa.array([[["a"]]]),
        pa.array([[("a", 1)]], pa.map_(pa.utf8(), pa.int8())),
        pa.array([b"a"]),
        pa.array([{}], pa.struct([])),
        pa.array([{"a": {}}], pa.struct([("a", pa.struct([]))])),
        pa.array([1.5]).dictionary_encode(),
        pa.RunEndEncodedArray.from_arrays([1], ["a"]),
    ],
    ids=lambda column: str(column.type)[:20],
)
def test_types_that_no_member_needs_are_refused(column: pa.Array) -> None:
    message = told(arrow_bytes(pa.table({"key": column})))
    assert message.startswith("column key: Texts, numbers, true or false, days")
    assert str(column.type) in message


def test_more_values_than_bytes_are_refused() -> None:
    inner = pa.StructArray.from_arrays([pa.array([True] * 100_000)], ["sheathed"])
    lists = pa.ListArray.from_arrays([0, 100_000], inner)
    content = arrow_bytes(pa.table({"circuits": lists}))
    assert len(content) < 14_000
    assert "more rows and values than bytes" in told(content)
    nothing = arrow_bytes(pa.table({"key": pa.nulls(10**6)}), 10**6)
    assert len(nothing) < 1000
    assert "more rows and values than bytes" in told(nothing)
    empty = pa.ListArray.from_arrays([0, 10**6], pa.nulls(10**6))
    assert "more rows and values than bytes" in told(arrow_bytes(pa.table({"taps": empty})))


def test_long_texts_that_stand_for_many_rows_are_refused() -> None:
    shared = pa.array(["x" * 1001] * 9).dictionary_encode()
    assert "longer than 1000 bytes" in told(arrow_bytes(pa.table({"key": shared})))


def test_a_row_of_too_many_values_is_refused() -> None:
    def table(count: int) -> pa.Table:
        lists = pa.ListArray.from_arrays([0, 1, count], pa.array(["value"] * count))
        return pa.table({"key": ["a", "b"], "vehicle.hazards": lists})

    # A key, a list and its texts in the second row.
    assert len(read(arrow_bytes(table(MOST_VALUES_OF_ROW - 1)))[1][1]) == MOST_VALUES_OF_ROW - 2
    assert f"more than {MOST_VALUES_OF_ROW} values" in told(arrow_bytes(table(MOST_VALUES_OF_ROW)))


def test_rows_of_many_values_keep_their_order() -> None:
    lists = [[str(row)] * 3000 for row in range(1000)]
    found = read(arrow_bytes(pa.table({"vehicle.hazards": lists}), 1000))
    assert [cells[0][-1] for cells in found] == [str(row) for row in range(1000)]
    assert {len(cells[0]) for cells in found} == {3000}


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"\xff\xff\xff\xff\xff\xff\xff\x7f", "Metadata of a message is longer"),
        (b"\xff\xff\xff\xff\x08\0\0\0" + b"\xff" * 8, "Metadata of a message is broken"),
        (b"\xff\xff\xff\xff\x08\0\0\0" + b"\0" * 8, "Arrow IPC stream is needed"),
        (b"\x10\0\0\0" + b"\0" * 16, "Not an Arrow IPC stream"),
        (b"ARROW1\0\0", "Not an Arrow IPC stream"),
        (b"\xff\xff\xff\xff", "Not an Arrow IPC stream"),
    ],
)
def test_messages_that_are_none(content: bytes, message: str) -> None:
    assert message in told(content)
