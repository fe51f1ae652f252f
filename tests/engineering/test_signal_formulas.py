"""Formulas of signal paths against published rules and values derived by hand, and their laws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import case_parameters
from loomwright.engineering.audio.amplifiers import gain_setting_voltage_v
from loomwright.engineering.audio.levels import (
    voltage_at_dbu_v,
    voltage_at_dbv_v,
    voltage_level_db,
)
from loomwright.engineering.signal import coil, ground_noise, voltages


def sum_db(total):
    def level(voltages_v):
        return voltage_level_db(total(voltages_v) / max(voltages_v))

    return level


FUNCTIONS = {
    "coil_current": coil.coil_current_a,
    "coil_energy": coil.coil_energy_j,
    "correlated_db": sum_db(voltages.correlated_sum_v),
    "dbu": voltage_at_dbu_v,
    "dbv": voltage_at_dbv_v,
    "interference": ground_noise.interference_v,
    "least_load": voltages.least_load_of_passive_sum_ohm,
    "least_resistance": voltages.least_summing_resistance_ohm,
    "loaded_voltage": voltages.loaded_voltage_v,
    "over_noise": ground_noise.signal_over_noise_db,
    "peak": coil.unsuppressed_peak_v,
    "potential": ground_noise.ground_potential_v,
    "preferred": voltages.preferred_resistance_ohm,
    "rejected": ground_noise.rejected_v,
    "release_time": coil.release_time_s,
    "shield_current": ground_noise.shield_current_a,
    "uncorrelated_db": sum_db(voltages.uncorrelated_sum_v),
    "voltage_of_power": gain_setting_voltage_v,
}
VOLTS = st.floats(0.001, 100.0)
SIGNED = st.floats(-100.0, 100.0)
OHMS = st.floats(0.1, 1e5)


@pytest.mark.parametrize("case", case_parameters("signal/formulas"))
def test_formula(case):
    given_values = dict(case["given"])
    value = FUNCTIONS[given_values.pop("function")](**given_values)
    tolerance = case["tolerance"]
    assert value == pytest.approx(
        case["expected"]["value"],
        rel=tolerance.get("relative", 0.0),
        abs=tolerance.get("absolute", 0.0),
    )


def test_every_formula_has_a_case():
    used = {case.values[0]["given"]["function"] for case in case_parameters("signal/formulas")}
    assert used == set(FUNCTIONS)


def test_noise_free_signal_is_infinitely_far_above():
    assert ground_noise.signal_over_noise_db(2.0, 0.0) == math.inf


@pytest.mark.parametrize(
    ("below_db", "verdict"),
    [
        (49.999, "severe"),
        (50.0, "audible"),
        (69.999, "audible"),
        (70.0, "low"),
        (math.inf, "low"),
    ],
)
def test_a_threshold_of_noise_belongs_to_the_better_side(below_db, verdict):
    assert ground_noise.noise_verdict(below_db, 70.0, 50.0) == verdict


@pytest.mark.parametrize("step", voltages.E12_SERIES)
@pytest.mark.parametrize("decade", [0.1, 10.0, 1e4])
def test_each_member_of_the_series_is_its_own_preferred_value(step, decade):
    chosen = voltages.preferred_resistance_ohm(step * decade)
    assert chosen == pytest.approx(step * decade, rel=1e-12)


def test_value_that_rounding_may_miss_is_that_of_the_series():
    above = 1.0 / (1.0 - 1e-9)
    assert above * (1.0 - 1e-9) == 1.0
    assert voltages.preferred_resistance_ohm(above) == 1.0


def test_each_source_has_its_resistance():
    with pytest.raises(ValueError, match="shorter"):
        voltages.passive_sum_parts_v([1.0, 2.0], [100.0], 1e4)


@given(st.floats(0.01, 1e6))
def test_preferred_value_is_the_least_that_suffices(least_ohm):
    # Neighbours of the series are at most a quarter apart (2.2 to 2.7 and 1.2 to 1.5).
    chosen = voltages.preferred_resistance_ohm(least_ohm)
    assert least_ohm * (1.0 - 1e-8) <= chosen <= 1.251 * least_ohm


@given(st.lists(st.tuples(SIGNED, OHMS), min_size=2, max_size=6), OHMS)
def test_passive_sum_obeys_superposition_and_the_node_law(sources, load_ohm):
    volts, ohms = zip(*sources, strict=True)
    parts = voltages.passive_sum_parts_v(volts, ohms, load_ohm)
    node = math.fsum(parts)
    currents = [(v - node) / r for v, r in sources]
    scale = max(abs(v) / r for v, r in sources) + 1e-12
    # What flows in flows out through the load.
    assert math.fsum(currents) - node / load_ohm == pytest.approx(0.0, abs=1e-9 * scale * 6)
    for place, volt in enumerate(volts):
        alone = [0.0] * len(volts)
        alone[place] = volt
        single = voltages.passive_sum_parts_v(alone, ohms, load_ohm)
        assert math.fsum(single) == pytest.approx(parts[place], rel=1e-12, abs=1e-300)


@given(st.lists(VOLTS, min_size=2, max_size=4), OHMS, OHMS)
def test_branches_without_load_with_their_impedance_are_the_loaded_sum(volts, ohm, load_ohm):
    # Thevenin's theorem, by which a sum is handed on as one source.
    ohms = [ohm * (place + 1) for place in range(len(volts))]
    loaded = math.fsum(voltages.passive_sum_parts_v(volts, ohms, load_ohm))
    unloaded = math.fsum(voltages.passive_sum_parts_v(volts, ohms, math.inf))
    inner = 1.0 / math.fsum(1.0 / each for each in ohms)
    assert voltages.loaded_voltage_v(unloaded, inner, load_ohm) == pytest.approx(loaded, rel=1e-9)


@given(st.lists(VOLTS, min_size=2, max_size=8))
def test_independent_signals_never_add_to_more_than_equal_ones(volts):
    independent = voltages.uncorrelated_sum_v(volts)
    assert max(volts) <= independent * (1 + 1e-12)
    assert independent <= voltages.correlated_sum_v(volts) * (1 + 1e-12)


@given(VOLTS)
def test_opposite_signals_cancel(volts):
    assert voltages.correlated_sum_v([volts, -volts]) == 0.0


@given(st.integers(2, 12), st.floats(1.0, 1e5))
def test_summing_resistor_makes_just_the_load_that_is_borne(sources, load_ohm):
    resistance = voltages.least_summing_resistance_ohm(load_ohm, sources)
    back = voltages.least_load_of_passive_sum_ohm(resistance, sources)
    assert back == pytest.approx(load_ohm, rel=1e-12)


@given(VOLTS, st.floats(0.0, 120.0))
def test_rejection_and_level_are_inverse(volts, rejection_db):
    left = ground_noise.rejected_v(volts, rejection_db)
    assert ground_noise.signal_over_noise_db(volts, left) == pytest.approx(rejection_db, abs=1e-9)


@given(st.floats(0.001, 10.0), st.floats(0.0, 1.0), st.floats(0.001, 1.0), st.floats(1.01, 10.0))
def test_interference_rises_with_current_and_with_shield_and_falls_with_ground(
    current_a, ground_ohm, shield_ohm, factor
):
    potential = ground_noise.ground_potential_v(current_a, 0.01)
    noise = ground_noise.interference_v(potential, shield_ohm, ground_ohm)
    more = ground_noise.ground_potential_v(factor * current_a, 0.01)
    assert ground_noise.interference_v(more, shield_ohm, ground_ohm) == pytest.approx(
        factor * noise, rel=1e-12
    )
    # Without ground resistance the shield takes all; only rounding then stands between both.
    longer = ground_noise.interference_v(potential, factor * shield_ohm, ground_ohm)
    assert longer >= noise * (1 - 1e-12)
    assert ground_noise.interference_v(potential, shield_ohm, ground_ohm + 0.1) < noise
    assert noise <= potential * (1 + 1e-12)


@given(st.floats(0.01, 10.0), st.floats(1.0, 1e4), st.floats(0.01, 1.0), st.floats(0.0, 2.0))
def test_release_is_quicker_with_resistance_and_with_a_forward_voltage(
    henry, ohm, current_a, forward_v
):
    time = coil.release_time_s(henry, ohm, current_a, 0.1 * current_a, forward_v)
    assert 0.0 < time <= henry / ohm * math.log(10.0) * (1 + 1e-12)
    assert coil.release_time_s(henry, 2 * ohm, current_a, 0.1 * current_a) == pytest.approx(
        0.5 * coil.release_time_s(henry, ohm, current_a, 0.1 * current_a), rel=1e-12
    )


@given(st.floats(1e-3, 10.0), st.floats(1e-12, 1e-6), st.floats(0.001, 1.0))
def test_energy_of_the_coil_is_that_of_the_charged_capacitance(henry, farad, current_a):
    peak = coil.unsuppressed_peak_v(henry, farad, current_a)
    assert 0.5 * farad * peak**2 == pytest.approx(coil.coil_energy_j(henry, current_a), rel=1e-9)


def test_formulas_take_arrays():
    volts = np.array([0.12, -0.06])
    noise = ground_noise.interference_v(volts, 0.05, 0.01)
    assert noise == pytest.approx([0.1, 0.05], rel=1e-12)
    assert ground_noise.rejected_v(noise, 20.0) == pytest.approx([0.01, 0.005], rel=1e-12)
    currents = coil.coil_current_a(np.array([12.0, 24.0]), 120.0)
    assert coil.coil_energy_j(0.5, currents) == pytest.approx([0.0025, 0.01], rel=1e-12)
    assert coil.unsuppressed_peak_v(0.4, 1e-9, currents) == pytest.approx([2000.0, 4000.0])
    loaded = voltages.loaded_voltage_v(np.array([2.0, 4.0]), 1e3, 3e3)
    assert loaded == pytest.approx([1.5, 3.0], rel=1e-12)
