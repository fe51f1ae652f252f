"""Currents of branches, sources and loads at given voltages, and their sums, worked out by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawn_networks import quadratic_curve
from loomwright.engineering.network.currents import (
    EDGE,
    ROUNDING,
    add_conductance,
    balance,
    load_currents_a,
    settle_branches,
    source_current_a,
    without_power_slopes,
)
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft, Stretch

COLD_OHM, PER_KELVIN, PER_AMPERE = 0.02, 1e-4, 0.01


def network(branches=1, emf_v=12.0, source_ohm=0.1, **source):
    """Branches of one heated conductor each from the bus to the reference."""
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", emf_v, source_ohm, **source)
    curve = quadratic_curve(80.0)
    for place in range(branches):
        stretch = Stretch(COLD_OHM, PER_KELVIN, PER_AMPERE, curve)
        draft.branch(f"branch{place}", "bus", f"end{place}", 0.005, (stretch,))
        draft.load(f"load{place}", f"end{place}", REFERENCE, power_w=24.0, current_a=2.0)
    return draft.shape(), draft.elements()


def resistance_ohm(current_a):
    # The rise is 80 K at the cap of 100 A and goes with the square of the current.
    return 0.025 + PER_KELVIN * 80.0 * (PER_AMPERE * current_a) ** 2


@given(st.floats(0.0, 99.0), st.sampled_from([0.0, 1.0, 50.0, 5000.0, -3.0]), st.booleans())
def test_a_heated_branch_settles_at_its_voltage(current, guess, backwards):
    shape, elements = network()
    sign = -1.0 if backwards else 1.0
    drop = np.array([sign * current * resistance_ohm(current)])
    currents = np.array([guess])
    resistance, conductance = settle_branches(drop, currents, 0, shape, elements)
    assert currents[0] == pytest.approx(sign * current, rel=1e-9, abs=1e-12)
    assert resistance[0] == pytest.approx(resistance_ohm(current), rel=1e-9)
    # U = I R0 + k I**3, so that dU/dI = R0 + 3 k I**2.
    slope = 0.025 + 3.0 * PER_KELVIN * 80.0 * (PER_AMPERE * current) ** 2
    assert conductance[0] == pytest.approx(1.0 / slope, rel=1e-8)


def test_branches_settle_each_for_itself():
    shape, elements = network(branches=4)
    wanted = np.array([0.0, 20.0, -5.0, 80.0])
    drop = np.array([current * resistance_ohm(abs(current)) for current in wanted])
    currents = np.array([30.0, 0.0, 90.0, 1.0])
    resistance, _ = settle_branches(drop, currents, 0, shape, elements)
    assert currents == pytest.approx(wanted, rel=1e-12, abs=1e-12)
    assert resistance == pytest.approx([resistance_ohm(current) for current in wanted])


def test_a_branch_without_a_conductor_follows_ohm():
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", 12.0, 0.1)
    draft.branch("bar", "bus", REFERENCE, 0.5, ())
    currents = np.array([7.0])
    found = settle_branches(np.array([-3.0]), currents, 0, draft.shape(), draft.elements())
    assert (currents[0], found[0][0], found[1][0]) == (-6.0, 0.5, 2.0)


@pytest.mark.parametrize(
    ("over_v", "current_a", "conductance_s"),
    [
        # 12 V behind 0.1 ohm, 0 to 30 A.
        (11.0, 10.0, 10.0),
        (9.0, 30.0, 10.0),
        (8.0, 30.0, 0.0),
        (13.0, 0.0, 0.0),
        # On the edge of its range a source counts as giving current.
        (12.0, 0.0, 10.0),
        (12.0 * (1.0 + 0.5 * EDGE), 0.0, 10.0),
        (12.0 * (1.0 + 3.0 * EDGE), 0.0, 0.0),
    ],
)
def test_a_source_gives_current_within_its_range(over_v, current_a, conductance_s):
    _, elements = network(greatest_current_a=30.0, takes_back=False)
    found = source_current_a(0, over_v, 0, elements)
    assert found == pytest.approx((current_a, conductance_s), abs=1e-9)


def test_a_source_that_takes_back_has_no_least_current():
    _, elements = network()
    assert source_current_a(0, 14.0, 0, elements) == pytest.approx((-20.0, 10.0))


def test_the_parts_of_a_load_add_up():
    _, elements = network()
    elements.load_conductance_s[0, 0] = 0.5
    # 24 W and 2 A and 0.5 S at 8 V: 3 + 2 + 4 A.
    assert load_currents_a(0, 8.0, 0, 1.0, elements) == pytest.approx((9.0, 3.0))
    assert load_currents_a(0, 8.0, 0, 2.0, elements) == pytest.approx((12.0, 6.0))
    assert load_currents_a(0, 8.0, 0, 0.0, elements) == pytest.approx((6.0, 0.0))


def test_a_conductance_stands_in_the_rows_of_its_nodes():
    slopes = np.zeros((3, 3))
    add_conductance(slopes, 1, 3, 2.0)
    assert slopes.tolist() == [[2.0, 0.0, -2.0], [0.0, 0.0, 0.0], [-2.0, 0.0, 2.0]]
    for ends in ((0, 2), (2, 0)):
        slopes = np.zeros((3, 3))
        add_conductance(slopes, *ends, 5.0)
        assert slopes.tolist() == [[0.0, 0.0, 0.0], [0.0, 5.0, 0.0], [0.0, 0.0, 0.0]]


def bar_network(current_a=1.0):
    """12 V behind 0.1 ohm, half an ohm to a load of 24 W and a current."""
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", 12.0, 0.1)
    draft.branch("bar", "bus", "end", 0.5, ())
    draft.load("load", "end", REFERENCE, power_w=24.0, current_a=current_a)
    return draft


def test_sums_of_currents_and_slopes_by_hand():
    # Bus at 11 V: the source gives 10 A; end at 8 V: the bar carries 6 A, the load takes 3 + 1 A.
    draft = bar_network()
    nodes = draft.nodes
    voltage = np.zeros(3)
    voltage[nodes["bus"]], voltage[nodes["end"]] = 11.0, 8.0
    found = balance(voltage, np.zeros(1), 0, np.ones(1), draft.shape(), draft.elements())
    bus, end = nodes["bus"] - 1, nodes["end"] - 1
    assert found.left_over[bus] == pytest.approx(6.0 - 10.0)
    assert found.left_over[end] == pytest.approx(4.0 - 6.0)
    # 10 S and 2 S at the bus; at the end 2 S less the 3 A / 8 V of the power.
    assert found.slopes[bus, bus] == pytest.approx(12.0)
    assert found.slopes[end, end] == pytest.approx(2.0 - 3.0 / 8.0)
    assert found.slopes[bus, end] == found.slopes[end, bus] == pytest.approx(-2.0)
    assert found.greatest_current_a == pytest.approx(10.0)
    # 11 V over the 0.1 ohm of the source weighs more than over the bar.
    assert found.rounding_a / ROUNDING == pytest.approx(110.0)
    greater = without_power_slopes(
        found.slopes, voltage, 0, np.ones(1), draft.shape(), draft.elements()
    )
    assert greater[end, end] == pytest.approx(2.0)
    assert found.slopes[end, end] == pytest.approx(2.0 - 3.0 / 8.0)
    assert greater[bus, bus] == pytest.approx(12.0)


def test_scale_of_a_network_is_that_of_its_greatest_element():
    # The same at a tenth of an ampere and of a volt: nothing is counted in whole units.
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", 0.02, 50.0)
    draft.branch("bar", "bus", "end", 20.0, ())
    draft.load("load", "end", REFERENCE, current_a=1e-4)
    voltage = np.zeros(3)
    voltage[draft.nodes["bus"]], voltage[draft.nodes["end"]] = 0.01, 0.006
    found = balance(voltage, np.zeros(1), 0, np.ones(1), draft.shape(), draft.elements())
    assert found.greatest_current_a == pytest.approx(2e-4)
    assert found.rounding_a / ROUNDING == pytest.approx(0.01 / 20.0)
    assert math.isfinite(found.left_over.sum())


def test_the_slope_of_a_power_is_that_over_its_own_nodes():
    # 2 W at 8 V less 3 V: 0.4 A, and 0.4 A / 5 V = 0.08 S that the power takes from the slopes.
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", 12.0, 0.1)
    draft.branch("back", "low", REFERENCE, 0.5, ())
    draft.load("load", "bus", "low", power_w=2.0)
    voltage = np.zeros(3)
    bus, low = draft.nodes["bus"], draft.nodes["low"]
    voltage[bus], voltage[low] = 8.0, 3.0
    greater = without_power_slopes(
        np.zeros((2, 2)), voltage, 0, np.ones(1), draft.shape(), draft.elements()
    )
    expected = np.array([[0.08, -0.08], [-0.08, 0.08]])
    assert greater == pytest.approx(expected)
