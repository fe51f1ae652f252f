"""A load state of a network with its meters, and what they are expected to show.

Compiled: solving the network, its slopes and the accuracy of the meters are one call for all that
is read, as each value that goes to Python and back costs more than what is done with it.
"""

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.measurement.deviations import (
    NONE,
    Fitted,
    MeterPlaces,
    Spread,
    shown_with_variances,
)
from loomwright.engineering.measurement.meter import RECTANGULAR
from loomwright.engineering.network.elements import Elements, Shape
from loomwright.engineering.network.solver import SOLVED, solved_networks

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

# JCGM 100:2008, table G.1 (memory): 95 % of a normal distribution.
COVERAGE_FACTOR = 1.96
_SQUARE_OF_RECTANGULAR = RECTANGULAR**2


class MeteredState(NamedTuple):
    """Meters in a load state, and what of its network no other conductor changes.

    Parameters
    ----------
    meters
        Where they are put.
    at_rest
        Source whose EMF a meter shows with nothing switched on, ``NONE`` for a meter of this state.
    shares, digit_limits
        Accuracy of each meter, see ``Meter``.
    fitted
        Parts and conductors of the network.
    fixed_resistance_ohm
        Sum of the parts of each branch, one row [ohm].
    warmer_k
        By how much each stretch is warmer before it carries current than its resistance is stated
        for, one row [K].
    is_on
        Whether each load is switched on.
    """

    meters: MeterPlaces
    at_rest: Places
    shares: Array
    digit_limits: Array
    fitted: Fitted
    fixed_resistance_ohm: Array
    warmer_k: Array
    is_on: npt.NDArray[np.bool_]


@compiled
def _elements_in_state(state: MeteredState, elements: Elements) -> Elements:
    """Return the elements at the temperature of the day, with the loads that are switched on."""
    loads = state.is_on.size
    power, current = np.zeros((1, loads)), np.zeros((1, loads))
    for load in range(loads):
        if state.is_on[load]:
            power[0, load] = elements.load_power_w[0, load]
            current[0, load] = elements.load_current_a[0, load]
    slope = elements.resistance_slope_ohm_per_k
    return Elements(
        fixed_resistance_ohm=state.fixed_resistance_ohm,
        ambient_resistance_ohm=elements.ambient_resistance_ohm + slope * state.warmer_k,
        resistance_slope_ohm_per_k=slope,
        share_per_ampere=elements.share_per_ampere,
        curves=elements.curves,
        emf_v=elements.emf_v,
        source_resistance_ohm=elements.source_resistance_ohm,
        greatest_current_a=elements.greatest_current_a,
        least_current_a=elements.least_current_a,
        load_power_w=power,
        load_current_a=current,
        load_conductance_s=np.zeros((1, loads)),
    )


@compiled
def expected_in_state(
    state: MeteredState, shape: Shape, elements: Elements, spread: Spread
) -> tuple[Array, bool]:
    """Return what the meters of a load state are expected to show.

    Parameters
    ----------
    state
        The state.
    shape
        Of the network.
    elements
        As planned with everything on, in one row.
    spread
        Of the inputs.

    Returns
    -------
    tuple
        Rows of expected values, of lower and upper limits of the 95 % coverage interval and of
        standard uncertainties [V], [A], by meters; whether all of them are known, which they are
        not where the state has no operating point or stands at its collapse.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 6.2.1 (memory).
    """
    count = state.at_rest.size
    values, variances = np.full(count, math.nan), np.full(count, math.nan)
    switched = _elements_in_state(state, elements)
    solution = solved_networks(shape, switched)
    if solution.state[0] == SOLVED:
        values, variances = shown_with_variances(
            state.meters, solution, shape, switched, state.fitted, spread
        )
    expected = np.empty((4, count))
    is_known = True
    for meter in range(count):
        value, variance = values[meter], variances[meter]
        source = state.at_rest[meter]
        if source != NONE:
            value = elements.emf_v[0, source]
            variance = (spread.emf * value) * (spread.emf * value)
        gain, digits = state.shares[meter] * value, state.digit_limits[meter]
        of_meter = _SQUARE_OF_RECTANGULAR * (gain * gain + digits * digits)
        uncertainty = math.sqrt(variance + of_meter)
        expected[0, meter] = value
        expected[1, meter] = value - COVERAGE_FACTOR * uncertainty
        expected[2, meter] = value + COVERAGE_FACTOR * uncertainty
        expected[3, meter] = uncertainty
        is_known = is_known and not math.isnan(uncertainty)
    return expected, is_known
