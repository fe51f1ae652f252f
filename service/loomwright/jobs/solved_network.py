"""The operating point of a stated network, element by element."""

import math

from loomwright.engineering.conductors.surroundings import surroundings
from loomwright.engineering.network.collapse import collapse_of_all_loads
from loomwright.engineering.network.conductor_stretches import candidate_of, conductor_stretches
from loomwright.engineering.network.draft import NetworkDraft, Stretch
from loomwright.engineering.network.elements import Solution
from loomwright.engineering.network.solver import SOLVED, solved_networks
from loomwright.engineering.record import record
from loomwright.jobs.network_document import (
    StatedBranch,
    StatedConductor,
    StatedNetwork,
    StatedSource,
)
from loomwright.jobs.solved_installation import STATES
from loomwright.tables.records import Tables

# What a source does at the operating point.
DELIVERING, AT_LIMIT, TAKING_BACK, IDLE = "delivering", "at_limit", "taking_back", "idle"
SOURCE_STATES = (DELIVERING, AT_LIMIT, TAKING_BACK, IDLE)


@record
class SourceState:
    """A source; its current is what it gives."""

    source: StatedSource
    state: str
    current_a: float
    terminal_voltage_v: float

    @property
    def power_w(self) -> float:
        """Power that it gives at its terminals [W], below 0 where it takes back."""
        return self.current_a * self.terminal_voltage_v


@record
class BranchState:
    """A branch; current and drop are positive from its start to its end.

    ``stretches`` and ``rises_k`` are those of its conductor, one for each segment. Temperature and
    ampacity are none without a conductor; the temperature also beyond the cap of the heat model,
    where the resistance is that at the cap.
    """

    branch: StatedBranch
    current_a: float
    voltage_drop_v: float
    resistance_ohm: float
    stretches: tuple[Stretch, ...]
    rises_k: tuple[float, ...]
    conductor_temperature_k: float | None
    ampacity_a: float | None

    @property
    def loss_w(self) -> float:
        """Power that it turns into heat [W]."""
        return self.current_a**2 * self.resistance_ohm

    @property
    def is_within_ampacity(self) -> bool | None:
        """Whether its current is within its ampacity; none without a conductor."""
        return None if self.ampacity_a is None else abs(self.current_a) <= self.ampacity_a


@record
class LoadState:
    """A load, all its parts together."""

    key: str
    current_a: float
    voltage_v: float

    @property
    def power_w(self) -> float:
        """Power that it takes [W]."""
        return self.current_a * self.voltage_v


@record
class SolvedNetwork:
    """The operating point of a stated network.

    ``state`` is one of ``STATES``. Without an operating point there are no nodes, sources, branches
    and loads, and the powers are NaN. ``greatest_factor`` is that on the constant power of all
    loads together at which the network has an operating point only just, and ``greatest_power_w``
    their constant power there; none without constant power, and where it was not found.
    """

    network: StatedNetwork
    state: str
    voltages_v: dict[str, float]
    sources: tuple[SourceState, ...]
    branches: tuple[BranchState, ...]
    loads: tuple[LoadState, ...]
    source_power_w: float
    load_power_w: float
    loss_w: float
    greatest_factor: float | None
    greatest_power_w: float | None
    iterations: int
    residual_a: float

    @property
    def imbalance_w(self) -> float:
        """Power of the sources less that of loads and losses [W], 0 but for rounding."""
        return self.source_power_w - self.load_power_w - self.loss_w


def solved_network(network: StatedNetwork, tables: Tables) -> SolvedNetwork:
    """Return the operating point of a network with all its loads on.

    Steady direct current; conductors at the temperature that their current brings them to.

    Parameters
    ----------
    network
        Every node is joined to the reference by branches and sources.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    SolvedNetwork
        Elements in the order of the network.
    """
    draft = drawn(network, tables)
    shape, elements = draft.shape(), draft.elements()
    solution = solved_networks(shape, elements)
    collapse = collapse_of_all_loads(shape, elements)
    factor = float(collapse.greatest_factor[0])
    has_greatest = math.isfinite(factor)
    state = int(solution.state[0])
    voltages: dict[str, float] = {}
    if state == SOLVED:
        found = solution.node_voltage_v[0].tolist()
        voltages = {name: found[place] for name, place in draft.nodes.items()}
    return SolvedNetwork(
        network=network,
        state=STATES[state],
        voltages_v=voltages,
        sources=_sources(network, voltages, solution) if voltages else (),
        branches=_branches(network, voltages, draft, solution, tables) if voltages else (),
        loads=_loads(network, voltages, solution) if voltages else (),
        source_power_w=float(solution.source_power_w[0]),
        load_power_w=float(solution.load_power_w[0]),
        loss_w=float(solution.loss_w[0]),
        greatest_factor=factor if has_greatest else None,
        greatest_power_w=float(collapse.greatest_power_w[0]) if has_greatest else None,
        iterations=int(solution.iterations[0]),
        residual_a=float(solution.residual_a[0]),
    )


def drawn(network: StatedNetwork, tables: Tables) -> NetworkDraft:
    """Return the draft of a stated network, nodes in the order in which they are named."""
    draft = NetworkDraft(nodes={network.reference: 0})
    for source in network.sources:
        limit = source.greatest_current_a
        draft.source(
            source.key,
            source.minus,
            source.plus,
            source.emf_v,
            source.resistance_ohm,
            greatest_current_a=math.inf if limit is None else limit,
            takes_back=source.takes_back,
        )
    for branch in network.branches:
        stretches = _stretches(branch.conductor, tables) if branch.conductor else ()
        draft.branch(branch.key, branch.start, branch.end, branch.fixed_resistance_ohm, stretches)
    for load in network.loads:
        ohm = load.resistance_ohm
        draft.load(
            load.key,
            load.plus,
            load.minus,
            power_w=load.power_w,
            current_a=load.current_a,
            conductance_s=0.0 if ohm is None else 1.0 / ohm,
        )
    return draft


def _stretches(conductor: StatedConductor, tables: Tables) -> tuple[Stretch, ...]:
    return conductor_stretches(conductor.request, candidate_of(conductor.request), tables)


def _sources(
    network: StatedNetwork, voltages: dict[str, float], solution: Solution
) -> tuple[SourceState, ...]:
    currents = solution.source_current_a[0].tolist()
    return tuple(
        [
            SourceState(
                source=source,
                state=_source_state(source, current),
                current_a=current,
                terminal_voltage_v=voltages[source.plus] - voltages[source.minus],
            )
            for source, current in zip(network.sources, currents, strict=True)
        ]
    )


def _source_state(source: StatedSource, current_a: float) -> str:
    if source.greatest_current_a is not None and current_a >= source.greatest_current_a:
        return AT_LIMIT
    if current_a == 0.0:
        return IDLE
    return DELIVERING if current_a > 0.0 else TAKING_BACK


def _branches(
    network: StatedNetwork,
    voltages: dict[str, float],
    draft: NetworkDraft,
    solution: Solution,
    tables: Tables,
) -> tuple[BranchState, ...]:
    places: dict[int, list[int]] = {}
    for place, (of_branch, _) in enumerate(draft.stretches):
        places.setdefault(of_branch, []).append(place)
    currents = solution.branch_current_a[0].tolist()
    resistances = solution.branch_resistance_ohm[0].tolist()
    found = []
    for index, branch in enumerate(network.branches):
        own = places.get(index, [])
        rises = tuple([float(solution.stretch_rise_k[0, place]) for place in own])
        is_modelled = not any(bool(solution.above_cap[0, place]) for place in own)
        found.append(
            BranchState(
                branch=branch,
                current_a=currents[index],
                voltage_drop_v=voltages[branch.start] - voltages[branch.end],
                resistance_ohm=resistances[index],
                stretches=tuple([draft.stretches[place][1] for place in own]),
                rises_k=rises,
                conductor_temperature_k=_hottest_k(branch.conductor, rises)
                if branch.conductor and is_modelled
                else None,
                ampacity_a=_ampacity_a(branch.conductor, tables) if branch.conductor else None,
            )
        )
    return tuple(found)


def _hottest_k(conductor: StatedConductor, rises_k: tuple[float, ...]) -> float:
    ambients = [segment.ambient_temperature_k for segment in conductor.request.segments]
    return max(ambient + rise for ambient, rise in zip(ambients, rises_k, strict=True))


def _ampacity_a(conductor: StatedConductor, tables: Tables) -> float:
    frame = surroundings(conductor.request, tables).frame
    return float(frame.ampacity_a[candidate_of(conductor.request)])


def _loads(
    network: StatedNetwork, voltages: dict[str, float], solution: Solution
) -> tuple[LoadState, ...]:
    currents = solution.load_current_a[0].tolist()
    return tuple(
        [
            LoadState(load.key, current, voltages[load.plus] - voltages[load.minus])
            for load, current in zip(network.loads, currents, strict=True)
        ]
    )
