"""The work order of a priced job, and those of several sizings of one job, such as its plans."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from itertools import chain

from loomwright.engineering.record import record
from loomwright.jobs.circuit_build import CircuitBuild, CircuitBuilds
from loomwright.jobs.job import Job
from loomwright.jobs.part_texts import metres_text
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.sized_circuit import SIZED, SizedCircuit
from loomwright.jobs.work_order.facts import Layout
from loomwright.jobs.work_order.job_tasks import JobTasks, lead_figures, tasks_of_outline
from loomwright.jobs.work_order.outline import EndedCircuit, JobOutline
from loomwright.jobs.work_order.shares import Shares
from loomwright.jobs.work_order.steps import Task, WorkOrder
from loomwright.jobs.work_order.task_cautions import wants_higher_voltage_fuse
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import exact_length_m
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables


def work_order(
    priced: PricedJob, book: PriceBook, tables: Tables, fuse_tables: FuseTables
) -> WorkOrder:
    """Return the steps of a job in a safe order, with the parts and hours of its bill.

    The order follows from what each task needs before it, which follows from the job: nothing is
    touched before every source is isolated and proven dead, each zone is opened and closed once, a
    panel is protected before a conductor passes it, loads are connected before feeds, and a fuse
    comes last. A bolted fuse is fitted while the source is still isolated, one that is plugged in
    after it is reconnected. Wiring of circuits that were not sized is left out.

    Parameters
    ----------
    priced
        The job, sized and priced.
    book
        The price book that priced it.
    tables
        Zones and published torques.
    fuse_tables
        How each type of fuse is held.

    Returns
    -------
    WorkOrder
        Every line of parts and of hours is used up by its steps: quantities add up to the needs of
        the bill, hours to its labour. The difference to a least labour charge is no work and
        stands in no step.

    Raises
    ------
    OrderError
        The tasks wait for one another, which no job can bring about.
    """
    builds = CircuitBuilds(priced.job, book.on_day(priced.bill.as_of))
    return JobOrders(priced.job, tables, fuse_tables, builds).of(priced)


class JobOrders:
    """Work orders of one job, which share what their circuits and bills have in common.

    Lives for one request. Each order is the one that would be made of its sizing alone.

    Parameters
    ----------
    job
        The job.
    tables
        Zones and published torques.
    fuse_tables
        How each type of fuse is held.
    builds
        Its circuits as they are built, those of the bills where there are any.
    """

    def __init__(
        self, job: Job, tables: Tables, fuse_tables: FuseTables, builds: CircuitBuilds
    ) -> None:
        self._tables, self._fuse_tables, self._builds = tables, fuse_tables, builds
        self._outline = JobOutline.of(job)
        self._figures = _Figures.of(job)
        self._by_layout: dict[Layout, _OrdersOfLayout] = {}

    def of(self, priced: PricedJob) -> WorkOrder:
        """Return the steps of a sizing in a safe order, with the parts and hours of its bill.

        Parameters
        ----------
        priced
            The job, sized and priced.

        Returns
        -------
        WorkOrder
            As ``work_order`` makes it.

        Raises
        ------
        OrderError
            The tasks wait for one another, which no job can bring about.
        """
        builds = {
            entry.circuit.key: self._builds.of(entry)
            for entry in priced.circuits
            if entry.verdict == SIZED
        }
        layout = Layout.of(builds, self._fuse_tables)
        orders = self._by_layout.get(layout)
        if orders is None:
            tasks = tasks_of_outline(self._outline, layout, self._tables)
            orders = self._by_layout[layout] = _OrdersOfLayout(tasks, self._figures)
        return orders.of(priced, builds)


@record
class _Figures:
    """What tasks and shares of a job state that its outline lacks.

    ``lengths_m`` are those of the segments of each route [m], ``lengths`` the same as they are
    read, ``leads`` the figures of each circuit's leads, where it has any, by the kind of task.
    """

    vehicle: str
    lengths_m: Mapping[str, Sequence[Decimal]]
    lengths: Mapping[str, Sequence[str]]
    leads: Mapping[str, Mapping[str, str]]

    @classmethod
    def of(cls, job: Job) -> "_Figures":
        """Return the figures of a job."""
        lengths_m = {
            circuit.key: [exact_length_m(segment.length_m) for segment in circuit.route]
            for circuit in job.circuits
        }
        return cls(
            job.vehicle.description,
            lengths_m,
            {key: list(map(metres_text, lengths)) for key, lengths in lengths_m.items()},
            {
                circuit.key: lead_figures(circuit)
                for circuit in job.circuits
                if circuit.signal_leads or circuit.remote_leads or circuit.taps
            },
        )


class _OrdersOfLayout:
    """Work orders of one job whose tasks have the same keys, needs and ranks.

    Parameters
    ----------
    tasks
        Those of its outline and layout.
    figures
        What they state of the job.
    """

    def __init__(self, tasks: JobTasks, figures: _Figures) -> None:
        self._tasks, self._figures = tasks, figures
        self._shares = Shares(tasks.targets, figures.lengths_m)
        self._make_safe = tasks.make_safe.stating(figures.vehicle)
        self._leads = {
            key: [lead.stating(figures.leads[key][lead.task.kind]) for lead in leads]
            for key, leads in tasks.leads.items()
        }
        self._laid: dict[tuple[str, str], list[Task]] = {}
        self._before_tests: dict[tuple[CircuitBuild, bool], list[Task]] = {}

    def of(self, priced: PricedJob, builds: Mapping[str, CircuitBuild]) -> WorkOrder:
        """Return the steps of a sizing of this layout.

        Parameters
        ----------
        priced
            The job, sized and priced.
        builds
            Its circuits that were sized, as they are built, by key.

        Returns
        -------
        WorkOrder
            As ``work_order`` makes it.
        """
        entries = {entry.circuit.key: entry for entry in priced.circuits}
        wiring = {key: self._wiring(build, entries[key]) for key, build in builds.items()}
        tasks = self._tasks.in_order(self._make_safe, wiring, self._leads)
        parts, labour, hours = self._shares.of(priced.bill, self._tasks.keys)
        return WorkOrder(
            tasks=tasks,
            parts=parts,
            labour=labour,
            hours=hours,
            zones=tuple(self._tasks.facts.walk),
            not_built={
                key: entry.verdict for key, entry in entries.items() if entry.verdict != SIZED
            },
            cautions=tuple(
                dict.fromkeys(chain(priced.cautions, *[task.cautions for task in tasks]))
            ),
            provenances=frozenset(chain(priced.provenances, *[task.provenances for task in tasks])),
        )

    def _wiring(self, build: CircuitBuild, entry: SizedCircuit) -> list[Task]:
        """Return the tasks of the wiring of a circuit, as it alone would be built."""
        higher_voltage = wants_higher_voltage_fuse(entry)
        before = self._before_tests.get((build, higher_voltage))
        if before is None:
            before = self._before_test(build, higher_voltage)
            self._before_tests[build, higher_voltage] = before
        return [*before, self._tasks.wiring.test_load(entry)]

    def _before_test(self, build: CircuitBuild, higher_voltage: bool) -> list[Task]:
        """Return what is done before a circuit is tested under load."""
        wiring, conductor = self._tasks.wiring, build.conductor.key
        ended = EndedCircuit.of(build)
        by_conductor = wiring.conductor(ended, conductor, str(build.bundle_m))
        laid = self._laid.get((ended.circuit, conductor))
        if laid is None:
            lengths = self._figures.lengths[ended.circuit]
            laid = self._laid[ended.circuit, conductor] = [
                task.stating(length) for task, length in zip(by_conductor.lay, lengths, strict=True)
            ]
        return [
            *by_conductor.first,
            *laid,
            by_conductor.terminate,
            *wiring.connections(ended),
            wiring.fuse(ended, build.fuse_type, build.rating_a, higher_voltage),
        ]
