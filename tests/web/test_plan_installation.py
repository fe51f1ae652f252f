"""plan-installation over HTTP: answers under their schema, size, sameness, faults, cost."""

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import orjson
import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from drawn_installations import circuit_document, job_document, load_document
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.web.app import create_app
from set_up import create_with, key_entry

URL = "/v1/plan-installation"
GREATEST_BYTES = 200_000
Document = dict[str, Any]
Post = Callable[[Document], Document]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture(scope="module")
def validator(client: FlaskClient) -> Draft202012Validator:
    components = client.get("/v1/openapi.json").get_json()["components"]
    root = {"$ref": "#/components/schemas/PlanInstallationAnswer", "components": components}
    return Draft202012Validator(root)


@pytest.fixture
def planned(client: FlaskClient, validator: Draft202012Validator) -> Post:
    def post(document: Document) -> Document:
        response = client.post(URL, json=document)
        assert response.status_code == 200, response.get_data(as_text=True)
        answer: Document = json.loads(response.data)
        validator.validate(answer)
        return answer

    return post


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_every_demo_job_is_planned_in_less_than_200_kb(name: str, client: FlaskClient) -> None:
    response = client.post(URL, json={"job": demo_job(name)})
    assert response.status_code == 200
    assert len(response.data) < GREATEST_BYTES
    assert client.post(URL, json={"job": demo_job(name)}).data == response.data


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_each_plan_is_complete(name: str, planned: Post) -> None:
    answer = planned({"job": demo_job(name)})
    assert answer["verdict"] == "complete"
    assert [plan["name"] for plan in answer["plans"]] == ["leanest", "recommended", "headroom"]
    for plan in answer["plans"]:
        assert plan["verdict"] == "complete"
        assert plan["network"]["state"] == "solved"
        assert plan["bill"]["unpriced"] == []
        assert plan["supply"]["verdict"] == "supply_sufficient"
        assert plan["expected_measurements"]
        assert plan["work_order"]["order"][-1] == "hand_over"


def test_totals_of_a_plan_add_up_and_differences_are_those_of_the_totals(planned: Post) -> None:
    answer = planned({"job": demo_job("van_second_battery")})
    totals = []
    for plan in answer["plans"]:
        bill = plan["bill"]
        net = Decimal(bill["net_total"])
        assert sum(Decimal(line["total"]) for line in bill["lines"]) == net
        assert net + sum(Decimal(tax["amount"]) for tax in bill["taxes"]) == Decimal(bill["total"])
        totals.append(Decimal(bill["total"]))
    differences = [Decimal(changes["total_difference"]) for changes in answer["changes"]]
    assert differences == [totals[1] - totals[0], totals[2] - totals[1]]


def test_steps_of_other_plans_are_those_of_the_recommended_one_unless_they_stand_in_them(
    planned: Post,
) -> None:
    job = demo_job("van_second_battery")
    answer = planned({"job": job})
    lean, recommended, headroom = (plan["work_order"] for plan in answer["plans"])
    full = {step["key"]: step for step in recommended["steps"]}
    assert list(full) == recommended["order"]
    for other in (lean, headroom):
        own = {step["key"]: step for step in other["steps"]}
        assert own
        assert set(other["order"]) <= full.keys() | own.keys()
        assert all(full.get(key) != step for key, step in own.items())
    # The work of a conductor that differs names its size in each plan.
    texts = [
        {step["key"]: step["text"] for step in order["steps"]}["cut/charger_input"]
        for order in (lean, recommended)
    ]
    assert "10 mm2" in texts[0]
    assert "16 mm2" in texts[1]


def test_parts_of_the_steps_are_those_of_the_bill(planned: Post) -> None:
    answer = planned({"job": demo_job("hybrid_jump_start")})
    plan = answer["plans"][1]
    billed = {line["key"] for line in plan["bill"]["lines"] if line["kind"] != "labour"}
    used = {part["key"] for step in plan["work_order"]["steps"] for part in step["parts"]}
    kits = {line["key"] for line in plan["bill"]["lines"] if line["kind"] == "kit"}
    assert billed - kits <= used
    hours = sum(Decimal(step["hours"]) for step in plan["work_order"]["steps"])
    assert hours == Decimal(plan["work_order"]["labour_hours"])


def test_ground_noise_rests_on_the_potential_of_the_network(planned: Post) -> None:
    answer = planned({"job": demo_job("combustion_car")})
    for plan in answer["plans"]:
        (state,) = plan["network"]["circuits"]
        (connection,) = plan["signal"]["connections"]
        difference = connection["ground_noise"]["ground_difference_mv"]
        assert difference == pytest.approx(state["ground_potential_mv"], rel=1e-5)
    # The thinner ground of the leanest plan has the higher potential.
    potentials = [plan["network"]["circuits"][0]["ground_potential_mv"] for plan in answer["plans"]]
    assert potentials[0] > potentials[1] >= potentials[2]


def test_a_supply_that_falls_short_is_the_verdict_with_its_cheapest_remedy(planned: Post) -> None:
    job = demo_job("van_second_battery")
    job["supply"]["existing_loads"]["idle_current"] = 45
    answer = planned({"job": job})
    assert answer["verdict"] == "supply_insufficient"
    (shortfall,) = answer["plans"][1]["supply"]["shortfalls"]
    # 60 A of which the hot alternator keeps a share, less 45 A and the charger's 30 A.
    assert shortfall["check"] == "charging_at_idle"
    assert shortfall["wanted"] == 75
    assert shortfall["cheapest"] == "raise_idle"


def test_loads_beyond_the_source_are_a_verdict_with_what_can_be_had(planned: Post) -> None:
    # 12.6 V behind 20 mohm deliver 1984.5 W at the most; either half can be had.
    job = job_document(
        [circuit_document(key, "battery", 2.0) for key in ("one", "two")],
        [load_document(key, load_power=1000) for key in ("one", "two")],
        source_resistance=0.02,
    )
    answer = planned({"job": job})
    assert answer["verdict"] == "no_operating_point"
    network = answer["plans"][1]["network"]
    assert network["state"] == "no_operating_point"
    assert 0.0 < network["greatest_power_factor"] < 1.0
    assert network["circuits"] == network["sources"] == []
    assert answer["plans"][1]["expected_measurements"] == []
    assert answer["plans"][1]["supply"] is None


def test_growth_is_asked_for_in_per_cent(planned: Post) -> None:
    job = demo_job("van_second_battery")
    none = planned({"job": job, "headroom_percent": 0})
    assert none["plans"][1]["circuits"] == none["plans"][2]["circuits"]
    much = planned({"job": job, "headroom_percent": 100})
    fuses = [plan["circuits"][0]["fuse"]["rated_current_a"] for plan in much["plans"][1:]]
    assert fuses[1] > fuses[0]


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"headroom_percent": 201}, "/headroom_percent"),
        ({"headroom_percent": -1}, "/headroom_percent"),
        ({"headroom_percent": "much"}, "/headroom_percent"),
        ({"paperwork": {"seller": ""}}, "/paperwork/seller"),
        ({"document": {"kind": "poem"}}, "/document/kind"),
        ({"document": {"paper": "a4"}}, "/document/paper"),
        ({"job": None}, "/job"),
        ({"pricing": {"deposit": 3}}, "/pricing/deposit"),
    ],
)
def test_a_fault_is_named_by_its_place(
    changes: Document, pointer: str, client: FlaskClient
) -> None:
    response = client.post(URL, json={"job": demo_job("combustion_car"), **changes})
    assert response.status_code == 422
    assert pointer in [error["pointer"] for error in response.get_json()["errors"]]


def test_every_fault_of_request_and_job_is_named_at_once(client: FlaskClient) -> None:
    job = demo_job("combustion_car")
    job["equipment"][0]["amplifier"]["converter"] = "magic"
    job["equipment"][0]["amplifier"]["measured_efficiency"] = 0.99
    job["supply"]["battery"]["capacity"] = -1
    document = {"job": job, "headroom_percent": 999, "unknown": 1}
    errors = client.post(URL, json=document).get_json()["errors"]
    assert {error["pointer"] for error in errors} == {
        "/unknown",
        "/headroom_percent",
        "/job/equipment/0/amplifier/converter",
        "/job/equipment/0/amplifier/measured_efficiency",
        "/job/supply/battery/capacity",
    }


@pytest.mark.parametrize("missing", ["fuse_rating", "circuit"])
def test_an_amplifier_needs_its_fuse_and_its_circuit(missing: str, client: FlaskClient) -> None:
    job = demo_job("combustion_car")
    del job["equipment"][0][missing]
    errors = client.post(URL, json={"job": job}).get_json()["errors"]
    assert f"/job/equipment/0/{missing}" in [error["pointer"] for error in errors]


def test_a_class_without_usual_efficiency_needs_a_measured_one(client: FlaskClient) -> None:
    job = demo_job("combustion_car")
    job["equipment"][0]["amplifier"]["amplifier_class"] = "constant_efficiency"
    errors = client.post(URL, json={"job": job}).get_json()["errors"]
    assert [error["pointer"] for error in errors] == [
        "/job/equipment/0/amplifier/measured_efficiency"
    ]


def test_cost_needs_its_key_and_stands_in_each_bill(tmp_path: Any) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text(key_entry("secret of the boss", "price", "cost"), "utf-8")
    shop = create_with(keys_file=keys).test_client()
    body = {"job": demo_job("combustion_car"), "pricing": {"show_cost": True}}
    assert shop.post(URL, json=body).status_code == 401
    headers = {"Authorization": "Bearer secret of the boss"}
    answer = shop.post(URL, json=body, headers=headers)
    assert answer.status_code == 200
    assert all("cost" in plan["bill"] for plan in answer.get_json()["plans"])
    body["pricing"] = {}
    plain = shop.post(URL, json=body, headers=headers).get_json()
    assert all("cost" not in plan["bill"] for plan in plain["plans"])


def test_the_order_of_members_changes_nothing(client: FlaskClient) -> None:
    job = demo_job("hybrid_jump_start")
    turned = dict(reversed(job.items()))
    first = client.post(URL, data=orjson.dumps({"job": job}), content_type="application/json")
    second = client.post(URL, data=orjson.dumps({"job": turned}), content_type="application/json")
    assert first.data == second.data
