"""One whole job: sized by the engineering, priced from a book."""

from dataclasses import dataclass

from loomwright.engineering.record import record
from loomwright.jobs.cautions import cautions_of_job
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.circuit_sources import ABOVE_LIMIT, SourceLoad, source_loads
from loomwright.jobs.job import Job
from loomwright.jobs.job_bills import JobBills
from loomwright.jobs.sized_circuit import SIZED, SizedCircuit
from loomwright.jobs.substitutes import Substitute, substitutes_of
from loomwright.pricing.bill import NO_OPTIONS, Bill
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Provenance, Tables

COMPLETE = "complete"
INCOMPLETE = "incomplete"
SOURCE_OVERLOADED = "source_overloaded"
# It explains position limits, which a bill does not print.
OF_NO_USE_ON_A_BILL = ("road_vehicle_position",)
VERDICTS = (COMPLETE, INCOMPLETE, SOURCE_OVERLOADED)


@record
class JobGround:
    """What an answer for a job says whatever its circuits are sized to."""

    job: Job
    cautions: tuple[str, ...]
    provenances: frozenset[Provenance]

    @classmethod
    def of(cls, job: Job, tables: Tables) -> "JobGround":
        """Return the cautions of a job, and where the figures of its tables come from."""
        rows = {tables.zones[each.zone].provenance for item in job.circuits for each in item.route}
        for circuit in job.circuits:
            rows.add(tables.materials[circuit.conductor.material].provenance)
            rows.add(tables.insulations[circuit.conductor.insulation].provenance)
        return cls(job, cautions_of_job(job, tables), frozenset(rows))


@dataclass(frozen=True, slots=True)
class PricedJob:
    """The answer for one job.

    ``verdict`` is ``complete``; ``incomplete`` where a circuit is not sized or something is not
    priced; ``source_overloaded`` where a source is asked for more than its maker allows, whatever
    else. ``cautions`` are keys of ``CAUTIONS``.
    """

    job: Job
    verdict: str
    circuits: tuple[SizedCircuit, ...]
    power_sources: tuple[SourceLoad, ...]
    bill: Bill
    substitutes: tuple[Substitute, ...]
    cautions: tuple[str, ...]
    provenances: tuple[Provenance, ...]


def priced_job(
    job: Job,
    book: PriceBook,
    tables: Tables,
    fuse_tables: FuseTables,
    options: PricingOptions = NO_OPTIONS,
) -> PricedJob:
    """Return the sized circuits and the priced bill of a job.

    Conductors and fuses come from the engineering. Each circuit is taken by itself behind the
    resistance of its source: what other circuits draw from the same source is not added to its
    drop.

    Parameters
    ----------
    job
        The job.
    book
        Price book.
    tables
        Tables of the engineering.
    fuse_tables
        Fuse tables of the engineering.
    options
        Day, discounts, package price, deposit.

    Returns
    -------
    PricedJob
        Circuits, load of the sources, bill, cautions and where the figures come from.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models, or the options do not fit the bill; the message and
        ``field`` name what it is.
    """
    holding = book.on_day(options.as_of)
    bills = JobBills(job, book, options)

    def sized_and_priced(wanted: Job) -> tuple[tuple[SizedCircuit, ...], Bill]:
        conductors = circuit_conductors(wanted, tables)
        sized = sized_circuits(wanted, conductors, tables, fuse_tables)
        return sized, bills.of(sized)

    sized, bill = sized_and_priced(job)
    loads = source_loads(job, sized)
    substitutes = substitutes_of(job, sized, bill, holding, tables, sized_and_priced)
    return priced_circuits(JobGround.of(job, tables), sized, loads, bill, substitutes)


def priced_circuits(
    ground: JobGround,
    sized: tuple[SizedCircuit, ...],
    loads: tuple[SourceLoad, ...],
    bill: Bill,
    substitutes: tuple[Substitute, ...],
) -> PricedJob:
    """Return sized circuits with their bill as the answer for a job.

    Parameters
    ----------
    ground
        What is known of the job, the same for all its sizings.
    sized
        Its circuits.
    loads
        What they take from the sources.
    bill
        Their bill.
    substitutes
        What could be fitted instead.

    Returns
    -------
    PricedJob
        With verdict, cautions and where the figures come from.
    """
    return PricedJob(
        job=ground.job,
        verdict=verdict_of(sized, loads, bill),
        circuits=sized,
        power_sources=loads,
        bill=bill,
        substitutes=substitutes,
        cautions=_cautions(ground, sized),
        provenances=_provenances(ground, sized),
    )


def verdict_of(sized: tuple[SizedCircuit, ...], loads: tuple[SourceLoad, ...], bill: Bill) -> str:
    """Return the verdict on sized and priced circuits, one of ``VERDICTS``."""
    if any(load.verdict == ABOVE_LIMIT for load in loads):
        return SOURCE_OVERLOADED
    if bill.unpriced or any(entry.verdict != SIZED for entry in sized):
        return INCOMPLETE
    return COMPLETE


def _cautions(ground: JobGround, sized: tuple[SizedCircuit, ...]) -> tuple[str, ...]:
    """Return the cautions of the job, then those of its fuses, each once."""
    found = dict.fromkeys(ground.cautions)
    for entry in sized:
        if entry.fuse_answer is not None:
            found.update(dict.fromkeys(entry.fuse_answer.cautions))
    return tuple([key for key in found if key not in OF_NO_USE_ON_A_BILL])


def _provenances(ground: JobGround, sized: tuple[SizedCircuit, ...]) -> tuple[Provenance, ...]:
    """Return where the figures of an answer come from, each once, in a fixed order."""
    rows = set(ground.provenances)
    for entry in sized:
        conductor = entry.conductor
        if conductor is not None:
            rows.update((conductor.provenance, conductor.diameter_provenance))
        if entry.fuse_answer is not None:
            rows.update(entry.fuse_answer.provenances.rows)
    return tuple(sorted(rows))
