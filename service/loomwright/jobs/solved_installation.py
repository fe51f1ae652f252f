"""The solved network of a job, circuit by circuit."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from loomwright.engineering.network.elements import Solution
from loomwright.engineering.network.solver import (
    NO_OPERATING_POINT,
    NOT_SETTLED,
    SOLVED,
    solved_networks,
)
from loomwright.engineering.record import record
from loomwright.jobs.circuit_conductors import CircuitConductor
from loomwright.jobs.installation_network import FittedCircuit, InstallationNetwork, drawn_circuits
from loomwright.jobs.job import Job
from loomwright.jobs.job_networks import JobNetworks
from loomwright.tables.records import Tables

STATES = {
    SOLVED: "solved",
    NO_OPERATING_POINT: "no_operating_point",
    NOT_SETTLED: "not_settled",
}


@record
class CircuitState:
    """A circuit while everything draws.

    ``feeding_voltage_v`` is between the two ends that feed it, ``ground_potential_v`` that of the
    negative side of its load over the negative pole of the source. ``conductor_temperature_k`` is
    that of its hottest stretch.
    """

    circuit: str
    current_a: float
    feeding_voltage_v: float
    load_voltage_v: float
    ground_potential_v: float
    conductor_temperature_k: float
    loss_w: float

    @property
    def voltage_drop_v(self) -> float:
        """What feed and return lose together [V]."""
        return self.feeding_voltage_v - self.load_voltage_v


@record
class SourceState:
    """A source while everything draws; its current is what it gives."""

    source: str
    current_a: float
    terminal_voltage_v: float


@record
class SolvedInstallation:
    """The operating point of a job's network.

    ``state`` is one of ``STATES``. Without an operating point there are neither circuits nor
    sources, and the powers are NaN.
    """

    state: str
    network: InstallationNetwork
    circuits: Mapping[str, CircuitState]
    sources: Mapping[str, SourceState]
    source_power_w: float
    load_power_w: float
    loss_w: float
    iterations: int
    residual_a: float

    @property
    def load_voltages_v(self) -> dict[str, float]:
        """Voltage at the end of each circuit [V], by its key."""
        return {key: state.load_voltage_v for key, state in self.circuits.items()}


class JobSolutions:
    """Operating points of one job's networks, each found once.

    Lives for one request. What solves a network are its conductors and its loads: where a circuit
    is sized again and comes to the conductor that it had, the operating point is the one before.

    Parameters
    ----------
    tables
        Tables of the engineering.
    """

    def __init__(self, tables: Tables) -> None:
        self._networks = JobNetworks(tables)
        self._found: dict[_Case, SolvedInstallation] = {}
        self._places: dict[tuple[str, ...], list[_CircuitPlaces]] = {}

    def of(
        self,
        job: Job,
        sized: Sequence[FittedCircuit],
        conductors: Mapping[str, CircuitConductor],
    ) -> SolvedInstallation:
        """Return the operating point of a job with all its loads on.

        Parameters
        ----------
        job
            The job, with the loads that draw; no more than allowances and loads may differ from
            one call to the next.
        sized
            Its circuits, each with the conductor that is fitted.
        conductors
            What each was sized for.

        Returns
        -------
        SolvedInstallation
            Every circuit that has a conductor, in the order of the job.
        """
        candidates = drawn_circuits(sized, conductors)
        case = (tuple(candidates.items()), tuple(job.drawn_by_circuit.items()))
        found = self._found.get(case)
        if found is None:
            network = self._networks.of(job, sized, conductors, candidates)
            found = self._found[case] = self._solved(network, conductors)
        return found

    def _solved(
        self, network: InstallationNetwork, conductors: Mapping[str, CircuitConductor]
    ) -> SolvedInstallation:
        solution = solved_networks(network.shape, network.elements)
        state = int(solution.state[0])
        found = state == SOLVED
        return SolvedInstallation(
            state=STATES[state],
            network=network,
            circuits=_circuits(self._places_of(network, conductors), solution) if found else {},
            sources=_sources(network, solution) if found else {},
            source_power_w=float(solution.source_power_w[0]),
            load_power_w=float(solution.load_power_w[0]),
            loss_w=float(solution.loss_w[0]),
            iterations=int(solution.iterations[0]),
            residual_a=float(solution.residual_a[0]),
        )

    def _places_of(
        self, network: InstallationNetwork, conductors: Mapping[str, CircuitConductor]
    ) -> "list[_CircuitPlaces]":
        circuits = tuple(network.supply_nodes)
        found = self._places.get(circuits)
        if found is None:
            found = [_circuit_places(network, key, conductors[key]) for key in circuits]
            self._places[circuits] = found
        return found


# Candidates and loads of the circuits that are drawn, by their keys.
_Case = tuple[tuple[tuple[str, int], ...], tuple[tuple[str, tuple[float, float]], ...]]


class _CircuitPlaces(NamedTuple):
    """Where a solution has what belongs to a circuit, and the ambient of each stretch [K]."""

    circuit: str
    feed: int
    back: int
    supply: int
    return_: int
    plus: int
    minus: int
    stretches: tuple[tuple[int, float], ...]


def _circuit_places(
    network: InstallationNetwork, key: str, conductor: CircuitConductor
) -> _CircuitPlaces:
    assert conductor.request is not None  # it is drawn, so it was sized
    feed, back = f"{key}.feed", f"{key}.return"
    # The stretches of the feed come first; those of a return conductor repeat the route.
    places = (*network.stretches.get(feed, ()), *network.stretches.get(back, ()))
    segments = conductor.request.segments
    ambients_k = [
        segments[number % len(segments)].ambient_temperature_k for number in range(len(places))
    ]
    return _CircuitPlaces(
        key,
        network.branches[feed],
        network.branches[back],
        network.supply_nodes[key],
        network.return_nodes[key],
        network.nodes[f"{key}.load_plus"],
        network.nodes[f"{key}.load_minus"],
        tuple(zip(places, ambients_k, strict=True)),
    )


def _circuits(circuits: list[_CircuitPlaces], solution: Solution) -> dict[str, CircuitState]:
    voltage = solution.node_voltage_v[0].tolist()
    current = solution.branch_current_a[0].tolist()
    resistance = solution.branch_resistance_ohm[0].tolist()
    rise = solution.stretch_rise_k[0].tolist()
    # In the order of the fields; by name they would take twice as long.
    return {
        key: CircuitState(
            key,
            current[feed],
            voltage[supply] - voltage[return_],
            voltage[plus] - voltage[minus],
            voltage[minus],
            max([ambient_k + rise[place] for place, ambient_k in stretches]),
            current[feed] ** 2 * resistance[feed] + current[back] ** 2 * resistance[back],
        )
        for key, feed, back, supply, return_, plus, minus, stretches in circuits
    }


def _sources(network: InstallationNetwork, solution: Solution) -> dict[str, SourceState]:
    current = solution.source_current_a[0].tolist()
    voltage = solution.node_voltage_v[0].tolist()
    return {
        name: SourceState(name, current[place], voltage[network.nodes[f"{name}.plus"]])
        for name, place in network.sources.items()
    }


def power_imbalance_w(solved: SolvedInstallation) -> float:
    """Return source power less load power and loss [W], which rounding alone keeps from 0."""
    return solved.source_power_w - solved.load_power_w - solved.loss_w
