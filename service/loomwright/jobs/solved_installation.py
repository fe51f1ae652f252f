"""The solved network of a job, circuit by circuit."""

from collections.abc import Mapping, Sequence

from loomwright.engineering.network.elements import Solution
from loomwright.engineering.network.solver import (
    NO_OPERATING_POINT,
    NOT_SETTLED,
    SOLVED,
    solved_networks,
)
from loomwright.engineering.record import record
from loomwright.jobs.circuit_conductors import CircuitConductor
from loomwright.jobs.installation_network import (
    InstallationNetwork,
    network_with_loads,
)
from loomwright.jobs.job import Job
from loomwright.jobs.job_networks import JobNetworks
from loomwright.jobs.sized_circuit import SizedCircuit

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


def solved_installation(
    job: Job,
    sized: Sequence[SizedCircuit],
    conductors: Mapping[str, CircuitConductor],
    networks: JobNetworks,
) -> SolvedInstallation:
    """Return the operating point of a job with all its loads on.

    Parameters
    ----------
    job
        The job, with the loads that draw.
    sized
        Its circuits, each with the conductor that is fitted.
    conductors
        What each was sized for.
    networks
        Networks of the job.

    Returns
    -------
    SolvedInstallation
        Every circuit that has a conductor, in the order of the job.
    """
    return _solved(networks.of(job, sized, conductors), conductors)


def with_loads_of(
    job: Job, solved: SolvedInstallation, conductors: Mapping[str, CircuitConductor]
) -> SolvedInstallation:
    """Return a solved installation with the loads of another job on the same circuits.

    Parameters
    ----------
    job
        The job whose loads draw.
    solved
        An installation of the same circuits.
    conductors
        What each circuit was sized for.

    Returns
    -------
    SolvedInstallation
        The same network, solved again.
    """
    return _solved(network_with_loads(solved.network, job), conductors)


def _solved(
    network: InstallationNetwork, conductors: Mapping[str, CircuitConductor]
) -> SolvedInstallation:
    solution = solved_networks(network.shape, network.elements)
    state = int(solution.state[0])
    found = state == SOLVED
    return SolvedInstallation(
        state=STATES[state],
        network=network,
        circuits=_circuits(network, conductors, solution) if found else {},
        sources=_sources(network, solution) if found else {},
        source_power_w=float(solution.source_power_w[0]),
        load_power_w=float(solution.load_power_w[0]),
        loss_w=float(solution.loss_w[0]),
        iterations=int(solution.iterations[0]),
        residual_a=float(solution.residual_a[0]),
    )


def _circuits(
    network: InstallationNetwork, conductors: Mapping[str, CircuitConductor], solution: Solution
) -> dict[str, CircuitState]:
    voltage = solution.node_voltage_v[0].tolist()
    current = solution.branch_current_a[0].tolist()
    resistance = solution.branch_resistance_ohm[0].tolist()
    rise = solution.stretch_rise_k[0].tolist()
    found = {}
    nodes, branches, stretches = network.nodes, network.branches, network.stretches
    for key, supply in network.supply_nodes.items():
        feed_name, back_name = f"{key}.feed", f"{key}.return"
        feed, back = branches[feed_name], branches[back_name]
        plus, minus = nodes[f"{key}.load_plus"], nodes[f"{key}.load_minus"]
        request = conductors[key].request
        assert request is not None  # it is drawn, so it was sized
        # The stretches of the feed come first; those of a return conductor repeat the route.
        places = (*stretches.get(feed_name, ()), *stretches.get(back_name, ()))
        along = len(request.segments)
        found[key] = CircuitState(
            circuit=key,
            current_a=current[feed],
            feeding_voltage_v=voltage[supply] - voltage[network.return_nodes[key]],
            load_voltage_v=voltage[plus] - voltage[minus],
            ground_potential_v=voltage[minus],
            conductor_temperature_k=max(
                [
                    request.segments[number % along].ambient_temperature_k + rise[place]
                    for number, place in enumerate(places)
                ]
            ),
            loss_w=current[feed] ** 2 * resistance[feed] + current[back] ** 2 * resistance[back],
        )
    return found


def _sources(network: InstallationNetwork, solution: Solution) -> dict[str, SourceState]:
    return {
        name: SourceState(
            source=name,
            current_a=float(solution.source_current_a[0, place]),
            terminal_voltage_v=float(solution.node_voltage_v[0, network.nodes[f"{name}.plus"]]),
        )
        for name, place in network.sources.items()
    }


def power_imbalance_w(solved: SolvedInstallation) -> float:
    """Return source power less load power and loss [W], which rounding alone keeps from 0."""
    return solved.source_power_w - solved.load_power_w - solved.loss_w
