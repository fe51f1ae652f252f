"""A name that stands twice is refused in every JSON that the service takes, with its place.

RFC 7493 (I-JSON), 2.3: objects must not have members with duplicate names.
"""

import json
from pathlib import Path

import pyarrow as pa
import pyarrow.ipc
import pytest

from batch_inputs import write_inputs
from drawn_requests import client
from loomwright.cli import main
from loomwright.jobs.demo_library import demo_job, demo_price_book
from loomwright.web.app import create_app
from loomwright.web.operations import OPERATIONS
from set_up import change_settings

JSON_OPERATIONS = [each.name for each in OPERATIONS if each.request is not None]
NDJSON, CSV = "application/x-ndjson", "text/csv"
ARROW = "application/vnd.apache.arrow.stream"


def refused(response, code="malformed_body", status=400):
    problem = response.get_json()
    assert (response.status_code, problem["code"]) == (status, code), response.text[:500]
    return problem, [each["pointer"] for each in problem["errors"]]


def twice(name, first, second):
    """Return an object in which a name stands twice, once written otherwise."""
    escaped = "".join(f"\\u{ord(character):04x}" for character in name)
    return f'{{"{name}":{json.dumps(first)},"{escaped}":{json.dumps(second)}}}'


@pytest.mark.parametrize("operation", JSON_OPERATIONS)
def test_every_operation_refuses_it_before_anything_else(operation):
    body = f'{{"length":5,"route":[{twice("length", 1, 2)}],"a/b":{{}},"length":6,"a/b":{{}}}}'
    response = client().post(f"/v1/{operation}", data=body, content_type="application/json")
    problem, found = refused(response)
    assert found == ["/route/0/length", "/length", "/a~1b"]
    assert "twice" in problem["detail"]


@pytest.mark.parametrize(
    ("inner", "pointer"),
    [
        ('"job":{job},"job":{job}', "/job"),
        (
            '"job":{job},"price_book":{{"parts":[{{"key":"a","key":"b"}}]}}',
            "/price_book/parts/0/key",
        ),
        ('"job":{job},"pricing":{{"deposit":{{"percent":"1","percent":"2"}}}}', None),
    ],
)
def test_jobs_books_and_options_are_looked_into(inner, pointer):
    text = "{" + inner.format(job=json.dumps(demo_job("truck_24v"))) + "}"
    response = client().post(
        "/v1/build-bill-of-materials", data=text, content_type="application/json"
    )
    _, found = refused(response)
    assert found == [pointer or "/pricing/deposit/percent"]


LINE = b'{"package":{"key":"p"}}\n\n{"vehicle":{"key":"a","vehicle":{"title":1,"title":2}}}\n'


def arrow_of_text(cell):
    columns = {"record": ["package", "vehicle"], "key": ["p", "v"], "job": [cell, None]}
    table = pa.table(columns)
    sink = pa.BufferOutputStream()
    with pyarrow.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return sink.getvalue().to_pybytes()


def csv_of_text(cell):
    quoted = cell.replace('"', '""')
    return f'record,key,job\npackage,p,"{quoted}"\nvehicle,v,\n'.encode()


def post_batch(body, media_type):
    return client().post("/v1/price-packages?as=json", data=body, content_type=media_type)


def test_lines_are_told_by_number_and_pointer():
    problem, found = refused(post_batch(LINE, NDJSON), "malformed_records")
    assert problem["detail"].startswith("line 3, character ")
    assert found == ["/vehicle/vehicle/title"]


@pytest.mark.parametrize(("media_type", "made"), [(CSV, csv_of_text), (ARROW, arrow_of_text)])
def test_json_in_a_cell_is_told_in_the_rows_of_its_item(media_type, made):
    cell = '{"circuits":[],"circuits":[{"key":1,"key":2}]}'
    answer = post_batch(made(cell), media_type)
    assert answer.status_code == 200, answer.text
    (row,) = answer.get_json()["rows"]
    assert row["code"] == "invalid_pair"
    assert "stated twice in one object: /circuits, /circuits/0/key" in row["detail"]


def test_queries_are_looked_into():
    query = {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "sensitivity": "true"}
    tolerances = f"[{twice('input', 'length', 'load_current')}]"
    response = client().get(
        "/v1/size-conductor", query_string={**query, "length": 5, "tolerances": tolerances}
    )
    _, found = refused(response, "invalid_request", 422)
    assert found == ["/tolerances/0/input"]
    repeated = [*query.items(), ("length", 5), ("length", 5), ("as", "json"), ("as", "text")]
    problem, found = refused(
        client().get("/v1/size-conductor", query_string=repeated), "duplicate_parameter"
    )
    assert found == ["/length", "/as"]
    assert problem["detail"] == "length is given 2 times; as is given 2 times."


def book_with_two_currencies():
    return json.dumps(demo_price_book())[:-1] + ', "currency": "USD"}'


def test_a_mounted_book_is_refused(tmp_path: Path):
    application = create_app()
    change_settings(application, price_books=tmp_path)
    (tmp_path / "spring.json").write_text(book_with_two_currencies(), "utf-8")
    body = {"job": demo_job("truck_24v"), "price_book_name": "spring"}
    response = application.test_client().post("/v1/build-bill-of-materials", json=body)
    problem, _ = refused(response, "price_book_faulty", 503)
    assert "stated twice in one object: /currency" in json.dumps(problem["errors"])


@pytest.mark.parametrize("option", ["--price-book", "--pricing", "--packages"])
def test_the_files_of_the_command_line_are_refused(tmp_path: Path, option, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    words = ["price-packages", *write_inputs(Path(), 1, 2), "--out", "quotes.parquet"]
    if option == "--packages":
        file = tmp_path / "packages.ndjson"
        file.write_text(file.read_text("utf-8").replace('{"key"', '{"key": "x", "key"', 1), "utf-8")
        place = "/key"
    else:
        file = tmp_path / "given.json"
        text = book_with_two_currencies() if option == "--price-book" else '{"as_of":1,"as_of":2}'
        file.write_text(text, "utf-8")
        words += [option, str(file)]
        place = "/currency" if option == "--price-book" else "/as_of"
    assert main(words) != 0
    told = capsys.readouterr().err
    assert f"stated twice in one object: {place}" in told
    assert not (tmp_path / "quotes.parquet").exists()
