"""check-measurements over HTTP: wiring, answers under their schema, every fault by its place."""

from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.measurement_answer import LEAST_PROBABILITY
from loomwright.web.app import create_app
from loomwright.web.schemas.measurement import measurement_examples

URL = "/v1/check-measurements"
Document = dict[str, Any]
Post = Callable[[Document], Document]
GOOD, POOR = "amplifier_in_order", "amplifier_with_a_poor_ground"
LAMP = {"circuit": "amplifier_feed"}


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@pytest.fixture(scope="module")
def components(client: FlaskClient) -> Document:
    found: Document = client.get("/v1/openapi.json").get_json()["components"]
    return found


@pytest.fixture
def answered(client: FlaskClient, components: Document) -> Post:
    """Post a request that its schema takes, see 200 and an answer under its own."""

    def schema(name: str) -> Draft202012Validator:
        root = {"$ref": f"#/components/schemas/{name}", "components": components}
        return Draft202012Validator(root)

    def post(document: Document) -> Document:
        schema("CheckMeasurementsRequest").validate(document)
        response = client.post(URL, json=document)
        assert response.status_code == 200, response.get_data(as_text=True)
        found: Document = response.get_json()
        schema("CheckMeasurementsAnswer").validate(found)
        return found

    return post


def example(name: str) -> Document:
    return deepcopy(measurement_examples()[name])


def faults(client: FlaskClient, document: object) -> dict[str, str]:
    response = client.post(URL, json=document)
    problem = response.get_json()
    assert response.status_code == 422
    assert problem["code"] == "invalid_request", problem
    return {error["pointer"]: error["message"] for error in problem["errors"]}


def test_a_good_installation_passes(answered: Post) -> None:
    answer = answered(example(GOOD))
    assert answer["verdict"] == "pass"
    assert {entry["verdict"] for entry in answer["readings"]} == {"pass"}
    assert answer["diagnosis"]["is_decided"]
    assert answer["diagnosis"]["is_explained"]
    assert answer["diagnosis"]["causes"][0]["fault"] == "none"
    assert [entry["unit"] for entry in answer["readings"]] == [
        "A" if entry["what"] in ("current", "drain") else "V" for entry in answer["readings"]
    ]
    sources = {source["key"] for source in answer["sources"]}
    assert sources == {"jcgm_100", "jcgm_101", "common_practice"}
    keys = [caution["key"] for caution in answer["cautions"]]
    assert "hearing" in keys
    assert keys[-1] == "defer_to_maker"


def test_readings_stand_as_they_were_sent(answered: Post) -> None:
    sent, answer = example(GOOD), answered(example(GOOD))
    for stated, judged in zip(sent["readings"], answer["readings"], strict=True):
        assert judged["what"] == stated["what"]
        assert judged["source"] == stated.get("source")
        assert judged["circuit"] == stated.get("circuit")
        value = judged["reading"] - judged["expected"]
        assert judged["deviation"] == pytest.approx(value, abs=1e-4)
        assert judged["low"] <= judged["expected"] <= judged["high"]
    by_what = {entry["what"]: entry for entry in answer["readings"]}
    # "184 mV" in the request.
    assert by_what["feed_drop"]["reading"] == 0.184
    # The square root of 100 W x 4 ohm, and 30 mA with 2 mA.
    assert by_what["gain_voltage"]["expected"] == 20.0
    assert by_what["gain_voltage"]["state"] == "gain_setting"
    assert by_what["drain"]["expected"] == 0.032
    assert by_what["drain"]["state"] == "asleep"


def test_a_poor_ground_is_named_with_what_to_do(answered: Post) -> None:
    answer = answered(example(POOR))
    assert answer["verdict"] == "fail"
    first = answer["diagnosis"]["causes"][0]
    assert (first["fault"], first["cause"], first["circuit"]) == (
        "poor_ground", "poor_ground", "amplifier_feed",
    )  # fmt: skip
    # (0.482 - 0.046) V over 19.8 A.
    assert first["added_resistance_ohm"] == pytest.approx(0.022, rel=0.06)
    assert first["probability"] > 0.99
    assert first["source"] is first["conductor"] is first["factor"] is first["lost_voltage_v"]
    assert "mohm too much" in first["advice"]
    assert "hearing" not in {caution["key"] for caution in answer["cautions"]}


def test_without_readings_the_answer_says_what_to_expect(answered: Post) -> None:
    answer = answered({"job": demo_job("truck_24v")})
    assert answer["verdict"] == "nothing_measured"
    assert answer["readings"] == []
    assert answer["diagnosis"] is None
    assert {entry["circuit"] for entry in answer["expected"]} == {
        None, "cab_main", "radio_feed", "work_light_feed", "heater_feed",
    }  # fmt: skip
    assert {entry["state"] for entry in answer["expected"]} == {"rest", "load"}


def test_what_is_left_in_question_is_told_and_how_to_decide(answered: Post) -> None:
    request = example(POOR)
    del request["readings"][6], request["readings"][4:6]
    answer = answered(request)["diagnosis"]
    assert not answer["is_decided"]
    flags = [cause["is_in_question"] for cause in answer["causes"]]
    assert flags == sorted(flags, reverse=True)
    assert sum(flags) > 1
    assert all(cause["probability"] >= LEAST_PROBABILITY for cause in answer["causes"][2:])
    assert answer["next_reading"]["separation"] >= 1.0


def test_the_same_request_has_the_same_bytes(client: FlaskClient) -> None:
    one, other = (client.post(URL, json=example(POOR)).data for _ in range(2))
    assert one == other


@pytest.mark.parametrize(
    ("fault", "figures", "member"),
    [
        ("low_charge", {0: 11.2, 1: 11.2, 2: 11.1, 3: 10.87}, "lost_voltage_v"),
        ("load_above_plan", {2: 12.4, 3: 11.99, 4: 36.0, 5: 0.333, 6: 0.08}, "factor"),
    ],
)
def test_other_faults_have_their_own_size(
    answered: Post, fault: str, figures: dict[int, float], member: str
) -> None:
    request = example(POOR)
    request["readings"][5]["voltage"], request["readings"][6]["voltage"] = 0.178, 0.046
    for place, value in figures.items():
        reading = request["readings"][place]
        reading["current" if reading["what"] == "current" else "voltage"] = value
    first = answered(request)["diagnosis"]["causes"][0]
    assert first["fault"] == fault
    sizes = ("added_resistance_ohm", "resistance_ratio", "factor", "lost_voltage_v")
    assert [name for name in sizes if first[name] is not None] == [member]


def test_a_conductor_is_named_by_its_size_or_material(answered: Post) -> None:
    request = example(POOR)
    # 1.6 times the drop of conductors: 0.162 of 0.178 V in the feed, 0.021 of 0.046 V behind.
    for place, value in {3: 12.145, 5: 0.275, 6: 0.059}.items():
        request["readings"][place]["voltage"] = value
    causes = answered(request)["diagnosis"]["causes"]
    assert {cause["cause"] for cause in causes if cause["is_in_question"]} == {"conductor"}
    assert causes[0]["conductor"] in ("10 AWG", "12 AWG", "cca_10", "cca_15")
    assert causes[0]["resistance_ratio"] == pytest.approx(1.6, rel=0.08)


# --- faults ---


def test_a_request_without_a_job_is_refused(client: FlaskClient) -> None:
    assert "required" in faults(client, {})["/job"]


def test_faults_of_the_job_stand_below_it(client: FlaskClient) -> None:
    request = example(GOOD)
    del request["job"]["vehicle"]
    assert list(faults(client, request)) == ["/job/vehicle"]


READING: Document = {"what": "equipment_voltage", **LAMP, "voltage": 12.2}


@pytest.mark.parametrize(
    ("reading", "pointer", "words"),
    [
        ({**READING, "what": "torque"}, "what", "One of these"),
        ({"what": "equipment_voltage", "voltage": 12}, "circuit", "read at a circuit"),
        ({**READING, "circuit": "winch"}, "circuit", "No circuit"),
        ({"what": "source_voltage", "source": "tank", "voltage": 12}, "source", "No source"),
        ({"what": "source_voltage", "voltage": 12}, "source", "read at a source"),
        ({**READING, "source": "battery"}, "source", "read at a circuit"),
        ({**READING, "state": "parked"}, "state", "rest, load"),
        ({"what": "fuse_drop", **LAMP, "voltage": 0, "state": "rest"}, "state", "no current"),
        ({"what": "current", **LAMP, "voltage": 12, "current": 2}, "voltage", "has none"),
        ({"what": "current", **LAMP}, "current", "Missing"),
        ({**READING, "current": 3}, "current", "has none"),
        ({**READING, "output_power": 3}, "output_power", "has none"),
        (
            {"what": "gain_voltage", **LAMP, "voltage": 20, "load_impedance": 4},
            "output_power",
            "Missing",
        ),
        (
            {"what": "gain_voltage", **LAMP, "voltage": 20, "output_power": 4},
            "load_impedance",
            "Missing",
        ),
        (
            {
                "what": "gain_voltage",
                **LAMP,
                "voltage": 20,
                "output_power": 4,
                "load_impedance": 4,
                "state": "load",
            },
            "state",
            "has none",
        ),
        ({"what": "drain", "source": "battery", "current": 0.03}, "source", "standby_currents"),
        ({**READING, "voltage": 201}, "voltage", "from 0 to 200"),
        ({**READING, "voltage": "12,2"}, "voltage", "number"),
        ({**READING, "meter": {"resolution": 0}}, "meter/resolution", "from 1e-06 to 10"),
        ({**READING, "meter": {"accuracy_percent": 21}}, "meter/accuracy_percent", "to 20"),
        ({**READING, "meter": {"brand": 1}}, "meter/brand", "Unknown"),
        ({**READING, "remark": 1}, "remark", "Unknown"),
    ],
)
def test_a_fault_of_a_reading_is_named_by_its_place(
    client: FlaskClient, reading: Document, pointer: str, words: str
) -> None:
    found = faults(client, {"job": demo_job("combustion_car"), "readings": [reading]})
    assert list(found) == [f"/readings/0/{pointer}"]
    assert words in found[f"/readings/0/{pointer}"]


def test_the_same_reading_twice_is_refused(client: FlaskClient) -> None:
    twice = {"job": demo_job("combustion_car"), "readings": [READING, {**READING, "voltage": 1}]}
    assert list(faults(client, twice)) == ["/readings/1/what"]


@pytest.mark.parametrize(
    ("members", "pointer"),
    [
        ({"load_states": [{"key": "rest", "circuits": ["amplifier_feed"]}]}, "/load_states/0/key"),
        ({"load_states": [{"key": "on", "circuits": ["winch"]}]}, "/load_states/0/circuits/0"),
        (
            {"load_states": [{"key": "on", "circuits": ["amplifier_feed"]}] * 2},
            "/load_states/1/key",
        ),
        ({"standby_currents": [{"source": "tank", "current": 1}]}, "/standby_currents/0/source"),
        ({"ambient_temperature": 61}, "/ambient_temperature"),
        ({"readings": 5}, "/readings"),
        ({"colour": 5}, "/colour"),
    ],
)
def test_a_fault_beside_the_readings_is_named(
    client: FlaskClient, members: Document, pointer: str
) -> None:
    assert list(faults(client, {"job": demo_job("combustion_car"), **members})) == [pointer]


def test_a_circuit_that_is_off_carries_nothing(client: FlaskClient) -> None:
    states = [{"key": "radio", "circuits": ["radio_feed"]}]
    drop = {"what": "feed_drop", "voltage": 0.1, "state": "radio"}
    request = {"job": demo_job("truck_24v"), "load_states": states}
    off = {**request, "readings": [{**drop, "circuit": "heater_feed"}]}
    assert list(faults(client, off)) == ["/readings/0/state"]
    for key in ("radio_feed", "cab_main"):
        response = client.post(URL, json={**request, "readings": [{**drop, "circuit": key}]})
        assert response.status_code == 200


def test_a_block_cannot_be_switched_on(client: FlaskClient) -> None:
    states = [{"key": "all", "circuits": ["cab_main"]}]
    found = faults(client, {"job": demo_job("truck_24v"), "load_states": states})
    assert list(found) == ["/load_states/0/circuits/0"]


def test_a_circuit_without_conductor_is_named(client: FlaskClient) -> None:
    job = demo_job("combustion_car")
    job["circuits"][0]["allowed_voltage_drop_percent"] = 0.1
    problem = client.post(URL, json={"job": job}).get_json()
    assert problem["code"] == "circuit_not_sized"
    assert [error["pointer"] for error in problem["errors"]] == ["/job/circuits/0"]


def test_the_day_may_be_warm(answered: Post) -> None:
    drops = []
    for temperature in ("68 degF", 45):
        request = {"job": demo_job("combustion_car"), "ambient_temperature": temperature}
        drops += [
            entry["expected"]
            for entry in answered(request)["expected"]
            if entry["what"] == "feed_drop"
        ]
    # 25 K by 0.0039 /K on nine tenths of the feed, which is conductor.
    assert drops[1] / drops[0] == pytest.approx(1.0 + 25 * 0.0039 * 0.9, rel=0.01)


def test_a_worse_meter_widens_what_passes(answered: Post) -> None:
    widths = []
    for meter in ({}, {"accuracy_percent": 3}, {"accuracy_digits": 60}, {"resolution": 0.5}):
        reading = {**READING, "state": "rest", "meter": meter}
        answer = answered({"job": demo_job("combustion_car"), "readings": [reading]})
        (judged,) = answer["readings"]
        widths.append(judged["high"] - judged["low"])
    assert all(width > widths[0] for width in widths[1:])


def test_loads_that_no_source_delivers_are_named(client: FlaskClient) -> None:
    job = demo_job("combustion_car")
    (source,), (circuit,), load = job["power_sources"], job["circuits"], job["equipment"][0]
    # 12.6^2 / (4 x 0.05) = 794 W at most, and 500 W for each of two circuits.
    del source["cold_cranking_current"], load["load_current"]
    source["source_resistance"], load["load_power"] = 0.05, 500
    job["circuits"].append({**circuit, "key": "second_feed"})
    job["equipment"].append({**load, "key": "second", "circuit": "second_feed"})
    response = client.post(URL, json={"job": job})
    assert (response.status_code, response.get_json()["code"]) == (422, "no_operating_point")
    states = [{"key": "one", "circuits": ["amplifier_feed"]}]
    assert client.post(URL, json={"job": job, "load_states": states}).status_code == 200
