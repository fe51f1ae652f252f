"""Operating points of direct-current networks by Newton's method on the node voltages.

A node's currents add up to zero. A resistive branch, a source below its limit and a resistive load
are linear; a constant-power load, a conductor that its current heats and a limited source are
taken by their tangents in each step. From the voltages without any load the steps fall towards the
stable operating point, which of all solutions has the highest voltages: the sum of currents at each
node is convex in the voltages, and its matrix of slopes is positive definite at every voltage above
that solution. Where the matrix ceases to be so, the network has no operating point.
"""

import math

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.conductors.temperature_curve import rise_and_slope_on_curve_k
from loomwright.engineering.network.elements import Elements, Shape, Solution

Array = npt.NDArray[np.float64]

SOLVED, NO_OPERATING_POINT, NOT_SETTLED = 0, 1, 2
# Of the greatest current in the network: what may be left over at a node.
RELATIVE_TOLERANCE = 1e-11
GREATEST_STEPS = 100
# Of a diagonal element of the matrix of slopes: a pivot below it is none.
LEAST_PIVOT = 1e-13


@compiled
def heated_branches(
    current_a: Array, network: int, shape: Shape, elements: Elements
) -> tuple[Array, Array, Array]:
    """Return resistances of the branches at currents, their slopes, and the rise of each stretch.

    Parameters
    ----------
    current_a
        Of each branch [A], of either sign.
    network
        Row of the elements.
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    tuple of ndarray
        Resistance [ohm], its slope by the magnitude of the current [ohm/A], rise [K].
    """
    resistance = elements.fixed_resistance_ohm[network].copy()
    slope = np.zeros(resistance.size)
    rise = np.empty(shape.stretch_branch.size)
    for stretch in range(shape.stretch_branch.size):
        branch = shape.stretch_branch[stretch]
        per_ampere = elements.share_per_ampere[network, stretch]
        share = abs(current_a[branch]) * per_ampere
        kelvin, kelvin_slope = rise_and_slope_on_curve_k(elements.curves[stretch], share)
        per_kelvin = elements.resistance_slope_ohm_per_k[network, stretch]
        resistance[branch] += (
            elements.ambient_resistance_ohm[network, stretch] + per_kelvin * kelvin
        )
        slope[branch] += per_kelvin * kelvin_slope * per_ampere
        rise[stretch] = kelvin
    return resistance, slope, rise


@compiled
def _stamp(
    slopes: Array, left_over: Array, into: int, out_of: int, conductance: float, current: float
) -> None:
    """Add an element that takes ``current`` out of one node and gives it to another.

    Node 0 is the reference and has no row; ``conductance`` is the slope of the current by the
    voltage of ``out_of`` over ``into``.
    """
    if out_of > 0:
        slopes[out_of - 1, out_of - 1] += conductance
        left_over[out_of - 1] += current
    if into > 0:
        slopes[into - 1, into - 1] += conductance
        left_over[into - 1] -= current
    if out_of > 0 and into > 0:
        slopes[out_of - 1, into - 1] -= conductance
        slopes[into - 1, out_of - 1] -= conductance


@compiled
def factorised(matrix: Array) -> float:
    """Factorise a symmetric matrix in place as L D L' and return its definiteness.

    Parameters
    ----------
    matrix
        Symmetric, square; its lower triangle becomes L below the diagonal and D on it.

    Returns
    -------
    float
        Product of each pivot over the diagonal element it came from, above 0 and at most 1 where
        the matrix is positive definite; 0 where it is not, the matrix then being of no use.

    References
    ----------
    Golub and Van Loan, Matrix Computations, 4th edition, 4.1.2 (memory).
    """
    count = matrix.shape[0]
    definiteness = 1.0
    for column in range(count):
        diagonal = matrix[column, column]
        pivot = diagonal
        for k in range(column):
            pivot -= matrix[column, k] * matrix[column, k] * matrix[k, k]
        if not pivot > LEAST_PIVOT * diagonal:
            return 0.0
        matrix[column, column] = pivot
        definiteness *= pivot / diagonal
        for row in range(column + 1, count):
            value = matrix[row, column]
            for k in range(column):
                value -= matrix[row, k] * matrix[column, k] * matrix[k, k]
            matrix[row, column] = value / pivot
    return definiteness


@compiled
def _solve_factorised(matrix: Array, right: Array) -> None:
    """Replace ``right`` by the solution of the factorised matrix."""
    count = right.size
    for row in range(count):
        for k in range(row):
            right[row] -= matrix[row, k] * right[k]
    for row in range(count):
        right[row] /= matrix[row, row]
    for row in range(count - 1, -1, -1):
        for k in range(row + 1, count):
            right[row] -= matrix[k, row] * right[k]


@compiled
def _assembled(
    voltage_v: Array,
    branch_current_a: Array,
    network: int,
    power_factor: Array,
    shape: Shape,
    elements: Elements,
) -> tuple[Array, Array, float, float]:
    """Return the matrix of slopes, the currents left over, their scale and the unsettled current.

    The branches are taken along their tangents at ``branch_current_a``, which this function brings
    to the voltages; the unsettled current is the greatest change of one of them. An empty
    ``power_factor`` leaves out loads, upper limits and heat.
    """
    count = shape.node_count - 1
    loaded = power_factor.size > 0
    slopes = np.zeros((count, count))
    left_over = np.zeros(count)
    scale, unsettled = 0.0, 0.0
    resistance, slope, _ = heated_branches(branch_current_a, network, shape, elements)
    for branch in range(shape.branch_from.size):
        start, end = shape.branch_from[branch], shape.branch_to[branch]
        voltage = voltage_v[start] - voltage_v[end]
        before = branch_current_a[branch]
        conductance = 1.0 / (resistance[branch] + abs(before) * slope[branch])
        # The tangent of I R(I) = U at the current before.
        current = before + conductance * (voltage - before * resistance[branch])
        if loaded:
            branch_current_a[branch] = current
        _stamp(slopes, left_over, end, start, conductance, current)
        scale = max(scale, abs(current))
        unsettled = max(unsettled, abs(current - before))
    for source in range(shape.source_plus.size):
        minus, plus = shape.source_minus[source], shape.source_plus[source]
        voltage = voltage_v[plus] - voltage_v[minus]
        conductance = 1.0 / elements.source_resistance_ohm[network, source]
        current = (elements.emf_v[network, source] - voltage) * conductance
        if loaded and current > elements.greatest_current_a[network, source]:
            current, conductance = elements.greatest_current_a[network, source], 0.0
        elif current < elements.least_current_a[network, source]:
            current, conductance = elements.least_current_a[network, source], 0.0
        _stamp(slopes, left_over, minus, plus, conductance, -current)
        scale = max(scale, abs(current))
    for load in range(power_factor.size):
        plus, minus = shape.load_plus[load], shape.load_minus[load]
        voltage = voltage_v[plus] - voltage_v[minus]
        power_current = power_factor[load] * elements.load_power_w[network, load] / voltage
        conductance = elements.load_conductance_s[network, load]
        current = power_current + elements.load_current_a[network, load] + conductance * voltage
        _stamp(slopes, left_over, minus, plus, conductance - power_current / voltage, current)
        scale = max(scale, abs(current))
    return slopes, left_over, scale, unsettled


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
        Voltage of each node [V], which no loaded network of these elements passes.
    """
    voltage = np.zeros(shape.node_count)
    # A source that takes nothing back must start below its EMF, so that it has a slope.
    idle = np.zeros(shape.branch_from.size)
    none = np.zeros(0)
    for _ in range(GREATEST_STEPS):
        slopes, left_over, scale, _ = _assembled(voltage, idle, network, none, shape, elements)
        if np.max(np.abs(left_over)) <= RELATIVE_TOLERANCE * scale:
            return voltage, True
        if factorised(slopes) == 0.0:
            return voltage, False
        _solve_factorised(slopes, left_over)
        voltage[1:] -= left_over
    return voltage, False


@compiled
def operating_point(
    voltage_v: Array,
    branch_current_a: Array,
    network: int,
    power_factor: Array,
    shape: Shape,
    elements: Elements,
) -> tuple[int, float, int, float]:
    """Bring voltages and branch currents to the stable operating point of one network.

    Parameters
    ----------
    voltage_v
        Of each node [V], not below those of the operating point; is changed.
    branch_current_a
        Of each branch [A]; is changed.
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
        State; definiteness of the matrix of slopes, 1 far from the collapse and 0 at it;
        steps; greatest current left over at a node [A].
    """
    residual = math.inf
    for step in range(GREATEST_STEPS):
        slopes, left_over, scale, unsettled = _assembled(
            voltage_v, branch_current_a, network, power_factor, shape, elements
        )
        residual = max(np.max(np.abs(left_over)), unsettled)
        definiteness = factorised(slopes)
        if definiteness == 0.0:
            return NO_OPERATING_POINT, 0.0, step, residual
        if residual <= RELATIVE_TOLERANCE * scale:
            return SOLVED, definiteness, step, residual
        _solve_factorised(slopes, left_over)
        voltage_v[1:] -= left_over
        for load in range(shape.load_plus.size):
            left = voltage_v[shape.load_plus[load]] - voltage_v[shape.load_minus[load]]
            if not left > 0.0 and elements.load_power_w[network, load] > 0.0:
                return NO_OPERATING_POINT, 0.0, step, residual
    return NOT_SETTLED, 0.0, GREATEST_STEPS, residual


@compiled
def solved_networks(shape: Shape, elements: Elements) -> Solution:
    """Return the stable operating points of networks of one shape.

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
    state = np.empty(count, np.int64)
    iterations = np.empty(count, np.int64)
    residual = np.empty(count)
    node_voltage = np.full((count, shape.node_count), math.nan)
    branch_current = np.full((count, branches), math.nan)
    branch_resistance = np.full((count, branches), math.nan)
    rise = np.full((count, stretches), math.nan)
    above_cap = np.zeros((count, stretches), np.bool_)
    source_current = np.full((count, sources), math.nan)
    load_current = np.full((count, loads), math.nan)
    source_power = np.full(count, math.nan)
    load_power = np.full(count, math.nan)
    loss = np.full(count, math.nan)
    full = np.ones(loads)
    for network in range(count):
        voltage, joined = unloaded_voltages_v(network, shape, elements)
        current = np.zeros(branches)
        if not joined:
            state[network], iterations[network], residual[network] = NOT_SETTLED, 0, math.nan
            continue
        state[network], _, iterations[network], residual[network] = operating_point(
            voltage, current, network, full, shape, elements
        )
        if state[network] != SOLVED:
            continue
        node_voltage[network] = voltage
        branch_current[network] = current
        resistance, _, kelvin = heated_branches(current, network, shape, elements)
        branch_resistance[network] = resistance
        rise[network] = kelvin
        for stretch in range(stretches):
            share = abs(current[shape.stretch_branch[stretch]])
            above_cap[network, stretch] = share * elements.share_per_ampere[network, stretch] > 1.0
        loss[network] = 0.0
        for branch in range(branches):
            drop = voltage[shape.branch_from[branch]] - voltage[shape.branch_to[branch]]
            loss[network] += drop * current[branch]
        source_power[network] = 0.0
        for source in range(sources):
            over = voltage[shape.source_plus[source]] - voltage[shape.source_minus[source]]
            given = (elements.emf_v[network, source] - over) / (
                elements.source_resistance_ohm[network, source]
            )
            given = min(given, elements.greatest_current_a[network, source])
            given = max(given, elements.least_current_a[network, source])
            source_current[network, source] = given
            source_power[network] += given * over
        load_power[network] = 0.0
        for load in range(loads):
            over = voltage[shape.load_plus[load]] - voltage[shape.load_minus[load]]
            taken = (
                elements.load_power_w[network, load] / over
                + elements.load_current_a[network, load]
                + elements.load_conductance_s[network, load] * over
            )
            load_current[network, load] = taken
            load_power[network] += taken * over
    return Solution(
        state,
        node_voltage,
        branch_current,
        branch_resistance,
        rise,
        above_cap,
        source_current,
        load_current,
        source_power,
        load_power,
        loss,
        iterations,
        residual,
    )
