"""Operating points of direct-current networks by Newton's method on the node voltages.

A node's currents add up to zero. All elements but constant-power loads hold a network up: the more
the voltage falls, the more they bring. The operating point is where the voltages come to rest when
all loads are switched on to a network without load, each voltage falling until its node's currents
are balanced.

**Where this is proven.** If the loads of constant power and the sources have their minus at the
reference and no conductor is heated by its current, no node's sum of currents rises with the
voltage of another node. The operating point is then the one with the highest voltages of all that
there are, and it exists as soon as any voltages above 0 balance the loads (Ortega and Rheinboldt
1970, 13.5, memory). While no source is waiting, the sums are convex: steps of Newton's method fall
towards that point and never pass it, and where their matrix is not positive definite, there is
none. A source that takes nothing back waits while the voltage is above its EMF. No step goes past
the voltage at which such a source comes in; and where the matrix is not positive definite before it
has, the voltages fall along a direction on which nothing holds them until it does.

**Elsewhere** the same steps are taken, shortened where they overshoot. If they find nothing, the
power of the loads is turned up from 0 in steps, each from the operating point before, and only a
network that resists in steps of 1e-9 too is said to have no operating point.
"""

import math

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.network.currents import (
    load_currents_a,
    source_current_a,
)
from loomwright.engineering.network.elements import Elements, Shape, Solution
from loomwright.engineering.network.heated import heated_branches
from loomwright.engineering.network.steps import (
    NO_OPERATING_POINT,
    NOT_SETTLED,
    SOLVED,
    has_voltage,
    settle,
)

__all__ = [
    "NOT_SETTLED",
    "NO_OPERATING_POINT",
    "SOLVED",
    "found_operating_point",
    "is_proven",
    "operating_point",
    "solved_networks",
    "unloaded_voltages_v",
]

Array = npt.NDArray[np.float64]

# Of the power of the loads: the smallest step in which it is turned up.
LEAST_POWER_STEP = 1e-9


@compiled
def _row(values: Array, network: int) -> Array:
    """Return the values of one network as the only row."""
    row = np.empty((1, values.shape[1]))
    for place in range(values.shape[1]):
        row[0, place] = values[network, place]
    return row


@compiled
def unloaded_voltages_v(network: int, shape: Shape, elements: Elements) -> tuple[Array, bool]:
    """Return the node voltages without loads and upper limits, and whether they were found.

    Parameters
    ----------
    network
        Row of the elements.
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    tuple
        Voltage of each node [V], which no loaded network of these elements passes; whether they
        were found.
    """
    loads, sources = shape.load_plus.size, shape.source_plus.size
    unloaded = Elements(
        _row(elements.fixed_resistance_ohm, network),
        _row(elements.ambient_resistance_ohm, network),
        _row(elements.resistance_slope_ohm_per_k, network),
        _row(elements.share_per_ampere, network),
        elements.curves,
        _row(elements.emf_v, network),
        _row(elements.source_resistance_ohm, network),
        np.full((1, sources), math.inf),
        _row(elements.least_current_a, network),
        np.zeros((1, loads)),
        np.zeros((1, loads)),
        np.zeros((1, loads)),
    )
    # From 0 V up, where no source that takes nothing back is cut off.
    voltage = np.zeros(shape.node_count)
    # Not the number 0 itself, for which everything would be compiled a second time.
    row = unloaded.emf_v.shape[0] - 1
    state, _, _, _ = settle(
        voltage, np.zeros(shape.branch_from.size), row, np.zeros(loads), shape, unloaded
    )
    return voltage, state == SOLVED


@compiled
def operating_point(
    voltage_v: Array,
    branch_current_a: Array,
    network: int,
    power_factor: Array,
    shape: Shape,
    elements: Elements,
) -> tuple[int, float, int, float]:
    """Bring voltages and branch currents to the operating point below them of one network.

    The module says when a state of ``NO_OPERATING_POINT`` is proven.

    Parameters
    ----------
    voltage_v
        Of each node [V], not below those of the operating point; is changed.
    branch_current_a
        A guess for each branch [A]; is changed.
    network
        Row of the elements.
    power_factor
        On the constant power of each load [1].
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    tuple
        State; definiteness, the determinant of the slopes over what it is with constant currents
        in place of constant powers, 1 far from the collapse and 0 at it; steps; greatest current
        left over at a node [A].
    """
    if not has_voltage(voltage_v, network, power_factor, shape, elements)[0]:
        return NO_OPERATING_POINT, 0.0, 0, math.nan
    state, definiteness, steps, residual = settle(
        voltage_v, branch_current_a, network, power_factor, shape, elements
    )
    if state == SOLVED and not has_voltage(voltage_v, network, power_factor, shape, elements)[1]:
        return NO_OPERATING_POINT, 0.0, steps, residual
    return state, definiteness, steps, residual


@compiled
def is_proven(network: int, shape: Shape, elements: Elements) -> bool:
    """Tell whether Newton's steps alone decide if a network has an operating point.

    Parameters
    ----------
    network
        Row of the elements.
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    bool
        As the module says.
    """
    for source in range(shape.source_minus.size):
        if shape.source_minus[source] != 0:
            return False
    for load in range(shape.load_minus.size):
        if shape.load_minus[load] != 0 and elements.load_power_w[network, load] > 0.0:
            return False
    for stretch in range(shape.stretch_branch.size):
        if elements.resistance_slope_ohm_per_k[network, stretch] != 0.0:
            return False
    return True


@compiled
def found_operating_point(
    network: int, power_factor: Array, shape: Shape, elements: Elements
) -> tuple[Array, Array, int, float, int, float]:
    """Return the operating point of one network from nothing.

    Parameters
    ----------
    network
        Row of the elements.
    power_factor
        On the constant power of each load [1].
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    tuple
        Voltages of the nodes [V]; currents of the branches [A]; state, definiteness, steps and
        residual as of ``operating_point``.
    """
    voltage, is_found = unloaded_voltages_v(network, shape, elements)
    current = np.zeros(shape.branch_from.size)
    if not is_found:
        return voltage, current, NOT_SETTLED, 0.0, 0, math.nan
    # All at once; where that fails without a proof, from no power on, in steps that are halved
    # where there is nothing to be found.
    tried, reached, step, steps = 1.0, -1.0, 1.0, 0
    while True:
        next_voltage, next_current = voltage.copy(), current.copy()
        # Called in one place only, as the compiler translates what is called once for each.
        state, definiteness, more, residual = operating_point(
            next_voltage, next_current, network, tried * power_factor, shape, elements
        )
        steps += more
        if state == SOLVED:
            voltage, current, reached = next_voltage, next_current, tried
            if tried == 1.0:
                return voltage, current, SOLVED, definiteness, steps, residual
        elif reached < 0.0:
            if tried == 0.0 or is_proven(network, shape, elements):
                return voltage, current, state, 0.0, steps, residual
            tried = 0.0
            continue
        else:
            step *= 0.5
            if step <= LEAST_POWER_STEP:
                return voltage, current, NO_OPERATING_POINT, 0.0, steps, residual
        tried = min(1.0, reached + step)


@compiled
def solved_networks(shape: Shape, elements: Elements) -> Solution:
    """Return the operating points of networks of one shape.

    Steady direct current. Every node is joined to the reference by branches and sources.

    Parameters
    ----------
    shape
        The shape.
    elements
        Their values, networks as rows.

    Returns
    -------
    Solution
        One row for each network.
    """
    count = elements.emf_v.shape[0]
    branches, loads = shape.branch_from.size, shape.load_plus.size
    sources, stretches = shape.source_plus.size, shape.stretch_branch.size
    solution = Solution(
        state=np.empty(count, np.int64),
        node_voltage_v=np.full((count, shape.node_count), math.nan),
        branch_current_a=np.full((count, branches), math.nan),
        branch_resistance_ohm=np.full((count, branches), math.nan),
        stretch_rise_k=np.full((count, stretches), math.nan),
        above_cap=np.zeros((count, stretches), np.bool_),
        source_current_a=np.full((count, sources), math.nan),
        load_current_a=np.full((count, loads), math.nan),
        source_power_w=np.full(count, math.nan),
        load_power_w=np.full(count, math.nan),
        loss_w=np.full(count, math.nan),
        iterations=np.empty(count, np.int64),
        residual_a=np.empty(count),
    )
    for network in range(count):
        voltage, current, state, _, steps, residual = found_operating_point(
            network, np.ones(loads), shape, elements
        )
        solution.state[network] = state
        solution.iterations[network] = steps
        solution.residual_a[network] = residual
        if state == SOLVED:
            _keep(voltage, current, network, shape, elements, solution)
    return solution


@compiled
def _keep(
    voltage_v: Array,
    branch_current_a: Array,
    network: int,
    shape: Shape,
    elements: Elements,
    solution: Solution,
) -> None:
    """Enter an operating point into its row of the solution."""
    for node in range(voltage_v.size):
        solution.node_voltage_v[network, node] = voltage_v[node]
    resistance, _, rise = heated_branches(branch_current_a, network, shape, elements)
    # From current and resistance, so that the balance of powers is a check and no identity.
    loss = 0.0
    for branch in range(resistance.size):
        solution.branch_current_a[network, branch] = branch_current_a[branch]
        solution.branch_resistance_ohm[network, branch] = resistance[branch]
        loss += branch_current_a[branch] * branch_current_a[branch] * resistance[branch]
    solution.loss_w[network] = loss
    for stretch in range(rise.size):
        solution.stretch_rise_k[network, stretch] = rise[stretch]
        share = abs(branch_current_a[shape.stretch_branch[stretch]])
        share *= elements.share_per_ampere[network, stretch]
        solution.above_cap[network, stretch] = share > 1.0
    power = 0.0
    for source in range(shape.source_plus.size):
        over = voltage_v[shape.source_plus[source]] - voltage_v[shape.source_minus[source]]
        given, _ = source_current_a(source, over, network, elements)
        solution.source_current_a[network, source] = given
        power += given * over
    solution.source_power_w[network] = power
    power = 0.0
    for load in range(shape.load_plus.size):
        over = voltage_v[shape.load_plus[load]] - voltage_v[shape.load_minus[load]]
        taken, _ = load_currents_a(load, over, network, 1.0, elements)
        solution.load_current_a[network, load] = taken
        power += taken * over
    solution.load_power_w[network] = power
