"""Voltages with all peaks together: by hand, against the closed form, and in collapse."""

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network.operating_point import constant_power_operating_point
from loomwright.engineering.supply import worst_case
from loomwright.engineering.supply.request import DRIVING, ENGINE_OFF, IDLE, ExistingLoads
from loomwright.engineering.supply.worst_case import (
    bus_voltage_v,
    source_emf_v,
    voltages_in_state,
    worst_of,
)
from supplies import ALTERNATOR, BATTERY, HYBRID, SUPPLY, UNCHARGED, load, power_load, request_of


def test_currents_alone_drop_in_a_straight_line():
    # 12 V less 0.1 ohm x (3 + 5 + 7) A.
    loads = (load("a", 5.0, loop_resistance_ohm=0.3), load("b", 7.0))
    assert bus_voltage_v(12.0, 0.1, 3.0, loads) == pytest.approx(10.5, rel=1e-12)


def test_one_load_of_constant_power_by_hand():
    # 12 V, 0.06 ohm of source and 0.04 of wiring, 200 W: 20 A and 10 V as in the closed form.
    heater = power_load(power_w=200.0, loop_resistance_ohm=0.04)
    assert bus_voltage_v(12.0, 0.06, 0.0, [heater]) == pytest.approx(12.0 - 1.2, rel=1e-11)


@given(st.floats(1.0, 3000.0), st.floats(0.0, 0.1), st.floats(0.0, 0.1))
def test_one_load_of_constant_power_agrees_with_the_closed_form(power_w, source_ohm, loop_ohm):
    total_ohm = source_ohm + loop_ohm
    # At the point of collapse itself both roots are one, and rounding decides.
    assume(abs(4.0 * total_ohm * power_w / 144.0 - 1.0) > 1e-6)
    point = constant_power_operating_point(power_w, 12.0, total_ohm)
    heater = power_load(power_w=power_w, loop_resistance_ohm=loop_ohm)
    found = bus_voltage_v(12.0, source_ohm, 0.0, [heater])
    assert (found is not None) == bool(point.exists)
    if found is not None:
        expected = 12.0 - float(point.load_current_a) * source_ohm
        assert found == pytest.approx(expected, rel=1e-9)


@given(
    st.lists(st.floats(1.0, 200.0), min_size=1, max_size=4),
    st.lists(st.floats(0.0, 0.05), min_size=4, max_size=4),
    st.floats(-20.0, 40.0),
)
def test_power_is_conserved_over_source_wiring_and_loads(powers, loops, other_a):
    loads = [
        power_load(str(n), power, loop_resistance_ohm=loop)
        for n, (power, loop) in enumerate(zip(powers, loops, strict=False))
    ]
    loads.append(load("steady", 5.0, loop_resistance_ohm=0.02))
    bus_v = bus_voltage_v(12.0, 0.01, other_a, loads)
    if bus_v is None:
        return
    drawn_a = (12.0 - bus_v) / 0.01
    delivered_w = bus_v * other_a
    for entry in loads:
        current_a = 5.0 if entry.power_w is None else 0.0
        if entry.power_w is not None:
            # V at the load from its own quadratic: V (bus - V) = P R.
            r = entry.loop_resistance_ohm
            at_load_v = 0.5 * (bus_v + (bus_v**2 - 4.0 * r * entry.power_w) ** 0.5)
            current_a = entry.power_w / at_load_v
        delivered_w += bus_v * current_a
    assert 12.0 * drawn_a - 0.01 * drawn_a**2 == pytest.approx(delivered_w, rel=1e-6, abs=1e-5)


def test_the_exact_point_of_collapse_is_found_or_refused_but_a_little_less_is_found():
    # 12 V behind 0.1 ohm deliver 360 W at most, at 6 V.
    assert bus_voltage_v(12.0, 0.1, 0.0, [power_load(power_w=361.0)]) is None
    found = bus_voltage_v(12.0, 0.1, 0.0, [power_load(power_w=359.9999)])
    assert found == pytest.approx(6.0, abs=0.02)


def test_wiring_that_cannot_carry_the_power_has_no_point():
    # 12 V through 0.1 ohm of wiring, without a source resistance.
    weak = power_load(power_w=400.0, loop_resistance_ohm=0.1)
    assert bus_voltage_v(12.0, 0.0, 0.0, [weak]) is None
    able = power_load(power_w=360.0, loop_resistance_ohm=0.1)
    assert bus_voltage_v(12.0, 0.0, 0.0, [able]) == 12.0


def test_steady_currents_beyond_the_source_have_no_point():
    assert bus_voltage_v(12.0, 0.1, 121.0, []) is None
    assert bus_voltage_v(12.0, 0.1, 120.0, []) is None
    assert bus_voltage_v(12.0, 0.1, 119.0, []) == pytest.approx(0.1, rel=1e-9)


def test_what_another_source_feeds_in_raises_the_voltage():
    # 12 V and 0.1 ohm x 121 A.
    assert bus_voltage_v(12.0, 0.1, -121.0, []) == pytest.approx(24.1, rel=1e-12)


def test_only_points_below_the_ceiling_count():
    assert bus_voltage_v(12.0, 0.1, -50.0, [power_load(power_w=100.0)]) > 14.0
    # 700 W behind 1 ohm with 49 A fed in: at 14 V already more is asked for than there is, and
    # below it ever more.
    assert bus_voltage_v(12.0, 1.0, -49.0, [power_load(power_w=760.0)], 14.0) is None


def test_a_search_without_an_end_says_so(monkeypatch):
    monkeypatch.setattr(worst_case, "_GREATEST_STEPS", 1)
    with pytest.raises(EngineeringError) as caught:
        bus_voltage_v(12.0, 0.1, 0.0, [power_load(power_w=100.0)])
    assert caught.value.code == "operating_point_not_converged"
    assert caught.value.attributes["iterations"] == 1
    # After one step the tangent is right of the root, so too much is left.
    assert caught.value.attributes["residual"] < 0.0
    assert caught.value.field == "loads"


@pytest.mark.parametrize(
    ("source_ohm", "loop_ohm", "at_load_v"), [(0.05, 0.1, 10.0), (1e-5, 0.1, 6.25)]
)
def test_a_step_of_the_search_is_that_of_newton(monkeypatch, source_ohm, loop_ohm, at_load_v):
    # From v (V - v) = P R: the current I = (V - v) / R changes by -I / (2 v - V) with V.
    current_a = (12.0 - at_load_v) / loop_ohm
    power_w = at_load_v * current_a
    slope = 1.0 - source_ohm * current_a / (2.0 * at_load_v - 12.0)
    next_v = 12.0 - source_ohm * current_a / slope
    next_a = (next_v - (next_v**2 - 4.0 * loop_ohm * power_w) ** 0.5) / (2.0 * loop_ohm)
    monkeypatch.setattr(worst_case, "_GREATEST_STEPS", 2)
    heater = power_load(power_w=power_w, loop_resistance_ohm=loop_ohm)
    with pytest.raises(EngineeringError) as caught:
        bus_voltage_v(12.0, source_ohm, 0.0, [heater])
    left_v = 12.0 - source_ohm * next_a - next_v
    assert caught.value.attributes["residual"] == pytest.approx(left_v, rel=1e-3)


@pytest.mark.parametrize("power_w", [128.0, 200.0])
def test_a_balance_that_does_not_fall_any_more_has_no_point(monkeypatch, power_w):
    # 8 V behind 0.5 ohm deliver 32 W; from 128 W on the tangent at 8 V is level or rises.
    monkeypatch.setattr(worst_case, "_GREATEST_STEPS", 1)
    assert bus_voltage_v(8.0, 0.5, 0.0, [power_load(power_w=power_w)]) is None


def test_an_exact_point_needs_no_tolerance(monkeypatch):
    monkeypatch.setattr(worst_case, "_TOLERANCE", 0.0)
    assert bus_voltage_v(12.0, 0.5, 4.0, []) == 10.0


def test_tolerance_is_a_share_of_the_voltage(monkeypatch):
    # At 12 V 10 A are drawn through 0.01 ohm: 0.1 V are left, within 1 % of 12 V.
    monkeypatch.setattr(worst_case, "_TOLERANCE", 0.01)
    assert bus_voltage_v(12.0, 0.01, 0.0, [power_load(power_w=120.0)]) == 12.0


def test_the_battery_is_weakest_at_the_charge_that_a_start_needs():
    assert source_emf_v(SUPPLY, ENGINE_OFF) == pytest.approx(12.5)
    assert source_emf_v(SUPPLY, IDLE) == pytest.approx(12.8)
    flat = replace(SUPPLY, battery=replace(BATTERY, state_of_charge=0.3))
    assert source_emf_v(flat, ENGINE_OFF) == pytest.approx(12.3)


def test_engine_off_by_hand():
    # 12.5 V less 0.01 ohm x (2 + 20) A is 12.28 V; 0.05 ohm of wiring with 20 A takes 1 V.
    found = voltages_in_state(
        request_of(load(current_a=20.0, loop_resistance_ohm=0.05)), ENGINE_OFF
    )
    assert found.bus_voltage_v == pytest.approx(12.28)
    assert found.loads[0].voltage_v == pytest.approx(11.28)
    assert found.loads[0].current_a == 20.0
    assert found.state == found.loads[0].state == ENGINE_OFF
    # 12.5^2 / (4 x 0.01).
    assert found.greatest_power_w == pytest.approx(3906.25)


@pytest.mark.parametrize(
    ("current_a", "bus_v"),
    [
        # Converter 60 A, vehicle 20 A at idle: 40 A are left at 14 V.
        (40.0, 14.0),
        # The rest comes from the battery: 12.8 V less 0.01 ohm x 5 A.
        (45.0, 12.75),
    ],
)
def test_a_charging_source_holds_its_voltage_up_to_its_output(current_a, bus_v):
    found = voltages_in_state(request_of(load(current_a=current_a), supply=HYBRID), IDLE)
    assert found.bus_voltage_v == pytest.approx(bus_v)


def test_a_constant_power_is_weighed_at_the_set_voltage():
    # 560 W are 40 A at 14 V; a little more is not held any more.
    assert voltages_in_state(
        request_of(power_load(power_w=560.0), supply=HYBRID), IDLE
    ).bus_voltage_v == pytest.approx(14.0)
    found = voltages_in_state(request_of(power_load(power_w=561.0), supply=HYBRID), IDLE)
    # V = 12.8 - 0.01 (561 / V - 40): V^2 - 13.2 V + 5.61 = 0.
    assert found.bus_voltage_v == pytest.approx((13.2 + (13.2**2 - 22.44) ** 0.5) / 2.0, rel=1e-9)


def test_a_battery_above_the_set_voltage_feeds_the_loads_first():
    high = replace(HYBRID, converter=replace(HYBRID.converter, set_voltage_v=12.6))
    # 10 + 20 A alone: 12.8 - 0.3 = 12.5 V would be below 12.6 V, so the converter holds that.
    held = voltages_in_state(request_of(load(current_a=10.0), supply=high), IDLE)
    assert held.bus_voltage_v == pytest.approx(12.6)
    # With 20 A for the vehicle off there are 10 A: 12.7 V from the battery alone.
    alone = voltages_in_state(
        request_of(load(current_a=10.0), supply=high, existing=ExistingLoads()), IDLE
    )
    assert alone.bus_voltage_v == pytest.approx(12.7)
    # 60 A of the converter and 20 A of the battery at 12.6 V are 80 A, less 20 A for the vehicle.
    edge = voltages_in_state(request_of(load(current_a=60.0), supply=high), IDLE)
    assert edge.bus_voltage_v == pytest.approx(12.6)
    # At 50 A the battery gives its 20 A all the same, and the converter less.
    within = voltages_in_state(request_of(load(current_a=50.0), supply=high), IDLE)
    assert within.bus_voltage_v == pytest.approx(12.6)
    below = voltages_in_state(request_of(load(current_a=61.0), supply=high), IDLE)
    assert below.bus_voltage_v == pytest.approx(12.8 - 0.01 * 21.0)


def test_a_battery_without_resistance_above_the_set_voltage_holds_its_own():
    stiff = replace(
        HYBRID,
        battery=replace(BATTERY, internal_resistance_ohm=0.0),
        converter=replace(HYBRID.converter, set_voltage_v=12.6),
    )
    found = voltages_in_state(request_of(load(current_a=500.0), supply=stiff), IDLE)
    assert found.bus_voltage_v == pytest.approx(12.8)


def test_an_alternator_below_its_curve_leaves_the_battery_alone():
    slow = request_of(load(current_a=10.0), alternator=replace(ALTERNATOR, idle_speed_per_s=5.0))
    found = voltages_in_state(slow, IDLE)
    # 12.8 V less 0.01 ohm x 30 A.
    assert found.bus_voltage_v == pytest.approx(12.5)


def test_without_a_source_all_states_are_on_the_battery():
    request = request_of(load(current_a=10.0), supply=UNCHARGED)
    found = {state: voltages_in_state(request, state) for state in (IDLE, DRIVING)}
    assert found[IDLE].bus_voltage_v == pytest.approx(12.5)
    assert found[DRIVING].bus_voltage_v == pytest.approx(12.4)


def test_collapse_leaves_no_voltage_at_any_load():
    found = voltages_in_state(
        request_of(power_load(power_w=4000.0), load(), supply=UNCHARGED), ENGINE_OFF
    )
    assert found.bus_voltage_v is None
    assert [entry.voltage_v for entry in found.loads] == [None, None]
    assert [entry.current_a for entry in found.loads] == [None, None]


def test_wiring_that_cannot_carry_the_power_at_the_set_voltage_is_a_collapse():
    weak = power_load(power_w=500.0, loop_resistance_ohm=0.1)
    assert voltages_in_state(request_of(weak, supply=HYBRID), IDLE).bus_voltage_v is None
    # Nor does a steady load beside it or a converter of any size help.
    large = replace(HYBRID, converter=replace(HYBRID.converter, rated_current_a=1000.0))
    assert voltages_in_state(request_of(weak, load(), supply=large), IDLE).bus_voltage_v is None


def test_a_steady_current_that_its_wiring_cannot_carry_has_no_voltage():
    found = voltages_in_state(
        request_of(load("far", 10.0, loop_resistance_ohm=1.5), load(), supply=UNCHARGED), ENGINE_OFF
    )
    assert found.bus_voltage_v is not None
    assert found.loads[0].voltage_v is None
    assert found.loads[1].voltage_v == pytest.approx(found.bus_voltage_v)


@pytest.mark.parametrize(("loop_ohm", "volts"), [(0.96, 0.5), (1.0, None), (1.04, None)])
def test_a_voltage_at_a_load_is_above_nothing(loop_ohm, volts):
    # 12.5 V without resistance, and 12.5 A through the wiring.
    stiff = replace(UNCHARGED, battery=replace(BATTERY, internal_resistance_ohm=0.0))
    far = load(current_a=12.5, loop_resistance_ohm=loop_ohm)
    (found,) = voltages_in_state(request_of(far, supply=stiff), ENGINE_OFF).loads
    assert found.voltage_v == (None if volts is None else pytest.approx(volts))
    assert found.current_a == (None if volts is None else 12.5)


def test_of_states_that_are_alike_the_first_is_shown():
    even = replace(
        UNCHARGED, battery=replace(BATTERY, state_of_charge=0.5), existing=ExistingLoads()
    )
    request = request_of(load(), supply=even)
    states = [voltages_in_state(request, state) for state in (IDLE, DRIVING, ENGINE_OFF)]
    assert worst_of(states, request.loads)[0].state == IDLE


def test_each_load_is_shown_in_its_worst_state():
    both = load("both", 10.0)
    parked = load("driving", 1.0, states=(DRIVING,))
    request = request_of(both, parked, supply=HYBRID)
    states = [voltages_in_state(request, state) for state in (IDLE, DRIVING, ENGINE_OFF)]
    first, second = worst_of(states, request.loads)
    assert (first.key, first.state) == ("both", ENGINE_OFF)
    assert first.voltage_v == pytest.approx(12.5 - 0.01 * 12.0)
    assert (second.key, second.state) == ("driving", DRIVING)
    assert second.voltage_v == pytest.approx(14.0)


def test_no_point_is_worse_than_any_voltage():
    greedy = power_load(power_w=3950.0)
    request = request_of(greedy, supply=HYBRID)
    states = [voltages_in_state(request, state) for state in (IDLE, DRIVING, ENGINE_OFF)]
    assert states[0].bus_voltage_v is not None
    assert worst_of(states, request.loads)[0].voltage_v is None
