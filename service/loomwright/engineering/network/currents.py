"""Currents of the elements of a network at given node voltages, with their slopes."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled, compiled_in_place
from loomwright.engineering.network.elements import Elements, Shape
from loomwright.engineering.network.heated import heat_branches, heated_branches

Array = npt.NDArray[np.float64]

# Of a voltage: what two sums of it may differ by, a few units in the last place.
ROUNDING = 4e-15
# Of the EMF: so near to the edge of its range a source counts as giving current.
EDGE = 1e-12
# Of a current: when that of a heated branch has settled at a voltage.
SETTLED = 1e-14
GREATEST_STEPS = 200
# Beyond each cap, where the rise of the curves stays what it is there.
_FAR_CURRENT_A = 1e150


class Balance(NamedTuple):
    """Sums of currents at the nodes of a network, the reference left out.

    Parameters
    ----------
    slopes
        Of each sum by each voltage [S], symmetric.
    left_over
        Sum of the currents out of each node [A]; 0 at an operating point.
    greatest_current_a
        Of any element [A].
    rounding_a
        What the sums may be off by because voltages are rounded [A].
    """

    slopes: Array
    left_over: Array
    greatest_current_a: float
    rounding_a: float


@compiled_in_place
def _unheated_branches(
    drop_v: Array, current_a: Array, network: int, fixed_resistance_ohm: Array
) -> tuple[Array, Array]:
    """Return what ``settle_branches`` does of branches without a conductor that a current heats."""
    resistance, conductance = np.empty(drop_v.size), np.empty(drop_v.size)
    for branch in range(drop_v.size):
        resistance[branch] = fixed_resistance_ohm[network, branch]
        conductance[branch] = 1.0 / resistance[branch]
        current_a[branch] = drop_v[branch] / resistance[branch]
    return resistance, conductance


@compiled
def settle_branches(
    drop_v: Array, current_a: Array, network: int, shape: Shape, elements: Elements
) -> tuple[Array, Array]:
    """Bring the currents of the branches to their voltages.

    ``I R(I) = U`` has one solution, as the resistance never falls with the current: Newton's
    method, and a bisection where it leaves the bounds that the cold and the hottest conductor set.

    Parameters
    ----------
    drop_v
        Voltage across each branch [V].
    current_a
        A guess of the current of each branch [A]; is changed.
    network
        Row of the elements.
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    tuple of ndarray
        Resistance [ohm] and differential conductance [S] of each branch.
    """
    branches = drop_v.size
    if shape.stretch_branch.size == 0:
        return _unheated_branches(drop_v, current_a, network, elements.fixed_resistance_ohm)
    # Loops, as array expressions take the compiler several times as long.
    size, slope, far = np.empty(branches), np.zeros(branches), np.empty(branches)
    most, least = np.empty(branches), np.empty(branches)
    for branch in range(branches):
        far[branch] = _FAR_CURRENT_A
    coldest, _, _ = heated_branches(slope, network, shape, elements)
    hottest, _, _ = heated_branches(far, network, shape, elements)
    for branch in range(branches):
        most[branch] = abs(drop_v[branch]) / coldest[branch]
        least[branch] = abs(drop_v[branch]) / hottest[branch]
        size[branch] = min(max(abs(current_a[branch]), least[branch]), most[branch])
    resistance, slope, rise = heated_branches(size, network, shape, elements)
    # What has settled stays where it is: one branch that bisects must not cost steps of all.
    settled = np.zeros(branches, np.bool_)
    for _ in range(GREATEST_STEPS):
        moved = False
        for branch in range(branches):
            if settled[branch]:
                continue
            now = size[branch]
            excess = now * resistance[branch] - abs(drop_v[branch])
            if excess > 0.0:
                most[branch] = now
            else:
                least[branch] = now
            new = now - excess / (resistance[branch] + now * slope[branch])
            if abs(new - now) <= SETTLED * now:
                settled[branch] = True
                continue
            if not least[branch] < new < most[branch]:
                new = 0.5 * (least[branch] + most[branch])
            moved = moved or abs(new - now) > SETTLED * now
            size[branch] = new
        heat_branches(size, settled, resistance, slope, rise, network, shape, elements)
        if not moved:
            break
    for branch in range(branches):
        current_a[branch] = size[branch] if drop_v[branch] >= 0.0 else -size[branch]
        slope[branch] = 1.0 / (resistance[branch] + size[branch] * slope[branch])
    return resistance, slope


@compiled_in_place
def source_current_a(
    source: int, over_v: float, network: int, elements: Elements
) -> tuple[float, float]:
    """Return the current that a source gives at a voltage across it, and its conductance.

    Parameters
    ----------
    source
        Column of the elements.
    over_v
        Voltage of its plus over its minus [V].
    network
        Row of the elements.
    elements
        The values.

    Returns
    -------
    tuple of float
        Current out of its plus [A]; conductance [S], 0 outside the range of its current.
    """
    emf = elements.emf_v[network, source]
    conductance = 1.0 / elements.source_resistance_ohm[network, source]
    current = (emf - over_v) * conductance
    if current > elements.greatest_current_a[network, source]:
        return elements.greatest_current_a[network, source], 0.0
    least = elements.least_current_a[network, source]
    if current < least:
        # On the edge itself the slope is that of the side of more current.
        is_on_edge = current >= least - EDGE * abs(emf) * conductance
        return least, conductance if is_on_edge else 0.0
    return current, conductance


@compiled_in_place
def load_currents_a(
    load: int, over_v: float, network: int, power_factor: float, elements: Elements
) -> tuple[float, float]:
    """Return the current of a load at a voltage across it, and the part that its power takes.

    Parameters
    ----------
    load
        Column of the elements.
    over_v
        Voltage of its plus over its minus [V], above 0 where it has constant power.
    network
        Row of the elements.
    power_factor
        On its constant power [1].
    elements
        The values.

    Returns
    -------
    tuple of float
        Current [A]; current of its constant power [A].
    """
    power = power_factor * elements.load_power_w[network, load]
    by_power = power / over_v if power > 0.0 else 0.0
    linear = elements.load_conductance_s[network, load] * over_v
    return by_power + elements.load_current_a[network, load] + linear, by_power


@compiled_in_place
def add_conductance(slopes: Array, one: int, other: int, conductance: float) -> None:
    """Add a conductance between two nodes to the slopes; node 0 has no row."""
    if one > 0:
        slopes[one - 1, one - 1] += conductance
    if other > 0:
        slopes[other - 1, other - 1] += conductance
    if one > 0 and other > 0:
        slopes[one - 1, other - 1] -= conductance
        slopes[other - 1, one - 1] -= conductance


@compiled_in_place
def _add_current(left_over: Array, out_of: int, into: int, current: float) -> None:
    if out_of > 0:
        left_over[out_of - 1] += current
    if into > 0:
        left_over[into - 1] -= current


@compiled
def balance(
    voltage_v: Array,
    branch_current_a: Array,
    network: int,
    power_factor: Array,
    shape: Shape,
    elements: Elements,
) -> Balance:
    """Return the sums of currents at the nodes and their slopes.

    Parameters
    ----------
    voltage_v
        Of each node [V].
    branch_current_a
        A guess of the current of each branch [A]; is brought to the voltages.
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
    Balance
        Sums, slopes and their scale.
    """
    count = shape.node_count - 1
    slopes, left_over = np.zeros((count, count)), np.zeros(count)
    greatest, rounding = 0.0, 0.0
    drop = np.empty(shape.branch_from.size)
    for branch in range(drop.size):
        drop[branch] = voltage_v[shape.branch_from[branch]] - voltage_v[shape.branch_to[branch]]
    resistance, conductances = settle_branches(drop, branch_current_a, network, shape, elements)
    for branch in range(drop.size):
        start, end = shape.branch_from[branch], shape.branch_to[branch]
        current = branch_current_a[branch]
        add_conductance(slopes, start, end, conductances[branch])
        _add_current(left_over, start, end, current)
        greatest = max(greatest, abs(current))
        reach = max(abs(voltage_v[start]), abs(voltage_v[end]))
        rounding = max(rounding, reach / resistance[branch])
    for source in range(shape.source_plus.size):
        minus, plus = shape.source_minus[source], shape.source_plus[source]
        over = voltage_v[plus] - voltage_v[minus]
        current, conductance = source_current_a(source, over, network, elements)
        add_conductance(slopes, plus, minus, conductance)
        _add_current(left_over, minus, plus, current)
        greatest = max(greatest, abs(current))
        reach = max(abs(voltage_v[plus]), abs(voltage_v[minus]))
        rounding = max(rounding, reach / elements.source_resistance_ohm[network, source])
    for load in range(power_factor.size):
        plus, minus = shape.load_plus[load], shape.load_minus[load]
        over = voltage_v[plus] - voltage_v[minus]
        current, by_power = load_currents_a(load, over, network, power_factor[load], elements)
        conductance = elements.load_conductance_s[network, load]
        if by_power > 0.0:
            conductance -= by_power / over
        add_conductance(slopes, plus, minus, conductance)
        _add_current(left_over, plus, minus, current)
        greatest = max(greatest, abs(current))
    return Balance(slopes, left_over, greatest, ROUNDING * rounding)


@compiled_in_place
def without_power_slopes(
    slopes: Array,
    voltage_v: Array,
    network: int,
    power_factor: Array,
    shape: Shape,
    elements: Elements,
) -> Array:
    """Return the slopes as they would be if loads of constant power were of constant current.

    Parameters
    ----------
    slopes
        Of a ``balance``.
    voltage_v
        Of each node [V].
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
    ndarray
        Slopes [S], a matrix of their own.
    """
    greater = slopes.copy()
    for load in range(power_factor.size):
        plus, minus = shape.load_plus[load], shape.load_minus[load]
        over = voltage_v[plus] - voltage_v[minus]
        _, by_power = load_currents_a(load, over, network, power_factor[load], elements)
        if by_power > 0.0:
            add_conductance(greater, plus, minus, by_power / over)
    return greater
