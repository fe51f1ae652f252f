"""Fuse bands, rules and the whole selection against published figures and hand calculations.

Longer than usual: one runner for each file of cases, and the selection is one subject.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection import faults, fuses
from loomwright.engineering.protection.damage import damage_curve, damage_time_s
from loomwright.engineering.protection.fuse_answer import VERDICTS
from loomwright.engineering.protection.fuse_coordination import coordination_with_damage
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FuseOptions,
    FusePlacement,
    FuseRequest,
    GivenFuse,
    ProtectedConductor,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.selectivity import FuseInCircuit, selectivity
from loomwright.engineering.protection.transient import lumped_conductor_in_air
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance

CASES = Path(__file__).parents[1] / "cases" / "fuses"
KELVIN = 273.15
TABLES = tables()
FUSES = fuse_tables()
TYPES = FUSES.types
TABLE_5 = Provenance("cfr_33_183", "183.425 Table 5", "page")


def cases(name):
    return [
        pytest.param(case, id=case["id"]) for case in json.loads((CASES / name).read_text("utf-8"))
    ]


def relative(case):
    return case["tolerance"]["relative"]


@pytest.mark.parametrize("case", cases("opening_times.json"))
def test_opening_times(case):
    given, expected = case["given"], case["expected"]
    band = fuses.opening_band(TYPES[given["fuse_type"]], given["current_percent"] / 100.0)
    for name in ("least", "greatest"):
        value = expected[f"{name}_s"]
        state = str(getattr(band, f"{name}_state"))
        if value is None:
            assert state == fuses.NOT_LIMITED
            assert np.isnan(getattr(band, f"{name}_s"))
        else:
            assert state == fuses.WITHIN
            assert getattr(band, f"{name}_s") == pytest.approx(value, rel=relative(case))


def test_curve_is_never_extended_past_its_ends():
    band = fuses.opening_band(TYPES["iso_8820_3_c"], np.array([1.0, 1.1, 1.2, 1.35, 6.0, 6.1]))
    assert band.least_state.tolist() == [
        fuses.OUTSIDE,
        fuses.WITHIN,
        fuses.WITHIN,
        fuses.WITHIN,
        fuses.WITHIN,
        fuses.OUTSIDE,
    ]
    assert band.greatest_state.tolist() == [
        fuses.OUTSIDE,
        fuses.NOT_LIMITED,
        fuses.NOT_LIMITED,
        fuses.WITHIN,
        fuses.WITHIN,
        fuses.OUTSIDE,
    ]
    assert np.isnan(band.least_s[[0, 5]]).all()
    nowhere = fuses.opening_band(TYPES["iso_8820_6_single_bolt"], 2.0)
    assert str(nowhere.greatest_state) == fuses.OUTSIDE


def test_array_shape_is_kept():
    band = fuses.opening_band(TYPES["iso_8820_5_sf30"], np.full((3, 4), 2.0))
    assert band.greatest_s == pytest.approx(np.full((3, 4), 15.0))
    factors = fuses.ambient_rating_factor(np.array([296.15, 338.15]), FUSES)
    assert factors == pytest.approx([1.0, 0.937])


@pytest.mark.parametrize("fuse_type", TYPES.values(), ids=TYPES.keys())
def test_one_number_and_an_array_take_the_same_line(fuse_type):
    curve = fuses.fuse_curve(fuse_type)
    for multiple in np.geomspace(1.05, 7.0, 40):
        band = fuses.opening_band(fuse_type, multiple)
        for points, time in (
            (curve.least_points, band.least_s),
            (curve.greatest_points, band.greatest_s),
        ):
            single = fuses.opening_time_on_line_s(points, float(multiple))
            if single is None:
                assert np.isnan(time)
            else:
                assert time == pytest.approx(single, rel=1e-12)


@pytest.mark.parametrize("case", cases("positions.json"))
def test_position(case):
    given = case["given"]
    found = [
        limit.greatest_distance_m
        for limit in fuses.position_limits(given["sheathed"], given["on_battery_terminal"], FUSES)
        if limit.provenance.source == given["publication"]
    ]
    expected = case["expected"]["greatest_distance_m"]
    assert found == ([] if expected is None else [pytest.approx(expected, rel=relative(case))])


@pytest.mark.parametrize("case", cases("ampacity_rule.json"))
def test_ampacity_rule(case):
    given = case["given"]
    rating = fuses.greatest_rating_by_ampacity_rule_a(
        given["ampacity_a"],
        given["system_voltage_v"],
        TYPES[given["fuse_type"]].ratings_a,
        FUSES,
    )
    assert rating == pytest.approx(case["expected"]["rated_current_a"], rel=relative(case))


@pytest.mark.parametrize("case", cases("interrupting_capacity.json"))
def test_interrupting_capacity(case):
    row = fuses.interrupting_capacity(case["given"]["cold_cranking_a"], FUSES)
    assert row.main_a == pytest.approx(case["expected"]["main_a"], rel=relative(case))
    assert row.branch_a == pytest.approx(case["expected"]["branch_a"], rel=relative(case))


@pytest.mark.parametrize("case", cases("rated_voltages.json"))
def test_rated_voltage(case):
    given = case["given"]
    needed = fuses.greatest_operating_voltage_v(given["system_voltage_v"], FUSES)
    found = fuses.rated_voltage_at_least_v(TYPES[given["fuse_type"]], needed)
    assert found == case["expected"]["rated_voltage_v"]


@pytest.mark.parametrize("case", cases("internal_resistance.json"))
def test_internal_resistance(case):
    given = dict(case["given"])
    function = {
        "sae": faults.internal_resistance_from_sae_cold_cranking_ohm,
        "en": faults.internal_resistance_from_en_cold_cranking_ohm,
    }[given.pop("definition")]
    assert function(**given) == pytest.approx(
        case["expected"]["resistance_ohm"], rel=relative(case)
    )


def request(given):
    """Build a request from a case, whose quantities are in the units that their names end in."""
    copper = TABLES.materials["copper"]
    lump = lumped_conductor_in_air(
        TABLES.conductors[given["size"]],
        copper,
        TABLES.insulations[given["insulation"]],
        copper,
        TABLES.air,
        given["conductor_ambient_c"] + KELVIN,
    )
    checked, equipment = given.get("checked"), given.get("equipment_fuse_a")
    return FuseRequest(
        load=FuseLoad(
            given["continuous_current_a"],
            given.get("inrush_current_a"),
            given.get("inrush_duration_s"),
        ),
        conductor=ProtectedConductor(
            lump, given["ampacity_a"], given["there_and_back_resistance_ohm"], TABLE_5
        ),
        source=faults.FaultSource(
            given["emf_v"],
            given["internal_resistance_ohm"],
            given["resistance_before_fuse_ohm"],
            given.get("current_limit_a"),
            given.get("cold_cranking_a"),
        ),
        system_voltage_v=given["system_voltage_v"],
        ambient_temperature_k=given["ambient_c"] + KELVIN,
        fuse_types=tuple(given["fuse_types"]),
        placement=FusePlacement(
            distance_from_source_m=given.get("distance_from_source_m", 0.0),
            sheathed=given.get("sheathed", False),
            rules=given.get("rules", "road_vehicle"),
        ),
        equipment_fuse=None if equipment is None else GivenFuse(equipment),
        checked_fuse=None if checked is None else GivenFuse(checked[1], checked[0]),
    )


@pytest.mark.parametrize("case", cases("sizing.json"))
def test_sizing(case):
    expected = case["expected"]
    answer = size_fuse(request(case["given"]), FUSES)
    assert answer.verdict == expected["verdict"]
    assert answer.verdict in VERDICTS
    assert answer.chosen_type == expected["chosen_type"]
    assert answer.rated_current_a == expected["rated_current_a"]
    by_type = {found.fuse_type: found for found in answer.types}
    for name, value in (
        ("lower_a", answer.window.lower_a),
        ("near_source_fault_a", answer.faults.near_source_fault_a),
        ("far_end_fault_a", answer.faults.far_end_fault_a),
        ("required_breaking_capacity_a", answer.faults.required_breaking_capacity_a),
    ):
        if name in expected:
            assert value == pytest.approx(expected[name], rel=relative(case))
    for key, (verdict, rating) in expected.get("types", {}).items():
        assert (by_type[key].verdict, by_type[key].rated_current_a) == (verdict, rating)
    for key, value in expected.get("type_lower_a", {}).items():
        assert by_type[key].window.lower_a == pytest.approx(value, rel=relative(case))
    for key, value in expected.get("type_upper_a", {}).items():
        assert by_type[key].window.upper_a == pytest.approx(value, rel=relative(case))
    for key, failures in expected.get("type_failures", {}).items():
        assert sorted(by_type[key].failures) == sorted(failures)
    if "upper_rule" in expected:
        assert answer.window.upper_rule == expected["upper_rule"]
        assert answer.window.is_empty
    if "rated_voltage_v" in expected:
        assert by_type[answer.chosen_type].rated_voltage_v == expected["rated_voltage_v"]
    if "caution" in expected:
        assert expected["caution"] in answer.cautions


BASE = {
    "size": "8 AWG",
    "insulation": "pvc_105",
    "conductor_ambient_c": 30.0,
    "ampacity_a": 80.0,
    "there_and_back_resistance_ohm": 0.028,
    "continuous_current_a": 25.0,
    "emf_v": 12.6,
    "internal_resistance_ohm": 0.006,
    "resistance_before_fuse_ohm": 0.008,
    "system_voltage_v": 12.0,
    "ambient_c": 23.0,
    "fuse_types": [],
}


def with_fields(asked, **fields):
    return FuseRequest(
        **{
            name: fields.get(name, getattr(asked, name))
            for name in FuseRequest.__dataclass_fields__
        }
    )


def test_points_are_ready_to_plot():
    answer = size_fuse(request(BASE), FUSES)
    assert answer.chosen_type == "iso_8820_3_c"
    band = answer.types[0].band
    assert [point.current_a for point in band] == pytest.approx(
        [38.5, 47.25, 56.0, 70.0, 122.5, 210.0]
    )
    assert band[0].greatest_s is None
    times = [point.damage_time_s for point in answer.damage_curve]
    assert times == sorted(times, reverse=True)
    assert answer.damage_curve[0].current_a > answer.damage_threshold_current_a


def test_far_end_beyond_the_curve_is_named_and_bounded():
    answer = size_fuse(request(BASE), FUSES)
    far = answer.types[0].far_end_opening
    assert far.current_multiple == pytest.approx(300.0 / 35.0)
    assert far.state == fuses.OUTSIDE
    assert far.greatest_s is None
    assert far.opens_within_s == pytest.approx(0.1)


def test_slow_fuse_on_a_thin_conductor_does_not_coordinate():
    """By hand: bolt-in 50 A lets 300 A flow for 2 s, 180 000 A2s.

    18 AWG PVC from 105 C to 160 C bears (87.6 A s^0.5/mm2 x 0.823 mm2)**2 = 5 200 A2s.
    """
    copper = TABLES.materials["copper"]
    lump = lumped_conductor_in_air(
        TABLES.conductors["18 AWG"],
        copper,
        TABLES.insulations["pvc_105"],
        copper,
        TABLES.air,
        303.15,
    )
    asked = request(BASE | {"checked": ["iso_8820_4_b", 50.0]})
    conductor = ProtectedConductor(lump, 20.0, 0.028, TABLE_5)
    answer = size_fuse(with_fields(asked, conductor=conductor), FUSES)
    assert answer.verdict == "conductor_not_protected"
    found = answer.types[0].coordination
    assert not found.holds
    assert found.least_margin <= 5_200.0 / 180_000.0 * 1.05


@pytest.mark.parametrize("near_source_fault_a", [70.0, 95.0, 130.0, 400.0, 5000.0])
def test_least_margin_is_that_of_every_current_up_to_the_fault(near_source_fault_a):
    """Straight from the definition: damage time over greatest opening time, current by current."""
    kind = TYPES["iso_8820_3_c"]
    curve = damage_curve(request(BASE).conductor.thermal, 25.0)
    found = coordination_with_damage(kind, 30.0, curve, 1, near_source_fault_a)
    multiples = [point.current_multiple for point in kind.opening_times if point.greatest_s]
    current = np.geomspace(30.0 * multiples[0], 30.0 * multiples[-1], 4000)
    greatest = fuses.opening_band(kind, current / 30.0).greatest_s
    margin = damage_time_s(curve.conductor, current) / greatest
    least = margin[current <= near_source_fault_a].min()
    # The grid's next point counts as well, and the damage curve is interpolated within 1 %.
    assert found.least_margin <= least * 1.03
    assert found.least_margin >= margin[current <= near_source_fault_a * 1.1].min() * 0.97


def test_federal_rule_is_reported_but_never_chosen_unless_the_conductor_is_protected():
    """33 CFR 183.455(c)(1) would allow 120 A over 80 A; 1.35 x In must still not overheat it."""
    asked = request(BASE | {"continuous_current_a": 70.0, "fuse_types": ["iso_8820_3_e"]})
    answer = size_fuse(asked, FUSES)
    assert answer.types[0].greatest_rating_by_33_cfr_183_455_a == pytest.approx(120.0)
    assert answer.rated_current_a is None
    allowed = size_fuse(
        with_fields(asked, options=FuseOptions(rating_may_exceed_ampacity=True)), FUSES
    )
    assert allowed.window.upper_rule == "conventional_fusing_current"
    assert allowed.rated_current_a is None
    assert allowed.verdict == "conductor_not_protected"


def test_selectivity_by_hand():
    """SF51 100 A over type C 30 A.

    At 180 A, 600 % of 30 A, the blade is open within 0.1 s; the strip carries 180 % for at least
    1 s. At 600 A, 600 % of the strip, it may open after 0.1 s: no proof from there on.
    """
    strip = FuseInCircuit(TYPES["iso_8820_5_sf51"], 100.0)
    blade = FuseInCircuit(TYPES["iso_8820_3_c"], 30.0)
    assert selectivity(strip, blade, 500.0).state == "selective"
    found = selectivity(strip, blade, 1000.0)
    assert found.state == "selective_in_part"
    assert found.selective_up_to_a == pytest.approx(600.0, rel=0.01)
    equal = selectivity(FuseInCircuit(blade.fuse_type, 30.0), blade, 500.0)
    assert equal.state == "not_selective"
    unknown = selectivity(FuseInCircuit(None, 100.0), blade, 500.0)
    assert unknown.state == "curve_not_published"


def test_selectivity_as_a_requirement_bounds_the_rating():
    asked = with_fields(
        request(BASE | {"fuse_types": ["iso_8820_3_c"], "resistance_before_fuse_ohm": 0.03}),
        upstream_fuse=GivenFuse(100.0, "iso_8820_5_sf51"),
        options=FuseOptions(selectivity_required=True),
    )
    answer = size_fuse(asked, FUSES)
    assert answer.types[0].upstream_selectivity.state == "selective"
    assert answer.rated_current_a == 35.0
    weak = with_fields(asked, upstream_fuse=GivenFuse(40.0, "iso_8820_5_sf51"))
    assert size_fuse(weak, FUSES).verdict == "not_selective"


def test_duty_takes_the_root_mean_square_and_carries_each_peak():
    """By hand: 40 A for 10 s of 40 s is 20 A r.m.s., so 26.67 A; type C carries the peak of 10 s.

    Least times 360 000 s at 110 % and 0.75 s at 135 %: share ln(36000) / ln(480000) = 0.80200,
    multiple 1.1 x (1.35/1.1)**0.80200 = 1.29631; 40 / 1.29631 = 30.857 A, so 35 A.
    """
    asked = with_fields(
        request(BASE | {"fuse_types": ["iso_8820_3_c"]}),
        load=FuseLoad(40.0, on_time_s=10.0, off_time_s=30.0),
    )
    answer = size_fuse(asked, FUSES)
    assert answer.equivalent_continuous_current_a == pytest.approx(20.0)
    assert answer.types[0].window.lower_rule == "cyclic_load"
    assert answer.types[0].window.lower_a == pytest.approx(30.857, rel=1e-4)
    assert answer.rated_current_a == 35.0
    long = with_fields(asked, load=FuseLoad(20.0, on_time_s=600.0, off_time_s=600.0))
    assert size_fuse(long, FUSES).equivalent_continuous_current_a == 20.0


def test_warm_battery_is_reported_beside_the_cold_one():
    source = faults.FaultSource(12.6, 0.009, 0.001, None, 600.0, True)
    answer = size_fuse(with_fields(request(BASE), source=source), FUSES)
    assert answer.faults.near_source_fault_a == pytest.approx(1260.0)
    assert answer.faults.warm_near_source_fault_a == pytest.approx(12.6 / 0.0055)
    assert answer.faults.interrupting_capacity_main_a == 1500.0


def test_breaking_capacity_may_be_exceeded_only_knowingly():
    """12.6 V / 1000 A = 12.6 mohm are due before the fuse; 7 mohm are there: 5.6 mohm lack."""
    asked = request(BASE | {"resistance_before_fuse_ohm": 0.001, "fuse_types": ["iso_8820_3_c"]})
    refused = size_fuse(asked, FUSES)
    assert refused.types[0].lacking_resistance_before_fuse_ohm == pytest.approx(0.0056)
    options = FuseOptions(breaking_capacity_may_be_exceeded=True)
    allowed = size_fuse(with_fields(asked, options=options), FUSES)
    assert allowed.rated_current_a == 35.0
    assert "breaking_capacity_exceeded" in allowed.cautions


def test_small_ratings_of_type_c_have_their_own_times():
    small = fuses.opening_band(TYPES["iso_8820_3_c_1_to_2_a"], 2.0)
    large = fuses.opening_band(TYPES["iso_8820_3_c"], 2.0)
    assert small.least_s < large.least_s


def test_every_figure_that_the_answer_rests_on_keeps_its_mark():
    answer = size_fuse(request(BASE), FUSES)
    marks = {provenance.checked for provenance in answer.provenances.rows}
    assert marks == {"page", "memory", "practice"}
    assert all(provenance.source in TABLES.sources for provenance in answer.provenances.rows)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"fuse_types": ["not_a_type"]}, "unknown_fuse_type"),
        ({"continuous_current_a": 0.0}, "value_out_of_range"),
        ({"continuous_current_a": float("nan")}, "value_out_of_range"),
        ({"ambient_c": 200.0}, "ambient_outside_model"),
        ({"rules": "elsewhere"}, "unknown_placement_rule"),
        ({"inrush_current_a": 50.0}, "incomplete_pair"),
        ({"checked": [None, 50.0]}, "unknown_fuse_type"),
        (
            {"internal_resistance_ohm": 0.0, "resistance_before_fuse_ohm": 0.0},
            "no_resistance_in_fault_circuit",
        ),
    ],
)
def test_fault_in_a_request_has_its_code(change, code):
    with pytest.raises(EngineeringError) as caught:
        size_fuse(request(BASE | change), FUSES)
    assert caught.value.code == code
