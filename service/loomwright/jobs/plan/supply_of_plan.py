"""The vehicle's supply judged with the equipment of a job at the voltages of its network."""

from collections.abc import Mapping

from loomwright.engineering.audio.output_answer import OutputEstimate
from loomwright.engineering.supply.assessment import SupplyAssessment, supply_assessment
from loomwright.engineering.supply.request import SupplyLoad, SupplyRequest
from loomwright.jobs.circuit_conductors import feeders
from loomwright.jobs.job import Equipment, Job
from loomwright.jobs.solved_installation import SolvedInstallation
from loomwright.tables.supply_load import supply_tables

# What plays: a lower drive level lowers what it draws.
_DRIVEN = ("amplifier", "bass_unit")


def supply_of_plan(
    job: Job, solved: SolvedInstallation, estimates: Mapping[str, OutputEstimate]
) -> SupplyAssessment | None:
    """Return the assessment of the supply that a job states.

    Its loads are the equipment on every source of the vehicle itself; a source that a circuit of
    the job charges is not one, as its loads reach the supply through their charger.

    Parameters
    ----------
    job
        The job as stated.
    solved
        Its network with everything on.
    estimates
        Real output by key of the equipment, for what music draws on average.

    Returns
    -------
    SupplyAssessment or None
        None where the job states no supply, or the network has no operating point.
    """
    if job.supply is None or not solved.sources:
        return None
    charged = {circuit.fed_from for circuit in job.circuits if circuit.charges_source}
    by_key = {circuit.key: circuit for circuit in job.circuits}
    loads = []
    for item in job.equipment:
        if item.circuit is None or item.circuit not in solved.circuits:
            continue
        head = feeders(job, by_key[item.circuit])[0].fed_from
        if head not in charged:
            loads.append(_load(item, head, solved, estimates.get(item.key)))
    return supply_assessment(SupplyRequest(job.supply, tuple(loads)))


def _load(
    item: Equipment, head: str, solved: SolvedInstallation, estimate: OutputEstimate | None
) -> SupplyLoad:
    assert item.circuit is not None
    load_v = solved.circuits[item.circuit].load_voltage_v
    power_w = None if item.power_w is None else item.quantity * item.power_w
    current_a = None if item.current_a is None else item.quantity * item.current_a
    peak_a = current_a if current_a is not None else (power_w or 0.0) / load_v
    share = item.average_current_share
    if share is not None:
        average_a = share * peak_a
    elif estimate is not None:
        average_a = min(item.quantity * float(estimate.programme_current_a), peak_a)
    else:
        average_a = peak_a
    drop_v = solved.sources[head].terminal_voltage_v - load_v
    return SupplyLoad(
        key=item.key,
        current_a=current_a,
        power_w=power_w,
        average_current_a=average_a,
        # By itself the load sees the drop that the whole network leaves it.
        loop_resistance_ohm=drop_v / peak_a,
        least_voltage_v=item.least_voltage_v,
        standby_current_a=item.quantity * (item.standby_current_a or 0.0),
        peak_time_s=supply_tables().factors["peak_time_s"].value,
        has_drive_level=item.what in _DRIVEN,
    )
