"""Steps that bring the voltages of one network to rest; ``solver`` says where they are proven."""

import math

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled, compiled_in_place
from loomwright.engineering.network.currents import EDGE, Balance, balance, without_power_slopes
from loomwright.engineering.network.elements import Elements, Shape
from loomwright.engineering.network.linear import (
    determinant_ratio,
    direction_without_stiffness,
    first_failing_pivot,
    greatest_size,
    replace_by_solution,
)

Array = npt.NDArray[np.float64]

SOLVED, NO_OPERATING_POINT, NOT_SETTLED = 0, 1, 2
# Of the greatest current in the network: what may be left over at a node.
RELATIVE_TOLERANCE = 1e-11
GREATEST_STEPS = 200
# Of the voltage of a load of constant power: what one step leaves at least.
LEAST_LEFT = 0.1
# Of the greatest EMF: a load of constant power with less has no voltage.
NO_VOLTAGE = 1e-6
# Of what drives a step: what may drive back at its end before it is halved.
GREATEST_RETURN = 0.5
GREATEST_HALVINGS = 30


@compiled_in_place
def has_voltage(
    voltage_v: Array, network: int, power_factor: Array, shape: Shape, elements: Elements
) -> tuple[bool, bool]:
    """Tell whether the loads of constant power, and those of constant current, have voltage.

    Parameters
    ----------
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
    tuple of bool
        Whether each load with constant power has more than ``NO_VOLTAGE`` of the greatest EMF, and
        each with constant current more than 0 V.
    """
    least = NO_VOLTAGE * greatest_size(elements.emf_v[network])
    powered, fed = True, True
    for load in range(shape.load_plus.size):
        over = voltage_v[shape.load_plus[load]] - voltage_v[shape.load_minus[load]]
        if power_factor[load] * elements.load_power_w[network, load] > 0.0:
            powered = powered and over > least
        if elements.load_current_a[network, load] > 0.0:
            fed = fed and over > 0.0
    return powered, fed


@compiled_in_place
def share_to_next_source(
    voltage_v: Array, step_v: Array, network: int, shape: Shape, elements: Elements
) -> float:
    """Return how much of a step brings the first waiting source in; infinite where none.

    Parameters
    ----------
    voltage_v
        Of each node before the step [V].
    step_v
        What a whole step adds to each [V].
    network
        Row of the elements.
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    float
        Share of the step [1].
    """
    share = math.inf
    for source in range(shape.source_plus.size):
        minus, plus = shape.source_minus[source], shape.source_plus[source]
        emf = elements.emf_v[network, source]
        resistance = elements.source_resistance_ohm[network, source]
        edge = emf - elements.least_current_a[network, source] * resistance
        above = voltage_v[plus] - voltage_v[minus] - edge
        fall = step_v[minus] - step_v[plus]
        if EDGE * abs(emf) < above < math.inf and fall > 0.0:
            share = min(share, above / fall)
    return share


@compiled_in_place
def share_within_loads(
    voltage_v: Array,
    step_v: Array,
    left: float,
    network: int,
    power_factor: Array,
    shape: Shape,
    elements: Elements,
) -> float:
    """Return how much of a step leaves each load of constant power a share of its voltage.

    Parameters
    ----------
    voltage_v
        Of each node before the step [V].
    step_v
        What a whole step adds to each [V].
    left
        The share that is left [1].
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
    float
        Share of the step [1].
    """
    share = math.inf
    for load in range(shape.load_plus.size):
        plus, minus = shape.load_plus[load], shape.load_minus[load]
        fall = step_v[minus] - step_v[plus]
        if power_factor[load] * elements.load_power_w[network, load] > 0.0 and fall > 0.0:
            over = voltage_v[plus] - voltage_v[minus]
            share = min(share, (1.0 - left) * over / fall)
    return share


@compiled
def _newton_step(
    voltage_v: Array,
    step_v: Array,
    branch_current_a: Array,
    network: int,
    power_factor: Array,
    now: Balance,
    shape: Shape,
    elements: Elements,
) -> Balance:
    """Go along a step of Newton's method as far as it does not overshoot; change the voltages."""
    share = min(1.0, share_to_next_source(voltage_v, step_v, network, shape, elements))
    within = share_within_loads(
        voltage_v, step_v, LEAST_LEFT, network, power_factor, shape, elements
    )
    share = min(share, within)
    driving = driving_w(now.left_over, step_v)
    start = voltage_v.copy()
    reached = now
    for _ in range(GREATEST_HALVINGS):
        for node in range(start.size):
            voltage_v[node] = start[node] + share * step_v[node]
        reached = balance(voltage_v, branch_current_a, network, power_factor, shape, elements)
        if driving_w(reached.left_over, step_v) >= -GREATEST_RETURN * driving:
            break
        share *= 0.5
    return reached


@compiled_in_place
def driving_w(left_over_a: Array, step_v: Array) -> float:
    """Return what drives the voltages along a step: the currents left over against it.

    Parameters
    ----------
    left_over_a
        Sum of the currents out of each node, the reference left out [A].
    step_v
        What the step adds to the voltage of each node, the reference first [V].

    Returns
    -------
    float
        Power along the step [W]; above 0 where it goes towards a balance.
    """
    driving = 0.0
    for row in range(left_over_a.size):
        driving -= left_over_a[row] * step_v[row + 1]
    return driving


@compiled
def settle(
    voltage_v: Array,
    branch_current_a: Array,
    network: int,
    power_factor: Array,
    shape: Shape,
    elements: Elements,
) -> tuple[int, float, int, float]:
    """Bring voltages and branch currents to rest, as the module describes it.

    Returns state, definiteness of the slopes, steps and residual as ``operating_point`` does.
    """
    now = balance(voltage_v, branch_current_a, network, power_factor, shape, elements)
    residual = greatest_size(now.left_over)
    step_v = np.zeros(shape.node_count)
    for step in range(GREATEST_STEPS):
        if math.isnan(residual):
            return NOT_SETTLED, 0.0, step, residual
        is_balanced = residual <= max(RELATIVE_TOLERANCE * now.greatest_current_a, now.rounding_a)
        slopes = now.slopes.copy()
        failing = first_failing_pivot(slopes)
        if is_balanced and failing < 0:
            greater = without_power_slopes(
                now.slopes, voltage_v, network, power_factor, shape, elements
            )
            definiteness = determinant_ratio(now.slopes, greater)
            return SOLVED, definiteness, step, residual
        if failing < 0:
            fall = now.left_over.copy()
            replace_by_solution(slopes, fall)
            for row in range(fall.size):
                step_v[row + 1] = -fall[row]
            now = _newton_step(
                voltage_v,
                step_v,
                branch_current_a,
                network,
                power_factor,
                now,
                shape,
                elements,
            )
        else:
            fall = direction_without_stiffness(slopes, failing)
            for row in range(fall.size):
                step_v[row + 1] = -fall[row]
            share = share_to_next_source(voltage_v, step_v, network, shape, elements)
            if not share < share_within_loads(
                voltage_v, step_v, 0.0, network, power_factor, shape, elements
            ):
                return NO_OPERATING_POINT, 0.0, step, residual
            for node in range(step_v.size):
                voltage_v[node] += share * step_v[node]
            now = balance(voltage_v, branch_current_a, network, power_factor, shape, elements)
        residual = greatest_size(now.left_over)
        powered, _ = has_voltage(voltage_v, network, power_factor, shape, elements)
        if not powered and not math.isnan(residual):
            return NO_OPERATING_POINT, 0.0, step + 1, residual
    return NOT_SETTLED, 0.0, GREATEST_STEPS, residual
