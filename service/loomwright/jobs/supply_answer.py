"""An assessed supply as a plain JSON document."""

import math
from collections.abc import Mapping
from typing import Any

from loomwright.engineering.supply.assessment import SupplyAssessment
from loomwright.engineering.supply.battery import DISCHARGE_ENDS, Discharge
from loomwright.engineering.supply.charging import Charging
from loomwright.engineering.supply.checks import (
    CHECKS,
    ENGINE_OFF_TIME,
    LOAD_VOLTAGE,
    OPERATING_POINT,
    STANDING_TIME,
    Shortfall,
)
from loomwright.engineering.supply.remedies import (
    LARGER_CONDUCTOR,
    LARGER_SOURCE,
    LOWER_DRIVE_LEVEL,
    RAISE_IDLE,
    SECOND_BATTERY,
    SWITCH_OFF_STANDBY,
    MendedShortfall,
    Remedy,
)
from loomwright.engineering.supply.worst_case import LoadVoltage, StateVoltages
from loomwright.figures import six_digits

SECONDS_PER_HOUR, SECONDS_PER_DAY = 3600.0, 86_400.0
# Member of the answer by remedy, and its unit in SI.
REMEDY_FIGURES: Mapping[str, tuple[str, float]] = {
    LOWER_DRIVE_LEVEL: ("drive_level_change_db", 1.0),
    SWITCH_OFF_STANDBY: ("standby_current_a", 1.0),
    RAISE_IDLE: ("idle_speed_rpm", 1.0 / 60.0),
    LARGER_CONDUCTOR: ("loop_resistance_ohm", 1.0),
    SECOND_BATTERY: ("added_capacity_ah", SECONDS_PER_HOUR),
    LARGER_SOURCE: ("output_a", 1.0),
}
# Unit of a shortfall, and that in SI; A where none is named.
_UNITS: Mapping[str, tuple[str, float]] = {
    ENGINE_OFF_TIME: ("h", SECONDS_PER_HOUR),
    STANDING_TIME: ("d", SECONDS_PER_DAY),
    LOAD_VOLTAGE: ("V", 1.0),
    OPERATING_POINT: ("W", 1.0),
}
UNITS = ("A", *dict.fromkeys(unit for unit, _ in _UNITS.values()))


def supply_document(assessed: SupplyAssessment) -> dict[str, Any]:
    """Return an assessed supply as a JSON document, without cautions and sources.

    Parameters
    ----------
    assessed
        The assessment.

    Returns
    -------
    dict
        As the schema ``AssessSupplyAnswer`` describes.
    """
    figures = assessed.figures
    return {
        "verdict": assessed.verdict,
        "shortfalls": [_shortfall(entry) for entry in assessed.shortfalls],
        "charging": [_charging(entry) for entry in figures.charging],
        "converter_input_w": six_digits(assessed.converter_input_w),
        "engine_off": _engine_off(figures.discharge),
        "key_off": {
            "drain_current_a": six_digits(figures.drain_a),
            "no_start_time_d": _finite(figures.no_start_s, SECONDS_PER_DAY),
        },
        "worst_voltages": [_load(entry) for entry in figures.worst],
        "voltages": [_state(entry) for entry in figures.states],
    }


def _finite(value: float, unit: float) -> float | None:
    return six_digits(value / unit) if math.isfinite(value) else None


def _charging(entry: Charging) -> dict[str, Any]:
    return {
        "state": entry.state,
        "output_a": six_digits(entry.output_a),
        "bound": entry.bound,
        "existing_current_a": six_digits(entry.existing_a),
        "average_current_a": six_digits(entry.average_a),
        "peak_current_a": six_digits(entry.peak_a),
        "headroom_a": six_digits(entry.headroom_a),
        "peak_excess_current_a": six_digits(entry.peak_excess_a),
        "excess_charge_ah": six_digits(entry.excess_charge_as / SECONDS_PER_HOUR),
        "recovery_charge_ah": six_digits(entry.recovery_charge_as / SECONDS_PER_HOUR),
    }


def _engine_off(entry: Discharge) -> dict[str, Any]:
    return {
        "average_current_a": six_digits(entry.current_a),
        "engine_off_time_h": _finite(entry.time_s, SECONDS_PER_HOUR),
        "end": entry.end,
        "reason": DISCHARGE_ENDS[entry.end],
        "end_state_of_charge_percent": six_digits(100.0 * entry.end_state_of_charge),
    }


def _load(entry: LoadVoltage) -> dict[str, Any]:
    return {
        "key": entry.key,
        "state": entry.state,
        "load_voltage_v": six_digits(entry.voltage_v),
        "load_current_a": six_digits(entry.current_a),
    }


def _state(entry: StateVoltages) -> dict[str, Any]:
    return {
        "state": entry.state,
        "bus_voltage_v": six_digits(entry.bus_voltage_v),
        "greatest_power_w": _finite(entry.greatest_power_w, 1.0),
        "load_voltages": [_load(load) for load in entry.loads],
    }


def _shortfall(entry: MendedShortfall) -> dict[str, Any]:
    shortfall = entry.shortfall
    unit, factor = _unit_of(shortfall)
    return {
        "check": shortfall.check,
        "reason": CHECKS[shortfall.check],
        "state": shortfall.state,
        "load_key": shortfall.load,
        "present": six_digits(shortfall.value / factor),
        "wanted": six_digits(shortfall.limit / factor),
        "unit": unit,
        "remedies": [_remedy(remedy) for remedy in entry.remedies],
        "cheapest": entry.cheapest,
        "chosen_by": entry.chosen_by,
    }


def _unit_of(shortfall: Shortfall) -> tuple[str, float]:
    return _UNITS.get(shortfall.check, ("A", 1.0))


def _remedy(remedy: Remedy) -> dict[str, Any]:
    name, unit = REMEDY_FIGURES[remedy.key]
    figures = {member: None for member, _ in REMEDY_FIGURES.values()}
    value = None if remedy.value is None else six_digits(remedy.value / unit)
    return {"remedy": remedy.key, "closes": remedy.closes, **figures, name: value}
