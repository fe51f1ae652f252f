"""Fuse before conductor: the margins on their grid against their definition, and the circuit."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection import fuse_coordination as coordination
from loomwright.engineering.protection.damage import damage_curve, interpolated_damage_time_s
from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_answer import Coordination
from loomwright.engineering.protection.fuse_circuit import (
    circuit_of,
    feed_resistance_ohm,
    position_of,
)
from loomwright.engineering.protection.fuse_request import (
    BOAT_RULES,
    FuseLoad,
    FusePlacement,
    FuseRequest,
    ProtectedConductor,
)
from loomwright.engineering.protection.fuses import opening_band
from loomwright.engineering.protection.transient import lumped_conductor_in_air
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance

TABLES = tables()
FUSES = fuse_tables()
COPPER = TABLES.materials["copper"]
SOURCE = Provenance("example", "example", "practice")
LUMPS = {
    size: lumped_conductor_in_air(
        TABLES.conductors[size],
        COPPER,
        TABLES.insulations["pvc_105"],
        COPPER,
        TABLES.air,
        303.15,
    )
    for size in ("18 AWG", "12 AWG", "8 AWG")
}
AMPACITIES_A = {"18 AWG": 17.0, "12 AWG": 38.0, "8 AWG": 80.0}
PAIRS = [
    ("iso_8820_3_c", 15.0, "18 AWG", 1),
    ("iso_8820_3_c", 30.0, "12 AWG", 1),
    ("iso_8820_3_c", 40.0, "18 AWG", 3),
    ("iso_8820_5_sf51", 100.0, "8 AWG", 2),
    ("iso_8820_4_b", 50.0, "12 AWG", 2),
]


def curve_of(size):
    return damage_curve(LUMPS[size], AMPACITIES_A[size])


def limited_points(kind):
    return [point for point in kind.opening_times if point.greatest_s is not None]


@pytest.mark.parametrize(("key", "rating_a", "size", "runs"), PAIRS)
def test_margins_are_damage_over_opening_time_along_the_published_curve(key, rating_a, size, runs):
    kind, curve = FUSES.types[key], curve_of(size)
    line = coordination.margin_line(kind, rating_a, curve, runs)
    current = np.array(line.current_a)
    published = [rating_a * point.current_multiple for point in limited_points(kind)]
    assert current[0] == pytest.approx(published[0], rel=1e-12)
    assert current[-1] == pytest.approx(published[-1], rel=1e-12)
    for first, last in pairwise(published):
        # Both ends of each span, its thirds and its quarters are on the grid; ten points at least
        # lie between the ends.
        for share in (0.0, 1.0 / 4.0, 1.0 / 3.0, 1.0 / 2.0, 2.0 / 3.0, 3.0 / 4.0):
            at_a = first * (last / first) ** share
            assert np.isclose(current, at_a, rtol=1e-12, atol=0.0).any()
        assert ((current > first * (1.0 + 1e-9)) & (current < last * (1.0 - 1e-9))).sum() >= 10
    assert (np.diff(current) > 0.0).all()
    greatest = opening_band(kind, current / rating_a).greatest_s
    margin = interpolated_damage_time_s(curve, current / runs) / greatest
    np.testing.assert_allclose(line.least_margin, np.minimum.accumulate(margin), rtol=1e-9)
    for place, at_a in enumerate(line.at_current_a):
        where = int(np.flatnonzero(current == at_a)[0])
        # The first place at which the margin is the least so far.
        assert where == int(np.argmin(margin[: place + 1]))


@pytest.mark.parametrize(("key", "rating_a", "size", "runs"), PAIRS)
def test_margins_past_the_curve_hold_the_let_through_of_its_last_point(key, rating_a, size, runs):
    kind, curve = FUSES.types[key], curve_of(size)
    line = coordination.margin_line(kind, rating_a, curve, runs)
    last = limited_points(kind)[-1]
    end_a = rating_a * last.current_multiple
    assert line.last_greatest_s == pytest.approx(last.greatest_s, rel=1e-12)
    assert line.limits.last_greatest_s == pytest.approx(last.greatest_s, rel=1e-12)
    assert line.limits.curve_ends_at_a == pytest.approx(end_a, rel=1e-12)
    beyond = np.array(line.beyond_current_a)
    assert beyond[0] == pytest.approx(end_a, rel=1e-12)
    assert (np.diff(beyond) > 0.0).all()
    # Over three decades, past every fault that a battery feeds, in twenty equal steps for each.
    assert beyond[::20] / end_a == pytest.approx([1.0, 10.0, 100.0, 1000.0], rel=1e-9)
    np.testing.assert_allclose(beyond[1:] / beyond[:-1], 10.0**0.05, rtol=1e-9)
    opening_s = last.greatest_s * (end_a / beyond) ** 2
    margin = interpolated_damage_time_s(curve, beyond / runs) / opening_s
    np.testing.assert_allclose(line.beyond_least_margin, np.minimum.accumulate(margin), rtol=1e-9)


@pytest.mark.parametrize(("key", "rating_a", "size", "runs"), PAIRS)
@pytest.mark.parametrize("fault_a", [30.0, 80.0, 200.0, 500.0, 900.0, 3000.0, 20_000.0])
def test_coordination_holds_where_no_current_up_to_the_fault_damages(
    key, rating_a, size, runs, fault_a
):
    kind, curve = FUSES.types[key], curve_of(size)
    found = coordination.coordination_with_damage(kind, rating_a, curve, runs, fault_a)
    points = limited_points(kind)
    first_a, end_a = (rating_a * points[place].current_multiple for place in (0, -1))
    # A thousand currents per decade, on the curve and past it with the last let-through.
    current = np.geomspace(first_a, max(fault_a, first_a * 1.0001), 4000)
    on_curve = np.minimum(current, end_a)
    opening_s = opening_band(kind, on_curve / rating_a).greatest_s
    held_s = opening_s * (on_curve / current) ** 2
    damage_s = interpolated_damage_time_s(curve, current / runs)
    margin = float((damage_s / held_s)[current <= end_a].min())
    at_fault_s = float(interpolated_damage_time_s(curve, fault_a / runs))
    if fault_a <= end_a * (1.0 - 1e-9):
        assert found.beyond_published_curve == coordination.NOT_REACHED
        beyond_holds = True
    elif at_fault_s > 1.04 * points[-1].greatest_s:
        assert found.beyond_published_curve == coordination.BY_LAST_TIME
        beyond_holds = True
    else:
        least = float((damage_s / held_s)[current >= end_a].min())
        if 0.9 < least < 1.25:
            return  # The grid's own allowance decides there.
        beyond_holds = least > 1.0
        expected = coordination.BY_CONSTANT_I2T if beyond_holds else coordination.NOT_SHOWN
        if at_fault_s < 1.02 * points[-1].greatest_s:
            assert found.beyond_published_curve == expected
    if np.isfinite(margin):
        # The grid's next point counts as well.
        assert found.least_margin <= margin * 1.01
        if margin > 1.35:
            assert found.holds is beyond_holds
        if margin < 1.0:
            assert found.holds is False


def corner_and_opening_s():
    """Return where a silicone-insulated 18 AWG has 5 s left, and when type C of 10 A opens there.

    A thin conductor that bears much heat: its time to damage falls faster than the opening time up
    to 5 s, where it stays. So the margin is least there, between two points of the grid.
    """
    silicone = lumped_conductor_in_air(
        TABLES.conductors["18 AWG"],
        COPPER,
        TABLES.insulations["silicone_200"],
        COPPER,
        TABLES.air,
        303.15,
    )
    curve = damage_curve(silicone, 1000.0)
    # ISO 8820-3 type C: at most 0.5 s at 350 % and 0.1 s at 600 %, straight in logarithms.
    slope = math.log(0.1 / 0.5) / math.log(6.0 / 3.5)
    return curve, 0.5 * (curve.corner_current_a / 10.0 / 3.5) ** slope


@pytest.mark.parametrize("excess", [1.0, 1.0 + 1e-6, 1.2, 2.0, 30.0])
def test_margin_is_least_where_the_damage_curve_turns_to_five_seconds(excess):
    curve, opening_s = corner_and_opening_s()
    corner_a = curve.corner_current_a
    assert 35.0 < corner_a < 60.0
    found = coordination.coordination_with_damage(
        FUSES.types["iso_8820_3_c"], 10.0, curve, 1, excess * corner_a
    )
    assert found.least_margin == pytest.approx(5.0 / opening_s, rel=1e-9)
    assert found.least_margin_current_a == corner_a


def test_a_fault_that_never_damages_has_no_margin():
    # Type C of 5 A, from 6.75 A on: 8 AWG bears 20 A for ever.
    curve = curve_of("8 AWG")
    assert curve.threshold_current_a > 80.0
    found = coordination.coordination_with_damage(FUSES.types["iso_8820_3_c"], 5.0, curve, 1, 20.0)
    assert found == Coordination(True, None, None, coordination.NOT_REACHED)


def test_corner_counts_only_where_its_current_can_flow():
    curve, opening_s = corner_and_opening_s()
    corner_a = curve.corner_current_a
    found = coordination.coordination_with_damage(
        FUSES.types["iso_8820_3_c"], 10.0, curve, 1, 0.9 * corner_a
    )
    assert found.least_margin > 1.01 * 5.0 / opening_s
    assert found.least_margin_current_a < corner_a


@pytest.mark.parametrize(("key", "rating_a", "size", "runs"), PAIRS)
@pytest.mark.parametrize("multiple", [0.6, 1.0, 2.0])
def test_limits_say_what_the_margins_say(key, rating_a, size, runs, multiple):
    kind, curve = FUSES.types[key], curve_of(size)
    line = coordination.margin_line(kind, multiple * rating_a, curve, runs)
    # Between all points of both grids, and on them and just beside.
    points = np.array([*line.current_a, *line.beyond_current_a, line.corner_a])
    points = points[np.isfinite(points)]
    for fault_a in (points * [[0.5], [1.0 - 1e-13], [1.0], [1.0 + 1e-13], [1.02]]).ravel().tolist():
        found = coordination.coordination_with_damage(
            kind, multiple * rating_a, curve, runs, fault_a
        )
        # 1.03 for what the damage curve may bend between two points of the grid.
        is_wide = found.least_margin is None or found.least_margin > 1.03
        is_shown = found.beyond_published_curve != coordination.NOT_SHOWN
        assert found.holds is (is_wide and is_shown)
        by_limits = coordination.protection(line.limits, fault_a)
        if by_limits != coordination.BY_TIME_AT_FAULT:
            assert found.holds is (by_limits == coordination.PROTECTED)


@pytest.mark.parametrize(("share", "reached"), [(0.97, False), (1.0, False), (1.001, True)])
def test_published_curve_reaches_to_its_last_point(share, reached):
    # Type C of 10 A: last at 600 %, and 350 % before it; a span is cut in twelve, the last of which
    # begins at 0.956 times the end.
    kind, curve = FUSES.types["iso_8820_3_c"], curve_of("12 AWG")
    end_a = coordination.margin_line(kind, 10.0, curve, 1).current_a[-1]
    assert end_a == pytest.approx(60.0, rel=1e-12)
    found = coordination.coordination_with_damage(kind, 10.0, curve, 1, share * end_a)
    assert (found.beyond_published_curve != coordination.NOT_REACHED) is reached


@pytest.mark.parametrize(
    ("decades", "expected"),
    [
        (2.89, coordination.BY_CONSTANT_I2T),
        (2.91, coordination.BY_CONSTANT_I2T),
        (2.94, coordination.BY_CONSTANT_I2T),
        (2.96, coordination.NOT_SHOWN),
        (3.0, coordination.NOT_SHOWN),
        (3.3, coordination.NOT_SHOWN),
    ],
)
def test_a_fault_past_the_curve_is_covered_by_the_next_step_above_it(decades, expected):
    """A damage curve by hand, in reach of type C of 10 A up to 950 times 60 A and no further.

    Its margin over 0.1 s at 60 A, that let-through held, is 1 at 1000 times the current and ten
    times as much for each decade less; steps are twenty for a decade, so 1.122 at the last but one.
    """
    step = np.arange(61)
    held_s = 0.1 * 10.0 ** (-0.1 * step)
    # From 13.5 A on, where its greatest times begin, the curve is passed in good time.
    current = [13.5, *(60.0 * 10.0 ** (0.05 * step))]
    curve = replace(
        curve_of("12 AWG"),
        threshold_current_a=1.0,
        corner_current_a=math.inf,
        log_excess=np.log(np.array(current) - 1.0),
        log_time=np.log([1e6, *(held_s * 10.0 ** (0.05 * (60 - step)))]),
    )
    found = coordination.coordination_with_damage(
        FUSES.types["iso_8820_3_c"], 10.0, curve, 1, 60.0 * 10.0**decades
    )
    assert found.beyond_published_curve == expected
    assert found.holds is (expected != coordination.NOT_SHOWN)


def test_the_end_of_the_curve_is_published_where_the_step_past_it_is_too_much():
    """A damage curve by hand, in reach of type C of 10 A up to its last point and no further.

    There it opens in 0.1 s, after which a conductor that bears 60 A for 0.12 s is unharmed. At the
    next step, 67.3 A, the same let-through takes 0.0794 s, for which the conductor just lasts.
    """
    current = np.array([1.01, 13.5, 60.0, 60.0 * 10.0**0.05])
    curve = replace(
        curve_of("12 AWG"),
        threshold_current_a=1.0,
        corner_current_a=math.inf,
        log_excess=np.log(current - 1.0),
        log_time=np.log([1e9, 1e6, 0.12, 0.1 * 10.0**-0.1]),
    )
    kind = FUSES.types["iso_8820_3_c"]
    line = coordination.margin_line(kind, 10.0, curve, 1)
    end_a = line.current_a[-1]
    assert end_a == pytest.approx(60.0, rel=1e-12)
    assert coordination.protection(line.limits, end_a) == coordination.PROTECTED
    # Beyond it: in time at 61 A, while at 67 A the conductor is harmed within the 0.1 s.
    for fault_a, holds, beyond in (
        (end_a, True, coordination.NOT_REACHED),
        (61.0, True, coordination.BY_LAST_TIME),
        (67.0, False, coordination.NOT_SHOWN),
    ):
        found = coordination.coordination_with_damage(kind, 10.0, curve, 1, fault_a)
        assert (found.holds, found.beyond_published_curve) == (holds, beyond)


def test_a_fuse_that_never_opens_in_time_protects_against_no_fault():
    # Strip of 100 A, from 135 A on: 18 AWG bears 17 A.
    line = coordination.margin_line(FUSES.types["iso_8820_5_sf51"], 100.0, curve_of("18 AWG"), 1)
    assert line.limits.fails_from_a == 0.0
    assert coordination.protection(line.limits, 1e-6) == coordination.NOT_PROTECTED


@pytest.mark.parametrize(
    ("fault_a", "expected"),
    [
        (59.0, coordination.PROTECTED),
        (60.0, coordination.PROTECTED),
        (79.0, coordination.PROTECTED),
        (80.0, coordination.BY_TIME_AT_FAULT),
        (99.0, coordination.BY_TIME_AT_FAULT),
        (100.0, coordination.NOT_PROTECTED),
        (101.0, coordination.NOT_PROTECTED),
    ],
)
def test_protection_ends_where_its_limits_say(fault_a, expected):
    limits = coordination.ProtectionLimits(
        fails_from_a=100.0, curve_ends_at_a=60.0, unproven_from_a=80.0, last_greatest_s=0.1
    )
    assert coordination.protection(limits, fault_a) == expected


def test_the_end_of_the_curve_is_proven_by_its_points():
    limits = coordination.ProtectionLimits(
        fails_from_a=100.0, curve_ends_at_a=60.0, unproven_from_a=60.0, last_greatest_s=0.1
    )
    assert coordination.protection(limits, 60.0) == coordination.PROTECTED
    assert coordination.protection(limits, 60.1) == coordination.BY_TIME_AT_FAULT


@pytest.mark.parametrize(("damage_s", "in_time"), [(1.02, False), (1.03, False), (1.04, True)])
def test_an_opening_time_is_short_enough_by_more_than_three_percent(damage_s, in_time):
    assert coordination.opens_in_time(1.0, damage_s) is in_time


def request(**changes):
    values = {
        "load": FuseLoad(30.0),
        "conductor": ProtectedConductor(LUMPS["8 AWG"], 80.0, 0.028, SOURCE),
        "source": FaultSource(12.6, 0.006),
        "system_voltage_v": 12.0,
        "ambient_temperature_k": 296.15,
        **changes,
    }
    return FuseRequest(**values)


def test_parallel_conductors_share_ampacity_feed_and_damage():
    one = ProtectedConductor(LUMPS["8 AWG"], 60.0, 0.028, SOURCE)
    two = ProtectedConductor(LUMPS["8 AWG"], 120.0, 0.014, SOURCE, parallel_conductors=2)
    placement = FusePlacement(distance_from_source_m=0.5)
    single, double = (
        circuit_of(request(conductor=conductor, placement=placement), FUSES)
        for conductor in (one, two)
    )
    assert double.curve.threshold_current_a == pytest.approx(
        single.curve.threshold_current_a, rel=1e-12
    )
    # 8 AWG: 2.10 ohm/km at 20 C, 0.5 m one way.
    feeds = [feed_resistance_ohm(conductor, 0.5) for conductor in (one, two)]
    assert feeds == pytest.approx([0.00105, 0.000525], rel=0.01)


@pytest.mark.parametrize("rules", ["road_vehicle", *BOAT_RULES])
@pytest.mark.parametrize("beyond_m", [-0.05, 0.0, 0.0001])
def test_only_the_rules_of_the_placement_bind(rules, beyond_m):
    # 33 CFR 183.455(b)(1) and ABYC E-11.10: 7 in. ISO 10133 clause 8.2: 200 mm (memory).
    limit_m = {"boat_iso_10133": 0.2}.get(rules, 7.0 * 0.0254)
    placement = FusePlacement(
        distance_from_source_m=limit_m + beyond_m, on_battery_terminal=False, rules=rules
    )
    found = position_of(request(placement=placement), FUSES)
    for rule in found.rules:
        assert rule.is_binding is (rule.provenance.source == BOAT_RULES.get(rules))
    binding = [rule.greatest_distance_m for rule in found.rules if rule.is_binding]
    if rules == "road_vehicle":
        assert (binding, found.is_met) == ([], None)
    else:
        assert binding == pytest.approx([limit_m], rel=1e-12)
        assert found.is_met is (beyond_m <= 0.0)


def test_figures_of_a_circuit_are_above_zero():
    with pytest.raises(EngineeringError) as caught:
        circuit_of(request(load=FuseLoad(-1.0)), FUSES)
    assert caught.value.field == "continuous_current_a"
    assert caught.value.attributes == {"value": -1.0, "limit": 0}
