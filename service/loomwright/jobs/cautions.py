"""Cautions of a whole job, by its facts."""

from loomwright.jobs.job import SOLDER, Job
from loomwright.tables.records import Tables


def cautions_of_job(job: Job, tables: Tables) -> tuple[str, ...]:
    """Return the cautions that the facts of a job call for.

    Parameters
    ----------
    job
        The job.
    tables
        Zones, for the engine space.

    Returns
    -------
    tuple of str
        Keys of ``CAUTIONS``, the most general first.
    """
    segments = [segment for circuit in job.circuits for segment in circuit.route]
    materials = {circuit.conductor.material for circuit in job.circuits}
    tap_points = {source.tap_point for source in job.power_sources.values()}
    fitted = {item.what for item in job.equipment}
    hazards = job.vehicle.hazards
    facts = {
        "isolate_battery": True,
        "two_sources": len(job.power_sources) > 1,
        "high_voltage": job.vehicle.has_high_voltage or "high_voltage_cables" in hazards,
        "keyless_wake_up": "keyless_entry" in hazards,
        "start_stop": "start_stop" in hazards,
        "battery_sensor": "battery_sensor" in hazards,
        "jump_start_post": "jump_start_post" in tap_points,
        "airbag": True,
        "airbag_wait": "airbags_on_route" in hazards,
        "fuse_at_source": True,
        "fuse_not_above_conductor": True,
        "battery_in_series": job.vehicle.system_voltage_v > 12.0,
        "battery_in_living_space": "remote_battery" in tap_points,
        "moving_and_hot_parts": True,
        "fuel_lines": "fuel_lines" in hazards,
        "engine_bay_heat": any(tables.zones[segment.zone].engine_space for segment in segments),
        "behind_the_panel": any(segment.through_bulkhead for segment in segments),
        "chassis_return": any(item.return_path.path == "chassis" for item in job.circuits),
        "soldered_joint": any(circuit.joining == SOLDER for circuit in job.circuits),
        "copper_clad": any(material.startswith("cca") for material in materials),
        "aluminium": "aluminium" in materials,
        "mains_output": "inverter" in fitted,
        "combustion_heater": "heater" in fitted,
        "hearing": bool(fitted & {"amplifier", "bass_unit", "loudspeaker"}),
        "defer_to_maker": True,
    }
    return tuple(key for key, applies in facts.items() if applies)
