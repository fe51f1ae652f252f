"""The pricing part of build-bill-of-materials: options, keys for cost, validity, same bytes."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import orjson
import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from loomwright.jobs.demo_library import demo_job, demo_price_book
from loomwright.web.app import create_app
from set_up import change_settings, key_entry

URL = "/v1/build-bill-of-materials"
Document = dict[str, Any]
KEY = "a key of the workshop's owner"


@pytest.fixture
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture
def key_file(client: FlaskClient, tmp_path: Path) -> Path:
    """The operator's file with the digest of the one key that may see cost."""
    path = tmp_path / "keys"
    path.write_text(key_entry(KEY, "price", "cost"), encoding="utf-8")
    change_settings(client.application, keys_file=path)
    return path


def post(client: FlaskClient, document: Document, key: str | None = None) -> TestResponse:
    headers = {} if key is None else {"Authorization": f"Bearer {key}"}
    body = orjson.dumps(document)
    return client.post(URL, data=body, content_type="application/json", headers=headers)


def priced(pricing: Document | None = None, book: Document | None = None) -> Document:
    document: Document = {"job": demo_job("hybrid_jump_start")}
    if pricing is not None:
        document["pricing"] = pricing
    if book is not None:
        document["price_book"] = book
    return document


def costed_book() -> Document:
    book = demo_price_book()
    for part in book["parts"]:
        part["cost"] = "1"
    for operation in book["labour"]:
        operation["hourly_cost"] = "31"
    return book


@pytest.mark.usefixtures("key_file")
def test_cost_is_shown_to_a_listed_key_only_when_asked(client: FlaskClient) -> None:
    asked = priced({"show_cost": True}, costed_book())
    answer = post(client, asked, KEY).get_json()
    assert answer["cost"]["uncosted"] == []
    total = sum(float(line["cost"]) for line in answer["cost"]["lines"])
    assert total == pytest.approx(float(answer["cost"]["cost_total"]))
    margin = float(answer["net_total"]) - float(answer["cost"]["cost_total"])
    assert float(answer["cost"]["margin"]) == pytest.approx(margin)
    unasked = post(client, priced({}, costed_book()), KEY)
    assert "cost" not in unasked.get_json()
    assert b'"cost' not in unasked.data
    assert b'"margin' not in unasked.data


@pytest.mark.usefixtures("key_file")
@pytest.mark.parametrize(
    ("key", "status", "code"),
    [
        (None, 401, "key_required"),
        ("another key", 401, "key_not_accepted"),
        ("", 401, "key_required"),
    ],
)
def test_cost_is_refused_without_a_listed_key(
    client: FlaskClient, key: str | None, status: int, code: str
) -> None:
    response = post(client, priced({"show_cost": True}, costed_book()), key or None)
    assert (response.status_code, response.get_json()["code"]) == (status, code)
    assert b"31" not in response.data


def test_a_key_is_withdrawn_at_once_and_none_serves_without_a_list(
    client: FlaskClient, key_file: Path
) -> None:
    asked = priced({"show_cost": True})
    assert post(client, asked, KEY).status_code == 200
    key_file.write_text("", encoding="ascii")
    assert post(client, asked, KEY).get_json()["code"] == "key_not_accepted"
    key_file.write_text(key_entry(KEY, "price"), encoding="utf-8")
    assert post(client, asked, KEY).get_json()["code"] == "key_not_permitted"
    change_settings(client.application, keys_file=None)
    assert post(client, asked, KEY).get_json()["code"] == "key_not_accepted"


def test_key_required_names_its_scheme(client: FlaskClient) -> None:
    response = post(client, priced({"show_cost": True}))
    assert response.headers["WWW-Authenticate"].startswith("Bearer")


def test_every_fault_of_the_options_is_named(client: FlaskClient) -> None:
    pricing = {
        "as_of": "2031-02-30",
        "line_discounts": [{"percent": "5"}, {"kind": "cloud", "percent": "101"}],
        "document_discount": {"percent": "5", "amount": "1"},
        "package": {"name": "", "price": "1.005"},
        "deposit": {},
        "odd": 1,
    }
    found = post(client, priced(pricing)).get_json()
    assert sorted(error["pointer"] for error in found["errors"]) == [
        "/pricing/as_of",
        "/pricing/deposit/percent",
        "/pricing/document_discount/percent",
        "/pricing/line_discounts/0/key",
        "/pricing/line_discounts/1/kind",
        "/pricing/line_discounts/1/percent",
        "/pricing/odd",
        "/pricing/package",
        "/pricing/package/name",
        "/pricing/package/price",
    ]


@pytest.mark.parametrize(
    ("pricing", "code", "pointer"),
    [
        (
            {"document_discount": {"amount": "999999"}},
            "discount_above_total",
            "/pricing/document_discount/amount",
        ),
        ({"deposit": {"amount": "999999"}}, "deposit_above_total", "/pricing/deposit/amount"),
        ({"as_of": "2031-06-01"}, "price_book_not_valid", "/pricing/as_of"),
    ],
)
def test_options_that_do_not_fit_the_bill_are_named(
    client: FlaskClient, pricing: Document, code: str, pointer: str
) -> None:
    book = {**demo_price_book(), "valid_until": "2031-05-31"}
    response = post(client, priced(pricing, book))
    found = response.get_json()
    assert (response.status_code, found["code"]) == (422, code)
    assert [error["pointer"] for error in found["errors"]] == [pointer]


def test_a_quote_holds_until_the_first_of_its_prices_ends(client: FlaskClient) -> None:
    book = {**demo_price_book(), "valid_until": "2031-12-31", "quote_days": 30}
    as_of = {"as_of": "2031-05-01"}
    assert post(client, priced(as_of, book)).get_json()["valid_until"] == "2031-05-31"
    unit = next(part for part in book["parts"] if part["key"] == "DEMO-BASS-P")
    unit["valid_until"] = "2031-05-20"
    assert post(client, priced(as_of, book)).get_json()["valid_until"] == "2031-05-20"
    # Without a day no clock is read: only what is stated limits the quote.
    assert post(client, priced({}, book)).get_json()["valid_until"] == "2031-05-20"
    late = post(client, priced({"as_of": "2031-05-21"}, book)).get_json()
    assert [entry["kind"] for entry in late["unpriced"]] == ["equipment"]


def test_difficulty_of_the_vehicle_lengthens_the_hours(client: FlaskClient) -> None:
    factor = {"key": "tight", "description": "tight cabin", "factor": "1.5"}
    document = priced(book={**demo_price_book(), "difficulty": [factor]})
    plain = post(client, document).get_json()
    document["job"]["vehicle"]["difficulty"] = "tight"
    harder = post(client, document).get_json()

    def hours(answer: Document) -> dict[str, float]:
        return {
            line["key"]: float(line["quantity"])
            for line in answer["lines"]
            if line["kind"] == "labour"
        }

    for key, standard in hours(plain).items():
        # Up to the next 0.05 h, once before and once after.
        assert hours(harder)[key] == pytest.approx(1.5 * standard, abs=0.075)
    assert "1.5 (tight cabin)" in harder["lines"][-1]["reason"]
    document["job"]["vehicle"]["difficulty"] = "unknown"
    found = post(client, document).get_json()
    assert found["code"] == "unknown_difficulty"
    assert found["errors"][0]["pointer"] == "/job/vehicle/difficulty"


BYTES_PROGRAM = """
import sys
from loomwright.web.app import create_app
body = sys.stdin.buffer.read()
answer = create_app().test_client().post(
    "/v1/build-bill-of-materials", data=body, content_type="application/json")
assert answer.status_code == 200, answer.data
sys.stdout.buffer.write(answer.data)
"""


def contested_book() -> Document:
    """The demo book with packs, a price break, a kit and two parts alike, so that all is chosen."""
    book = demo_price_book()
    for part in book["parts"]:
        if part["kind"] == "cable_tie":
            part["packs"] = [{"quantity": "10", "price": "0.40"}]
        if part["kind"] == "conductor":
            part["price_breaks"] = [{"from_quantity": "5", "unit_price": "0.90"}]
    twin = next(part for part in book["parts"] if part["key"] == "DEMO-BASS-P")
    book["parts"].append({**twin, "key": "DEMO-BASS-TWIN", "stock": "4"})
    contents = [{"part": "DEMO-BASS-P", "quantity": "1"}, {"part": "TIE-16", "quantity": "20"}]
    kit = {"key": "KIT", "description": "Set", "contents": contents, "unit_price": "218"}
    return {**book, "kits": [kit], "quote_days": 14}


def test_the_same_request_gives_the_same_bytes_in_every_process() -> None:
    pricing = {
        "as_of": "2031-05-01",
        "package": {"name": "Bass package", "price": "500"},
        "line_discounts": [{"kind": "labour", "percent": "7.5"}],
        "deposit": {"percent": "20"},
    }
    body = orjson.dumps(priced(pricing, contested_book()))

    def answered(seed: str) -> bytes:
        done = subprocess.run(
            [sys.executable, "-c", BYTES_PROGRAM],
            input=body,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        )
        return done.stdout

    first = answered("1")
    answer = orjson.loads(first)
    assert answer["lines_total"] == "500.00"
    assert len(answer["choices"]) >= 2
    assert {"lines", "valid_until", "price_book", "engine_version"} <= answer.keys()
    assert answered("2") == first
    assert answered("77") == first


def test_each_choice_shows_its_runner_up_and_its_proof(client: FlaskClient) -> None:
    answer = post(client, priced(book=contested_book())).get_json()
    (sets,) = [entry for entry in answer["choices"] if "KIT" in str(entry)]
    assert all(entry["gap_percent"] == 0.0 for entry in answer["choices"])
    assert [article["key"] for article in sets["articles"]][-1] == "KIT"
    other = sets["runner_up"]
    assert float(other["difference"]) == pytest.approx(float(other["price"]) - float(sets["price"]))
    line = next(line for line in answer["lines"] if line["kind"] == "kit")
    assert line["reason"].startswith("cheaper than its pieces; holds 1 x DEMO-BASS-P")
