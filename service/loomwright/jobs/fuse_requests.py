"""What is asked of the engineering for the fuse of a circuit of a job."""

import math

from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FusePlacement,
    FuseRequest,
    GivenFuse,
    ProtectedConductor,
)
from loomwright.engineering.protection.rating_rules import starting_current_a
from loomwright.jobs.circuit_conductors import feeding_source
from loomwright.jobs.job import Circuit, Equipment, Job
from loomwright.tables.records import Tables

BATTERY_TAPS = ("battery", "remote_battery")


def fuse_request(
    job: Job,
    circuit: Circuit,
    load_current_a: float,
    conductor: ProtectedConductor,
    source: FaultSource,
    tables: Tables,
) -> FuseRequest:
    """Return what is asked of the fuse of a circuit.

    Parameters
    ----------
    job
        The job.
    circuit
        One of its circuits.
    load_current_a
        Current of its load [A].
    conductor
        The conductor behind the fuse.
    source
        The source up to the fuse.
    tables
        Temperatures of the mounting zones.

    Returns
    -------
    FuseRequest
        For ``size_fuse``, without the fuse before it.
    """
    feeding = feeding_source(job, circuit)
    is_main = not job.feeders_down_to(circuit.fed_from)
    return FuseRequest(
        load=_load(job, circuit, load_current_a),
        conductor=conductor,
        source=source,
        system_voltage_v=feeding.system_voltage_v,
        ambient_temperature_k=tables.zones[circuit.route[0].zone].ambient_temperature_k,
        fuse_types=circuit.fuse_types,
        placement=FusePlacement(
            distance_from_source_m=circuit.distance_from_source_m,
            sheathed=circuit.sheathed,
            on_battery_terminal=is_main and feeding.tap_point in BATTERY_TAPS,
            is_main=is_main,
        ),
        equipment_fuse=_equipment_fuse(job, circuit),
    )


def _equipment_fuse(job: Job, circuit: Circuit) -> GivenFuse | None:
    ratings = [item.fuse_rating_a for item in job.equipment_on(circuit.key)]
    known = [rating for rating in ratings if rating is not None]
    return GivenFuse(max(known)) if known else None


def _starting(job: Job, circuit: Circuit) -> list[Equipment]:
    return [item for item in job.equipment_on(circuit.key) if item.inrush_current_a is not None]


def stated_starting_current_a(job: Job, circuit: Circuit) -> float:
    """Return what the pieces on a circuit draw that start together.

    Parameters
    ----------
    job
        The job.
    circuit
        One of its circuits.

    Returns
    -------
    float
        Current [A]; NaN where no starting current is stated.
    """
    starting = _starting(job, circuit)
    if not starting:
        return math.nan
    return sum(item.quantity * (item.inrush_current_a or 0.0) for item in starting)


def _load(job: Job, circuit: Circuit, continuous_current_a: float) -> FuseLoad:
    """Return the load of a circuit: pieces that start together add their starting currents."""
    starting = _starting(job, circuit)
    if not starting:
        return FuseLoad(continuous_current_a)
    stated_a = stated_starting_current_a(job, circuit)
    return FuseLoad(
        continuous_current_a,
        inrush_current_a=starting_current_a(stated_a, continuous_current_a),
        inrush_duration_s=max(item.inrush_duration_s or 0.0 for item in starting),
    )
