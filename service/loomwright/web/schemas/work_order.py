"""Answer of build-work-order; its request is that of build-bill-of-materials."""

from typing import Any

from marshmallow import fields

from loomwright.engineering.cautions import CAUTIONS
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job import HAZARDS
from loomwright.jobs.priced_job import VERDICTS
from loomwright.jobs.sized_circuit import SIZED
from loomwright.jobs.sized_circuit import VERDICTS as CIRCUIT_VERDICTS
from loomwright.jobs.work_order.steps import BASES, KINDS, TOOLS
from loomwright.pricing.kinds import KINDS as PART_KINDS
from loomwright.pricing.kinds import UNIT_WORDS
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.bill import DURATION, EXACT, BillVehicleAnswer
from loomwright.web.schemas.common import ZONE_KEYS, AnswerBase


class WorkVehicleAnswer(BillVehicleAnswer):
    """The vehicle of the job, with the hazards that are stated of it."""

    hazards = fields.List(fields.String(metadata={"enum": list(HAZARDS)}), required=True)


class NotBuiltAnswer(Answer):
    """A circuit that was not sized, so that no step builds it."""

    circuit = fields.String(required=True)
    verdict = fields.String(
        required=True,
        metadata={"enum": [verdict for verdict in CIRCUIT_VERDICTS if verdict != SIZED]},
    )


class StepPartAnswer(Answer):
    """What a step takes of one need of the bill."""

    line = fields.Integer(
        required=True,
        allow_none=True,
        metadata=describe("Number of the line of the bill; null where the price book lacks it."),
    )
    kind = fields.String(required=True, metadata={"enum": list(PART_KINDS)})
    key = fields.String(
        required=True,
        allow_none=True,
        metadata=describe("Of the part in the price book, also where a kit brings it."),
    )
    description = fields.String(required=True)
    quantity = fields.String(required=True, metadata=EXACT)
    unit = fields.String(
        required=True, metadata=describe("UN/CEFACT Recommendation 20.", enum=list(UNIT_WORDS))
    )
    unit_word = fields.String(required=True, metadata={"enum": list(UNIT_WORDS.values())})
    rule = fields.String(required=True)
    reason = fields.String(required=True, metadata=describe("Of the whole need."))


class StepLabourAnswer(Answer):
    """What a step takes of one labour line of the bill."""

    line = fields.Integer(
        required=True,
        allow_none=True,
        metadata=describe("Number of the line of the bill; null where the price book lacks it."),
    )
    operation = fields.String(required=True)
    description = fields.String(required=True)
    hours = fields.String(required=True, allow_none=True, metadata=EXACT)


class ToolAnswer(Answer):
    """A tool and what for."""

    tool = fields.String(required=True, metadata={"enum": list(TOOLS)})
    purpose = fields.String(required=True)


class TorqueAnswer(Answer):
    """How tight one connection is made; what the maker of the device states comes first."""

    place = fields.String(required=True)
    stud = fields.String(
        required=True, allow_none=True, metadata=describe("Null where it is not known.")
    )
    torque_n_m = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe(
            "Published for a terminal of this size; null where only the maker can say."
        ),
    )
    greatest_torque_n_m = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe(
            "What a steel bolt of property class 8.8 bears; null where the bolt is not of the job."
        ),
    )
    basis = fields.String(required=True, metadata={"enum": list(BASES)})


class StepAnswer(Answer):
    """One step of the work."""

    number = fields.Integer(required=True)
    key = fields.String(required=True, metadata=describe("Kind, and what it is done to."))
    kind = fields.String(required=True, metadata={"enum": list(KINDS)})
    text = fields.String(required=True)
    circuit = fields.String(required=True, allow_none=True)
    equipment = fields.String(required=True, allow_none=True)
    power_source = fields.String(required=True, allow_none=True)
    zone = fields.String(required=True, allow_none=True, metadata={"enum": [*ZONE_KEYS, None]})
    needs = fields.List(
        fields.String(), required=True, metadata=describe("Keys of the steps that come before it.")
    )
    parts = fields.List(fields.Nested(StepPartAnswer), required=True)
    labour = fields.List(fields.Nested(StepLabourAnswer), required=True)
    hours = fields.String(required=True, metadata=EXACT)
    duration = fields.String(required=True, metadata=DURATION)
    tools = fields.List(fields.Nested(ToolAnswer), required=True)
    torques = fields.List(fields.Nested(TorqueAnswer), required=True)
    checks = fields.List(
        fields.String(), required=True, metadata=describe("What holds when the step is done.")
    )
    cautions = fields.List(
        fields.String(metadata={"enum": list(CAUTIONS)}),
        required=True,
        metadata=describe("Keys; the texts stand in the cautions of the answer."),
    )


class BuildWorkOrderAnswer(AnswerBase):
    """The steps of a job in a safe order."""

    verdict = fields.String(required=True, metadata={"enum": list(VERDICTS)})
    title = fields.String(required=True)
    vehicle = fields.Nested(WorkVehicleAnswer, required=True)
    zones = fields.List(
        fields.String(metadata={"enum": list(ZONE_KEYS)}),
        required=True,
        metadata=describe("In the order in which they are walked."),
    )
    not_built = fields.List(fields.Nested(NotBuiltAnswer), required=True)
    steps = fields.List(fields.Nested(StepAnswer), required=True)
    tools = fields.List(fields.Nested(ToolAnswer), required=True)
    labour_hours = fields.String(
        required=True, metadata=EXACT | describe("Those of the labour lines of the bill.")
    )
    labour_duration = fields.String(required=True, metadata=DURATION)


def order_examples() -> dict[str, dict[str, Any]]:
    """Return demo jobs as requests, by name; one of them with the hazards of its vehicle."""
    hybrid = demo_job("hybrid_jump_start")
    hybrid["vehicle"]["hazards"] = ["airbags_on_route", "high_voltage_cables", "keyless_entry"]
    return {
        "hybrid_jump_start": {"job": hybrid},
        "van_second_battery": {"job": demo_job("van_second_battery")},
    }
