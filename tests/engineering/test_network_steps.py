"""What ends a step of the solver: voltages of loads, sources that wait, and what drives it."""

import math

import numpy as np
import pytest

from loomwright.engineering.network.draft import REFERENCE, NetworkDraft
from loomwright.engineering.network.steps import (
    NO_OPERATING_POINT,
    NO_VOLTAGE,
    NOT_SETTLED,
    RELATIVE_TOLERANCE,
    SOLVED,
    driving_w,
    has_voltage,
    share_to_next_source,
    share_within_loads,
)


def two_sources():
    """10 V that takes nothing back, 8 V that takes nothing back behind 0.5 ohm, and two loads."""
    draft = NetworkDraft()
    draft.source("main", REFERENCE, "bus", 10.0, 0.1)
    draft.source("second", "low", "bus", 8.0, 0.5, takes_back=False)
    draft.branch("back", "low", REFERENCE, 0.1, ())
    draft.load("power", "bus", "low", power_w=0.5)
    draft.load("current", "bus", REFERENCE, current_a=0.5)
    return draft


def voltages(draft, **of_nodes):
    found = np.zeros(len(draft.nodes))
    for name, value in of_nodes.items():
        found[draft.nodes[name]] = value
    return found


def of(draft):
    return draft.shape(), draft.elements()


@pytest.mark.parametrize(
    ("bus", "low", "factor", "expected"),
    [
        (9.0, 0.0, 1.0, (True, True)),
        # The load of power lies between bus and low, that of current between bus and reference.
        (9.0, 9.0, 1.0, (False, True)),
        (9.0, 9.0, 0.0, (True, True)),
        (0.0, -1.0, 1.0, (True, False)),
        (0.0, 0.0, 1.0, (False, False)),
        (-1.0, 2.0, 0.0, (True, False)),
        # A millionth of the greatest EMF, 10 V, counts as none.
        (9.0 + 0.9e-5, 9.0, 1.0, (False, True)),
        (9.0 + 1.1e-5, 9.0, 1.0, (True, True)),
        (1e-9, -1.0, 1.0, (True, True)),
    ],
)
def test_loads_have_voltage_over_their_own_nodes(bus, low, factor, expected):
    draft = two_sources()
    found = has_voltage(
        voltages(draft, bus=bus, low=low), 0, np.array([factor, factor]), *of(draft)
    )
    assert found == expected


def test_every_load_counts():
    # One load of power with voltage does not speak for another without.
    draft = two_sources()
    draft.load("other", "low", REFERENCE, power_w=0.25)
    assert not has_voltage(voltages(draft, bus=9.0, low=0.0), 0, np.ones(3), *of(draft))[0]
    assert has_voltage(voltages(draft, bus=9.0, low=1.0), 0, np.ones(3), *of(draft))[0]


@pytest.mark.parametrize(
    ("bus", "low", "step_bus", "step_low", "share"),
    [
        # 9.5 V over the second source of 8 V fall by 3 V: it comes in after a half.
        (9.5, 0.0, -3.0, 0.0, 0.5),
        (9.5, 0.5, -3.0, 0.0, 1.0 / 3.0),
        # Its minus rises as much as its plus falls.
        (9.5, 0.0, -1.5, 1.5, 0.5),
        (9.5, 0.0, -0.5, 0.0, 3.0),
        # It is in already, or the voltage over it rises.
        (8.0, 0.0, -3.0, 0.0, math.inf),
        (7.0, 0.0, -3.0, 0.0, math.inf),
        (9.5, 0.0, 3.0, 0.0, math.inf),
        (9.5, 0.0, 0.0, 0.0, math.inf),
    ],
)
def test_a_step_ends_where_a_waiting_source_comes_in(bus, low, step_bus, step_low, share):
    draft = two_sources()
    found = share_to_next_source(
        voltages(draft, bus=bus, low=low), voltages(draft, bus=step_bus, low=step_low), 0,
        *of(draft),
    )  # fmt: skip
    assert found == pytest.approx(share)


@pytest.mark.parametrize(
    ("bus", "low", "step_bus", "step_low", "left", "factor", "share"),
    [
        # 6 V over the load of power fall by 12 V: a half to nothing, nine twentieths to a tenth.
        (8.0, 2.0, -12.0, 0.0, 0.0, 1.0, 0.5),
        (8.0, 2.0, -12.0, 0.0, 0.1, 1.0, 0.45),
        (8.0, 2.0, -6.0, 6.0, 0.0, 1.0, 0.5),
        (8.0, 2.0, -0.5, 0.0, 0.0, 1.0, 12.0),
        (8.0, 2.0, 12.0, 0.0, 0.0, 1.0, math.inf),
        # Without power there is nothing to leave.
        (8.0, 2.0, -12.0, 0.0, 0.0, 0.0, math.inf),
    ],
)
def test_a_step_leaves_a_load_of_power_its_voltage(
    bus, low, step_bus, step_low, left, factor, share
):
    draft = two_sources()
    found = share_within_loads(
        voltages(draft, bus=bus, low=low), voltages(draft, bus=step_bus, low=step_low), left, 0,
        np.full(2, factor), *of(draft),
    )  # fmt: skip
    assert found == pytest.approx(share)


def test_what_drives_a_step_is_the_power_of_what_is_left_over():
    # 3 A out of the first node and 2 A into the second; the one falls and the other rises.
    assert driving_w(np.array([3.0, -2.0]), np.array([0.0, -0.5, 0.25])) == pytest.approx(2.0)
    assert driving_w(np.array([3.0]), np.array([0.0, 0.5])) == pytest.approx(-1.5)
    assert driving_w(np.zeros(0), np.zeros(1)) == 0.0


def test_states_are_told_apart_and_tolerances_are_small():
    assert len({SOLVED, NO_OPERATING_POINT, NOT_SETTLED}) == 3
    assert 0.0 < RELATIVE_TOLERANCE < 1e-9
    assert 0.0 < NO_VOLTAGE < 1e-3
