"""Edges of the fuse rules and curves: what holds at a printed limit and right beyond it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection import fuses
from loomwright.tables.fuse_load import fuse_tables

FUSES = fuse_tables()
TYPE_C = FUSES.types["iso_8820_3_c"]
# Type C of ISO 8820-3 as printed: multiple of the rated current, least and greatest time [s].
PRINTED = [
    (1.1, 360_000.0, None),
    (1.35, 0.75, 600.0),
    (1.6, 0.25, 50.0),
    (2.0, 0.15, 5.0),
    (3.5, 0.04, 0.5),
    (6.0, 0.02, 0.1),
]


@pytest.mark.parametrize("ambient_k", [233.15, 296.15, 398.15])
def test_ambient_factor_is_a_straight_line_over_its_whole_range(ambient_k):
    # 0.15 % per kelvin from 23 C.
    expected = 1.0 - 0.0015 * (ambient_k - 296.15)
    assert fuses.ambient_rating_factor(ambient_k, FUSES) == pytest.approx(expected, rel=1e-12)
    many = fuses.ambient_rating_factor(np.array([ambient_k, 300.0]), FUSES)
    assert many[0] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("ambient_k", [233.14, 398.16, math.nan])
def test_ambient_outside_the_range_is_refused(ambient_k):
    for value in (ambient_k, np.array([300.0, ambient_k]), np.array([ambient_k, 300.0])):
        with pytest.raises(EngineeringError) as caught:
            fuses.ambient_rating_factor(value, FUSES)
        assert caught.value.code == "ambient_outside_model"
        assert caught.value.attributes["limit"] == 398.15


@pytest.mark.parametrize(("multiple", "least_s", "greatest_s"), PRINTED)
def test_printed_points_are_on_the_curve_and_in_both_ways_of_reading(multiple, least_s, greatest_s):
    curve = fuses.fuse_curve(TYPE_C)
    band = fuses.opening_band(TYPE_C, np.array([multiple]))
    for points, time_s, read in (
        (curve.least_points, least_s, band.least_s[0]),
        (curve.greatest_points, greatest_s, band.greatest_s[0]),
    ):
        found = fuses.opening_time_on_line_s(points, multiple)
        if time_s is None:
            assert found is None
            assert math.isnan(read)
        else:
            assert found == pytest.approx(time_s, rel=1e-9)
            assert read == pytest.approx(time_s, rel=1e-9)
    # A rounded product of rating and multiple must not fall off an end of the curve.
    for nearly in (multiple * (1.0 - 1e-15), multiple * (1.0 + 1e-15)):
        assert fuses.opening_time_on_line_s(curve.least_points, nearly) == pytest.approx(
            least_s, rel=1e-9
        )


def test_within_rounding_of_an_end_the_time_is_the_printed_one():
    # At 110 % the least time falls with the 64th power of the current, so that 5e-13 of it show.
    curve = fuses.fuse_curve(TYPE_C)
    before, after = 1.1 * (1.0 - 5e-13), 6.0 * (1.0 + 5e-13)
    for found, printed_s in (
        (fuses.opening_time_on_line_s(curve.least_points, before), 360_000.0),
        (fuses.opening_time_on_line_s(curve.least_points, after), 0.02),
        (fuses.opening_time_on_line_s(curve.greatest_points, after), 0.1),
    ):
        assert found == pytest.approx(printed_s, rel=1e-14, abs=0.0)


@pytest.mark.parametrize("multiple", [1.09, 6.01, 1.0, 20.0])
def test_outside_the_printed_points_there_is_no_time(multiple):
    curve = fuses.fuse_curve(TYPE_C)
    assert fuses.opening_time_on_line_s(curve.least_points, multiple) is None
    assert fuses.opening_time_on_line_s(curve.greatest_points, multiple) is None
    band = fuses.opening_band(TYPE_C, multiple)
    assert (str(band.least_state), str(band.greatest_state)) == (fuses.OUTSIDE, fuses.OUTSIDE)


def test_a_type_without_a_curve_has_no_time_anywhere():
    kind = next(each for each in FUSES.types.values() if not each.opening_times)
    curve = fuses.fuse_curve(kind)
    assert not curve.is_published
    assert math.isnan(curve.first_multiple)
    assert math.isnan(curve.last_multiple)
    assert fuses.opening_time_on_line_s(curve.least_points, 2.0) is None
    assert fuses.multiple_carried_for(kind, 1.0) is None
    assert fuses.multiple_opening_within(kind, 1.0) is None
    band = fuses.opening_band(kind, np.array([2.0, 3.0]))
    assert band.least_state.tolist() == [fuses.OUTSIDE] * 2


@pytest.mark.parametrize(
    ("duration_s", "multiple"),
    # Straight in logarithms between the printed least times; the last multiple for shorter times.
    [
        (360_000.0, 1.1),
        (0.75, 1.35),
        (0.15, 2.0),
        (0.02, 6.0),
        (0.001, 6.0),
        (math.sqrt(0.75 * 0.25), math.sqrt(1.35 * 1.6)),
        (360_001.0, None),
    ],
)
def test_multiple_that_is_carried_for_a_time(duration_s, multiple):
    found = fuses.multiple_carried_for(TYPE_C, duration_s)
    assert found == (None if multiple is None else pytest.approx(multiple, rel=1e-9))


@pytest.mark.parametrize(
    ("duration_s", "multiple"),
    [
        (600.0, 1.35),
        (9_999.0, 1.35),
        (5.0, 2.0),
        (0.1, 6.0),
        (math.sqrt(5.0 * 0.5), math.sqrt(2.0 * 3.5)),
        (0.0999, None),
    ],
)
def test_multiple_that_opens_within_a_time(duration_s, multiple):
    found = fuses.multiple_opening_within(TYPE_C, duration_s)
    assert found == (None if multiple is None else pytest.approx(multiple, rel=1e-9))


def test_last_points_of_a_curve():
    curve = fuses.fuse_curve(TYPE_C)
    assert curve.last_greatest_s == pytest.approx(0.1, rel=1e-12)
    assert (curve.first_multiple, curve.last_multiple) == pytest.approx((1.1, 6.0))


@pytest.mark.parametrize(
    ("system_v", "ampacity_a", "rating_a"),
    [
        # 33 CFR 183.455(c)(1): 150 % below 50 V. (2): the ampacity, or the next larger standard
        # rating up to 150 %, from 50 V. Ratings of type C end 20 25 30 35 40 A.
        (49.9, 22.0, 33.0),
        (50.0, 22.0, 25.0),
        (50.0, 25.0, 25.0),
        (50.0, 60.0, 60.0),
        # The next standard rating above 0.6 A is 1 A, past 150 %.
        (50.0, 0.6, 0.6),
        # Just at 150 %.
        (50.0, 10.0 / 1.5 + 1e-9, 7.5),
    ],
)
def test_greatest_rating_by_the_federal_rule(system_v, ampacity_a, rating_a):
    ratings = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)
    found = fuses.greatest_rating_by_ampacity_rule_a(ampacity_a, system_v, ratings, FUSES)
    assert found == pytest.approx(rating_a, rel=1e-12)


def test_next_rating_of_exactly_the_cap_is_allowed():
    assert fuses.greatest_rating_by_ampacity_rule_a(20.0, 60.0, (10.0, 30.0), FUSES) == 30.0
    assert fuses.greatest_rating_by_ampacity_rule_a(19.9, 60.0, (10.0, 30.0), FUSES) == 19.9


def test_federal_rule_from_50_v_takes_its_share_of_the_ampacity_from_the_table():
    key = "rating_over_ampacity_from_50_v"
    strict = replace(FUSES.factors[key], value=0.8)
    changed = replace(FUSES, factors={**FUSES.factors, key: strict})
    assert fuses.greatest_rating_by_ampacity_rule_a(100.0, 50.0, (), changed) == pytest.approx(80.0)
    # 33 CFR 183.455(c)(2): the ampacity itself.
    assert FUSES.factors[key].value == 1.0


@pytest.mark.parametrize(
    ("cranking_a", "main_a", "branch_a"),
    # ABYC E-11.16 Table V-A.
    [
        (1.0, 1500.0, 750.0),
        (650.0, 1500.0, 750.0),
        (650.1, 3000.0, 1500.0),
        (1100.0, 3000.0, 1500.0),
        (1100.1, 5000.0, 2500.0),
        (2200.1, 20_000.0, 2500.0),
    ],
)
def test_interrupting_capacity_by_cranking_current(cranking_a, main_a, branch_a):
    row = fuses.interrupting_capacity(cranking_a, FUSES)
    assert (row.main_a, row.branch_a) == (main_a, branch_a)


@pytest.mark.parametrize(
    ("sheathed", "on_terminal", "inches"),
    # 33 CFR 183.455(b) and ABYC E-11.10; the 72 in are for a conductor at the terminal itself.
    [
        (False, False, {"cfr_33_183": 7.0, "abyc_e11": 7.0}),
        (False, True, {"cfr_33_183": 7.0, "abyc_e11": 7.0}),
        (True, False, {"cfr_33_183": 40.0, "abyc_e11": 40.0}),
        (True, True, {"cfr_33_183": 40.0, "abyc_e11": 72.0}),
    ],
)
def test_position_limit_of_each_publication(sheathed, on_terminal, inches):
    limits = fuses.position_limits(sheathed, on_terminal, FUSES)
    found = {limit.provenance.source: limit.greatest_distance_m / 0.0254 for limit in limits}
    assert len(found) == len(limits)
    assert {key: found[key] for key in inches} == pytest.approx(inches, rel=1e-9)
    assert ("iso_10133" in found) is (not sheathed)


def test_of_equal_limits_of_a_publication_the_first_is_named():
    limit = FUSES.position_limits[0]
    both = (limit, replace(limit, rule="the same again"))
    changed = replace(FUSES, position_limits=both)
    found = fuses.position_limits(limit.sheathed, limit.on_battery_terminal, changed)
    assert found == (limit,)


@pytest.mark.parametrize(
    ("system_v", "greatest_v"),
    # ISO 16750-2 Tables 1 and 2: 16 V and 32 V; ISO 21780 clause 5: 54 V (memory).
    [
        (12.0, 16.0),
        (14.4, 16.0),
        (16.1, 32.0),
        (24.0, 32.0),
        (32.1, 54.0),
        (48.0, 54.0),
        (60.0, 60.0),
    ],
)
def test_fuse_is_rated_for_the_greatest_voltage_in_operation(system_v, greatest_v):
    assert fuses.greatest_operating_voltage_v(system_v, FUSES) == greatest_v


def test_voltages_that_are_just_enough():
    for row in FUSES.system_voltages:
        greatest = row.greatest_operating_v
        assert fuses.greatest_operating_voltage_v(greatest, FUSES) == greatest
    top = max(row.greatest_operating_v for row in FUSES.system_voltages)
    assert fuses.greatest_operating_voltage_v(top + 0.1, FUSES) == top + 0.1
    for rated_v in TYPE_C.rated_voltages_v:
        assert fuses.rated_voltage_at_least_v(TYPE_C, rated_v) == rated_v
    assert fuses.rated_voltage_at_least_v(TYPE_C, 0.1) == min(TYPE_C.rated_voltages_v)
    assert fuses.rated_voltage_at_least_v(TYPE_C, max(TYPE_C.rated_voltages_v) + 0.1) is None
