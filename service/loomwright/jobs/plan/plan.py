"""A whole installation from one job: three plans, each sized, solved, priced and put in order."""

from collections.abc import Generator, Mapping
from dataclasses import replace
from itertools import pairwise

from loomwright.engineering.audio.output_answer import OutputEstimate
from loomwright.engineering.measurement.propagation import NO_READINGS, ExpectedReadings
from loomwright.engineering.network.solver import SOLVED
from loomwright.engineering.record import record
from loomwright.engineering.signal.plan import SignalPlan
from loomwright.engineering.supply.assessment import INSUFFICIENT, SupplyAssessment
from loomwright.jobs.circuit_sources import SourceLoad, source_load, source_loads
from loomwright.jobs.job import Job
from loomwright.jobs.job_bills import JobBills
from loomwright.jobs.job_sizings import JobSizings
from loomwright.jobs.measurements import JobReadings
from loomwright.jobs.plan.alternatives import (
    LEANEST,
    PLAN_NAMES,
    RECOMMENDED,
    USUAL,
    PlanOptions,
)
from loomwright.jobs.plan.changes import PlanChanges, circuit_changes
from loomwright.jobs.plan.consistent import ConsistentCircuits
from loomwright.jobs.plan.in_step import made_in_step
from loomwright.jobs.plan.outputs import EquipmentOutput, equipment_outputs
from loomwright.jobs.plan.signal_of_plan import signal_of_plan
from loomwright.jobs.plan.sized_plan import sized_plan
from loomwright.jobs.plan.supply_of_plan import supply_of_plan
from loomwright.jobs.priced_job import COMPLETE, JobGround, PricedJob, priced_circuits
from loomwright.jobs.priced_job import VERDICTS as BILL_VERDICTS
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.jobs.solved_installation import STATES, SolvedInstallation
from loomwright.jobs.work_order.steps import WorkOrder
from loomwright.jobs.work_order.work_order import JobOrders
from loomwright.pricing.bill import NO_OPTIONS
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Provenance, Tables

NO_OPERATING_POINT = "no_operating_point"
VOLTAGE_TOO_LOW = "voltage_too_low"
NOT_CONSISTENT = "not_consistent"
SUPPLY_INSUFFICIENT = INSUFFICIENT
VERDICTS = (
    *BILL_VERDICTS,
    NO_OPERATING_POINT,
    NOT_CONSISTENT,
    VOLTAGE_TOO_LOW,
    SUPPLY_INSUFFICIENT,
)


@record
class Plan:
    """One plan of a job.

    ``verdict`` is that of the bill, unless the circuits as a whole have no operating point, could
    not be brought into agreement with their network or leave equipment short of voltage, or the
    vehicle's supply does not suffice. In
    ``solved`` the loads of the job as stated draw, whatever growth the plan is sized for.
    ``supply`` and ``signal`` are ``None`` where the job states none; without an operating point
    there is no supply to judge and nothing to expect of a meter.
    """

    name: str
    verdict: str
    priced: PricedJob
    consistent: ConsistentCircuits
    solved: SolvedInstallation
    outputs: tuple[EquipmentOutput, ...]
    supply: SupplyAssessment | None
    signal: SignalPlan | None
    order: WorkOrder
    measurements: ExpectedReadings

    @property
    def judged(self) -> tuple[OutputEstimate | SupplyAssessment | SignalPlan, ...]:
        """What brings cautions and sources of its own."""
        parts = (*(output.estimate for output in self.outputs), self.supply, self.signal)
        return tuple(part for part in parts if part is not None)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Keys of ``CAUTIONS`` that the plan calls for, each once."""
        found = dict.fromkeys(self.order.cautions)
        for part in self.judged:
            found.update(dict.fromkeys(part.cautions))
        return tuple(found)


@record
class InstallationPlans:
    """The plans of a job, leanest first, and what changes from one to the next."""

    job: Job
    plans: tuple[Plan, ...]
    changes: tuple[PlanChanges, ...]

    @property
    def recommended(self) -> Plan:
        """The plan in the middle."""
        return self.plans[1]

    @property
    def cautions(self) -> tuple[str, ...]:
        """Keys of ``CAUTIONS`` that any plan calls for, each once."""
        found: dict[str, None] = {}
        for plan in self.plans:
            found.update(dict.fromkeys(plan.cautions))
        return tuple(found)

    @property
    def provenances(self) -> tuple[Provenance, ...]:
        """Where the figures of all plans come from, each once, in a fixed order."""
        found = set(EXPECTATION_PROVENANCES)
        for plan in self.plans:
            found.update(plan.order.provenances, *(part.provenances for part in plan.judged))
        return tuple(sorted(found))


EXPECTATION_PROVENANCES = (
    Provenance("jcgm_100", "5.1.2 and 6.2.1", "memory"),
    Provenance("common_practice", "tolerances and meters", "practice"),
)


@record
class _Shared:
    """What the plans of one job have in common, for one request."""

    ground: JobGround
    bills: JobBills
    orders: JobOrders
    sizings: JobSizings
    readings: JobReadings

    @classmethod
    def of(
        cls,
        job: Job,
        book: PriceBook,
        tables: Tables,
        fuse_tables: FuseTables,
        options: PricingOptions,
    ) -> "_Shared":
        """Return what nothing is known of yet."""
        bills = JobBills(job, book, options)
        orders = JobOrders(job, tables, fuse_tables, bills.builds)
        ground = JobGround.of(job, tables)
        return cls(ground, bills, orders, JobSizings.of(tables, fuse_tables), JobReadings())


def installation_plans(
    job: Job,
    book: PriceBook,
    tables: Tables,
    fuse_tables: FuseTables,
    options: PricingOptions = NO_OPTIONS,
    plan_options: PlanOptions = USUAL,
) -> InstallationPlans:
    """Return three complete plans of a job.

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
    plan_options
        Growth that the plan with headroom is sized for.

    Returns
    -------
    InstallationPlans
        Leanest, recommended and with headroom.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models, or the options do not fit the bill.
    """
    shared = _Shared.of(job, book, tables, fuse_tables, options)
    found = made_in_step(
        {each: _stages(each, job, plan_options, shared, tables, fuse_tables) for each in PLAN_NAMES}
    )
    plans = tuple(_taken(name, found) for name in PLAN_NAMES)
    changes = tuple(_changes(before, after) for before, after in pairwise(plans))
    return InstallationPlans(job, plans, changes)


def installation_plan(
    name: str,
    job: Job,
    book: PriceBook,
    tables: Tables,
    fuse_tables: FuseTables,
    options: PricingOptions = NO_OPTIONS,
    plan_options: PlanOptions = USUAL,
) -> Plan:
    """Return one plan of a job, the same that ``installation_plans`` has under its name.

    Parameters
    ----------
    name
        One of ``PLAN_NAMES``.
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
    plan_options
        Growth that the plan with headroom is sized for.

    Returns
    -------
    Plan
        Complete; no other plan is made but those that it depends on.

    Raises
    ------
    EngineeringError
        As ``installation_plans``, for the plans that are made.
    """
    shared = _Shared.of(job, book, tables, fuse_tables, options)
    needed = _NEEDED.get(name, (name,))
    found = made_in_step(
        {each: _stages(each, job, plan_options, shared, tables, fuse_tables) for each in needed}
    )
    return _taken(name, found)


# The plans that must be known before one can be given, where it is not that one alone.
_NEEDED: Mapping[str, tuple[str, ...]] = {LEANEST: (LEANEST, RECOMMENDED)}


def _taken(name: str, found: Mapping[str, Plan]) -> Plan:
    """Return the plan that is given under a name, of those that were made.

    Thinner feeds can make constant-power loads draw so much more that nothing is saved: the
    recommended plan takes the place of a leanest one that costs more.
    """
    if name == LEANEST and _costs_more(found[LEANEST], found[RECOMMENDED]):
        return replace(found[RECOMMENDED], name=LEANEST)
    return found[name]


def _costs_more(plan: Plan, other: Plan) -> bool:
    """Return whether a plan costs more than another, both of them complete."""
    totals = [each.priced.bill.totals.total.amount for each in (plan, other)]
    return plan.verdict == other.verdict == COMPLETE and totals[0] > totals[1]


def _stages(
    name: str,
    job: Job,
    plan_options: PlanOptions,
    shared: _Shared,
    tables: Tables,
    fuse_tables: FuseTables,
) -> Generator[None, None, Plan]:
    """Make a plan, and stop after each stage."""
    sized = sized_plan(name, job, tables, fuse_tables, plan_options, shared.sizings)
    found, solved = sized.consistent, sized.solved
    yield
    loads = _source_loads(job, found.sized, solved)
    priced = priced_circuits(shared.ground, found.sized, loads, shared.bills.of(found.sized), ())
    yield
    outputs = equipment_outputs(job, solved.load_voltages_v)
    estimates = {output.equipment.key: output.estimate for output in outputs}
    supply = supply_of_plan(job, solved, estimates)
    signal = signal_of_plan(job, solved, fuse_tables)
    yield
    measurements = NO_READINGS
    if solved.sources:
        measurements = shared.readings.of(job, solved.network, found.conductors)
    yield
    return Plan(
        name=name,
        verdict=_verdict(priced, found, solved, supply),
        priced=priced,
        consistent=found,
        solved=solved,
        outputs=outputs,
        supply=supply,
        signal=signal,
        order=shared.orders.of(priced),
        measurements=measurements,
    )


def _source_loads(
    job: Job, sized: tuple[SizedCircuit, ...], solved: SolvedInstallation
) -> tuple[SourceLoad, ...]:
    """Return what the sources give in the network, or to each circuit alone if it has no point."""
    if not solved.sources:
        return source_loads(job, sized)
    return tuple(
        source_load(source, solved.sources[source.key].current_a)
        for source in job.power_sources.values()
    )


def _verdict(
    priced: PricedJob,
    found: ConsistentCircuits,
    solved: SolvedInstallation,
    supply: SupplyAssessment | None,
) -> str:
    if solved.state != STATES[SOLVED]:
        return NO_OPERATING_POINT
    if priced.verdict != COMPLETE:
        return priced.verdict
    if found.exceeded:
        return NOT_CONSISTENT
    if found.short_of_voltage:
        return VOLTAGE_TOO_LOW
    is_short = supply is not None and supply.verdict == INSUFFICIENT
    return SUPPLY_INSUFFICIENT if is_short else COMPLETE


def _changes(before: Plan, after: Plan) -> PlanChanges:
    return PlanChanges(
        before=before.name,
        after=after.name,
        circuits=circuit_changes(before.priced.circuits, after.priced.circuits),
        total_difference=after.priced.bill.totals.total - before.priced.bill.totals.total,
    )
