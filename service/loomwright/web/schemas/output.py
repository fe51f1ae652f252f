"""Request and answer of estimate-real-output."""

from typing import Any, ClassVar

from marshmallow import fields

from loomwright.engineering.audio.output_request import CONVERTERS
from loomwright.engineering.audio.output_words import (
    BOUNDS,
    BURST_BOUNDS,
    CTA_2006_BOUNDS,
    RERATINGS,
    VERDICTS,
)
from loomwright.tables.audio_load import audio_tables
from loomwright.units import CURRENT, IMPEDANCE, LENGTH, POWER, RESISTANCE, VOLTAGE
from loomwright.web.quantities import Flag, Key, PlainNumber, Quantity, QuantityList, WholeNumber
from loomwright.web.schemas.base import (
    Answer,
    Request,
    describe,
    exactly_one_of,
    faults_of_choice,
    not_both,
)
from loomwright.web.schemas.common import AnswerBase
from loomwright.web.schemas.sensitivity import (
    OUTPUT_INPUTS,
    OutputSensitivityAnswer,
    OutputToleranceRequest,
    sensitivity_flag,
    sensitivity_member,
    tolerance_list,
)

CLASS_KEYS = tuple(audio_tables().amplifier_classes)
PROGRAMME_KEYS = tuple(audio_tables().programmes)


class EstimateRealOutputRequest(Request):
    """An amplifier, its supply, its load, its claim and what it plays."""

    json_schema_rules: ClassVar[tuple[dict[str, Any], ...]] = (
        exactly_one_of("fuse_rating", "fuse_ratings"),
        {
            "oneOf": [
                {
                    "required": ["supply_voltage"],
                    "not": {
                        "anyOf": [
                            {"required": [name]}
                            for name in ("source_voltage", "source_resistance", "route_resistance")
                        ]
                    },
                },
                {
                    "required": ["source_voltage", "source_resistance"],
                    "not": {"required": ["supply_voltage"]},
                },
            ]
        },
        not_both("claimed_output", "claimed_output_per_channel"),
        not_both("crest_factor_db", "programme"),
        {
            "if": {
                "properties": {"amplifier_class": {"const": "constant_efficiency"}},
                "required": ["amplifier_class"],
            },
            "then": {"required": ["measured_efficiency"]},
        },
    )

    fuse_rating = Quantity(
        CURRENT,
        0.05,
        2000.0,
        metadata=describe("Rated current of the one fuse in the equipment."),
    )
    fuse_ratings = QuantityList(
        CURRENT,
        0.05,
        2000.0,
        16,
        metadata=describe(
            "Rated currents of several fuses side by side, which add; instead of fuse_rating."
        ),
    )
    amplifier_class = Key(
        CLASS_KEYS,
        required=True,
        metadata=describe("Amplifier class; constant_efficiency with a measured efficiency only."),
    )
    measured_efficiency = PlainNumber(
        0.01,
        1.0,
        metadata=describe("Whole amplifier at full sine output; replaces the band of the class."),
    )
    supply_voltage = Quantity(
        VOLTAGE,
        5.0,
        60.0,
        metadata=describe("At the amplifier under load; instead of a source with its route."),
    )
    source_voltage = Quantity(
        VOLTAGE, 5.0, 60.0, metadata=describe("Open-circuit voltage of the source.")
    )
    source_resistance = Quantity(
        RESISTANCE, 0.0, 1.0, metadata=describe("Internal resistance; with source_voltage.")
    )
    route_resistance = Quantity(
        RESISTANCE,
        0.0,
        1.0,
        metadata=describe("Route there and back with joints and fuses; with source_voltage."),
    )
    load_impedance = Quantity(
        IMPEDANCE,
        0.1,
        1000.0,
        required=True,
        metadata=describe("Nominal impedance that one channel drives."),
    )
    channels = WholeNumber(
        1,
        64,
        load_default=1,
        metadata=describe("Loads driven at once; a bridged pair counts as one.", default=1),
    )
    bridged = Flag(
        load_default=True,
        metadata=describe(
            "Whether each load hangs between two stages in opposite phase; felt without a "
            "converter only.",
            default=True,
        ),
    )
    converter = Key(
        tuple(sorted(CONVERTERS)),
        required=True,
        metadata=describe("Step-up supply inside the amplifier."),
    )
    claimed_output = Quantity(
        POWER, 0.1, 1e6, metadata=describe("Claimed output over all channels.")
    )
    claimed_output_per_channel = Quantity(
        POWER, 0.1, 1e6, metadata=describe("Claimed output of each channel.")
    )
    claim_supply_voltage = Quantity(
        VOLTAGE, 5.0, 60.0, metadata=describe("Supply voltage that the claim names.")
    )
    claim_load_impedance = Quantity(
        IMPEDANCE, 0.1, 1000.0, metadata=describe("Load impedance that the claim names.")
    )
    crest_factor_db = PlainNumber(
        3.01, 40.0, metadata=describe("Peak over root mean square of what is played [dB].")
    )
    programme = Key(
        PROGRAMME_KEYS,
        metadata=describe(
            "What is played; music_uncompressed if neither it nor crest_factor_db is given."
        ),
    )
    loudspeaker_sensitivity_db = PlainNumber(
        50.0, 130.0, metadata=describe("Level at 1 W and 1 m [dB re 20 uPa].")
    )
    listening_distance = Quantity(
        LENGTH, 0.05, 100.0, load_default=1.0, metadata=describe("In a free field.", default=1.0)
    )
    explain = Flag(
        load_default=False, metadata=describe("Add the working, step by step.", default=False)
    )
    sensitivity = sensitivity_flag()
    tolerances = tolerance_list(OutputToleranceRequest, len(OUTPUT_INPUTS))

    def faults_between(
        self, values: dict[str, Any], document: dict[str, Any]
    ) -> list[tuple[str, str]]:
        """Name every fault between fields."""
        return [
            *super().faults_between(values, document),
            *faults_of_choice(document, "fuse_rating", "fuse_ratings", required=True),
            *faults_of_choice(document, "supply_voltage", "source_voltage", required=True),
            *faults_of_choice(
                document, "claimed_output", "claimed_output_per_channel", required=False
            ),
            *faults_of_choice(document, "crest_factor_db", "programme", required=False),
            *self._faults_of_source(document),
            *self._faults_of_efficiency(values, document),
        ]

    def _faults_of_source(self, document: dict[str, Any]) -> list[tuple[str, str]]:
        if "source_voltage" in document:
            lacking = "source_resistance" not in document
            return [("source_resistance", "give it with source_voltage")] if lacking else []
        return [
            (name, "only with source_voltage")
            for name in ("source_resistance", "route_resistance")
            if name in document
        ]

    def _faults_of_efficiency(
        self, values: dict[str, Any], document: dict[str, Any]
    ) -> list[tuple[str, str]]:
        kind = audio_tables().amplifier_classes.get(values.get("amplifier_class", ""))
        if kind is None:
            return []
        if kind.efficiency is None and "measured_efficiency" not in document:
            return [("measured_efficiency", f"give it with amplifier_class {kind.key}")]
        if values.get("measured_efficiency", 0.0) > kind.theoretical_efficiency:
            return [
                (
                    "measured_efficiency",
                    f"above {kind.theoretical_efficiency:g}, the theoretical maximum of "
                    f"{kind.name}; check the measurement or the class",
                )
            ]
        return []


class OutputBoundAnswer(Answer):
    """One of low, likely and high, with its reason."""

    power_w = fields.Float(required=True)
    bound = fields.String(required=True, metadata={"enum": list(BOUNDS)})
    reason = fields.String(required=True)


class BurstAnswer(Answer):
    """Output in bursts shorter than 0.15 s."""

    power_w = fields.Float(required=True)
    bound = fields.String(required=True, metadata={"enum": list(BURST_BOUNDS)})
    reason = fields.String(required=True)


class ClaimAnswer(Answer):
    """The claim beside the estimate."""

    verdict = fields.String(required=True, metadata={"enum": list(VERDICTS)})
    reason = fields.String(required=True)
    claimed_output_w = fields.Float(required=True)
    claimed_output_here_w = fields.Float(
        required=True, metadata=describe("Re-rated to the supply and load of the request.")
    )
    claim_above_likely_db = fields.Float(required=True)
    claim_above_high_db = fields.Float(required=True)


class InputAnswer(Answer):
    """What the fuses let in."""

    fuse_rating_total_a = fields.Float(required=True)
    supply_voltage_v = fields.Float(
        required=True, metadata=describe("At the amplifier on a full sine at the likely output.")
    )
    ceiling_w = fields.Float(
        required=True, metadata=describe("At the rated current: a sustained sine.")
    )
    ceiling_overload_w = fields.Float(
        required=True, metadata=describe("At 110 %, which the fuse carries for at least 100 h.")
    )
    ceiling_burst_w = fields.Float(
        required=True, metadata=describe("At 200 %, for bursts shorter than 0.15 s.")
    )


class EfficiencyAnswer(Answer):
    """Efficiency at full sine output, as fractions of 1."""

    low = fields.Float(required=True)
    likely = fields.Float(required=True)
    high = fields.Float(required=True)
    limit = fields.Float(required=True)


class RailAnswer(Answer):
    """What the supply voltage allows without a converter, lossless."""

    sine_output_w = fields.Float(required=True)
    sine_output_per_channel_w = fields.Float(required=True)
    square_wave_output_per_channel_w = fields.Float(required=True)


class DrawAnswer(Answer):
    """What the equipment draws at the likely output."""

    full_sine_current_a = fields.Float(required=True, metadata=describe("Peak draw for sizing."))
    full_sine_current_at_high_a = fields.Float(required=True)
    programme_current_a = fields.Float(required=True)
    eighth_power_current_a = fields.Float(required=True)
    third_power_current_a = fields.Float(required=True)
    idle_current_a = fields.Float(required=True)
    full_sine_input_w = fields.Float(required=True)
    programme_input_w = fields.Float(required=True)
    full_sine_route_loss_w = fields.Float(required=True)


class HeatAnswer(Answer):
    """Heat to get rid of at the likely output."""

    full_sine_heat_w = fields.Float(required=True)
    programme_heat_w = fields.Float(required=True)


class ProgrammeAnswer(Answer):
    """What is played."""

    crest_factor_db = fields.Float(required=True)
    power_fraction = fields.Float(required=True)
    output_w = fields.Float(required=True)


class Cta2006Answer(Answer):
    """Figures at 14.4 V into 4 ohm, per channel."""

    output_per_channel_w = fields.Float(required=True)
    claim_per_channel_w = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Null unless the claim names supply and load."),
    )
    rerating = fields.String(required=True, metadata={"enum": list(RERATINGS)})
    rerating_reason = fields.String(required=True)
    bound = fields.String(required=True, metadata={"enum": list(CTA_2006_BOUNDS)})


class SoundAnswer(Answer):
    """Sound pressure level in a free field."""

    level_db = fields.Float(required=True)
    programme_level_db = fields.Float(required=True)
    permitted_exposure_s = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Time per day at the programme level; null where there is no limit."),
    )


class EstimateRealOutputAnswer(AnswerBase):
    """What the equipment can really put out, and what it draws."""

    verdict = fields.String(
        required=True,
        metadata=describe(
            "Of the claim; output_estimated where none is made.",
            enum=["output_estimated", *VERDICTS],
        ),
    )
    input = fields.Nested(InputAnswer, required=True)
    efficiency = fields.Nested(EfficiencyAnswer, required=True)
    low = fields.Nested(OutputBoundAnswer, required=True)
    likely = fields.Nested(OutputBoundAnswer, required=True)
    high = fields.Nested(OutputBoundAnswer, required=True)
    output_limit_w = fields.Float(
        required=True, metadata=describe("A sustained claim above it is impossible.")
    )
    likely_output_per_channel_w = fields.Float(required=True)
    burst = fields.Nested(BurstAnswer, required=True)
    rail = fields.Nested(RailAnswer, required=True, allow_none=True)
    claim = fields.Nested(ClaimAnswer, required=True, allow_none=True)
    programme = fields.Nested(ProgrammeAnswer, required=True)
    draw = fields.Nested(DrawAnswer, required=True)
    heat = fields.Nested(HeatAnswer, required=True)
    gain_setting_voltage_v = fields.Float(
        required=True, metadata=describe("Across one load at the likely output, r.m.s.")
    )
    cta_2006 = fields.Nested(Cta2006Answer, required=True)
    sound = fields.Nested(SoundAnswer, required=True, allow_none=True)
    sensitivity = sensitivity_member(OutputSensitivityAnswer)
