"""Peukert's law, open-circuit voltage, discharge and drain of a battery."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import case_parameters
from loomwright.engineering.supply.battery import (
    CUT_OFF_VOLTAGE,
    DISCHARGE_ENDS,
    NO_LOAD,
    START_RESERVE,
    capacity_at_time_as,
    delivered_capacity_as,
    discharge,
    open_circuit_voltage_v,
    peukert_time_s,
    state_of_charge_at,
)
from loomwright.engineering.supply.drain import no_start_time_s
from loomwright.tables.supply_load import supply_tables
from supplies import BATTERY, DAY_S, HOUR_S

CURRENTS_A = st.floats(0.01, 1000.0)
CAPACITIES_AS = st.floats(1e4, 1e7)
TIMES_S = st.floats(3600.0, 360_000.0)
EXPONENTS = st.floats(1.0, 1.5)
CURVE = BATTERY.open_circuit_voltages_v


@pytest.mark.parametrize("case", case_parameters("supply/peukert"))
def test_peukert_agrees_with_its_case(case):
    stated, expected = case["given"], case["expected"]
    arguments = (
        stated["current_a"],
        stated["capacity_ah"] * HOUR_S,
        stated["rated_h"] * HOUR_S,
        stated["exponent"],
    )
    time_h = peukert_time_s(*arguments) / HOUR_S
    assert time_h == pytest.approx(expected["time_h"], **case["tolerance"])
    delivered_ah = delivered_capacity_as(*arguments) / HOUR_S
    assert delivered_ah == pytest.approx(expected["delivered_ah"], **case["tolerance"])


def test_printed_examples_without_the_rate_are_not_followed():
    # electrotechnik.net prints 14.5 h for 100 Ah, 5 A, k = 1.2 by C / I^k; at the 20 h rate the
    # battery lasts 20 h by definition of its capacity.
    without_the_rate_h = 100.0 / 5.0**1.2
    assert without_the_rate_h == pytest.approx(14.5, abs=0.05)
    found = peukert_time_s(5.0, 100.0 * HOUR_S, 20.0 * HOUR_S, 1.2) / HOUR_S
    assert found == pytest.approx(20.0, rel=1e-12)


@given(CURRENTS_A, CAPACITIES_AS, TIMES_S)
def test_exponent_of_one_is_charge_over_current(current_a, capacity_as, rated_s):
    time_s = peukert_time_s(current_a, capacity_as, rated_s, 1.0)
    assert time_s == pytest.approx(capacity_as / current_a, rel=1e-12)


@given(CAPACITIES_AS, TIMES_S, EXPONENTS)
def test_capacity_at_the_rated_current_is_the_rated_one(capacity_as, rated_s, exponent):
    rated_a = capacity_as / rated_s
    assert peukert_time_s(rated_a, capacity_as, rated_s, exponent) == pytest.approx(rated_s)
    assert capacity_at_time_as(rated_s, capacity_as, rated_s, exponent) == capacity_as


@given(CURRENTS_A, CAPACITIES_AS, TIMES_S, EXPONENTS)
def test_capacity_at_another_rate_lasts_as_long_as_peukert_says(
    current_a, capacity_as, rated_s, exponent
):
    time_s = peukert_time_s(current_a, capacity_as, rated_s, exponent)
    other_as = capacity_at_time_as(time_s, capacity_as, rated_s, exponent)
    assert other_as == pytest.approx(current_a * time_s, rel=1e-9)


@given(CURRENTS_A, CAPACITIES_AS, TIMES_S, EXPONENTS)
def test_no_battery_delivers_more_than_its_rated_capacity(
    current_a, capacity_as, rated_s, exponent
):
    delivered = delivered_capacity_as(current_a, capacity_as, rated_s, exponent)
    assert 0.0 < delivered <= capacity_as
    if current_a <= capacity_as / rated_s:
        assert delivered == pytest.approx(capacity_as, rel=1e-9)


def test_formulas_take_arrays():
    currents = np.array([5.0, 25.0])
    found = delivered_capacity_as(currents, 100.0, 20.0, 1.25)
    assert found == pytest.approx([100.0, 66.87], rel=1e-4)


@pytest.mark.parametrize(
    ("state", "volts"), [(0.0, 12.0), (0.25, 12.25), (0.5, 12.5), (0.8, 12.8), (1.0, 13.0)]
)
def test_open_circuit_voltage_lies_on_straight_lines(state, volts):
    assert open_circuit_voltage_v(state, CURVE) == pytest.approx(volts, rel=1e-12)
    assert state_of_charge_at(volts, CURVE) == pytest.approx(state, abs=1e-12)


def test_lines_of_unlike_slope_meet_at_their_point():
    bent = ((0.0, 10.0), (0.25, 12.0), (1.0, 13.0))
    # Half of the first line and a third of the second.
    assert open_circuit_voltage_v(0.125, bent) == pytest.approx(11.0)
    assert open_circuit_voltage_v(0.5, bent) == pytest.approx(12.0 + 1.0 / 3.0)
    assert state_of_charge_at(11.0, bent) == pytest.approx(0.125)
    assert state_of_charge_at(12.5, bent) == pytest.approx(0.625)


def test_voltages_beyond_the_curve_are_empty_and_full():
    assert state_of_charge_at(11.0, CURVE) == 0.0
    assert state_of_charge_at(13.5, CURVE) == 1.0
    assert open_circuit_voltage_v(1.5, CURVE) == 13.0


@pytest.mark.parametrize("kind", ["flooded", "agm"])
@given(state=st.floats(0.0, 1.0))
def test_curves_of_the_tables_can_be_read_both_ways(kind, state):
    curve = supply_tables().battery_kinds[kind].open_circuit_voltages_v
    back = state_of_charge_at(open_circuit_voltage_v(state, curve), curve)
    assert back == pytest.approx(state, abs=1e-9)


def test_second_published_table_agrees_in_the_upper_half():
    # Automotive question-and-answer table by specific gravity: 12.66, 12.45, 12.3 and 12.15 V. The
    # two tables are 0.01 V apart at full charge and up to 0.09 V below three quarters.
    curve = supply_tables().battery_kinds["flooded"].open_circuit_voltages_v
    for state, volts, spread in ((1.0, 12.66, 0.05), (0.75, 12.45, 0.05), (0.5, 12.3, 0.07)):
        assert open_circuit_voltage_v(state, curve) == pytest.approx(volts, abs=spread)
    assert open_circuit_voltage_v(0.25, curve) == pytest.approx(12.15 - 0.09, abs=1e-9)


def test_discharge_ends_at_the_reserve_for_starting():
    # 25 A: 66.87 Ah at that rate (case five-times-the-rated-current), 30 % of it: 20.06 Ah, so
    # 0.8025 h. Under load at 50 %: 12.5 - 0.25 = 12.25 V, above the cut-off.
    found = discharge(BATTERY, 25.0)
    assert found.end == START_RESERVE
    assert found.time_s / HOUR_S == pytest.approx(0.8025, rel=1e-4)
    assert found.end_state_of_charge == 0.5
    assert not found.below_rated_current
    assert found.current_a == 25.0


def test_discharge_ends_at_the_cut_off_voltage():
    # Cut-off 12.4 V and 25 A in 0.01 ohm: 12.65 V open, that is at 65 %; 15 % of 66.87 Ah.
    found = discharge(replace(BATTERY, cut_off_voltage_v=12.4), 25.0)
    assert found.end == CUT_OFF_VOLTAGE
    assert found.end_state_of_charge == pytest.approx(0.65)
    assert found.time_s / HOUR_S == pytest.approx(0.15 * 66.874 / 25.0, rel=1e-4)


def test_cut_off_and_reserve_at_one_charge_count_as_the_reserve():
    found = discharge(replace(BATTERY, cut_off_voltage_v=12.5, internal_resistance_ohm=0.0), 5.0)
    assert (found.end, found.end_state_of_charge) == (START_RESERVE, 0.5)


@pytest.mark.parametrize(("current_a", "volts"), [(60.0, 12.5), (30.0, 13.5)])
def test_no_time_where_the_cut_off_is_there_at_once(current_a, volts):
    found = discharge(replace(BATTERY, cut_off_voltage_v=volts), current_a)
    assert (found.end, found.time_s) == (CUT_OFF_VOLTAGE, 0.0)
    assert found.end_state_of_charge == 0.8


def test_full_battery_with_nothing_in_reserve_still_obeys_the_cut_off():
    # At 100 % reserve the curve ends; a cut-off above it is the cut-off and not the reserve.
    full = replace(BATTERY, state_of_charge=1.0, start_state_of_charge=1.0, cut_off_voltage_v=13.0)
    assert discharge(full, 1.0).end == CUT_OFF_VOLTAGE
    at_the_end = replace(full, internal_resistance_ohm=0.0)
    assert discharge(at_the_end, 1.0).end == START_RESERVE


def test_nothing_usable_below_the_reserve():
    found = discharge(replace(BATTERY, state_of_charge=0.4), 5.0)
    assert (found.time_s, found.end, found.end_state_of_charge) == (0.0, START_RESERVE, 0.4)


def test_without_a_load_there_is_no_end():
    found = discharge(BATTERY, 0.0)
    assert (found.time_s, found.end, found.current_a) == (math.inf, NO_LOAD, 0.0)
    assert found.below_rated_current
    assert found.end_state_of_charge == 0.8
    assert set(DISCHARGE_ENDS) == {START_RESERVE, CUT_OFF_VOLTAGE, NO_LOAD}


def test_below_the_rated_current_the_rated_capacity_counts():
    # 2 A of a battery rated at 5 A: 30 % of 100 Ah, 15 h; Peukert's law would give 18.9 h.
    found = discharge(BATTERY, 2.0)
    assert found.time_s / HOUR_S == pytest.approx(15.0, rel=1e-12)
    assert found.below_rated_current
    assert not discharge(BATTERY, 5.0).below_rated_current


def test_next_to_no_current_lasts_for_ever_without_an_overflow():
    found = discharge(BATTERY, 5e-324)
    assert (found.time_s, found.end) == (math.inf, START_RESERVE)


@given(CURRENTS_A, st.floats(1.0, 3.0))
def test_more_load_never_lasts_longer(current_a, factor):
    assert discharge(BATTERY, factor * current_a).time_s <= discharge(BATTERY, current_a).time_s


@given(CURRENTS_A, st.floats(1.0, 10.0))
def test_a_larger_battery_never_lasts_less(current_a, factor):
    larger = replace(
        BATTERY,
        capacity_as=factor * BATTERY.capacity_as,
        internal_resistance_ohm=BATTERY.internal_resistance_ohm / factor,
    )
    before = discharge(BATTERY, current_a).time_s
    assert discharge(larger, current_a).time_s >= before * (1.0 - 1e-12)


def test_sixty_ampere_hours_at_fifty_milliamperes_fall_by_half_in_25_days():
    battery = replace(
        BATTERY, capacity_as=60.0 * HOUR_S, state_of_charge=1.0, start_state_of_charge=0.5
    )
    assert no_start_time_s(battery, 0.05) / DAY_S == pytest.approx(25.0, rel=1e-12)


def test_self_discharge_adds_to_the_drain():
    # 3 % of 100 Ah in 30 days is 0.1 Ah a day; 0.1 A takes 2.4 Ah a day; 30 Ah last 12 days.
    leaking = replace(BATTERY, self_discharge_per_s=0.03 / (30.0 * DAY_S))
    assert no_start_time_s(leaking, 0.1) / DAY_S == pytest.approx(30.0 / 2.5, rel=1e-12)
    assert no_start_time_s(leaking, 0.0) / DAY_S == pytest.approx(300.0, rel=1e-12)


def test_nothing_drains_for_ever_and_an_empty_battery_starts_nothing():
    assert no_start_time_s(BATTERY, 0.0) == math.inf
    for state in (0.5, 0.2):
        assert no_start_time_s(replace(BATTERY, state_of_charge=state), 0.0) == 0.0


@given(st.floats(0.001, 10.0), st.floats(1.0, 5.0))
def test_charge_is_conserved_over_the_days(drain_a, factor):
    leaking = replace(BATTERY, self_discharge_per_s=1e-9)
    time_s = no_start_time_s(leaking, drain_a)
    lost = time_s * (drain_a + 1e-9 * BATTERY.capacity_as)
    assert lost == pytest.approx(0.3 * BATTERY.capacity_as, rel=1e-9)
    assert no_start_time_s(leaking, factor * drain_a) <= time_s
