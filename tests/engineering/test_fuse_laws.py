"""Laws of the fuse selection, whatever the circuit."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from loomwright.engineering.protection.damage import damage_curve, damage_time_s
from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_answer import FITS, FUSE_FOUND, VERDICTS
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FuseOptions,
    FuseRequest,
    GivenFuse,
    ProtectedConductor,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.fuses import (
    fuse_curve,
    multiple_carried_for,
    multiple_opening_within,
    opening_band,
)
from loomwright.engineering.protection.selectivity import FuseInCircuit, selective_up_to_a
from loomwright.engineering.protection.transient import lumped_conductor_in_air, steady_current_a
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance

TABLES = tables()
FUSES = fuse_tables()
COPPER = TABLES.materials["copper"]
SIZES = TABLES.series["awg"]
PUBLISHED = [key for key, value in FUSES.types.items() if value.opening_times]
HEAT_BALANCE = Provenance("common_practice", "heat balance", "formula")


def protected(rank, insulation, length_m):
    size = SIZES[rank]
    lump = lumped_conductor_in_air(
        size, COPPER, TABLES.insulations[insulation], COPPER, TABLES.air, 313.15
    )
    ampacity = float(steady_current_a(lump, lump.temperature_rating_k))
    hot = 1.0 + 0.00393 * (lump.temperature_rating_k - 293.15)
    loop = 2.0 * length_m * lump.resistance_20c_ohm_per_m * hot
    return ProtectedConductor(lump, ampacity, loop, HEAT_BALANCE)


@st.composite
def circuits(draw):
    load = draw(st.floats(0.5, 300.0))
    inrush = draw(st.none() | st.floats(1.0, 8.0))
    return FuseRequest(
        load=FuseLoad(
            load,
            None if inrush is None else load * inrush,
            None if inrush is None else draw(st.floats(0.001, 20.0)),
        ),
        conductor=protected(
            draw(st.integers(0, len(SIZES) - 1)),
            draw(st.sampled_from(["pvc_105", "xlpe_125", "pvc_70"])),
            draw(st.floats(0.2, 15.0)),
        ),
        source=FaultSource(draw(st.sampled_from([12.6, 25.2, 51.0])), draw(st.floats(0.003, 0.1))),
        system_voltage_v=draw(st.sampled_from([12.0, 24.0, 48.0])),
        ambient_temperature_k=draw(st.floats(253.15, 373.15)),
        options=FuseOptions(
            breaking_capacity_may_be_exceeded=draw(st.booleans()),
            rating_may_exceed_ampacity=draw(st.booleans()),
        ),
    )


def ratings(answer):
    return {found.fuse_type: found.rated_current_a for found in answer.types}


@given(circuits())
def test_the_window_never_crosses_for_a_returned_fuse(asked):
    answer = size_fuse(asked, FUSES)
    assert answer.verdict in VERDICTS
    for found in answer.types:
        assert (found.verdict == FITS) == (found.rated_current_a is not None)
        assert found.verdict == FITS or found.verdict == found.failures[0]
        if found.rated_current_a is not None:
            fuse_type = FUSES.types[found.fuse_type]
            assert found.rated_current_a in fuse_type.ratings_a
            slack = 1.0 + 1e-9
            assert found.window.lower_a <= found.rated_current_a * slack
            assert found.rated_current_a <= found.window.upper_a * slack
            assert found.rated_voltage_v >= answer.required_rated_voltage_v
            assert not found.window.is_empty
    if answer.window.is_empty:
        assert answer.rated_current_a is None
        assert answer.verdict == "conductor_not_protected"


@given(circuits(), st.floats(1.0, 3.0))
def test_more_load_never_lowers_the_rating(asked, factor):
    load = replace(asked.load, continuous_current_a=asked.load.continuous_current_a * factor)
    less = ratings(size_fuse(asked, FUSES))
    more = ratings(size_fuse(replace(asked, load=load), FUSES))
    for key, rating in more.items():
        if rating is not None and less[key] is not None:
            assert rating >= less[key]
        # What carries the larger load is refused under the smaller one only for a smaller rating.
        if rating is not None and less[key] is None:
            pytest.fail(f"{key} fits the larger load only")


@given(
    circuits(), st.integers(1, 6), st.floats(0.2, 15.0), st.sampled_from(["pvc_105", "xlpe_125"])
)
def test_a_thinner_conductor_never_raises_the_rating(asked, steps, length_m, insulation):
    rank = len(SIZES) - 1 - steps
    thick = replace(asked, conductor=protected(len(SIZES) - 1, insulation, length_m))
    thin = replace(asked, conductor=protected(rank, insulation, length_m))
    before, after = ratings(size_fuse(thick, FUSES)), ratings(size_fuse(thin, FUSES))
    for key, rating in after.items():
        if rating is not None:
            assert before[key] is not None
            assert rating <= before[key]


@given(circuits())
def test_a_returned_fuse_opens_before_damage_at_every_published_current(asked):
    answer = size_fuse(asked, FUSES)
    conductor = asked.conductor
    lump = damage_curve(conductor.thermal, conductor.ampacity_a, None).conductor
    for found in answer.types:
        if found.rated_current_a is None:
            continue
        curve = fuse_curve(FUSES.types[found.fuse_type])
        multiples = np.exp(
            np.linspace(curve.greatest_log_multiple[0], curve.greatest_log_multiple[-1], 97)
        )
        currents = multiples * found.rated_current_a
        flows = currents <= answer.faults.near_source_fault_a
        band = opening_band(FUSES.types[found.fuse_type], multiples)
        damage = damage_time_s(lump, currents)
        assert np.all(band.greatest_s[flows] < damage[flows])


@settings(max_examples=min(40, settings().max_examples))
@given(circuits())
def test_least_margin_is_that_of_a_twenty_times_finer_grid(asked):
    """Holds or not, every candidate's margin is the least of damage over opening time.

    3 %: between two points of the coarse grid the damage curve bends.
    """
    answer = size_fuse(asked, FUSES)
    conductor = asked.conductor
    lump = damage_curve(conductor.thermal, conductor.ampacity_a, None).conductor
    for found in answer.types:
        if found.coordination is None:
            continue
        fuse_type = FUSES.types[found.fuse_type]
        points = fuse_curve(fuse_type).greatest_log_multiple
        multiples = np.exp(np.linspace(points[0], points[-1], 481))
        currents = multiples * found.candidate_rating_a
        flows = currents <= answer.faults.near_source_fault_a
        assume(flows[0])
        opening = opening_band(fuse_type, multiples).greatest_s
        least = float(np.min((damage_time_s(lump, currents) / opening)[flows]))
        if found.coordination.least_margin is None:
            assert np.isinf(least)
            continue
        # The coarse grid looks at most one point past the fault, which is the safe side.
        assert found.coordination.least_margin <= least * 1.03
        if np.all(flows):
            assert found.coordination.least_margin == pytest.approx(least, rel=0.03)
        if found.coordination.holds:
            assert least > 1.0
        elif np.all(flows) and least > 1.06:
            assert found.coordination.beyond_published_curve == "not_shown"


@given(circuits())
def test_a_returned_fuse_clears_the_far_end_in_time(asked):
    answer = size_fuse(asked, FUSES)
    for found in answer.types:
        if found.rated_current_a is not None:
            assert found.far_end_opening.is_cleared
            assert found.far_end_opening.opens_within_s <= answer.faults.clearing_time_s * 1.000001


# How many circuits drawn have a fuse hangs on the constants of all modules that are loaded, which
# Hypothesis takes its values from; a sixth of them is enough.
@settings(suppress_health_check=[HealthCheck.filter_too_much])
@given(circuits())
def test_a_returned_fuse_passes_its_own_check_and_the_next_smaller_one_fails(asked):
    answer = size_fuse(asked, FUSES)
    assume(answer.verdict == FUSE_FOUND)
    checked = GivenFuse(answer.rated_current_a, answer.chosen_type)
    again = size_fuse(replace(asked, checked_fuse=checked), FUSES)
    assert again.verdict == FUSE_FOUND
    assert again.rated_current_a == answer.rated_current_a
    listed = FUSES.types[answer.chosen_type].ratings_a
    smaller = [rating for rating in listed if rating < answer.rated_current_a]
    if smaller:
        below = replace(asked, checked_fuse=GivenFuse(smaller[-1], answer.chosen_type))
        assert size_fuse(below, FUSES).verdict == "rating_too_low_for_load"


@given(circuits(), st.floats(1.0, 10.0))
def test_a_longer_run_never_clears_better(asked, factor):
    conductor = asked.conductor
    longer = replace(
        conductor, there_and_back_resistance_ohm=conductor.there_and_back_resistance_ohm * factor
    )
    near = ratings(size_fuse(asked, FUSES))
    far = ratings(size_fuse(replace(asked, conductor=longer), FUSES))
    for key, rating in far.items():
        assert rating is None or rating == near[key]


@given(st.sampled_from(PUBLISHED), st.floats(1.1, 6.0), st.floats(1.0, 2.0))
def test_opening_times_only_fall_with_current(key, multiple, factor):
    band = opening_band(FUSES.types[key], np.array([multiple, multiple * factor]))
    for times in (band.least_s, band.greatest_s):
        if np.all(np.isfinite(times)):
            assert times[1] <= times[0] * (1.0 + 1e-12)
    both = np.isfinite(band.least_s) & np.isfinite(band.greatest_s)
    assert np.all(band.least_s[both] < band.greatest_s[both])


@given(st.sampled_from(PUBLISHED), st.floats(0.11, 500.0))
def test_inverse_of_the_band_lies_on_the_band(key, seconds):
    fuse_type = FUSES.types[key]
    carried = multiple_carried_for(fuse_type, seconds)
    least = float(opening_band(fuse_type, carried).least_s)
    assert least == pytest.approx(seconds, rel=1e-9) or least > seconds
    opening = multiple_opening_within(fuse_type, seconds)
    if opening is not None:
        greatest = float(opening_band(fuse_type, opening).greatest_s)
        assert greatest == pytest.approx(seconds, rel=1e-9) or greatest < seconds


@given(
    st.sampled_from(PUBLISHED),
    st.sampled_from(PUBLISHED),
    st.floats(0.5, 20.0),
    st.floats(1.0, 3.0),
)
def test_a_larger_upstream_fuse_is_never_less_selective(up, down, ratio, factor):
    downstream = FuseInCircuit(FUSES.types[down], 10.0)
    limits = [
        selective_up_to_a(FuseInCircuit(FUSES.types[up], 10.0 * larger), downstream)[0]
        for larger in (ratio, ratio * factor)
    ]
    assert limits[1] >= limits[0] * (1.0 - 1e-9)


@given(st.sampled_from(PUBLISHED), st.sampled_from(PUBLISHED), st.floats(0.5, 20.0))
def test_selective_means_that_the_bands_do_not_touch(up, down, ratio):
    upstream, downstream = FUSES.types[up], FUSES.types[down]
    limit, _ = selective_up_to_a(
        FuseInCircuit(upstream, 10.0 * ratio), FuseInCircuit(downstream, 10.0)
    )
    currents = np.geomspace(13.5, 60.0, 200)
    shared = currents < limit * 0.999
    least = opening_band(upstream, currents / (10.0 * ratio)).least_s
    greatest = opening_band(downstream, currents / 10.0).greatest_s
    known = shared & np.isfinite(least) & np.isfinite(greatest)
    assert np.all(least[known] > greatest[known])
