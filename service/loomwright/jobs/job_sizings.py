"""What several sizings of one job have in common, for one request."""

from loomwright.engineering.record import record
from loomwright.jobs.job_fuses import JobFuses
from loomwright.jobs.job_routes import JobRoutes
from loomwright.jobs.solved_installation import JobSolutions
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables


@record
class JobSizings:
    """What the rounds of sizing of one job, and its plans, find once.

    Between them allowances and loads alone differ.
    """

    routes: JobRoutes
    fuses: JobFuses
    solutions: JobSolutions

    @classmethod
    def of(cls, tables: Tables, fuse_tables: FuseTables) -> "JobSizings":
        """Return what nothing is known of yet."""
        return cls(JobRoutes(tables), JobFuses(tables, fuse_tables), JobSolutions(tables))
