"""Answer of build-bill-of-materials."""

from typing import Any

from marshmallow import fields

from loomwright.engineering.conductors.choice import CRITERIA
from loomwright.engineering.protection.fuse_answer import VERDICTS as FUSE_VERDICTS
from loomwright.jobs.circuit_sources import ABOVE_LIMIT, NO_LIMIT_STATED, WITHIN_LIMIT
from loomwright.jobs.job import DRIVES, TAP_POINTS
from loomwright.jobs.priced_job import VERDICTS
from loomwright.jobs.sized_circuit import VERDICTS as CIRCUIT_VERDICTS
from loomwright.jobs.substitutes import CONDUCTOR, FUSE, REASONS
from loomwright.pricing.kinds import KINDS, UNIT_WORDS
from loomwright.pricing.lines import KIT, LABOUR
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.common import (
    INSULATION_KEYS,
    MATERIAL_KEYS,
    SERIES_KEYS,
    SIZE_KEYS,
    AnswerBase,
)
from loomwright.web.schemas.fuse import FUSE_TYPE_KEYS
from loomwright.web.schemas.mounted import DIGEST
from loomwright.web.schemas.paperwork import PaperworkAnswer


class BillVehicleAnswer(Answer):
    """The vehicle of the job."""

    description = fields.String(required=True)
    drive = fields.String(required=True, metadata={"enum": list(DRIVES)})
    system_voltage_v = fields.Float(required=True)


class SourceLoadAnswer(Answer):
    """What the circuits take from one source, beside what its maker allows."""

    key = fields.String(required=True)
    description = fields.String(required=True)
    tap_point = fields.String(required=True, metadata={"enum": list(TAP_POINTS)})
    system_voltage_v = fields.Float(required=True)
    load_current_a = fields.Float(required=True)
    greatest_current_a = fields.Float(required=True, allow_none=True)
    verdict = fields.String(
        required=True, metadata={"enum": [WITHIN_LIMIT, ABOVE_LIMIT, NO_LIMIT_STATED]}
    )


class BilledConductorAnswer(Answer):
    """The conductor of a circuit."""

    series = fields.String(required=True, metadata={"enum": list(SERIES_KEYS)})
    size = fields.String(required=True, metadata={"enum": list(SIZE_KEYS)})
    material = fields.String(required=True, metadata={"enum": list(MATERIAL_KEYS)})
    insulation = fields.String(required=True, metadata={"enum": list(INSULATION_KEYS)})
    cross_section_mm2 = fields.Float(required=True)
    outside_diameter_mm = fields.Float(required=True)


class BilledFuseAnswer(Answer):
    """The fuse of a circuit."""

    fuse_type = fields.String(required=True, metadata={"enum": list(FUSE_TYPE_KEYS)})
    rated_current_a = fields.Float(required=True)
    rated_voltage_v = fields.Float(required=True)
    breaking_capacity_a = fields.Float(required=True)
    lower_bound_a = fields.Float(required=True, metadata=describe("Least permitted rating."))
    lower_rule = fields.String(required=True)
    upper_bound_a = fields.Float(required=True, metadata=describe("Greatest permitted rating."))
    upper_rule = fields.String(required=True)
    upstream_selectivity = fields.String(
        required=True,
        allow_none=True,
        metadata=describe("With the fuse before it; null where there is none."),
    )
    selective_up_to_a = fields.Float(required=True, allow_none=True)


class BilledCircuitAnswer(Answer):
    """A circuit as the engineering sized it."""

    key = fields.String(required=True)
    description = fields.String(required=True)
    fed_from = fields.String(required=True)
    verdict = fields.String(required=True, metadata={"enum": list(CIRCUIT_VERDICTS)})
    conductor_verdict = fields.String(
        required=True,
        metadata=describe(
            "Of size-conductor, or no_sized_branch where no branch of the circuit has a conductor."
        ),
    )
    fuse_verdict = fields.String(
        required=True,
        allow_none=True,
        metadata=describe("Of size-fuse; null where no fuse was asked for.")
        | {"enum": [*FUSE_VERDICTS, None]},
    )
    conductor = fields.Nested(BilledConductorAnswer, required=True, allow_none=True)
    fuse = fields.Nested(BilledFuseAnswer, required=True, allow_none=True)
    route_length_m = fields.Float(required=True)
    load_current_a = fields.Float(required=True, allow_none=True)
    load_voltage_v = fields.Float(required=True, allow_none=True)
    voltage_drop_v = fields.Float(required=True, allow_none=True)
    voltage_drop_percent = fields.Float(
        required=True, allow_none=True, metadata=describe("Of the system voltage.")
    )
    conductor_temperature_c = fields.Float(required=True, allow_none=True)
    near_source_fault_a = fields.Float(required=True, allow_none=True)
    far_end_fault_a = fields.Float(required=True, allow_none=True)
    deciding_criterion = fields.String(
        required=True,
        allow_none=True,
        metadata={"enum": [*CRITERIA, "smallest_listed_size", None]},
    )
    thickened_for = fields.String(
        required=True,
        allow_none=True,
        metadata=describe(
            "Fuse verdict that a thinner conductor met; null where it was not thickened."
        ),
    )
    conductor_reason = fields.String(required=True)
    fuse_reason = fields.String(required=True)


class PriceBookAnswer(Answer):
    """The price book that was used."""

    name = fields.String(required=True)
    digest = fields.String(required=True, metadata=DIGEST)


def money(about: str) -> dict[str, Any]:
    """Return the metadata of an amount."""
    return describe(f"{about} Decimal in the currency of the bill.", pattern=_DECIMAL)


_DECIMAL = r"^-?[0-9]+(\.[0-9]+)?$"
MONEY = describe("Decimal in the currency of the bill.", pattern=_DECIMAL)
EXACT = describe("Exact decimal.", pattern=r"^[0-9]+(\.[0-9]+)?$")


def duration(about: str) -> dict[str, Any]:
    """Return the metadata of a duration."""
    pattern = r"^PT(?:[1-9][0-9]*H)?(?:[1-9][0-9]?M|0M)?$"
    return describe(about, format="duration", pattern=pattern)


DURATION = duration("ISO 8601, rounded up to whole minutes.")


class NeedAnswer(Answer):
    """One reason for a line: how much of it, for which circuit, by which rule."""

    circuit = fields.String(required=True, metadata=describe("Empty for the job as a whole."))
    quantity = fields.String(required=True, metadata=EXACT)
    rule = fields.String(required=True)
    reason = fields.String(required=True)


class LineAnswer(Answer):
    """One priced line."""

    number = fields.Integer(required=True)
    kind = fields.String(required=True, metadata={"enum": [*KINDS, KIT, LABOUR]})
    key = fields.String(required=True)
    description = fields.String(required=True)
    quantity = fields.String(required=True, metadata=EXACT)
    unit = fields.String(
        required=True,
        metadata=describe("UN/CEFACT Recommendation 20.", enum=list(UNIT_WORDS)),
    )
    unit_word = fields.String(required=True, metadata={"enum": list(UNIT_WORDS.values())})
    unit_price = fields.String(required=True, metadata=EXACT)
    list_total = fields.String(
        required=True, metadata=money("Unit price times quantity, rounded once.")
    )
    discount = fields.String(required=True, metadata=money("Taken off this line."))
    shared = fields.String(
        required=True,
        metadata=money("Share of a document discount or of the difference to a package price."),
    )
    total = fields.String(required=True, metadata=money("List total less discount, plus share."))
    net_total = fields.String(
        required=True,
        metadata=money("The total without taxes; of all lines together the net total."),
    )
    tax_category = fields.String(required=True)
    shop_part_number = fields.String(
        required=True,
        allow_none=True,
        metadata=describe("Of the shop's own system, as text; null where it has none."),
    )
    shop_tax_code = fields.String(
        required=True,
        allow_none=True,
        metadata=describe("Of the shop's own system, as text; null where it has none."),
    )
    in_stock = fields.Boolean(
        required=True,
        allow_none=True,
        metadata=describe("Whether stock covers the quantity; null where it is not counted."),
    )
    reason = fields.String(required=True)
    needs = fields.List(fields.Nested(NeedAnswer), required=True)


class UnpricedAnswer(Answer):
    """Something needed that the price book does not hold."""

    kind = fields.String(required=True, metadata={"enum": [*KINDS, LABOUR]})
    description = fields.String(required=True)
    attributes = fields.Dict(keys=fields.String(), values=fields.String(), required=True)
    quantity = fields.String(required=True, metadata=EXACT)
    unit = fields.String(required=True, metadata={"enum": list(UNIT_WORDS)})
    unit_word = fields.String(required=True, metadata={"enum": list(UNIT_WORDS.values())})
    reason = fields.String(required=True)
    needs = fields.List(fields.Nested(NeedAnswer), required=True)


class SubstituteAnswer(Answer):
    """What could be fitted instead, after the whole job was sized and priced again with it."""

    circuit = fields.String(required=True)
    kind = fields.String(required=True, metadata={"enum": [CONDUCTOR, FUSE]})
    reason = fields.String(required=True, metadata={"enum": list(REASONS)})
    replaced = fields.String(required=True)
    offered = fields.String(required=True)
    total = fields.String(required=True, metadata=money("Of the whole bill with it."))
    total_difference = fields.String(
        required=True,
        metadata=money("Less the total of this bill, which lacks what is not listed."),
    )


class ArticleAnswer(Answer):
    """An article that is bought: loose, in a pack, or a kit."""

    key = fields.String(required=True)
    pack_of = fields.String(
        required=True, allow_none=True, metadata=describe("Units in one pack; null if no pack.")
    )
    quantity = fields.String(required=True, metadata=EXACT)


class RunnerUpAnswer(Answer):
    """The cheapest plan that does without at least one of the articles bought."""

    articles = fields.List(fields.Nested(ArticleAnswer), required=True)
    price = fields.String(required=True, metadata=EXACT)
    difference = fields.String(
        required=True, metadata=describe("What it costs more.", pattern=_DECIMAL)
    )


class ChoiceAnswer(Answer):
    """Articles that were chosen where several could serve, proven to be the cheapest."""

    articles = fields.List(fields.Nested(ArticleAnswer), required=True)
    price = fields.String(
        required=True, metadata=describe("Exact, before any rounding.", pattern=_DECIMAL)
    )
    runner_up = fields.Nested(RunnerUpAnswer, required=True, allow_none=True)
    gap_percent = fields.Float(
        required=True,
        metadata=describe("What may lie between price and optimum: 0 is proof."),
    )
    within_stock = fields.Boolean(
        required=True,
        metadata=describe("False where stock alone does not serve and was left out of account."),
    )


class LineCostAnswer(Answer):
    """What one line costs the shop."""

    number = fields.Integer(required=True)
    key = fields.String(required=True)
    cost = fields.String(required=True, allow_none=True, metadata=MONEY)


class CostAnswer(Answer):
    """Cost and margin; only asked for, and only for a key that may see them."""

    cost_total = fields.String(required=True, metadata=MONEY)
    margin = fields.String(
        required=True,
        allow_none=True,
        metadata=money("Net total less cost; null where a line has no cost."),
    )
    margin_percent = fields.String(
        required=True, allow_none=True, metadata=describe("Of the net total.", pattern=_DECIMAL)
    )
    uncosted = fields.List(
        fields.String(), required=True, metadata=describe("Keys of lines without a cost.")
    )
    lines = fields.List(fields.Nested(LineCostAnswer), required=True)


class TaxAnswer(Answer):
    """One tax: percent of the base."""

    key = fields.String(required=True)
    name = fields.String(required=True)
    percent = fields.String(required=True, metadata=EXACT)
    base = fields.String(required=True, metadata=MONEY)
    amount = fields.String(required=True, metadata=MONEY)
    tax_categories = fields.List(
        fields.String(), required=True, metadata=describe("Categories of the lines it is on.")
    )


class BuildBillOfMaterialsAnswer(AnswerBase):
    """A job sized and priced."""

    verdict = fields.String(required=True, metadata={"enum": list(VERDICTS)})
    title = fields.String(required=True)
    vehicle = fields.Nested(BillVehicleAnswer, required=True)
    power_sources = fields.List(fields.Nested(SourceLoadAnswer), required=True)
    circuits = fields.List(fields.Nested(BilledCircuitAnswer), required=True)
    price_book = fields.Nested(PriceBookAnswer, required=True)
    currency = fields.String(required=True, metadata=describe("ISO 4217 code."))
    prices_include_tax = fields.Boolean(required=True)
    as_of = fields.Date(required=True, allow_none=True, metadata=describe("Day of the quote."))
    valid_until = fields.Date(
        required=True,
        allow_none=True,
        metadata=describe("Last day on which all its prices hold; null where nothing limits it."),
    )
    package = fields.String(required=True, allow_none=True)
    paperwork = fields.Nested(PaperworkAnswer, required=True, allow_none=True)
    lines = fields.List(fields.Nested(LineAnswer), required=True)
    unpriced = fields.List(fields.Nested(UnpricedAnswer), required=True)
    choices = fields.List(fields.Nested(ChoiceAnswer), required=True)
    substitutes = fields.List(fields.Nested(SubstituteAnswer), required=True)
    list_total = fields.String(required=True, metadata=MONEY)
    discount_total = fields.String(required=True, metadata=money("Sum of the line discounts."))
    shared_total = fields.String(
        required=True, metadata=money("Sum of the shares; negative where it lowers the price.")
    )
    parts_total = fields.String(required=True, metadata=MONEY)
    labour_total = fields.String(required=True, metadata=MONEY)
    labour_duration = fields.String(
        required=True,
        metadata=duration("Hours of all labour lines together, ISO 8601."),
    )
    lines_total = fields.String(
        required=True, metadata=money("Sum of the lines, on the price basis of the book.")
    )
    net_total = fields.String(required=True, metadata=MONEY)
    exempt_total = fields.String(required=True, metadata=money("Lines that no tax applies to."))
    taxes = fields.List(fields.Nested(TaxAnswer), required=True)
    total = fields.String(required=True, metadata=MONEY)
    deposit = fields.String(required=True, allow_none=True, metadata=MONEY)
    balance_due = fields.String(required=True, metadata=MONEY)
    cost = fields.Nested(CostAnswer)
