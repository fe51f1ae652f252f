"""Fuses of the circuits of a job, by the engineering, from the source outwards."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.fuse_answer import (
    FUSE_FOUND,
    NO_RATING,
    NOT_CLEARED,
    NOT_PROTECTED,
    FuseAnswer,
)
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FusePlacement,
    FuseRequest,
    GivenFuse,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.protected_conductor import protected_conductor
from loomwright.jobs.circuit_conductors import (
    CircuitConductor,
    fault_of_circuit,
    feeders,
    feeding_source,
)
from loomwright.jobs.circuit_sources import fault_source
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.sized_circuit import NO_CONDUCTOR, NO_FEEDER, NO_FUSE, SIZED, SizedCircuit
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables

# A thicker conductor answers these verdicts; it answers no other.
CURED_BY_THICKNESS = (NO_RATING, NOT_CLEARED, NOT_PROTECTED)
BATTERY_TAPS = ("battery", "remote_battery")


def sized_circuits(
    job: Job,
    conductors: Mapping[str, CircuitConductor],
    tables: Tables,
    fuse_tables: FuseTables,
) -> tuple[SizedCircuit, ...]:
    """Return every circuit of a job with its fuse.

    Where no fuse of the wanted types protects the conductor that drop and heat call for, the next
    thicker one that meets every criterion is tried, and so on; the answer says so.

    Parameters
    ----------
    job
        The job.
    conductors
        Conductor of each circuit.
    tables
        Tables of the engineering.
    fuse_tables
        Fuse tables of the engineering.

    Returns
    -------
    tuple of SizedCircuit
        In the order of the job.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models.
    """
    sized: dict[str, SizedCircuit] = {}
    for circuit in job.circuits:
        conductor = conductors[circuit.key]
        try:
            sized[circuit.key] = _sized(job, conductor, sized, tables, fuse_tables)
        except EngineeringError as error:
            raise fault_of_circuit(circuit, error) from error
    return tuple(_with_branches(job, entry, sized) for entry in sized.values())


def circuits_before_fuses(
    job: Job, conductors: Mapping[str, CircuitConductor]
) -> tuple[SizedCircuit, ...]:
    """Return every circuit of a job with the conductor that drop and heat call for, and no fuse.

    Parameters
    ----------
    job
        The job.
    conductors
        Conductor of each circuit.

    Returns
    -------
    tuple of SizedCircuit
        In the order of the job; their verdict is ``no_fuse``, or ``no_conductor``.
    """
    return tuple(
        SizedCircuit(
            circuit=circuit,
            verdict=NO_CONDUCTOR if answer is None or answer.chosen is None else NO_FUSE,
            conductor_verdict=conductors[circuit.key].verdict,
            fuse_verdict=None,
            conductor_answer=answer,
            fuse_answer=None,
            candidate=None if answer is None else answer.chosen,
            thickened_for=None,
            system_voltage_v=feeding_source(job, circuit).system_voltage_v,
        )
        for circuit in job.circuits
        for answer in (conductors[circuit.key].answer,)
    )


def _with_branches(
    job: Job, entry: SizedCircuit, sized: Mapping[str, SizedCircuit]
) -> SizedCircuit:
    branches = [sized[branch.key] for branch in job.branches(entry.circuit.key)]
    if not branches:
        return entry
    fuses = tuple(
        (branch.fuse_type, branch.rated_current_a)
        for branch in branches
        if branch.fuse_type is not None and branch.rated_current_a is not None
    )
    return replace(entry, branch_fuses=fuses)


def _sized(
    job: Job,
    conductor: CircuitConductor,
    sized: Mapping[str, SizedCircuit],
    tables: Tables,
    fuse_tables: FuseTables,
) -> SizedCircuit:
    circuit, answer, request = conductor.circuit, conductor.answer, conductor.request
    voltage = feeding_source(job, circuit).system_voltage_v
    if answer is None or request is None or answer.chosen is None:
        return SizedCircuit(
            circuit, NO_CONDUCTOR, conductor.verdict, None, answer, None, None, None, voltage
        )
    before = feeders(job, circuit)[:-1]
    if any(sized[item.key].verdict != SIZED for item in before):
        return SizedCircuit(
            circuit, NO_FEEDER, conductor.verdict, None, answer, None, None, None, voltage
        )
    first: tuple[int, FuseAnswer] | None = None
    for candidate in _passing(answer):
        wanted = _fuse_request(job, conductor, request, answer, candidate, sized, tables)
        fuse = size_fuse(wanted, fuse_tables)
        if fuse.verdict == FUSE_FOUND:
            thickened = None if first is None else first[1].verdict
            return SizedCircuit(
                circuit,
                SIZED,
                conductor.verdict,
                fuse.verdict,
                answer,
                fuse,
                candidate,
                thickened,
                voltage,
            )
        first = first or (candidate, fuse)
        if fuse.verdict not in CURED_BY_THICKNESS:
            break
    assert first is not None  # the chosen candidate passes, so one fuse was asked for
    return SizedCircuit(
        circuit,
        NO_FUSE,
        conductor.verdict,
        first[1].verdict,
        answer,
        first[1],
        first[0],
        None,
        voltage,
    )


def _passing(answer: ConductorAnswer) -> Iterator[int]:
    """Yield the candidates that meet every criterion, from the chosen one up."""
    assert answer.chosen is not None
    for index, failing in enumerate(answer.candidates.failing.tolist()):
        if index >= answer.chosen and not failing:
            yield index


def _fuse_request(
    job: Job,
    conductor: CircuitConductor,
    request: ConductorRequest,
    answer: ConductorAnswer,
    candidate: int,
    sized: Mapping[str, SizedCircuit],
    tables: Tables,
) -> FuseRequest:
    circuit = conductor.circuit
    before = [sized[item.key] for item in feeders(job, circuit)[:-1]]
    source = feeding_source(job, circuit)
    return FuseRequest(
        load=_load(job, circuit, float(answer.candidates.load_current_a[candidate])),
        conductor=protected_conductor(request, answer, candidate, tables),
        source=fault_source(source, sum(entry.loop_resistance_ohm or 0.0 for entry in before)),
        system_voltage_v=source.system_voltage_v,
        ambient_temperature_k=tables.zones[circuit.route[0].zone].ambient_temperature_k,
        fuse_types=circuit.fuse_types,
        placement=FusePlacement(
            distance_from_source_m=circuit.distance_from_source_m,
            sheathed=circuit.sheathed,
            on_battery_terminal=not before and source.tap_point in BATTERY_TAPS,
            is_main=not before,
        ),
        upstream_fuse=_upstream_fuse(before),
        equipment_fuse=_equipment_fuse(job, circuit),
    )


def _upstream_fuse(before: list[SizedCircuit]) -> GivenFuse | None:
    if not before or before[-1].rated_current_a is None:
        return None
    return GivenFuse(before[-1].rated_current_a, before[-1].fuse_type)


def _equipment_fuse(job: Job, circuit: Circuit) -> GivenFuse | None:
    ratings = [item.fuse_rating_a for item in job.equipment_on(circuit.key)]
    known = [rating for rating in ratings if rating is not None]
    return GivenFuse(max(known)) if known else None


def _load(job: Job, circuit: Circuit, continuous_current_a: float) -> FuseLoad:
    """Return the load of a circuit: pieces that start together add their starting currents."""
    starting = [item for item in job.equipment_on(circuit.key) if item.inrush_current_a is not None]
    if not starting:
        return FuseLoad(continuous_current_a)
    inrush_a = sum(item.quantity * (item.inrush_current_a or 0.0) for item in starting)
    return FuseLoad(
        continuous_current_a,
        inrush_current_a=max(inrush_a, continuous_current_a),
        inrush_duration_s=max(item.inrush_duration_s or 0.0 for item in starting),
    )
