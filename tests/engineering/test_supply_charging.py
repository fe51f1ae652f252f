"""Output of alternators and converters, and what it leaves over on average and at peaks."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.supply.alternator import (
    BELOW_CURVE,
    BEYOND_CURVE,
    WITHIN_CURVE,
    Designation,
    alternator_output_a,
    designation_of,
    engine_speed_for_output_per_s,
    output_curve_of,
)
from loomwright.engineering.supply.charging import charging, charging_output_a
from loomwright.engineering.supply.converter import (
    CONVERTER_LIMIT,
    converter_input_w,
    converter_output_a,
    rated_current_of_power_a,
)
from loomwright.engineering.supply.request import DRIVING, ENGINE_OFF, IDLE, ExistingLoads
from supplies import ALTERNATOR, CONVERTER, HYBRID, UNCHARGED, load, power_load, request_of

# ISO 8854 and SAE J56: the example of the designation as seen on a page, and its parts.
EXAMPLE = Designation(50.0, 120.0, 13.5)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("50/120A 13.5V", EXAMPLE),
        ("50/120 A, 13.5 V", EXAMPLE),
        ("50 / 120A,13.5V", EXAMPLE),
        ("35/100A 27V", Designation(35.0, 100.0, 27.0)),
        ("42.5/90.25A 13.5V", Designation(42.5, 90.25, 13.5)),
        ("120A 13.5V", None),
        ("50/120A", None),
        ("50/120 13.5V", None),
        ("-50/120A 13.5V", None),
        ("50/120A 13.5V ", None),
        ("50/120A  13.5V", None),
        ("\u0665/120A 13.5V", None),
        ("50/12000A 13.5V5", None),
        ("", None),
    ],
)
def test_designation_states_both_currents_and_the_test_voltage(text, expected):
    assert designation_of(text) == expected


def test_designation_gives_the_two_test_speeds():
    assert output_curve_of(EXAMPLE, 25.0, 100.0) == ((25.0, 50.0), (100.0, 120.0))


@pytest.mark.parametrize(
    ("engine_per_s", "output_a", "where"),
    [
        # 0.8 of the curve; alternator at 2.5 times the speed of the engine.
        (9.9, 0.0, BELOW_CURVE),
        (10.0, 32.0, WITHIN_CURVE),
        (14.0, 0.8 * (40.0 + 60.0 * 10.0 / 75.0), WITHIN_CURVE),
        (25.0, 0.8 * (40.0 + 60.0 * 37.5 / 75.0), WITHIN_CURVE),
        (40.0, 80.0, WITHIN_CURVE),
        (40.1, 80.0, BEYOND_CURVE),
    ],
)
def test_output_lies_between_the_rating_points(engine_per_s, output_a, where):
    found, place = alternator_output_a(ALTERNATOR, engine_per_s)
    assert (found, place) == (pytest.approx(output_a, rel=1e-12), where)


def test_output_of_a_middle_point_is_its_own():
    three = replace(ALTERNATOR, curve=((25.0, 40.0), (50.0, 80.0), (100.0, 100.0)))
    assert alternator_output_a(three, 20.0) == (pytest.approx(64.0), WITHIN_CURVE)
    # Half-way along the second line: 90 A cold.
    assert alternator_output_a(three, 30.0) == (pytest.approx(72.0), WITHIN_CURVE)
    assert engine_speed_for_output_per_s(three, 72.0) == pytest.approx(30.0)


def test_beyond_the_last_of_several_points_its_output_holds():
    three = replace(ALTERNATOR, curve=((25.0, 40.0), (50.0, 80.0), (100.0, 90.0)))
    # 0.8 x 90 A.
    assert alternator_output_a(three, 41.0) == (pytest.approx(72.0), BEYOND_CURVE)


def test_a_level_curve_gives_its_output_from_its_first_point_on():
    level = replace(ALTERNATOR, hot_output_share=0.5, curve=((25.0, 40.0), (100.0, 40.0)))
    assert alternator_output_a(level, 30.0) == (20.0, WITHIN_CURVE)
    assert engine_speed_for_output_per_s(level, 20.0) == 10.0
    assert engine_speed_for_output_per_s(level, 20.5) is None


@given(st.floats(0.0, 60.0), st.floats(0.0, 60.0))
def test_a_faster_alternator_never_gives_less(first, second):
    low, high = sorted((first, second))
    assert alternator_output_a(ALTERNATOR, low)[0] <= alternator_output_a(ALTERNATOR, high)[0]


@given(st.floats(10.0, 40.0))
def test_speed_for_an_output_is_the_inverse(speed):
    output_a, _ = alternator_output_a(ALTERNATOR, speed)
    found = engine_speed_for_output_per_s(ALTERNATOR, output_a)
    assert found == pytest.approx(speed, rel=1e-9)


def test_speed_for_an_output_has_ends():
    # 80 A is the most; what the first point gives needs the first point, and nothing less.
    assert engine_speed_for_output_per_s(ALTERNATOR, 80.0) == pytest.approx(40.0)
    assert engine_speed_for_output_per_s(ALTERNATOR, 80.1) is None
    assert engine_speed_for_output_per_s(ALTERNATOR, 32.0) == 10.0
    assert engine_speed_for_output_per_s(ALTERNATOR, 1.0) == 10.0


def test_converter_gives_what_is_left_of_its_rating():
    assert converter_output_a(CONVERTER) == pytest.approx(60.0)
    # 1.8 kW at 14.4 V.
    assert rated_current_of_power_a(1800.0, 14.4) == pytest.approx(125.0)


@pytest.mark.parametrize(("output_a", "input_w"), [(0.0, 0.0), (45.0, 700.0), (80.0, 933.3333333)])
def test_converter_takes_its_output_and_its_loss(output_a, input_w):
    # 14 V x 45 A / 0.9; 60 A is the most.
    assert converter_input_w(CONVERTER, output_a) == pytest.approx(input_w, rel=1e-9)


@given(st.floats(0.0, 60.0))
def test_energy_into_the_converter_is_output_and_loss(output_a):
    output_w = CONVERTER.set_voltage_v * output_a
    input_w = converter_input_w(CONVERTER, output_a)
    assert input_w - output_w == pytest.approx(0.1 * input_w, rel=1e-9, abs=1e-12)


def test_charging_source_by_state():
    supply = request_of(load()).supply
    assert charging_output_a(supply, IDLE) == alternator_output_a(ALTERNATOR, 14.0)
    assert charging_output_a(supply, DRIVING) == alternator_output_a(ALTERNATOR, 30.0)
    for state in (IDLE, DRIVING):
        assert charging_output_a(HYBRID, state) == (pytest.approx(60.0), CONVERTER_LIMIT)
        assert charging_output_a(UNCHARGED, state) is None
        assert charging(request_of(load(), supply=UNCHARGED), state) is None


def test_charging_of_music_by_hand():
    # Converter 60 A, vehicle 20 A, amplifier 80 A at peaks of 2 s and 10 A on average: a cycle of
    # 16 s. At a peak the battery gives 40 A for 2 s; in 14 s it can get back 40 A.
    amplifier = load("amplifier", 80.0, average_current_a=10.0, peak_time_s=2.0)
    found = charging(request_of(amplifier, supply=HYBRID), IDLE)
    assert found is not None
    assert (found.state, found.bound) == (IDLE, CONVERTER_LIMIT)
    assert (found.output_a, found.existing_a) == (60.0, 20.0)
    assert (found.average_a, found.peak_a) == (10.0, 80.0)
    assert found.headroom_a == pytest.approx(30.0)
    assert found.peak_excess_a == pytest.approx(40.0)
    assert found.excess_charge_as == pytest.approx(80.0)
    assert found.recovery_charge_as == pytest.approx(560.0)


def test_peaks_within_the_output_ask_nothing_of_the_battery():
    found = charging(request_of(load(current_a=40.0), supply=HYBRID), IDLE)
    assert found is not None
    assert (found.peak_excess_a, found.excess_charge_as) == (0.0, 0.0)
    below = charging(request_of(load(current_a=39.5), supply=HYBRID), IDLE)
    assert below is not None
    assert (below.peak_excess_a, below.excess_charge_as) == (0.0, 0.0)
    # A steady load leaves no time between its peaks.
    assert (found.headroom_a, found.recovery_charge_as) == (0.0, 0.0)


def test_only_loads_of_the_state_count_and_the_longest_peak():
    loads = (
        load("a", 10.0, states=(IDLE,), average_current_a=5.0, peak_time_s=3.0),
        load("b", 20.0, states=(DRIVING,)),
        load("c", 40.0, states=(ENGINE_OFF,)),
        power_load("d", 120.0, states=(IDLE, DRIVING), average_current_a=2.5, peak_time_s=1.0),
    )
    idle, driving = (charging(request_of(*loads, supply=HYBRID), s) for s in (IDLE, DRIVING))
    assert idle is not None
    assert driving is not None
    # The load of constant power takes 10 A at the nominal 12 V.
    assert (idle.peak_a, idle.average_a) == (20.0, 7.5)
    assert (driving.peak_a, driving.average_a, driving.existing_a) == (30.0, 22.5, 30.0)
    # T = 3 s x 20 / 7.5 = 8 s; 5 s with 40 A to spare.
    assert idle.recovery_charge_as == pytest.approx(200.0)


def test_without_loads_there_is_no_cycle():
    found = charging(request_of(load(states=(ENGINE_OFF,)), supply=HYBRID), IDLE)
    assert found is not None
    assert (found.peak_a, found.recovery_charge_as, found.headroom_a) == (0.0, 0.0, 40.0)
    # The vehicle alone takes 10 A more than there is, but no load has a peak.
    hungry = ExistingLoads(idle_a=70.0)
    short = charging(request_of(load(states=(ENGINE_OFF,)), supply=HYBRID, existing=hungry), IDLE)
    assert short is not None
    assert (short.peak_excess_a, short.excess_charge_as) == (10.0, 0.0)


def test_a_load_that_is_next_to_never_on_has_no_cycle():
    for average_a in (5e-324, 1e-9):
        found = charging(request_of(load(average_current_a=average_a), supply=HYBRID), IDLE)
        assert found is not None
        assert found.recovery_charge_as == 0.0
    # 1 s x (5 A / 2e-9 A - 1) with 40 A to spare.
    rare = charging(request_of(load(average_current_a=2e-9), supply=HYBRID), IDLE)
    assert rare is not None
    assert rare.recovery_charge_as == pytest.approx(1e11, rel=1e-6)


def test_a_source_that_the_vehicle_itself_overloads_gives_nothing_back():
    hungry = request_of(
        load(average_current_a=1.0), supply=HYBRID, existing=ExistingLoads(idle_a=70.0)
    )
    found = charging(hungry, IDLE)
    assert found is not None
    assert found.recovery_charge_as == 0.0
    assert found.headroom_a == pytest.approx(-11.0)


@given(st.floats(0.0, 50.0), st.floats(0.0, 50.0))
def test_headroom_falls_by_the_average_that_is_added(first_a, second_a):
    one = load("one", 50.0, average_current_a=first_a)
    two = load("two", 50.0, average_current_a=second_a)
    before = charging(request_of(one), IDLE)
    after = charging(request_of(one, two), IDLE)
    assert before is not None
    assert after is not None
    assert before.headroom_a - after.headroom_a == pytest.approx(second_a, abs=1e-9)


@given(st.floats(41.0, 200.0), st.floats(0.05, 1.0), st.floats(0.01, 60.0))
def test_charge_over_a_cycle_is_conserved(peak_a, share, peak_s):
    # The peak exceeds the 40 A that are left, so the battery gives in it and gets back after it.
    music = load("music", peak_a, average_current_a=share * peak_a, peak_time_s=peak_s)
    found = charging(request_of(music, supply=HYBRID), IDLE)
    assert found is not None
    cycle_s = peak_s / share
    net_as = found.recovery_charge_as - found.excess_charge_as
    assert net_as == pytest.approx(found.headroom_a * cycle_s, rel=1e-6, abs=1e-6)
