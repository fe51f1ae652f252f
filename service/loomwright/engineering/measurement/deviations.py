"""What the uncertain inputs of a solved network do to what a meter shows there.

Compiled: a job has some fifty inputs and thirty quantities in each load state, too few for array
functions.
"""

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.network.currents import balance
from loomwright.engineering.network.elements import Elements, Shape, Solution
from loomwright.engineering.network.heated import heated_branches
from loomwright.engineering.network.linear import first_failing_pivot, replace_by_solution

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

# In place of a branch or a part where a meter does not depend on one.
NONE = -1


class Spread(NamedTuple):
    """One standard uncertainty of each kind of input.

    Parameters
    ----------
    joint
        Of a joint's resistance over its own [1].
    reel
        Of the resistance of a circuit's conductor over its own [1].
    along
        Of the length of a feed or of a return over its own [1].
    warmer_k
        Of the temperature of the conductors [K].
    emf
        Of an open-circuit voltage over its own [1].
    inner
        Of the resistance of a source over its own [1].
    load
        Of what a load draws over its own [1].
    """

    joint: float
    reel: float
    along: float
    warmer_k: float
    emf: float
    inner: float
    load: float


class Fitted(NamedTuple):
    """Parts and conductors of a network as they lie in its branches.

    Parameters
    ----------
    part_branch
        Branch of each part.
    part_resistance_ohm
        Resistance of each part [ohm].
    circuit_branches
        Branches of the feed and of the return of each circuit, circuits as rows.
    """

    part_branch: Places
    part_resistance_ohm: Array
    circuit_branches: Places


class MeterPlaces(NamedTuple):
    """Where meters are put, one entry for each.

    Parameters
    ----------
    plus, minus
        Nodes that a voltage is taken between.
    through
        Branch whose current is taken, ``NONE`` where a voltage between nodes is.
    over
        Part of that branch whose drop is taken, ``NONE`` where the current itself is.
    """

    plus: Places
    minus: Places
    through: Places
    over: Places


@compiled
def _resistance_deviations_ohm(
    solution: Solution, shape: Shape, elements: Elements, fitted: Fitted, spread: Spread
) -> Array:
    """Return what the inputs add to the resistance of each branch at unchanged currents [ohm].

    Branches by inputs: parts, three of each circuit, the temperature, then those that change none.
    """
    parts, circuits = fitted.part_branch.size, fitted.circuit_branches.shape[0]
    warmer = parts + 3 * circuits
    inputs = warmer + 1 + 2 * shape.source_plus.size + shape.load_plus.size
    ohm = np.zeros((shape.branch_from.size, inputs))
    for part in range(parts):
        ohm[fitted.part_branch[part], part] = spread.joint * fitted.part_resistance_ohm[part]
    for circuit in range(circuits):
        # One reel for both ways, and a length of its own for each.
        reel = parts + 3 * circuit
        for way in range(2):
            branch = fitted.circuit_branches[circuit, way]
            conductor = (
                solution.branch_resistance_ohm[0, branch] - elements.fixed_resistance_ohm[0, branch]
            )
            ohm[branch, reel] = spread.reel * conductor
            ohm[branch, reel + 1 + way] = spread.along * conductor
    for stretch in range(shape.stretch_branch.size):
        branch = shape.stretch_branch[stretch]
        per_kelvin = elements.resistance_slope_ohm_per_k[0, stretch]
        ohm[branch, warmer] += spread.warmer_k * per_kelvin
    return ohm


@compiled
def _left_over_a(
    solution: Solution,
    shape: Shape,
    elements: Elements,
    of_branches: Array,
    spread: Spread,
) -> Array:
    """Return what the inputs add to the sums of currents out of the nodes at unchanged voltages.

    Nodes, the reference first, by inputs [A].
    """
    inputs, sources = of_branches.shape[1], shape.source_plus.size
    load_column = inputs - shape.load_plus.size
    left_over = np.zeros((shape.node_count, inputs))
    for branch in range(of_branches.shape[0]):
        start, end = shape.branch_from[branch], shape.branch_to[branch]
        for column in range(load_column - 2 * sources):
            left_over[start, column] += of_branches[branch, column]
            left_over[end, column] -= of_branches[branch, column]
    for source in range(sources):
        minus, plus = shape.source_minus[source], shape.source_plus[source]
        given = solution.source_current_a[0, source]
        # A source at rest stands on the edge of its range and still holds the voltage.
        if (
            not elements.least_current_a[0, source]
            <= given
            < elements.greatest_current_a[0, source]
        ):
            continue
        emf, inner = load_column - 2 * sources + source, load_column - sources + source
        by_emf = spread.emf * elements.emf_v[0, source] / elements.source_resistance_ohm[0, source]
        left_over[minus, emf] += by_emf
        left_over[plus, emf] -= by_emf
        left_over[minus, inner] -= spread.inner * given
        left_over[plus, inner] += spread.inner * given
    for load in range(shape.load_plus.size):
        taken = spread.load * solution.load_current_a[0, load]
        left_over[shape.load_plus[load], load_column + load] += taken
        left_over[shape.load_minus[load], load_column + load] -= taken
    return left_over


@compiled
def _deviations(
    solution: Solution, shape: Shape, elements: Elements, fitted: Fitted, spread: Spread
) -> tuple[Array, Array, bool]:
    """Return what each input does to node voltages and branch currents, and whether it is known.

    Nodes, the reference first, and branches by inputs [V], [A].
    """
    current = solution.branch_current_a[0].copy()
    resistance, slope, _ = heated_branches(current, 0, shape, elements)
    through = _resistance_deviations_ohm(solution, shape, elements, fitted, spread)
    branches, inputs = through.shape
    conductance = np.empty(branches)
    for branch in range(branches):
        conductance[branch] = 1.0 / (resistance[branch] + abs(current[branch]) * slope[branch])
        for column in range(inputs):
            through[branch, column] *= -current[branch] * conductance[branch]
    voltage = -_left_over_a(solution, shape, elements, through, spread)
    # Not the number 0 itself, for which the balance would be compiled a second time.
    row = elements.emf_v.shape[0] - 1
    slopes = balance(
        solution.node_voltage_v[0].copy(),
        current,
        row,
        np.ones(shape.load_plus.size),
        shape,
        elements,
    ).slopes
    if first_failing_pivot(slopes) >= 0:
        return voltage, through, False
    for column in range(inputs):
        voltage[0, column] = 0.0
        replace_by_solution(slopes, voltage[1:, column])
        for branch in range(branches):
            drop = voltage[shape.branch_from[branch], column]
            drop -= voltage[shape.branch_to[branch], column]
            through[branch, column] += conductance[branch] * drop
    return voltage, through, True


@compiled
def shown_with_variances(
    meters: MeterPlaces,
    solution: Solution,
    shape: Shape,
    elements: Elements,
    fitted: Fitted,
    spread: Spread,
) -> tuple[Array, Array]:
    """Return what perfect meters show of a solved network, and the variance of it.

    Inputs are independent: parts, the reel and both lengths of each circuit, the temperature, EMF
    and resistance of each source, loads.

    Parameters
    ----------
    meters
        Where they are put.
    solution
        Operating point of one network.
    shape
        The shape.
    elements
        Its values.
    fitted
        Its parts and conductors.
    spread
        Of the inputs.

    Returns
    -------
    tuple of ndarray
        Values [V], [A] and variances of them; NaN where the network is at its collapse.

    Notes
    -----
    ``F(V, p) = 0`` at each node gives ``dV/dp = -(dF/dV)^-1 dF/dp``.

    References
    ----------
    JCGM 100:2008, 5.1.2 (memory).
    """
    count = meters.plus.size
    values, variances = np.empty(count), np.empty(count)
    voltage, through, is_known = _deviations(solution, shape, elements, fitted, spread)
    for meter in range(count):
        plus, minus = meters.plus[meter], meters.minus[meter]
        branch, part = meters.through[meter], meters.over[meter]
        current, resistance, of_part = 0.0, 1.0, 0.0
        if branch == NONE:
            values[meter] = solution.node_voltage_v[0, plus] - solution.node_voltage_v[0, minus]
        else:
            current = solution.branch_current_a[0, branch]
            if part != NONE:
                resistance = fitted.part_resistance_ohm[part]
                of_part = current * spread.joint * resistance
            values[meter] = current * resistance
        variance = 0.0 if is_known else math.nan
        for column in range(voltage.shape[1]):
            if branch == NONE:
                deviation = voltage[plus, column] - voltage[minus, column]
            else:
                deviation = through[branch, column] * resistance
                if column == part:
                    deviation += of_part
            variance += deviation * deviation
        variances[meter] = variance
    return values, variances
