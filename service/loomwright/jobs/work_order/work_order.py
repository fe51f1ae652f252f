"""The work order of a priced job, and those of several sizings of one job, such as its plans."""

from collections.abc import Mapping, Sequence
from itertools import chain

from loomwright.jobs.circuit_build import CircuitBuild, CircuitBuilds
from loomwright.jobs.job import Job
from loomwright.jobs.part_texts import metres_text
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.sized_circuit import SIZED
from loomwright.jobs.work_order.facts import Layout
from loomwright.jobs.work_order.job_tasks import JobTasks, tasks_of_outline
from loomwright.jobs.work_order.lead_tasks import with_figures
from loomwright.jobs.work_order.outline import EndedCircuit, JobOutline
from loomwright.jobs.work_order.shares import Shares
from loomwright.jobs.work_order.steps import Task, WorkOrder
from loomwright.jobs.work_order.task_cautions import wants_higher_voltage_fuse
from loomwright.pricing.price_book import PriceBook
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
        self._job, self._tables, self._fuse_tables = job, tables, fuse_tables
        self._builds = builds
        self._outline = JobOutline.of(job)
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
            orders = self._by_layout[layout] = _OrdersOfLayout(self._job, tasks, builds)
        return orders.of(priced, builds)


class _OrdersOfLayout:
    """Work orders of one job whose tasks have the same keys, needs and ranks.

    Parameters
    ----------
    job
        The job.
    tasks
        Those of its outline and layout.
    builds
        Its circuits for any sizing of the layout, by key; what counts is their routes.
    """

    def __init__(self, job: Job, tasks: JobTasks, builds: Mapping[str, CircuitBuild]) -> None:
        self._tasks = tasks
        lengths_m = {key: build.layout.lengths_m for key, build in builds.items()}
        self._lengths = {key: list(map(metres_text, each)) for key, each in lengths_m.items()}
        self._shares = Shares(tasks.targets, lengths_m)
        self._make_safe = tasks.make_safe.stating(job.vehicle.description)
        self._leads = {
            circuit.key: with_figures(tasks.leads[circuit.key], circuit) for circuit in job.circuits
        }
        self._cautions: dict[tuple[bool, ...], dict[str, None]] = {}
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
        higher_voltage = [wants_higher_voltage_fuse(entries[key]) for key in builds]
        wiring = {
            key: [*self._before_test(build, higher), self._tasks.wiring.test_load(entries[key])]
            for (key, build), higher in zip(builds.items(), higher_voltage, strict=True)
        }
        tasks = self._tasks.in_order(self._make_safe, wiring, self._leads)
        cautions = self._cautions_of(tasks, tuple(higher_voltage))
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
            cautions=tuple(dict.fromkeys(priced.cautions) | cautions),
            provenances=frozenset(chain(priced.provenances, *[task.provenances for task in tasks])),
        )

    def _cautions_of(
        self, tasks: Sequence[Task], higher_voltage: tuple[bool, ...]
    ) -> dict[str, None]:
        """Return the cautions of all tasks, which no size changes but by the fuses it asks for."""
        found = self._cautions.get(higher_voltage)
        if found is None:
            found = dict.fromkeys(chain.from_iterable([task.cautions for task in tasks]))
            self._cautions[higher_voltage] = found
        return found

    def _before_test(self, build: CircuitBuild, higher_voltage: bool) -> list[Task]:
        """Return what is done in a circuit before its test under load, as it alone were built."""
        known = self._before_tests.get((build, higher_voltage))
        if known is None:
            known = self._new_before_test(build, higher_voltage)
            self._before_tests[build, higher_voltage] = known
        return known

    def _new_before_test(self, build: CircuitBuild, higher_voltage: bool) -> list[Task]:
        wiring, conductor = self._tasks.wiring, build.conductor.key
        ended = EndedCircuit.of(build)
        by_conductor = wiring.conductor(ended, conductor, str(build.bundle_m))
        laid = self._laid.get((ended.circuit, conductor))
        if laid is None:
            lengths = self._lengths[ended.circuit]
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
