"""The work order of a priced job, and those of several sizings of one job, such as its plans."""

from collections.abc import Mapping, Sequence
from itertools import chain
from operator import is_

from loomwright.jobs.circuit_build import CircuitBuild, CircuitBuilds
from loomwright.jobs.job import Job
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.sized_circuit import SIZED
from loomwright.jobs.work_order.facts import Layout, WorkFacts
from loomwright.jobs.work_order.job_tasks import JobTasks
from loomwright.jobs.work_order.order import safe_order
from loomwright.jobs.work_order.shares import BillShares, Shares
from loomwright.jobs.work_order.steps import (
    NO_HOURS,
    Step,
    Task,
    WorkOrder,
)
from loomwright.jobs.work_order.torque import torque_rows
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
            facts = WorkFacts(self._job, self._tables, layout)
            orders = self._by_layout[layout] = _OrdersOfLayout(facts, builds)
        return orders.of(priced, builds)


class _OrdersOfLayout:
    """Work orders of one job whose tasks have the same keys, needs and ranks.

    Parameters
    ----------
    facts
        What is known of the job.
    builds
        Its circuits for any sizing of the layout of the facts, by key.
    """

    def __init__(self, facts: WorkFacts, builds: Mapping[str, CircuitBuild]) -> None:
        self._facts = facts
        self._tasks = JobTasks(facts)
        self._shares = Shares(facts, builds)
        self._places: list[int] = []
        self._steps: tuple[Step, ...] = ()

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
        tasks = self._tasks.of(builds, entries)
        self._places = self._places or safe_order(tasks)
        ordered = [tasks[place] for place in self._places]
        self._steps = self._steps_of(ordered, self._shares.of(priced.bill))
        torques = chain.from_iterable([task.torques for task in ordered])
        tables = self._facts.tables
        return WorkOrder(
            steps=self._steps,
            zones=tuple(self._facts.walk),
            not_built={
                key: entry.verdict for key, entry in entries.items() if entry.verdict != SIZED
            },
            cautions=tuple(
                dict.fromkeys(chain(priced.cautions, *[task.cautions for task in ordered]))
            ),
            provenances=frozenset(chain(priced.provenances, torque_rows(torques, tables))),
        )

    def _steps_of(self, tasks: Sequence[Task], shares: BillShares) -> tuple[Step, ...]:
        """Return tasks as steps; one that is as in the order before is the same object."""
        steps: list[Step] = []
        for number, task in enumerate(tasks, 1):
            parts = tuple(shares.parts.get(task.key, ()))
            labour = tuple(shares.labour.get(task.key, ()))
            # Of one layout, so that the same task stands at the same place.
            before = self._steps[number - 1] if self._steps else None
            if (
                before is not None
                and before.task is task
                and _same(before.parts, parts)
                and _same(before.labour, labour)
            ):
                steps.append(before)
            else:
                hours = sum([entry.hours or NO_HOURS for entry in labour], NO_HOURS)
                steps.append(Step(number, task, parts, labour, hours))
        return tuple(steps)


def _same(one: tuple[object, ...], other: tuple[object, ...]) -> bool:
    """Return whether two tuples hold the same objects; equal ones may print otherwise."""
    return len(one) == len(other) and all(map(is_, one, other))
