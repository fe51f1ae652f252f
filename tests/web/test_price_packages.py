"""The operation price-packages: rows as they come, in each form, equal to bills one by one."""

import csv
import gzip
import io
import json
import logging
import re
import tracemalloc
from decimal import Decimal

import numpy as np
import pyarrow as pa
import pyarrow.ipc
import pytest

from drawn_requests import client, validator
from loomwright.batch.engine import ReferenceEngine
from loomwright.batch.rows import COLUMNS, rows_in_order
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.web import streaming
from loomwright.web.app import create_app
from loomwright.web.schemas.batch import batch_examples, split_job
from loomwright.web.streaming import GREATEST_LOGGED, started
from set_up import create_with, key_entry

PATH = "/v1/price-packages"
TYPES = {
    "json": "application/json",
    "ndjson": "application/x-ndjson",
    "csv": "text/csv; charset=utf-8; header=present",
    "arrow": "application/vnd.apache.arrow.stream",
}
EVERY = batch_examples()["every_package_for_every_vehicle"]
LISTED = batch_examples()["listed_pairs_with_a_wrong_vehicle"]
PRICING = {
    "as_of": "2031-04-30",
    "document_discount": {"percent": "3"},
    "deposit": {"percent": "20"},
}


def post(body, query="", service=None, **headers):
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return (service or client()).post(f"{PATH}{query}", json=body, headers=named)


def answer(body, **headers):
    response = post(body, "?as=json", **headers)
    assert response.status_code == 200, response.text
    return response.get_json()


def lines(response):
    return [json.loads(line) for line in response.text.splitlines()]


# --- the same as bills one by one ---


def bill_row(job, pricing):
    """Return what a row must say, from the answer of build-bill-of-materials for the same job."""
    response = client().post("/v1/build-bill-of-materials", json={"job": job, "pricing": pricing})
    assert response.status_code == 200, response.text
    bill = response.get_json()
    same = (
        "verdict", "currency", "list_total", "discount_total", "shared_total", "parts_total",
        "labour_total", "lines_total", "net_total", "exempt_total", "total", "deposit",
        "balance_due", "valid_until",
    )  # fmt: skip
    row = {name: bill[name] for name in same}
    row["tax_total"] = f"{sum((Decimal(tax['amount']) for tax in bill['taxes']), Decimal('0.00'))}"
    hours = re.fullmatch(r"PT(?:(\d+)H)?(?:(\d+)M)?(?:([\d.]+)S)?", bill["labour_duration"])
    parts = [Decimal(part or 0) for part in hours.groups()]
    row["labour_hours"] = float(parts[0] + parts[1] / 60 + parts[2] / 3600)
    row["unpriced"] = len(bill["unpriced"])
    row["circuits"] = [
        {
            "key": circuit["key"],
            "verdict": circuit["verdict"],
            "conductor": (circuit["conductor"] or {}).get("size"),
            "fuse_type": (circuit["fuse"] or {}).get("fuse_type"),
            "rated_current_a": (circuit["fuse"] or {}).get("rated_current_a"),
        }
        for circuit in bill["circuits"]
    ]
    return row


@pytest.mark.parametrize("pricing", [{}, PRICING], ids=["plain", "discount"])
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_a_row_is_the_bill_of_the_same_job(name, pricing):
    package, vehicle = split_job(demo_job(name), "package", "vehicle")
    (row,) = answer({"packages": [package], "vehicles": [vehicle], "pricing": pricing})["rows"]
    expected = bill_row(demo_job(name), pricing)
    assert {member: row[member] for member in expected} == expected
    assert (row["code"], row["detail"]) == (None, None)


def test_members_of_a_vehicle_stand_in_place_of_those_of_the_package():
    package, vehicle = split_job(demo_job("combustion_car"), "package", "vehicle")
    longer = json.loads(json.dumps(vehicle)) | {"key": "longer"}
    longer["circuits"][0]["route"][1]["length"] = 6.5
    rows = answer({"packages": [package], "vehicles": [vehicle, longer]})["rows"]
    job = demo_job("combustion_car")
    job["circuits"][0]["route"][1]["length"] = 6.5
    expected = bill_row(job, {})
    assert {member: rows[1][member] for member in expected} == expected
    assert Decimal(rows[0]["total"]) < Decimal(rows[1]["total"])


# --- forms ---


@pytest.mark.parametrize("form", TYPES)
def test_each_form_comes_by_name_and_by_media_type(form):
    named = post(EVERY, f"?as={form}")
    media_type = TYPES[form].partition(";")[0]
    for response in (
        named,
        post(EVERY, Accept=media_type),
        post(EVERY, Accept=f"{media_type};q=1"),
    ):
        assert response.status_code == 200
        assert response.content_type == TYPES[form]
        assert response.data == named.data
        assert response.headers["Vary"] == "Accept, Accept-Encoding"
        assert response.headers["Cache-Control"] == "no-store"
        assert "Content-Length" not in response.headers
    # What the query says goes before the header.
    assert post(EVERY, f"?as={form}", Accept="image/png").data == named.data


@pytest.mark.parametrize("accept", [None, "*/*", "application/*, text/*;q=0.5"])
def test_lines_of_json_come_where_there_is_no_wish(accept):
    wish = {} if accept is None else {"Accept": accept}
    assert post(EVERY, **wish).content_type == TYPES["ndjson"]


def test_a_wish_that_cannot_be_met_is_refused():
    response = post(EVERY, Accept="image/png")
    assert (response.status_code, response.get_json()["code"]) == (406, "not_acceptable")
    assert "application/x-ndjson, application/json, text/csv" in response.get_json()["detail"]
    response = post(EVERY, "?as=yaml")
    assert (response.status_code, response.get_json()["code"]) == (422, "invalid_request")
    assert response.get_json()["errors"] == [
        {"pointer": "/as", "message": "give one of: json, ndjson, csv, arrow"}
    ]
    response = post(EVERY, "?as=csv&as=csv")
    assert (response.status_code, response.get_json()["code"]) == (400, "duplicate_parameter")


@pytest.mark.parametrize("body", [EVERY, LISTED], ids=["cross", "listed"])
def test_all_forms_say_the_same(body):
    document = answer(body)
    validator("PricePackagesAnswer").validate(document)
    *rows, last = lines(post(body))
    assert rows == document["rows"]
    assert last == {"summary": document["summary"]}

    text = post(body, "?as=csv").data.decode()
    header, *table = csv.reader(io.StringIO(text, newline=""))
    assert header == list(COLUMNS)
    assert text.count("\r\n") == len(rows) + 1
    assert "summary" not in text
    for cells, row in zip(table, rows, strict=True):
        for cell, name in zip(cells, header, strict=True):
            value = row[name]
            if name == "circuits":
                assert (json.loads(cell) if cell else None) == value
            elif isinstance(value, int | float):
                assert float(cell) == value
            else:
                assert cell == (value or "")

    with pyarrow.ipc.open_stream(post(body, "?as=arrow").data) as reader:
        assert reader.schema.names == list(COLUMNS)
        batches = list(reader.iter_batches_with_custom_metadata())
    told = [dict(metadata) for _, metadata in batches if metadata is not None]
    assert [json.loads(each[b"summary"]) for each in told] == [document["summary"]]
    assert batches[-1].batch.num_rows == 0
    from_arrow = [row for batch, _ in batches for row in batch.to_pylist()]
    for found, row in zip(from_arrow, rows, strict=True):
        for name, value in row.items():
            cell = found[name]
            if isinstance(cell, Decimal):
                assert cell == Decimal(str(value))
            else:
                assert (cell.isoformat() if name == "valid_until" and cell else cell) == value


def test_the_summary_counts_the_rows():
    summary = answer(LISTED)["summary"]
    # One vehicle has a source of another system voltage, so that one of two pairs is a quote.
    assert summary["rows"] == 2
    assert summary["verdicts"] == {"complete": 1}
    assert summary["refusals"] == {"invalid_pair": 1}
    (total,) = [row["total"] for row in answer(LISTED)["rows"] if row["total"] is not None]
    assert summary["totals"] == [
        {
            "package": "compact_amplifier",
            "quotes": 1,
            "least": total,
            "greatest": total,
            "sum": total,
        }
    ]
    bill = client().post("/v1/build-bill-of-materials", json={"job": demo_job("combustion_car")})
    for name in ("price_book", "engine_version", "currency"):
        assert summary[name] == bill.get_json()[name]


def test_the_same_request_gives_the_same_bytes():
    for form in TYPES:
        assert post(EVERY, f"?as={form}").data == post(EVERY, f"?as={form}").data


def test_more_rows_than_go_together_are_complete():
    vehicle = EVERY["vehicles"][0]
    many = [vehicle | {"key": f"vehicle {number}"} for number in range(70)]
    *rows, last = lines(post(EVERY | {"vehicles": many}))
    assert [row["vehicle"] for row in rows] == [each["key"] for each in many]
    assert last["summary"]["rows"] == 70
    document = answer(EVERY | {"vehicles": many})
    assert document["rows"] == rows


def test_no_pair_is_an_answer_of_a_summary_alone():
    none = EVERY | {"pairs": []}
    assert answer(none)["rows"] == []
    (last,) = lines(post(none))
    assert last["summary"]["rows"] == 0
    assert post(none, "?as=csv").data.count(b"\r\n") == 1
    with pyarrow.ipc.open_stream(post(none, "?as=arrow").data) as reader:
        assert sum(batch.num_rows for batch in reader) == 0


# --- one wrong item spoils its own rows only ---


def wrong_vehicles():
    good = EVERY["vehicles"][0]
    circuit = good["circuits"][0]
    return {
        "unknown member": good | {"colour": "red"},
        "no source": good | {"power_sources": []},
        "length out of range": good
        | {"circuits": [circuit | {"route": [circuit["route"][0] | {"length": 4000}]}]},
        "quantity that is none": good
        | {"circuits": [circuit | {"route": [circuit["route"][0] | {"length": "5 yards"}]}]},
        "circuits that are no list": good | {"circuits": {}},
        "another system voltage": good | {"vehicle": good["vehicle"] | {"system_voltage": 48}},
    }


@pytest.mark.parametrize("kind", wrong_vehicles())
def test_a_wrong_vehicle_spoils_its_own_rows_only(kind):
    good = EVERY["vehicles"]
    wrong = wrong_vehicles()[kind] | {"key": "wrong"}
    rows = answer(EVERY | {"vehicles": [good[0], wrong, good[1]]})["rows"]
    right = answer(EVERY)["rows"]
    assert [rows[0], rows[2]] == right
    assert (rows[1]["package"], rows[1]["vehicle"]) == ("compact_amplifier", "wrong")
    assert rows[1]["code"]
    assert len(rows[1]["detail"]) > 10
    assert all(
        rows[1][name] is None
        for name in COLUMNS
        if name in right[0] and name not in ("package", "vehicle", "code", "detail")
    )


def test_a_wrong_package_spoils_its_own_rows_only():
    package = EVERY["packages"][0]
    wrong = package | {"key": "wrong", "pricing": {"document_discount": {"percent": "300"}}}
    rows = answer(EVERY | {"packages": [wrong, package]})["rows"]
    assert [row["package"] for row in rows] == ["wrong"] * 2 + ["compact_amplifier"] * 2
    assert rows[2:] == answer(EVERY)["rows"]
    for row in rows[:2]:
        assert row["code"] == "invalid_pair"
        assert "/pricing/document_discount/percent" in row["detail"]


# --- failures of the service ---


class Failing(ReferenceEngine):
    """An engine that fails on one vehicle, or on all."""

    wrong = "estate"

    def __init__(self, batch):
        super().__init__(batch)
        self.keys = [vehicle.key for vehicle in batch.vehicles]

    def rows(self, package, vehicles):
        if self.wrong in ("", *(self.keys[index] for index in vehicles.tolist())):
            raise ZeroDivisionError("the secret of the house")
        return super().rows(package, vehicles)


@pytest.mark.parametrize("form", TYPES)
def test_a_failure_on_one_pair_is_its_row_and_is_logged(form, monkeypatch, caplog):
    monkeypatch.setattr(streaming, "engine_of", Failing)
    with caplog.at_level(logging.ERROR):
        response = post(EVERY, f"?as={form}", X_Request_Id="trace-7")
    assert response.status_code == 200
    assert b"secret" not in response.data
    document = answer(EVERY)
    first, second = document["rows"]
    assert first["code"] is None
    assert (second["vehicle"], second["code"]) == ("estate", "internal_error")
    assert document["summary"]["refusals"] == {"internal_error": 1}
    (record,) = [each for each in caplog.records if "trace-7" in each.getMessage()]
    assert record.getMessage() == (
        "request trace-7: no quote of package 'compact_amplifier' for vehicle 'estate'"
    )
    assert record.exc_info[0] is ZeroDivisionError


def test_failures_on_every_pair_fill_no_log(monkeypatch, caplog):
    monkeypatch.setattr(streaming, "engine_of", Failing)
    monkeypatch.setattr(Failing, "wrong", "")
    vehicle = EVERY["vehicles"][0]
    many = [vehicle | {"key": f"v{number}"} for number in range(40)]
    with caplog.at_level(logging.ERROR):
        document = answer(EVERY | {"vehicles": many})
    assert document["summary"]["refusals"] == {"internal_error": 40}
    assert len(caplog.records) == GREATEST_LOGGED + 1
    assert caplog.messages[-1].endswith("further failures are not told")


def test_a_failure_before_the_first_row_is_a_problem(monkeypatch):
    def fails(_batch):
        raise ZeroDivisionError("the secret of the house")

    monkeypatch.setattr(streaming, "engine_of", fails)
    response = post(EVERY)
    assert (response.status_code, response.get_json()["code"]) == (500, "internal_error")


def test_the_first_item_is_asked_for_at_once_and_no_other():
    asked = []

    def items():
        for number in range(3):
            asked.append(number)
            yield number

    begun = started(items())
    assert asked == [0]
    assert list(begun) == [0, 1, 2]
    assert list(started(iter(()))) == []


def test_closing_an_answer_closes_what_makes_it():
    closed = []

    def items():
        try:
            yield from range(3)
        finally:
            closed.append(True)

    begun = started(items())
    assert next(begun) == 0
    begun.close()
    assert closed == [True]


# --- as every operation ---


def test_a_price_book_is_chosen_as_in_a_bill(tmp_path):
    book = demo_price_book()
    book["name"] = "Another book"
    stated = answer(EVERY | {"price_book": book})
    assert stated["summary"]["price_book"]["name"] == "Another book"
    (tmp_path / "spring.json").write_text(json.dumps(book), "utf-8")
    mounted = create_with(price_books=tmp_path).test_client()
    named = post(EVERY | {"price_book_name": "spring"}, "?as=json", mounted).get_json()
    assert named == stated
    refused = post(EVERY | {"price_book_name": "summer"}, service=mounted)
    assert (refused.status_code, refused.get_json()["code"]) == (422, "unknown_price_book")
    both = post(EVERY | {"price_book_name": "spring", "price_book": book}, service=mounted)
    assert both.status_code == 422


def test_keys_quota_and_methods_are_as_everywhere(tmp_path):
    keys = tmp_path / "keys.toml"
    keys.write_text(
        key_entry("may", "price") + key_entry("may not", "calculate", identifier="other"), "utf-8"
    )
    service = create_with(keys_file=keys, rate_limit="2/day").test_client()
    assert post(EVERY, service=service).status_code == 401
    assert post(EVERY, service=service, Authorization="Bearer may not").status_code == 403
    # However many rows, it is one request.
    for left in ("1", "0"):
        response = post(EVERY, service=service, Authorization="Bearer may")
        assert response.status_code == 200
        assert f";r={left};" in response.headers["RateLimit"]
    assert post(EVERY, service=service, Authorization="Bearer may").status_code == 429
    assert service.get(PATH).status_code == 405
    options = service.options(PATH)
    assert (options.status_code, options.headers["Allow"]) == (200, "OPTIONS, POST")


@pytest.mark.parametrize("wanted", [True, False, "yes"])
def test_cost_that_no_row_would_tell_is_refused(wanted):
    asked = {"show_cost": wanted, "deposit": {"percent": "-1"}}
    problem = post(EVERY | {"pricing": asked})
    assert problem.status_code == 422
    assert problem.json["code"] == "invalid_request"
    faults = {error["pointer"]: error["message"] for error in problem.json["errors"]}
    assert faults.keys() == {"/pricing/show_cost", "/pricing/deposit/percent"}
    assert "build-bill-of-materials" in faults["/pricing/show_cost"]


def test_cost_that_a_package_asks_for_is_refused_in_its_rows():
    package, *rest = EVERY["packages"]
    asked = EVERY | {"packages": [package | {"pricing": {"show_cost": True}}, *rest]}
    rows = answer(asked)["rows"]
    told = [row for row in rows if row["package"] == package["key"]]
    assert told
    assert {row["code"] for row in told} == {"invalid_pair"}
    assert all("Cost is in no row" in row["detail"] for row in told)


def test_a_request_id_comes_back():
    assert post(EVERY, X_Request_Id="trace-8").headers["X-Request-Id"] == "trace-8"


def test_a_compressed_body_is_taken():
    packed = gzip.compress(json.dumps(EVERY).encode())
    headers = {"Content-Encoding": "gzip"}
    application = create_app().test_client()
    response = application.post(PATH, data=packed, content_type="application/json", headers=headers)
    assert response.status_code == 200
    assert response.data == post(EVERY).data


# --- memory ---


class Repeating(ReferenceEngine):
    """An engine that works out one row and repeats it, so that many are cheap."""

    def rows(self, package, vehicles):
        row = super().rows(package, vehicles[:1])
        return rows_in_order([row], np.zeros(vehicles.size, np.int64))


@pytest.mark.parametrize("form", TYPES)
def test_memory_does_not_grow_with_the_rows(form, monkeypatch):
    """Hold Python's and Arrow's memory at 120 000 rows to little more than at 20 000."""
    monkeypatch.setattr(streaming, "engine_of", Repeating)
    vehicle = EVERY["vehicles"][0]
    vehicles = [vehicle | {"key": f"v{number}"} for number in range(5000)]
    peaks, lengths = [], []
    for packages in (4, 24):
        keys = [EVERY["packages"][0] | {"key": f"p{number}"} for number in range(packages)]
        response = post({"packages": keys, "vehicles": vehicles}, f"?as={form}")
        tracemalloc.start()
        before = pa.total_allocated_bytes()
        arrow = length = 0
        for piece in response.response:
            length += len(piece)
            arrow = max(arrow, pa.total_allocated_bytes() - before)
        _, python = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        peaks.append(python + arrow)
        lengths.append(length)
    assert lengths[1] > 5 * lengths[0] > 5 * 4_000_000
    assert peaks[1] < 1.2 * peaks[0] + 1_000_000
