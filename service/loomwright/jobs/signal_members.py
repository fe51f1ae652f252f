"""The members of a signal path in a document, with their bounds and defaults."""

from collections.abc import Mapping

from loomwright.engineering.signal.path import (
    DEVICE,
    GROUNDED,
    INPUT_REFERENCES,
    LEVEL_KINDS,
    RELATIONS,
    SUM_METHODS,
    SUPPRESSIONS,
)
from loomwright.jobs.job import SYSTEM_VOLTAGES_V
from loomwright.pricing.members import (
    Choice,
    Member,
    Number,
    NumberChoice,
    Record,
    Records,
    Text,
    Texts,
    Truth,
)

_NO_DIGITAL = (
    "speaker_level or line_level is needed; a digital link carries no voltage to plan: lead it to "
    "a digital input and plan the outputs behind that."
)


def _voltage(about: str, lower: float = 0.001, *, required: bool = False) -> Number:
    return Number(lower, 200.0, "V", "voltage", required=required, about=about)


def _impedance(about: str) -> Number:
    return Number(0.1, 1e6, "ohm", "impedance", required=False, about=about)


def _current(about: str, default: float | None = None) -> Number:
    return Number(0.0, 100.0, "A", "current", default, required=False, about=about)


def _corner(about: str) -> Number:
    return Number(1.0, 100_000.0, "Hz", required=False, about=about)


def _rejection(about: str) -> Number:
    return Number(0.0, 140.0, "dB", required=False, about=about)


def _ground(about: str) -> Record:
    return Record("DeviceGround", GROUND, required=False, about=about)


GROUND: Mapping[str, Member] = {
    "potential": Number(
        -100.0,
        100.0,
        "V",
        "voltage",
        required=False,
        about="Against the common point of the grounds; instead of the current.",
    ),
    "return_current": Number(
        0.0, 5000.0, "A", "current", required=False, about="Of the device; with path_resistance."
    ),
    "path_resistance": Number(
        0.0,
        10.0,
        "ohm",
        "resistance",
        required=False,
        about="From the device to the common point; with return_current.",
    ),
}
_EQUIPMENT = Text(
    required=False,
    about="In a job, key of the equipment that it belongs to, whose ground it has.",
)
TAKE_OFF: Mapping[str, Member] = {
    "key": Text(about="Unique among take-offs and sums; connections name it."),
    "description": Text(about="The take-off in words."),
    "level_kind": Choice(LEVEL_KINDS, _NO_DIGITAL, about="Kind of level."),
    "greatest_voltage": _voltage(
        "At the onset of clipping, root mean square, without load; instead of greatest_power."
    ),
    "greatest_power": Number(
        0.001,
        10_000.0,
        "W",
        "power",
        required=False,
        about="At the onset of clipping, with load_impedance; instead of greatest_voltage.",
    ),
    "load_impedance": Number(
        0.5, 100.0, "ohm", "impedance", required=False, about="That the power is stated for."
    ),
    "output_impedance": Number(
        0.0,
        100_000.0,
        "ohm",
        "impedance",
        required=False,
        about="None at speaker level and 2200 ohm at line level (IEC 61938) if absent.",
    ),
    "least_load_impedance": _impedance("Least impedance that it may drive; not judged if absent."),
    "bridged": Truth(
        True,
        about="Speaker level: whether both terminals carry signal, as is safe to assume.",
    ),
    "inverted": Truth(False, about="Whether its polarity is turned."),
    "lower_corner": _corner("Where its band begins, if it is limited."),
    "upper_corner": _corner("Where its band ends, if it is limited."),
    "detects_open_load": Truth(
        False, about="Speaker level: whether it falls silent without a loudspeaker."
    ),
    "loudspeaker_stays": Truth(False, about="Speaker level: whether its loudspeaker is kept."),
    "load_resistance": Number(
        1.0,
        10_000.0,
        "ohm",
        "resistance",
        required=False,
        about="Speaker level: of a resistor in place of the loudspeaker; 47 ohm if absent.",
    ),
    "ground": _ground("Its ground, for the noise between grounds."),
    "equipment": _EQUIPMENT,
}
SUM: Mapping[str, Member] = {
    "key": Text(about="Unique among take-offs and sums; connections name it."),
    "take_offs": Texts(2, 12, about="Keys of what is joined; the first gives the ground."),
    "relation": Choice(
        RELATIONS,
        about="same_signal: equal channels; independent: such as left and right; bands: channels "
        "of a crossover.",
    ),
    "method": Choice(SUM_METHODS, default=DEVICE, about="How they are joined."),
    "summing_resistance": Number(
        1.0,
        1e6,
        "ohm",
        "resistance",
        required=False,
        about="Method resistors: each; the least preferred value that the outputs bear if absent.",
    ),
    "device_gain": Number(
        0.001, 100.0, required=False, about="Method device: over the sum; 1 if absent."
    ),
}
INPUT: Mapping[str, Member] = {
    "key": Text(about="Unique among the inputs; connections name it."),
    "description": Text(about="The input in words."),
    "level_kind": Choice(LEVEL_KINDS, _NO_DIGITAL, about="Kind of level that it takes."),
    "least_voltage": _voltage(
        "Input for full output with gain at its greatest; 0.2 V (IEC 61938) if absent."
    ),
    "greatest_voltage": _voltage(
        "Input for full output with gain at its least; 2 V (IEC 61938) if absent."
    ),
    "overload_voltage": _voltage("Input that clips whatever the gain, if it is known."),
    "input_impedance": _impedance("22 kohm (IEC 61938) if absent."),
    "reference": Choice(
        INPUT_REFERENCES, default=GROUNDED, about="Whether one side is ground, or neither."
    ),
    "common_mode_rejection_db": _rejection("Of a differential input; 40 dB if absent."),
    "turn_on_current": _current("That its equipment takes from the turn-on lead.", 0.0),
    "senses_signal": Truth(
        False, about="Speaker level: whether the signal switches the equipment on."
    ),
    "ground": _ground("Its ground, for the noise between grounds."),
    "equipment": _EQUIPMENT,
}
CONNECTION: Mapping[str, Member] = {
    "fed_from": Text(about="Key of a take-off or of a sum."),
    "input": Text(about="Key of an input."),
    "converter_ratio": Number(
        0.001,
        10_000.0,
        required=False,
        about="What a converter, attenuator or driver in between divides the voltage by.",
    ),
    "isolated": Truth(False, about="Whether a transformer in between parts the grounds."),
    "isolation_rejection_db": _rejection("Of what parts the grounds; 60 dB if absent."),
    "shield_resistance": Number(
        1e-4, 100.0, "ohm", "resistance", 0.05, about="Of the shield with its plugs."
    ),
    "gain_overlap_db": Number(
        0.0,
        20.0,
        "dB",
        default=0.0,
        about="Below the greatest of the source, where output is full.",
    ),
}
RELAY: Mapping[str, Member] = {
    "coil_resistance": Number(1.0, 100_000.0, "ohm", "resistance", about="Of the cold winding."),
    "coil_inductance": Number(
        1e-5, 100.0, "H", required=False, about="With the armature closed; for times and peaks."
    ),
    "stray_capacitance": Number(
        1e-12, 1e-5, "F", required=False, about="Of winding and lead; 100 pF if absent."
    ),
    "contact_rating": Number(0.01, 500.0, "A", "current", about="Of the contact."),
    "suppression": Choice(SUPPRESSIONS, about="What stands across the coil."),
    "suppression_resistance": Number(
        1.0, 1e6, "ohm", "resistance", required=False, about="Of the resistor across the coil."
    ),
}
TURN_ON: Mapping[str, Member] = {
    "greatest_current": Number(
        0.001, 100.0, "A", "current", required=False, about="Of the remote output; instead of fuse."
    ),
    "fuse_rating": Number(
        0.1,
        100.0,
        "A",
        "current",
        required=False,
        about="Of the accessory circuit; instead of greatest_current.",
    ),
    "present_current": _current("Drawn from it already.", 0.0),
    "relay": Record("TurnOnRelay", RELAY, required=False, about="A relay, where one is at hand."),
}
SIGNAL_PATH: Mapping[str, Member] = {
    "take_offs": Records("TakeOff", TAKE_OFF, 1, 50, "key", about="Where the signal is taken."),
    "sums": Records("SignalSum", SUM, 0, 20, "key", about="Take-offs joined to one signal."),
    "inputs": Records("SignalInput", INPUT, 1, 50, "key", about="Inputs of the equipment."),
    "connections": Records(
        "SignalConnection", CONNECTION, 1, 50, about="One for each channel; each input has one."
    ),
    "turn_on": Record("TurnOn", TURN_ON, required=False, about="What switches the equipment on."),
}
SIGNAL_ABOUT = "How the signal gets to the equipment, and what switches it on."
SIGNAL_RECORD = Record("SignalPath", SIGNAL_PATH, about=SIGNAL_ABOUT)
OPTIONAL_SIGNAL_RECORD = Record("SignalPath", SIGNAL_PATH, required=False, about=SIGNAL_ABOUT)
PLAN_REQUEST = Record(
    "PlanSignalPathRequest",
    {
        "system_voltage": NumberChoice(
            SYSTEM_VOLTAGES_V, "V", about="Nominal voltage of the vehicle."
        ),
        "signal": SIGNAL_RECORD,
        "explain": Truth(False, about="Whether the answer shows its working."),
    },
)
