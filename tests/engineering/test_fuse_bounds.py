"""Bounds of a fuse's rating one by one, by hand; faults of batteries; the damage curve."""

import math
from dataclasses import replace

import numpy as np
import pytest

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection import damage, faults, fuse_bounds, fuse_choice
from loomwright.engineering.protection.fuse_answer import Bound, FuseWindow
from loomwright.engineering.protection.fuse_cautions import fuse_cautions
from loomwright.engineering.protection.fuse_choice import CircuitCurrents
from loomwright.engineering.protection.fuse_request import (
    ROAD_VEHICLE,
    FuseLoad,
    FuseOptions,
    FuseRequest,
    GivenFuse,
    ProtectedConductor,
    site_of,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.fuse_setting import fuse_setting
from loomwright.engineering.protection.transient import lumped_conductor_in_air
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance

TABLES = tables()
FUSES = fuse_tables()
COPPER = TABLES.materials["copper"]
TYPE_C = FUSES.types["iso_8820_3_c"]
SOURCE = Provenance("example", "example", "practice")
LUMP = lumped_conductor_in_air(
    TABLES.conductors["8 AWG"],
    COPPER,
    TABLES.insulations["pvc_105"],
    COPPER,
    TABLES.air,
    303.15,
)
CURVE = damage.damage_curve(LUMP, 80.0)


def request(**changes):
    values = {
        "load": FuseLoad(30.0),
        "conductor": ProtectedConductor(LUMP, 80.0, 0.028, SOURCE),
        "source": faults.FaultSource(12.6, 0.006),
        "system_voltage_v": 12.0,
        "ambient_temperature_k": 296.15,
        **changes,
    }
    return FuseRequest(**values)


def of_type_c(asked, ambient_factor):
    setting = replace(fuse_setting(site_of(asked), FUSES), ambient_factor=ambient_factor)
    return setting, next(kind for kind in setting.types if kind.fuse_type is TYPE_C)


def currents(inrush_a):
    return CircuitCurrents(30.0, inrush_a, 1000.0, 400.0, 1000.0)


@pytest.mark.parametrize(
    ("on_s", "off_s", "current_a"),
    # Root mean square of 30 A over the cycle; a minute and longer counts as continuous (practice).
    [(10.0, 30.0, 15.0), (59.0, 177.0, 15.0), (60.0, 180.0, 30.0), (61.0, 183.0, 30.0)],
)
def test_cyclic_load_counts_as_its_root_mean_square_below_a_minute(on_s, off_s, current_a):
    load = FuseLoad(30.0, on_time_s=on_s, off_time_s=off_s)
    answer = size_fuse(request(load=load), FUSES)
    assert answer.equivalent_continuous_current_a == pytest.approx(current_a)


def test_a_load_without_its_pause_is_continuous():
    for half in ({"on_time_s": 10.0}, {"off_time_s": 30.0}):
        site = site_of(request())._replace(**half)
        assert fuse_bounds.continuous_share(site, FUSES) == 1.0


@pytest.mark.parametrize(
    # 30 A at 75 % loading; a hot fuse carries less, a cold one is not loaded higher.
    ("ambient_factor", "rating_a"),
    [(1.0, 40.0), (0.8, 50.0), (1.1, 40.0)],
)
def test_continuous_load_sets_the_least_rating(ambient_factor, rating_a):
    bound = fuse_bounds.load_bound(30.0, FUSES, 0.75, ambient_factor)
    assert bound.rule == fuse_bounds.CONTINUOUS_LOAD
    assert bound.rated_current_a == pytest.approx(rating_a, rel=1e-12)


@pytest.mark.parametrize("may_be_below", [False, True])
def test_fuse_in_the_equipment_is_a_lower_bound_unless_waived(may_be_below):
    asked = request(
        equipment_fuse=GivenFuse(25.0),
        options=FuseOptions(rating_may_be_below_equipment_fuse=may_be_below),
    )
    bounds = fuse_choice.common_lower_bounds(fuse_setting(site_of(asked), FUSES), 30.0)
    rules = {bound.rule: bound.rated_current_a for bound in bounds}
    assert rules.get(fuse_bounds.EQUIPMENT_FUSE) == (None if may_be_below else 25.0)


@pytest.mark.parametrize(
    ("may_exceed", "system_v", "rule", "rating_a", "locator"),
    [
        (False, 12.0, fuse_bounds.AMPACITY, 80.0, "example"),
        # 33 CFR 183.455(c): 150 % of the ampacity below 50 V by (1), at most that by (2) from 50 V.
        (True, 12.0, fuse_bounds.AMPACITY_RULE, 120.0, "183.455(c)(1)"),
        (True, 49.9, fuse_bounds.AMPACITY_RULE, 120.0, "183.455(c)(1)"),
        (True, 50.0, fuse_bounds.AMPACITY_RULE, 120.0, "183.455(c)(2)"),
    ],
)
def test_ampacity_or_the_federal_rule_sets_the_greatest_rating(
    may_exceed, system_v, rule, rating_a, locator
):
    asked = request(
        system_voltage_v=system_v, options=FuseOptions(rating_may_exceed_ampacity=may_exceed)
    )
    first, _ = fuse_bounds.common_upper_bounds(site_of(asked), FUSES, CURVE, 1.0)
    assert (first.rule, first.provenance.locator) == (rule, locator)
    assert first.rated_current_a == pytest.approx(rating_a, rel=1e-12)


@pytest.mark.parametrize("runs", [1, 2])
@pytest.mark.parametrize(("ambient_factor", "later"), [(1.0, 1.0), (0.8, 1.0), (1.2, 1.2)])
def test_current_that_opens_the_fuse_in_the_end_is_borne_for_ever(runs, ambient_factor, later):
    # ISO 8820-3: the fuse opens at 135 %; a cold one at more, a hot one is not counted on.
    conductor = ProtectedConductor(LUMP, 80.0, 0.028, SOURCE, parallel_conductors=runs)
    _, bound = fuse_bounds.common_upper_bounds(
        site_of(request(conductor=conductor)), FUSES, CURVE, ambient_factor
    )
    assert bound.rule == fuse_bounds.CONVENTIONAL_FUSING
    expected = runs * CURVE.threshold_current_a / (1.35 * later)
    assert bound.rated_current_a == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("ambient_factor", "share"), [(1.0, 1.0), (0.8, 0.8), (1.2, 1.0)])
def test_starting_current_is_carried_by_the_least_opening_time(ambient_factor, share):
    # ISO 8820-3 type C: at least 0.75 s at 135 %, so 54 A need 40 A at 23 C.
    load = FuseLoad(30.0, inrush_current_a=54.0, inrush_duration_s=0.75)
    setting, kind = of_type_c(request(load=load), ambient_factor)
    (bound,) = fuse_choice.lower_bounds_of_type(setting, kind, currents(54.0))
    assert bound.rule == fuse_bounds.INRUSH
    assert bound.rated_current_a == pytest.approx(40.0 / share, rel=1e-9)


@pytest.mark.parametrize(("ambient_factor", "later"), [(1.0, 1.0), (0.8, 1.0), (1.2, 1.2)])
def test_fault_at_the_far_end_is_cleared_by_the_greatest_opening_time(ambient_factor, later):
    # Type C: at most 5 s at 200 %, so 400 A surely open 200 A in 5 s.
    for clearing_s, rating_a in ((5.0, 200.0 / later), (1e-3, None)):
        asked = request(options=FuseOptions(clearing_time_s=clearing_s))
        bound = fuse_choice.far_end_bound(*of_type_c(asked, ambient_factor), 400.0)
        found_a = None if bound is None else bound.rated_current_a
        assert found_a == (None if rating_a is None else pytest.approx(rating_a, rel=1e-9))


@pytest.mark.parametrize(
    ("upstream_a", "selective_to_a", "rating_a"),
    # Standard ratings of type C: 1 2 3 4 5 7.5 10 15 20 25 30 35 40 A; never that of the upstream.
    [(100.0, 20.0, 20.0), (100.0, 22.0, 20.0), (30.0, 99.0, 25.0), (31.0, 99.0, 30.0)],
)
def test_selectivity_takes_the_greatest_rating_that_is_selective(
    upstream_a, selective_to_a, rating_a
):
    bound = fuse_bounds.selectivity_bound(
        FUSES, TYPE_C, upstream_a, lambda rating: rating <= selective_to_a
    )
    assert bound.rated_current_a == rating_a


def test_selectivity_with_nothing_leaves_no_rating():
    bound = fuse_bounds.selectivity_bound(FUSES, TYPE_C, 100.0, lambda _: False)
    assert bound.rated_current_a == 0.0


def bounds_of(**ratings):
    return tuple(Bound(rule, rating, SOURCE) for rule, rating in ratings.items())


@pytest.mark.parametrize(
    ("lower", "upper", "rules"),
    [
        ({"a": 10.0}, {"c": 30.0}, ("a", "c")),
        ({"a": 10.0, "b": 20.0}, {"c": 30.0, "d": 40.0}, ("b", "c")),
        ({"a": 20.0, "b": 10.0}, {"c": 40.0, "d": 30.0}, ("a", "d")),
        # Of equal bounds the first is named.
        ({"a": 20.0, "b": 20.0}, {"c": 30.0, "d": 30.0}, ("a", "c")),
    ],
)
def test_window_lies_between_the_greatest_lower_and_the_least_upper_bound(lower, upper, rules):
    window = fuse_bounds.window_of(bounds_of(**lower), bounds_of(**upper))
    assert (window.lower_rule, window.upper_rule) == rules
    assert (window.lower_a, window.upper_a) == (max(lower.values()), min(upper.values()))


@pytest.mark.parametrize(("upper_a", "empty"), [(20.1, False), (20.0, False), (19.9, True)])
def test_window_of_one_rating_is_not_empty(upper_a, empty):
    assert FuseWindow(20.0, upper_a, "a", "b", (), ()).is_empty is empty


@pytest.mark.parametrize(
    ("resistance_of", "volt"),
    # SAE J537 holds 7.2 V, EN 50342-1 7.5 V for each battery of 12 V.
    [
        (faults.internal_resistance_from_sae_cold_cranking_ohm, 7.2),
        (faults.internal_resistance_from_en_cold_cranking_ohm, 7.5),
    ],
)
def test_internal_resistance_is_the_drop_of_the_cranking_test(resistance_of, volt):
    assert resistance_of(12.6, 600.0) == pytest.approx((12.6 - volt) / 600.0, rel=1e-12)
    assert resistance_of(25.2, 600.0, 2) == pytest.approx((25.2 - 2.0 * volt) / 600.0, rel=1e-12)
    with pytest.raises(EngineeringError) as caught:
        resistance_of(volt, 600.0)
    assert caught.value.code == "emf_below_cranking_voltage"


def test_source_is_a_warm_battery_right_at_the_fuse_unless_said():
    source = faults.FaultSource(12.0, 0.01)
    # 12 V over 10 mohm and 5 mohm by hand.
    assert faults.fault_current_a(source, 0.005) == pytest.approx(800.0, rel=1e-12)
    assert source.internal_resistance_is_cold is False
    with pytest.raises(EngineeringError) as caught:
        faults.fault_current_a(faults.FaultSource(12.0, 0.0), 0.0)
    assert caught.value.attributes == {"value": 0.0, "limit": 0.0}


@pytest.mark.parametrize("initial_k", [None, 303.15, 348.15])
@pytest.mark.parametrize("ampacity_a", [80.0, 60.0])
def test_tabulated_damage_is_that_of_the_transient_from_the_same_start(initial_k, ampacity_a):
    curve = damage.damage_curve(LUMP, ampacity_a, initial_k)
    current = curve.threshold_current_a * np.array([1.05, 1.3, 2.0, 4.0, 10.0, 40.0])
    np.testing.assert_allclose(
        damage.interpolated_damage_time_s(curve, current),
        damage.damage_time_s(curve.conductor, current, initial_k),
        rtol=0.01,
    )


def test_damage_curve_is_infinite_up_to_the_threshold_and_its_points_lie_on_it():
    threshold = CURVE.threshold_current_a
    for current in (0.5 * threshold, threshold):
        assert damage.interpolated_damage_time_s(CURVE, current) == np.inf
    assert damage.interpolated_damage_time_s(CURVE, 1.01 * threshold) < np.inf
    currents = np.array([point.current_a for point in CURVE.points])
    times = damage.interpolated_damage_time_s(CURVE, currents)
    np.testing.assert_allclose([point.damage_time_s for point in CURVE.points], times, rtol=1e-9)
    # From where the curve has not risen far to beyond every fuse's last published multiple, in
    # equal ratios of the excess: twelve from 1 % to 71 %, twelve more to fifty times.
    excess = currents / threshold - 1.0
    assert excess[[0, 12, 24]] == pytest.approx([0.01, math.sqrt(0.01 * 50.0), 50.0], rel=1e-9)
    np.testing.assert_allclose(excess[1:] / excess[:-1], 5000.0 ** (1.0 / 24.0), rtol=1e-9)


@pytest.mark.parametrize("initial_k", [None, 303.15])
@pytest.mark.parametrize("ampacity_a", [80.0, 60.0, 20.0])
def test_tabulated_damage_is_the_transient_itself_at_twice_the_threshold(initial_k, ampacity_a):
    """The middle of the table, whose points run over as many decades of excess either way."""
    curve = damage.damage_curve(LUMP, ampacity_a, initial_k)
    twice_a = 2.0 * curve.threshold_current_a
    exact_s = float(damage.damage_time_s(curve.conductor, twice_a, initial_k))
    assert exact_s > 5.0
    assert damage.interpolated_damage_time_s(curve, twice_a) == pytest.approx(exact_s, rel=1e-9)


@pytest.mark.parametrize(
    ("factor", "cautioned"),
    [(1.0, False), (1.004, False), (0.996, False), (1.006, True), (0.99, True)],
)
def test_ambient_is_cautioned_of_where_it_changes_half_a_percent(factor, cautioned):
    setting = replace(fuse_setting(site_of(request()), FUSES), ambient_factor=factor)
    found = fuse_cautions(setting, (), 1000.0, False, ROAD_VEHICLE)
    assert ("ambient_factor_low_confidence" in found) is cautioned


@pytest.mark.parametrize(("runs", "cautioned"), [(1, False), (2, True)])
def test_parallel_runs_are_cautioned_of(runs, cautioned):
    conductor = ProtectedConductor(LUMP, 80.0, 0.028, SOURCE, parallel_conductors=runs)
    setting = fuse_setting(site_of(request(conductor=conductor)), FUSES)
    found = fuse_cautions(setting, (), 1000.0, False, ROAD_VEHICLE)
    assert ("parallel_runs" in found) is cautioned


@pytest.mark.parametrize("internal_ohm", [0.02, 0.012, 0.006, 0.002])
@pytest.mark.parametrize("key", ["iso_8820_3_c", "iso_8820_5_sf51"])
def test_current_past_the_curve_is_cautioned_of_only_where_it_rests_on_the_let_through(
    internal_ohm, key
):
    asked = request(
        source=faults.FaultSource(12.6, internal_ohm),
        fuse_types=(key,),
        options=FuseOptions(breaking_capacity_may_be_exceeded=True),
    )
    answer = size_fuse(asked, FUSES)
    (kind,) = answer.types
    rests = kind.rated_current_a is not None and (
        kind.coordination.beyond_published_curve == "bounded_by_constant_i2t"
    )
    assert ("outside_published_curve" in answer.cautions) is rests


@pytest.mark.parametrize(("before_ohm", "behind_ohm"), [(3e-320, 0.0), (0.0, 3e-320)])
def test_a_resistance_too_small_for_any_current_is_stated_as_it_is(before_ohm, behind_ohm):
    # 12.6 V over it is beyond the greatest number.
    source = faults.FaultSource(12.6, 1e-320, before_ohm)
    with pytest.raises(EngineeringError) as caught:
        faults.fault_current_a(source, behind_ohm)
    assert caught.value.code == "no_resistance_in_fault_circuit"
    assert caught.value.attributes["value"] == pytest.approx(4e-320, rel=0.01, abs=0.0)
