"""Shortfalls and their remedies: by hand, and that each remedy really closes its gap."""

import math
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.cautions import CAUTIONS
from loomwright.engineering.supply.assessment import (
    INSUFFICIENT,
    SUFFICIENT,
    VERDICTS,
    supply_assessment,
)
from loomwright.engineering.supply.checks import (
    CHARGING_AT_IDLE,
    CHARGING_WHILE_DRIVING,
    CHECKS,
    ENGINE_OFF_TIME,
    LOAD_VOLTAGE,
    OPERATING_POINT,
    STANDING_TIME,
    Shortfall,
    shortfalls,
    supply_figures,
)
from loomwright.engineering.supply.remedies import (
    BY_PRICE,
    BY_RANK,
    COST_RANK,
    LARGER_CONDUCTOR,
    LARGER_SOURCE,
    LOWER_DRIVE_LEVEL,
    RAISE_IDLE,
    SECOND_BATTERY,
    SWITCH_OFF_STANDBY,
    applied,
)
from loomwright.engineering.supply.request import (
    DRIVING,
    ENGINE_OFF,
    IDLE,
    STATES,
    ExistingLoads,
)
from loomwright.tables.records import Provenance
from supplies import (
    ALTERNATOR,
    BATTERY,
    DAY_S,
    HOUR_S,
    HYBRID,
    SUPPLY,
    UNCHARGED,
    load,
    power_load,
    request_of,
)

# Used at idle alone, so that nothing else falls short.
AT_IDLE = {"states": (IDLE,)}
OFF = {"states": (ENGINE_OFF,)}


def short(request):
    """Return the shortfalls with their remedies."""
    return supply_assessment(request).shortfalls


def remedies_of(request, check=None):
    """Return the remedies of the only shortfall, or that of a check, by key."""
    (entry,) = (each for each in short(request) if check in (None, each.shortfall.check))
    return {remedy.key: remedy for remedy in entry.remedies}


def checks(request):
    return [entry.shortfall.check for entry in short(request)]


def test_a_supply_that_has_enough_is_sufficient():
    found = supply_assessment(request_of(load(current_a=5.0)))
    assert (found.verdict, found.shortfalls) == (SUFFICIENT, ())
    assert VERDICTS == (SUFFICIENT, INSUFFICIENT)


def test_figures_by_hand():
    # Engine off 2 A of the vehicle and 3 A on average; 30 mA of drain and 20 mA of standby.
    one = load("one", 10.0, average_current_a=3.0, standby_current_a=0.02)
    other = load("other", 9.0, states=(IDLE, DRIVING))
    found = supply_figures(request_of(one, other))
    assert [entry.state for entry in found.charging] == [IDLE, DRIVING]
    assert found.discharge.current_a == 5.0
    assert found.discharge.time_s == pytest.approx(6.0 * HOUR_S)
    assert found.drain_a == pytest.approx(0.05)
    # 30 Ah at 50 mA are 600 h, 25 days.
    assert found.no_start_s == pytest.approx(25.0 * DAY_S)
    assert tuple(entry.state for entry in found.states) == STATES
    assert [entry.key for entry in found.worst] == ["one", "other"]


def test_without_a_charging_source_charging_is_not_judged():
    found = supply_assessment(request_of(load(current_a=50.0), supply=UNCHARGED))
    assert (found.verdict, found.figures.charging) == (SUFFICIENT, ())
    assert found.converter_input_w is None


def test_converter_input_is_that_of_the_average_while_driving():
    # 30 A of the vehicle and 15 A at 14 V, 0.9.
    found = supply_assessment(
        request_of(load(current_a=60.0, average_current_a=15.0), supply=HYBRID)
    )
    assert found.converter_input_w == pytest.approx(700.0)
    parked = load("parked", 7.0, states=(IDLE, ENGINE_OFF))
    both = supply_assessment(
        request_of(parked, load(current_a=15.0, states=(DRIVING,)), supply=HYBRID)
    )
    assert both.converter_input_w == pytest.approx(700.0)


# Idle: 0.8 x (40 + 60 x 10 / 75) = 38.4 A; 20 A for the vehicle leave 18.4 A.
IDLE_OUTPUT_A = 38.4


def test_charging_falls_short_by_what_is_drawn_on_average():
    request = request_of(load(current_a=40.0, average_current_a=24.0, **AT_IDLE))
    (entry,) = short(request)
    shortfall = entry.shortfall
    assert (shortfall.check, shortfall.state, shortfall.load) == (CHARGING_AT_IDLE, IDLE, None)
    assert shortfall.value == pytest.approx(IDLE_OUTPUT_A)
    assert shortfall.limit == pytest.approx(44.0)


def test_a_balance_to_the_last_digit_is_no_shortfall():
    even = load(current_a=40.0, average_current_a=IDLE_OUTPUT_A - 20.0, **AT_IDLE)
    assert checks(request_of(even)) == []
    more = replace(even, average_current_a=even.average_current_a + 1e-6)
    assert checks(request_of(more)) == [CHARGING_AT_IDLE]


def test_what_rounding_may_miss_is_no_shortfall():
    request = request_of(load(current_a=5.0), wanted_standing_s=1.0)
    figures = supply_figures(request)
    assert shortfalls(request, replace(figures, no_start_s=1.0 - 1e-9)) == ()
    assert len(shortfalls(request, replace(figures, no_start_s=1.0 - 2e-9))) == 1


def test_figures_of_another_request_are_refused():
    both = request_of(load("a"), load("b"))
    figures, other = supply_figures(both), supply_figures(request_of(load("a")))
    for mixed in (replace(figures, worst=other.worst), replace(figures, states=other.states)):
        with pytest.raises(ValueError, match="shorter"):
            shortfalls(both, mixed)


def test_raised_idle_by_hand():
    # 44 A hot are 55 A cold: 25 + 75 x 15 / 60 = 43.75 1/s of the alternator, 17.5 of the engine.
    request = request_of(load(current_a=40.0, average_current_a=24.0, **AT_IDLE))
    found = remedies_of(request)[RAISE_IDLE]
    assert found.closes
    assert found.value == pytest.approx(17.5, rel=1e-12)


def test_raised_idle_is_rounded_up_to_a_whole_revolution_a_minute():
    request = request_of(load(current_a=40.0, average_current_a=24.01, **AT_IDLE))
    # 55.0125 A cold: 43.765625 1/s, 17.50625 1/s of the engine, 1050.375 1/min.
    assert remedies_of(request)[RAISE_IDLE].value * 60.0 == pytest.approx(1051.0, rel=1e-12)


def test_idle_beyond_what_the_engine_may_do_is_out_of_reach():
    request = request_of(load(current_a=40.0, average_current_a=24.0, **AT_IDLE))
    limited = replace(ALTERNATOR, greatest_idle_speed_per_s=17.4)
    out = replace(request, supply=replace(request.supply, alternator=limited))
    assert remedies_of(out)[RAISE_IDLE] == type(remedies_of(out)[RAISE_IDLE])(
        RAISE_IDLE, None, False
    )
    at_limit = replace(limited, greatest_idle_speed_per_s=17.5)
    in_reach = replace(request, supply=replace(request.supply, alternator=at_limit))
    assert remedies_of(in_reach)[RAISE_IDLE].closes


def test_rounding_never_raises_the_idle_beyond_what_the_engine_may_do():
    # 1050.375 1/min are wanted and 1050.5 allowed; the next whole revolution is 1051.
    request = request_of(load(current_a=40.0, average_current_a=24.01, **AT_IDLE))
    limited = replace(ALTERNATOR, greatest_idle_speed_per_s=1050.5 / 60.0)
    found = remedies_of(replace(request, supply=replace(request.supply, alternator=limited)))
    assert found[RAISE_IDLE].value == 1050.5 / 60.0
    assert found[RAISE_IDLE].closes


def test_no_idle_gives_more_than_the_last_point():
    request = request_of(load(current_a=99.0, average_current_a=61.0, **AT_IDLE))
    found = remedies_of(request)
    assert (found[RAISE_IDLE].value, found[RAISE_IDLE].closes) == (None, False)
    # 20 + 61 A at idle.
    assert found[LARGER_SOURCE].value == 81.0
    assert found[LARGER_SOURCE].closes


def test_a_larger_source_is_rounded_up_to_whole_amperes():
    request = request_of(load(current_a=40.0, average_current_a=24.2, **AT_IDLE))
    assert remedies_of(request)[LARGER_SOURCE].value == 45.0
    larger = applied(request, short(request)[0].shortfall, LARGER_SOURCE, 45.0)
    assert supply_figures(larger).charging[0].output_a == pytest.approx(45.0)


def test_a_vehicle_that_states_nothing_takes_nothing():
    assert [ExistingLoads().in_state(state) for state in STATES] == [0.0, 0.0, 0.0]
    assert ExistingLoads().key_off_a == 0.0


def test_where_the_machine_gives_nothing_at_that_speed_no_larger_one_is_computed():
    slow = replace(ALTERNATOR, idle_speed_per_s=9.0)
    request = request_of(load(current_a=1.0, **AT_IDLE), alternator=slow)
    found = remedies_of(request)
    assert found[LARGER_SOURCE].value is None
    # 21 A hot lie below the first point, whose 32 A come at 10 1/s of the engine.
    assert (found[RAISE_IDLE].value, found[RAISE_IDLE].closes) == (pytest.approx(10.0), True)


@pytest.mark.parametrize(("cold_a", "value"), [(0.12, None), (0.125, 21.0)])
def test_next_to_nothing_is_not_scaled_either(cold_a, value):
    # 0.8 of 0.125 A are 0.1 A; 1 A beside the 20 A of the vehicle are wanted.
    weak = replace(ALTERNATOR, curve=((25.0, cold_a), (100.0, cold_a)), cruise_speed_per_s=14.0)
    request = request_of(load(current_a=1.0, **AT_IDLE), alternator=weak)
    assert remedies_of(request, CHARGING_AT_IDLE)[LARGER_SOURCE].value == value


def test_drive_level_of_a_linear_amplifier_by_hand():
    # 24 A must fall to 18.4 A: 20 log10(24 / 18.4) = 2.308 dB, in steps of 0.1 dB upwards.
    request = request_of(
        load(current_a=40.0, average_current_a=24.0, has_drive_level=True, **AT_IDLE)
    )
    found = remedies_of(request)[LOWER_DRIVE_LEVEL]
    assert found.value == pytest.approx(2.4)
    assert found.closes


def test_drive_level_of_a_switching_amplifier_by_hand():
    # 10 log10(24 / 18.4) = 1.154 dB.
    request = request_of(
        load(
            current_a=40.0,
            average_current_a=24.0,
            has_drive_level=True,
            draw_exponent=1.0,
            **AT_IDLE,
        )
    )
    assert remedies_of(request)[LOWER_DRIVE_LEVEL].value == pytest.approx(1.2)


def test_a_level_that_is_barely_too_high_falls_by_one_step():
    request = request_of(
        load(current_a=40.0, average_current_a=18.41, has_drive_level=True, **AT_IDLE)
    )
    assert remedies_of(request)[LOWER_DRIVE_LEVEL].value == pytest.approx(0.1)


def test_loads_without_a_level_cannot_be_turned_down():
    request = request_of(load(current_a=40.0, average_current_a=24.0, **AT_IDLE))
    found = remedies_of(request)[LOWER_DRIVE_LEVEL]
    assert (found.value, found.closes) == (None, False)


def test_a_level_is_lowered_by_forty_decibel_at_most():
    # The lamp alone takes more than is left.
    request = request_of(
        load("lamp", 20.0, **AT_IDLE), load("amplifier", 10.0, has_drive_level=True, **AT_IDLE)
    )
    assert remedies_of(request)[LOWER_DRIVE_LEVEL].value is None
    # 40 dB of a linear amplifier leave a hundredth: 100 A of it and 17.4 A are just too much.
    edge = request_of(
        load("lamp", 17.4, **AT_IDLE), load("amplifier", 100.0, has_drive_level=True, **AT_IDLE)
    )
    assert remedies_of(edge, CHARGING_AT_IDLE)[LOWER_DRIVE_LEVEL].value == pytest.approx(40.0)
    # 106 A to 1 A are 40.5 dB.
    beyond = request_of(
        load("lamp", 17.4, **AT_IDLE), load("amplifier", 106.0, has_drive_level=True, **AT_IDLE)
    )
    assert remedies_of(beyond, CHARGING_AT_IDLE)[LOWER_DRIVE_LEVEL].value is None


def test_at_level_changes_peak_and_average_alike():
    music = power_load(power_w=100.0, average_current_a=4.0, has_drive_level=True)
    lower = music.at_level(20.0)
    assert lower.power_w == pytest.approx(10.0)
    assert lower.average_current_a == pytest.approx(0.4)
    assert lower.current_a is None
    steady = load(current_a=10.0, has_drive_level=True, draw_exponent=1.0).at_level(10.0)
    assert (steady.current_a, steady.power_w) == (pytest.approx(1.0), None)
    assert load().at_level(20.0) == load()
    assert power_load(power_w=100.0).peak_current_a(10.0) == pytest.approx(10.0)
    assert load(current_a=7.0).peak_current_a(10.0) == 7.0


def test_on_the_road_there_is_no_idle_to_raise():
    # 0.8 x (40 + 60 x 50 / 75) = 64 A on the road; 30 A of the vehicle.
    request = request_of(load(current_a=40.0, states=(DRIVING,)))
    (entry,) = short(request)
    assert entry.shortfall.check == CHARGING_WHILE_DRIVING
    assert (entry.shortfall.value, entry.shortfall.limit) == (pytest.approx(64.0), 70.0)
    assert [remedy.key for remedy in entry.remedies] == [LOWER_DRIVE_LEVEL, LARGER_SOURCE]


def test_a_converter_is_neither_sped_up_nor_exchanged():
    request = request_of(load(current_a=45.0, has_drive_level=True, **AT_IDLE), supply=HYBRID)
    (entry,) = short(request)
    assert [remedy.key for remedy in entry.remedies] == [LOWER_DRIVE_LEVEL]
    assert entry.cheapest == LOWER_DRIVE_LEVEL
    fixed = request_of(load(current_a=45.0, **AT_IDLE), supply=HYBRID)
    assert (short(fixed)[0].cheapest, short(fixed)[0].chosen_by) == (None, None)


def test_engine_off_time_by_hand():
    # 25 A last 0.8025 h (test_supply_battery); one hour is wanted.
    request = request_of(
        load(current_a=23.0, has_drive_level=True, **OFF), wanted_engine_off_s=HOUR_S
    )
    (entry,) = short(request)
    shortfall = entry.shortfall
    assert (shortfall.check, shortfall.state) == (ENGINE_OFF_TIME, ENGINE_OFF)
    assert shortfall.value == pytest.approx(0.8025 * HOUR_S, rel=1e-4)
    assert shortfall.limit == HOUR_S
    found = {remedy.key: remedy for remedy in entry.remedies}
    # t = 0.3 x 20 h (C / 500 Ah)^1.25 = 1 h: C = 500 x (1 / 6)^0.8 = 119.25 Ah.
    assert found[SECOND_BATTERY].value / HOUR_S == 20.0
    # I = C / 20 h x (6)^0.8 = 20.964 A, of which 18.964 A may be the load's: 20 log10(23 / 18.964).
    assert found[LOWER_DRIVE_LEVEL].value == pytest.approx(1.7)
    assert all(remedy.closes for remedy in found.values())


def test_enough_time_and_no_load_are_no_shortfall():
    enough = request_of(load(current_a=23.0, **OFF), wanted_engine_off_s=0.8 * HOUR_S)
    assert checks(enough) == []
    nothing = request_of(
        load(**AT_IDLE), existing=ExistingLoads(), wanted_engine_off_s=1e6, wanted_standing_s=1e9
    )
    assert checks(nothing) == []


def test_a_battery_twenty_times_as_large_is_the_end():
    request = request_of(load(current_a=23.0, **OFF), wanted_engine_off_s=3000.0 * HOUR_S)
    found = remedies_of(request)[SECOND_BATTERY]
    assert (found.value, found.closes) == (None, False)
    # At 1 A rated capacity counts: 0.3 x C; 630 h want 2100 Ah, which are 2000 Ah more.
    edge = request_of(
        load(current_a=1.0, **OFF), existing=ExistingLoads(), wanted_engine_off_s=630.0 * HOUR_S
    )
    assert remedies_of(edge)[SECOND_BATTERY].value == pytest.approx(2000.0 * HOUR_S)
    # 640 h want 2133 Ah, which are 20.3 times as much more.
    beyond = replace(edge, supply=replace(edge.supply, wanted_engine_off_s=640.0 * HOUR_S))
    assert remedies_of(beyond)[SECOND_BATTERY].value is None


def test_a_second_battery_also_halves_the_resistance():
    # 12.5 V - 0.01 x 52 A = 11.98 V; with as much again 12.24 V.
    request = request_of(load(current_a=50.0, least_voltage_v=12.24, **OFF))
    found = remedies_of(request)[SECOND_BATTERY]
    assert found.value / HOUR_S == pytest.approx(100.0)
    assert found.closes


def test_standing_time_by_hand():
    # 30 Ah at 30 + 30 mA are 500 h, 20.83 days; 21 days want 59.52 mA, 29.5 of them for the load.
    request = request_of(
        load(standby_current_a=0.02),
        load("b", standby_current_a=0.01),
        wanted_standing_s=21 * DAY_S,
    )
    (entry,) = short(request)
    shortfall = entry.shortfall
    assert (shortfall.check, shortfall.state, shortfall.load) == (STANDING_TIME, None, None)
    assert (shortfall.value, shortfall.limit) == (pytest.approx(1.8e6), 21 * DAY_S)
    found = {remedy.key: remedy for remedy in entry.remedies}
    assert found[SWITCH_OFF_STANDBY].value == pytest.approx(0.0295)
    # 60 mA for 504 h are 30.24 Ah, 30 % of 100.8 Ah.
    assert found[SECOND_BATTERY].value / HOUR_S == 1.0
    assert all(remedy.closes for remedy in found.values())


def test_standby_is_shared_as_it_was():
    request = request_of(
        load(standby_current_a=0.02),
        load("b", standby_current_a=0.01),
        wanted_standing_s=21 * DAY_S,
    )
    changed = applied(request, short(request)[0].shortfall, SWITCH_OFF_STANDBY, 0.015)
    assert [entry.standby_current_a for entry in changed.loads] == pytest.approx([0.01, 0.005])
    # What may be left is no reason to draw more.
    more = applied(request, short(request)[0].shortfall, SWITCH_OFF_STANDBY, 0.045)
    assert more == request


def test_where_the_vehicle_alone_drains_too_much_standby_does_not_help():
    request = request_of(load(standby_current_a=0.01), wanted_standing_s=50 * DAY_S)
    assert remedies_of(request)[SWITCH_OFF_STANDBY].value is None
    # 30 Ah at exactly 30 mA are 41.67 days: nothing is left for the load, and that is enough.
    edge = request_of(
        load(standby_current_a=0.01),
        wanted_standing_s=40.0 * DAY_S,
        existing=ExistingLoads(key_off_a=0.03125),
    )
    found = remedies_of(edge)[SWITCH_OFF_STANDBY]
    assert (found.value, found.closes) == (0.0, True)


def test_self_discharge_cannot_be_switched_off_nor_outgrown():
    # 1 % a day empties the 30 % in 30 days, however large the battery.
    leaking = replace(BATTERY, self_discharge_per_s=0.01 / DAY_S)
    request = request_of(
        load(standby_current_a=0.01), battery=leaking, wanted_standing_s=31.0 * DAY_S
    )
    found = remedies_of(request)
    assert [remedy.closes for remedy in found.values()] == [False, False]
    assert short(request)[0].cheapest is None


def test_self_discharge_is_left_out_of_what_standby_may_take():
    # 30 Ah in 20 days are 62.5 mA, of which 1 Ah a day, 41.67 mA, goes of itself.
    leaking = replace(BATTERY, self_discharge_per_s=0.01 / DAY_S)
    request = request_of(
        load(standby_current_a=0.03),
        battery=leaking,
        wanted_standing_s=20.0 * DAY_S,
        existing=ExistingLoads(),
    )
    found = remedies_of(request)[SWITCH_OFF_STANDBY]
    assert (found.value, found.closes) == (pytest.approx(0.0208), True)


def test_a_load_without_standby_has_none_to_switch_off():
    request = request_of(
        load(), wanted_standing_s=41.0 * DAY_S, existing=ExistingLoads(key_off_a=1)
    )
    changed = applied(request, short(request)[0].shortfall, SWITCH_OFF_STANDBY, 0.01)
    assert changed == request


def test_larger_conductor_by_hand_for_a_steady_current():
    # 12.28 V at the battery (test_supply_voltages), 20 A: 11.5 V leave 0.039 ohm.
    request = request_of(
        load(current_a=20.0, loop_resistance_ohm=0.05, least_voltage_v=11.5, **OFF)
    )
    (entry,) = short(request)
    shortfall = entry.shortfall
    assert (shortfall.check, shortfall.state, shortfall.load) == (LOAD_VOLTAGE, ENGINE_OFF, "lamp")
    assert (shortfall.value, shortfall.limit) == (pytest.approx(11.28), 11.5)
    found = {remedy.key: remedy for remedy in entry.remedies}
    assert found[LARGER_CONDUCTOR].value == pytest.approx(0.039, abs=1.1e-6)
    assert found[LARGER_CONDUCTOR].closes


def test_larger_conductor_by_hand_for_a_constant_power():
    # 230 W at 11.5 V are 20 A as well: the same 0.039 ohm beside 2 A of the vehicle.
    request = request_of(
        power_load(power_w=230.0, loop_resistance_ohm=0.06, least_voltage_v=11.5, **OFF)
    )
    found = remedies_of(request)[LARGER_CONDUCTOR]
    assert found.value == pytest.approx(0.039, abs=1.1e-6)
    assert found.closes


def test_a_remedy_need_not_mend_what_else_falls_short():
    # 24 A at idle are mended by 17.5 1/s; on the road 40 A of the other load stay too much.
    running = request_of(
        load("a", 40.0, average_current_a=24.0, **AT_IDLE), load("b", 40.0, states=(DRIVING,))
    )
    assert checks(running) == [CHARGING_AT_IDLE, CHARGING_WHILE_DRIVING]
    assert remedies_of(running, CHARGING_AT_IDLE)[RAISE_IDLE].closes
    far = {"loop_resistance_ohm": 0.05, "least_voltage_v": 11.5, **OFF}
    both = short(request_of(load("a", 20.0, **far), load("b", 20.0, **far)))
    assert [entry.shortfall.load for entry in both] == ["a", "b"]
    for entry in both:
        assert [each.closes for each in entry.remedies if each.key == LARGER_CONDUCTOR] == [True]


def test_a_point_without_the_least_voltage_does_not_mend_a_starved_load():
    # 12.5 - 0.01 x 2 - 1.51 I = 11 V: I = 0.98013 A, 20 log10(10 / 0.98013) = 20.17 dB. A point
    # as such would be there from 8.26 A on, 1.7 dB.
    far = load(
        "far", 10.0, loop_resistance_ohm=1.5, least_voltage_v=11.0, has_drive_level=True, **OFF
    )
    assert remedies_of(request_of(far))[LOWER_DRIVE_LEVEL].value == pytest.approx(20.2)


def test_no_conductor_raises_the_voltage_of_the_battery():
    # 12.28 V is what there is.
    request = request_of(load(current_a=20.0, least_voltage_v=12.29, **OFF))
    found = remedies_of(request)[LARGER_CONDUCTOR]
    assert (found.value, found.closes) == (None, False)
    exact = request_of(load(current_a=20.0, least_voltage_v=12.5, **OFF))
    assert remedies_of(exact)[LARGER_CONDUCTOR].value is None


@pytest.mark.parametrize(("left_v", "micro_ohm"), [(1.9e-5, None), (2.1e-5, 1.0), (4.1e-5, 2.0)])
def test_no_conductor_is_without_resistance(left_v, micro_ohm):
    # What is left of 12.28 V over 20 A, in whole microohm.
    request = request_of(
        load(current_a=20.0, loop_resistance_ohm=0.05, least_voltage_v=12.28 - left_v, **OFF)
    )
    found = remedies_of(request)[LARGER_CONDUCTOR]
    expected = None if micro_ohm is None else pytest.approx(micro_ohm * 1e-6, rel=1e-12)
    assert (found.value, found.closes) == (expected, micro_ohm is not None)


def test_voltage_in_reach_is_no_shortfall():
    assert checks(request_of(load(current_a=20.0, least_voltage_v=12.28, **OFF))) == []
    assert checks(request_of(load(current_a=20.0, **OFF))) == []


def test_a_drive_level_can_lift_the_voltage():
    # 12.5 - 0.01 x 2 - 0.06 I = 11.5: I = 16.33 A, 20 log10(20 / 16.33) = 1.76 dB.
    music = load(
        current_a=20.0, loop_resistance_ohm=0.05, least_voltage_v=11.5, has_drive_level=True, **OFF
    )
    assert remedies_of(request_of(music))[LOWER_DRIVE_LEVEL].value == pytest.approx(1.8)


def test_collapse_of_the_battery_by_hand():
    request = request_of(
        power_load(power_w=4000.0, has_drive_level=True, draw_exponent=1.0, **OFF), load(**OFF)
    )
    (entry,) = short(request)
    shortfall = entry.shortfall
    assert (shortfall.check, shortfall.state, shortfall.load) == (
        OPERATING_POINT,
        ENGINE_OFF,
        None,
    )
    # 12.5^2 / 0.04 W against 4000 W and 5 A at 12 V.
    assert (shortfall.value, shortfall.limit) == (pytest.approx(3906.25), pytest.approx(4060.0))
    found = {remedy.key: remedy for remedy in entry.remedies}
    assert set(found) == {LOWER_DRIVE_LEVEL, SECOND_BATTERY}
    # 7 A beside it: 12.43^2 / 0.04 = 3862.6 W; 10 log10(4000 / 3862.6) = 0.152 dB.
    assert found[LOWER_DRIVE_LEVEL].value == pytest.approx(0.2)
    # (12.5 - 7 R)^2 / (4 R) = 4000 W at R = 0.0096586 ohm: 3.54 % more.
    assert found[SECOND_BATTERY].value / HOUR_S == 4.0
    assert all(remedy.closes for remedy in found.values())


def test_collapse_is_told_of_each_state():
    request = request_of(power_load(power_w=5000.0), supply=UNCHARGED)
    assert [entry.shortfall.state for entry in short(request)] == list(STATES)


def test_a_load_that_its_own_wiring_starves_is_named():
    far = load("far", 10.0, loop_resistance_ohm=1.5, least_voltage_v=11.0, **OFF)
    (entry,) = short(request_of(far))
    assert (entry.shortfall.check, entry.shortfall.load) == (OPERATING_POINT, "far")
    assert (entry.shortfall.value, entry.shortfall.limit) == (0.0, 10.0)
    found = {remedy.key: remedy for remedy in entry.remedies}
    # 12.5 - 0.12 = 12.38 V; 1.38 V over 10 A.
    assert found[LARGER_CONDUCTOR].value == pytest.approx(0.138, abs=1.1e-6)
    assert found[LARGER_CONDUCTOR].closes
    # No battery helps the wiring.
    assert not found[SECOND_BATTERY].closes
    assert entry.cheapest == LARGER_CONDUCTOR


def test_a_starved_load_without_a_least_voltage_has_no_wanted_resistance():
    far = load("far", 10.0, loop_resistance_ohm=1.5, **OFF)
    assert remedies_of(request_of(far))[LARGER_CONDUCTOR].value is None


@pytest.mark.parametrize(
    ("prices", "cheapest", "chosen_by"),
    [
        ({}, LOWER_DRIVE_LEVEL, BY_RANK),
        ({LOWER_DRIVE_LEVEL: Decimal(0), RAISE_IDLE: Decimal(20)}, LOWER_DRIVE_LEVEL, BY_RANK),
        (
            {LOWER_DRIVE_LEVEL: Decimal(90), RAISE_IDLE: Decimal(20), LARGER_SOURCE: Decimal(400)},
            RAISE_IDLE,
            BY_PRICE,
        ),
        (
            {LOWER_DRIVE_LEVEL: Decimal(9), RAISE_IDLE: Decimal(9), LARGER_SOURCE: Decimal(5)},
            LARGER_SOURCE,
            BY_PRICE,
        ),
        (
            {LOWER_DRIVE_LEVEL: Decimal(9), RAISE_IDLE: Decimal(9), LARGER_SOURCE: Decimal(9)},
            LOWER_DRIVE_LEVEL,
            BY_PRICE,
        ),
    ],
)
def test_cheapest_by_price_where_all_have_one_and_by_rank_otherwise(prices, cheapest, chosen_by):
    request = request_of(
        load(current_a=40.0, average_current_a=24.0, has_drive_level=True, **AT_IDLE)
    )
    (entry,) = supply_assessment(request, prices).shortfalls
    assert (entry.cheapest, entry.chosen_by) == (cheapest, chosen_by)


def test_a_price_of_what_does_not_help_is_not_asked_for():
    request = request_of(load(current_a=40.0, average_current_a=24.0, **AT_IDLE))
    prices = {RAISE_IDLE: Decimal(30), LARGER_SOURCE: Decimal(20)}
    (entry,) = supply_assessment(request, prices).shortfalls
    assert (entry.cheapest, entry.chosen_by) == (LARGER_SOURCE, BY_PRICE)


def test_shortfall_of_a_load_is_the_same_in_any_state_and_one_of_a_state_is_not():
    of_a_load, of_the_state = (
        {Shortfall(OPERATING_POINT, state, key, 0.0, 1.0).place for state in (IDLE, DRIVING)}
        for key in ("lamp", None)
    )
    assert of_a_load == {(OPERATING_POINT, None, "lamp")}
    assert of_the_state == {(OPERATING_POINT, IDLE, None), (OPERATING_POINT, DRIVING, None)}


def test_shortfalls_stand_in_one_order():
    request = request_of(
        load("a", 300.0, least_voltage_v=12.0, standby_current_a=1.0),
        load("b", 1.0, least_voltage_v=12.0),
        wanted_engine_off_s=1e5,
        wanted_standing_s=1e7,
    )
    found = [(entry.shortfall.check, entry.shortfall.load) for entry in short(request)]
    assert found == [
        (CHARGING_AT_IDLE, None),
        (CHARGING_WHILE_DRIVING, None),
        (ENGINE_OFF_TIME, None),
        (STANDING_TIME, None),
        (LOAD_VOLTAGE, "a"),
        (LOAD_VOLTAGE, "b"),
    ]
    assert {check for check, _ in found} | {OPERATING_POINT} == set(CHECKS)


LOADS = st.builds(
    lambda current, share, ohm, standby, level: {
        "current_a": current,
        "average_current_a": current * share,
        "loop_resistance_ohm": ohm,
        "standby_current_a": standby,
        "has_drive_level": level,
    },
    st.floats(1.0, 150.0),
    st.floats(0.05, 1.0),
    st.floats(0.0, 0.1),
    st.floats(0.0, 0.1),
    st.booleans(),
)


@given(
    st.lists(LOADS, min_size=1, max_size=3),
    st.sampled_from((SUPPLY, HYBRID, UNCHARGED)),
    st.floats(0.1, 20.0),
    st.floats(1.0, 60.0),
)
def test_each_remedy_does_what_it_says(stated, supply, hours, days):
    loads = [load(str(n), least_voltage_v=11.0, **each) for n, each in enumerate(stated)]
    request = request_of(
        *loads, supply=supply, wanted_engine_off_s=hours * HOUR_S, wanted_standing_s=days * DAY_S
    )
    found = supply_assessment(request)
    assert (found.verdict == SUFFICIENT) == (found.shortfalls == ())
    for entry in found.shortfalls:
        assert (entry.cheapest is None) == (not any(each.closes for each in entry.remedies))
        for remedy in entry.remedies:
            assert remedy.key in COST_RANK
            if remedy.value is None:
                assert not remedy.closes
                continue
            assert remedy.value >= 0.0
            after = supply_assessment(applied(request, entry.shortfall, remedy.key, remedy.value))
            places = [each.shortfall.place for each in after.shortfalls]
            assert (entry.shortfall.place not in places) or not remedy.closes


@given(st.floats(18.5, 60.0), st.floats(0.1, 1.0))
def test_half_a_remedy_leaves_the_gap(average_a, part):
    request = request_of(
        load(current_a=99.0, average_current_a=average_a, has_drive_level=True, **AT_IDLE)
    )
    (entry,) = short(request)
    for remedy in entry.remedies:
        if remedy.key == LOWER_DRIVE_LEVEL and remedy.value > 0.15:
            less = applied(request, entry.shortfall, remedy.key, part * (remedy.value - 0.1))
            assert [each.check for each in shortfalls(less, supply_figures(less))] == [
                CHARGING_AT_IDLE
            ]


def test_a_sufficient_assessment_after_all_remedies():
    request = request_of(
        load(current_a=40.0, average_current_a=24.0, has_drive_level=True, **AT_IDLE)
    )
    (entry,) = short(request)
    for remedy in entry.remedies:
        mended = applied(request, entry.shortfall, remedy.key, remedy.value)
        assert supply_assessment(mended).verdict == SUFFICIENT
    assert supply_assessment(request).verdict == INSUFFICIENT


def cautions(request):
    return set(supply_assessment(request).cautions)


ALWAYS = {"isolate_battery", "fuse_at_source", "battery_gas", "defer_to_maker"}
NOTHING_OFF = ExistingLoads(idle_a=20.0)


def test_cautions_follow_from_the_facts():
    plain = request_of(load(current_a=5.0, **AT_IDLE), existing=NOTHING_OFF)
    assert cautions(plain) == ALWAYS
    assert set(CAUTIONS) >= ALWAYS
    hybrid = request_of(load(**AT_IDLE), supply=HYBRID, existing=NOTHING_OFF)
    assert cautions(hybrid) == ALWAYS | {"high_voltage", "converter_never_overloaded"}
    for volts, more in (
        (24.0, {"battery_in_series"}),
        (12.5, {"battery_in_series"}),
        (12.0, set()),
    ):
        stated = request_of(load(**AT_IDLE), existing=NOTHING_OFF, system_voltage_v=volts)
        assert cautions(stated) == ALWAYS | more
    off = request_of(load(current_a=5.0), existing=NOTHING_OFF)
    assert cautions(off) == ALWAYS | {"deep_discharge"}
    for current_a in (0.1, 4.9):
        little = request_of(load(current_a=current_a), existing=NOTHING_OFF)
        assert cautions(little) == ALWAYS | {"deep_discharge", "below_rated_current"}


def test_cautions_of_what_is_uncertain():
    stated = request_of(
        load(**AT_IDLE), existing=NOTHING_OFF, resistance_is_cold=True, share_is_practice=True
    )
    assert cautions(stated) == ALWAYS | {"cold_battery_resistance", "hot_alternator"}
    for speed in (9.0, 41.0):
        outside = replace(ALTERNATOR, idle_speed_per_s=speed, cruise_speed_per_s=max(speed, 30.0))
        found = cautions(request_of(load(**AT_IDLE), existing=NOTHING_OFF, alternator=outside))
        assert "outside_output_curve" in found


def test_cautions_of_remedies_that_are_offered():
    idle = request_of(load(current_a=24.0, **AT_IDLE), existing=NOTHING_OFF)
    assert cautions(idle) == ALWAYS | {"raised_idle"}
    beyond = request_of(load(current_a=61.0, **AT_IDLE), existing=NOTHING_OFF)
    assert cautions(beyond) == ALWAYS
    time = request_of(load(current_a=25.0, **OFF), existing=NOTHING_OFF, wanted_engine_off_s=HOUR_S)
    assert cautions(time) == ALWAYS | {"deep_discharge", "second_battery_protection"}


def test_an_answer_rests_on_the_figures_of_supply_and_loads():
    first, second = (Provenance("a", name, "page") for name in ("one", "two"))
    request = replace(request_of(load(), provenances=(first,)), provenances=(second,))
    assert supply_assessment(request).provenances == (first, second)


def test_a_vehicle_that_draws_nothing_stands_for_ever():
    assert math.isinf(supply_figures(request_of(load(**OFF), existing=NOTHING_OFF)).no_start_s)
