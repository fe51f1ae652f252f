"""Answer of plan-installation."""

from marshmallow import fields

from loomwright.engineering.audio.output_words import VERDICTS as CLAIM_VERDICTS
from loomwright.jobs.plan.alternatives import PLAN_NAMES
from loomwright.jobs.plan.changes import CHANGED
from loomwright.jobs.plan.plan import VERDICTS
from loomwright.pricing.kinds import KINDS, UNIT_WORDS
from loomwright.pricing.lines import KIT, LABOUR
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.bill import (
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
from loomwright.web.schemas.common import AnswerBase


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
    reason = fields.String(required=True)


class PlanUnpricedAnswer(Answer):
    """Something that the plan needs and the price book does not hold."""

    kind = fields.String(required=True, metadata={"enum": [*KINDS, LABOUR]})
    description = fields.String(required=True)
    quantity = fields.String(required=True, metadata=EXACT)
    unit = fields.String(required=True, metadata={"enum": list(UNIT_WORDS)})
    reason = fields.String(required=True)


class PlanBillAnswer(Answer):
    """The bill of a plan; build-bill-of-materials gives the same with the needs of each line."""

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
    iterations = fields.Integer(required=True)
    residual_a = fields.Float(required=True, allow_none=True)


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
    bill = fields.Nested(PlanBillAnswer, required=True)


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
