"""Circuits that are sized until the network that they make up agrees with what they were sized for.

Taken by itself, a circuit does not feel what others draw from its source. Where the solved network
asks more current of a circuit than it was sized for, it is sized again at the voltage that the
network leaves at its feeding point; where equipment gets less than its least voltage, the circuits
before it are allowed less drop. Voltages and allowances only ever fall, so the rounds end.
"""

from collections.abc import Mapping
from dataclasses import replace

from loomwright.engineering.record import record
from loomwright.jobs.circuit_conductors import (
    FIRST_TIME,
    CircuitConductor,
    circuit_conductors,
    feeders,
    feeding_source,
)
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.job import Job
from loomwright.jobs.job_sizings import JobSizings
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.jobs.solved_installation import SolvedInstallation
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables

# The current that a circuit was sized for may be passed by so much: the sizing stops its own
# iteration at a relative step of 3e-4.
CURRENT_SLACK = 1e-3
GREATEST_ROUNDS = 20
# A least voltage is aimed at with a hair to spare, so that rounding does not ask for a round more.
_AIM = 0.999


@record
class ConsistentCircuits:
    """Circuits with the network that they make up.

    ``rounds`` counts the sizings. ``short_of_voltage`` are the circuits whose equipment still gets
    less than its least voltage, ``exceeded`` those that carry more than they were sized for after
    the last round.
    """

    job: Job
    conductors: Mapping[str, CircuitConductor]
    sized: tuple[SizedCircuit, ...]
    solved: SolvedInstallation
    rounds: int
    short_of_voltage: tuple[str, ...]
    exceeded: tuple[str, ...]


def consistent_circuits(
    job: Job, tables: Tables, fuse_tables: FuseTables, sizings: JobSizings | None = None
) -> ConsistentCircuits:
    """Return the circuits of a job, sized so that the solved network asks no more of them.

    Parameters
    ----------
    job
        The job with the loads that it is sized for.
    tables
        Tables of the engineering.
    fuse_tables
        Fuse tables of the engineering.
    sizings
        What other sizings of the job in the same request have found, if there are any.

    Returns
    -------
    ConsistentCircuits
        In the order of the job.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models.
    """
    sizings = sizings or JobSizings.of(tables, fuse_tables)
    feeding_v: dict[str, float] = {}
    conductors = FIRST_TIME
    for rounds in range(1, GREATEST_ROUNDS + 1):
        conductors = circuit_conductors(job, tables, feeding_v, conductors, sizings.routes)
        bare = tuple(conductors.values())
        solved = sizings.solutions.of(job, bare, conductors)
        exceeded = _exceeded(bare, solved)
        short = _short_of_voltage(job, solved)
        tightened = _tightened(job, solved, short)
        if rounds == GREATEST_ROUNDS or not (exceeded or tightened):
            break
        for key in exceeded:
            now = solved.circuits[key].feeding_voltage_v
            feeding_v[key] = min(now, feeding_v.get(key, now))
        job = tightened or job
    # A fuse may call for a thicker conductor, never for a thinner one: no current rises by it.
    sized = sized_circuits(job, conductors, tables, fuse_tables, sizings.fuses)
    if [entry.candidate for entry in sized] != [entry.candidate for entry in bare]:
        solved = sizings.solutions.of(job, sized, conductors)
    return ConsistentCircuits(job, conductors, sized, solved, rounds, tuple(short), tuple(exceeded))


def _exceeded(conductors: tuple[CircuitConductor, ...], solved: SolvedInstallation) -> list[str]:
    found = []
    for conductor in conductors:
        state = solved.circuits.get(conductor.circuit.key)
        if state is None:
            continue
        if state.current_a > conductor.load_current_a * (1.0 + CURRENT_SLACK):
            found.append(conductor.circuit.key)
    return found


def _short_of_voltage(job: Job, solved: SolvedInstallation) -> list[str]:
    """Return the circuits whose equipment gets less than its least voltage."""
    least: dict[str, float] = {}
    for item in job.equipment:
        if item.circuit is not None and item.least_voltage_v is not None:
            least[item.circuit] = max(item.least_voltage_v, least.get(item.circuit, 0.0))
    return [
        key
        for key, voltage in least.items()
        if key in solved.circuits and solved.circuits[key].load_voltage_v < voltage
    ]


def _tightened(job: Job, solved: SolvedInstallation, short: list[str]) -> Job | None:
    """Return the job with less drop allowed before what gets too little, or none if that is vain.

    Each circuit on the way gets the same share less than it drops now, so that what is left of the
    source's voltage over the least one suffices.
    """
    factors: dict[str, float] = {}
    by_key = {circuit.key: circuit for circuit in job.circuits}
    for key in short:
        path = feeders(job, by_key[key])
        dropped = sum(solved.circuits[item.key].voltage_drop_v for item in path)
        least = max(item.least_voltage_v or 0.0 for item in job.equipment if item.circuit == key)
        available = solved.circuits[path[0].key].feeding_voltage_v - least
        if available <= 0.0:
            # The source itself gives too little; no conductor helps.
            continue
        for item in path:
            factor = _AIM * available / dropped
            factors[item.key] = min(factor, factors.get(item.key, 1.0))
    if not factors:
        return None
    return replace(
        job,
        circuits=tuple(
            replace(
                circuit,
                allowed_drop_fraction=min(
                    circuit.allowed_drop_fraction,
                    factors[circuit.key]
                    * solved.circuits[circuit.key].voltage_drop_v
                    / feeding_source(job, circuit).system_voltage_v,
                ),
            )
            if circuit.key in factors
            else circuit
            for circuit in job.circuits
        ),
    )
