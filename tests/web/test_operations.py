"""The engineering operations over HTTP: both verbs, every unit, shape, workings and sources.

What the numbers are is tested on the plain functions; here it is tested that they arrive.
"""

import csv
import hashlib
import json
import math
import os
import re
import subprocess
import sys
from importlib.resources import files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_requests import (
    ENGINEERING_OPERATIONS,
    answer_name,
    answer_of,
    client,
    component,
    query_of,
    request_name,
    requests_of,
    resolved,
    sizes_of_series,
    validator,
)
from loomwright.web.examples import EXAMPLES

OPERATIONS = pytest.mark.parametrize("operation", ENGINEERING_OPERATIONS)

# Two requests of each operation that together give every quantity field once.
BODIES = {
    "size-conductor": (
        {
            "series": "metric",
            "load_current": 42,
            "supply_voltage": 12.6,
            "source_resistance": 0.006,
            "allowed_voltage_drop": 0.55,
            "length": 4.25,
            "ambient_temperature": 43.5,
            "return_path": "chassis",
            "chassis_resistance": 0.0012,
            "joints": 4,
            "joint_resistance": 0.00025,
            "fuse_resistance": 0.0015,
            "on_time": 90,
            "off_time": 150,
            "fault_current": 1800,
            "clearing_time": 0.25,
            "explain": True,
        },
        {
            "series": "awg",
            "insulation": "xlpe_125",
            "load_power": 480,
            "supply_voltage": 25.2,
            "route": [
                {"length": 1.5, "ambient_temperature": 71.5},
                {"length": 3.75, "zone": "passenger_compartment"},
            ],
            "explain": True,
        },
    ),
    "size-fuse": (
        {
            "series": "awg",
            "size": "4 AWG",
            "load_current": 41,
            "inrush_current": 95,
            "inrush_time": 0.15,
            "on_time": 200,
            "off_time": 100,
            "return_path": "chassis",
            "chassis_resistance": 0.0014,
            "fixed_resistance": 0.0023,
            "source_voltage": 12.6,
            "source_resistance": 0.009,
            "source_current_limit": 700,
            "resistance_before_fuse": 0.0045,
            "length": 5.25,
            "ambient_temperature": 44.5,
            "fuse_ambient_temperature": 52.5,
            "distance_from_source": 0.125,
            "upstream_fuse_rating": 150,
            "upstream_fuse_type": "iso_8820_5_sf30",
            "equipment_fuse_rating": 40,
            "equipment_fuse_type": "iso_8820_3_e",
            "given_fuse_rating": 60,
            "given_fuse_type": "iso_8820_3_e",
            "clearing_time": 2.5,
            "explain": True,
        },
        {
            "series": "iso_6722",
            "size": "ISO 4 mm2",
            "load_current": 11,
            "system_voltage": "24",
            "source_voltage": 25.4,
            "cold_cranking_current": 620,
            "resistance_before_fuse": 0.04,
            "route": [{"length": 2.25, "ambient_temperature": 39.5}, {"length": 1.75}],
            "explain": True,
        },
    ),
    "estimate-real-output": (
        {
            "fuse_rating": 30,
            "source_voltage": 12.8,
            "source_resistance": 0.007,
            "route_resistance": 0.013,
            "amplifier_class": "AB",
            "converter": "unregulated",
            "load_impedance": 4,
            "claimed_output": 650,
            "claim_supply_voltage": 14.4,
            "claim_load_impedance": 2,
            "loudspeaker_sensitivity_db": 89.5,
            "listening_distance": 1.25,
            "explain": True,
        },
        {
            "fuse_ratings": [25, 32.5],
            "supply_voltage": 13.2,
            "amplifier_class": "D",
            "converter": "none",
            "bridged": True,
            "channels": 2,
            "load_impedance": 2,
            "claimed_output_per_channel": 95,
            "explain": True,
        },
    ),
    "match-load-impedance": (
        {
            "drivers": [
                {
                    "quantity": 2,
                    "coil_impedance": 8,
                    "coil_dc_resistance": 5.75,
                    "power_limit": 125,
                },
                {"voice_coils": 2, "coil_impedance": 2, "power_limit": 450},
            ],
            "least_load_impedance": 2,
            "least_load_impedance_bridged": 3.75,
            "bridged": True,
            "outputs": [
                {"load_impedance": 4, "output": 92.5},
                {"load_impedance": 3.5, "output": 325, "bridged": True},
            ],
            "coils_of_a_driver_together": False,
            "explain": True,
        },
        {
            "drivers": [
                {
                    "quantity": 3,
                    "voice_coils": 2,
                    "coil_impedance": 4,
                    "coil_dc_resistance": 3.25,
                    "power_limit": 275,
                }
            ],
            "least_load_impedance": 1.25,
            "channels": 2,
            "outputs": [{"load_impedance": 2, "output": 410}],
            "explain": True,
        },
    ),
}
# One unit in the stated one: the International System, and NIST SP 811 (2008), B.8, for the exact
# inch and foot.
FACTORS = {
    ("m", "cm"): 0.01,
    ("m", "mm"): 0.001,
    ("m", "ft"): 0.3048,
    ("m", "in"): 0.0254,
    ("A", "mA"): 0.001,
    ("V", "mV"): 0.001,
    ("W", "mW"): 0.001,
    ("W", "kW"): 1000.0,
    ("ohm", "mohm"): 0.001,
    ("s", "ms"): 0.001,
    ("s", "min"): 60.0,
    ("s", "h"): 3600.0,
}


def in_unit(value, stated, unit):
    """Return a value of the stated unit in another."""
    if stated == unit:
        return value
    if stated == "degC":
        # NIST SP 811, B.8: t/degC = (t/degF - 32)/1.8; T/K = t/degC + 273.15.
        return {"degF": value * 1.8 + 32.0, "K": value + 273.15}[unit]
    return value / FACTORS[stated, unit]


def places_of_quantities(value, schema, path=()):
    """Yield path, value and schema of each quantity in a request."""
    schema = resolved(schema)
    if "x-unit" in schema:
        yield path, value, schema
    elif isinstance(value, dict):
        for name, entry in value.items():
            yield from places_of_quantities(entry, schema["properties"][name], (*path, name))
    elif isinstance(value, list):
        for index, entry in enumerate(value):
            yield from places_of_quantities(entry, schema["items"], (*path, index))


def with_value(request, path, value):
    changed = json.loads(json.dumps(request))
    holder = changed
    for key in path[:-1]:
        holder = holder[key]
    holder[path[-1]] = value
    return changed


def same(found, expected):
    """Tell whether two answers agree: numbers within 1e-9, everything else exactly."""
    if isinstance(expected, dict):
        return found.keys() == expected.keys() and all(
            same(found[name], value) for name, value in expected.items()
        )
    if isinstance(expected, list):
        return len(found) == len(expected) and all(map(same, found, expected))
    if isinstance(expected, float):
        return isinstance(found, float) and math.isclose(found, expected, rel_tol=1e-9)
    return bool(found == expected)


def answered(operation, request):
    response = answer_of(operation, request)
    assert response.status_code == 200, response.get_data(as_text=True)
    assert response.content_type == "application/json"
    return response.get_json()


@OPERATIONS
def test_bodies_give_every_quantity(operation):
    schema = component(request_name(operation))
    given_names = {
        path[0]
        for body in BODIES[operation]
        for path, _, _ in places_of_quantities(body, {"$ref": f"x/{request_name(operation)}"})
    }
    quantities = {
        name
        for name, form in schema["properties"].items()
        if "x-unit" in form or "x-unit" in form.get("items", {})
    }
    assert quantities <= given_names | {"fuse_ratings"}
    assert given_names - quantities <= {"route", "drivers", "outputs"}


@OPERATIONS
@pytest.mark.parametrize("which", [0, 1])
def test_every_unit_of_every_field_gives_the_same_answer(operation, which):
    body = BODIES[operation][which]
    expected = answered(operation, body)
    tried = 0
    reference = {"$ref": f"#/components/schemas/{request_name(operation)}"}
    for path, value, schema in places_of_quantities(body, reference):
        for unit in schema["x-accepted-units"]:
            number = in_unit(value, schema["x-unit"], unit)
            for text in (f"{number!r} {unit}", f"{number!r}{unit}", f"+{number:.15e} {unit}"):
                found = answered(operation, with_value(body, path, text))
                assert same(found, expected), f"{path} as {text}"
                tried += 1
    assert tried > 20


@OPERATIONS
def test_query_gives_the_bytes_of_the_body(operation):
    @settings(max_examples=150)
    @given(requests_of(operation))
    def equal(request):
        posted = answer_of(operation, request)
        got = client().get(f"/v1/{operation}", query_string=query_of(request))
        assert got.status_code == posted.status_code
        assert got.content_type == posted.content_type
        assert got.get_data() == posted.get_data()

    equal()


@OPERATIONS
@pytest.mark.parametrize("which", [0, 1])
def test_query_takes_quantity_text(operation, which):
    body = BODIES[operation][which]
    texts = body
    reference = {"$ref": f"#/components/schemas/{request_name(operation)}"}
    for path, value, schema in places_of_quantities(body, reference):
        texts = with_value(texts, path, f"{value!r} {schema['x-unit']}")
    got = client().get(f"/v1/{operation}", query_string=query_of(texts))
    assert got.get_data() == answer_of(operation, body).get_data()


@OPERATIONS
def test_head_answers_without_a_body(operation):
    query = query_of(BODIES[operation][0])
    response = client().head(f"/v1/{operation}", query_string=query)
    assert (response.status_code, response.get_data()) == (200, b"")


@OPERATIONS
def test_answer_is_what_its_schema_says(operation):
    verdicts = set()

    @settings(max_examples=300)
    @given(requests_of(operation))
    def valid(request):
        response = answer_of(operation, request)
        if response.status_code == 200:
            answer = response.get_json()
            validator(answer_name(operation)).validate(answer)
            assert ("working" in answer) <= request.get("explain", False)
            verdicts.add(answer["verdict"])

    valid()
    assert len(verdicts) > 2


@OPERATIONS
@pytest.mark.parametrize("which", [0, 1])
def test_same_request_gives_the_same_bytes(operation, which):
    first = answer_of(operation, BODIES[operation][which]).get_data()
    # Another request in between, so that nothing may be kept from the one before.
    answer_of(operation, BODIES[operation][1 - which])
    assert answer_of(operation, BODIES[operation][which]).get_data() == first
    backwards = dict(reversed(BODIES[operation][which].items()))
    assert answer_of(operation, backwards).get_data() == first


DIGESTS = """
import hashlib, json, sys
from loomwright.web.app import create_app
client = create_app().test_client()
for operation, body in json.load(sys.stdin):
    answer = client.post(f"/v1/{operation}", json=body).get_data()
    print(hashlib.sha256(answer).hexdigest())
print(hashlib.sha256(client.get("/v1/openapi.json").get_data()).hexdigest())
"""


def test_processes_of_other_hash_seeds_give_the_same_bytes():
    requests = [
        (operation, body)
        for operation in ENGINEERING_OPERATIONS
        for body in (
            *BODIES[operation],
            *EXAMPLES[operation].values(),
            {"colour": 1, "taste": 2, "length": 0, "series": "x"},
        )
    ]
    here = [hashlib.sha256(answer_of(*request).get_data()).hexdigest() for request in requests]
    here.append(hashlib.sha256(client().get("/v1/openapi.json").get_data()).hexdigest())
    for seed in ("0", "4242"):
        run = subprocess.run(
            [sys.executable, "-c", DIGESTS],
            input=json.dumps(requests),
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            timeout=60,
            check=True,
        )
        assert run.stdout.split() == here


# --- numbers of an answer as numbers of a request ---


def test_numbers_of_a_conductor_answer_are_taken_back():
    body = {"series": "awg", "load_current": 25, "supply_voltage": 12.6, "length": 4.5}
    answer = answered(
        "size-conductor", {**body, "source_resistance": 0.004, "fuse_resistance": 0.002}
    )
    chosen, assumed = answer["conductor"], answer["assumptions"]

    # At its greatest length the conductor drops what is allowed.
    longest = {**body, "length": chosen["greatest_length_m"], "given_size": chosen["size"]}
    longest |= {
        "fuse_resistance": assumed["fixed_resistance_ohm"],
        "source_resistance": assumed["source_resistance_ohm"],
        "allowed_voltage_drop": answer["allowed_voltage_drop_v"],
    }
    checked = answered("size-conductor", longest)["checked_conductor"]
    # Lengths are given to a millimetre and drops to a tenth of a millivolt.
    assert checked["voltage_drop_v"] == pytest.approx(answer["allowed_voltage_drop_v"], abs=2e-4)

    again = {
        **body,
        "load_current": chosen["load_current_a"],
        "supply_voltage": chosen["load_voltage_v"],
        "length": assumed["route_length_m"],
        "ambient_temperature": assumed["ambient_temperatures_c"][0],
        "bundled_conductors": assumed["bundled_conductors"][0],
        "allowed_voltage_drop_percent": chosen["voltage_drop_percent"] + 0.1,
        "given_parallel_runs": chosen["parallel_runs"],
        "given_size": chosen["size"],
        "material": assumed["material"],
        "insulation": assumed["insulation"],
        "return_path": assumed["return_path"],
    }
    assert answered("size-conductor", again)["verdict"] == "given_size_passes"
    for name in ("ampacity_a", "published_ampacity_a"):
        answered("size-conductor", {**body, "load_current": chosen[name]})
    answered("size-conductor", {**body, "allowed_voltage_drop": chosen["voltage_drop_v"]})
    answered("size-conductor", {**body, "ambient_temperature": chosen["conductor_temperature_c"]})
    balance = answer["power_balance"]
    drawn = {name: value for name, value in body.items() if name != "load_current"}
    power = answered(
        "size-conductor",
        {
            **drawn,
            "load_power": balance["load_power_w"],
            "source_resistance": assumed["source_resistance_ohm"],
            "fuse_resistance": assumed["fixed_resistance_ohm"],
            "given_size": chosen["size"],
        },
    )
    # The load's power, asked as such, draws the same current.
    found = power["checked_conductor"]["load_current_a"]
    assert found == pytest.approx(chosen["load_current_a"], abs=2e-3)


def test_numbers_of_a_fuse_answer_are_taken_back():
    body = {
        "series": "awg",
        "size": "8 AWG",
        "load_current": 25,
        "source_voltage": 12.6,
        "source_resistance": 0.008,
        "resistance_before_fuse": 0.006,
        "length": 5,
        "fuse_types": ["iso_8820_3_e"],
    }
    answer = answered("size-fuse", body)
    assert answer["verdict"] == "fuse_found"
    again = {
        **body,
        "given_fuse_rating": answer["rated_current_a"],
        "given_fuse_type": answer["fuse_type"],
        "loading_factor": answer["loading_factor"],
        "clearing_time": answer["faults"]["clearing_time_s"],
        "fuse_ambient_temperature": answer["fuse_ambient_temperature_c"],
        "distance_from_source": min(
            rule["greatest_distance_from_source_m"] for rule in answer["position"]["rules"]
        ),
    }
    checked = answered("size-fuse", again)
    assert checked["rated_current_a"] == answer["rated_current_a"]
    assert checked["position"]["is_met"] is not False
    fault = {
        "series": "awg",
        "load_current": answer["equivalent_continuous_current_a"],
        "supply_voltage": 12.6,
        "length": 5,
        "source_resistance": answer["conductor"]["loop_resistance_ohm"],
        "fault_current": answer["faults"]["near_source_fault_a"],
        "clearing_time": answer["types"][0]["far_end_opening"]["opens_within_s"],
    }
    answered("size-conductor", fault)


def test_numbers_of_an_output_answer_are_taken_back():
    body = BODIES["estimate-real-output"][0]
    answer = answered("estimate-real-output", body)
    again = {
        "fuse_rating": answer["input"]["fuse_rating_total_a"],
        "supply_voltage": answer["input"]["supply_voltage_v"],
        "measured_efficiency": answer["efficiency"]["likely"],
        "amplifier_class": "AB",
        "converter": "unregulated",
        "load_impedance": 4,
        "claimed_output": answer["likely"]["power_w"],
        "crest_factor_db": answer["programme"]["crest_factor_db"],
        "loudspeaker_sensitivity_db": answer["sound"]["level_db"],
    }
    assert answered("estimate-real-output", again)["verdict"] == "plausible"
    for name, value in answer["draw"].items():
        if name.endswith("_a"):
            fed = {"series": "metric", "load_current": value, "supply_voltage": 12.6, "length": 4}
            assert answered("size-conductor", fed)["verdict"] == "conductor_found"


# --- workings ---

# Steps that stand for more than one line of arithmetic: what they do is said in words.
IN_WORDS = {
    "rho x 1.02 / A, or copper limit x rho / rho_copper",
    "printed limit",
    "I^2 R(T) = pi D h (Ts - Ta) + pi D eps sigma (Ts^4 - Ta^4); "
    "T = Ts + q rho_t ln(D / d) / (2 pi)",
    "min(heat balance, published table x factors)",
    "max of the bounds",
    "min of the bounds",
    "smallest standard rating not below the lower bound, or the given one",
    "damage time / greatest opening time, least over all fault currents",
    "(R_wiring - R_fixed) / R_per_metre; R_wiring = dU / I at the allowed drop, "
    "E^2 / 4P - Rs at the collapse",
}
_TOKEN = re.compile(r"[A-Za-z_]\w*|\d+\.?\d*|\S")
_FUNCTIONS = {"min": min, "max": max, "sqrt": math.sqrt, "log10": math.log10, "ln": math.log}


def by_hand(formula, inputs):
    """Return the value of a formula as one who reads it would work it out.

    ``x`` between spaces is a multiplication, as is a space between two factors; ``^`` is a power.
    An input stands for the symbol that its name begins with; the rest of the name is its unit.
    """
    text = formula
    for name in inputs:
        text = text.replace(name.replace("_", " "), name)
    tokens = ["*" if token == "x" else token for token in _TOKEN.findall(text)]
    symbols = {}
    for name, value in inputs.items():
        parts = name.split("_")
        stems = ["_".join(parts[:count]) for count in range(len(parts), 0, -1)]
        symbols[next(stem for stem in stems if stem in tokens)] = value
    words = []
    for token in tokens:
        last = words[-1] if words else "("
        follows = (last[0].isalnum() or last == ")") and last not in _FUNCTIONS
        if follows and (token[0].isalnum() or token == "("):
            words.append("*")
        words.append("**" if token == "^" else token)
    return eval(" ".join(words), {"__builtins__": {}}, {**_FUNCTIONS, **symbols})


@pytest.mark.parametrize(
    ("formula", "inputs", "expected"),
    [
        ("2 P / (E + sqrt(E^2 - 4 P (R + Rs)))", {"P_w": 8, "E_v": 6, "R_ohm": 1, "Rs_ohm": 0}, 2),
        ("eta x min(k x F, E / (2 x R))", {"eta": 0.5, "k": 2, "F_a": 3, "E_v": 8, "R_ohm": 1}, 2),
        ("I / (loading factor x b)", {"I_a": 6, "loading_factor": 0.5, "b": 4}, 3),
    ],
)
def test_reading_of_formulas(formula, inputs, expected):
    assert by_hand(formula, inputs) == expected


@OPERATIONS
def test_working_can_be_followed(operation):
    followed = set()

    @settings(max_examples=150)
    @given(requests_of(operation, without=("explain",)))
    def follow(request):
        response = answer_of(operation, {**request, "explain": True})
        if response.status_code != 200:
            assert response.status_code == 422, response.get_data(as_text=True)
            return
        answer = response.get_json()
        if operation == "size-conductor" and not (
            answer["conductor"] or answer["checked_conductor"]
        ):
            # Nothing was chosen, so that there is no one conductor to work out.
            assert "working" not in answer
            return
        steps = answer["working"]
        plain = answer_of(operation, request).get_json()
        assert {**plain, "working": steps} == answer
        assert [step["step"] for step in steps] == list(range(1, len(steps) + 1))
        for step in steps:
            assert step["source"], step
            assert step["text"], step
            assert step["unit"], step
            assert math.isfinite(step["result"]), step
            assert step["inputs"], step
            numbers = [value for value in step["inputs"].values() if not isinstance(value, str)]
            assert all(math.isfinite(value) for value in numbers), step
            if step["formula"] in IN_WORDS:
                continue
            # Inputs have seven digits, of which a difference may leave fewer. At the greatest
            # power of a source a root of nearly nothing is taken, which halves the digits.
            slack = 1e-6 * max(abs(value) for value in [*numbers, step["result"]])
            rel = 1e-3 if "E^2 - 4" in step["formula"] else 1e-4
            value = by_hand(step["formula"], step["inputs"])
            value = value.real if isinstance(value, complex) else value
            assert value == pytest.approx(step["result"], rel=rel, abs=slack), step
            followed.add(step["formula"])

    follow()
    assert len(followed) >= 3


@pytest.mark.parametrize("which", [0, 1])
def test_conductor_working_leads_to_the_answer(which):
    answer = answered("size-conductor", BODIES["size-conductor"][which])
    chosen = answer["conductor"]
    results = {(step["unit"], round(step["result"], 4)) for step in answer["working"]}
    for unit, value in (("V", chosen["voltage_drop_v"]), ("m", chosen["greatest_length_m"])):
        assert any(
            found == unit and number == pytest.approx(value, rel=1e-3) for found, number in results
        ), (unit, value, results)


def test_fuse_working_leads_to_the_answer():
    answer = answered(
        "size-fuse", {**EXAMPLES["size-fuse"]["bass_unit_under_the_seat"], "explain": True}
    )
    steps = {step["formula"]: step for step in answer["working"]}
    assert max(steps["max of the bounds"]["inputs"].values()) == pytest.approx(
        steps["max of the bounds"]["result"]
    )
    assert min(steps["min of the bounds"]["inputs"].values()) == pytest.approx(
        steps["min of the bounds"]["result"]
    )
    rating = steps["smallest standard rating not below the lower bound, or the given one"]
    assert rating["result"] == answer["rated_current_a"]


# --- sources ---


def rows_of(table):
    """Return the rows of a table as they stand in its file."""
    text = (files("loomwright.tables") / f"{table}.csv").read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


def requests_by_row():
    """Yield operation, request and the table row that the answer rests on."""
    conductor = {"series": "awg", "load_current": 10, "supply_voltage": 12, "length": 3}
    for row in rows_of("materials"):
        yield "size-conductor", {**conductor, "material": row["key"]}, row
    for row in rows_of("insulations"):
        request = {**conductor, "insulation": row["key"], "ambient_temperature": 30}
        yield "size-conductor", request, row
    for row in rows_of("zones"):
        request = {**conductor, "insulation": "xlpe_125", "zone": row["key"]}
        yield "size-conductor", request, row
    fuse = {
        "series": "awg",
        "size": "8 AWG",
        "load_current": 10,
        "source_voltage": 12.6,
        "source_resistance": 0.02,
        "length": 3,
    }
    for row in rows_of("fuse_types"):
        yield "size-fuse", {**fuse, "fuse_types": [row["key"]]}, row


@pytest.mark.parametrize(
    ("operation", "request_", "row"),
    [pytest.param(*case, id=f"{case[0]}-{case[2]['key']}") for case in requests_by_row()],
)
def test_source_of_a_row_is_named_with_its_mark(operation, request_, row):
    sources = answered(operation, request_)["sources"]
    found = {(source["key"], source["locator"], source["checked"]) for source in sources}
    assert (row["source"], row["locator"], row["checked"]) in found
    assert len(found) == len(sources)


def test_marks_of_memory_are_among_the_rows():
    marks = {row["checked"] for _, _, row in requests_by_row()}
    assert {"memory", "page", "practice"} <= marks


@OPERATIONS
def test_sources_and_cautions_are_each_named_once(operation):
    for body in (*BODIES[operation], *EXAMPLES[operation].values()):
        answer = answered(operation, body)
        keys = [caution["key"] for caution in answer["cautions"]]
        assert len(keys) == len(set(keys)) > 0
        texts = [json.dumps(source, sort_keys=True) for source in answer["sources"]]
        assert len(texts) == len(set(texts)) > 0
        assert answer["engine_version"] == client().get("/v1/health").get_json()["engine_version"]


def test_bounds_of_a_fuse_name_sources_of_the_answer():
    for body in (*BODIES["size-fuse"], *EXAMPLES["size-fuse"].values()):
        answer = answered("size-fuse", body)
        known = {(source["key"], source["locator"]) for source in answer["sources"]}
        bounds = [*answer["window"]["lower_bounds"], *answer["window"]["upper_bounds"]]
        for entry in answer["types"]:
            bounds += entry["own_bounds"]
        assert {(bound["source"], bound["locator"]) for bound in bounds} <= known


# --- candidates, and the laws of the choice once over HTTP ---


def entry_of(columns, index):
    return {name: column[index] for name, column in columns.items()}


def test_candidates_are_columns_of_equal_length():
    @settings(max_examples=100)
    @given(requests_of("size-conductor"))
    def equal(request):
        response = answer_of("size-conductor", request)
        if response.status_code != 200:
            assert response.status_code == 422, response.get_data(as_text=True)
            return
        answer = response.get_json()
        columns = answer["candidates"]
        assert len({len(column) for column in columns.values()}) == 1
        places = list(zip(columns["size"], columns["parallel_runs"], strict=True))
        assert len(places) == len(set(places))
        if "given_size" not in request:
            sizes = sizes_of_series(request["series"])
            # Runs of a given size that is not given have no effect.
            most = request.get("greatest_parallel_runs", 1)
            assert places == [(size, runs) for runs in range(1, most + 1) for size in sizes]
        for name in ("conductor", "checked_conductor"):
            found = answer[name]
            if found is not None:
                index = places.index((found["size"], found["parallel_runs"]))
                assert entry_of(columns, index) == found

    equal()


CHOICES = st.fixed_dictionaries(
    {
        "series": st.sampled_from(["awg", "sae", "metric", "iso_6722"]),
        "load_current": st.floats(1.0, 150.0),
        "supply_voltage": st.sampled_from([12.0, 24.0, 48.0]),
        "length": st.floats(0.5, 12.0),
        "ambient_temperature": st.floats(-20.0, 80.0),
        "bundled_conductors": st.integers(1, 10),
        "allowed_voltage_drop_percent": st.floats(1.0, 10.0),
    }
)


def test_chosen_size_passes_as_given_and_the_next_thinner_fails():
    thinner = []

    @settings(max_examples=100)
    @given(CHOICES)
    def law(request):
        answer = answered("size-conductor", request)
        if answer["conductor"] is None:
            assert answer["verdict"] == "no_conductor_meets_criteria"
            return
        chosen = answer["conductor"]["size"]
        checked = answered("size-conductor", {**request, "given_size": chosen})
        assert checked["verdict"] == "given_size_passes"
        assert checked["checked_conductor"] == answer["conductor"]
        sizes = answer["candidates"]["size"]
        place = sizes.index(chosen)
        if place == 0:
            assert answer["deciding_criterion"] == "smallest_listed_size"
            return
        refused = answered("size-conductor", {**request, "given_size": sizes[place - 1]})
        assert refused["verdict"] == "given_size_fails"
        assert answer["deciding_criterion"] in refused["checked_conductor"]["fails"]
        thinner.append(chosen)

    law()
    assert len(thinner) > 50


def test_fuse_window_holds_what_is_chosen():
    chosen = []

    @settings(max_examples=150)
    @given(requests_of("size-fuse", without=("given_fuse_rating", "given_fuse_type")))
    def law(request):
        response = answer_of("size-fuse", request)
        if response.status_code != 200:
            assert response.status_code == 422, response.get_data(as_text=True)
            return
        for entry in response.get_json()["types"]:
            if entry["verdict"] == "fits":
                assert entry["lower_a"] <= entry["rated_current_a"] <= entry["upper_a"]
                assert entry["failures"] == []
                chosen.append(entry["rated_current_a"])
            else:
                assert entry["rated_current_a"] is None
                assert entry["verdict"] in entry["failures"]

    law()
    assert len(chosen) > 20
