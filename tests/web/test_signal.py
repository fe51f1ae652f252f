"""plan-signal-path over HTTP: shape, units, faults, schema and reader, and its place in a job."""

import copy
import re
from typing import Any

import orjson
import pytest
import schemathesis
from flask.testing import FlaskClient
from hypothesis import given, settings

from drawn_requests import validator
from loomwright.jobs.demo_library import demo_job
from loomwright.web.app import create_app
from loomwright.web.schemas.signal_examples import signal_examples

URL = "/v1/plan-signal-path"
Document = dict[str, Any]
EXAMPLES = signal_examples()
CLIENT = create_app().test_client()


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return CLIENT


def answer_of(client: FlaskClient, body: Document) -> Document:
    response = client.post(URL, data=orjson.dumps(body), content_type="application/json")
    assert response.status_code == 200, response.get_data(as_text=True)
    answer: Document = response.get_json()
    validator("PlanSignalPathAnswer").validate(answer)
    return answer


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_is_allowed_and_answered(client: FlaskClient, name: str) -> None:
    validator("PlanSignalPathRequest").validate(EXAMPLES[name])
    answer = answer_of(client, EXAMPLES[name])
    assert answer["verdict"] == "devices_needed"
    assert ("working" in answer) == EXAMPLES[name].get("explain", False)


def test_figures_of_the_relay_example_arrive(client: FlaskClient) -> None:
    answer = answer_of(client, EXAMPLES["line_outputs_behind_a_relay"])
    # 0.75 x 5 A - 3.5 A; 32 V / 360 ohm; 32 V / 0.25 A; 0.3 A / 0.75.
    assert answer["turn_on"]["available_current_a"] == 0.25
    assert answer["turn_on"]["drawn_current_a"] == 0.0888889
    assert answer["turn_on"]["least_coil_resistance_ohm"] == 128.0
    assert answer["turn_on"]["contact_fuse_lower_a"] == 0.4
    assert answer["turn_on"]["coil"]["diode_reverse_voltage_v"] == 202.0
    noise = answer["connections"][0]["ground_noise"]
    assert (noise["ground_difference_mv"], noise["alternating_difference_mv"]) == (120.0, 12.0)
    # 12 mV less 50 dB.
    assert noise["interference_mv"] == pytest.approx(12.0 * 10**-2.5, rel=1e-5)
    assert answer["sums"][0]["over_greatest_part_db"] == 6.0206


def test_a_unit_gives_the_same_answer(client: FlaskClient) -> None:
    body = copy.deepcopy(EXAMPLES["line_outputs_behind_a_relay"])
    expected = client.post(URL, json=body).data
    body["system_voltage"] = 24
    body["signal"]["inputs"][0].update(turn_on_current="300 mA", ground={"potential": 0.12})
    assert client.post(URL, json=body).data == expected


def test_faults_are_listed_by_pointer(client: FlaskClient) -> None:
    body = copy.deepcopy(EXAMPLES["line_outputs_behind_a_relay"])
    body["system_voltage"] = 13
    body["signal"]["take_offs"][0]["level_kind"] = "digital"
    body["signal"]["connections"][0]["fed_from"] = "nobody"
    body["colour"] = "red"
    response = client.post(URL, json=body)
    assert response.status_code == 422
    errors = response.get_json()["errors"]
    assert [error["pointer"] for error in errors] == [
        "/colour",
        "/system_voltage",
        "/signal/take_offs/0/level_kind",
        "/signal/connections/0/fed_from",
    ]
    assert "digital link" in errors[2]["message"]


def test_a_missing_path_is_one_fault(client: FlaskClient) -> None:
    response = client.post(URL, json={"system_voltage": 12})
    assert [error["pointer"] for error in response.get_json()["errors"]] == ["/signal"]


def test_a_bill_is_the_same_with_and_without_a_path(client: FlaskClient) -> None:
    job = demo_job("combustion_car")
    plain = client.post("/v1/build-bill-of-materials", json={"job": job})
    job["signal"] = EXAMPLES["factory_amplifier_in_bands"]["signal"]
    again = client.post("/v1/build-bill-of-materials", json={"job": job})
    assert (plain.status_code, again.status_code) == (200, 200)
    assert again.data == plain.data


# Why a path may be refused though the schema allows it.
BETWEEN_MEMBERS = re.compile(
    r"The same value stands earlier in the list; it is unique\.|"
    r"A take-off has the same key; take-offs and sums are one set\.|"
    r"No (take-off|take-off and no sum|input) has this key\.|"
    r"This input has a connection already; join the signals in a sum\.|"
    r"No connection leads to this input\.|"
    r"The band ends above where it begins\.|"
    r"The range ends where it begins or above\."
)


def with_numbers_only(schema: Any) -> Any:
    """The same schema without quantities as text, whose range JSON Schema cannot say."""
    if isinstance(schema, list):
        return [with_numbers_only(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    if "x-accepted-units" in schema:
        return schema["anyOf"][0]
    return {name: with_numbers_only(value) for name, value in schema.items()}


def without_line_ends(value: Any) -> Any:
    """Texts without a last line end: ``$`` allows one in Python, and none in ECMA 262."""
    if isinstance(value, dict):
        return {name: without_line_ends(item) for name, item in value.items()}
    if isinstance(value, list):
        return [without_line_ends(item) for item in value]
    return value.removesuffix("\n") if isinstance(value, str) else value


def generated() -> Any:
    document = CLIENT.get("/v1/openapi.json").get_json()
    for content in document["paths"][URL]["post"]["requestBody"]["content"].values():
        del content["examples"]
    loaded = schemathesis.openapi.from_dict(with_numbers_only(document))
    return loaded[URL]["POST"].as_strategy().map(lambda case: without_line_ends(case.body))


GENERATED = generated()


@settings(max_examples=40)
@given(GENERATED)
def test_what_the_schema_allows_is_refused_for_reasons_between_members_only(body: Document) -> None:
    response = CLIENT.post(URL, data=orjson.dumps(body), content_type="application/json")
    if response.status_code == 200:
        return
    assert response.status_code == 422, response.get_data(as_text=True)
    errors = response.get_json()["errors"]
    odd = [error for error in errors if not BETWEEN_MEMBERS.fullmatch(error["message"])]
    assert odd == []


def repaired(body: Document) -> Document:
    """The path with what refers to one another set right and nothing else changed."""
    body = copy.deepcopy(body)
    path = body["signal"]
    for index, entry in enumerate(path["take_offs"]):
        entry["key"] = f"take-off {index}"
        entry.pop("lower_corner", None)
    for index, entry in enumerate(path.get("sums", ())):
        entry.update(key=f"sum {index}")
        if len(path["take_offs"]) > 1:
            entry["take_offs"] = ["take-off 0", "take-off 1"]
    if len(path["take_offs"]) == 1:
        path.pop("sums", None)
    feeds = [entry["key"] for entry in (*path["take_offs"], *path.get("sums", ()))]
    count = min(len(path["inputs"]), len(path["connections"]))
    path["inputs"], path["connections"] = path["inputs"][:count], path["connections"][:count]
    for index, (entry, link) in enumerate(zip(path["inputs"], path["connections"], strict=True)):
        entry["key"] = link["input"] = f"input {index}"
        link["fed_from"] = feeds[-1 - index % len(feeds)]
        if "least_voltage" in entry:
            entry.update(least_voltage=0.5, greatest_voltage=5)
    return body


@settings(max_examples=60)
@given(GENERATED)
def test_what_the_schema_allows_is_answered_once_its_references_hold(body: Document) -> None:
    answer_of(CLIENT, repaired(body))


def places(value: object, path: tuple[Any, ...] = ()) -> Any:
    items = value.items() if isinstance(value, dict) else enumerate(value)  # type: ignore[arg-type]
    for name, item in items:
        yield (*path, name), item
        if isinstance(item, dict | list):
            yield from places(item, (*path, name))


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("value", [None, "", [], {}, 1e300, -1e300], ids=repr)
def test_a_value_of_another_form_is_refused_by_both(
    client: FlaskClient, name: str, value: object
) -> None:
    for path, held in places(EXAMPLES[name]):
        if isinstance(held, type(value)) and isinstance(value, list | dict):
            continue
        body = copy.deepcopy(EXAMPLES[name])
        holder: Any = body
        for step in path[:-1]:
            holder = holder[step]
        holder[path[-1]] = value
        assert not validator("PlanSignalPathRequest").is_valid(body), path
        response = client.post(URL, data=orjson.dumps(body), content_type="application/json")
        assert response.status_code == 422, path
        pointers = [error["pointer"] for error in response.get_json()["errors"]]
        assert "/" + "/".join(map(str, path)) in pointers, path
