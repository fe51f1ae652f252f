"""The answer for a signal path as plain JSON values, in a fixed order."""

import math
from collections.abc import Iterable
from typing import Any

from loomwright.engineering.signal.feeds import PlannedSum, PlannedTakeOff
from loomwright.engineering.signal.grounds import GroundNoise, Remedy
from loomwright.engineering.signal.input_level import InputLevel
from loomwright.engineering.signal.path import Remark
from loomwright.engineering.signal.plan import PlannedConnection, SignalPlan
from loomwright.engineering.signal.switching import CoilPlan, TurnOnPlan
from loomwright.figures import six_digits


def signal_document(plan: SignalPlan) -> dict[str, Any]:
    """Return a judged signal path as plain JSON values.

    Parameters
    ----------
    plan
        The answer; its cautions and the publications that it rests on are not in the document.

    Returns
    -------
    dict
        Each number's name ends in its unit.
    """
    return {
        "verdict": plan.verdict,
        "take_offs": [_take_off(entry) for entry in plan.take_offs],
        "sums": [_sum(entry) for entry in plan.sums],
        "connections": [_connection(entry) for entry in plan.connections],
        "turn_on": _turn_on(plan.turn_on),
        "changes": _remarks("change", plan.changes),
        "notes": _remarks("note", plan.notes),
        "devices": _remarks("device", plan.needed),
    }


def _remarks(kind: str, remarks: Iterable[Remark]) -> list[dict[str, str]]:
    return [{kind: entry.key, "at": entry.at, "text": entry.text} for entry in remarks]


def _take_off(entry: PlannedTakeOff) -> dict[str, Any]:
    resistor = entry.load_resistor
    return {
        "key": entry.take_off.key,
        "level_kind": entry.take_off.level_kind,
        "bridged": entry.take_off.bridged,
        "greatest_voltage_v": six_digits(entry.feed.open_voltage_v),
        "output_impedance_ohm": six_digits(entry.feed.output_impedance_ohm),
        "load_resistor": None
        if resistor is None
        else {
            "resistance_ohm": six_digits(resistor.resistance_ohm),
            "heat_w": six_digits(resistor.heat_w),
            "least_power_rating_w": six_digits(resistor.least_rating_w),
        },
    }


def _sum(entry: PlannedSum) -> dict[str, Any]:
    return {
        "key": entry.sum.key,
        "relation": entry.sum.relation,
        "method": entry.sum.method,
        "part_voltages_v": [six_digits(part) for part in entry.parts_v],
        "sine_voltage_v": six_digits(entry.sine_voltage_v),
        "greatest_voltage_v": six_digits(entry.feed.open_voltage_v),
        "over_greatest_part_db": six_digits(entry.over_greatest_part_db),
        "output_impedance_ohm": six_digits(entry.feed.output_impedance_ohm),
        "summing_resistance_ohm": six_digits(entry.resistance_ohm),
        "least_load_impedance_ohm": six_digits(entry.least_load_ohm),
    }


def _connection(entry: PlannedConnection) -> dict[str, Any]:
    return {
        "fed_from": entry.feed.key,
        "input": entry.input.key,
        "level": _level(entry.level),
        "ground_noise": _noise(entry.noise),
    }


def _level(level: InputLevel) -> dict[str, Any]:
    return {
        "verdict": level.verdict,
        "input_voltage_v": six_digits(level.voltage_v),
        "setting_voltage_v": six_digits(level.setting_voltage_v),
        "least_voltage_v": six_digits(level.least_voltage_v),
        "greatest_voltage_v": six_digits(level.greatest_voltage_v),
        "input_impedance_ohm": six_digits(level.impedance_ohm),
        "gain_range_db": six_digits(level.gain_range_db),
        "gain_above_least_db": six_digits(level.gain_above_least_db),
        "gain_left_db": six_digits(level.gain_left_db),
        "clips_at_source_level_db": six_digits(level.clips_at_source_level_db),
        "ratio_least": six_digits(level.ratio_least),
        "ratio_greatest": six_digits(level.ratio_greatest),
    }


def _noise(noise: GroundNoise) -> dict[str, Any]:
    return {
        "verdict": noise.verdict,
        "ground_difference_mv": _millivolts(noise.difference_v),
        "alternating_difference_mv": _millivolts(noise.alternating_v),
        "shield_current_a": six_digits(noise.shield_current_a),
        "interference_mv": _millivolts(noise.interference_v),
        "below_signal_db": six_digits(noise.below_signal_db),
        "remedies": [_remedy(entry) for entry in noise.remedies],
    }


def _remedy(entry: Remedy) -> dict[str, Any]:
    below = entry.below_signal_db
    return {
        "remedy": entry.key,
        "interference_mv": _millivolts(entry.interference_v),
        "below_signal_db": six_digits(below) if math.isfinite(below) else None,
        "verdict": entry.verdict,
        "resistance_ratio": six_digits(entry.resistance_ratio),
    }


def _millivolts(volts: float | None) -> float | None:
    return None if volts is None else six_digits(1e3 * volts)


def _turn_on(plan: TurnOnPlan) -> dict[str, Any]:
    return {
        "verdict": plan.verdict,
        "equipment_current_a": six_digits(plan.equipment_current_a),
        "available_current_a": six_digits(plan.available_current_a),
        "drawn_current_a": six_digits(plan.drawn_current_a),
        "margin_current_a": six_digits(plan.margin_current_a),
        "least_coil_resistance_ohm": six_digits(plan.least_coil_resistance_ohm),
        "contact_fuse_lower_a": six_digits(plan.contact_fuse_lower_a),
        "contact_fuse_upper_a": six_digits(plan.contact_fuse_upper_a),
        "coil": None if plan.coil is None else _coil(plan.coil),
        "switched_by_signal": list(plan.by_signal),
    }


def _coil(coil: CoilPlan) -> dict[str, Any]:
    return {
        "coil_current_a": six_digits(coil.coil_current_a),
        "coil_energy_j": six_digits(coil.coil_energy_j),
        "unsuppressed_peak_v": six_digits(coil.unsuppressed_peak_v),
        "suppressed_peak_v": six_digits(coil.suppressed_peak_v),
        "contact_peak_v": six_digits(coil.contact_peak_v),
        "time_constant_s": six_digits(coil.time_constant_s),
        "release_time_s": six_digits(coil.release_time_s),
        "diode_forward_current_a": six_digits(coil.diode_forward_current_a),
        "diode_reverse_voltage_v": six_digits(coil.diode_reverse_voltage_v),
        "resistor_heat_w": six_digits(coil.resistor_heat_w),
    }
