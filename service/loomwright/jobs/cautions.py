"""Cautions of a whole job, by its facts."""

from collections.abc import Mapping
from types import MappingProxyType

from loomwright.engineering.cautions import CAUTIONS
from loomwright.jobs.job import Job
from loomwright.tables.records import Tables

JOB_CAUTIONS: Mapping[str, str] = MappingProxyType(
    {
        "jump_start_post": (
            "Use the jump-start post only as the vehicle maker allows, within the current he "
            "states; some posts are for starting aid alone."
        ),
        "two_sources": (
            "The vehicle has more than one source: isolate each one, and fuse a conductor between "
            "two batteries at both ends."
        ),
        "battery_in_series": (
            "Never feed a 12 V load from one battery of a 24 V pair; it drives the pair out of "
            "balance. Use a converter."
        ),
        "battery_in_living_space": (
            "A battery in a closed space needs secure fixing, covered terminals and the venting "
            "that its maker asks for."
        ),
        "mains_output": (
            "The output of an inverter is lethal mains voltage: its wiring and protection are "
            "licensed electrical work."
        ),
        "combustion_heater": (
            "Exhaust gas kills: lead the heater's exhaust and intake outside as its maker says, "
            "and fit a carbon monoxide alarm."
        ),
        "behind_the_panel": (
            "Look behind a panel before drilling: harnesses, pipes, fuel lines and airbags."
        ),
    }
)


def cautions_of_job(job: Job, tables: Tables) -> tuple[tuple[str, str], ...]:
    """Return the cautions that the facts of a job call for, each with its key.

    Parameters
    ----------
    job
        The job.
    tables
        Zones, for the engine space.

    Returns
    -------
    tuple of key and text
        The most general first.
    """
    segments = [segment for circuit in job.circuits for segment in circuit.route]
    materials = {circuit.conductor.material for circuit in job.circuits}
    tap_points = {source.tap_point for source in job.power_sources.values()}
    fitted = {item.what for item in job.equipment}
    facts = {
        "isolate_battery": True,
        "two_sources": len(job.power_sources) > 1,
        "high_voltage": job.vehicle.drive != "combustion",
        "jump_start_post": "jump_start_post" in tap_points,
        "airbag": True,
        "fuse_at_source": True,
        "fuse_not_above_conductor": True,
        "battery_in_series": job.vehicle.system_voltage_v > 12.0,
        "battery_in_living_space": "remote_battery" in tap_points,
        "moving_and_hot_parts": True,
        "engine_bay_heat": any(tables.zones[segment.zone].engine_space for segment in segments),
        "behind_the_panel": any(segment.through_bulkhead for segment in segments),
        "chassis_return": any(item.return_path.path == "chassis" for item in job.circuits),
        "copper_clad": any(material.startswith("cca") for material in materials),
        "aluminium": "aluminium" in materials,
        "mains_output": "inverter" in fitted,
        "combustion_heater": "heater" in fitted,
        "hearing": bool(fitted & {"amplifier", "bass_unit", "loudspeaker"}),
        "defer_to_maker": True,
    }
    texts = {**JOB_CAUTIONS, **CAUTIONS}
    return tuple((key, texts[key]) for key, applies in facts.items() if applies)
