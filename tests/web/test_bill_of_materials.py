"""build-bill-of-materials over HTTP: wiring, answers under their schema, hostile bodies."""

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import orjson
import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.web import bill
from loomwright.web.app import GREATEST_BODY_BYTES, create_app

URL = "/v1/build-bill-of-materials"
Document = dict[str, Any]
Post = Callable[[Document], Document]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture(scope="module")
def answer_schema(client: FlaskClient) -> Draft202012Validator:
    components = client.get("/v1/openapi.json").get_json()["components"]
    root = {"$ref": "#/components/schemas/BuildBillOfMaterialsAnswer", "components": components}
    return Draft202012Validator(root)


@pytest.fixture
def answered(client: FlaskClient, answer_schema: Draft202012Validator) -> Post:
    """Post a request, see 200 and an answer under the OpenAPI schema."""

    def post(document: Document) -> Document:
        response = client.post(URL, json=document)
        assert response.status_code == 200, response.get_data(as_text=True)
        answer = json.loads(response.data)
        answer_schema.validate(answer)
        return answer

    return post


def problem(client: FlaskClient, document: object) -> Document:
    response = client.post(URL, data=orjson.dumps(document), content_type="application/json")
    assert response.content_type == "application/problem+json"
    found = response.get_json()
    assert found["status"] == response.status_code
    assert 400 <= response.status_code < 500
    return found


def pointers(found: Document) -> list[str]:
    return [error["pointer"] for error in found["errors"]]


def circuit_of(answer: Document, key: str) -> Document:
    return next(circuit for circuit in answer["circuits"] if circuit["key"] == key)


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_a_demo_job_is_answered_with_sources_and_version(answered: Post, name: str) -> None:
    answer = answered({"job": demo_job(name)})
    assert answer["verdict"] == "complete"
    assert answer["engine_version"]
    assert {source["checked"] for source in answer["sources"]} >= {"memory", "practice"}
    assert all(caution["text"] for caution in answer["cautions"])


def test_the_embedded_book_serves_where_none_is_sent(client: FlaskClient) -> None:
    job = demo_job("truck_24v")
    embedded = client.post(URL, json={"job": job})
    sent = client.post(URL, json={"job": job, "price_book": demo_price_book()})
    assert embedded.data == sent.data


def test_figures_have_at_most_six_digits(answered: Post) -> None:
    answer = answered({"job": demo_job("van_second_battery")})

    def numbers(value: object) -> list[float]:
        if isinstance(value, dict):
            value = list(value.values())
        if isinstance(value, list):
            return [number for item in value for number in numbers(item)]
        return [value] if isinstance(value, float) else []

    found = numbers(answer)
    assert len(found) > 50
    assert all(number == float(f"{number:.6g}") for number in found)


def test_a_part_that_the_book_lacks_is_unpriced_and_the_bill_still_comes(answered: Post) -> None:
    book = demo_price_book()
    book["parts"] = [part for part in book["parts"] if part["kind"] != "grommet"]
    whole = answered({"job": demo_job("combustion_car")})
    answer = answered({"job": demo_job("combustion_car"), "price_book": book})
    assert answer["verdict"] == "incomplete"
    (missing,) = answer["unpriced"]
    assert (missing["kind"], missing["quantity"], missing["unit"]) == ("grommet", "1", "EA")
    (gone,) = [line for line in whole["lines"] if line["kind"] == "grommet"]
    assert Decimal(answer["net_total"]) == Decimal(whole["net_total"]) - Decimal(gone["total"])


def test_a_circuit_without_a_fuse_or_conductor_is_answered(answered: Post) -> None:
    job = demo_job("hybrid_jump_start")
    job["equipment"][0].update(load_current=35)
    for member in ("fuse_rating", "amplifier"):
        del job["equipment"][0][member]
    job["circuits"][0]["fuse_types"] = ["iso_8820_3_c"]
    (circuit,) = answered({"job": job})["circuits"]
    assert (circuit["verdict"], circuit["fuse"]) == ("no_fuse", None)
    assert circuit["fuse_verdict"] == "no_rating_fits"
    job["equipment"][0].update(load_current=900)
    answer = answered({"job": job})
    assert answer["circuits"][0]["conductor"] is None
    assert {line["kind"] for line in answer["lines"]} == {"equipment", "labour"} | {
        "signal_lead",
        "remote_lead",
        "remote_lead_ends",
        "fixing_set",
        # Of the leads; the circuit has no ties of its own.
        "cable_tie",
        "tap",
    }


def test_a_branch_behind_a_feeder_without_a_fuse_says_so(answered: Post) -> None:
    job = demo_job("truck_24v")
    # 40 A is the greatest rating of the type; 100 lights of 12 W on 24 V alone ask for 50 A.
    job["equipment"][1].update(quantity=100, load_power=12)
    job["circuits"][0].update(allowed_voltage_drop_percent=10, fuse_types=["iso_8820_3_c"])
    job["circuits"][2].update(allowed_voltage_drop_percent=14)
    for branch in job["circuits"][1:]:
        branch["fuse_types"] = ["iso_8820_5_sf30"]
    answer = answered({"job": job})
    assert answer["verdict"] == "source_overloaded"
    assert circuit_of(answer, "cab_main")["verdict"] == "no_fuse"
    assert {circuit["verdict"] for circuit in answer["circuits"][1:]} == {"no_feeder"}


def test_an_overloaded_source_is_a_verdict(answered: Post) -> None:
    job = demo_job("hybrid_jump_start")
    job["power_sources"][0]["greatest_current"] = "10 A"
    answer = answered({"job": job})
    assert answer["verdict"] == "source_overloaded"
    assert answer["power_sources"][0]["verdict"] == "above_limit"


LAMP_BOOK: Document = {
    "name": "Test shop",
    "currency": "EUR",
    "taxes": [{"key": "tax", "name": "Tax", "percent": "10"}],
    "parts": [
        {
            "key": "LAMP",
            "kind": "equipment",
            "description": "Lamp",
            "attributes": {"reference": "DEMO-WORK-40"},
            "unit": "EA",
            "unit_price": "3.3345",
        }
    ],
    "labour": [],
}


@pytest.mark.parametrize(
    ("currency", "net", "tax", "total"),
    [
        # ISO 4217: the yen has no decimals, the euro two, the Kuwaiti dinar three, the Chilean
        # unidad de fomento four. 4 x 3.3345 = 13.338; 10 % of the rounded net, half away from 0.
        ("JPY", "13", "1", "14"),
        ("EUR", "13.34", "1.33", "14.67"),
        ("KWD", "13.338", "1.334", "14.672"),
        ("CLF", "13.3380", "1.3338", "14.6718"),
    ],
)
def test_totals_follow_the_currency(
    answered: Post, currency: str, net: str, tax: str, total: str
) -> None:
    answer = answered(
        {"job": demo_job("truck_24v"), "price_book": LAMP_BOOK | {"currency": currency}}
    )
    assert answer["currency"] == currency
    assert [line["key"] for line in answer["lines"]] == ["LAMP"]
    assert (answer["net_total"], answer["taxes"][0]["amount"]) == (net, tax)
    assert answer["total"] == total
    assert len(answer["unpriced"]) > 20


def test_faults_of_envelope_job_and_book_are_listed_at_once(client: FlaskClient) -> None:
    job, book = demo_job("combustion_car"), demo_price_book()
    job["circuits"][0]["route"][1]["zone"] = "moon"
    del job["title"]
    book["parts"][3]["unit_price"] = 1.5
    book["labour"][2]["key"] = book["labour"][0]["key"]
    found = problem(client, {"job": job, "price_book": book, "a/b~c": 1})
    assert found["code"] == "invalid_request"
    assert sorted(pointers(found)) == [
        "/a~1b~0c",
        "/job/circuits/0/route/1/zone",
        "/job/title",
        "/price_book/labour/2/key",
        "/price_book/parts/3/unit_price",
    ]


@pytest.mark.parametrize("value", [None, True, 5, "job", [], [{}]])
@pytest.mark.parametrize("name", ["job", "price_book"])
def test_what_is_no_object_is_refused(client: FlaskClient, name: str, value: object) -> None:
    found = problem(client, {"job": demo_job("truck_24v"), name: value})
    assert pointers(found) == [f"/{name}"]


def test_a_missing_job_is_named(client: FlaskClient) -> None:
    assert pointers(problem(client, {})) == ["/job"]


def test_an_error_of_the_engineering_names_the_circuit_in_the_request(client: FlaskClient) -> None:
    job = demo_job("combustion_car")
    job["conductors"]["insulation"] = "pvc_70"
    found = problem(client, {"job": job})
    assert found["status"] == 422
    assert pointers(found) == ["/job/circuits/0"]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"null",
        b'{"job": NaN}',
        b'{"job": Infinity}',
        b'{"job": 1e400}',
        b'{"job": {}',
        b"\xff\xfe",
        b'{"job": "\\ud800"}',
        b'{"job": ' + b"[" * 5000 + b"]" * 5000 + b"}",
        b'{"job": ' + b'{"job": ' * 5000 + b"1" + b"}" * 5000 + b"}",
        b'{"job": ' + b"[" * 900 + b"]" * 900 + b"}",
        b'{"job": ' + b"9" * 5000 + b"}",
    ],
    ids=lambda body: repr(body[:20]),
)
def test_a_hostile_body_is_refused_and_nothing_leaks(client: FlaskClient, body: bytes) -> None:
    response = client.post(URL, data=body, content_type="application/json")
    assert response.status_code in (400, 422)
    assert response.content_type == "application/problem+json"
    text = response.get_data(as_text=True)
    assert not any(word in text for word in ("Traceback", "loomwright", ".py", "marshmallow"))


def test_a_fault_of_the_service_says_nothing_of_its_cause(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the cause")

    monkeypatch.setattr(bill, "priced_job", broken)
    response = client.post(URL, json={"job": demo_job("truck_24v")})
    assert response.status_code == 500
    assert response.get_json()["code"] == "internal_error"
    assert "the cause" not in response.get_data(as_text=True)


def large_book(body_bytes: int) -> Document:
    """The demo book, filled up with parts that no job asks for."""
    book = demo_price_book()
    filler = {**book["parts"][0], "key": "X-000000", "attributes": {"reference": "X-000000"}}
    size = len(orjson.dumps({"job": demo_job("truck_24v"), "price_book": book}))
    count = (body_bytes - size) // (len(orjson.dumps(filler)) + 1)
    keys = [f"X-{index:06d}" for index in range(count)]
    book["parts"] += [{**filler, "key": key, "attributes": {"reference": key}} for key in keys]
    return book


def test_a_book_of_a_mebibyte_is_read_and_a_larger_one_refused(
    client: FlaskClient, answered: Post
) -> None:
    job = demo_job("truck_24v")
    body = {"job": job, "price_book": large_book(GREATEST_BODY_BYTES - 2000)}
    size = len(orjson.dumps(body))
    assert 0.97 * GREATEST_BODY_BYTES < size <= GREATEST_BODY_BYTES
    response = client.post(URL, data=orjson.dumps(body), content_type="application/json")
    assert response.status_code == 200
    assert response.get_json()["total"] == answered({"job": job})["total"]
    body["price_book"]["name"] = "x" * (GREATEST_BODY_BYTES - size + 1000)
    response = client.post(URL, data=orjson.dumps(body), content_type="application/json")
    assert response.status_code == 413
    assert response.content_type == "application/problem+json"


def test_a_mebibyte_of_faults_is_refused_with_each_of_them(client: FlaskClient) -> None:
    book = {**LAMP_BOOK, "parts": [0] * 20_000}
    found = problem(client, {"job": demo_job("truck_24v"), "price_book": book})
    assert len(found["errors"]) == 20_000
    unknown = {f"m{index}": 0 for index in range(60_000)}
    assert len(problem(client, {"job": unknown})["errors"]) > 60_000


@pytest.mark.parametrize("method", ["get", "put", "delete", "patch"])
def test_only_post_is_taken(client: FlaskClient, method: str) -> None:
    response = getattr(client, method)(URL)
    assert response.status_code == 405
    assert "POST" in response.headers["Allow"]


def test_another_media_type_is_refused(client: FlaskClient) -> None:
    assert client.post(URL, data="job=1").status_code == 415
