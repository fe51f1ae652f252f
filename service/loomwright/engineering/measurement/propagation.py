"""What a meter is expected to show, by the law of propagation of uncertainty.

The network is solved once; its slopes at the operating point say what each uncertain input does to
each voltage and current. A hundred times quicker than drawing variants, and as good while the
deviations are small; ``expected`` draws them, for the verdict on a reading.
"""

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.deviations import NONE, Fitted, MeterPlaces, Spread
from loomwright.engineering.measurement.expected import (
    FROM_PLAN,
    Expectation,
    no_operating_point,
)
from loomwright.engineering.measurement.measured_network import (
    REST,
    SOURCE_VOLTAGE,
    MeasuredNetwork,
    Quantity,
)
from loomwright.engineering.measurement.meter import RECTANGULAR, Meter
from loomwright.engineering.measurement.metered_state import MeteredState, expected_in_state
from loomwright.engineering.measurement.uncertainty import USUAL, Tolerances
from loomwright.engineering.network.elements import Elements, Shape
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

REFERENCE_NODE = 0


@record
class PlacedMeters:
    """Meters as they are put into networks of one shape.

    Parameters
    ----------
    quantities
        What is taken, in the order of the answer.
    shape
        Of the networks.
    by_state
        Name of each load state, places in ``quantities`` of what is taken in it, and the state.
        What is taken at rest is with the first of them.
    """

    quantities: tuple[Quantity, ...]
    shape: Shape
    by_state: tuple[tuple[str, Places, MeteredState], ...]


@record
class ExpectedReadings:
    """What meters are expected to show.

    Parameters
    ----------
    quantities
        Of which, in the order of the answer.
    figures
        Rows of expected values, of lower and upper limits of the 95 % coverage interval and of
        standard uncertainties [V], [A], by quantities.
    """

    quantities: tuple[Quantity, ...]
    figures: Array

    @property
    def each(self) -> tuple[Expectation, ...]:
        """The same by quantity."""
        return tuple(
            Expectation(quantity, value, low, high, uncertainty, FROM_PLAN)
            for quantity, value, low, high, uncertainty in zip(
                self.quantities, *self.figures.tolist(), strict=True
            )
        )


NO_READINGS = ExpectedReadings((), np.empty((4, 0)))


def placed_meters(
    network: MeasuredNetwork, meters: Mapping[Quantity, Meter], warmer_k: Array | None = None
) -> PlacedMeters:
    """Return where the meters are put that quantities are taken with.

    Parameters
    ----------
    network
        A network; for others of its shape with the same circuits the places are the same.
    meters
        Wanted quantities, and the meter that each is taken with.
    warmer_k
        By how much each stretch is warmer before it carries current than the resistances of the
        networks are stated for, one row [K]; not at all if absent.

    Returns
    -------
    PlacedMeters
        In the order of ``meters``.
    """
    by_state: dict[str, list[int]] = {}
    at_rest: list[int] = []
    for place, quantity in enumerate(meters):
        of_state = at_rest if quantity.state == REST else by_state.setdefault(quantity.state, [])
        of_state.append(place)
    # What is taken at rest needs no network of its own: it comes along with the first state.
    first = next(iter(by_state), REST)
    by_state[first] = [*at_rest, *by_state.get(first, ())]
    quantities, known = tuple(meters), tuple(meters.values())
    warmer = np.zeros_like(network.elements.share_per_ampere) if warmer_k is None else warmer_k
    return PlacedMeters(
        quantities,
        network.shape,
        tuple(
            (
                state,
                np.array(places, np.int64),
                _metered_state(
                    network,
                    state,
                    [quantities[place] for place in places],
                    [known[place] for place in places],
                    warmer,
                ),
            )
            for state, places in by_state.items()
        ),
    )


def _metered_state(
    network: MeasuredNetwork,
    state: str,
    quantities: Sequence[Quantity],
    meters: Sequence[Meter],
    warmer_k: Array,
) -> MeteredState:
    on = {network.circuits[key].load for key in network.states[state]}
    part_ohm = network.planned.part_resistance_ohm[0]
    branches = network.shape.branch_from.size
    of_branches = np.bincount(network.part_branch, part_ohm, minlength=branches)
    return MeteredState(
        meters=_meter_places(network, quantities),
        at_rest=np.array([_at_rest(network, quantity) for quantity in quantities], np.int64),
        shares=np.array([meter.share for meter in meters]),
        digit_limits=np.array([meter.digit_limit for meter in meters]),
        fitted=_fitted(network),
        fixed_resistance_ohm=np.asarray(of_branches, np.float64).reshape(1, -1),
        warmer_k=warmer_k,
        is_on=np.array([load in on for load in range(network.shape.load_plus.size)], np.bool_),
    )


def _at_rest(network: MeasuredNetwork, quantity: Quantity) -> int:
    """Return the source whose EMF stands at each end of its circuits, for what is taken at rest."""
    if quantity.state != REST:
        return NONE
    if quantity.what == SOURCE_VOLTAGE:
        return network.sources[quantity.subject]
    return network.circuits[quantity.subject].source


def _meter_places(network: MeasuredNetwork, quantities: Sequence[Quantity]) -> MeterPlaces:
    places = []
    for what, subject, state in quantities:
        if state == REST:
            places.append((REFERENCE_NODE, REFERENCE_NODE, NONE, NONE))
            continue
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
    placed = placed_meters(network, meters)
    return expected_readings(placed, network.planned_elements, tolerances).each


def expected_readings(
    meters: PlacedMeters, elements: Elements, tolerances: Tolerances = USUAL
) -> ExpectedReadings:
    """Return the same as ``propagated_expectations`` with meters that are in their places.

    Parameters
    ----------
    meters
        Placed in networks of one shape.
    elements
        One of these networks, with everything switched on.
    tolerances
        What is not known of it.

    Returns
    -------
    ExpectedReadings
        In the order of the meters.

    Raises
    ------
    EngineeringError
        ``no_operating_point``.
    """
    spread = _spread(tolerances)
    figures = np.empty((4, len(meters.quantities)))
    for state, places, metered in meters.by_state:
        figures[:, places], is_known = expected_in_state(metered, meters.shape, elements, spread)
        if not is_known:
            # There is no such point, or so near to the collapse nothing can be expected of a meter.
            raise no_operating_point(state)
    return ExpectedReadings(meters.quantities, figures)


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


@lru_cache(maxsize=16)
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
