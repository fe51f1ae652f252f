"""Fuses of the circuits of a job, by the engineering, from the source outwards."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compilable
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.fuse_answer import (
    FUSE_FOUND,
    NO_RATING,
    NOT_CLEARED,
    NOT_PROTECTED,
)
from loomwright.jobs.circuit_conductors import (
    CircuitConductor,
    fault_of_circuit,
    feeding_source,
)
from loomwright.jobs.job import Job
from loomwright.jobs.job_fuses import JobFuses
from loomwright.jobs.sized_circuit import (
    NO_CONDUCTOR,
    NO_FEEDER,
    NO_FUSE,
    SIZED,
    CircuitFuse,
    SizedCircuit,
)
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables

# A thicker conductor answers these verdicts; it answers no other.
CURED_BY_THICKNESS = (NO_RATING, NOT_CLEARED, NOT_PROTECTED)
# In place of the index of a candidate.
NONE = -1


def sized_circuits(
    job: Job,
    conductors: Mapping[str, CircuitConductor],
    tables: Tables,
    fuse_tables: FuseTables,
    fuses: JobFuses | None = None,
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
    fuses
        What other sizings of the job in the same request have looked up, if there are any.

    Returns
    -------
    tuple of SizedCircuit
        In the order of the job.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models.
    """
    fuses = fuses or JobFuses(tables, fuse_tables)
    sized: dict[str, SizedCircuit] = {}
    for circuit in job.circuits:
        conductor = conductors[circuit.key]
        try:
            sized[circuit.key] = _sized(job, conductor, sized, fuses)
        except EngineeringError as error:
            raise fault_of_circuit(circuit, error) from error
    return tuple([_with_branches(job, entry, sized) for entry in sized.values()])


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
    job: Job, conductor: CircuitConductor, sized: Mapping[str, SizedCircuit], fuses: JobFuses
) -> SizedCircuit:
    circuit, answer = conductor.circuit, conductor.answer
    voltage = feeding_source(job, circuit).system_voltage_v

    def as_found(
        verdict: str, fuse: CircuitFuse | None, candidate: int | None, thickened_for: str | None
    ) -> SizedCircuit:
        return SizedCircuit(
            circuit,
            verdict,
            conductor.verdict,
            None if fuse is None else fuse.verdict,
            answer,
            fuse,
            candidate,
            thickened_for,
            voltage,
            conductor.figures_of(candidate),
        )

    if answer is None or answer.chosen is None:
        return as_found(NO_CONDUCTOR, None, None, None)
    before = [sized[item.key] for item in job.feeders_down_to(circuit.fed_from)]
    if any(entry.verdict != SIZED for entry in before):
        return as_found(NO_FEEDER, None, None, None)
    first = fuse = fuses.of(job, conductor, answer.chosen, before)
    candidate = answer.chosen
    failing: list[int] = []
    while fuse.verdict in CURED_BY_THICKNESS:
        failing = failing or answer.candidates.failing.tolist()
        candidate = next_passing(failing, candidate)
        if candidate == NONE:
            break
        fuse = fuses.of(job, conductor, candidate, before)
    if fuse.verdict != FUSE_FOUND:
        return as_found(NO_FUSE, first, answer.chosen, None)
    return as_found(SIZED, fuse, candidate, None if fuse is first else first.verdict)


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
