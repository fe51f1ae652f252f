"""Request and answer of plan-signal-path, and rules between the members of a signal path."""

from functools import cache
from typing import Any

from marshmallow import fields

from loomwright.engineering.signal.ground_noise import NOISE_VERDICTS
from loomwright.engineering.signal.input_level import LEVEL_VERDICTS
from loomwright.engineering.signal.path import (
    DIFFERENTIAL,
    DIRECT,
    LEVEL_KINDS,
    LINE_LEVEL,
    RELATIONS,
    RESISTOR,
    RESISTORS,
    SUM_METHODS,
)
from loomwright.engineering.signal.plan import CHANGES, DEVICES, NOTES, PLAN_VERDICTS
from loomwright.engineering.signal.switching import TURN_ON_VERDICTS
from loomwright.jobs.signal_document import OF_SPEAKER_LEVEL
from loomwright.jobs.signal_members import PLAN_REQUEST
from loomwright.web.schemas.base import Answer, describe, exactly_one_of, together
from loomwright.web.schemas.common import AnswerBase
from loomwright.web.schemas.documents import JsonSchema, Rule, components


def _barred(names: tuple[str, ...], member: str, *values: object) -> JsonSchema:
    """Return the rule that some members are absent where another has one of some values."""
    return {
        "if": {"properties": {member: {"enum": list(values)}}, "required": [member]},
        "then": {"not": {"anyOf": [{"required": [name]} for name in names]}},
    }


def _only(name: str, member: str, value: object) -> JsonSchema:
    """Return the rule that a member is there only where another states a value."""
    return {
        "if": {"properties": {member: {"const": value}}, "required": [member]},
        "else": {"not": {"required": [name]}},
    }


def _with(*rules: JsonSchema, **more: Any) -> Rule:
    def rule(schema: JsonSchema) -> JsonSchema:
        return {**schema, **({"allOf": list(rules)} if rules else {}), **more}

    return rule


_RESISTANCE = "suppression_resistance"
SIGNAL_RULES: dict[str, Rule] = {
    "DeviceGround": _with(
        **exactly_one_of("potential", "return_current"),
        **together("return_current", "path_resistance"),
    ),
    "TakeOff": _with(
        _barred(OF_SPEAKER_LEVEL, "level_kind", LINE_LEVEL),
        **exactly_one_of("greatest_voltage", "greatest_power"),
        **together("greatest_power", "load_impedance"),
    ),
    "SignalSum": _with(
        _only("summing_resistance", "method", RESISTORS),
        _barred(("device_gain",), "method", RESISTORS, DIRECT),
    ),
    "SignalInput": _with(
        _only("common_mode_rejection_db", "reference", DIFFERENTIAL),
        _barred(("senses_signal",), "level_kind", LINE_LEVEL),
        **together("least_voltage", "greatest_voltage"),
    ),
    "SignalConnection": _with(_only("isolation_rejection_db", "isolated", value=True)),
    "TurnOn": _with(**exactly_one_of("greatest_current", "fuse_rating")),
    "TurnOnRelay": _with(
        {**_only(_RESISTANCE, "suppression", RESISTOR), "then": {"required": [_RESISTANCE]}}
    ),
}


@cache
def plan_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return components(PLAN_REQUEST, SIGNAL_RULES)


def _number(about: str = "", *, allow_none: bool = False) -> fields.Float:
    metadata = describe(about) if about else {}
    return fields.Float(required=True, allow_none=allow_none, metadata=metadata)


def _choice(choices: tuple[str, ...], about: str = "") -> fields.String:
    metadata = describe(about, enum=list(choices)) if about else {"enum": list(choices)}
    return fields.String(required=True, metadata=metadata)


class LoadResistorAnswer(Answer):
    """A resistor in place of a loudspeaker."""

    resistance_ohm = _number()
    heat_w = _number("On a full sine.")
    least_power_rating_w = _number("With the usual reserve.")


class TakeOffAnswer(Answer):
    """What a take-off delivers."""

    key = fields.String(required=True)
    level_kind = _choice(LEVEL_KINDS)
    bridged = fields.Boolean(
        required=True, metadata=describe("Whether both terminals carry signal.")
    )
    greatest_voltage_v = _number("At the onset of clipping, without load, root mean square.")
    output_impedance_ohm = _number()
    load_resistor = fields.Nested(
        LoadResistorAnswer,
        required=True,
        allow_none=True,
        metadata=describe("Where its output looks for a loudspeaker and has none."),
    )


class SignalSumAnswer(Answer):
    """What a sum of take-offs delivers."""

    key = fields.String(required=True)
    relation = _choice(RELATIONS)
    method = _choice(SUM_METHODS)
    part_voltages_v = fields.List(
        fields.Float(),
        required=True,
        metadata=describe("What each take-off contributes; negative where its polarity is turned."),
    )
    sine_voltage_v = _number("Greatest on a sine.")
    greatest_voltage_v = _number("Greatest on any programme, by which the level is judged.")
    over_greatest_part_db = _number(
        "Greatest voltage over the greatest part; null where all cancels.", allow_none=True
    )
    output_impedance_ohm = _number()
    summing_resistance_ohm = _number("Each; null without summing resistors.", allow_none=True)
    least_load_impedance_ohm = _number("That an output meets behind its resistor.", allow_none=True)


class InputLevelAnswer(Answer):
    """The level at an input against the range of its gain."""

    verdict = _choice(LEVEL_VERDICTS)
    input_voltage_v = _number("At the source's greatest.")
    setting_voltage_v = _number("That shall just give full output: set the gain to it.")
    least_voltage_v = _number("For full output with gain at its greatest.")
    greatest_voltage_v = _number("For full output with gain at its least.")
    input_impedance_ohm = _number()
    gain_range_db = _number("Between least and greatest gain.")
    gain_above_least_db = _number("What the setting needs; negative where the level is too high.")
    gain_left_db = _number("What is left above the setting; negative where the level is too low.")
    clips_at_source_level_db = _number(
        "Level of the source against its greatest at which the equipment clips."
    )
    ratio_least = _number("Least voltage ratio of a further converter that brings it into range.")
    ratio_greatest = _number("Greatest such ratio; below ratio_least where none does.")


class NoiseRemedyAnswer(Answer):
    """What lowers ground noise, and to where."""

    remedy = _choice(
        ("common_ground_point", "differential_input", "isolation_transformer", "thicker_ground")
    )
    interference_mv = _number()
    below_signal_db = _number("Null where no noise is left.", allow_none=True)
    verdict = _choice(NOISE_VERDICTS)
    resistance_ratio = _number(
        "What the resistance of both ground paths is to be divided by.", allow_none=True
    )


class GroundNoiseAnswer(Answer):
    """Noise between the grounds of both ends; null where a potential is not known."""

    verdict = _choice(NOISE_VERDICTS)
    ground_difference_mv = _number(
        "Ground potential of the input less that of the source.", allow_none=True
    )
    alternating_difference_mv = _number(
        "The part that alternates and can be heard.", allow_none=True
    )
    shield_current_a = _number(
        "That a shield grounded at both ends carries; null where it is not.", allow_none=True
    )
    interference_mv = _number("What the input takes for signal.", allow_none=True)
    below_signal_db = _number("Greatest signal over it; null where there is none.", allow_none=True)
    remedies = fields.List(fields.Nested(NoiseRemedyAnswer), required=True)


class SignalConnectionAnswer(Answer):
    """One connection judged."""

    fed_from = fields.String(required=True)
    input = fields.String(required=True)
    level = fields.Nested(InputLevelAnswer, required=True)
    ground_noise = fields.Nested(GroundNoiseAnswer, required=True)


class CoilAnswer(Answer):
    """The coil of the relay; null what rests on an inductance that is not stated."""

    coil_current_a = _number("At the greatest system voltage.")
    coil_energy_j = _number(allow_none=True)
    unsuppressed_peak_v = _number(
        "Bound of the voltage across the coil without suppression.", allow_none=True
    )
    suppressed_peak_v = _number("Across the coil with the suppression stated.", allow_none=True)
    contact_peak_v = _number("Across what opens the circuit.", allow_none=True)
    time_constant_s = _number(allow_none=True)
    release_time_s = _number(
        "Until the relay surely releases, without the movement of its armature.", allow_none=True
    )
    diode_forward_current_a = _number("Least rating of a diode across the coil.")
    diode_reverse_voltage_v = _number("Least rating of a diode across the coil: a load dump.")
    resistor_heat_w = _number("In a resistor across the coil that is on.", allow_none=True)


class TurnOnAnswer(Answer):
    """Remote turn-on judged."""

    verdict = _choice(TURN_ON_VERDICTS)
    equipment_current_a = _number("Of all equipment that the lead switches on.")
    available_current_a = _number("Below 0 where more is drawn already.", allow_none=True)
    drawn_current_a = _number("From the circuit: all, or the coil of the relay.", allow_none=True)
    margin_current_a = _number("Available less drawn.", allow_none=True)
    least_coil_resistance_ohm = _number("Of a relay that the circuit can feed.", allow_none=True)
    contact_fuse_lower_a = _number("Least rating of the contact's own fuse.", allow_none=True)
    contact_fuse_upper_a = _number("Greatest rating of it: that of the contact.", allow_none=True)
    coil = fields.Nested(CoilAnswer, required=True, allow_none=True)
    switched_by_signal = fields.List(
        fields.String(),
        required=True,
        metadata=describe("Inputs that a signal at speaker level switches on instead."),
    )


class SignalChangeAnswer(Answer):
    """Something that must not be done as stated."""

    change = _choice(CHANGES)
    at = fields.String(required=True, metadata=describe("Key of its place, or turn_on."))
    text = fields.String(required=True)


class SignalNoteAnswer(Answer):
    """Something to be looked at."""

    note = _choice(NOTES)
    at = fields.String(required=True, metadata=describe("Key of its place."))
    text = fields.String(required=True)


class SignalDeviceAnswer(Answer):
    """Something that has to be fitted."""

    device = _choice(DEVICES)
    at = fields.String(required=True, metadata=describe("Key of its place, or turn_on."))
    text = fields.String(required=True)


class SignalAnswer(Answer):
    """A signal path with what it needs."""

    verdict = _choice(PLAN_VERDICTS)
    take_offs = fields.List(fields.Nested(TakeOffAnswer), required=True)
    sums = fields.List(fields.Nested(SignalSumAnswer), required=True)
    connections = fields.List(fields.Nested(SignalConnectionAnswer), required=True)
    turn_on = fields.Nested(TurnOnAnswer, required=True)
    changes = fields.List(fields.Nested(SignalChangeAnswer), required=True)
    notes = fields.List(fields.Nested(SignalNoteAnswer), required=True)
    devices = fields.List(fields.Nested(SignalDeviceAnswer), required=True)


class PlanSignalPathAnswer(SignalAnswer, AnswerBase):
    """A signal path judged."""
