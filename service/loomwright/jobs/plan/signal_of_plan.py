"""The signal path of a plan, with the ground potentials of its solved network."""

from loomwright.engineering.signal.plan import SignalPlan
from loomwright.jobs.job import Job
from loomwright.jobs.planned_signal import planned_signal
from loomwright.jobs.solved_installation import SolvedInstallation
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.signal_load import signal_factors


def signal_of_plan(
    job: Job, solved: SolvedInstallation, fuse_tables: FuseTables
) -> SignalPlan | None:
    """Return the signal path with the ground potentials of the solved network.

    Parameters
    ----------
    job
        The job as stated.
    solved
        Its network with the conductors of the plan.
    fuse_tables
        For the contact of a relay.

    Returns
    -------
    SignalPlan or None
        None where the job states no signal path.
    """
    if job.signal is None:
        return None
    potentials_v = {
        item.key: solved.circuits[item.circuit].ground_potential_v
        for item in job.equipment
        if item.circuit is not None and item.circuit in solved.circuits
    }
    return planned_signal(
        job.signal, job.vehicle.system_voltage_v, fuse_tables, signal_factors(), potentials_v
    )
