"""The ways in which a request states its price book: JSON, CSV, a name, or not at all."""

from itertools import combinations
from typing import Any

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from loomwright.jobs.demo_library import demo_job, demo_price_book
from loomwright.pricing.book_csv import csv_of_document
from loomwright.web.app import create_app
from loomwright.web.schemas.bill_request import REQUEST, request_components
from loomwright.web.schemas.price_book import BOOK_CHOICE

URL = "/v1/build-bill-of-materials"
Document = dict[str, Any]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture(scope="module")
def request_schema() -> Draft202012Validator:
    root = f"#/components/schemas/{REQUEST.name}"
    return Draft202012Validator({"$ref": root, "components": {"schemas": request_components()}})


def demo_tables() -> dict[str, str]:
    return csv_of_document(demo_price_book())


def errors(client: FlaskClient, document: Document, code: str) -> list[tuple[str, str]]:
    response = client.post(URL, json={"job": demo_job("truck_24v"), **document})
    problem = response.get_json()
    assert (response.status_code, problem["code"]) == (422, code)
    return [(error["pointer"], error["message"]) for error in problem["errors"]]


def test_a_book_as_csv_gives_the_same_bytes(
    client: FlaskClient, request_schema: Draft202012Validator
) -> None:
    plain = {"job": demo_job("truck_24v")}
    by_csv = {**plain, "price_book_csv": demo_tables()}
    request_schema.validate(by_csv)
    response = client.post(URL, json=by_csv)
    assert response.status_code == 200
    assert response.data == client.post(URL, json=plain).data


def test_a_fault_of_a_table_names_table_row_and_column(client: FlaskClient) -> None:
    tables = demo_tables()
    # The fourth part, and so the fifth row with the header.
    assert tables["parts"].split("\r\n")[4].startswith("DEMO-FRIDGE-45,")
    tables["parts"] = tables["parts"].replace("685.00", "685 EUR")
    tables["rules"] += "tie_spacing,1\r\n"
    last = len(tables["rules"].splitlines())
    found = errors(client, {"price_book_csv": tables}, "invalid_request")
    assert found == [
        (
            "/price_book_csv/parts",
            'row 5, column unit_price: A decimal string such as "12.50" is needed, '
            "up to six decimals.",
        ),
        (
            "/price_book_csv/rules",
            f"row {last}, column rule: Unknown member; remove it or check its spelling.",
        ),
    ]


@pytest.mark.parametrize(
    ("stated", "pointer"),
    [
        ("parts", "/price_book_csv"),
        (None, "/price_book_csv"),
        ([], "/price_book_csv"),
        ({}, "/price_book_csv/book"),
        ({"book": 5}, "/price_book_csv/book"),
        ({"book": None}, "/price_book_csv/book"),
        ({**demo_tables(), "a/b": "x"}, "/price_book_csv/a~1b"),
    ],
)
def test_what_is_no_object_of_texts_is_refused(
    client: FlaskClient, request_schema: Draft202012Validator, stated: object, pointer: str
) -> None:
    assert not request_schema.is_valid({"job": demo_job("truck_24v"), "price_book_csv": stated})
    assert [at for at, _ in errors(client, {"price_book_csv": stated}, "invalid_request")] == [
        pointer
    ]


STATED: Document = {
    "price_book": demo_price_book(),
    "price_book_csv": demo_tables(),
    "price_book_name": "summer",
    "price_book_from": {"provider": "shop", "price_book": "summer"},
}


@pytest.mark.parametrize("pair", list(combinations(BOOK_CHOICE, 2)))
def test_two_ways_at_once_are_refused(
    client: FlaskClient, request_schema: Draft202012Validator, pair: tuple[str, str]
) -> None:
    both = {name: STATED[name] for name in pair}
    assert not request_schema.is_valid({"job": demo_job("truck_24v"), **both})
    ((pointer, message),) = errors(client, both, "invalid_request")
    assert pointer == f"/{pair[1]}"
    listed = "price_book, price_book_csv, price_book_name, price_book_from"
    assert message == f"State one of {listed}, not more."


def test_faults_of_book_and_job_are_listed_at_once(client: FlaskClient) -> None:
    job = demo_job("truck_24v")
    del job["title"]
    found = errors(client, {"job": job, "price_book_csv": {"book": "name\nx"}}, "invalid_request")
    assert [pointer for pointer, _ in found] == ["/job/title", "/price_book_csv/book"]
