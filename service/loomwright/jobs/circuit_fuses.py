"""Fuses of the circuits of a job, by the engineering, from the source outwards."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compilable
from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.faults import FaultSource
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
    ProtectedConductor,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.protected_conductor import protected_conductor
from loomwright.engineering.protection.rating_rules import starting_current_a
from loomwright.jobs.circuit_conductors import (
    CircuitConductor,
    fault_of_circuit,
    feeders,
    feeding_source,
)
from loomwright.jobs.circuit_sources import fault_source
from loomwright.jobs.job import Circuit, Equipment, Job
from loomwright.jobs.sized_circuit import NO_CONDUCTOR, NO_FEEDER, NO_FUSE, SIZED, SizedCircuit
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables

# A thicker conductor answers these verdicts; it answers no other.
CURED_BY_THICKNESS = (NO_RATING, NOT_CLEARED, NOT_PROTECTED)
# In place of the index of a candidate.
NONE = -1
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
    failing = answer.candidates.failing.tolist()
    candidate: int = answer.chosen
    while candidate != NONE:
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
        candidate = next_passing(failing, candidate)
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


@compilable
def next_passing(failing: Sequence[int] | npt.NDArray[np.uint8], candidate: int) -> int:
    """Return the next thicker conductor that meets every criterion.

    Parameters
    ----------
    failing
        Criteria that each candidate misses, as digits.
    candidate
        Index of the one that does not serve.

    Returns
    -------
    int
        Index, ``NONE`` where there is none.
    """
    for index in range(candidate + 1, len(failing)):
        if failing[index] == 0:
            return index
    return NONE


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
    # One after the other, as rows are added: sum() of Python 3.12 carries what rounding cuts off.
    before_ohm = 0.0
    for entry in before:
        before_ohm += entry.loop_resistance_ohm or 0.0
    return fuse_request(
        job,
        circuit,
        float(answer.candidates.load_current_a[candidate]),
        protected_conductor(request, answer, candidate, tables),
        fault_source(feeding_source(job, circuit), before_ohm),
        _upstream_fuse(before),
        tables,
    )


def fuse_request(
    job: Job,
    circuit: Circuit,
    load_current_a: float,
    conductor: ProtectedConductor,
    source: FaultSource,
    upstream_fuse: GivenFuse | None,
    tables: Tables,
) -> FuseRequest:
    """Return what is asked of the fuse of a circuit.

    Parameters
    ----------
    job
        The job.
    circuit
        One of its circuits.
    load_current_a
        Current of its load [A].
    conductor
        The conductor behind the fuse.
    source
        The source up to the fuse.
    upstream_fuse
        That of the circuit before it, if any.
    tables
        Temperatures of the mounting zones.

    Returns
    -------
    FuseRequest
        For ``size_fuse``.
    """
    feeding = feeding_source(job, circuit)
    is_main = not job.feeders_down_to(circuit.fed_from)
    return FuseRequest(
        load=_load(job, circuit, load_current_a),
        conductor=conductor,
        source=source,
        system_voltage_v=feeding.system_voltage_v,
        ambient_temperature_k=tables.zones[circuit.route[0].zone].ambient_temperature_k,
        fuse_types=circuit.fuse_types,
        placement=FusePlacement(
            distance_from_source_m=circuit.distance_from_source_m,
            sheathed=circuit.sheathed,
            on_battery_terminal=is_main and feeding.tap_point in BATTERY_TAPS,
            is_main=is_main,
        ),
        upstream_fuse=upstream_fuse,
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


def _starting(job: Job, circuit: Circuit) -> list[Equipment]:
    return [item for item in job.equipment_on(circuit.key) if item.inrush_current_a is not None]


def stated_starting_current_a(job: Job, circuit: Circuit) -> float:
    """Return what the pieces on a circuit draw that start together.

    Parameters
    ----------
    job
        The job.
    circuit
        One of its circuits.

    Returns
    -------
    float
        Current [A]; NaN where no starting current is stated.
    """
    starting = _starting(job, circuit)
    if not starting:
        return math.nan
    return sum(item.quantity * (item.inrush_current_a or 0.0) for item in starting)


def _load(job: Job, circuit: Circuit, continuous_current_a: float) -> FuseLoad:
    """Return the load of a circuit: pieces that start together add their starting currents."""
    starting = _starting(job, circuit)
    if not starting:
        return FuseLoad(continuous_current_a)
    stated_a = stated_starting_current_a(job, circuit)
    return FuseLoad(
        continuous_current_a,
        inrush_current_a=starting_current_a(stated_a, continuous_current_a),
        inrush_duration_s=max(item.inrush_duration_s or 0.0 for item in starting),
    )
