"""check-price-book over HTTP: faults as an answer, what jobs miss, findings, who may see cost."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from drawn_requests import validator
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.pricing.book_csv import csv_of_document
from loomwright.pricing.book_document import price_book_digest
from loomwright.web.app import create_app
from set_up import change_settings, key_entry

URL = "/v1/check-price-book"
Document = dict[str, Any]
Check = Callable[..., Document]
KEY = "a key of the test"


@pytest.fixture
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture
def check(client: FlaskClient) -> Check:
    """Post a request, see 200 and an answer under the OpenAPI schema."""

    def post(headers: dict[str, str] | None = None, **document: Any) -> Document:
        response = client.post(URL, json=document, headers=headers)
        assert response.status_code == 200, response.get_data(as_text=True)
        answer: Document = response.get_json()
        validator("CheckPriceBookAnswer").validate(answer)
        return answer

    return post


@pytest.fixture
def mount(client: FlaskClient, tmp_path: Path) -> Callable[[str, Document], None]:
    """Mount a book under a name."""
    change_settings(client.application, price_books=tmp_path)

    def put(name: str, document: Document) -> None:
        (tmp_path / f"{name}.json").write_text(json.dumps(document), "utf-8")

    return put


def refused(client: FlaskClient, document: object, status: int = 422) -> tuple[str, list[str]]:
    response = client.post(URL, json=document)
    problem = response.get_json()
    assert response.status_code == status, problem
    validator("Problem").validate(problem)
    return problem["code"], [error["pointer"] for error in problem["errors"]]


def without(kind: str) -> Document:
    """The demo book without a kind of part, and without kits that would hold it."""
    book = {**demo_price_book(), "kits": []}
    book["parts"] = [part for part in book["parts"] if part["kind"] != kind]
    return book


def below_cost() -> Document:
    """The demo book with a cost above the price of its first part."""
    book = demo_price_book()
    book["parts"][0]["cost"] = "190.00"
    return book


def test_the_demo_book_serves_the_demo_jobs(check: Check) -> None:
    answer = check(jobs=[demo_job(name) for name in DEMO_JOBS])
    assert answer["verdict"] == "usable"
    assert answer["price_book"]["digest"] == price_book_digest(demo_price_book())
    assert answer["findings"]["missing"] == []
    assert answer["sources"]


def test_what_is_not_asked_for_is_null_and_not_empty(check: Check) -> None:
    findings = check()["findings"]
    assert {name for name, group in findings.items() if group is None} == {
        "missing",
        "stale",
        "unused",
    }


def test_faults_of_a_book_are_the_answer(check: Check) -> None:
    book = demo_price_book()
    book["currency"] = "EURO"
    book["parts"][3]["unit_price"] = 5
    answer = check(price_book=book)
    assert (answer["verdict"], answer["price_book"], answer["findings"]) == (
        "not_usable",
        None,
        None,
    )
    assert [fault["pointer"] for fault in answer["faults"]] == [
        "/price_book/currency",
        "/price_book/parts/3/unit_price",
    ]
    assert {fault["table"] for fault in answer["faults"]} == {None}


def test_faults_of_tables_are_named_by_table_row_and_column(check: Check) -> None:
    tables = csv_of_document(demo_price_book())
    tables["labour"] = tables["labour"].replace("68.00", '"68,00"', 1)
    (fault,) = check(price_book_csv=tables)["faults"]
    assert fault.pop("message").startswith("row 2, column hourly_rate: ")
    assert fault == {
        "pointer": "/price_book_csv/labour",
        "table": "labour",
        "row": 2,
        "column": "hourly_rate",
    }


def test_faults_of_a_mounted_book_are_the_answer_too(
    check: Check, mount: Callable[[str, Document], None]
) -> None:
    mount("summer", {**demo_price_book(), "currency": "EURO"})
    answer = check(price_book_name="summer")
    assert answer["verdict"] == "not_usable"
    (fault,) = answer["faults"]
    assert fault["pointer"] == "/price_book_name"
    assert fault["message"].startswith("summer/currency: ")


@pytest.mark.parametrize("value", [5, None, [], "x"])
@pytest.mark.parametrize("name", ["price_book", "price_book_csv"])
def test_what_is_no_book_at_all_is_a_fault_of_the_request(
    client: FlaskClient, name: str, value: object
) -> None:
    assert refused(client, {name: value}) == ("invalid_request", [f"/{name}"])


def test_an_unknown_name_is_a_problem(client: FlaskClient) -> None:
    assert refused(client, {"price_book_name": "summer"}) == (
        "unknown_price_book",
        ["/price_book_name"],
    )


def test_what_jobs_miss_is_told_by_job(check: Check) -> None:
    jobs = [demo_job(name) for name in DEMO_JOBS]
    jobs[1]["vehicle"]["difficulty"] = "boat"
    findings = check(price_book=without("grommet"), jobs=jobs)["findings"]
    lacking = {entry["pointer"]: entry for entry in findings["missing"]}
    with_panels = {
        f"/jobs/{place}"
        for place, job in enumerate(jobs)
        if any(part.get("through_bulkhead") for c in job["circuits"] for part in c["route"])
    }
    assert set(lacking) == with_panels | {"/jobs/1"}
    assert lacking["/jobs/1"]["unknown_difficulty"] == "boat"
    for pointer in with_panels:
        assert {entry["kind"] for entry in lacking[pointer]["unpriced"]} == {"grommet"}
        assert lacking[pointer]["title"] == jobs[int(pointer[-1])]["title"]


def test_what_a_job_misses_is_what_its_bill_leaves_unpriced(
    client: FlaskClient, check: Check
) -> None:
    request = {"price_book": without("ring_terminal")}
    job = demo_job("truck_24v")
    bill = client.post("/v1/build-bill-of-materials", json={"job": job, **request}).get_json()
    (entry,) = check(jobs=[job], **request)["findings"]["missing"]
    assert entry["unpriced"] == bill["unpriced"] != []


def test_prices_that_do_not_hold_on_the_day_are_missing_on_it(check: Check) -> None:
    book = demo_price_book()
    for part in book["parts"]:
        if part["kind"] == "grommet":
            part["valid_until"] = "2031-04-29"
    request = {"price_book": book, "jobs": [demo_job("combustion_car")]}
    assert check(as_of="2031-04-29", **request)["findings"]["missing"] == []
    late = check(as_of="2031-04-30", **request)
    assert late["verdict"] == "usable_with_findings"
    assert [e["kind"] for e in late["findings"]["missing"][0]["unpriced"]] == ["grommet"]
    assert {entry["finding"] for entry in late["findings"]["stale"]} == {"expired"}


def test_a_book_that_does_not_hold_on_the_day_is_not_usable(check: Check) -> None:
    book = {**demo_price_book(), "valid_until": "2031-04-29"}
    request = {"price_book": book, "jobs": [demo_job("combustion_car")]}
    assert check(as_of="2031-04-29", **request)["verdict"] == "usable_with_findings"
    late = check(as_of="2031-04-30", **request)
    assert late["verdict"] == "not_usable"
    assert late["faults"] == []
    # The book is judged as if it held: what else is wrong with it is worth knowing.
    assert late["findings"]["missing"] == []
    assert check(price_book=book)["verdict"] == "usable"


def test_unused_is_listed_when_asked_for_and_has_no_part_in_the_verdict(check: Check) -> None:
    answer = check(jobs=[demo_job("combustion_car")], list_unused=True)
    assert answer["verdict"] == "usable"
    unused = {key for entry in answer["findings"]["unused"] for key in entry["keys"]}
    assert "DEMO-RADIO-24" in unused
    assert "DEMO-AMP-1" not in unused


def test_a_book_in_the_request_is_held_against_its_costs(check: Check) -> None:
    for request in (
        {"price_book": below_cost()},
        {"price_book_csv": csv_of_document(below_cost())},
    ):
        answer = check(**request)
        assert answer["verdict"] == "usable_with_findings"
        (finding,) = answer["findings"]["below_cost"]
        assert (finding["finding"], finding["keys"]) == ("unit_price_below_cost", ["DEMO-AMP-1"])


def test_costs_of_a_mounted_book_are_for_listed_keys_only(
    client: FlaskClient,
    check: Check,
    mount: Callable[[str, Document], None],
    tmp_path: Path,
) -> None:
    mount("summer", below_cost())
    plain = check(price_book_name="summer")
    # Not even the verdict tells that something is sold below its cost.
    assert (plain["verdict"], plain["findings"]["below_cost"]) == ("usable", None)
    assert "190" not in json.dumps(plain)
    wanted = {"price_book_name": "summer", "show_cost": True}
    assert refused(client, wanted, 401) == ("key_required", ["/show_cost"])
    keys = tmp_path / "keys.txt"
    keys.write_text(key_entry(KEY, "cost"), "utf-8")
    change_settings(client.application, keys_file=keys)
    other = client.post(URL, json=wanted, headers={"Authorization": "Bearer another"})
    assert (other.status_code, other.get_json()["code"]) == (401, "key_not_accepted")
    seen = check(headers={"Authorization": f"Bearer {KEY}"}, **wanted)
    assert seen["verdict"] == "usable_with_findings"
    assert [entry["keys"] for entry in seen["findings"]["below_cost"]] == [["DEMO-AMP-1"]]


@pytest.mark.parametrize(
    ("document", "pointer"),
    [
        ({"jobs": []}, "/jobs"),
        ({"jobs": {}}, "/jobs"),
        ({"jobs": [demo_job("truck_24v")] * 51}, "/jobs"),
        ({"jobs": [demo_job("truck_24v"), 5]}, "/jobs/1"),
        ({"as_of": "2031-02-30"}, "/as_of"),
        ({"as_of": None}, "/as_of"),
        ({"list_unused": "yes"}, "/list_unused"),
        ({"show_cost": 1}, "/show_cost"),
        ({"price_book": {}, "price_book_name": "x"}, "/price_book_name"),
        ({"price_book_name": 5}, "/price_book_name"),
        ({"surplus": 1}, "/surplus"),
    ],
)
def test_faults_of_the_request_are_named(
    client: FlaskClient, document: Document, pointer: str
) -> None:
    assert refused(client, document) == ("invalid_request", [pointer])


def test_faults_of_all_jobs_are_listed_at_once(client: FlaskClient) -> None:
    jobs = [demo_job("truck_24v"), demo_job("combustion_car")]
    del jobs[0]["title"]
    jobs[1]["vehicle"]["drive"] = "sail"
    assert refused(client, {"jobs": jobs}) == (
        "invalid_request",
        ["/jobs/0/title", "/jobs/1/vehicle/drive"],
    )


def test_a_job_outside_the_models_is_named_by_its_place(client: FlaskClient) -> None:
    job = demo_job("combustion_car")
    # The engine compartment is hotter than this insulation bears.
    job["conductors"]["insulation"] = "pvc_70"
    code, pointers = refused(client, {"jobs": [demo_job("truck_24v"), job]})
    assert code == "ambient_not_below_rating"
    assert pointers[0].startswith("/jobs/1/circuits/0")


def test_fifty_jobs_are_checked(check: Check) -> None:
    jobs = [demo_job(DEMO_JOBS[place % len(DEMO_JOBS)]) for place in range(50)]
    assert check(jobs=jobs)["verdict"] == "usable"
