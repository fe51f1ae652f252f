"""What the amplifiers of a job can really put out at the voltages of the solved network."""

from collections.abc import Mapping, Sequence
from typing import Any

from loomwright.engineering.audio.output_answer import OutputEstimate
from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.audio.output_request import LIMITS, OutputRequest
from loomwright.engineering.record import record
from loomwright.figures import six_digits
from loomwright.jobs.job import Equipment, Job
from loomwright.tables.audio_load import audio_tables


@record
class EquipmentOutput:
    """The real output of one piece of equipment at the voltage that it is fed with."""

    equipment: Equipment
    estimate: OutputEstimate


def equipment_outputs(
    job: Job, load_voltages_v: Mapping[str, float]
) -> tuple[EquipmentOutput, ...]:
    """Return the real output of every amplifier of a job whose circuit has an operating point.

    Parameters
    ----------
    job
        The job as stated.
    load_voltages_v
        Voltage at the end of each circuit while everything draws [V], by its key.

    Returns
    -------
    tuple of EquipmentOutput
        In the order of the job; none of an amplifier that the model does not cover.
    """
    found = []
    for item in job.equipment:
        voltage = None if item.circuit is None else load_voltages_v.get(item.circuit)
        if item.amplifier is not None and voltage is not None and _is_modelled(item, voltage):
            found.append(EquipmentOutput(item, output_estimate(_request(item, voltage))))
    return tuple(found)


def _is_modelled(item: Equipment, voltage_v: float) -> bool:
    """Return whether the model of amplifiers covers a voltage and the fuse of an amplifier."""
    figures = {"supply_voltage_v": voltage_v, "fuse_ratings_a": item.fuse_rating_a or 0.0}
    return all(LIMITS[name][0] <= value <= LIMITS[name][1] for name, value in figures.items())


def _request(item: Equipment, voltage_v: float) -> OutputRequest:
    amplifier = item.amplifier
    assert amplifier is not None
    assert item.fuse_rating_a is not None  # the reader asks for it beside an amplifier
    known = audio_tables()
    return OutputRequest(
        fuse_ratings_a=(item.fuse_rating_a,),
        amplifier_class=known.amplifier_classes[amplifier.amplifier_class],
        load_impedance_ohm=amplifier.load_impedance_ohm,
        bridged=amplifier.bridged,
        converter=amplifier.converter,  # type: ignore[arg-type]
        channels=float(amplifier.channels),
        supply_voltage_v=voltage_v,
        measured_efficiency=amplifier.measured_efficiency,
        claimed_output_total_w=amplifier.claimed_output_w,
        programme=known.programmes[amplifier.programme],
    )


def outputs_document(outputs: Sequence[EquipmentOutput]) -> list[dict[str, Any]]:
    """Return the real outputs as plain JSON values.

    Parameters
    ----------
    outputs
        Of a plan.

    Returns
    -------
    list of dict
        One for each amplifier.
    """
    return [_document(entry) for entry in outputs]


def _document(entry: EquipmentOutput) -> dict[str, Any]:
    estimate, item = entry.estimate, entry.equipment
    figures = {
        "supply_voltage_v": estimate.supply_voltage_v,
        "input_ceiling_w": estimate.input_ceiling_w,
        "output_low_w": estimate.output_low_w,
        "output_likely_w": estimate.output_likely_w,
        "output_high_w": estimate.output_high_w,
        "claimed_output_w": estimate.claimed_output_w,
        "claim_above_likely_db": estimate.claim_above_likely_db,
        "full_sine_current_a": estimate.full_sine_current_a,
        "programme_current_a": estimate.programme_current_a,
        "idle_current_a": estimate.idle_current_a,
        "programme_heat_w": estimate.programme_heat_w,
        "gain_setting_voltage_v": estimate.gain_setting_voltage_v,
    }
    return {
        "equipment": item.key,
        "description": item.description,
        "verdict": estimate.claim_verdict or "output_estimated",
        "likely_bound": estimate.likely_bound,
        **{name: six_digits(value) for name, value in figures.items()},
    }
