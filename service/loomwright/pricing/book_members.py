"""The members of a price book document, with their bounds."""

from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal
from types import MappingProxyType

from loomwright.pricing.kinds import KINDS, UNIT_WORDS, Kind
from loomwright.pricing.members import (
    Choice,
    DateText,
    DecimalText,
    Member,
    Number,
    Record,
    Records,
    Text,
    Texts,
    Truth,
    Whole,
)
from loomwright.pricing.money import CURRENCIES, ROUNDING_MODES
from loomwright.pricing.requirements import QuantityRules

CHARGED_PER = ("job", "piece", "metre")
TAX_ROUNDING = ("document", "line")
STANDARD_CATEGORY = "standard"
GREATEST_ATTRIBUTE = 1e6
_SMALLEST = Decimal("0.000001")
_RULES: dict[str, tuple[Decimal, Decimal, str]] = {
    "conductor_slack_percent": (Decimal(0), Decimal(100), "Added to each run of conductor [%]."),
    "conductor_slack_per_end_m": (Decimal(0), Decimal(10), "Added at each end of a piece [m]."),
    "loom_waste_percent": (Decimal(0), Decimal(100), "Added to the covered length [%]."),
    "loom_room_percent": (Decimal(0), Decimal(100), "Added to the bundle's diameter [%]."),
    "tape_width_m": (Decimal("0.005"), Decimal("0.1"), "Width of the cloth tape [m]."),
    "tape_overlap_percent": (
        Decimal(0),
        Decimal(90),
        "Part of the width that each turn lays over the one before [%].",
    ),
    "tape_waste_percent": (Decimal(0), Decimal(100), "Added to the wrapped length of tape [%]."),
    "tape_per_loom_end_m": (Decimal(0), Decimal(1), "Run wrapped at each end of a loom [m]."),
    "heat_shrink_per_end_m": (Decimal(0), Decimal(1), "Cut for each crimped terminal [m]."),
    "heat_shrink_per_solder_joint_m": (Decimal(0), Decimal(1), "Cut for each soldered joint [m]."),
    "solder_g_per_mm2": (Decimal(0), Decimal(10), "Solder of one joint for each mm2 [g]."),
    "markers_per_end": (Decimal(0), Decimal(4), "Cable markers at each end of a piece."),
    "labels_per_fuse": (Decimal(0), Decimal(4), "Labels at each fuse holder and way of a block."),
    "boots_per_stud": (Decimal(0), Decimal(1), "Boots over each positive stud without a cover."),
    "paste_per_contact_g": (
        Decimal(0),
        Decimal(100),
        "Protective paste for each bolted contact at a battery or ground point [g].",
    ),
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
_VALIDITY: dict[str, Member] = {
    "valid_from": DateText(required=False, about="First day on which the price holds."),
    "valid_until": DateText(required=False, about="Last day on which the price holds."),
}
# What everything that is sold has beside its price.
_SOLD: dict[str, Member] = {
    "cost": DecimalText(
        required=False, about="What one unit costs the shop; shown only to a key that may see it."
    ),
    "tax_category": Text(default=STANDARD_CATEGORY, about="Key of a tax category."),
    "stock": DecimalText(
        required=False, about="Units in stock; without it stock is never counted."
    ),
    "shop_part_number": Text(
        required=False, about="Number in the shop's own system; handed back on the line."
    ),
    **_VALIDITY,
}
TAX: dict[str, Member] = {
    "key": Text(about="Named by tax categories, unique among the taxes."),
    "name": Text(about="Name of the tax, as it is printed."),
    "percent": DecimalText(Decimal(0), Decimal(100), about="Rate on the net amount [%]."),
}
TAX_CATEGORY: dict[str, Member] = {
    "key": Text(about="Named by parts, kits and labour, unique among the categories."),
    "taxes": Texts(0, 10, about="Keys of the taxes that apply; none for exempt."),
    "shop_tax_code": Text(
        required=False, about="Code in the shop's own system; handed back on the line."
    ),
}
ROUNDING: dict[str, Member] = {
    "tax": Choice(
        TAX_ROUNDING,
        default="document",
        about="Whether each tax is rounded once for the document or at each line.",
    ),
    "mode": Choice(
        tuple(ROUNDING_MODES),
        default="half_up",
        about="Which way an amount between two minor units goes.",
    ),
}
PRICE_BREAK: dict[str, Member] = {
    "from_quantity": DecimalText(_SMALLEST, about="Least quantity on one line."),
    "unit_price": DecimalText(about="Price of each unit from that quantity up."),
}
PACK: dict[str, Member] = {
    "quantity": DecimalText(_SMALLEST, about="Units of the part in one pack."),
    "price": DecimalText(about="Price of one pack."),
    "cost": DecimalText(required=False, about="Cost of one pack; that of its units if absent."),
}
PART: dict[str, Member] = {
    "key": Text(about="The shop's own key, unique among parts and kits."),
    "kind": Choice(tuple(KINDS), about="Kind of part."),
    "description": Text(about="Printed on the line."),
    "attributes": Record("Attributes", {}, about="What the part is chosen by."),
    "unit": Choice(tuple(UNIT_WORDS), about="Unit of sale, UN/CEFACT Recommendation 20."),
    "sale_increment": DecimalText(
        _SMALLEST, default=Decimal(1), about="Quantities are rounded up to a multiple of this."
    ),
    "unit_price": DecimalText(about="Price of one unit; may be finer than a minor unit."),
    "price_breaks": Records(
        "PriceBreak", PRICE_BREAK, 0, 20, "from_quantity", about="Prices of larger quantities."
    ),
    "packs": Records(
        "Pack", PACK, 0, 20, "quantity", about="Sealed packs in which the part is sold as well."
    ),
    **_SOLD,
}
KIT_CONTENT: dict[str, Member] = {
    "part": Text(about="Key of a part of this book."),
    "quantity": DecimalText(_SMALLEST, about="Units of that part in one kit."),
}
KIT: dict[str, Member] = {
    "key": Text(about="The shop's own key, unique among parts and kits."),
    "description": Text(about="Printed on the line."),
    "contents": Records("KitContent", KIT_CONTENT, 1, 100, "part", about="What one kit holds."),
    "unit_price": DecimalText(about="Price of one kit."),
    **_SOLD,
}
LABOUR: dict[str, Member] = {
    "key": Text(about="Operation, unique among the labour."),
    "description": Text(about="Printed on the line."),
    "charged_per": Choice(CHARGED_PER, about="What the standard hours are for one of."),
    "standard_hours": DecimalText(Decimal(0), Decimal(1000), about="Hours [h]."),
    "hourly_rate": DecimalText(about="Price of one hour."),
    "hourly_cost": DecimalText(
        required=False, about="What one hour costs the shop; shown only to a key that may see it."
    ),
    "tax_category": Text(default=STANDARD_CATEGORY, about="Key of a tax category."),
}
DIFFICULTY: dict[str, Member] = {
    "key": Text(about="Named by the vehicle of a job, unique among the factors."),
    "description": Text(about="What makes such a vehicle harder or easier to work on."),
    "factor": DecimalText(Decimal("0.1"), Decimal(10), about="Times the standard hours [1]."),
}
BOOK: dict[str, Member] = {
    "name": Text(about="Name of the book."),
    "currency": Choice(
        CURRENCIES,
        words="A currency code of ISO 4217 list one that has a minor unit is needed.",
        about="ISO 4217 code.",
    ),
    **_VALIDITY,
    "quote_days": Whole(
        1, 3650, required=False, about="Days for which a quote holds, from its own day on."
    ),
    "prices_include_tax": Truth(
        default=False, about="Whether the prices of the book hold the taxes already."
    ),
    "taxes": Records("TaxRate", TAX, 0, 20, "key", about="The taxes; none apply on another."),
    "tax_categories": Records(
        "TaxCategory",
        TAX_CATEGORY,
        0,
        50,
        "key",
        about="Which taxes apply to what; without any, all taxes apply to all.",
    ),
    "rounding": Record("Rounding", ROUNDING, required=False, about="How money is rounded."),
    "labour_minimum": DecimalText(
        default=Decimal(0), about="Least charge for the labour of a job that has any."
    ),
    "rules": Record(
        "QuantityRules", _rule_members(), required=False, about="Slack, waste and increments."
    ),
    "difficulty": Records(
        "DifficultyFactor", DIFFICULTY, 0, 100, "key", about="Factors on hours by vehicle."
    ),
    "parts": Records("Part", PART, 0, 20_000, "key", about="Parts that the shop sells."),
    "kits": Records("Kit", KIT, 0, 2000, "key", about="Sets of parts sold under one price."),
    "labour": Records("LabourOperation", LABOUR, 0, 1000, "key", about="Work that the shop does."),
}
PRICE_BOOK = Record("PriceBook", BOOK)
