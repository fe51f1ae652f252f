"""Operating points of networks against closed forms and figures worked out by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawn_networks import drawn_network, quadratic_curve, solved
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft, Stretch
from loomwright.engineering.network.elements import Elements
from loomwright.engineering.network.solver import (
    NO_OPERATING_POINT,
    NOT_SETTLED,
    SOLVED,
    found_operating_point,
    is_proven,
    operating_point,
    solved_networks,
    unloaded_voltages_v,
)

# Of voltages and currents that are exact by hand: the residual, 1e-11 of the greatest current.
CLOSE = 1e-10


def one_load(emf_v, source_ohm, branch_ohm, **load):
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", emf_v, source_ohm)
    draft.branch("feed", "bus", "load", branch_ohm)
    draft.load("load", "load", REFERENCE, **load)
    return draft


@given(
    st.floats(6.0, 60.0), st.floats(1e-4, 0.1), st.floats(1e-4, 0.1), st.floats(1e-6, 1.0 - 1e-4)
)
def test_one_load_has_the_current_of_the_closed_form(emf, source_ohm, branch_ohm, share):
    resistance = source_ohm + branch_ohm
    power = share * emf * emf / (4.0 * resistance)
    point = solved(one_load(emf, source_ohm, branch_ohm, power_w=power))
    current = 2.0 * power / (emf + math.sqrt(emf * emf - 4.0 * resistance * power))
    assert point.state == SOLVED
    # At a share of 0.9999 the slope is a hundredth: a residual of 1e-11 is 1e-9 of the current.
    assert point.load_a["load"] == pytest.approx(current, rel=1e-8)
    assert point.voltage_v["load"] == pytest.approx(emf - current * resistance, rel=1e-8)
    # Of a small current also a unit in the last place of the voltage, over the resistance.
    for found, ohm in (
        (point.branch_a["feed"], branch_ohm),
        (point.source_a["battery"], source_ohm),
    ):
        assert found == pytest.approx(current, rel=1e-8, abs=4e-15 * emf / ohm)


@given(st.floats(6.0, 60.0), st.floats(1e-4, 0.1), st.floats(1e-4, 0.1))
def test_one_load_beyond_a_quarter_of_the_square_has_no_point(emf, source_ohm, branch_ohm):
    most = emf * emf / (4.0 * (source_ohm + branch_ohm))
    assert solved(one_load(emf, source_ohm, branch_ohm, power_w=(1 - 1e-9) * most)).state == SOLVED
    beyond = solved(one_load(emf, source_ohm, branch_ohm, power_w=(1.0 + 1e-9) * most))
    assert beyond.state == NO_OPERATING_POINT
    for name in ("node_voltage_v", "branch_current_a", "source_power_w", "load_power_w", "loss_w"):
        assert np.isnan(getattr(beyond.row, name)).all()


def test_parts_of_a_load_add_up():
    # 12 V behind 0.5 + 0.5 ohm; at 8 V: 16 W are 2 A, and 1 A and 0.125 S make 4 A.
    point = solved(one_load(12.0, 0.5, 0.5, power_w=16.0, current_a=1.0, conductance_s=0.125))
    assert point.voltage_v == pytest.approx({REFERENCE: 0.0, "bus": 10.0, "load": 8.0}, rel=CLOSE)
    assert point.load_a["load"] == pytest.approx(4.0, rel=CLOSE)
    assert point.row.source_power_w[0] == pytest.approx(40.0, rel=CLOSE)
    assert point.row.load_power_w[0] == pytest.approx(32.0, rel=CLOSE)
    assert point.row.loss_w[0] == pytest.approx(8.0, rel=CLOSE)
    assert point.row.branch_resistance_ohm[0].tolist() == [0.5]


def test_unbalanced_bridge_is_that_worked_out_from_its_voltages():
    # 12 V on top, 8 V left, 6 V right. Bridge of 2 ohm: 1 A. Left: 3 A in by 4/3 ohm, 2 A out by
    # 4 ohm. Right: 2 A in by 3 ohm, 3 A out by 2 ohm. Together 5 A from 13 V behind 0.2 ohm.
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "top", 13.0, 0.2)
    draft.branch("top left", "top", "left", 4.0 / 3.0)
    draft.branch("bottom left", "left", REFERENCE, 4.0)
    draft.branch("top right", "top", "right", 3.0)
    draft.branch("bottom right", REFERENCE, "right", 2.0)
    draft.branch("bridge", "left", "right", 2.0)
    point = solved(draft)
    assert point.voltage_v == pytest.approx(
        {REFERENCE: 0.0, "top": 12.0, "left": 8.0, "right": 6.0}, rel=CLOSE
    )
    assert point.branch_a == pytest.approx(
        {
            "top left": 3.0,
            "bottom left": 2.0,
            "top right": 2.0,
            # Drawn the other way round.
            "bottom right": -3.0,
            "bridge": 1.0,
        },
        rel=CLOSE,
    )


@pytest.mark.parametrize("sections", [1, 2, 7])
def test_ladder_of_r_and_2r_halves_the_voltage_at_each_rung(sections):
    # From each node on, 2 R to ground lies beside R + R: R in all, as much as comes before it.
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "n1", 16.0, 1.0)
    for place in range(1, sections):
        draft.branch(f"b{place}", f"n{place}", f"n{place + 1}", 1.0)
        draft.load(f"rung {place}", f"n{place}", REFERENCE, conductance_s=0.5)
    draft.load("end", f"n{sections}", REFERENCE, conductance_s=1.0)
    expected = {f"n{place}": 16.0 / 2.0**place for place in range(1, sections + 1)}
    assert solved(draft).voltage_v == pytest.approx({REFERENCE: 0.0, **expected}, rel=CLOSE)


def alternator_and_battery(load_a, limit_a):
    draft = NetworkDraft()
    draft.source(
        "alternator", REFERENCE, "bus", 14.4, 0.02, greatest_current_a=limit_a, takes_back=False
    )
    draft.source("battery", REFERENCE, "bus", 12.6, 0.01)
    draft.load("load", "bus", REFERENCE, current_a=load_a)
    return draft


@pytest.mark.parametrize(
    ("load_a", "limit_a", "voltage", "alternator_a"),
    [
        # The battery gives the 20 A that are lacking: 12.6 V - 0.2 V; the alternator could 100 A.
        (70.0, 50.0, 12.4, 50.0),
        # It is charged with the 10 A that are left: 12.6 V + 0.1 V.
        (40.0, 50.0, 12.7, 50.0),
        # No limit: (14.4 - V) / 0.02 + (12.6 - V) / 0.01 = 40, 150 V = 1940.
        (40.0, math.inf, 1940.0 / 150.0, (14.4 - 1940.0 / 150.0) / 0.02),
        (40.0, 100.0, 1940.0 / 150.0, (14.4 - 1940.0 / 150.0) / 0.02),
    ],
)
def test_limited_source_leaves_the_rest_to_the_battery(load_a, limit_a, voltage, alternator_a):
    point = solved(alternator_and_battery(load_a, limit_a))
    assert point.voltage_v["bus"] == pytest.approx(voltage, rel=CLOSE)
    assert point.source_a["alternator"] == pytest.approx(alternator_a, rel=CLOSE)
    assert point.source_a["battery"] == pytest.approx(load_a - alternator_a, rel=CLOSE)


@pytest.mark.parametrize(
    ("takes_back", "load_a", "voltage", "converter_a"),
    [
        (False, 0.0, 13.8, 0.0),
        # Battery alone: 13.8 V - 0.5 V, above the 13 V of the converter.
        (False, 50.0, 13.3, 0.0),
        # (13.8 - V) / 0.01 + (13 - V) / 0.05 = 120: 120 V = 1520.
        (False, 120.0, 1520.0 / 120.0, (13.0 - 1520.0 / 120.0) / 0.05),
        # The same with 0: 120 V = 1640; 13.3 A flow back into the converter.
        (True, 0.0, 1640.0 / 120.0, (13.0 - 1640.0 / 120.0) / 0.05),
    ],
)
def test_source_that_takes_nothing_back_waits_above_its_emf(
    takes_back, load_a, voltage, converter_a
):
    draft = NetworkDraft()
    draft.source("converter", REFERENCE, "bus", 13.0, 0.05, takes_back=takes_back)
    draft.source("battery", REFERENCE, "bus", 13.8, 0.01)
    draft.load("load", "bus", REFERENCE, current_a=load_a)
    point = solved(draft)
    assert point.voltage_v["bus"] == pytest.approx(voltage, rel=CLOSE)
    assert point.source_a["converter"] == pytest.approx(converter_a, rel=1e-9)


def test_waiting_source_alone_carries_what_the_first_cannot():
    # 20 A is all that the 15 V source gives; 30 A more pull the bus down to the 12 V source.
    draft = NetworkDraft()
    draft.source("high", REFERENCE, "bus", 15.0, 0.01, greatest_current_a=20.0, takes_back=False)
    draft.source("low", REFERENCE, "bus", 12.0, 0.01, takes_back=False)
    draft.load("load", "bus", REFERENCE, current_a=50.0)
    point = solved(draft)
    assert point.source_a == pytest.approx({"high": 20.0, "low": 30.0}, rel=CLOSE)
    assert point.voltage_v["bus"] == pytest.approx(11.7, rel=CLOSE)


def heated(conductor_ohm, share_per_ampere, **load):
    """12 V behind 10 mohm, and copper that is 100 K warmer at the cap of its curve."""
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", 12.0, 0.01)
    stretch = Stretch(
        conductor_ohm, 0.004 * conductor_ohm, share_per_ampere, quadratic_curve(100.0)
    )
    draft.branch("feed", "bus", "load", 0.002, (stretch, stretch))
    draft.load("load", "load", REFERENCE, **load)
    return draft


def test_heated_conductor_has_the_resistance_of_its_temperature():
    # Half the cap: 25 K, 10 % more than 2 x 20 mohm: 44 + 2 mohm; with the source 56 mohm.
    point = solved(heated(0.02, 0.01, current_a=50.0))
    assert point.row.stretch_rise_k[0] == pytest.approx([25.0, 25.0], rel=CLOSE)
    assert point.row.branch_resistance_ohm[0] == pytest.approx([0.046], rel=CLOSE)
    assert point.voltage_v["load"] == pytest.approx(12.0 - 50.0 * 0.056, rel=CLOSE)
    assert point.row.loss_w[0] == pytest.approx(2500.0 * 0.046, rel=CLOSE)


@pytest.mark.parametrize("power", [1.0, 60.0, 400.0])
def test_heated_conductor_and_constant_power_settle_where_a_fixed_point_does(power):
    current = 0.0
    for _ in range(200):
        resistance = 0.012 + 0.04 * (1.0 + 0.4 * (0.01 * current) ** 2)
        current = 2.0 * power / (12.0 + math.sqrt(144.0 - 4.0 * resistance * power))
    point = solved(heated(0.02, 0.01, power_w=power))
    assert point.load_a["load"] == pytest.approx(current, rel=1e-9)
    assert point.row.stretch_rise_k[0] == pytest.approx([100.0 * (0.01 * current) ** 2] * 2)


@pytest.mark.parametrize(("current", "above"), [(127.0, False), (129.0, True), (200.0, True)])
def test_beyond_the_cap_the_rise_stays_and_is_marked(current, above):
    point = solved(heated(1e-4, 1.0 / 128.0, current_a=current))
    assert point.row.above_cap.tolist() == [[above, above]]
    rise = 100.0 if above else 100.0 * (127.0 / 128.0) ** 2
    assert point.row.stretch_rise_k[0] == pytest.approx([rise, rise], rel=CLOSE)
    resistance = 0.002 + 2e-4 * (1.0 + 0.004 * rise)
    assert point.row.branch_resistance_ohm[0] == pytest.approx([resistance], rel=CLOSE)


def test_current_against_the_drawing_heats_as_much():
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", 12.0, 0.01)
    draft.branch("feed", "load", "bus", 0.0, (Stretch(0.02, 8e-5, 0.01, quadratic_curve(100.0)),))
    draft.load("load", "load", REFERENCE, current_a=50.0)
    point = solved(draft)
    assert point.branch_a["feed"] == pytest.approx(-50.0, rel=CLOSE)
    assert point.row.stretch_rise_k[0] == pytest.approx([25.0], rel=CLOSE)
    assert point.row.above_cap.tolist() == [[False]]


def varied(elements, rng, count):
    """Return networks of one shape: each value of the first by up to 5 % off."""
    columns = {}
    for name, values in elements._asdict().items():
        if name == "curves":
            columns[name] = values
        else:
            columns[name] = values * rng.uniform(0.95, 1.05, (count, values.shape[1]))
    return Elements(**columns)


@pytest.mark.parametrize("seed", [3, 7, 10, 12, 18])
def test_rows_are_those_of_single_networks_to_the_last_bit(seed):
    draft = drawn_network(seed)
    shape = draft.shape()
    elements = varied(draft.elements(), np.random.default_rng(seed), 6)
    # One of them is beyond its collapse, and spoils none of the others.
    elements.load_power_w[2] = 1e5
    together = solved_networks(shape, elements)
    assert together.state.tolist() == [SOLVED, SOLVED, NO_OPERATING_POINT, *[SOLVED] * 3]
    for row in range(6):
        single = Elements(
            *[
                values if name == "curves" else values[row : row + 1]
                for name, values in elements._asdict().items()
            ]
        )
        alone = solved_networks(shape, single)
        for name, values in together._asdict().items():
            np.testing.assert_array_equal(values[row], getattr(alone, name)[0], err_msg=name)


def test_constant_current_needs_a_voltage_above_zero():
    # 12 V behind 1 ohm: 0.1 V are left with 11.9 A, nothing with 12 A and more.
    assert solved(one_load(12.0, 0.5, 0.5, current_a=11.9)).state == SOLVED
    assert solved(one_load(12.0, 0.5, 0.5, current_a=12.1)).state == NO_OPERATING_POINT


def test_constant_current_beyond_the_limit_of_the_only_source_has_no_point():
    def of(current):
        draft = NetworkDraft()
        draft.source("converter", REFERENCE, "bus", 14.0, 0.01, greatest_current_a=40.0)
        draft.load("load", "bus", REFERENCE, current_a=current)
        return solved(draft)

    assert of(39.9).voltage_v["bus"] == pytest.approx(14.0 - 0.399, rel=CLOSE)
    assert of(40.1).state == NO_OPERATING_POINT


def test_resistance_at_a_source_at_its_limit_takes_the_limit():
    # 40 A less 4 A of constant current into 3 S.
    draft = NetworkDraft()
    draft.source("converter", REFERENCE, "bus", 14.0, 0.01, greatest_current_a=40.0)
    draft.load("load", "bus", REFERENCE, current_a=4.0, conductance_s=3.0)
    point = solved(draft)
    assert point.voltage_v["bus"] == pytest.approx(12.0, rel=CLOSE)
    assert point.source_a["converter"] == 40.0


def test_load_between_nodes_off_the_reference_sees_their_difference():
    # 12 V, 0.1 ohm there and 0.1 ohm back with the source's 0.1 ohm: 300 W at 0.3 ohm.
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "plus", 12.0, 0.1)
    draft.branch("feed", "plus", "load plus", 0.1)
    draft.branch("return", "load minus", REFERENCE, 0.1)
    draft.load("load", "load plus", "load minus", power_w=100.0)
    current = 200.0 / (12.0 + math.sqrt(144.0 - 4.0 * 0.3 * 100.0))
    point = solved(draft)
    assert point.voltage_v["load minus"] == pytest.approx(0.1 * current, rel=CLOSE)
    assert point.voltage_v["load plus"] == pytest.approx(12.0 - 0.2 * current, rel=CLOSE)
    # E^2 / 4 R is 120 W.
    for power, state in ((119.99, SOLVED), (120.01, NO_OPERATING_POINT)):
        draft.load("load", "load plus", "load minus", power_w=power)
        assert solved(draft).state == state


def test_sources_in_series_add_up():
    draft = NetworkDraft()
    draft.source("lower", REFERENCE, "middle", 12.5, 0.01)
    draft.source("upper", "middle", "top", 12.7, 0.03)
    draft.load("both", "top", REFERENCE, current_a=10.0)
    draft.load("one", "middle", REFERENCE, power_w=100.0)
    # At the middle 12.5 V - 0.01 (10 A + I), I = 100 W / V: V (12.4 - V) = 1.
    middle = 6.2 + math.sqrt(6.2**2 - 1.0)
    point = solved(draft)
    assert point.voltage_v["middle"] == pytest.approx(middle, rel=CLOSE)
    assert point.voltage_v["top"] == pytest.approx(middle + 12.4, rel=CLOSE)


def test_idle_network_is_at_its_emf_everywhere():
    draft = one_load(12.5, 0.01, 0.05)
    point = solved(draft)
    assert point.voltage_v == pytest.approx({REFERENCE: 0.0, "bus": 12.5, "load": 12.5}, rel=1e-14)
    assert abs(point.row.loss_w[0]) < 1e-20


def test_figures_that_are_no_numbers_are_not_called_beyond_the_collapse():
    assert solved(one_load(math.nan, 0.01, 0.05, power_w=10.0)).state == NOT_SETTLED


@pytest.mark.parametrize("seed", range(12))
def test_residual_is_what_is_left_over_and_steps_are_few(seed):
    draft = drawn_network(seed)
    shape, row = draft.shape(), solved(draft).row
    left = np.zeros(shape.node_count)
    np.add.at(left, shape.branch_from, row.branch_current_a[0])
    np.add.at(left, shape.branch_to, -row.branch_current_a[0])
    np.add.at(left, shape.source_minus, row.source_current_a[0])
    np.add.at(left, shape.source_plus, -row.source_current_a[0])
    np.add.at(left, shape.load_plus, row.load_current_a[0])
    np.add.at(left, shape.load_minus, -row.load_current_a[0])
    # Sums in another order: some units in the last place of the voltage over the resistance.
    assert np.abs(left[1:]).max() == pytest.approx(row.residual_a[0], abs=1e-10)
    assert row.residual_a[0] < 1e-8
    assert 1 <= row.iterations[0] <= 8


def test_linear_network_takes_one_step():
    row = solved(one_load(12.0, 0.5, 0.5, current_a=1.0, conductance_s=0.125)).row
    assert row.iterations.tolist() == [1]


def found(draft):
    """State, definiteness, steps and residual of the only network of a draft."""
    shape, elements = draft.shape(), draft.elements()
    return found_operating_point(0, np.ones(shape.load_plus.size), shape, elements)[2:]


@pytest.mark.parametrize(
    "draft",
    [
        # 36 W and 12 A are all that there is.
        one_load(12.0, 0.5, 0.5, power_w=40.0),
        one_load(12.0, 0.5, 0.5, current_a=12.1),
    ],
)
def test_where_there_is_no_point_nothing_is_definite_and_steps_were_taken(draft):
    state, definiteness, steps, _ = found(draft)
    assert (state, definiteness) == (NO_OPERATING_POINT, 0.0)
    assert 1 <= steps <= 50


def test_a_heated_network_beyond_its_collapse_is_not_definite_either():
    state, definiteness, steps, _ = found(heated(0.02, 0.01, power_w=1e5))
    assert (state, definiteness) == (NO_OPERATING_POINT, 0.0)
    assert steps >= 1


def test_a_load_without_any_voltage_is_refused_before_the_first_step():
    # A source of 0 V: no current is enough for a power.
    draft = one_load(0.0, 0.5, 0.5, power_w=1.0)
    shape, elements = draft.shape(), draft.elements()
    state, definiteness, steps, residual = operating_point(
        np.zeros(3), np.zeros(1), 0, np.ones(1), shape, elements
    )
    assert (state, definiteness, steps) == (NO_OPERATING_POINT, 0.0, 0)
    assert math.isnan(residual)
    # A current may be driven by another source: that is seen by a step.
    assert found(one_load(0.0, 0.5, 0.5, current_a=1.0))[:3] == (NO_OPERATING_POINT, 0.0, 1)


@pytest.mark.parametrize(
    ("load", "steps"),
    [
        # At 12 V 400 W fall faster than 1 ohm holds: 1 - 400 / 144 < 0.
        ({"power_w": 400.0}, 0),
        # 40 W: 12 V, 7.4 V, 4.4 V; there 1 - 40 / 4.4**2 < 0.
        ({"power_w": 40.0}, 2),
        # 12.1 A: one step comes to rest below 0 V.
        ({"current_a": 12.1}, 1),
    ],
)
def test_steps_down_to_where_nothing_holds_are_those_by_hand(load, steps):
    draft = one_load(12.0, 0.5, 0.5, **load)
    shape, elements = draft.shape(), draft.elements()
    voltage, _ = unloaded_voltages_v(0, shape, elements)
    found = operating_point(voltage, np.zeros(1), 0, np.ones(1), shape, elements)
    assert found[:3] == (NO_OPERATING_POINT, 0.0, steps)


def test_a_load_that_is_no_number_is_not_settled():
    draft = one_load(12.0, 0.5, 0.5, current_a=math.nan)
    shape, elements = draft.shape(), draft.elements()
    voltage, _ = unloaded_voltages_v(0, shape, elements)
    state, definiteness, steps, residual = operating_point(
        voltage, np.zeros(1), 0, np.ones(1), shape, elements
    )
    assert (state, definiteness, steps) == (NOT_SETTLED, 0.0, 0)
    assert math.isnan(residual)


def test_what_has_no_unloaded_voltage_has_taken_no_step():
    state, definiteness, steps, residual = found(one_load(math.nan, 0.01, 0.05, power_w=10.0))
    assert (state, definiteness, steps) == (NOT_SETTLED, 0.0, 0)
    assert math.isnan(residual)


def proven(draft):
    return is_proven(0, draft.shape(), draft.elements())


def test_proof_holds_for_loads_and_sources_at_the_reference_and_cold_conductors():
    assert proven(one_load(12.0, 0.01, 0.01, power_w=10.0))
    assert not proven(heated(0.02, 0.01, power_w=10.0))
    never_warmer = one_load(12.0, 0.01, 0.01, power_w=10.0)
    stretch = Stretch(0.02, 0.0, 0.01, quadratic_curve(80.0))
    never_warmer.branch("other", "bus", "load", 0.01, (stretch,))
    assert proven(never_warmer)
    floating = one_load(12.0, 0.01, 0.01)
    floating.load("other", "bus", "load", power_w=1.0)
    assert not proven(floating)
    floating.load("other", "bus", "load", current_a=1.0)
    assert proven(floating)
    stacked = one_load(12.0, 0.01, 0.01)
    stacked.source("upper", "bus", "top", 12.0, 0.01)
    assert not proven(stacked)


def test_unloaded_voltages_know_no_load_and_no_upper_limit():
    # The load of 40 A is off; the limit of the alternator is as well: 150 V = 1980.
    draft = alternator_and_battery(40.0, 50.0)
    voltage, is_found = unloaded_voltages_v(0, draft.shape(), draft.elements())
    assert is_found
    assert voltage == pytest.approx([0.0, 1980.0 / 150.0], rel=CLOSE)
