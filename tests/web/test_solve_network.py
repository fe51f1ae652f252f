"""solve-network over HTTP: wiring, answers under their schema, units, faults and the working."""

import re
from copy import deepcopy

import pytest
from flask.testing import FlaskClient

from drawn_requests import client as shared_client
from drawn_requests import validator
from loomwright.web.schemas.network import network_examples
from stated_networks import Document, cable, divider

URL = "/v1/solve-network"
RING = "two_batteries_on_a_ring"
LIMITED = "converter_at_its_limit"
TOO_MUCH = "more_than_the_battery_delivers"


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    found: FlaskClient = shared_client()
    return found


def example(name: str) -> Document:
    return deepcopy(network_examples()[name])


def answered(client: FlaskClient, body: Document) -> Document:
    """Post a request that its schema takes, see 200 and an answer under its own."""
    validator("SolveNetworkRequest").validate(body)
    response = client.post(URL, json=body)
    assert response.status_code == 200, response.get_data(as_text=True)
    answer: Document = response.get_json()
    validator("SolveNetworkAnswer").validate(answer)
    return answer


def faults(client: FlaskClient, body: Document) -> dict[str, str]:
    response = client.post(URL, json=body)
    problem = response.get_json()
    assert response.status_code == 422
    assert problem["code"] == "invalid_request"
    return {error["pointer"]: error["message"] for error in problem["errors"]}


def by_key(entries: list[Document]) -> dict[str, Document]:
    return {entry["key"]: entry for entry in entries}


def test_a_divider_by_hand(client: FlaskClient) -> None:
    # 12 V over 0.1, 0.4 and 1.5 ohm.
    answer = answered(client, divider())
    assert answer["verdict"] == "solved"
    assert answer["loads"] == [
        {"key": "lamp", "current_a": 6.0, "load_voltage_v": 9.0, "power_w": 54.0}
    ]
    assert [source["key"] for source in answer["sources"]] == ["circuit_laws"]
    assert "working" not in answer


def test_a_ring_keeps_the_laws_of_circuits(client: FlaskClient) -> None:
    answer = answered(client, example(RING))
    voltage = {entry["node"]: entry["voltage_v"] for entry in answer["nodes"]}
    branch, source = by_key(answer["branches"]), by_key(answer["power_sources"])
    load = by_key(answer["loads"])
    # Six digits of an answer, several of them added.
    close = 2e-4
    for entry in branch.values():
        drop = voltage[entry["from_node"]] - voltage[entry["to_node"]]
        assert entry["voltage_drop_v"] == pytest.approx(drop, abs=close)
    left = {
        "front": source["starter battery"]["current_a"]
        - branch["main"]["current_a"]
        - branch["left feed"]["current_a"],
        "rear": source["second battery"]["current_a"]
        + branch["main"]["current_a"]
        - branch["right feed"]["current_a"]
        - load["lamps"]["current_a"],
        "amplifier": branch["left feed"]["current_a"]
        + branch["right feed"]["current_a"]
        - load["amplifier"]["current_a"],
        "amplifier ground": load["amplifier"]["current_a"] - branch["chassis"]["current_a"],
    }
    assert left == pytest.approx(dict.fromkeys(left, 0.0), abs=close)
    assert load["amplifier"]["power_w"] == 900.0
    balance = answer["power_balance"]
    assert balance["source_power_w"] == pytest.approx(
        balance["load_power_w"] + balance["loss_w"], abs=0.02
    )
    assert balance["imbalance_w"] == pytest.approx(0.0, abs=1e-8)
    assert answer["greatest_power_w"] == pytest.approx(900.0 * answer["greatest_factor"], rel=1e-5)


def test_a_greatest_factor_is_the_edge_of_what_is_solved(client: FlaskClient) -> None:
    request = example(RING)
    greatest = answered(client, request)["greatest_power_w"]
    for share, verdict in ((0.9999, "solved"), (1.0001, "no_operating_point")):
        request["loads"][0]["load_power"] = share * greatest
        answer = answered(client, request)
        assert answer["verdict"] == verdict
        assert answer["greatest_factor"] == pytest.approx(1.0 / share, rel=1e-5)


def test_a_limited_source_leaves_the_rest_to_the_battery(client: FlaskClient) -> None:
    answer = answered(client, example(LIMITED))
    converter, battery = answer["power_sources"]
    assert (converter["state"], converter["current_a"]) == ("at_limit", 60.0)
    assert battery["state"] == "delivering"
    drawn = sum(entry["current_a"] for entry in answer["loads"])
    assert battery["current_a"] == pytest.approx(drawn - 60.0, abs=1e-3)
    # 12.8 V less what its own 8 mohm take.
    assert battery["terminal_voltage_v"] == pytest.approx(
        12.8 - 0.008 * battery["current_a"], abs=1e-4
    )


def test_too_much_is_answered_with_what_there_is(client: FlaskClient) -> None:
    answer = answered(client, example(TOO_MUCH))
    assert answer["verdict"] == "no_operating_point"
    # 12^2 / (4 x 0.05) = 720 W of 800 W.
    assert (answer["greatest_power_w"], answer["greatest_factor"]) == (720.0, 0.9)
    assert answer["nodes"] == answer["branches"] == answer["loads"] == []
    assert answer["power_balance"] is None


def test_units_are_understood(client: FlaskClient) -> None:
    numbers, texts = divider(), divider()
    numbers["branches"][0] = {**numbers["branches"][0], "conductor": cable()}
    del numbers["branches"][0]["resistance"]
    texts["branches"] = deepcopy(numbers["branches"])
    texts["system_voltage"], numbers["system_voltage"] = "12 V", 12
    texts["power_sources"][0] |= {"source_voltage": "12000 mV", "source_resistance": "100 mohm"}
    texts["loads"][0]["load_resistance"] = "1500 mohm"
    segment = texts["branches"][0]["conductor"]["route"][0]
    segment |= {"length": "100 cm", "ambient_temperature": "68 degF"}
    assert answered(client, texts) == answered(client, numbers)


def test_the_same_request_has_the_same_bytes(client: FlaskClient) -> None:
    one, other = (client.post(URL, json=example(RING)).data for _ in range(2))
    assert one == other


def test_a_fault_is_a_problem_with_its_place(client: FlaskClient) -> None:
    request = divider()
    request["loads"][0]["plus_node"] = "nowhere"
    assert faults(client, request) == {
        "/loads/0/plus_node": "No branch or source ends at this node."
    }
    request = divider()
    request["explain"] = "yes"
    request["branches"][0]["resistance"] = "0.4 kohm"
    assert set(faults(client, request)) == {"/explain", "/branches/0/resistance"}


@pytest.mark.parametrize(
    "change",
    [
        {"conductor": cable()},
        {"resistance": 0.0},
        {"conductor": cable("16 mm2"), "resistance": None},
        {"resistance": None},
        {"key": ""},
    ],
)
def test_schema_refuses_what_the_reader_refuses(client: FlaskClient, change: Document) -> None:
    request = divider()
    branch = request["branches"][0] | change
    request["branches"][0] = {name: value for name, value in branch.items() if value is not None}
    assert not validator("SolveNetworkRequest").is_valid(request)
    assert faults(client, request)


def test_schema_refuses_a_load_of_nothing(client: FlaskClient) -> None:
    request = divider()
    del request["loads"][0]["load_resistance"]
    assert not validator("SolveNetworkRequest").is_valid(request)
    assert list(faults(client, request)) == ["/loads/0"]


UNITS = ("_ohm_per_k", "_ohm", "_a", "_v", "_w", "_k")


def computed(step: Document) -> float:
    """Return the formula of a step with its inputs put in."""
    names = {}
    for name, value in step["inputs"].items():
        unit = next((unit for unit in UNITS if name.endswith(unit)), "")
        names[name.removesuffix(unit)] = value
    formula = re.sub(r" x ", " * ", step["formula"]).replace("^", "**")
    return float(eval(formula, {"__builtins__": {}}, names))


@pytest.mark.parametrize("name", [RING, LIMITED, TOO_MUCH])
def test_a_working_can_be_followed_by_hand(client: FlaskClient, name: str) -> None:
    request = example(name) | {"explain": True}
    answer = answered(client, request)
    steps = answer["working"]
    assert [step["step"] for step in steps] == list(range(1, len(steps) + 1))
    for step in steps:
        scale = max([abs(value) for value in step["inputs"].values()], default=0.0)
        # Inputs of seven digits, of which the greatest may stand in a difference.
        assert computed(step) == pytest.approx(step["result"], rel=1e-6, abs=1e-6 * scale)
    without = answered(client, request | {"explain": False})
    assert {**without, "working": steps} == answer


def test_a_working_has_each_element_and_the_balance(client: FlaskClient) -> None:
    answer = answered(client, example(RING))
    steps = {step["text"]: step for step in answer["working"]}
    sources, branches = by_key(answer["power_sources"]), by_key(answer["branches"])
    for key, entry in sources.items():
        step = steps[f"{key}: voltage at its terminals"]
        assert (step["unit"], step["result"]) == (
            "V",
            pytest.approx(entry["terminal_voltage_v"], rel=1e-5),
        )
    for key, entry in branches.items():
        drop = steps[f"{key}: drop from {entry['from_node']} to {entry['to_node']}"]
        assert drop["result"] == pytest.approx(entry["voltage_drop_v"], rel=1e-5)
        loss = steps[f"{key}: power that it turns into heat"]
        assert loss["result"] == pytest.approx(entry["loss_w"], rel=1e-5)
        heated = f"{key}: joints and fuse with each stretch at its working temperature"
        assert (heated in steps) == (entry["ampacity_a"] is not None)
    totals = [step for step in answer["working"] if step["source"] == "conservation of energy"]
    balance = answer["power_balance"]
    assert [step["result"] for step in totals] == pytest.approx(
        [balance[name] for name in ("source_power_w", "load_power_w", "loss_w", "imbalance_w")],
        rel=1e-5,
    )
    assert [len(step["inputs"]) for step in totals] == [2, 2, 4, 3]
    last = answer["working"][-1]
    assert last["inputs"]["P_w"] == 900.0
    assert last["result"] == pytest.approx(answer["greatest_power_w"], rel=1e-5)


def test_a_source_at_its_limit_has_no_voltage_of_its_own(client: FlaskClient) -> None:
    working = answered(client, example(LIMITED) | {"explain": True})["working"]
    terminals = [step["text"] for step in working if step["text"].endswith("at its terminals")]
    assert terminals == ["battery: voltage at its terminals"]


def test_without_an_operating_point_only_the_greatest_power_is_worked_out(
    client: FlaskClient,
) -> None:
    (step,) = answered(client, example(TOO_MUCH) | {"explain": True})["working"]
    assert step["inputs"] == {"n": pytest.approx(0.9, rel=1e-6), "P_w": 800.0}
    assert step["result"] == pytest.approx(720.0, rel=1e-6)


def test_a_network_without_loads_and_branches_is_solved(client: FlaskClient) -> None:
    request = divider() | {"branches": [], "loads": [], "explain": True}
    answer = answered(client, request)
    assert answer["nodes"][1] == {"node": "plus", "voltage_v": 12.0}
    assert answer["power_sources"][0]["state"] == "idle"
    assert answer["greatest_power_w"] is None
    assert [step["result"] for step in answer["working"]] == [0.0, 0.0, 0.0, 0.0]
