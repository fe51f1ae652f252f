"""assess-supply over HTTP: wiring, answers under their schema, units, faults, remedies fed back."""

import copy
from typing import Any

import pytest
from flask.testing import FlaskClient

from drawn_requests import client as shared_client
from drawn_requests import validator
from loomwright.web.schemas.supply import supply_examples

Document = dict[str, Any]
URL = "/v1/assess-supply"


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    found: FlaskClient = shared_client()
    return found


def example(name: str) -> Document:
    return copy.deepcopy(supply_examples()[name])


def answered(client: FlaskClient, body: Document) -> Document:
    response = client.post(URL, json=body)
    assert response.status_code == 200, response.get_data(as_text=True)
    answer: Document = response.get_json()
    validator("AssessSupplyAnswer").validate(answer)
    return answer


def places(answer: Document) -> list[tuple[str, str | None, str | None]]:
    return [(each["check"], each["state"], each["load_key"]) for each in answer["shortfalls"]]


@pytest.mark.parametrize("name", sorted(supply_examples()))
def test_an_example_is_what_its_schema_says(client: FlaskClient, name: str) -> None:
    validator("AssessSupplyRequest").validate(example(name))
    answer = answered(client, example(name))
    assert (answer["verdict"] == "supply_sufficient") == (answer["shortfalls"] == [])
    assert answer["sources"]


def test_a_hybrid_by_hand(client: FlaskClient) -> None:
    # 40 % of 1800 W at 14.4 V are 50 A; 42 A of the vehicle and 0.3 x 40 A are 54 A.
    answer = answered(client, example("hybrid_with_converter"))
    driving = answer["charging"][1]
    assert (driving["output_a"], driving["headroom_a"]) == (50.0, -4.0)
    assert driving["bound"] == "converter_limit"
    # 82 A at the peak, of which the battery adds 32 A for a second.
    assert driving["peak_excess_current_a"] == 32.0
    assert driving["excess_charge_ah"] == pytest.approx(32.0 / 3600.0, rel=1e-5)
    # 8 A to spare for the 2.333 s until the next peak.
    assert driving["recovery_charge_ah"] == pytest.approx(8.0 * (1 / 0.3 - 1) / 3600.0, rel=1e-5)
    assert answer["converter_input_w"] == 800.0
    (shortfall,) = answer["shortfalls"]
    assert (shortfall["present"], shortfall["wanted"], shortfall["unit"]) == (50.0, 54.0, "A")
    # 10 log10(12 / 8) = 1.76 dB.
    assert shortfall["remedies"][0]["drive_level_change_db"] == 1.8
    assert (shortfall["cheapest"], shortfall["chosen_by"]) == ("lower_drive_level", "price")


def test_units_of_times_voltages_and_figures(client: FlaskClient) -> None:
    body = example("car_with_music")
    answer = answered(client, body)
    by_check = {each["check"]: each for each in answer["shortfalls"]}
    assert by_check["engine_off_time"]["unit"] == "h"
    assert by_check["engine_off_time"]["wanted"] == 2.0
    assert by_check["engine_off_time"]["present"] == answer["engine_off"]["engine_off_time_h"]
    assert (by_check["load_voltage"]["unit"], by_check["load_voltage"]["wanted"]) == ("V", 10.8)
    # 35 mA and 5 % of 70 Ah in 30 days; 30 % of 70 Ah.
    days = 0.3 * 70.0 / (0.035 * 24.0 + 0.05 * 70.0 / 30.0)
    assert answer["key_off"]["no_start_time_d"] == pytest.approx(days, rel=1e-5)
    body["supply"]["standing_time"] = 30
    (standing,) = (e for e in answered(client, body)["shortfalls"] if e["check"] == "standing_time")
    assert (standing["unit"], standing["wanted"]) == ("d", 30.0)
    assert standing["present"] == pytest.approx(days, rel=1e-5)


def test_raised_idle_of_the_answer_closes_the_gap(client: FlaskClient) -> None:
    body = example("car_with_music")
    first = answered(client, body)
    remedies = {each["remedy"]: each for each in first["shortfalls"][0]["remedies"]}
    assert ("charging_at_idle", "idle", None) in places(first)
    body["supply"]["alternator"]["idle_speed"] = remedies["raise_idle"]["idle_speed_rpm"]
    assert ("charging_at_idle", "idle", None) not in places(answered(client, body))
    body["supply"]["alternator"]["idle_speed"] -= 1
    assert ("charging_at_idle", "idle", None) in places(answered(client, body))


def test_larger_conductor_of_the_answer_closes_the_gap(client: FlaskClient) -> None:
    body = example("car_with_music")
    (short,) = (e for e in answered(client, body)["shortfalls"] if e["check"] == "load_voltage")
    remedies = {each["remedy"]: each for each in short["remedies"]}
    body["loads"][0]["loop_resistance"] = remedies["larger_conductor"]["loop_resistance_ohm"]
    assert "load_voltage" not in {check for check, _, _ in places(answered(client, body))}


def test_no_operating_point_is_a_verdict_and_no_problem(client: FlaskClient) -> None:
    body = example("truck_24v")
    body["loads"][0] |= {"load_power": 40_000}
    answer = answered(client, body)
    assert answer["verdict"] == "supply_insufficient"
    off = answer["voltages"][-1]
    assert off["bus_voltage_v"] is None
    # AGM of 24 V at 50 %: 24.7 V behind 9 mohm.
    assert off["greatest_power_w"] == pytest.approx(24.7**2 / 0.036, rel=1e-5)
    assert ("operating_point", "engine_off", None) in places(answer)
    (short,) = (e for e in answer["shortfalls"] if e["state"] == "engine_off" and e["unit"] == "W")
    assert short["wanted"] == 40_000.0


def test_what_never_ends_is_null(client: FlaskClient) -> None:
    body: Document = {
        "system_voltage": 48,
        "supply": {
            "battery": {
                "kind": "agm",
                "capacity": 60,
                "internal_resistance": 0,
                "self_discharge_percent_per_month": 0,
            }
        },
        "loads": [{"key": "pump", "load_current": 10, "states": ["driving"]}],
    }
    answer = answered(client, body)
    assert answer["charging"] == []
    assert answer["engine_off"]["engine_off_time_h"] is None
    assert answer["engine_off"]["end"] == "no_load"
    assert answer["key_off"]["no_start_time_d"] is None
    assert answer["voltages"][0]["greatest_power_w"] is None
    assert answer["converter_input_w"] is None


def test_text_with_units_gives_the_same_answer(client: FlaskClient) -> None:
    body = example("car_with_music")
    numbers = copy.deepcopy(body)
    numbers["supply"]["alternator"]["cruise_speed"] = 2200
    numbers["supply"]["battery"]["capacity"] = 70
    numbers["supply"]["engine_off_time"] = 7200
    numbers["supply"]["existing_loads"]["key_off_current"] = 0.03
    numbers["loads"][0] |= {"loop_resistance": 0.019, "standby_current": 0.005}
    assert answered(client, numbers) == answered(client, body)


def test_faults_are_listed_by_pointer(client: FlaskClient) -> None:
    body = example("car_with_music")
    body["supply"]["battery"]["capacity"] = "70 litre"
    body["loads"][1]["voltage_drop"] = "1,5"
    response = client.post(URL, json=body)
    assert response.status_code == 422
    problem = response.get_json()
    assert problem["code"] == "invalid_request"
    assert [fault["pointer"] for fault in problem["errors"]] == [
        "/supply/battery/capacity",
        "/loads/1/voltage_drop",
    ]


def test_the_same_request_gives_the_same_bytes(client: FlaskClient) -> None:
    body = example("hybrid_with_converter")
    assert client.post(URL, json=body).data == client.post(URL, json=body).data


def test_it_is_posted_only(client: FlaskClient) -> None:
    assert client.get(URL).status_code == 405
