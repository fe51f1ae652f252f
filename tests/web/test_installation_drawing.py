"""draw-installation over HTTP: forms, plans, sameness and faults."""

import json
from typing import Any
from xml.etree import ElementTree

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from drawn_installations import circuit_document, job_document, load_document
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.web.app import create_app
from set_up import create_with

URL = "/v1/draw-installation"
SVG = "image/svg+xml"
Document = dict[str, Any]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_svg_comes_without_a_wish_and_is_that_of_the_json_answer(
    name: str, client: FlaskClient
) -> None:
    request = {"job": demo_job(name)}
    response = client.post(URL, json=request)
    assert response.status_code == 200
    assert response.content_type == SVG
    assert client.post(URL, json=request).data == response.data
    answer = client.post(URL, json=request, headers={"Accept": "application/json"}).get_json()
    components = client.get("/v1/openapi.json").get_json()["components"]
    root = {"$ref": "#/components/schemas/DrawingAnswer", "components": components}
    Draft202012Validator(root).validate(answer)
    assert answer["svg"].encode() == response.data
    drawn = ElementTree.fromstring(response.data)
    assert int(drawn.attrib["width"]) == answer["width_px"] == 380
    assert int(drawn.attrib["height"]) == answer["height_px"]
    assert answer["name"] == "single_line"


def test_plan_is_chosen_by_name(client: FlaskClient) -> None:
    job = demo_job("van_second_battery")
    drawings = {
        plan: client.post(URL, json={"job": job, "plan": plan}).get_data(as_text=True)
        for plan in ("leanest", "recommended", "headroom")
    }
    # The charger is fed by 10 mm2 in the leanest plan and by 16 mm2 as the job asks.
    assert "2 \u00d7 10 mm\u00b2, 3 m" in drawings["leanest"]
    assert "2 \u00d7 16 mm\u00b2, 3 m" in drawings["recommended"]
    assert len(set(drawings.values())) == 3
    assert client.post(URL, json={"job": job}).text == drawings["recommended"]


def test_headroom_is_that_of_the_request(client: FlaskClient) -> None:
    request = {"job": demo_job("hybrid_jump_start"), "plan": "headroom"}
    usual, doubled = (
        client.post(URL, json={**request, **more}).text
        for more in ({"headroom_percent": 30}, {"headroom_percent": 100})
    )
    assert client.post(URL, json=request).text == usual
    assert doubled != usual


def test_prices_change_no_drawing(client: FlaskClient) -> None:
    job = demo_job("hybrid_jump_start")
    plain = client.post(URL, json={"job": job})
    priced = client.post(URL, json={"job": job, "pricing": {"as_of": "2031-04-30"}})
    assert priced.status_code == 200, priced.text
    assert priced.data == plain.data


def test_cost_is_in_no_drawing_and_needs_no_key() -> None:
    client = create_with(access="open").test_client()
    request = {"job": demo_job("hybrid_jump_start"), "pricing": {"show_cost": True}}
    assert client.post(URL, json=request).status_code == 200


@pytest.mark.parametrize(
    ("request_", "pointer"),
    [
        ({}, "/job"),
        ({"job": demo_job("truck_24v"), "plan": "thickest"}, "/plan"),
        ({"job": demo_job("truck_24v"), "headroom_percent": 900}, "/headroom_percent"),
        ({"job": demo_job("truck_24v"), "circuit": "cab_main"}, "/circuit"),
        ({"job": {**demo_job("truck_24v"), "circuits": []}}, "/job/circuits"),
        ({"job": demo_job("truck_24v"), "price_book": {}}, "/price_book/name"),
    ],
)
def test_fault_is_named_by_its_place(request_: Document, pointer: str, client: FlaskClient) -> None:
    response = client.post(URL, json=request_)
    assert response.status_code == 422
    assert response.content_type == "application/problem+json"
    assert pointer in [error["pointer"] for error in response.get_json()["errors"]]


def test_fault_of_the_engineering_is_that_of_plan_installation(client: FlaskClient) -> None:
    job = demo_job("hybrid_jump_start")
    job["conductors"]["insulation"] = "pvc_70"
    job["circuits"][0]["route"][0]["zone"] = "engine_compartment"
    problems = [client.post(url, json={"job": job}) for url in (URL, "/v1/plan-installation")]
    assert [problem.status_code for problem in problems] == [422, 422]
    first, second = (json.loads(problem.data) for problem in problems)
    assert first["code"] == second["code"]
    assert first["errors"] == second["errors"]


def test_what_cannot_be_built_is_drawn_all_the_same(client: FlaskClient) -> None:
    job = job_document(
        [circuit_document("feed", "battery", 5.0)], [load_document("feed", load_current=900)]
    )
    response = client.post(URL, json={"job": job})
    assert response.status_code == 200
    assert "Not built: no conductor of its series" in response.text


def test_refused_forms_and_other_methods_are_problems(client: FlaskClient) -> None:
    request = {"job": demo_job("truck_24v")}
    refused = client.post(URL, json=request, headers={"Accept": "application/pdf"})
    assert refused.status_code == 406
    assert refused.get_json()["code"] == "not_acceptable"
    got = client.get(URL)
    assert got.status_code == 405
    assert "POST" in got.headers["Allow"]
