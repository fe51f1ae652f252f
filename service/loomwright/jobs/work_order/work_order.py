"""The work order of a priced job."""

from itertools import chain

from loomwright.jobs.circuit_build import CircuitBuilds
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.sized_circuit import SIZED
from loomwright.jobs.work_order.facts import WorkFacts
from loomwright.jobs.work_order.job_tasks import tasks_of
from loomwright.jobs.work_order.order import in_safe_order
from loomwright.jobs.work_order.shares import Shares
from loomwright.jobs.work_order.steps import Step, WorkOrder
from loomwright.jobs.work_order.torque import torque_rows
from loomwright.pricing.price_book import PriceBook
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables


def work_order(
    priced: PricedJob,
    book: PriceBook,
    tables: Tables,
    fuse_tables: FuseTables,
    builds: CircuitBuilds | None = None,
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
    builds
        Those of the bills of the job, which spare building its circuits again.

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
    facts = WorkFacts(priced, book, tables, fuse_tables, builds)
    tasks = in_safe_order(tasks_of(facts))
    shares = Shares(facts)
    steps = tuple(
        Step(
            number,
            task,
            tuple(shares.parts.get(task.key, ())),
            tuple(shares.labour.get(task.key, ())),
        )
        for number, task in enumerate(tasks, 1)
    )
    cautions = dict.fromkeys(chain(priced.cautions, *(task.cautions for task in tasks)))
    torques = chain.from_iterable(task.torques for task in tasks)
    provenances = {*priced.provenances, *torque_rows(torques, tables)}
    return WorkOrder(
        steps=steps,
        zones=tuple(facts.walk),
        not_built={
            entry.circuit.key: entry.verdict for entry in priced.circuits if entry.verdict != SIZED
        },
        cautions=tuple(cautions),
        provenances=tuple(
            sorted(provenances, key=lambda row: (row.source, row.locator, row.checked))
        ),
    )
