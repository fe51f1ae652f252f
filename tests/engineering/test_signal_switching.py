"""Remote turn-on: budget, relay, coil and its suppression."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.signal.switching import planned_coil, planned_turn_on
from signal_paths import LOADING_FACTOR, SYSTEMS, figures, relay, signal_input, turn_on


def switched(circuit, *currents_a, by_signal=(), system_v=12, used=None):
    inputs = [
        signal_input(key=f"i{place}", turn_on_current_a=current)
        for place, current in enumerate(currents_a)
    ]
    return planned_turn_on(
        circuit, inputs, by_signal, SYSTEMS[system_v], LOADING_FACTOR, used or figures()
    )


def keys(remarks):
    return [entry.key for entry in remarks]


def test_sum_of_currents_is_held_against_the_remote_output():
    found = switched(turn_on(), 0.125, 0.125)
    assert found.verdict == "direct"
    assert (found.equipment_current_a, found.available_current_a) == (0.25, 0.3)
    assert (found.drawn_current_a, found.margin_current_a) == (0.25, pytest.approx(0.05))
    assert (found.least_coil_resistance_ohm, found.coil) == (None, None)
    assert (found.contact_fuse_lower_a, found.contact_fuse_upper_a) == (None, None)
    assert found.changes == found.needed == ()


@pytest.mark.parametrize(
    ("current", "verdict"), [(0.25, "direct"), (math.nextafter(0.25, 1.0), "relay_needed")]
)
def test_just_what_is_available_is_direct(current, verdict):
    assert switched(turn_on(greatest_current_a=0.25), current).verdict == verdict


def test_accessory_fuse_is_loaded_as_fuses_are_and_bears_what_it_bears_already():
    # 0.75 x 4 A - 2.5 A = 0.5 A.
    circuit = turn_on(greatest_current_a=None, fuse_rating_a=4.0, present_current_a=2.5)
    used = figures()
    found = switched(circuit, 0.25, used=used)
    assert (found.available_current_a, found.verdict) == (0.5, "direct")
    assert set(used.used) == {"loading_factor"}


def test_remote_output_bears_what_it_bears_already_too():
    used = figures()
    found = switched(turn_on(present_current_a=0.2), 0.05, used=used)
    assert found.available_current_a == pytest.approx(0.1, rel=1e-12)
    assert used.used == {}


def test_circuit_without_a_limit_or_a_fuse_gives_nothing():
    found = switched(turn_on(greatest_current_a=None), 0.1)
    assert (found.verdict, found.available_current_a) == ("relay_too_heavy", 0.0)


def test_nothing_to_switch_needs_nothing():
    for circuit in (None, turn_on()):
        found = switched(circuit, 0.0)
        assert found.verdict == "none_needed"
        assert (found.available_current_a, found.drawn_current_a) == (None, None)
        assert (found.equipment_current_a, found.margin_current_a) == (0.0, None)


def test_current_without_a_circuit_is_not_judged():
    found = switched(None, 0.1)
    assert (found.verdict, found.equipment_current_a) == ("not_judged", 0.1)


def test_equipment_that_the_signal_switches_takes_no_current():
    found = switched(turn_on(), 0.25, 5.0, by_signal=("i1",))
    assert (found.verdict, found.equipment_current_a) == ("direct", 0.25)
    assert found.by_signal == ("i1",)


def test_missing_relay_is_described():
    # 16 V / 0.25 A = 64 ohm; 1.5 A / 0.75 = 2 A.
    used = figures()
    found = switched(turn_on(greatest_current_a=0.25), 1.5, used=used)
    assert (found.verdict, found.least_coil_resistance_ohm) == ("relay_needed", 64.0)
    assert (found.drawn_current_a, found.margin_current_a, found.coil) == (None, None, None)
    assert (found.contact_fuse_lower_a, found.contact_fuse_upper_a) == (2.0, None)
    assert keys(found.needed) == ["relay", "coil_suppression"]
    assert "at least 64 ohm" in found.needed[0].text
    assert found.needed[1].text == "A diode across the coil of the relay."
    assert found.changes == ()
    assert set(used.used) == {"system_voltage", "loading_factor"}


@pytest.mark.parametrize(("system_v", "greatest_v"), [(12, 16.0), (24, 32.0), (48, 54.0)])
def test_coil_is_taken_at_the_greatest_system_voltage(system_v, greatest_v):
    found = switched(turn_on(greatest_current_a=0.5), 1.0, system_v=system_v)
    assert found.least_coil_resistance_ohm == 2.0 * greatest_v


def test_stated_relay_takes_over():
    # 160 ohm at 16 V: 0.1 A of 0.3 A.
    found = switched(turn_on(relay=relay()), 1.5)
    assert found.verdict == "relay_needed"
    assert found.coil.coil_current_a == pytest.approx(0.1, rel=1e-12)
    assert found.drawn_current_a == pytest.approx(0.1, rel=1e-12)
    assert found.margin_current_a == pytest.approx(0.2, rel=1e-12)
    assert (found.contact_fuse_lower_a, found.contact_fuse_upper_a) == (2.0, 10.0)
    assert keys(found.needed) == ["relay", "coil_suppression"]
    assert found.changes == ()


def test_relay_is_left_alone_where_the_circuit_suffices():
    found = switched(turn_on(relay=relay(suppression="none")), 0.1)
    assert (found.verdict, found.coil, found.changes) == ("direct", None, ())


@pytest.mark.parametrize(
    ("limit_a", "verdict"), [(0.1, "relay_needed"), (math.nextafter(0.1, 0.0), "relay_too_heavy")]
)
def test_coil_that_takes_more_than_there_is_is_refused(limit_a, verdict):
    found = switched(turn_on(greatest_current_a=limit_a, relay=relay()), 1.5)
    assert found.verdict == verdict
    assert keys(found.changes) == ([] if verdict == "relay_needed" else ["turn_on_overloaded"])
    assert bool(found.needed) == (verdict == "relay_needed")


@pytest.mark.parametrize("present_a", [0.3, 0.5])
def test_circuit_that_has_nothing_left_feeds_no_coil(present_a):
    found = switched(turn_on(present_current_a=present_a), 0.1)
    assert (found.verdict, found.least_coil_resistance_ohm) == ("relay_too_heavy", None)
    assert found.available_current_a == pytest.approx(0.3 - present_a)
    assert keys(found.changes) == ["turn_on_overloaded"]
    assert found.needed == ()


@pytest.mark.parametrize(("rating_a", "refused"), [(2.0, False), (1.99, True)])
def test_contact_bears_what_its_fuse_lets_through(rating_a, refused):
    found = switched(turn_on(relay=relay(contact_rating_a=rating_a)), 1.5)
    assert keys(found.changes) == (["contact_too_weak"] if refused else [])
    if refused:
        assert found.changes[0].text == "The contact bears 1.99 A; with its fuse it needs 2 A."


def test_coil_without_suppression_is_refused():
    found = switched(turn_on(relay=relay(suppression="none")), 1.5)
    assert keys(found.changes) == ["coil_not_suppressed"]
    assert keys(found.needed) == ["relay"]


def test_resistor_across_the_coil_is_named():
    stated = relay(suppression="resistor", suppression_resistance_ohm=640.0)
    found = switched(turn_on(relay=stated), 1.5)
    assert found.needed[1].text == "A resistor across the coil of the relay."


def coil(system_v=12, **changes):
    return planned_coil(relay(**changes), SYSTEMS[system_v], figures())


def test_diode_holds_the_peak_and_slows_the_release():
    found = coil()
    # 0.4 H x (0.1 A)^2 / 2; 0.1 A x (0.4 / 1e-9)^0.5; 0.4 H / 160 ohm; 12 V / 160 ohm / 10.
    assert found.coil_energy_j == pytest.approx(0.002, rel=1e-12)
    assert found.unsuppressed_peak_v == pytest.approx(2000.0, rel=1e-12)
    assert (found.suppressed_peak_v, found.contact_peak_v) == (0.7, 16.7)
    assert found.time_constant_s == pytest.approx(0.0025, rel=1e-12)
    assert found.release_current_a == pytest.approx(0.0075, rel=1e-12)
    assert found.forward_offset_a == pytest.approx(0.004375, rel=1e-12)
    # ln((100 + 4.375) / (7.5 + 4.375)) = ln 8.7894737.
    assert found.release_time_s == pytest.approx(0.0025 * math.log(104.375 / 11.875), rel=1e-12)
    assert (found.diode_forward_current_a, found.diode_reverse_voltage_v) == (0.1, 101.0)
    assert (found.supply_voltage_v, found.resistor_heat_w) == (16.0, None)
    assert found.stray_capacitance_f == 1e-9


@pytest.mark.parametrize(("system_v", "dump_v"), [(12, 101.0), (24, 202.0), (48, 70.0)])
def test_diode_blocks_the_load_dump_of_the_system(system_v, dump_v):
    assert coil(system_v).diode_reverse_voltage_v == dump_v


def test_resistor_gives_a_peak_of_its_own_and_heats():
    # 0.1 A x 640 ohm; 16^2 / 640; 0.4 / 800; ln(100 / 7.5).
    found = coil(suppression="resistor", suppression_resistance_ohm=640.0)
    assert found.suppressed_peak_v == pytest.approx(64.0, rel=1e-12)
    assert found.contact_peak_v == pytest.approx(80.0, rel=1e-12)
    assert found.resistor_heat_w == pytest.approx(0.4, rel=1e-12)
    assert found.time_constant_s == pytest.approx(0.0005, rel=1e-12)
    assert found.release_time_s == pytest.approx(0.0005 * math.log(100.0 / 7.5), rel=1e-12)
    assert found.forward_offset_a == 0.0


def test_without_suppression_only_the_bound_is_told():
    found = coil(suppression="none")
    assert found.suppressed_peak_v is None
    assert found.contact_peak_v == pytest.approx(2016.0, rel=1e-12)
    assert (found.time_constant_s, found.release_time_s) == (None, None)


def test_without_an_inductance_current_and_ratings_are_told():
    found = coil(coil_inductance_h=None, suppression="none")
    assert found.coil_current_a == pytest.approx(0.1, rel=1e-12)
    assert found.diode_reverse_voltage_v == 101.0
    assert (found.coil_energy_j, found.unsuppressed_peak_v, found.contact_peak_v) == (None,) * 3
    assert found.stray_capacitance_f is None
    diode = coil(coil_inductance_h=None)
    assert (diode.suppressed_peak_v, diode.contact_peak_v) == (0.7, 16.7)
    assert (diode.time_constant_s, diode.release_time_s) == (None, None)


def test_capacitance_that_is_not_stated_is_that_of_the_table():
    # 0.1 A x (0.4 / 1e-10)^0.5.
    found = coil(stray_capacitance_f=None)
    assert found.unsuppressed_peak_v == pytest.approx(0.1 * 4e9**0.5, rel=1e-12)


@given(st.lists(st.floats(0.001, 2.0), min_size=1, max_size=8), st.floats(0.01, 10.0))
def test_more_equipment_never_makes_a_relay_needless(currents, limit_a):
    circuit = turn_on(greatest_current_a=limit_a)
    found, more = switched(circuit, *currents), switched(circuit, *currents, 0.001)
    assert more.equipment_current_a > found.equipment_current_a
    assert found.verdict == "direct" or more.verdict != "direct"
    with_relay = switched(replace(circuit, relay=relay()), *currents)
    if with_relay.coil is not None:
        assert (with_relay.verdict == "relay_needed") == (with_relay.margin_current_a >= 0.0)
