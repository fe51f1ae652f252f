"""What a meter is expected to show, by the law of propagation of uncertainty.

The network is solved once; its slopes at the operating point say what each uncertain input does to
each voltage and current. A hundred times quicker than drawing variants, and as good while the
deviations are small; ``expected`` draws them, for the verdict on a reading.
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.deviations import (
    NONE,
    Fitted,
    MeterPlaces,
    Spread,
    shown_with_variances,
)
from loomwright.engineering.measurement.expected import FROM_PLAN, Expectation, no_operating_point
from loomwright.engineering.measurement.measured_network import (
    REST,
    SOURCE_VOLTAGE,
    MeasuredNetwork,
    Quantity,
)
from loomwright.engineering.measurement.meter import RECTANGULAR, Meter
from loomwright.engineering.measurement.uncertainty import USUAL, Tolerances
from loomwright.engineering.network.solver import SOLVED, solved_networks
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

REFERENCE_NODE = 0
# JCGM 100:2008, table G.1 (memory): 95 % of a normal distribution.
COVERAGE_FACTOR = 1.96


@record
class PlacedMeters:
    """Meters as they are put into networks of one shape.

    Parameters
    ----------
    quantities
        What is taken, in the order of the answer.
    shares, digit_limits
        Accuracy of each meter, see ``Meter``.
    at_rest, sources
        Places in ``quantities`` of what is taken at rest, and the source of each.
    by_state
        Name of each load state, places in ``quantities`` of what is taken in it, and where the
        meters are put.
    """

    quantities: tuple[Quantity, ...]
    shares: Array
    digit_limits: Array
    at_rest: Places
    sources: Places
    by_state: tuple[tuple[str, Places, MeterPlaces], ...]


def placed_meters(network: MeasuredNetwork, meters: Mapping[Quantity, Meter]) -> PlacedMeters:
    """Return where the meters are put that quantities are taken with.

    Parameters
    ----------
    network
        A network; for others of its shape with the same circuits the places are the same.
    meters
        Wanted quantities, and the meter that each is taken with.

    Returns
    -------
    PlacedMeters
        In the order of ``meters``.
    """
    by_state: dict[str, list[int]] = {REST: []}
    for place, quantity in enumerate(meters):
        by_state.setdefault(quantity.state, []).append(place)
    quantities = tuple(meters)
    at_rest = by_state.pop(REST)
    return PlacedMeters(
        quantities=quantities,
        shares=np.array([meter.share for meter in meters.values()]),
        digit_limits=np.array([meter.digit_limit for meter in meters.values()]),
        at_rest=np.array(at_rest, np.int64),
        sources=np.array([_source(network, quantities[place]) for place in at_rest], np.int64),
        by_state=tuple(
            (
                state,
                np.array(places, np.int64),
                _meter_places(network, [quantities[place] for place in places]),
            )
            for state, places in by_state.items()
        ),
    )


def _source(network: MeasuredNetwork, quantity: Quantity) -> int:
    """Return the source whose EMF stands at each end of its circuits."""
    if quantity.what == SOURCE_VOLTAGE:
        return network.sources[quantity.subject]
    return network.circuits[quantity.subject].source


def _meter_places(network: MeasuredNetwork, quantities: Sequence[Quantity]) -> MeterPlaces:
    places = []
    for what, subject, _ in quantities:
        if what == SOURCE_VOLTAGE:
            places.append((network.source_nodes[subject], REFERENCE_NODE, NONE, NONE))
            continue
        circuit = network.circuits[subject]
        ends = circuit.ends(what)
        if ends is not None:
            places.append((*ends, NONE, NONE))
            continue
        part = circuit.part(what)
        over = NONE if part is None else part
        places.append((REFERENCE_NODE, REFERENCE_NODE, circuit.feed_branch, over))
    columns = np.array(places, np.int64).reshape(-1, 4).T
    return MeterPlaces(*np.ascontiguousarray(columns))


def propagated_expectations(
    network: MeasuredNetwork,
    meters: Mapping[Quantity, Meter],
    tolerances: Tolerances = USUAL,
) -> tuple[Expectation, ...]:
    """Return what a meter is expected to show of each quantity of the network as planned.

    Inputs are independent, but for the conductor of a circuit, which is one reel, and the
    temperature, which is one. Valid while what they do is nearly linear, and, at rest, where no two
    sources are joined.

    Parameters
    ----------
    network
        As planned.
    meters
        Wanted quantities, and the meter that each is taken with.
    tolerances
        What is not known of it.

    Returns
    -------
    tuple of Expectation
        In the order of ``meters``; the expected value is that of the plan.

    Raises
    ------
    EngineeringError
        ``no_operating_point`` where the plan has none in a state that is asked for.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 6.2.1 (memory): combined standard uncertainty of independent inputs,
    and the interval of a coverage factor around the estimate.
    """
    return expectations_of_meters(network, placed_meters(network, meters), tolerances)


def expectations_of_meters(
    network: MeasuredNetwork, meters: PlacedMeters, tolerances: Tolerances = USUAL
) -> tuple[Expectation, ...]:
    """Return the same as ``propagated_expectations`` with meters that are in their places.

    Parameters
    ----------
    network
        As planned.
    meters
        Placed in a network of the same shape.
    tolerances
        What is not known of it.

    Returns
    -------
    tuple of Expectation
        In the order of the meters.

    Raises
    ------
    EngineeringError
        ``no_operating_point``.
    """
    spread = _spread(tolerances)
    values, variances = np.empty(len(meters.quantities)), np.empty(len(meters.quantities))
    emf = network.planned.emf_v[0, meters.sources]
    values[meters.at_rest], variances[meters.at_rest] = emf, (spread.emf * emf) ** 2
    for state, wanted, places in meters.by_state:
        values[wanted], variances[wanted] = _under_load(network, state, places, spread)
    of_meter = RECTANGULAR**2 * ((meters.shares * values) ** 2 + meters.digit_limits**2)
    uncertainty = np.sqrt(variances + of_meter)
    low, high = values - COVERAGE_FACTOR * uncertainty, values + COVERAGE_FACTOR * uncertainty
    columns = (column.tolist() for column in (values, low, high, uncertainty))
    return tuple(
        [
            Expectation(quantity, value, least, most, deviation, FROM_PLAN)
            for quantity, value, least, most, deviation in zip(
                meters.quantities, *columns, strict=True
            )
        ]
    )


def _under_load(
    network: MeasuredNetwork, state: str, meters: MeterPlaces, spread: Spread
) -> tuple[Array, Array]:
    """Return what perfect meters show in a load state, and the variances of it."""
    elements = network.planned_elements(state)
    solution = solved_networks(network.shape, elements)
    if solution.state[0] != SOLVED:
        raise no_operating_point(state)
    values, variances = shown_with_variances(
        meters, solution, network.shape, elements, _fitted(network), spread
    )
    if np.isnan(variances).any():
        # So near to the collapse that nothing can be expected of a meter.
        raise no_operating_point(state)
    return values, variances


def _fitted(network: MeasuredNetwork) -> Fitted:
    branches = [
        (circuit.feed_branch, network.part_branch[circuit.return_parts[0]])
        for circuit in network.circuits.values()
    ]
    return Fitted(
        network.part_branch,
        np.ascontiguousarray(network.planned.part_resistance_ohm[0]),
        np.array(branches, np.int64).reshape(-1, 2),
    )


def _spread(tolerances: Tolerances) -> Spread:
    """Return one standard uncertainty of each kind of input."""
    return Spread(
        joint=lognormal_deviation(tolerances.joint_spread),
        reel=RECTANGULAR * tolerances.conductor_resistance_share,
        along=RECTANGULAR * tolerances.route_length_share,
        warmer_k=RECTANGULAR * tolerances.ambient_temperature_k,
        emf=RECTANGULAR * tolerances.emf_share,
        inner=lognormal_deviation(tolerances.source_resistance_spread),
        load=RECTANGULAR * tolerances.load_share,
    )


def lognormal_deviation(spread: float) -> float:
    """Return the standard deviation of a lognormal variable over its median.

    Parameters
    ----------
    spread
        Standard deviation of its logarithm [1], 0 or more.

    Returns
    -------
    float
        ``exp(s**2 / 2) sqrt(exp(s**2) - 1)``, the spread itself where that is small [1].
    """
    square = spread * spread
    return math.exp(0.5 * square) * math.sqrt(math.expm1(square))
