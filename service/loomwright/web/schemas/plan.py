"""Answer of plan-installation."""

from marshmallow import fields

from loomwright.engineering.audio.output_words import VERDICTS as CLAIM_VERDICTS
from loomwright.engineering.cautions import CAUTIONS
from loomwright.jobs.plan.alternatives import PLAN_NAMES
from loomwright.jobs.plan.changes import CHANGED
from loomwright.jobs.plan.plan import VERDICTS
from loomwright.jobs.work_order.steps import KINDS as STEP_KINDS
from loomwright.jobs.work_order.steps import TOOLS
from loomwright.pricing.kinds import KINDS, UNIT_WORDS
from loomwright.pricing.lines import KIT, LABOUR
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.bill import (
    DURATION,
    EXACT,
    MONEY,
    BilledCircuitAnswer,
    BillVehicleAnswer,
    CostAnswer,
    PriceBookAnswer,
    SourceLoadAnswer,
    TaxAnswer,
    duration,
    money,
)
from loomwright.web.schemas.common import ZONE_KEYS, AnswerBase
from loomwright.web.schemas.measurement import QuantityAnswer
from loomwright.web.schemas.signal import SignalAnswer
from loomwright.web.schemas.supply import SupplyAnswer
from loomwright.web.schemas.work_order import NotBuiltAnswer, TorqueAnswer


class PlanLineAnswer(Answer):
    """One priced line of a plan."""

    number = fields.Integer(required=True)
    kind = fields.String(required=True, metadata={"enum": [*KINDS, KIT, LABOUR]})
    key = fields.String(required=True)
    description = fields.String(required=True)
    quantity = fields.String(required=True, metadata=EXACT)
    unit = fields.String(required=True, metadata={"enum": list(UNIT_WORDS)})
    unit_price = fields.String(required=True, metadata=EXACT)
    total = fields.String(required=True, metadata=MONEY)
    in_stock = fields.Boolean(
        required=True,
        allow_none=True,
        metadata=describe("Whether stock covers the quantity; null where it is not counted."),
    )


class PlanUnpricedAnswer(Answer):
    """Something that the plan needs and the price book does not hold."""

    kind = fields.String(required=True, metadata={"enum": [*KINDS, LABOUR]})
    description = fields.String(required=True)
    quantity = fields.String(required=True, metadata=EXACT)
    unit = fields.String(required=True, metadata={"enum": list(UNIT_WORDS)})
    reason = fields.String(required=True)


class PlanBillAnswer(Answer):
    """The bill of a plan; build-bill-of-materials gives the reasons of each line."""

    lines = fields.List(fields.Nested(PlanLineAnswer), required=True)
    unpriced = fields.List(fields.Nested(PlanUnpricedAnswer), required=True)
    parts_total = fields.String(required=True, metadata=MONEY)
    labour_total = fields.String(required=True, metadata=MONEY)
    labour_duration = fields.String(
        required=True, metadata=duration("Hours of all labour lines together, ISO 8601.")
    )
    net_total = fields.String(required=True, metadata=MONEY)
    taxes = fields.List(fields.Nested(TaxAnswer), required=True)
    total = fields.String(required=True, metadata=MONEY)
    deposit = fields.String(required=True, allow_none=True, metadata=MONEY)
    balance_due = fields.String(required=True, metadata=MONEY)
    cost = fields.Nested(CostAnswer)


class EquipmentOutputAnswer(Answer):
    """What an amplifier can really put out at the voltage that the plan brings to it."""

    equipment = fields.String(required=True)
    description = fields.String(required=True)
    verdict = fields.String(required=True, metadata={"enum": [*CLAIM_VERDICTS, "output_estimated"]})
    likely_bound = fields.String(required=True)
    supply_voltage_v = fields.Float(required=True)
    input_ceiling_w = fields.Float(required=True)
    output_low_w = fields.Float(required=True)
    output_likely_w = fields.Float(required=True)
    output_high_w = fields.Float(required=True)
    claimed_output_w = fields.Float(required=True, allow_none=True)
    claim_above_likely_db = fields.Float(required=True, allow_none=True)
    full_sine_current_a = fields.Float(required=True)
    programme_current_a = fields.Float(required=True)
    idle_current_a = fields.Float(required=True)
    programme_heat_w = fields.Float(required=True)
    gain_setting_voltage_v = fields.Float(required=True)


class CircuitStateAnswer(Answer):
    """A circuit in the solved network, everything drawing at once."""

    circuit = fields.String(required=True)
    current_a = fields.Float(required=True)
    feeding_voltage_v = fields.Float(
        required=True, metadata=describe("Between the two ends that feed the circuit.")
    )
    load_voltage_v = fields.Float(required=True, metadata=describe("At the end of the circuit."))
    voltage_drop_v = fields.Float(required=True)
    voltage_drop_percent = fields.Float(required=True, metadata=describe("Of the system voltage."))
    ground_potential_mv = fields.Float(
        required=True,
        metadata=describe("Negative side of the load over the negative pole of the source."),
    )
    conductor_temperature_c = fields.Float(required=True)
    loss_w = fields.Float(required=True)


class SourceStateAnswer(Answer):
    """A source in the solved network."""

    source = fields.String(required=True)
    current_a = fields.Float(required=True)
    terminal_voltage_v = fields.Float(required=True)


class PlanNetworkAnswer(Answer):
    """The network of a plan, solved with everything drawing at once."""

    state = fields.String(
        required=True, metadata={"enum": ["solved", "no_operating_point", "not_settled"]}
    )
    circuits = fields.List(fields.Nested(CircuitStateAnswer), required=True)
    sources = fields.List(fields.Nested(SourceStateAnswer), required=True)
    source_power_w = fields.Float(required=True, allow_none=True)
    load_power_w = fields.Float(required=True, allow_none=True)
    loss_w = fields.Float(required=True, allow_none=True)
    imbalance_w = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Source power less load power and loss; rounding alone leaves it."),
    )
    greatest_power_factor = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe(
            "Where there is no operating point: up to this factor on all constant powers there is "
            "one. 0 where there is none without them."
        ),
    )
    iterations = fields.Integer(required=True)
    residual_a = fields.Float(required=True, allow_none=True)


class PlanStepPartAnswer(Answer):
    """What a step takes of one part of the price book."""

    kind = fields.String(required=True, metadata={"enum": list(KINDS)})
    key = fields.String(
        required=True, allow_none=True, metadata=describe("Null where the price book lacks it.")
    )
    quantity = fields.String(required=True, metadata=EXACT)


class PlanStepAnswer(Answer):
    """One step of the work; build-work-order gives the same with each part in words."""

    key = fields.String(required=True, metadata=describe("Kind, and what it is done to."))
    kind = fields.String(required=True, metadata={"enum": list(STEP_KINDS)})
    text = fields.String(required=True)
    circuit = fields.String(required=True, allow_none=True)
    equipment = fields.String(required=True, allow_none=True)
    zone = fields.String(required=True, allow_none=True, metadata={"enum": [*ZONE_KEYS, None]})
    needs = fields.List(
        fields.String(), required=True, metadata=describe("Keys of the steps that come before it.")
    )
    parts = fields.List(fields.Nested(PlanStepPartAnswer), required=True)
    labour = fields.List(
        fields.String(), required=True, metadata=describe("Keys of the operations.")
    )
    hours = fields.String(required=True, metadata=EXACT)
    tools = fields.List(fields.String(metadata={"enum": list(TOOLS)}), required=True)
    torques = fields.List(fields.Nested(TorqueAnswer), required=True)
    checks = fields.List(
        fields.String(), required=True, metadata=describe("What holds when the step is done.")
    )
    cautions = fields.List(
        fields.String(metadata={"enum": list(CAUTIONS)}),
        required=True,
        metadata=describe("Keys; the texts stand in the cautions of the answer."),
    )


class PlanWorkOrderAnswer(Answer):
    """The work of a plan in a safe order."""

    zones = fields.List(
        fields.String(metadata={"enum": list(ZONE_KEYS)}),
        required=True,
        metadata=describe("In the order in which they are walked."),
    )
    not_built = fields.List(fields.Nested(NotBuiltAnswer), required=True)
    order = fields.List(
        fields.String(), required=True, metadata=describe("Keys of all steps, first to last.")
    )
    steps = fields.List(
        fields.Nested(PlanStepAnswer),
        required=True,
        metadata=describe(
            "All steps of the recommended plan; of another plan those that differ from it, all "
            "others being the same."
        ),
    )
    labour_hours = fields.String(required=True, metadata=EXACT)
    labour_duration = fields.String(required=True, metadata=DURATION)


class PlanExpectationAnswer(QuantityAnswer):
    """What a meter is expected to show."""

    expected = fields.Float(required=True)
    low = fields.Float(required=True)
    high = fields.Float(required=True)


class PlanAnswer(Answer):
    """One plan: sized, solved, priced and put in order."""

    name = fields.String(required=True, metadata={"enum": list(PLAN_NAMES)})
    purpose = fields.String(required=True)
    verdict = fields.String(required=True, metadata={"enum": list(VERDICTS)})
    sizing_rounds = fields.Integer(
        required=True,
        metadata=describe("Times that the circuits were sized until the network agreed."),
    )
    power_sources = fields.List(fields.Nested(SourceLoadAnswer), required=True)
    circuits = fields.List(fields.Nested(BilledCircuitAnswer), required=True)
    network = fields.Nested(PlanNetworkAnswer, required=True)
    real_output = fields.List(fields.Nested(EquipmentOutputAnswer), required=True)
    supply = fields.Nested(
        SupplyAnswer,
        required=True,
        allow_none=True,
        metadata=describe("Null where the job states none, or nothing can work."),
    )
    signal = fields.Nested(
        SignalAnswer,
        required=True,
        allow_none=True,
        metadata=describe("With the ground potentials of the network; null where none is stated."),
    )
    bill = fields.Nested(PlanBillAnswer, required=True)
    work_order = fields.Nested(PlanWorkOrderAnswer, required=True)
    expected_measurements = fields.List(
        fields.Nested(PlanExpectationAnswer),
        required=True,
        metadata=describe(
            "What a meter shows on an installation that is built right, with the 95 % interval."
        ),
    )


class CircuitChangeAnswer(Answer):
    """What a circuit gets instead; null where it is not sized."""

    circuit = fields.String(required=True)
    what = fields.String(required=True, metadata={"enum": list(CHANGED)})
    before = fields.String(required=True, allow_none=True)
    after = fields.String(required=True, allow_none=True)


class PlanChangesAnswer(Answer):
    """From one plan to another."""

    before = fields.String(required=True, metadata={"enum": list(PLAN_NAMES)})
    after = fields.String(required=True, metadata={"enum": list(PLAN_NAMES)})
    total_difference = fields.String(required=True, metadata=money("What the customer pays more."))
    circuits = fields.List(fields.Nested(CircuitChangeAnswer), required=True)


class PlanInstallationAnswer(AnswerBase):
    """A whole installation in three plans."""

    verdict = fields.String(
        required=True, metadata=describe("Of the recommended plan.", enum=list(VERDICTS))
    )
    title = fields.String(required=True)
    vehicle = fields.Nested(BillVehicleAnswer, required=True)
    price_book = fields.Nested(PriceBookAnswer, required=True)
    currency = fields.String(required=True, metadata=describe("ISO 4217 code."))
    prices_include_tax = fields.Boolean(required=True)
    as_of = fields.Date(required=True, allow_none=True, metadata=describe("Day of the quote."))
    valid_until = fields.Date(required=True, allow_none=True)
    plans = fields.List(fields.Nested(PlanAnswer), required=True)
    changes = fields.List(fields.Nested(PlanChangesAnswer), required=True)
