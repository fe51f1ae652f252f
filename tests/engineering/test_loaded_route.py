"""A loaded route: temperature, resistance and current settled together."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomwright.engineering.conductors import loaded_route
from loomwright.engineering.conductors.ampacity import bundling_factor, series_properties
from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.heat import ampacity_in_free_air_a, steady_temperature
from loomwright.engineering.conductors.resistance import resistance_at_temperature_ohm_per_m
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.conductors.temperature_curve import INTERVALS
from loomwright.engineering.network.operating_point import constant_power_operating_point
from loomwright.tables.load import tables

TABLES = tables()
COPPER = TABLES.materials["copper"]
# Fewer than other laws, as each is a whole sizing; a profile may ask for less.
MODERATE = settings(max_examples=min(60, settings().max_examples))
SERIES = st.sampled_from(sorted(TABLES.series))
AMBIENTS_K = st.floats(243.15, 363.15)
LENGTHS_M = st.floats(0.2, 15.0)


def request(series, segments, **changes):
    return ConductorRequest(
        sizes=TABLES.series[series],
        material=COPPER,
        insulation=TABLES.insulations["pvc_105"],
        supply_voltage_v=12.0,
        allowed_voltage_drop_v=0.36,
        segments=segments,
        **changes,
    )


def conductor_of(series):
    return series_properties(
        TABLES.series[series], COPPER, TABLES.insulations["pvc_105"], COPPER
    ).conductor


def resistance_ohm_per_m(series, temperature_k):
    conductor = conductor_of(series)
    return resistance_at_temperature_ohm_per_m(
        conductor.resistance_20c_ohm_per_m,
        conductor.temperature_coefficient_20c_per_k,
        temperature_k,
    )


@MODERATE
@given(SERIES, AMBIENTS_K, LENGTHS_M, st.floats(0.5, 400.0))
def test_temperature_is_that_of_the_heat_balance(series, ambient_k, length_m, current_a):
    candidates = size_conductor(
        request(series, (Segment(length_m, ambient_k),), load_current_a=current_a), TABLES
    ).candidates
    known = ~np.isnan(candidates.conductor_temperature_k)
    conductor = conductor_of(series)
    alone = steady_temperature(
        np.where(known, current_a, 0.1), ambient_k, conductor, TABLES.air
    ).conductor_temperature_k
    # 0.005 K: the curve between solved points is coarsest at small currents in cold air.
    np.testing.assert_allclose(
        candidates.conductor_temperature_k[known], alone[known], rtol=0.0, atol=5e-3
    )


@MODERATE
@given(SERIES, AMBIENTS_K, LENGTHS_M, st.floats(0.5, 150.0), st.integers(1, 30))
def test_bundled_conductor_is_heated_by_the_current_over_the_factor(
    series, ambient_k, length_m, current_a, bundled
):
    candidates = size_conductor(
        request(series, (Segment(length_m, ambient_k, bundled),), load_current_a=current_a),
        TABLES,
    ).candidates
    table = "cfr_33_183_425" if series in ("awg", "sae") else "iso_10133"
    heating = current_a / bundling_factor(TABLES, table, bundled)
    known = ~np.isnan(candidates.conductor_temperature_k)
    alone = steady_temperature(
        np.where(known, heating, 0.1), ambient_k, conductor_of(series), TABLES.air
    ).conductor_temperature_k
    np.testing.assert_allclose(
        candidates.conductor_temperature_k[known], alone[known], rtol=0.0, atol=5e-3
    )


@MODERATE
@given(SERIES, AMBIENTS_K, LENGTHS_M, st.floats(0.5, 400.0), st.floats(0.0, 0.01))
def test_drop_is_current_times_resistance_at_temperature(
    series, ambient_k, length_m, current_a, fixed_ohm
):
    candidates = size_conductor(
        request(
            series,
            (Segment(length_m, ambient_k),),
            load_current_a=current_a,
            fixed_resistance_ohm=fixed_ohm,
        ),
        TABLES,
    ).candidates
    known = ~np.isnan(candidates.conductor_temperature_k)
    loop = (
        2.0 * length_m * resistance_ohm_per_m(series, candidates.conductor_temperature_k)
        + fixed_ohm
    )
    np.testing.assert_allclose(
        candidates.voltage_drop_v[known], (current_a * loop)[known], rtol=1e-9
    )
    np.testing.assert_allclose(candidates.loop_resistance_ohm[known], loop[known], rtol=1e-9)


@MODERATE
@given(
    SERIES,
    st.lists(st.tuples(LENGTHS_M, AMBIENTS_K), min_size=2, max_size=4),
    st.floats(0.5, 100.0),
)
def test_hottest_segment_is_reported_and_every_segment_counts(series, places, current_a):
    together = size_conductor(
        request(series, tuple(Segment(*place) for place in places), load_current_a=current_a),
        TABLES,
    ).candidates
    apart = [
        size_conductor(request(series, (Segment(*place),), load_current_a=current_a), TABLES)
        for place in places
    ]
    np.testing.assert_allclose(
        together.loop_resistance_ohm,
        sum(answer.candidates.loop_resistance_ohm for answer in apart),
        rtol=1e-9,
    )
    hottest = np.max([a.candidates.conductor_temperature_k for a in apart], axis=0)
    known = ~np.isnan(together.conductor_temperature_k)
    np.testing.assert_allclose(together.conductor_temperature_k[known], hottest[known], rtol=1e-9)
    np.testing.assert_allclose(
        together.heat_ampacity_a,
        np.min([a.candidates.heat_ampacity_a for a in apart], axis=0),
        rtol=1e-12,
    )


@MODERATE
@given(SERIES, AMBIENTS_K, LENGTHS_M, st.floats(5.0, 2000.0), st.floats(0.0, 0.03))
def test_power_load_takes_its_power_at_the_current_of_the_closed_form(
    series, ambient_k, length_m, power_w, source_ohm
):
    candidates = size_conductor(
        request(
            series,
            (Segment(length_m, ambient_k),),
            load_power_w=power_w,
            source_resistance_ohm=source_ohm,
        ),
        TABLES,
    ).candidates
    exists = candidates.operating_point_exists
    taken = candidates.load_voltage_v * candidates.load_current_a
    np.testing.assert_allclose(taken[exists], power_w, rtol=1e-9)
    point = constant_power_operating_point(
        power_w, 12.0, candidates.loop_resistance_ohm + source_ohm
    )
    np.testing.assert_allclose(
        candidates.load_current_a[exists],
        np.asarray(point.load_current_a)[exists],
        rtol=1e-9,
    )
    # The stable one of the two roots: the load holds more than half of the open-circuit voltage.
    assert (candidates.load_voltage_v[exists] >= 6.0 * (1.0 - 1e-9)).all()


@MODERATE
@given(SERIES, AMBIENTS_K, LENGTHS_M, st.floats(5.0, 1500.0), st.floats(0.0, 0.03))
def test_temperature_and_current_of_a_power_load_agree_with_each_other(
    series, ambient_k, length_m, power_w, fixed_ohm
):
    candidates = size_conductor(
        request(
            series,
            (Segment(length_m, ambient_k),),
            load_power_w=power_w,
            chassis_resistance_ohm=fixed_ohm,
        ),
        TABLES,
    ).candidates
    known = ~np.isnan(candidates.conductor_temperature_k)
    temperature = candidates.conductor_temperature_k
    np.testing.assert_allclose(
        candidates.loop_resistance_ohm[known],
        (2.0 * length_m * resistance_ohm_per_m(series, temperature) + fixed_ohm)[known],
        rtol=1e-8,
    )
    alone = steady_temperature(
        np.where(known, candidates.load_current_a, 0.1),
        ambient_k,
        conductor_of(series),
        TABLES.air,
    ).conductor_temperature_k
    np.testing.assert_allclose(temperature[known], alone[known], rtol=0.0, atol=5e-3)


@MODERATE
@given(SERIES, AMBIENTS_K, LENGTHS_M, st.floats(1.001, 20.0), st.floats(0.0, 0.03))
def test_power_above_the_cold_limit_has_no_operating_point(
    series, ambient_k, length_m, factor, fixed_ohm
):
    # The cold circuit delivers E**2 / 4R at most, and heat only raises R.
    cold = 2.0 * length_m * np.asarray(resistance_ohm_per_m(series, ambient_k)) + fixed_ohm
    limit_w = 12.0**2 / (4.0 * cold)
    answer = size_conductor(
        request(
            series,
            (Segment(length_m, ambient_k),),
            load_power_w=float(limit_w.max()) * factor,
            fixed_resistance_ohm=fixed_ohm,
        ),
        TABLES,
    )
    candidates = answer.candidates
    assert answer.verdict == "no_operating_point"
    assert answer.chosen is None
    assert not candidates.operating_point_exists.any()
    assert answer.greatest_power_w == pytest.approx(float(limit_w.max()), rel=1e-9)
    np.testing.assert_allclose(candidates.load_current_a, 6.0 / cold, rtol=1e-9)
    np.testing.assert_allclose(candidates.load_voltage_v, 6.0, rtol=1e-9)
    assert np.isnan(candidates.conductor_temperature_k).all()


@MODERATE
@given(SERIES, AMBIENTS_K, LENGTHS_M, st.floats(0.01, 1.0))
def test_greatest_power_bounds_every_load_that_is_carried(series, ambient_k, length_m, share):
    cold = 2.0 * length_m * np.asarray(resistance_ohm_per_m(series, ambient_k))
    power_w = share * 144.0 / (4.0 * float(cold.min()))
    answer = size_conductor(
        request(series, (Segment(length_m, ambient_k),), load_power_w=power_w), TABLES
    )
    if answer.candidates.operating_point_exists.any():
        assert power_w <= answer.greatest_power_w * (1.0 + 1e-9)


def test_current_that_needs_more_than_the_supply_has_no_operating_point():
    # 100 A through 20 m there and back of 18 AWG needs far more than 12 V.
    answer = size_conductor(request("awg", (Segment(10.0, 313.15),), load_current_a=100.0), TABLES)
    thin = answer.candidates.sizes.index(TABLES.conductors["18 AWG"])
    assert not answer.candidates.operating_point_exists[thin]
    assert answer.candidates.operating_point_exists[-1]


@pytest.mark.parametrize("fixed_ohm", [0.0, 0.05])
@pytest.mark.parametrize("share", [0.97, 0.999])
def test_power_that_only_the_cold_circuit_delivers_has_no_operating_point(fixed_ohm, share):
    # Half of 12 V over 18 AWG drives well above 10 A, whose heat raises the resistance by far more
    # than the 3 % that are missing to the cold limit.
    place = TABLES.series["awg"].index(TABLES.conductors["18 AWG"])
    cold = 20.0 * float(np.asarray(resistance_ohm_per_m("awg", 313.15))[place]) + fixed_ohm
    found = size_conductor(
        dataclasses.replace(
            request("awg", (Segment(10.0, 313.15),), fixed_resistance_ohm=fixed_ohm),
            sizes=(TABLES.conductors["18 AWG"],),
            load_power_w=share * 144.0 / (4.0 * cold),
        ),
        TABLES,
    )
    assert found.verdict == "no_operating_point"
    candidates = found.candidates
    # Current and resistance of the limit point of the cold circuit stand in the answer.
    assert candidates.load_current_a[0] == pytest.approx(6.0 / cold, rel=1e-9)
    assert candidates.loop_resistance_ohm[0] == pytest.approx(cold, rel=1e-9)
    assert np.isnan(candidates.conductor_temperature_k[0])


# A route that no current heats: one segment of one metre, three candidates.
COLD_ROUTE = loaded_route.Route(
    np.array([1.0]),
    np.array([300.0]),
    np.array([[0.5, 0.4, 0.1]]),
    np.zeros(3),
    np.full((1, 3), 1e-6),
    np.zeros((1, 3, INTERVALS + 1, 4)),
)
AMPACITIES_A = np.full(3, 40.0)


def solved(current_a, power_w, source_ohm, fixed_ohm):
    load = (current_a, power_w, 12.0, source_ohm, fixed_ohm, 10.0, 0.2)
    return loaded_route.solved_candidates(*load, COLD_ROUTE, AMPACITIES_A)


@pytest.mark.parametrize(
    ("source_ohm", "fixed_ohm", "exists"),
    # 10 A from 12 V leave a voltage below 1.2 ohm in all.
    [(0.0, 0.0, [True] * 3), (0.3, 0.41, [False, True, True]), (0.9, 0.25, [False, False, False])],
)
def test_current_needs_a_voltage_left_behind_every_resistance(source_ohm, fixed_ohm, exists):
    state, found, iterations, residual = solved(10.0, math.nan, source_ohm, fixed_ohm)
    assert found.tolist() == exists
    assert (iterations, residual) == (0, 0.0)
    wires = COLD_ROUTE.ambient_resistance_ohm_per_m[0]
    np.testing.assert_allclose(state[loaded_route.DROP], 10.0 * (wires + fixed_ohm), rtol=1e-12)
    np.testing.assert_allclose(state[loaded_route.LOSS], 100.0 * (wires + fixed_ohm), rtol=1e-12)
    np.testing.assert_allclose(
        state[loaded_route.LOAD_VOLTAGE], 12.0 - 10.0 * (wires + fixed_ohm + source_ohm)
    )
    # 0.2 ohm in all, the fixed ones first, over the resistance of a metre.
    np.testing.assert_allclose(
        state[loaded_route.GREATEST_LENGTH], max(0.2 - fixed_ohm, 0.0) / wires, rtol=1e-12
    )
    np.testing.assert_allclose(state[loaded_route.AMPACITY_MARGIN], 30.0)


def test_current_that_takes_the_whole_voltage_has_no_operating_point():
    # 24 A through 0.5 ohm are the 12 V themselves, and nothing is left for the load.
    state, found, _, _ = solved(24.0, math.nan, 0.0, 0.0)
    assert found.tolist() == [False, True, True]
    assert state.shape == (loaded_route.AMPACITY_MARGIN + 1, 3)


def warming_route(kelvin_per_ampere, share_per_ampere):
    """One metre of 40 ohm that gains 1 ohm by kelvin, its rise in proportion to the current."""
    curve = np.zeros((INTERVALS + 1, 4))
    per_interval = kelvin_per_ampere / share_per_ampere / INTERVALS
    curve[:, 0] = per_interval * np.arange(INTERVALS + 1)
    curve[:-1, 1] = per_interval
    return loaded_route.Route(
        np.array([1.0]),
        np.array([300.0]),
        np.array([[40.0]]),
        np.array([1.0]),
        np.array([[share_per_ampere]]),
        curve[None, None],
    )


def test_small_current_settles_with_the_resistance_that_it_heats():
    # R = 40 + 100 I: 0.1 A heats it to 50 ohm, which leaves 7 V for 0.7 W; the cold circuit would
    # carry 0.0793 A.
    load = (math.nan, 0.7, 12.0, 0.0, 0.0, 0.1, 80.0)
    state, exists, _, _ = loaded_route.solved_candidates(
        *load, warming_route(100.0, 1.0), AMPACITIES_A[:1]
    )
    assert exists.tolist() == [True]
    # The step that is not taken is of the order of the square of the tolerance, 1e-7.
    assert state[loaded_route.CURRENT, 0] == pytest.approx(0.1, rel=1e-6)
    assert state[loaded_route.TEMPERATURE, 0] == pytest.approx(310.0, rel=1e-6)


@pytest.mark.parametrize(("current_a", "temperature_k"), [(0.25, 325.0), (0.2500001, math.nan)])
def test_temperature_is_known_up_to_the_cap_itself(current_a, temperature_k):
    load = (current_a, math.nan, 24.0, 0.0, 0.0, 0.1, 80.0)
    state, _, _, _ = loaded_route.solved_candidates(
        *load, warming_route(100.0, 4.0), AMPACITIES_A[:1]
    )
    np.testing.assert_allclose(state[loaded_route.TEMPERATURE], [temperature_k], rtol=1e-12)


def test_what_never_settles_says_so():
    # A made-up conductor of 40 ohm below 75 mA, where 0.7 W take 79 mA, and of 30 ohm above, where
    # they take 71 mA: each step leads to the other side.
    route = warming_route(0.0, 1.0 / (INTERVALS * 0.075))
    route.curves[0, 0, 1:, 0] = -10.0
    load = (math.nan, 0.7, 12.0, 0.0, 0.0, 0.1, 80.0)
    state, exists, iterations, residual = loaded_route.solved_candidates(
        *load, route, AMPACITIES_A[:1]
    )
    assert exists.tolist() == [False]
    assert iterations > loaded_route.GREATEST_ITERATIONS
    assert residual > 0.05
    assert np.isnan(state[loaded_route.TEMPERATURE, 0])


@pytest.mark.parametrize(
    ("kelvin_per_ampere", "current"), [(130.0, 0.10115), (132.0, 0.101), (132.0, 0.1011)]
)
def test_current_just_above_the_cap_is_found_though_a_step_passes_it(kelvin_per_ampere, current):
    # R = 40 + 130 I up to the cap at 0.1 A, 53 ohm from there on, or 53.2 ohm. At the cap the
    # balance falls off ten times as slowly below as above, so the step from below ends beyond the
    # root, where the balance hardly changes and the next step leads far back, below 0.
    resistance = 40.0 + 0.1 * kelvin_per_ampere
    load = (math.nan, current * (12.0 - current * resistance), 12.0, 0.0, 0.0, 0.1, 80.0)
    state, exists, iterations, _ = loaded_route.solved_candidates(
        *load, warming_route(kelvin_per_ampere, 10.0), AMPACITIES_A[:1]
    )
    assert exists.tolist() == [True]
    assert state[loaded_route.CURRENT, 0] == pytest.approx(current, rel=1e-12)
    assert state[loaded_route.LOOP_RESISTANCE, 0] == pytest.approx(resistance, rel=1e-12)
    assert np.isnan(state[loaded_route.TEMPERATURE, 0])
    # From half way between the bounds it is no longer than from the cold circuit.
    assert iterations <= 10


@pytest.mark.parametrize("offset_k", [-0.5, 0.5])
def test_temperature_is_known_up_to_250_c(offset_k):
    conductor = conductor_of("awg")
    place = TABLES.series["awg"].index(TABLES.conductors["8 AWG"])
    near_cap = ampacity_in_free_air_a(523.15 + offset_k, 313.15, conductor, TABLES.air)
    asked = request("awg", (Segment(0.2, 313.15),), load_current_a=float(near_cap[place]))
    found = size_conductor(asked, TABLES).candidates.conductor_temperature_k[place]
    expected = 522.65 if offset_k < 0.0 else math.nan
    np.testing.assert_allclose(found, expected, rtol=0.0, atol=5e-3)


@pytest.mark.parametrize(("source_ohm", "fixed_ohm"), [(0.0, 0.0), (0.05, 0.05), (0.2, 0.3)])
def test_cold_circuit_carries_its_power_up_to_the_limit(source_ohm, fixed_ohm):
    total = COLD_ROUTE.ambient_resistance_ohm_per_m[0, 0] + source_ohm + fixed_ohm
    limit_w = 144.0 / (4.0 * total)
    for share in (0.3, 0.9, 0.999):
        state, exists, iterations, _ = solved(math.nan, share * limit_w, source_ohm, fixed_ohm)
        assert exists[0]
        # The stable root of I (12 - I R) = P by hand.
        current = 6.0 / total * (1.0 - math.sqrt(1.0 - share))
        assert state[loaded_route.CURRENT, 0] == pytest.approx(current, rel=1e-9)
        assert state[loaded_route.TEMPERATURE, 0] == 300.0
        assert iterations == 1
    state, exists, iterations, residual = solved(math.nan, 20.0 * limit_w, source_ohm, fixed_ohm)
    assert not exists.any()
    assert (iterations, residual) == (0, 0.0)
    assert state[loaded_route.CURRENT, 0] == pytest.approx(6.0 / total, rel=1e-12)
    assert np.isnan(state[loaded_route.TEMPERATURE]).all()
