"""build-work-order over HTTP: shape, agreement with the bill, and faults."""

from typing import Any

import pytest

from drawn_requests import answer_name, answer_of, validator
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job import HAZARDS

OPERATION = "build-work-order"
Document = dict[str, Any]


def answered(body: Document, operation: str = OPERATION) -> Document:
    response = answer_of(operation, body)
    assert response.status_code == 200, response.get_data(as_text=True)
    found: Document = response.get_json()
    return found


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_an_answer_is_what_its_schema_says_and_agrees_with_the_bill(name: str) -> None:
    body = {"job": demo_job(name)}
    order, bill = answered(body), answered(body, "build-bill-of-materials")
    validator(answer_name(OPERATION)).validate(order)
    for member in ("verdict", "title", "labour_duration"):
        assert order[member] == bill[member]
    texts = {caution["key"] for caution in order["cautions"]}
    keys = {caution["key"] for caution in bill["cautions"]}
    assert keys | {key for step in order["steps"] for key in step["cautions"]} == texts
    lines = {line["number"]: line for line in bill["lines"]}
    used = {entry["line"] for s in order["steps"] for entry in (*s["parts"], *s["labour"])}
    assert used - {None} == set(lines)
    for step in order["steps"]:
        for entry in step["labour"]:
            assert entry["operation"] == lines[entry["line"]]["key"]
    assert {"iec_60947_1"} <= {source["key"] for source in order["sources"]}


def test_stated_hazards_stand_in_the_answer() -> None:
    job = demo_job("hybrid_jump_start")
    assert answered({"job": job})["vehicle"]["hazards"] == []
    job["vehicle"]["hazards"] = list(HAZARDS)
    assert answered({"job": job})["vehicle"]["hazards"] == list(HAZARDS)
    job["vehicle"]["hazards"] = ["dragons"]
    response = answer_of(OPERATION, {"job": job})
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["pointer"] == "/job/vehicle/hazards/0"


def test_a_circuit_that_is_not_built_is_named() -> None:
    job = demo_job("combustion_car")
    job["equipment"][0]["load_current"] = 900
    order = answered({"job": job})
    validator(answer_name(OPERATION)).validate(order)
    assert order["verdict"] == "incomplete"
    assert order["not_built"] == [{"circuit": "amplifier_feed", "verdict": "no_conductor"}]


def test_the_same_request_gives_the_same_bytes() -> None:
    body = {"job": demo_job("van_second_battery")}
    first = answer_of(OPERATION, body).get_data()
    answer_of(OPERATION, {"job": demo_job("truck_24v")})
    assert answer_of(OPERATION, body).get_data() == first
