"""Sensitivity over HTTP: what stands at an end is the answer to the request with that input."""

import csv
import io
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_requests import (
    ENGINEERING_OPERATIONS,
    answer_name,
    answer_of,
    client,
    query_of,
    requests_of,
    validator,
)
from loomwright.tables.load import tables
from loomwright.tables.tolerance_load import tolerances
from loomwright.web.examples import EXAMPLES
from loomwright.web.schemas.sensitivity import CONDUCTOR_INPUTS, FUSE_INPUTS, OUTPUT_INPUTS

# match-load-impedance answers no sensitivity.
SENSITIVE = tuple(name for name in ENGINEERING_OPERATIONS if name != "match-load-impedance")
OPERATIONS = pytest.mark.parametrize("operation", SENSITIVE)
MODERATE = settings(max_examples=min(40, settings().max_examples))
ZONES, TOLERANCES = tables().zones, tolerances()
DEFAULT_ZONE = "passenger_compartment"
INPUTS = {
    "size-conductor": CONDUCTOR_INPUTS,
    "size-fuse": FUSE_INPUTS,
    "estimate-real-output": OUTPUT_INPUTS,
}
# Assumptions of tables that no request states.
NO_FIELDS = {"conductor_resistance", "efficiency", "fuse_loading", "rail_utilisation"}
CONDUCTOR = {
    "series": "metric",
    "load_current": 25,
    "supply_voltage": 12.6,
    "length": 4,
    "ambient_temperature": 40,
}


def example(operation):
    return EXAMPLES[operation]["sensitivity_to_tolerances"]


def plain_requests(operation):
    return requests_of(operation, without=("explain", "sensitivity", "tolerances"))


def answered(operation, request):
    response = answer_of(operation, request)
    assert response.status_code == 200, response.get_data(as_text=True)
    return response.get_json()


def sensitivity(operation, request, **more):
    return answered(operation, {**request, "sensitivity": True, **more})["sensitivity"]


def row_of(found, name):
    (row,) = (row for row in found["inputs"] if row["input"] == name)
    return row


def ambient_c(entry):
    zone = ZONES[entry.get("zone", DEFAULT_ZONE)]
    return entry.get("ambient_temperature", zone.ambient_temperature_k - 273.15)


def at_end(request, row, end):
    """Return the request with one input at an end of its tolerance, exactly as the table says."""
    name = row["input"]
    tolerance = TOLERANCES[name]
    step = -tolerance.below if end == "low" else tolerance.above
    if name in ("length", "ambient_temperature"):
        places = [dict(entry) for entry in request.get("route", (request,))]
        for place in places:
            if name == "length":
                place["length"] *= 1.0 + step
            else:
                place["ambient_temperature"] = ambient_c(place) + step
        return {**request, "route": places} if "route" in request else places[0]
    # A default stands in the row as it is in the request.
    nominal = request.get(name, row["nominal"])
    value = nominal * (1.0 + step) if tolerance.is_share else nominal + step
    if name == "measured_efficiency":
        value = min(value, 1.0)
    return {**request, name: value}


def choice_and_results(operation, answer, installed):
    """Return what an answer chooses, and its figures of what the stated request installed."""
    if operation == "size-fuse":
        kind = next(
            kind
            for kind in answer["types"]
            if kind["fuse_type"] == (installed or answer["types"][0]["fuse_type"])
        )
        faults = answer["faults"]
        return {name: answer[name] for name in ("verdict", "fuse_type", "rated_current_a")}, {
            "lower_a": kind["lower_a"],
            "upper_a": kind["upper_a"],
            "far_end_fault_a": faults["far_end_fault_a"],
            "near_source_fault_a": faults["near_source_fault_a"],
        }
    if operation == "estimate-real-output":
        return {"verdict": answer["verdict"]}, {"likely_output_w": answer["likely"]["power_w"]}
    chosen = answer["checked_conductor"] or answer["conductor"] or {}
    choice = {name: chosen.get(name) for name in ("size", "parallel_runs")}
    results = {}
    if installed is not None:
        columns = answer["candidates"]
        keys = list(zip(columns["size"], columns["parallel_runs"], strict=True))
        place = keys.index(installed)
        if columns["load_voltage_v"][place] is not None:
            names = ("voltage_drop_v", "conductor_temperature_c")
            results = {name: columns[name][place] for name in names}
    return {"verdict": answer["verdict"], **choice}, results


def installed_by(operation, answer):
    if operation == "size-fuse":
        return answer["fuse_type"]
    chosen = answer.get("checked_conductor") or answer.get("conductor")
    return None if chosen is None else (chosen["size"], chosen["parallel_runs"])


@OPERATIONS
def test_an_end_is_the_answer_to_the_request_with_that_input(operation):
    compared = set()

    @MODERATE
    @given(plain_requests(operation))
    def same(request):
        response = answer_of(operation, {**request, "sensitivity": True})
        if response.status_code != 200:
            return
        answer = response.get_json()
        installed = installed_by(operation, answer)
        nominal, _ = choice_and_results(operation, answer, installed)
        for row in answer["sensitivity"]["inputs"]:
            if row["input"] in NO_FIELDS:
                continue
            outcomes = []
            for end in ("low", "high"):
                outcome = row[f"at_{end}"]
                choice = {name: outcome[name] for name in nominal}
                outcomes.append(choice)
                again = answer_of(operation, at_end(request, row, end))
                if again.status_code != 200:
                    # A field has a range of its own, narrower than that of the calculation.
                    code = again.get_json()["code"]
                    assert code in ("invalid_request", choice["verdict"])
                    continue
                expected, results = choice_and_results(operation, again.get_json(), installed)
                assert choice == expected, (row["input"], end)
                for name, value in results.items():
                    # The answer gives volts to 0.1 mV and temperatures to 0.01 K.
                    assert outcome[name] == (
                        None if value is None else pytest.approx(value, rel=1e-5, abs=0.0051)
                    ), (row["input"], end, name)
                compared.add(row["input"])
            assert row["choice_changes"] == any(choice != nominal for choice in outcomes)

    same()
    # One of two loads or sources is drawn at a time; most inputs come up in any run.
    assert len(compared) >= 4


@OPERATIONS
def test_answer_is_what_its_schema_says(operation):
    names = set()

    @MODERATE
    @given(requests_of(operation, without=("sensitivity",)))
    def valid(request):
        response = answer_of(operation, {**request, "sensitivity": True})
        if response.status_code == 200:
            answer = response.get_json()
            validator(answer_name(operation)).validate(answer)
            found = answer["sensitivity"]
            names.update(row["input"] for row in found["inputs"])
            keys = {source["key"] for source in found["sources"]}
            stated = {row["source"] for row in found["inputs"]} - {None}
            assert keys == stated | {"jcgm_100"}
            for row in found["inputs"]:
                assert row["low"] <= row["nominal"] <= row["high"]

    valid()
    assert names <= set(INPUTS[operation])
    assert len(names) >= 6


@OPERATIONS
def test_worst_case_and_each_end_lie_within_the_band(operation):
    @MODERATE
    @given(plain_requests(operation))
    def enclosed(request):
        response = answer_of(operation, {**request, "sensitivity": True})
        if response.status_code != 200:
            return
        found = response.get_json()["sensitivity"]
        ends = [row[end] for row in found["inputs"] for end in ("at_low", "at_high")]
        for band in found["results"]:
            (name,) = (key for key in ends[0] if key.rpartition("_")[0] == band["result"])
            if band["low"] is None:
                assert band["high"] is None
                continue
            assert band["low"] <= band["nominal"] <= band["high"]
            for outcome in ends:
                assert band["low"] <= outcome[name] <= band["high"]
            worst = found["worst_case"][name]
            # The corner of the strain may be none of the corners of this result.
            if worst is not None and len(found["results"]) == 1:
                assert band["low"] <= worst <= band["high"]

    enclosed()


# The upper end of a fuse window is the least of several rules. Cold lets a conductor carry more and
# a fuse open later, so that it eases one rule and tightens another: the greatest value then lies
# between the ends of the tolerance, where no band looks (``sensitivity_of`` says so). Every other
# result is held to the law.
NOT_STEADY = ("upper",)


@OPERATIONS
def test_wider_tolerances_never_narrow_a_band(operation):
    @MODERATE
    @given(plain_requests(operation), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
    def nested(request, first, second):
        bands = []
        for tolerance in sorted((first, second)):
            own = [{"input": name, "tolerance": tolerance} for name in INPUTS[operation]]
            asked = {**request, "sensitivity": True, "tolerances": own}
            response = answer_of(operation, asked)
            if response.status_code != 200:
                return
            bands.append(response.get_json()["sensitivity"]["results"])
        for inner, outer in zip(*bands, strict=True):
            if outer["low"] is None or outer["result"] in NOT_STEADY:
                continue
            # Six digits, and what counts as rounding, may move an end.
            slack = 1e-5 * abs(inner["nominal"])
            assert outer["low"] <= inner["low"] + slack
            assert outer["high"] >= inner["high"] - slack

    nested()


@OPERATIONS
def test_no_tolerance_has_no_effect(operation):
    own = [{"input": name, "tolerance": 0} for name in INPUTS[operation]]
    found = sensitivity(operation, example(operation), tolerances=own)
    assert found["choice_changes"] is False
    for band in found["results"]:
        assert band["low"] == band["nominal"] == band["high"]
        assert band["standard_uncertainty"] == 0.0
    for row in found["inputs"]:
        assert row["low"] == row["nominal"] == row["high"]
        assert (row["source"], row["locator"]) == (None, None)
        assert row["at_low"] == row["at_high"]


@OPERATIONS
def test_query_and_body_give_the_same(operation):
    request = example(operation)
    got = client().get(f"/v1/{operation}", query_string=query_of(request))
    assert got.status_code == 200
    assert got.get_data() == answer_of(operation, request).get_data()
    assert answer_of(operation, request).get_data() == got.get_data()


@OPERATIONS
def test_rest_of_the_answer_is_as_without(operation):
    request = {**example(operation), "sensitivity": False}
    without = answered(operation, request)
    assert without["sensitivity"] is None
    answer = answered(operation, {**request, "sensitivity": True})
    assert answer.pop("sensitivity") is not None
    assert answer == {name: value for name, value in without.items() if name != "sensitivity"}


@OPERATIONS
@pytest.mark.parametrize("asked", [False, True])
def test_no_sensitivity_module_runs_unless_asked(operation, asked):
    request = {**example(operation), "sensitivity": asked}
    answered(operation, request)
    seen = set()
    sys.setprofile(lambda frame, *_: seen.add(frame.f_globals.get("__name__", "")))
    try:
        answer_of(operation, request)
    finally:
        sys.setprofile(None)
    assert "loomwright.web.calculators" in seen
    assert any(".sensitivity" in name or "tolerance" in name for name in seen) is asked


@OPERATIONS
def test_inputs_are_a_table_in_csv(operation):
    request = example(operation)
    query = query_of(request) | {"as": "csv", "field": "sensitivity.inputs"}
    table = client().get(f"/v1/{operation}", query_string=query)
    rows = list(csv.DictReader(io.StringIO(table.get_data(as_text=True))))
    found = sensitivity(operation, request)["inputs"]
    assert [row["input"] for row in rows] == [row["input"] for row in found]
    assert [float(row["low"]) for row in rows] == [row["low"] for row in found]
    assert [row["at_high.verdict"] for row in rows] == [row["at_high"]["verdict"] for row in found]
    # Without the sensitivity the table has its head alone.
    bare = client().get(f"/v1/{operation}", query_string=query | {"sensitivity": "false"})
    assert bare.get_data(as_text=True).splitlines() == table.get_data(as_text=True).splitlines()[:1]


def test_one_figure_as_text():
    query = query_of(example("size-conductor")) | {"as": "text"}
    found = sensitivity("size-conductor", example("size-conductor"))
    got = client().get(
        "/v1/size-conductor", query_string=query | {"field": "sensitivity.worst_case.size"}
    )
    assert got.get_data(as_text=True).strip() == found["worst_case"]["size"]


@OPERATIONS
def test_examples_show_a_choice_that_changes(operation):
    found = sensitivity(operation, example(operation))
    assert found["choice_changes"]
    assert any(row["choice_changes"] for row in found["inputs"])


def test_own_tolerance_takes_the_place_of_the_usual_one():
    own = [{"input": "length", "tolerance": 20}, {"input": "length", "tolerance": 2.5}]
    found = sensitivity("size-conductor", CONDUCTOR, tolerances=own)
    row = row_of(found, "length")
    assert (row["low"], row["nominal"], row["high"]) == (3.9, 4.0, 4.1)
    assert (row["source"], row["locator"], row["unit"]) == (None, None, "m")
    assert row_of(found, "load_current")["high"] == 27.5


def test_own_tolerance_of_a_temperature_is_in_kelvins():
    own = [{"input": "ambient_temperature", "tolerance": 4}]
    row = row_of(sensitivity("size-conductor", CONDUCTOR, tolerances=own), "ambient_temperature")
    assert (row["low"], row["nominal"], row["high"], row["unit"]) == (36.0, 40.0, 44.0, "degC")
    assert row["voltage_drop_elasticity"] is None
    assert row["conductor_temperature_by_one_percent_k"] is None


def test_own_tolerance_of_what_the_class_gives_ends_at_one():
    own = [{"input": name, "tolerance": 50} for name in ("efficiency", "rail_utilisation")]
    request = {**example("estimate-real-output"), "tolerances": own}
    found = sensitivity("estimate-real-output", request)
    assert (row_of(found, "efficiency")["low"], row_of(found, "efficiency")["high"]) == (0.3, 0.9)
    rail = row_of(found, "rail_utilisation")
    assert (rail["low"], rail["high"], rail["source"]) == (0.44, 1.0, None)


@pytest.mark.parametrize(
    ("own", "pointer"),
    [
        ([], "/tolerances"),
        ({"length": 5}, "/tolerances"),
        ([{"input": "colour", "tolerance": 5}], "/tolerances/0/input"),
        ([{"input": "length", "tolerance": 91}], "/tolerances/0/tolerance"),
        ([{"input": "length", "tolerance": -1}], "/tolerances/0/tolerance"),
        ([{"input": "length"}], "/tolerances/0/tolerance"),
        ([{"input": "length", "tolerance": 5, "unit": "m"}], "/tolerances/0/unit"),
    ],
)
def test_wrong_tolerance_is_refused(own, pointer):
    response = answer_of("size-conductor", {**CONDUCTOR, "sensitivity": True, "tolerances": own})
    assert response.status_code == 422
    assert [fault["pointer"] for fault in response.get_json()["errors"]] == [pointer]


def test_tolerances_alone_ask_for_nothing():
    own = [{"input": "length", "tolerance": 5}]
    assert answered("size-conductor", {**CONDUCTOR, "tolerances": own})["sensitivity"] is None


def test_route_counts_as_a_whole():
    request = {name: CONDUCTOR[name] for name in ("series", "load_current", "supply_voltage")}
    request["route"] = [
        {"length": 1, "ambient_temperature": 70},
        {"length": 3, "zone": DEFAULT_ZONE},
    ]
    found = sensitivity("size-conductor", request)
    length, ambient = row_of(found, "length"), row_of(found, "ambient_temperature")
    assert (length["low"], length["nominal"], length["high"]) == (3.8, 4.0, 4.2)
    assert (ambient["low"], ambient["nominal"], ambient["high"]) == (60.0, 70.0, 80.0)


def test_inputs_of_nought_and_those_that_are_not_there_are_left_out():
    found = sensitivity("size-conductor", {**CONDUCTOR, "joints": 0, "source_resistance": 0})
    assert [row["input"] for row in found["inputs"]] == [
        "load_current",
        "supply_voltage",
        "length",
        "ambient_temperature",
        "conductor_resistance",
    ]
    with_joints = sensitivity("size-conductor", {**CONDUCTOR, "joints": 2})
    assert row_of(with_joints, "joint_resistance")["nominal"] == 0.0002


def test_stated_loading_factor_is_a_choice_and_no_assumption():
    request = example("size-fuse")
    assert row_of(sensitivity("size-fuse", request), "loading_factor")["nominal"] == 0.75
    found = sensitivity("size-fuse", {**request, "loading_factor": 0.8})
    assert "loading_factor" not in [row["input"] for row in found["inputs"]]


def test_air_around_a_fuse_follows_the_route_unless_it_is_stated():
    request = example("size-fuse")
    names = [row["input"] for row in sensitivity("size-fuse", request)["inputs"]]
    assert "fuse_ambient_temperature" not in names
    for stated in ({"fuse_zone": "engine_compartment"}, {"fuse_ambient_temperature": 55}):
        found = sensitivity("size-fuse", {**request, **stated})
        row = row_of(found, "fuse_ambient_temperature")
        assert row["high"] - row["nominal"] == row["nominal"] - row["low"] == 10.0
        # A warmer fuse carries less, so that the load asks for more.
        assert row["at_high"]["lower_a"] > row["at_low"]["lower_a"]
        ambient = row_of(found, "ambient_temperature")
        assert ambient["at_high"]["lower_a"] == ambient["at_low"]["lower_a"]
    assert row["nominal"] == 55.0


def test_end_beyond_the_models_has_the_code_of_its_error():
    # 100 C and 10 K more is hotter than an insulation of 105 C bears.
    found = sensitivity("size-conductor", {**CONDUCTOR, "ambient_temperature": 100})
    row = row_of(found, "ambient_temperature")
    assert row["at_high"] == {
        "voltage_drop_v": None,
        "conductor_temperature_c": None,
        "verdict": "ambient_not_below_rating",
        "size": None,
        "parallel_runs": None,
    }
    assert found["worst_case"] == row["at_high"]
    assert [band["high"] for band in found["results"]] == [None, None]
    assert found["choice_changes"]
