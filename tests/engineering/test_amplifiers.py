"""Amplifier figures against published formulas, tables and rules of the trade."""

import dataclasses
import json
import math
from pathlib import Path

import numpy as np
import pytest

from loomwright.engineering.audio import amplifiers, levels
from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.audio.output_request import OutputRequest
from loomwright.engineering.audio.output_words import (
    BOUND_PREMISES,
    BOUNDS,
    BURST_BOUNDS,
    CTA_2006_BOUNDS,
    RERATINGS,
    VERDICTS,
    bound_reason,
)
from loomwright.engineering.cautions import CAUTIONS
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.audio_load import audio_tables
from loomwright.tables.read import package_folder, read_sources

FOLDER = Path(__file__).parents[1] / "cases" / "amplifiers"
TABLES = audio_tables()


def cases(name):
    return [
        pytest.param(case, id=case["id"]) for case in json.loads((FOLDER / name).read_text("utf-8"))
    ]


def class_b():
    return amplifiers.loss_model(TABLES.amplifier_classes["B"], math.pi / 4)


FUNCTIONS = {
    "class_b_efficiency": lambda power_fraction: amplifiers.efficiency_at_drive(
        class_b(), power_fraction
    ),
    "class_b_dissipation": lambda power_fraction: amplifiers.heat_w(class_b(), power_fraction, 1.0),
    "rail_limited_output": amplifiers.rail_limited_output_w,
    "rail_limited_square_wave_output": amplifiers.rail_limited_square_wave_output_w,
    "supply_current": amplifiers.supply_current_a,
    "rerated_output": amplifiers.rerated_output_w,
    "gain_setting_voltage": amplifiers.gain_setting_voltage_v,
    "power_level": levels.power_level_db,
    "voltage_level": levels.voltage_level_db,
    "voltage_at_dbv": levels.voltage_at_dbv_v,
    "voltage_at_dbu": levels.voltage_at_dbu_v,
    "crest_factor": levels.crest_factor_db,
    "programme_power_fraction": levels.programme_power_fraction,
    "programme_power_fraction_level": lambda crest_factor_db: levels.power_level_db(
        levels.programme_power_fraction(crest_factor_db)
    ),
}


def near(value, tolerance):
    return pytest.approx(
        value, rel=tolerance.get("relative", 0.0), abs=tolerance.get("absolute", 0.0)
    )


def request_of(given):
    fields = dict(given)
    fields["fuse_ratings_a"] = tuple(fields["fuse_ratings_a"])
    fields["amplifier_class"] = TABLES.amplifier_classes[fields["amplifier_class"]]
    if "programme" in fields:
        fields["programme"] = TABLES.programmes[fields["programme"]]
    return OutputRequest(**fields)


BASE = {
    "fuse_ratings_a": (25.0,),
    "amplifier_class": "AB",
    "load_impedance_ohm": 4.0,
    "bridged": True,
    "converter": "unregulated",
    "supply_voltage_v": 12.0,
    "programme": "sine",
}


@pytest.mark.parametrize("case", cases("formulas.json"))
def test_formula(case):
    given = dict(case["given"])
    value = FUNCTIONS[given.pop("function")](**given)
    assert value == near(case["expected"]["value"], case["tolerance"])


@pytest.mark.parametrize("case", cases("tables.json"))
def test_table_repeats_its_source(case):
    given = case["given"]
    if "constant" in given:
        value = getattr(amplifiers, given["constant"])
    elif "programme" in given:
        value = getattr(TABLES.programmes[given["programme"]], given["field"])
    else:
        value = getattr(TABLES.amplifier_classes[given["class"]], given["field"])
        if "end" in given:
            value = getattr(value, given["end"])
    assert value == near(case["expected"]["value"], case["tolerance"])


@pytest.mark.parametrize("case", cases("inconsistencies.json"))
def test_printed_figures_match_voltage_fractions_and_miss_power_fractions(case):
    expected = case["expected"]
    for index, printed in enumerate(case["given"]["printed"]):
        fraction = printed["power_fraction"]
        by_power = amplifiers.efficiency_at_drive(class_b(), fraction)
        by_voltage = amplifiers.efficiency_at_drive(class_b(), fraction**2)
        assert by_power == near(expected["efficiency_at_power_fraction"][index], case["tolerance"])
        assert by_voltage == near(
            expected["efficiency_at_voltage_fraction"][index], case["tolerance"]
        )
        assert by_voltage == near(printed["efficiency"], case["tolerance"])
        assert by_power > 1.2 * printed["efficiency"]


@pytest.mark.parametrize("case", cases("estimates.json"))
def test_estimate(case):
    estimate = output_estimate(request_of(case["given"]))
    for name, expected in case["expected"].items():
        value = getattr(estimate, name)
        if isinstance(expected, str):
            assert value == expected, name
        elif isinstance(expected, dict):
            assert expected["least"] <= value <= expected["greatest"], name
        else:
            assert value == near(expected, case["tolerance"]), name


@pytest.mark.parametrize("key", sorted(set(TABLES.amplifier_classes) - {"constant_efficiency"}))
@pytest.mark.parametrize("end", ["low", "high"])
@pytest.mark.parametrize("field", ["efficiency", "efficiency_with_converter"])
def test_loss_model_passes_through_the_practical_range_at_full_power(key, end, field):
    kind = TABLES.amplifier_classes[key]
    efficiency = getattr(getattr(kind, field), end)
    model = amplifiers.loss_model(kind, efficiency)
    assert amplifiers.efficiency_at_drive(model, 1.0) == pytest.approx(efficiency, rel=1e-12)
    assert model.idle >= 0.0
    assert model.square_root >= 0.0


def test_hearing_caution_starts_above_85_db():
    fields = {**BASE, "claimed_output_total_w": 1.0, "crest_factor_db": 3.0102999566}
    del fields["programme"]
    quiet = request_of({**fields, "loudspeaker_sensitivity_db": 84.9})
    loud = request_of({**fields, "loudspeaker_sensitivity_db": 85.1})
    assert "hearing" not in output_estimate(quiet).cautions
    assert "hearing" in output_estimate(loud).cautions


def test_caution_for_claim_in_reach_of_bursts_only():
    burst = request_of({**BASE, "claimed_output_total_w": 320.0, "programme": "bass_music"})
    beyond = request_of({**BASE, "claimed_output_total_w": 1000.0, "programme": "bass_music"})
    assert "claim_in_bursts_only" in output_estimate(burst).cautions
    assert "claim_in_bursts_only" not in output_estimate(beyond).cautions


def test_cautions_on_source_and_scope():
    weak = {**BASE, "source_emf_v": 24.0, "source_resistance_ohm": 1.0, "supply_voltage_v": None}
    found = output_estimate(request_of(weak)).cautions
    assert "source_limits_output" in found
    assert "outside_cta_2006_scope" in found
    assert set(found) <= set(CAUTIONS)


def test_every_answer_names_listed_sources_with_their_marks():
    known = read_sources(package_folder())
    estimate = output_estimate(request_of({**BASE, "loudspeaker_sensitivity_db": 90.0}))
    assert {provenance.source for provenance in estimate.provenances} <= set(known)
    assert {"memory", "practice", "page"} <= {item.checked for item in estimate.provenances}


def test_words_exist_for_every_key():
    for given in (
        BASE,
        {**BASE, "converter": "none"},
        {**BASE, "claimed_output_total_w": 50.0},
        {**BASE, "converter": "regulated", "claimed_output_total_w": 250.0},
    ):
        estimate = output_estimate(request_of(given))
        assert estimate.burst_bound in BURST_BOUNDS
        assert estimate.cta_2006_bound in CTA_2006_BOUNDS
        assert estimate.cta_2006_rerating in RERATINGS
        assert estimate.claim_verdict is None or estimate.claim_verdict in VERDICTS
        for bound in BOUND_PREMISES:
            key = getattr(estimate, f"{bound}_bound")
            sentence = bound_reason(bound, key)
            assert sentence[0] == BOUNDS[key][0].upper()
            assert sentence[1:] == f"{BOUNDS[key][1:]}. Premise: {BOUND_PREMISES[bound]}."


def test_arrays_give_the_same_answers_as_floats():
    fuses, volts = np.array([[10.0], [25.0], [80.0]]), np.array([11.0, 12.6, 14.4, 28.0])
    changed = {
        **BASE,
        "fuse_ratings_a": (fuses,),
        "supply_voltage_v": None,
        "source_emf_v": volts,
        "source_resistance_ohm": 0.02,
        "converter": "none",
        "claimed_output_total_w": 60.0,
        "loudspeaker_sensitivity_db": 90.0,
    }
    many = output_estimate(request_of(changed))
    for row, fuse in enumerate(fuses[:, 0]):
        for column, volt in enumerate(volts):
            one = output_estimate(
                request_of(
                    {**changed, "fuse_ratings_a": (float(fuse),), "source_emf_v": float(volt)}
                )
            )
            for field in dataclasses.fields(one):
                whole, single = getattr(many, field.name), getattr(one, field.name)
                if isinstance(single, (int, float, str)):
                    part = np.broadcast_to(whole, (3, 4))[row, column]
                    same = (
                        part == single
                        if isinstance(single, str)
                        else part == pytest.approx(single, rel=1e-12, abs=1e-12)
                    )
                    assert same, field.name


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"fuse_ratings_a": ()}, "fuse_required", "fuse_ratings_a"),
        ({"fuse_ratings_a": (25.0, -1.0)}, "out_of_range", "fuse_ratings_a"),
        ({"supply_voltage_v": math.nan}, "out_of_range", "supply_voltage_v"),
        ({"load_impedance_ohm": math.inf}, "out_of_range", "load_impedance_ohm"),
        ({"supply_voltage_v": np.array([12.0, 1e308])}, "out_of_range", "supply_voltage_v"),
        ({"channels": 0}, "out_of_range", "channels"),
        ({"supply_voltage_v": None}, "one_of_required", "supply_voltage_v"),
        ({"source_emf_v": 12.0}, "only_one_of", "supply_voltage_v"),
        ({"route_resistance_ohm": 0.01}, "only_one_of", "supply_voltage_v"),
        (
            {"supply_voltage_v": None, "source_emf_v": 12.0},
            "one_of_required",
            "source_resistance_ohm",
        ),
        ({"crest_factor_db": 6.0}, "only_one_of", "crest_factor_db"),
        ({"programme": None}, "one_of_required", "crest_factor_db"),
        ({"programme": None, "crest_factor_db": 2.0}, "out_of_range", "crest_factor_db"),
        (
            {"claimed_output_total_w": 100.0, "claimed_output_per_channel_w": 50.0},
            "only_one_of",
            "claimed_output_total_w",
        ),
        ({"converter": "some"}, "unknown_converter", "converter"),
        ({"measured_efficiency": 0.8}, "efficiency_above_class_maximum", "measured_efficiency"),
        (
            {"amplifier_class": TABLES.amplifier_classes["constant_efficiency"]},
            "efficiency_required",
            "measured_efficiency",
        ),
    ],
)
def test_requests_outside_the_model_are_refused(changes, code, field):
    request = dataclasses.replace(request_of(BASE), **changes)
    with pytest.raises(EngineeringError) as caught:
        output_estimate(request)
    assert (caught.value.code, caught.value.field) == (code, field)


def test_loss_model_ends_at_full_output():
    with pytest.raises(EngineeringError) as caught:
        amplifiers.efficiency_at_drive(class_b(), 1.5)
    assert caught.value.code == "drive_above_full"
