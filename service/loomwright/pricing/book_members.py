"""The members of a price book document, with their bounds."""

from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal
from types import MappingProxyType

from loomwright.pricing.kinds import KINDS, UNIT_WORDS, Kind
from loomwright.pricing.members import Choice, DecimalText, Member, Number, Record, Records, Text
from loomwright.pricing.money import CURRENCIES
from loomwright.pricing.requirements import QuantityRules

CHARGED_PER = ("job", "piece", "metre")
GREATEST_ATTRIBUTE = 1e6
_SMALLEST = Decimal("0.000001")
_RULES: dict[str, tuple[Decimal, Decimal, str]] = {
    "conductor_slack_percent": (Decimal(0), Decimal(100), "Added to each run of conductor [%]."),
    "conductor_slack_per_end_m": (Decimal(0), Decimal(10), "Added at each end [m]."),
    "loom_waste_percent": (Decimal(0), Decimal(100), "Added to the covered length [%]."),
    "heat_shrink_per_end_m": (Decimal(0), Decimal(1), "Cut for each crimped terminal [m]."),
    "tie_spacing_m": (Decimal("0.01"), Decimal(10), "Distance between cable ties [m]."),
    "labour_increment_h": (
        Decimal("0.001"),
        Decimal(1),
        "Hours of an operation are rounded up to a multiple of this [h].",
    ),
}


def _rule_members() -> dict[str, Member]:
    members: dict[str, Member] = {}
    for field in fields(QuantityRules):
        lower, upper, about = _RULES[field.name]
        default = field.default
        assert isinstance(default, Decimal)
        members[field.name] = DecimalText(lower, upper, default, about=about)
    return members


def attribute_members(kind: Kind) -> dict[str, Member]:
    """Return the attributes that a part of a kind states.

    Parameters
    ----------
    kind
        Kind of part.

    Returns
    -------
    dict
        Rules by name; numbers are in the unit that the name ends in.
    """
    return {
        rule.name: Number(0.0, GREATEST_ATTRIBUTE) if rule.numeric else Text()
        for rule in kind.rules
    }


ATTRIBUTES: Mapping[str, Mapping[str, Member]] = MappingProxyType(
    {kind.name: attribute_members(kind) for kind in KINDS.values()}
)
_TAX: dict[str, Member] = {
    "name": Text(about="Name of the tax."),
    "percent": DecimalText(Decimal(0), Decimal(100), about="Rate on the net total [%]."),
}
PART: dict[str, Member] = {
    "key": Text(about="The shop's own key, unique among the parts."),
    "kind": Choice(tuple(KINDS), about="Kind of part."),
    "description": Text(about="Printed on the line."),
    "attributes": Record("Attributes", {}, about="What the part is chosen by."),
    "unit": Choice(tuple(UNIT_WORDS), about="Unit of sale, UN/CEFACT Recommendation 20."),
    "sale_increment": DecimalText(
        _SMALLEST, default=Decimal(1), about="Quantities are rounded up to a multiple of this."
    ),
    "unit_price": DecimalText(about="Net price of one unit; may be finer than a minor unit."),
}
_LABOUR: dict[str, Member] = {
    "key": Text(about="Operation, unique among the labour."),
    "description": Text(about="Printed on the line."),
    "charged_per": Choice(CHARGED_PER, about="What the standard hours are for one of."),
    "standard_hours": DecimalText(Decimal(0), Decimal(1000), about="Hours [h]."),
    "hourly_rate": DecimalText(about="Net price of one hour."),
}
BOOK: dict[str, Member] = {
    "name": Text(about="Name of the book."),
    "currency": Choice(
        CURRENCIES,
        words="A currency code of ISO 4217 list one that has a minor unit is needed.",
        about="ISO 4217 code.",
    ),
    "tax": Record("TaxRate", _TAX, about="The one tax, added to the net total."),
    "rules": Record(
        "QuantityRules", _rule_members(), required=False, about="Slack, waste and increments."
    ),
    "parts": Records("Part", PART, 0, 20_000, "key", about="Parts that the shop sells."),
    "labour": Records("LabourOperation", _LABOUR, 0, 1000, "key", about="Work that the shop does."),
}
PRICE_BOOK = Record("PriceBook", BOOK)
