"""One plan of a job as far as no price is needed."""

from loomwright.engineering.record import record
from loomwright.jobs.job import Job
from loomwright.jobs.job_sizings import JobSizings
from loomwright.jobs.plan.alternatives import USUAL, PlanOptions, planned_job
from loomwright.jobs.plan.consistent import ConsistentCircuits, consistent_circuits
from loomwright.jobs.solved_installation import SolvedInstallation
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables


@record
class SizedPlan:
    """A plan before it is priced: its circuits, and the network with the loads of the job."""

    name: str
    consistent: ConsistentCircuits
    solved: SolvedInstallation


def sized_plan(
    name: str,
    job: Job,
    tables: Tables,
    fuse_tables: FuseTables,
    plan_options: PlanOptions = USUAL,
    sizings: JobSizings | None = None,
) -> SizedPlan:
    """Return one plan of a job as far as no price is needed.

    The leanest plan is given as it is sized, also where the recommended one costs less and so
    takes its place in ``installation_plans``.

    Parameters
    ----------
    name
        One of ``PLAN_NAMES``.
    job
        The job.
    tables
        Tables of the engineering.
    fuse_tables
        Fuse tables of the engineering.
    plan_options
        Growth that the plan with headroom is sized for.
    sizings
        What other plans of the job in the same request have found, if there are any.

    Returns
    -------
    SizedPlan
        Circuits and network.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models.
    """
    planned = planned_job(job, name, plan_options)
    sizings = sizings or JobSizings.of(tables, fuse_tables)
    found = consistent_circuits(planned, tables, fuse_tables, sizings)
    same_loads = planned.equipment is job.equipment
    solved = (
        found.solved if same_loads else sizings.solutions.of(job, found.sized, found.conductors)
    )
    return SizedPlan(name, found, solved)
