"""Tolerances in requests, and what they do to the answer.

The three calculators share the form; results and choice are their own.
"""

from types import MappingProxyType
from typing import Any

from marshmallow import fields

from loomwright.units import CURRENT, IMPEDANCE, LENGTH, POWER, RESISTANCE, TEMPERATURE, VOLTAGE
from loomwright.web.quantities import Flag, Key, PlainNumber
from loomwright.web.schemas.base import Answer, ObjectList, Request, describe
from loomwright.web.schemas.common import SourceAnswer

AMPERE, OHM, VOLT = CURRENT.stated_unit, RESISTANCE.stated_unit, VOLTAGE.stated_unit
METRE, WATT, CELSIUS = LENGTH.stated_unit, POWER.stated_unit, TEMPERATURE.stated_unit
# The inputs that have a tolerance, by the name of their field, with the unit of the answer. Those
# that are no field are what the tables assume.
CONDUCTOR_INPUTS = MappingProxyType(
    {
        "load_current": AMPERE,
        "load_power": WATT,
        "supply_voltage": VOLT,
        "source_resistance": OHM,
        "length": METRE,
        "ambient_temperature": CELSIUS,
        "conductor_resistance": "1",
        "chassis_resistance": OHM,
        "joint_resistance": OHM,
        "fuse_resistance": OHM,
    }
)
FUSE_INPUTS = MappingProxyType(
    {
        "load_current": AMPERE,
        "inrush_current": AMPERE,
        "source_voltage": VOLT,
        "source_resistance": OHM,
        "cold_cranking_current": AMPERE,
        "resistance_before_fuse": OHM,
        "length": METRE,
        "ambient_temperature": CELSIUS,
        "conductor_resistance": "1",
        "chassis_resistance": OHM,
        "fixed_resistance": OHM,
        "fuse_ambient_temperature": CELSIUS,
        "loading_factor": "1",
    }
)
OUTPUT_INPUTS = MappingProxyType(
    {
        "supply_voltage": VOLT,
        "source_voltage": VOLT,
        "source_resistance": OHM,
        "route_resistance": OHM,
        "load_impedance": IMPEDANCE.stated_unit,
        "measured_efficiency": "1",
        "efficiency": "1",
        "fuse_loading": "1",
        "rail_utilisation": "1",
    }
)


def _tolerance() -> PlainNumber:
    return PlainNumber(
        0.0,
        90.0,
        required=True,
        metadata=describe("Either way, in percent of the input; of a temperature in K."),
    )


class ConductorToleranceRequest(Request):
    """The tolerance of one input, in place of the usual one."""

    input = Key(tuple(CONDUCTOR_INPUTS), required=True, metadata=describe("Which input."))
    tolerance = _tolerance()


class FuseToleranceRequest(Request):
    """The tolerance of one input, in place of the usual one."""

    input = Key(tuple(FUSE_INPUTS), required=True, metadata=describe("Which input."))
    tolerance = _tolerance()


class OutputToleranceRequest(Request):
    """The tolerance of one input, in place of the usual one."""

    input = Key(tuple(OUTPUT_INPUTS), required=True, metadata=describe("Which input."))
    tolerance = _tolerance()


TOLERANCE_REQUESTS = (ConductorToleranceRequest, FuseToleranceRequest, OutputToleranceRequest)


def sensitivity_flag() -> Flag:
    """Return the field that asks for the sensitivity."""
    return Flag(
        load_default=False,
        metadata=describe(
            "Add what the tolerance of each input does to results and choice.", default=False
        ),
    )


def tolerance_list(schema: type[Request], inputs: int) -> ObjectList:
    """Return the field that states tolerances other than the usual ones."""
    return ObjectList(
        schema,
        1,
        inputs,
        metadata=describe(
            "Tolerances in place of the usual ones; of no effect without sensitivity, nor for an "
            "input that the request has not. The last counts where an input stands twice."
        ),
    )


def _number(text: str) -> Any:
    return fields.Float(required=True, allow_none=True, metadata=describe(text))


def _elasticity() -> Any:
    return _number(
        "Relative change of the result for that of the input, mean over the tolerance; null for a "
        "temperature and where there is no tolerance."
    )


def _uncertainty() -> Any:
    return _number("Of the result, by this input alone, any value within its tolerance as likely.")


class ToleratedInputAnswer(Answer):
    """An input with the ends of its tolerance, in the unit stated beside."""

    input = fields.String(
        required=True,
        metadata=describe(
            "Field of the request; a route counts as a whole, its length in sum and the hottest "
            "ambient. No field are conductor_resistance (over that of the tables, 20 C), "
            "efficiency, fuse_loading and rail_utilisation (of the amplifier's class)."
        ),
    )
    unit = fields.String(required=True)
    nominal = fields.Float(required=True)
    low = fields.Float(required=True)
    high = fields.Float(required=True)
    source = fields.String(
        required=True,
        allow_none=True,
        metadata=describe("Key of a source of the tolerance; null where the request states it."),
    )
    locator = fields.String(required=True, allow_none=True)
    choice_changes = fields.Boolean(
        required=True, metadata=describe("Whether verdict or choice is another at either end.")
    )


class ResultBandAnswer(Answer):
    """One result over the tolerances of all inputs, in the unit stated beside."""

    result = fields.String(required=True)
    unit = fields.String(required=True)
    nominal = _number("With the inputs as stated.")
    low = _number("Least: all inputs at the ends that lower it; null where one leaves the models.")
    high = _number(
        "Greatest: all inputs at the ends that raise it; null as low is. The upper end of a fuse "
        "window is the least of several rules and may lie higher between those ends."
    )
    standard_uncertainty = _number(
        "Root of the sum of squares over the inputs, JCGM 100, 5.1.2; of a temperature in K."
    )


class SensitivityBase(Answer):
    """What the three calculators share."""

    results = fields.List(fields.Nested(ResultBandAnswer), required=True)
    choice_changes = fields.Boolean(
        required=True, metadata=describe("Whether any input alone, or the worst case, changes it.")
    )
    sources = fields.List(
        fields.Nested(SourceAnswer), required=True, metadata=describe("Of the tolerances.")
    )


_VERDICT = describe("As of the answer; the code of the error where the input leaves the models.")
_WORST = describe(
    "Every input at the end that brings the requirement nearest to its limit still nearer."
)


class ConductorOutcomeAnswer(Answer):
    """The drop of the installed conductor, and what would be chosen."""

    voltage_drop_v = _number(
        "Of the chosen or given conductor, whatever would be chosen here; null where it has no "
        "operating point."
    )
    conductor_temperature_c = _number("Of the same conductor.")
    verdict = fields.String(required=True, metadata=_VERDICT)
    size = fields.String(required=True, allow_none=True)
    parallel_runs = fields.Integer(required=True, allow_none=True)


class ConductorInputSensitivityAnswer(ToleratedInputAnswer):
    """One input of size-conductor with the outcomes at both ends."""

    at_low = fields.Nested(ConductorOutcomeAnswer, required=True)
    at_high = fields.Nested(ConductorOutcomeAnswer, required=True)
    voltage_drop_elasticity = _elasticity()
    conductor_temperature_by_one_percent_k = _number(
        "Change of the temperature for one percent of the input, mean over the tolerance."
    )
    voltage_drop_standard_uncertainty_v = _uncertainty()
    conductor_temperature_standard_uncertainty_k = _uncertainty()


class ConductorSensitivityAnswer(SensitivityBase):
    """What tolerances do to drop, temperature and choice."""

    inputs = fields.List(fields.Nested(ConductorInputSensitivityAnswer), required=True)
    worst_case = fields.Nested(ConductorOutcomeAnswer, required=True, metadata=_WORST)


class FuseOutcomeAnswer(Answer):
    """The window of the chosen type, the faults, and what would be chosen."""

    lower_a = _number("Least permitted rating of the chosen type, or of the first one.")
    upper_a = _number("Greatest permitted rating of the same type.")
    far_end_fault_a = _number("Short-circuit current at the far end.")
    near_source_fault_a = _number("Short-circuit current right behind the fuse.")
    verdict = fields.String(required=True, metadata=_VERDICT)
    fuse_type = fields.String(required=True, allow_none=True)
    rated_current_a = fields.Float(required=True, allow_none=True)


class FuseInputSensitivityAnswer(ToleratedInputAnswer):
    """One input of size-fuse with the outcomes at both ends."""

    at_low = fields.Nested(FuseOutcomeAnswer, required=True)
    at_high = fields.Nested(FuseOutcomeAnswer, required=True)
    lower_elasticity = _elasticity()
    upper_elasticity = _elasticity()
    far_end_fault_elasticity = _elasticity()
    near_source_fault_elasticity = _elasticity()
    lower_standard_uncertainty_a = _uncertainty()
    upper_standard_uncertainty_a = _uncertainty()
    far_end_fault_standard_uncertainty_a = _uncertainty()
    near_source_fault_standard_uncertainty_a = _uncertainty()


class FuseSensitivityAnswer(SensitivityBase):
    """What tolerances do to window, faults and choice."""

    inputs = fields.List(fields.Nested(FuseInputSensitivityAnswer), required=True)
    worst_case = fields.Nested(FuseOutcomeAnswer, required=True, metadata=_WORST)


class OutputOutcomeAnswer(Answer):
    """The likely output, and the verdict on the claim."""

    likely_output_w = _number("Over all channels.")
    verdict = fields.String(required=True, metadata=_VERDICT)


class OutputInputSensitivityAnswer(ToleratedInputAnswer):
    """One input of estimate-real-output with the outcomes at both ends."""

    at_low = fields.Nested(OutputOutcomeAnswer, required=True)
    at_high = fields.Nested(OutputOutcomeAnswer, required=True)
    likely_output_elasticity = _elasticity()
    likely_output_standard_uncertainty_w = _uncertainty()


class OutputSensitivityAnswer(SensitivityBase):
    """What tolerances do to the likely output and the verdict."""

    inputs = fields.List(fields.Nested(OutputInputSensitivityAnswer), required=True)
    worst_case = fields.Nested(OutputOutcomeAnswer, required=True, metadata=_WORST)


def sensitivity_member(schema: type[Answer]) -> Any:
    """Return the member of an answer, null unless asked for."""
    return fields.Nested(
        schema,
        required=True,
        allow_none=True,
        metadata=describe("What tolerances of the inputs do; null unless asked for."),
    )
