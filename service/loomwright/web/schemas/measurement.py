"""Request and answer of check-measurements."""

from functools import cache
from typing import Any

from marshmallow import fields

from loomwright.engineering.measurement.expected import FROM_PLAN, FROM_READINGS
from loomwright.engineering.measurement.hypotheses import CAUSES, FAULTS
from loomwright.engineering.measurement.verdict import DOUBTFUL, FAIL, NOTHING_MEASURED, PASS
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job_members import job_record
from loomwright.jobs.measurement_answer import AMPERE, VOLT
from loomwright.jobs.measurement_members import MEASUREMENT_MEMBERS, WHATS
from loomwright.pricing.members import Record
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.common import AnswerBase
from loomwright.web.schemas.documents import JsonSchema, components
from loomwright.web.schemas.job import JOB_RULES

MEASUREMENTS = Record(
    "CheckMeasurementsRequest",
    {"job": job_record(tables(), tuple(fuse_tables().types)), **MEASUREMENT_MEMBERS},
)


def _reading(schema: JsonSchema) -> JsonSchema:
    """State which members go with what is read."""

    def kind(whats: tuple[str, ...], needed: tuple[str, ...], with_state: bool) -> dict[str, Any]:
        own = ("source", "circuit", "voltage", "current", "output_power", "load_impedance")
        barred = [name for name in own if name not in needed]
        barred += [] if with_state else ["state"]
        return {
            "properties": {"what": {"enum": list(whats)}},
            "required": list(needed),
            "not": {"anyOf": [{"required": [name]} for name in barred]},
        }

    plain = tuple(
        what for what in WHATS if what not in ("source_voltage", "current", "drain", "gain_voltage")
    )
    return {
        **schema,
        "oneOf": [
            kind(("source_voltage",), ("source", "voltage"), True),
            kind(plain, ("circuit", "voltage"), True),
            kind(("current",), ("circuit", "current"), True),
            kind(("drain",), ("source", "current"), False),
            kind(
                ("gain_voltage",), ("circuit", "voltage", "output_power", "load_impedance"), False
            ),
        ],
    }


@cache
def measurement_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return components(MEASUREMENTS, {**JOB_RULES, "MeterReading": _reading})


def measurement_examples() -> dict[str, dict[str, Any]]:
    """Return requests by name: one good installation, one with a poor ground, none measured."""
    place = {"circuit": "amplifier_feed"}
    at_rest = [
        {"what": "source_voltage", "source": "battery", "state": "rest", "voltage": 12.58},
        {"what": "equipment_voltage", **place, "state": "rest", "voltage": 12.58},
    ]
    job = demo_job("combustion_car")
    return {
        "amplifier_in_order": {
            "job": job,
            "ambient_temperature": "21 degC",
            "standby_currents": [
                {"source": "battery", "description": "vehicle asleep", "current": "30 mA"},
                {"source": "battery", "description": "amplifier asleep", "current": "2 mA"},
            ],
            "readings": [
                *at_rest,
                {"what": "source_voltage", "source": "battery", "voltage": 12.48},
                {"what": "equipment_voltage", **place, "voltage": 12.26},
                {"what": "current", **place, "current": 20.4},
                {"what": "feed_drop", **place, "voltage": "184 mV"},
                {"what": "fuse_drop", **place, "voltage": "12.4 mV"},
                {"what": "return_drop", **place, "voltage": "47 mV"},
                {"what": "drain", "source": "battery", "current": "31 mA"},
                {
                    "what": "gain_voltage",
                    **place,
                    "voltage": 20.2,
                    "output_power": 100,
                    "load_impedance": 4,
                },
            ],
        },
        "amplifier_with_a_poor_ground": {
            "job": job,
            "load_states": [{"key": "test tone", "circuits": ["amplifier_feed"]}],
            "readings": [
                *at_rest,
                {
                    "what": "source_voltage",
                    "source": "battery",
                    "state": "test tone",
                    "voltage": 12.49,
                },
                {
                    "what": "equipment_voltage",
                    **place,
                    "state": "test tone",
                    "voltage": 11.83,
                },
                {
                    "what": "current",
                    **place,
                    "state": "test tone",
                    "current": 19.8,
                    "meter": {"accuracy_percent": 1.5, "accuracy_digits": 3, "resolution": 0.1},
                },
                {"what": "feed_drop", **place, "state": "test tone", "voltage": 0.178},
                {"what": "return_drop", **place, "state": "test tone", "voltage": 0.482},
            ],
        },
        "expected_before_anyone_measures": {"job": demo_job("hybrid_jump_start"), "readings": []},
    }


class QuantityAnswer(Answer):
    """What is read, where, and in which state."""

    what = fields.String(required=True, metadata={"enum": list(WHATS)})
    source = fields.String(required=True, allow_none=True)
    circuit = fields.String(required=True, allow_none=True)
    state = fields.String(
        required=True,
        metadata=describe("rest, a load state, or asleep and gain_setting for drain and gain."),
    )
    unit = fields.String(
        required=True, metadata=describe("Of all values beside it.", enum=[VOLT, AMPERE])
    )


class ExpectedReadingAnswer(QuantityAnswer):
    """What a meter is expected to show, with the interval that holds 95 % of right installations.

    Conductors, lengths, joints, source, load, temperature and the meter itself are in it.
    """

    expected = fields.Float(required=True)
    low = fields.Float(required=True)
    high = fields.Float(required=True)
    standard_uncertainty = fields.Float(required=True)
    rests_on = fields.String(
        required=True,
        metadata=describe(
            "readings where the measured currents and the measured voltage at rest stand in for "
            "those of the plan.",
            enum=[FROM_PLAN, FROM_READINGS],
        ),
    )


class JudgedReadingAnswer(ExpectedReadingAnswer):
    """One reading with the verdict on it."""

    reading = fields.Float(required=True)
    deviation = fields.Float(required=True, metadata=describe("Reading less what is expected."))
    normalised_error = fields.Float(
        required=True,
        metadata=describe("Deviation over the half of the interval on its side; 1 at its limit."),
    )
    verdict = fields.String(
        required=True,
        metadata=describe(
            "pass within the interval; doubtful up to 1.68 times as far, which holds 99.9 % of a "
            "normal distribution; fail beyond. A drain fails only upwards.",
            enum=[PASS, DOUBTFUL, FAIL],
        ),
    )


class CauseAnswer(Answer):
    """A possible cause with its probability and size; what it does not have is null."""

    fault = fields.String(required=True, metadata={"enum": list(FAULTS)})
    cause = fields.String(
        required=True,
        metadata=describe("Faults that a workshop treats alike.", enum=list(CAUSES)),
    )
    source = fields.String(required=True, allow_none=True)
    circuit = fields.String(required=True, allow_none=True)
    probability = fields.Float(
        required=True,
        metadata=describe("Among all single faults, each as likely as any other beforehand."),
    )
    is_in_question = fields.Boolean(
        required=True,
        metadata=describe("Whether the readings leave it within a tenth of the likeliest."),
    )
    added_resistance_ohm = fields.Float(required=True, allow_none=True)
    conductor = fields.String(
        required=True, allow_none=True, metadata=describe("Size or material that fits best.")
    )
    resistance_ratio = fields.Float(
        required=True, allow_none=True, metadata=describe("Of that conductor to the planned one.")
    )
    factor = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("On the load, or on the internal resistance of the source."),
    )
    lost_voltage_v = fields.Float(required=True, allow_none=True)
    advice = fields.String(required=True, metadata=describe("What to do about it."))


class NextReadingAnswer(QuantityAnswer):
    """The reading that tells the first two causes apart best."""

    if_first = fields.Float(required=True, metadata=describe("Expected under the first cause."))
    if_second = fields.Float(required=True, metadata=describe("Expected under the second."))
    separation = fields.Float(
        required=True,
        metadata=describe(
            "Their difference in standard deviations, 1 or more; below 2 it tells little."
        ),
    )


class DiagnosisAnswer(Answer):
    """The causes from the likeliest down."""

    is_explained = fields.Boolean(
        required=True,
        metadata=describe(
            "Whether any single fault brings the readings within their spread; if not, more than "
            "one thing is wrong, or a reading."
        ),
    )
    is_decided = fields.Boolean(
        required=True,
        metadata=describe("Whether the readings tell the first cause from every other."),
    )
    causes = fields.List(fields.Nested(CauseAnswer), required=True)
    next_reading = fields.Nested(
        NextReadingAnswer,
        required=True,
        allow_none=True,
        metadata=describe("Null where none is left that tells the first two apart."),
    )


class CheckMeasurementsAnswer(AnswerBase):
    """Answer of check-measurements."""

    verdict = fields.String(
        required=True,
        metadata=describe(
            "The worst of the readings.", enum=[PASS, DOUBTFUL, FAIL, NOTHING_MEASURED]
        ),
    )
    readings = fields.List(fields.Nested(JudgedReadingAnswer), required=True)
    diagnosis = fields.Nested(
        DiagnosisAnswer,
        required=True,
        allow_none=True,
        metadata=describe("Null where no reading tells of the network."),
    )
    expected = fields.List(
        fields.Nested(ExpectedReadingAnswer),
        required=True,
        metadata=describe(
            "What else can be read of the circuits that were measured; of all if none was."
        ),
    )
