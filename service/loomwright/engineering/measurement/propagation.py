"""What a meter is expected to show, by the law of propagation of uncertainty.

The network is solved once; its slopes at the operating point say what each uncertain input does to
each voltage and current. A hundred times quicker than drawing variants, and as good while the
deviations are small; ``expected`` draws them, for the verdict on a reading.
"""

import math
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.expected import FROM_PLAN, Expectation, no_operating_point
from loomwright.engineering.measurement.measured_network import (
    REST,
    SOURCE_VOLTAGE,
    MeasuredNetwork,
    Quantity,
)
from loomwright.engineering.measurement.meter import RECTANGULAR, Meter
from loomwright.engineering.measurement.uncertainty import USUAL, Tolerances
from loomwright.engineering.network.currents import balance, heated_branches
from loomwright.engineering.network.elements import Elements, Places, Shape, Solution
from loomwright.engineering.network.solver import SOLVED, solved_networks
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]

# JCGM 100:2008, table G.1 (memory): 95 % of a normal distribution.
COVERAGE_FACTOR = 1.96


@record
class _Deviations:
    """What one standard uncertainty of each input does, inputs as columns.

    ``voltage_v`` of each node with the reference first, ``current_a`` of each branch,
    ``resistance_ohm`` of each part.
    """

    voltage_v: Array
    current_a: Array
    resistance_ohm: Array


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
    by_state = {}
    for state in dict.fromkeys(key.state for key in meters if key.state != REST):
        elements = network.planned_elements(state)
        solution = solved_networks(network.shape, elements)
        if solution.state[0] != SOLVED:
            raise no_operating_point(state)
        by_state[state] = solution, _deviations(network, elements, solution, tolerances)
    figures = [
        _at_rest(network, key, tolerances)
        if key.state == REST
        else _under_load(network, key, *by_state[key.state])
        for key in meters
    ]
    values = np.array([value for value, _ in figures])
    variances = np.array([variance for _, variance in figures])
    shares = np.array([meter.share for meter in meters.values()])
    digits = np.array([meter.digit_limit for meter in meters.values()])
    of_meter = RECTANGULAR**2 * ((shares * values) ** 2 + digits**2)
    uncertainty = np.sqrt(variances + of_meter)
    low, high = values - COVERAGE_FACTOR * uncertainty, values + COVERAGE_FACTOR * uncertainty
    columns = (column.tolist() for column in (values, low, high, uncertainty))
    return tuple(
        Expectation(quantity, value, least, most, deviation, FROM_PLAN)
        for quantity, value, least, most, deviation in zip(meters, *columns, strict=True)
    )


def _at_rest(
    network: MeasuredNetwork, quantity: Quantity, tolerances: Tolerances
) -> tuple[float, float]:
    """Return the EMF of the source, which stands at each end of its circuits, and its variance."""
    if quantity.what == SOURCE_VOLTAGE:
        source = network.sources[quantity.subject]
    else:
        source = network.circuits[quantity.subject].source
    emf = float(network.planned.emf_v[0, source])
    return emf, (RECTANGULAR * tolerances.emf_share * emf) ** 2


def _under_load(
    network: MeasuredNetwork, quantity: Quantity, solution: Solution, deviations: _Deviations
) -> tuple[float, float]:
    """Return what a perfect meter shows under load, and its variance."""
    inputs = _shown_deviations(network, quantity, solution, deviations)
    return float(network.shown(quantity, solution, network.planned)[0]), float(inputs @ inputs)


def _shown_deviations(
    network: MeasuredNetwork, quantity: Quantity, solution: Solution, deviations: _Deviations
) -> Array:
    """Return what one standard uncertainty of each input does to what a meter shows."""
    voltage = deviations.voltage_v
    if quantity.what == SOURCE_VOLTAGE:
        return np.asarray(voltage[network.source_nodes[quantity.subject]])
    places = network.circuits[quantity.subject]
    through = deviations.current_a[places.feed_branch]
    if (ends := places.ends(quantity.what)) is not None:
        return np.asarray(voltage[ends[0]] - voltage[ends[1]])
    if (part := places.part(quantity.what)) is not None:
        current = solution.branch_current_a[0, places.feed_branch]
        resistance = network.planned.part_resistance_ohm[0, part]
        return np.asarray(through * resistance + current * deviations.resistance_ohm[part])
    return np.asarray(through)


def _deviations(
    network: MeasuredNetwork, elements: Elements, solution: Solution, tolerances: Tolerances
) -> _Deviations:
    """Return what the inputs do to the solved network.

    ``F(V, p) = 0`` at each node gives ``dV/dp = -(dF/dV)^-1 dF/dp``.
    """
    shape = network.shape
    loads = np.ones(shape.load_plus.size)
    slopes = balance(
        solution.node_voltage_v[0].copy(),
        solution.branch_current_a[0].copy(),
        0,
        loads,
        shape,
        elements,
    ).slopes
    conductance = _branch_conductance_s(elements, solution, shape)
    of_branches, of_parts, of_sources, of_loads = _element_deviations(
        network, elements, solution, conductance, tolerances
    )
    ends = (
        (_incidence(shape, shape.branch_from, shape.branch_to), of_branches),
        (_incidence(shape, shape.source_minus, shape.source_plus), of_sources),
        (_incidence(shape, shape.load_plus, shape.load_minus), of_loads),
    )
    left_over = sum(incidence @ of_element for incidence, of_element in ends)
    voltage = np.zeros((shape.node_count, of_branches.shape[1]))
    voltage[1:] = -np.linalg.solve(slopes, left_over)
    drops = voltage[shape.branch_from] - voltage[shape.branch_to]
    return _Deviations(voltage, conductance[:, None] * drops + of_branches, of_parts)


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


def _branch_conductance_s(elements: Elements, solution: Solution, shape: Shape) -> Array:
    """Return the differential conductance of each branch [S]."""
    current = solution.branch_current_a[0]
    resistance, slope, _ = heated_branches(current, 0, shape, elements)
    return np.asarray(1.0 / (resistance + np.abs(current) * slope))


def _element_deviations(
    network: MeasuredNetwork,
    elements: Elements,
    solution: Solution,
    conductance_s: Array,
    tolerances: Tolerances,
) -> tuple[Array, Array, Array, Array]:
    """Return what one standard uncertainty of each input does at unchanged voltages.

    To the currents of branches [A], the resistances of parts [ohm], the currents of sources [A] and
    of loads [A]; inputs as columns: parts, three of each circuit, the temperature, EMF and
    resistance of each source, loads.
    """
    shape, planned = network.shape, network.planned
    parts, circuits = network.part_branch.size, len(network.circuits)
    sources, loads = shape.source_plus.size, shape.load_plus.size
    warmer = parts + 3 * circuits
    emf, inner = warmer + 1, warmer + 1 + sources
    load = inner + sources
    inputs = load + loads
    ohm = np.zeros((shape.branch_from.size, inputs))
    of_parts = np.zeros((parts, inputs))
    every = np.arange(parts)
    of_parts[every, every] = (
        lognormal_deviation(tolerances.joint_spread) * (planned.part_resistance_ohm[0])
    )
    ohm[network.part_branch, every] = of_parts[every, every]
    conductors, per_kelvin = _conductors_ohm(elements, solution, shape)
    reel = RECTANGULAR * tolerances.conductor_resistance_share
    along = RECTANGULAR * tolerances.route_length_share
    for place, circuit in enumerate(network.circuits.values()):
        column = parts + 3 * place
        for way, branch in enumerate(
            (circuit.feed_branch, network.part_branch[circuit.return_parts[0]])
        ):
            ohm[branch, column] = reel * conductors[branch]
            ohm[branch, column + 1 + way] = along * conductors[branch]
    ohm[:, warmer] = RECTANGULAR * tolerances.ambient_temperature_k * per_kelvin
    current = solution.branch_current_a[0]
    of_branches = -(current * conductance_s)[:, None] * ohm
    of_sources, of_loads = np.zeros((sources, inputs)), np.zeros((loads, inputs))
    every = np.arange(sources)
    given, resistance = solution.source_current_a[0], elements.source_resistance_ohm[0]
    # A source at rest stands on the edge of its range and still holds the voltage.
    free = (given < elements.greatest_current_a[0]) & (given >= elements.least_current_a[0])
    of_sources[every, emf + every] = (
        free * RECTANGULAR * tolerances.emf_share * elements.emf_v[0] / resistance
    )
    of_sources[every, inner + every] = (
        free * -lognormal_deviation(tolerances.source_resistance_spread) * given
    )
    every = np.arange(loads)
    of_loads[every, load + every] = RECTANGULAR * tolerances.load_share * solution.load_current_a[0]
    return of_branches, of_parts, of_sources, of_loads


def _conductors_ohm(elements: Elements, solution: Solution, shape: Shape) -> tuple[Array, Array]:
    """Return the resistance of the conductors of each branch [ohm], and what a kelvin adds."""
    per_kelvin = np.zeros(shape.branch_from.size)
    np.add.at(per_kelvin, shape.stretch_branch, elements.resistance_slope_ohm_per_k[0])
    return solution.branch_resistance_ohm[0] - elements.fixed_resistance_ohm[0], per_kelvin


def _incidence(shape: Shape, out_of: Places, into: Places) -> Array:
    """Return nodes by elements: 1 where the current leaves a node, -1 where it enters one."""
    found = np.zeros((shape.node_count, out_of.size))
    every = np.arange(out_of.size)
    found[out_of, every] = 1.0
    found[into, every] -= 1.0
    return found[1:]
