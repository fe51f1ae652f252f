"""The greatest power that a network can deliver: how far its loads can be turned up.

The constant powers of all loads, or of one alone, are multiplied by a factor. Up to the greatest
factor the network has an operating point, beyond it none. Each trial starts from the operating
point at the greatest factor that has one so far. For one load in a linear network the definiteness
``d`` of the slopes is ``2 s / (1 + s)`` with ``s**2 = 1 - factor / greatest factor``, so that
``(d / (2 - d))**2`` falls along a straight line to 0; with other networks nearly so close to the
collapse. A secant through the last two trials therefore aims at it, kept between the bounds, and
the bounds are halved where it does not help.
"""

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.network.elements import Elements, Shape
from loomwright.engineering.network.solver import (
    NOT_SETTLED,
    SOLVED,
    found_operating_point,
    is_proven,
    operating_point,
)

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

# Of the greatest factor: how near its bounds come to each other.
RELATIVE_TOLERANCE = 1e-7
# Of the factor aimed at: how far short of it and beyond it the trials lie.
AIM_SHORT = 3e-8
GREATEST_TRIALS = 100
# A factor beyond it counts as unlimited.
GREATEST_FACTOR = 1e9
# How much a factor without an upper bound grows at most from one trial to the next.
GREATEST_GROWTH = 1e3


class Collapse(NamedTuple):
    """Greatest factors on the power of loads; one row for each network.

    Parameters
    ----------
    state
        ``SOLVED``; ``NO_OPERATING_POINT`` where there is none even without the power of the loads
        in question; ``NOT_SETTLED``.
    greatest_factor
        At which an operating point was found; infinite where the loads in question have no
        constant power, NaN where ``state`` is not ``SOLVED``.
    greatest_power_w
        Constant power of the loads in question at that factor [W]; NaN as the factor and where it
        is infinite.
    trials
        Operating points that were looked for.
    residual
        Upper bound of the factor less the factor, over the factor.
    """

    state: Places
    greatest_factor: Array
    greatest_power_w: Array
    trials: Places
    residual: Array


@compiled
def _turned_up_w(network: int, turned_up: Array, elements: Elements) -> float:
    """Return the constant power of the loads that are turned up, at a factor of 1."""
    power = 0.0
    for load in range(turned_up.size):
        power += turned_up[load] * elements.load_power_w[network, load]
    return power


@compiled
def straightened(definiteness: float) -> float:
    """Return the measure that falls to 0 at the collapse along a straight line.

    Parameters
    ----------
    definiteness
        Of the slopes [1], 0 to 1.

    Returns
    -------
    float
        ``s**2`` where the definiteness is ``2 s / (1 + s)`` [1].
    """
    return (definiteness / (2.0 - definiteness)) ** 2


@compiled
def next_trial(
    lower: float, upper: float, measure: float, before: float, before_measure: float
) -> float:
    """Return the factor to try next, from the last two factors that have an operating point.

    Parameters
    ----------
    lower
        The greatest factor that has one [1].
    upper
        The least that has none; infinite while none is known [1].
    measure
        ``straightened`` at the former.
    before
        The greatest factor before that, negative where there was none [1].
    before_measure
        ``straightened`` at it.

    Returns
    -------
    float
        Between the bounds [1].
    """
    aim = math.inf
    if 0.0 <= before < lower and measure < before_measure:
        aim = lower + measure * (lower - before) / (before_measure - measure)
    # Just short of the aim there is still an operating point; from so near, just beyond it.
    trial = aim * (1.0 - AIM_SHORT)
    if trial <= lower * (1.0 + 0.5 * AIM_SHORT):
        trial = max(aim, lower) * (1.0 + AIM_SHORT)
    if math.isinf(upper):
        return min(trial, GREATEST_GROWTH * max(lower, 1.0))
    return trial if lower < trial < upper else 0.5 * (lower + upper)


@compiled
def greatest_factor(
    network: int, base: Array, turned_up: Array, shape: Shape, elements: Elements
) -> tuple[int, float, int, float]:
    """Return the greatest factor on the power of some loads of one network.

    Parameters
    ----------
    network
        Row of the elements.
    base
        Factor on the power of each load that stays as it is [1].
    turned_up
        Part of each load's power that the factor is on [1]: the factors of the loads are
        ``base + factor * turned_up``.
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    tuple
        State, factor, trials and residual as in ``Collapse``.
    """
    voltage, current, state, definiteness, _, _ = found_operating_point(
        network, base, shape, elements
    )
    if state != SOLVED:
        return state, math.nan, 1, math.nan
    if _turned_up_w(network, turned_up, elements) == 0.0:
        return SOLVED, math.inf, 1, 0.0
    proven = is_proven(network, shape, elements)
    lower, upper, trial, width = 0.0, math.inf, 1.0, math.inf
    measure = straightened(definiteness)
    before, before_measure, last_width = -1.0, measure, math.inf
    for trials in range(2, GREATEST_TRIALS):
        next_voltage, next_current = voltage.copy(), current.copy()
        found, definiteness, _, _ = operating_point(
            next_voltage, next_current, network, base + trial * turned_up, shape, elements
        )
        if found == SOLVED:
            before, before_measure = lower, measure
            voltage, current, lower = next_voltage, next_current, trial
            measure = straightened(definiteness)
        else:
            proven = proven or trial == upper
            upper = trial
        if lower > GREATEST_FACTOR:
            return SOLVED, math.inf, trials, 0.0
        if lower >= upper:
            # What failed from further off was found from nearby.
            upper = math.inf
        width = (upper - lower) / lower if lower > 0.0 else math.inf
        if width <= RELATIVE_TOLERANCE:
            if proven:
                return SOLVED, lower, trials, width
            trial = upper
            continue
        trial = next_trial(lower, upper, measure, before, before_measure)
        if width > 0.5 * last_width and not math.isinf(upper):
            trial = 0.5 * (lower + upper)
        last_width = width
    return NOT_SETTLED, math.nan, GREATEST_TRIALS, width


def collapse_of_all_loads(shape: Shape, elements: Elements) -> Collapse:
    """Return the greatest factor on the constant powers of all loads together.

    Parameters
    ----------
    shape
        The shape.
    elements
        Their values, networks as rows.

    Returns
    -------
    Collapse
        One row for each network; its factor is 1 or more where the network has an operating point.
    """
    loads = shape.load_plus.size
    return _collapses(np.zeros(loads), np.ones(loads), shape, elements)


def collapse_of_one_load(load: int, shape: Shape, elements: Elements) -> Collapse:
    """Return the greatest factor on the constant power of one load, the others as they are.

    Parameters
    ----------
    load
        Column of the loads.
    shape
        The shape.
    elements
        Their values, networks as rows.

    Returns
    -------
    Collapse
        One row for each network.
    """
    base, turned_up = np.ones(shape.load_plus.size), np.zeros(shape.load_plus.size)
    base[load], turned_up[load] = 0.0, 1.0
    return _collapses(base, turned_up, shape, elements)


# The two above are not compiled: what is, is translated again with all that it calls.
@compiled
def _collapses(base: Array, turned_up: Array, shape: Shape, elements: Elements) -> Collapse:
    count = elements.emf_v.shape[0]
    found = Collapse(
        np.empty(count, np.int64),
        np.empty(count),
        np.full(count, math.nan),
        np.empty(count, np.int64),
        np.empty(count),
    )
    for network in range(count):
        state, factor, trials, residual = greatest_factor(network, base, turned_up, shape, elements)
        found.state[network] = state
        found.greatest_factor[network] = factor
        found.trials[network] = trials
        found.residual[network] = residual
        if state == SOLVED and not math.isinf(factor):
            power = _turned_up_w(network, turned_up, elements)
            found.greatest_power_w[network] = factor * power
    return found
