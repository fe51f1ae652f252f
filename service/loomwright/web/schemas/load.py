"""Request and answer of match-load-impedance."""

from marshmallow import fields

from loomwright.engineering.audio.driver_wiring import GREATEST_COIL_COUNT
from loomwright.engineering.audio.load_fault import FAULTS
from loomwright.engineering.audio.load_words import BASES, VERDICTS, WIRING_VERDICTS
from loomwright.units import IMPEDANCE, POWER, RESISTANCE
from loomwright.web.quantities import Flag, Quantity, WholeNumber
from loomwright.web.schemas.base import Answer, ObjectList, Request, describe
from loomwright.web.schemas.common import AnswerBase

NOTATION = (
    "In short: + is series, | is parallel, brackets hold a group. A1 is the first driver of the "
    "first entry, B2 the second of the second; of several coils A1a is the first."
)


class LoadDriverRequest(Request):
    """Drivers that are alike."""

    quantity = WholeNumber(
        1,
        GREATEST_COIL_COUNT,
        load_default=1,
        metadata=describe("How many such drivers.", default=1),
    )
    voice_coils = WholeNumber(
        1, 4, load_default=1, metadata=describe("Of each driver, all alike.", default=1)
    )
    coil_impedance = Quantity(
        IMPEDANCE,
        0.1,
        1000.0,
        required=True,
        metadata=describe("Nominal impedance of one voice coil."),
    )
    coil_dc_resistance = Quantity(
        RESISTANCE,
        0.01,
        1000.0,
        metadata=describe(
            "Of one voice coil as its maker states it, for the reading of an ohm-meter."
        ),
    )
    power_limit = Quantity(
        POWER,
        0.1,
        1e6,
        metadata=describe("Power that one driver bears for good, all its coils driven alike."),
    )


class StatedOutputRequest(Request):
    """Output that the maker states for one load."""

    load_impedance = Quantity(
        IMPEDANCE, 0.1, 1000.0, required=True, metadata=describe("Load that the statement names.")
    )
    output = Quantity(
        POWER, 0.1, 1e6, required=True, metadata=describe("Of one channel, or of a bridged pair.")
    )
    bridged = Flag(
        load_default=False,
        metadata=describe("Whether it is stated for two channels bridged.", default=False),
    )


class MatchLoadImpedanceRequest(Request):
    """Drivers, and the amplifier that is to drive them."""

    drivers = ObjectList(
        LoadDriverRequest,
        1,
        GREATEST_COIL_COUNT,
        required=True,
        metadata=describe(
            "What hangs on one channel or on one bridged pair; at most "
            f"{GREATEST_COIL_COUNT} voice coils in all. Entries that state the same are alike."
        ),
    )
    least_load_impedance = Quantity(
        IMPEDANCE,
        0.1,
        1000.0,
        required=True,
        metadata=describe("Least nominal impedance that one channel may drive."),
    )
    least_load_impedance_bridged = Quantity(
        IMPEDANCE,
        0.1,
        1000.0,
        metadata=describe(
            "Least that a bridged pair may drive; twice least_load_impedance if it is not given, "
            "as each channel sees half of the load."
        ),
    )
    bridged = Flag(
        load_default=False,
        metadata=describe("Whether two channels bridged drive the load.", default=False),
    )
    channels = WholeNumber(
        1,
        64,
        load_default=1,
        metadata=describe(
            "Channels, or bridged pairs, that drive such a set of drivers each.", default=1
        ),
    )
    outputs = ObjectList(
        StatedOutputRequest,
        1,
        8,
        metadata=describe("Outputs that the maker states; without any, shares alone are told."),
    )
    coils_of_a_driver_together = Flag(
        load_default=True,
        metadata=describe(
            "Whether the coils of each driver are wired with one another first and the drivers "
            "then; false lets any coil stand anywhere.",
            default=True,
        ),
    )
    greatest_listed = WholeNumber(
        1, 100, load_default=20, metadata=describe("Most ways in the answer.", default=20)
    )
    explain = Flag(
        load_default=False, metadata=describe("Add the working, step by step.", default=False)
    )


class LegendDriverAnswer(Answer):
    """A driver by the name that the notation uses."""

    name = fields.String(required=True)
    entry = fields.Integer(
        required=True, metadata=describe("Place in drivers of the request, from 0.")
    )
    coils = fields.List(fields.String(), required=True)
    coil_impedance_ohm = fields.Float(required=True)
    power_limit_w = fields.Float(required=True, allow_none=True)


class OpenCoilAnswer(Answer):
    """The worst that one open coil does, whichever it is."""

    silent_coils = fields.Integer(
        required=True, metadata=describe("Most coils that fall silent, the open one included.")
    )
    greatest_load_impedance_ohm = fields.Float(
        required=True, allow_none=True, metadata=describe("Null where nothing plays any more.")
    )
    power_change_db = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe(
            "Of the load, the volume left where it is; null where nothing plays any more."
        ),
    )
    coil_power_rise_db = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Greatest in a coil that still plays; null where none does in any case."),
    )


class ShortedCoilAnswer(Answer):
    """The worst that one shorted coil does, whichever it is."""

    least_load_impedance_ohm = fields.Float(
        required=True, metadata=describe("0 where the amplifier itself is shorted.")
    )
    is_load_permitted = fields.Boolean(required=True)


class WiringAnswer(Answer):
    """One way to wire all coils."""

    notation = fields.String(required=True, metadata=describe(NOTATION))
    words = fields.String(required=True)
    verdict = fields.String(required=True, metadata={"enum": list(WIRING_VERDICTS)})
    load_impedance_ohm = fields.Float(required=True, metadata=describe("Nominal."))
    channel_load_impedance_ohm = fields.Float(
        required=True, metadata=describe("That each channel sees: half of the load if bridged.")
    )
    output_w = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Into this load; null if no output is stated."),
    )
    output_basis = fields.String(required=True, allow_none=True, metadata={"enum": [*BASES, None]})
    power_limit_w = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe(
            "Power of the load at which the first coil reaches its limit; null if none is stated."
        ),
    )
    equal_per_driver = fields.Boolean(
        required=True, metadata=describe("Whether each driver takes equal power.")
    )
    equal_per_coil = fields.Boolean(
        required=True, metadata=describe("Whether the coils of each driver take equal power.")
    )
    least_driver_power_share = fields.Float(required=True)
    greatest_driver_power_share = fields.Float(required=True)
    overloaded_drivers = fields.List(
        fields.String(),
        required=True,
        metadata=describe("With a coil above its part of the driver's limit at full output."),
    )
    dc_resistance_low_ohm = fields.Float(
        required=True, metadata=describe("Least that an ohm-meter shows at the ends, coils cold.")
    )
    dc_resistance_high_ohm = fields.Float(required=True)
    open_coil = fields.Nested(OpenCoilAnswer, required=True)
    shorted_coil = fields.Nested(ShortedCoilAnswer, required=True)


class CoilPowerAnswer(Answer):
    """Power of one coil."""

    name = fields.String(required=True)
    power_share = fields.Float(required=True, metadata=describe("Of the power of the load."))
    power_w = fields.Float(required=True, allow_none=True)


class DriverPowerAnswer(Answer):
    """Power of one driver with all its coils."""

    name = fields.String(required=True)
    power_share = fields.Float(required=True, metadata=describe("Of the power of the load."))
    power_w = fields.Float(required=True, allow_none=True)
    power_limit_w = fields.Float(required=True, allow_none=True)


class CoilFaultAnswer(Answer):
    """What one coil at fault does to the rest; coils that do the same stand together."""

    fault = fields.String(required=True, metadata={"enum": list(FAULTS)})
    coils = fields.List(
        fields.String(), required=True, metadata=describe("Any one of which may be at fault.")
    )
    silent_coils = fields.List(
        fields.String(),
        required=True,
        metadata=describe("With the first of coils at fault, that one included."),
    )
    load_impedance_ohm = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Null where no current can pass, 0 where the amplifier is shorted."),
    )
    is_load_permitted = fields.Boolean(required=True)
    output_w = fields.Float(
        required=True, allow_none=True, metadata=describe("Into what is left, by the statements.")
    )
    overloaded_drivers = fields.List(
        fields.String(), required=True, metadata=describe("At that output.")
    )
    power_change_db = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Of the load, the volume left where it is; null where nothing plays."),
    )
    coil_power_rise_db = fields.Float(
        required=True, allow_none=True, metadata=describe("Greatest in a coil that still plays.")
    )
    dc_resistance_low_ohm = fields.Float(required=True, allow_none=True)
    dc_resistance_high_ohm = fields.Float(required=True, allow_none=True)


class RecommendedWiringAnswer(WiringAnswer):
    """The way to take, with each driver, each coil and what each fault does."""

    output_reason = fields.String(required=True, allow_none=True)
    total_output_w = fields.Float(
        required=True, allow_none=True, metadata=describe("Of all channels or bridged pairs.")
    )
    drivers = fields.List(fields.Nested(DriverPowerAnswer), required=True)
    coils = fields.List(fields.Nested(CoilPowerAnswer), required=True)
    faults = fields.List(fields.Nested(CoilFaultAnswer), required=True)


class MatchLoadImpedanceAnswer(AnswerBase):
    """The ways to wire the drivers, and the one to take."""

    verdict = fields.String(
        required=True, metadata=describe("Of all ways together.", enum=list(VERDICTS))
    )
    reason = fields.String(required=True)
    least_load_impedance_ohm = fields.Float(
        required=True, metadata=describe("That the load may have, bridged or not as asked.")
    )
    coil_count = fields.Integer(required=True)
    wiring_count = fields.Integer(required=True, metadata=describe("Ways there are, each once."))
    within_limits_count = fields.Integer(required=True)
    drivers = fields.List(
        fields.Nested(LegendDriverAnswer),
        required=True,
        metadata=describe("The names that the notation uses."),
    )
    recommended = fields.Nested(
        RecommendedWiringAnswer,
        required=True,
        allow_none=True,
        metadata=describe("Null where no way is within the limits of amplifier and drivers."),
    )
    wirings = fields.List(
        fields.Nested(WiringAnswer),
        required=True,
        metadata=describe("The most useful ways, the best first; greatest_listed at most."),
    )
