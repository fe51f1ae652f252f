"""Bodies of price-packages: every form says the same, each limit is named, each fault is told."""

import gzip
import io
import json

import pyarrow as pa
import pyarrow.csv
import pyarrow.ipc
import pytest

from drawn_requests import client
from loomwright.web.schemas.batch import (
    GREATEST_BATCH_BYTES,
    GREATEST_PACKAGES,
    GREATEST_PAIRS,
    GREATEST_VEHICLES,
    batch_examples,
)
from loomwright.web.schemas.batch_bodies import csv_of, ndjson_of, records_of

PATH = "/v1/price-packages"
JSON, NDJSON, CSV = "application/json", "application/x-ndjson", "text/csv"
ARROW = "application/vnd.apache.arrow.stream"
EVERY = batch_examples()["every_package_for_every_vehicle"]
LISTED = batch_examples()["listed_pairs_with_a_wrong_vehicle"]


def post(body, media_type=JSON, **headers):
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client().post(f"{PATH}?as=json", data=body, content_type=media_type, headers=named)


def problem(response, status, code):
    assert response.content_type == "application/problem+json", response.text[:500]
    found = response.get_json()
    assert (response.status_code, found["code"]) == (status, code), found
    return found


def stream_of(table):
    sink = io.BytesIO()
    with pyarrow.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return sink.getvalue()


def text_columns(batch):
    """Return the columns of CSV as an Arrow stream of texts."""
    options = pyarrow.csv.ConvertOptions(strings_can_be_null=True)
    text = csv_of(batch).encode()
    names = text.split(b"\r\n")[0].decode().split(",")
    options.column_types = dict.fromkeys(names, pa.utf8())
    return stream_of(pyarrow.csv.read_csv(io.BytesIO(text), convert_options=options))


def nested_columns(batch):
    """Return records as an Arrow stream with a column for each kind of them."""
    rows = [{kind: document} for kind, document in records_of(batch)]
    return stream_of(pa.Table.from_pylist(rows, pa.schema(fields(rows))))


def fields(rows):
    kinds = list(dict.fromkeys(kind for row in rows for kind in row))
    columns = {kind: pa.array([row.get(kind) for row in rows]) for kind in kinds}
    return [pa.field(kind, column.type) for kind, column in columns.items()]


FORMS = {
    "lines": (NDJSON, lambda batch: ndjson_of(batch).encode()),
    "table": (CSV, lambda batch: csv_of(batch).encode()),
    "arrow of texts": (ARROW, text_columns),
    "arrow of records": (ARROW, nested_columns),
}


@pytest.mark.parametrize("batch", [EVERY, LISTED], ids=["cross", "listed"])
@pytest.mark.parametrize("form", FORMS)
def test_every_form_is_the_same_batch(form, batch):
    media_type, made = FORMS[form]
    expected = post(json.dumps(batch)).get_json()
    for kind in (media_type, media_type.upper(), f"{media_type}; charset=utf-8"):
        response = post(made(batch), kind)
        assert response.status_code == 200, response.text[:500]
        found = response.get_json()
        assert found["summary"] == expected["summary"]
        for row, right in zip(found["rows"], expected["rows"], strict=True):
            # What is at fault is told by its place, which is another in each form.
            assert row | {"detail": None} == right | {"detail": None}


@pytest.mark.parametrize("form", FORMS)
def test_every_form_may_be_compressed(form):
    media_type, made = FORMS[form]
    packed = gzip.compress(made(EVERY))
    response = post(packed, media_type, Content_Encoding="gzip")
    assert response.get_json() == post(json.dumps(EVERY)).get_json()


@pytest.mark.parametrize("media_type", ["text/plain", "application/jsonl", "text/csvx", "", None])
def test_other_forms_are_refused_with_those_that_are_taken(media_type):
    found = problem(post(b"{}", media_type), 415, "unsupported_media_type")
    for each in (JSON, NDJSON, CSV, ARROW):
        assert each in found["detail"]


MALFORMED = {
    "half a line": (NDJSON, b'{"package": {}}\n{"vehicle"', "line 2"),
    "a line of text": (NDJSON, b"package\n", "line 1"),
    "a line of two members": (NDJSON, b'{"package": {}, "vehicle": {}}\n', "line 1"),
    "a line of another member": (NDJSON, b'{"packages": []}\n', "line 1"),
    "settings behind a package": (NDJSON, b'{"package": {}}\n{"batch": {}}\n', "line 2"),
    "an array in a line": (NDJSON, b"[]\n", "line 1"),
    "no UTF-8": (NDJSON, b'{"package": {"key": "\xff"}}\n', "line 1"),
    "no header": (CSV, b"", "line 1"),
    "no column of records": (CSV, b"key,job.title\np,x\n", "record"),
    "semicolons": (CSV, b"record;key\npackage;p\n", "commas"),
    "an unknown column": (CSV, b"record,kee\npackage,p\n", "kee"),
    "a kind that is none": (CSV, b"record,key\nparcel,p\n", "line 2"),
    "a column twice": (CSV, b"record,key,key\npackage,p,p\n", "key"),
    "half a cell": (CSV, b'record,key\npackage,"p\n', "line"),
    "no stream": (ARROW, b"package", "Arrow"),
    "nothing of a stream": (ARROW, b"", "Arrow"),
    "half a stream": (ARROW, nested_columns(EVERY)[:-3000], "Arrow"),
}


@pytest.mark.parametrize("kind", MALFORMED)
def test_what_is_not_of_its_form_is_told_with_its_place(kind):
    media_type, body, place = MALFORMED[kind]
    found = problem(post(body, media_type), 400, "malformed_records")
    assert place in found["detail"]


@pytest.mark.parametrize(
    "body",
    [b"", b"[]", b"5", b"{", b'{"packages": [NaN]}', b'\xef\xbb\xbf{"packages": []}', b"\xff"],
)
def test_what_is_no_json_object_is_refused(body):
    problem(post(body), 400, "malformed_body")


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({}, {"/packages"}),
        ({"packages": []}, {"/vehicles"}),
        ({"packages": {}, "vehicles": []}, {"/packages"}),
        ({"packages": [], "vehicles": []}, {"/packages", "/vehicles"}),
        ({**EVERY, "pairs": {}}, {"/pairs"}),
        ({**EVERY, "pairs": None}, {"/pairs"}),
        ({**EVERY, "colour": 1, "paperwork": {}}, {"/colour", "/paperwork"}),
        ({**EVERY, "pricing": 5}, {"/pricing"}),
        ({**EVERY, "pricing": {"deposit": {"percent": "200"}}}, {"/pricing/deposit/percent"}),
        ({**EVERY, "price_book": {"name": "x"}, "pricing": {}}, {"/price_book/currency"}),
        ({**EVERY, "price_book_name": 5}, {"/price_book_name"}),
    ],
)
def test_what_is_wrong_with_the_whole_is_a_problem(body, pointers):
    found = problem(post(json.dumps(body)), 422, "invalid_request")
    assert pointers <= {error["pointer"] for error in found["errors"]}


def test_settings_of_lines_and_tables_are_those_of_json():
    pricing = {"as_of": "2031-04-30", "deposit": {"percent": "20"}}
    batch = EVERY | {"pricing": pricing}
    expected = post(json.dumps(batch)).get_json()
    assert expected["rows"][0]["deposit"] is not None
    for media_type, made in FORMS.values():
        assert post(made(batch), media_type).get_json() == expected
    wrong = b'{"batch": {"pricing": {"as_of": "tomorrow"}}}\n' + ndjson_of(EVERY).encode()
    found = problem(post(wrong, NDJSON), 422, "invalid_request")
    assert {error["pointer"] for error in found["errors"]} == {"/pricing/as_of"}


# --- wrong items in place ---


def test_wrong_items_of_each_form_spoil_their_own_rows_only():
    right = post(json.dumps(EVERY)).get_json()["rows"]
    lines = ndjson_of(EVERY) + '{"vehicle": {"colour": "red", "key": "v"}}\n{"vehicle": 5}\n'
    rows = post(lines, NDJSON).get_json()["rows"]
    assert rows[:2] == right
    assert [(row["vehicle"], row["code"]) for row in rows[2:]] == [
        ("v", "invalid_pair"),
        ("", "invalid_pair"),
    ]
    assert "line 4" in rows[2]["detail"]
    assert "colour" in rows[2]["detail"]
    table = csv_of(EVERY).split("\r\n")
    broken = "\r\n".join([*table[:2], table[2].replace("1.2", "1,2"), *table[2:]])
    rows = post(broken, CSV).get_json()["rows"]
    assert [row["code"] for row in rows] == ["invalid_pair", "invalid_pair", None]
    assert rows[2] == right[1]


def test_pairs_that_name_nothing_are_rows_of_their_own():
    pairs = [
        {"package": "compact_amplifier", "vehicle": "estate"},
        {"package": "compact_amplifier", "vehicle": "unheard of"},
        {"package": "unheard of", "vehicle": "estate"},
        {"package": "compact_amplifier"},
        5,
        {"package": "compact_amplifier", "vehicle": "estate"},
    ]
    rows = post(json.dumps(EVERY | {"pairs": pairs})).get_json()["rows"]
    right = post(json.dumps(EVERY)).get_json()["rows"][1]
    assert rows[0] == rows[5] == right
    assert [row["code"] for row in rows[1:5]] == ["invalid_pair"] * 4
    assert "unheard of" in rows[1]["detail"]


def test_of_two_vehicles_with_the_same_key_the_second_is_at_fault():
    vehicle = EVERY["vehicles"][0]
    rows = post(json.dumps(EVERY | {"vehicles": [vehicle, vehicle]})).get_json()["rows"]
    assert [row["code"] for row in rows] == [None, "invalid_pair"]
    assert "unique" in rows[1]["detail"]


# --- limits ---


def made_up(packages, vehicles, pairs=0):
    """Return a small table of many records, none of which is complete."""
    return (
        "".join(
            [
                "record,key,package,vehicle.description\n",
                *(f"package,p{number},,\n" for number in range(packages)),
                *(f"vehicle,v{number},,\n" for number in range(vehicles)),
            ]
        )
        + "pair,,p0,\n" * pairs
    )


TOO_MANY = {
    "packages": ((GREATEST_PACKAGES + 1, 1), "1000 packages"),
    "vehicles": ((1, GREATEST_VEHICLES + 1), "20000 vehicles"),
    "pairs": ((1, 1, GREATEST_PAIRS + 1), "1000000 pairs"),
    "packages for vehicles": ((51, 20_000), "51 packages for 20000 vehicles are more than 1000000"),
}


@pytest.mark.parametrize("what", TOO_MANY)
def test_each_limit_is_named(what):
    counts, told = TOO_MANY[what]
    found = problem(post(made_up(*counts), CSV), 413, "batch_too_large")
    assert told in found["detail"]


def test_a_batch_at_its_limits_is_taken():
    # One package for 20 000 vehicles; none is complete, so that each is refused in its row.
    response = post(made_up(1, GREATEST_VEHICLES), CSV)
    assert response.status_code == 200
    assert response.get_json()["summary"]["refusals"] == {"invalid_pair": GREATEST_VEHICLES}
    response = post(made_up(GREATEST_PACKAGES, 1), CSV)
    assert response.get_json()["summary"]["rows"] == GREATEST_PACKAGES


def test_the_limit_of_bytes_is_named_and_is_that_of_what_is_inflated():
    body = json.dumps(EVERY).encode()
    full = body + b" " * (GREATEST_BATCH_BYTES - len(body))
    for sent, headers in ((full, {}), (gzip.compress(full, 1), {"Content_Encoding": "gzip"})):
        assert post(sent, **headers).status_code == 200
    for sent, headers in (
        (full + b" ", {}),
        (gzip.compress(full + b" ", 1), {"Content_Encoding": "gzip"}),
    ):
        found = problem(post(sent, **headers), 413, "body_too_large")
        assert "16 MiB" in found["detail"]
