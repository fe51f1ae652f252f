import csv
import io
import json
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from drawn_rows import CURRENCY, pairs
from hypothesis import given

from loomwright.batch.forms.writing import (
    ROW_WRITERS,
    arrow_rows,
    csv_rows,
    ndjson_rows,
)
from loomwright.batch.quote import Quote, Refusal
from loomwright.batch.rows import COLUMNS, Rows, row_schema, rows_of_quotes
from loomwright.batch.runs.partition import parquet_bytes
from loomwright.batch.summary import Summary
from loomwright.harmless import harmless

Drawn = list[tuple[str, str, Quote | Refusal]]


def rows_of(drawn: Drawn) -> Rows:
    packages, vehicles, quotes = zip(*drawn, strict=True) if drawn else ((), (), ())
    return rows_of_quotes(packages, vehicles, quotes, CURRENCY)


def in_two(drawn: Drawn) -> Iterator[Rows]:
    half = len(drawn) // 2
    return iter([rows_of(drawn[:half]), rows_of(drawn[half:])])


def expected(drawn: Drawn) -> list[dict[str, Any]]:
    """The rows as Python values, from the quotes themselves."""
    made = []
    for package, vehicle, answer in drawn:
        row: dict[str, Any] = dict.fromkeys(COLUMNS)
        row |= {"package": package, "vehicle": vehicle}
        if isinstance(answer, Refusal):
            row |= {"code": answer.code, "detail": answer.detail}
        else:
            stated = answer._asdict()
            row |= stated.pop("amounts")._asdict() | stated | {"currency": CURRENCY}
            row["circuits"] = [circuit._asdict() for circuit in answer.circuits]
        made.append(row)
    return made


def plain(value: Any) -> Any:
    """A value as it stands in JSON."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    return value.isoformat() if hasattr(value, "isoformat") else value


@given(pairs)
def test_arrow_holds_the_rows(drawn: Drawn) -> None:
    content = b"".join(arrow_rows(in_two(drawn), CURRENCY))
    with pa.ipc.open_stream(content) as stream:
        assert stream.schema == row_schema(CURRENCY)
        assert stream.read_all().to_pylist() == expected(drawn)


@given(pairs)
def test_parquet_holds_the_rows(drawn: Drawn) -> None:
    summary = Summary(CURRENCY)
    chunks = [each.nested() for each in summary.passing(in_two(drawn))]
    content = parquet_bytes(pa.Table.from_batches(chunks), summary)
    assert pq.read_table(io.BytesIO(content)).to_pylist() == expected(drawn)
    kept = pq.ParquetFile(io.BytesIO(content))
    assert kept.schema_arrow.equals(row_schema(CURRENCY))
    assert kept.num_row_groups == 1
    assert json.loads(kept.metadata.metadata[b"summary"]) == summary.document()


@given(pairs)
def test_ndjson_holds_the_rows(drawn: Drawn) -> None:
    content = b"".join(ndjson_rows(in_two(drawn), CURRENCY))
    lines = [json.loads(line) for line in content.decode().split("\n")[:-1]]
    assert [list(line) for line in lines] == [list(COLUMNS)] * len(drawn)
    for line, row in zip(lines, expected(drawn), strict=True):
        hours, stated_hours = line.pop("labour_hours"), row.pop("labour_hours")
        assert hours == (None if stated_hours is None else float(stated_hours))
        assert line == {name: plain(value) for name, value in row.items()}


@given(pairs)
def test_csv_holds_the_rows(drawn: Drawn) -> None:
    content = b"".join(csv_rows(in_two(drawn), CURRENCY)).decode()
    lines = list(csv.reader(io.StringIO(content, newline=""), strict=True))
    assert lines[0] == list(COLUMNS)
    # Without quotes around a line end each line ends as RFC 4180 says.
    assert content.count("\n") == content.count("\r\n") == len(drawn) + 1
    for line, row in zip(lines[1:], expected(drawn), strict=True):
        cells = dict(zip(COLUMNS, line, strict=True))
        for name, value in row.items():
            assert_cell(name, cells[name], value)


def assert_cell(name: str, cell: str, value: Any) -> None:
    if value is None:
        assert cell == ""
    elif name == "circuits":
        assert cell == harmless(cell)
        # Marks of the guard in the midst of a cell are the one thing that cannot be taken back.
        stated = "".join(str(text) for circuit in value for text in circuit.values())
        if not set(";|\u2028\ufeff") & set(stated):
            assert json.loads(cell) == value
    elif isinstance(value, str):
        assert cell == harmless(value)
    elif isinstance(value, float):
        assert float(cell) == value
    else:
        assert cell == str(plain(value))


def test_a_missing_text_and_an_empty_one_differ_in_csv_from_no_quotes() -> None:
    content = b"".join(csv_rows(iter([rows_of([("", "007", Refusal("c", "d"))])]), CURRENCY))
    line = content.decode().split("\r\n")[1]
    assert line.startswith('"","007",,')
    assert line.endswith(',,"c","d"')


@pytest.mark.parametrize("form", ROW_WRITERS)
def test_without_rows_the_form_is_whole(form: str) -> None:
    content = b"".join(ROW_WRITERS[form](iter(()), CURRENCY, Summary(CURRENCY)))
    if form == "csv":
        assert content.decode().split("\r\n")[1:] == [""]
    elif form == "ndjson":
        assert [json.loads(line)["summary"]["rows"] for line in content.splitlines()] == [0]
    else:
        with pa.ipc.open_stream(content) as stream:
            assert stream.read_all().num_rows == 0


@pytest.mark.parametrize("form", ROW_WRITERS)
def test_rows_are_written_as_they_come(form: str) -> None:
    taken = []

    def coming() -> Iterator[Rows]:
        for number in range(3):
            taken.append(number)
            yield rows_of([("p", f"v{number}", Refusal("c", "d"))])

    written = ROW_WRITERS[form](coming(), CURRENCY, None)
    while b"v0" not in next(written):
        assert taken in ([], [0])
    assert taken == [0]


@given(pairs)
def test_the_summary_comes_last(drawn: Drawn) -> None:
    summary = Summary(CURRENCY)
    lines = b"".join(ndjson_rows(summary.passing(in_two(drawn)), CURRENCY, summary)).splitlines()
    assert json.loads(lines[-1]) == {"summary": summary.document()}
    assert summary.rows == len(drawn)

    again = Summary(CURRENCY)
    stream = pa.ipc.open_stream(b"".join(arrow_rows(again.passing(in_two(drawn)), CURRENCY, again)))
    for _ in range(2):
        assert stream.read_next_batch_with_custom_metadata()[1] is None
    last, metadata = stream.read_next_batch_with_custom_metadata()
    assert last.num_rows == 0
    assert json.loads(metadata[b"summary"]) == summary.document()
