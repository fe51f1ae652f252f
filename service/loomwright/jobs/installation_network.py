"""A whole job as one direct-current network: sources, circuits, ground paths and loads.

What lies in series is one branch, so that few nodes are left to solve: the current of a branch is
that of each of its parts, and the drop over a part follows from it.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, Protocol

import numpy as np

from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.network.conductor_stretches import conductor_stretches
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft, Stretch
from loomwright.engineering.network.elements import Elements, Shape
from loomwright.jobs.circuit_conductors import CircuitConductor, feeders
from loomwright.jobs.circuit_sources import CONVERTER, working_resistance_ohm
from loomwright.jobs.job import Circuit, Job, PowerSource
from loomwright.jobs.job_members import CHASSIS
from loomwright.tables.records import Tables

# Six crimped joints with a tenth each, and four tenths for the fuse in its holder; the fuse has two
# of the joints, each end of the feed one and the return two: common practice, no source.
SOURCE_LUG, FUSE, LOAD_LUG, RETURN_LUGS = "source_lug", "fuse", "load_lug", "return_lugs"
GROUND = "chassis"
JOINT_SHARES = {SOURCE_LUG: 0.1, FUSE: 0.6, LOAD_LUG: 0.1, RETURN_LUGS: 0.2}
# What is stated to have no resistance has this much: the solver asks for some.
LEAST_PART_OHM = 1e-6


class FittedCircuit(Protocol):
    """What of a circuit its network is drawn of, before its fuse is chosen and after."""

    @property
    def circuit(self) -> Circuit:
        """The circuit as it is stated."""

    @property
    def candidate(self) -> int | None:
        """Index of its conductor among the candidates, or ``None`` where it has none."""


class Part(NamedTuple):
    """A part of a branch whose resistance no current changes.

    Parameters
    ----------
    branch
        Place of the branch among those of the network.
    resistance_ohm
        Resistance [ohm].
    """

    branch: int
    resistance_ohm: float


@dataclass(frozen=True, slots=True, eq=False)
class InstallationNetwork:
    """The network of a job, and where its elements are.

    Nodes are ``<source>.plus``, ``<circuit>.load_plus`` and ``<circuit>.load_minus``; branches are
    ``<circuit>.feed`` and ``<circuit>.return``; parts ``<circuit>.`` and one of ``JOINT_SHARES`` or
    ``chassis``. Sources and loads are named by source and circuit. The negative terminals of all
    sources are the reference.

    Parameters
    ----------
    shape, elements
        As the solver takes them; the elements have one row.
    nodes, branches, sources, loads
        Place of each, by name.
    parts
        By name; those of a branch add up to what of it is fixed.
    stretches
        Places of the conductor stretches of each branch that has some, by name of the branch.
    supply_nodes, return_nodes
        Node that each circuit is fed from, and the one that its current goes back to, by circuit.
    left_out
        Circuits that have no conductor, or are fed from one of those.
    """

    shape: Shape
    elements: Elements
    nodes: Mapping[str, int]
    branches: Mapping[str, int]
    sources: Mapping[str, int]
    loads: Mapping[str, int]
    parts: Mapping[str, Part]
    stretches: Mapping[str, tuple[int, ...]]
    supply_nodes: Mapping[str, int]
    return_nodes: Mapping[str, int]
    left_out: tuple[str, ...]


def installation_network(
    job: Job,
    sized: Sequence[FittedCircuit],
    conductors: Mapping[str, CircuitConductor],
    tables: Tables,
    among: Collection[str] | None = None,
) -> InstallationNetwork:
    """Return the network of a job with all its loads on.

    Steady direct current. A return by chassis ends at the negative terminal of the source, one by
    conductor where the circuit is fed from. A circuit that charges a source has no load here.

    Parameters
    ----------
    job
        The job.
    sized
        Its circuits, each with the conductor that is fitted.
    conductors
        What each was sized for.
    tables
        Tables of the engineering.
    among
        Circuits to draw, with those that feed them; all if none are named.

    Returns
    -------
    InstallationNetwork
        The network; without circuits it has its sources alone.
    """
    draft = NetworkDraft()
    parts: dict[str, Part] = {}
    supply_nodes: dict[str, int] = {}
    return_nodes: dict[str, int] = {}
    left_out: list[str] = []
    for source in job.power_sources.values():
        _draw_source(draft, source)
    wanted = _with_feeders(job, among)
    candidates = drawn_circuits(sized, conductors)
    for entry in sized:
        circuit, request = entry.circuit, conductors[entry.circuit.key].request
        if circuit.key not in wanted:
            continue
        if circuit.key not in candidates or request is None:
            left_out.append(circuit.key)
            continue
        by_source = circuit.fed_from in job.power_sources
        supply = f"{circuit.fed_from}.{'plus' if by_source else 'load_plus'}"
        by_chassis = circuit.return_path.path == CHASSIS
        back = REFERENCE if by_chassis or by_source else f"{circuit.fed_from}.load_minus"
        supply_nodes[circuit.key] = draft.node(supply)
        return_nodes[circuit.key] = draft.node(back)
        _draw_conductors(
            draft, parts, circuit, (supply, back), request, candidates[circuit.key], tables
        )
        _draw_load(draft, job, circuit)
    return InstallationNetwork(
        shape=draft.shape(),
        elements=draft.elements(),
        nodes=draft.nodes,
        branches={name: place for place, name in enumerate(draft.branches)},
        sources={name: place for place, name in enumerate(draft.sources)},
        loads={name: place for place, name in enumerate(draft.loads)},
        parts=parts,
        stretches=_stretch_places(draft),
        supply_nodes=supply_nodes,
        return_nodes=return_nodes,
        left_out=tuple(left_out),
    )


def drawn_circuits(
    sized: Sequence[FittedCircuit], conductors: Mapping[str, CircuitConductor]
) -> dict[str, int]:
    """Return the circuits that are drawn, with the candidate that each is fitted with.

    Parameters
    ----------
    sized
        Circuits, each after the one that feeds it.
    conductors
        What each was sized for.

    Returns
    -------
    dict
        Candidates by key of the circuit, without those that have no conductor or are fed from one
        of those.
    """
    found: dict[str, int] = {}
    left_out: set[str] = set()
    for entry in sized:
        circuit, candidate = entry.circuit, entry.candidate
        is_sized = candidate is not None and conductors[circuit.key].request is not None
        if candidate is None or not is_sized or circuit.fed_from in left_out:
            left_out.add(circuit.key)
        else:
            found[circuit.key] = candidate
    return found


def _with_feeders(job: Job, among: Collection[str] | None) -> set[str]:
    return {
        feeder.key
        for circuit in job.circuits
        if among is None or circuit.key in among
        for feeder in feeders(job, circuit)
    }


def _draw_source(draft: NetworkDraft, source: PowerSource) -> None:
    is_converter = source.tap_point == CONVERTER
    limit = source.greatest_current_a if is_converter else None
    draft.source(
        source.key,
        REFERENCE,
        f"{source.key}.plus",
        source.emf_v,
        working_resistance_ohm(source),
        greatest_current_a=float("inf") if limit is None else limit,
        takes_back=not is_converter,
    )


def _draw_conductors(
    draft: NetworkDraft,
    parts: dict[str, Part],
    circuit: Circuit,
    ends: tuple[str, str],
    request: ConductorRequest,
    candidate: int,
    tables: Tables,
) -> None:
    """Draw feed and return of a circuit between the nodes that it is fed from."""
    key, (supply, back) = circuit.key, ends
    feed, ground = stretches_there_and_back(request, candidate, tables)
    joints = {
        name: max(share * circuit.joint_resistance_ohm, LEAST_PART_OHM)
        for name, share in JOINT_SHARES.items()
    }
    back_parts = {RETURN_LUGS: joints.pop(RETURN_LUGS)}
    if circuit.return_path.path == CHASSIS:
        chassis_ohm = circuit.return_path.chassis_resistance_ohm
        back_parts[GROUND] = max(chassis_ohm, LEAST_PART_OHM)
    for branch, start, end, of_branch, stretches in (
        ("feed", supply, f"{key}.load_plus", joints, feed),
        ("return", f"{key}.load_minus", back, back_parts, ground),
    ):
        place = len(draft.branches)
        parts |= {f"{key}.{name}": Part(place, ohm) for name, ohm in of_branch.items()}
        draft.branch(f"{key}.{branch}", start, end, sum(of_branch.values()), stretches)


def stretches_there_and_back(
    request: ConductorRequest, candidate: int, tables: Tables
) -> tuple[tuple[Stretch, ...], tuple[Stretch, ...]]:
    """Return the stretches of the feed and of the return of a candidate.

    Parameters
    ----------
    request
        What it was sized for; with a return by chassis its last segment is the ground lead.
    candidate
        Which one.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    tuple
        Stretches of the feed; of the return conductor, or the ground lead alone.
    """
    stretches = conductor_stretches(request, candidate, tables)
    if request.return_by_conductor:
        return stretches, stretches
    return stretches[:-1], stretches[-1:]


def _draw_load(draft: NetworkDraft, job: Job, circuit: Circuit) -> None:
    loads = job.equipment_on(circuit.key)
    if circuit.charges_source or not loads:
        return
    power_w, current_a = job.drawn_by_circuit[circuit.key]
    draft.load(
        circuit.key,
        f"{circuit.key}.load_plus",
        f"{circuit.key}.load_minus",
        power_w=power_w,
        current_a=current_a,
    )


def network_with_loads(
    network: InstallationNetwork, job: Job, elements: Elements
) -> InstallationNetwork:
    """Return a network with what the equipment of another job draws from the same circuits.

    Parameters
    ----------
    network
        Of a job with these circuits.
    job
        The job whose loads draw.
    elements
        What the network is to have but for its loads.

    Returns
    -------
    InstallationNetwork
        Otherwise the same.
    """
    drawn = job.drawn_by_circuit
    loads = np.array([drawn[key] for key in network.loads], float).reshape(-1, 2).T.copy()
    with_loads = elements._replace(load_power_w=loads[:1], load_current_a=loads[1:])
    return replace(network, elements=with_loads)


def _stretch_places(draft: NetworkDraft) -> dict[str, tuple[int, ...]]:
    names = list(draft.branches)
    places: dict[str, tuple[int, ...]] = {}
    for place, (branch, _) in enumerate(draft.stretches):
        places[names[branch]] = (*places.get(names[branch], ()), place)
    return places
