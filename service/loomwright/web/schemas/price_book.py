"""Rules between the members of price books and pricing options."""

from loomwright.pricing.book_members import ATTRIBUTES
from loomwright.pricing.kinds import KINDS, Kind
from loomwright.web.schemas.base import exactly_one_of, not_both
from loomwright.web.schemas.documents import JsonSchema, Rule, object_schema


def _of_kind(schema: JsonSchema, kind: Kind) -> JsonSchema:
    own = {
        "kind": {"const": kind.name},
        "attributes": object_schema(ATTRIBUTES[kind.name]),
        "unit": {"enum": list(kind.units)},
    }
    properties = {
        name: {**form, **own.get(name, {})} if name != "attributes" else own[name]
        for name, form in schema["properties"].items()
    }
    return {**schema, "title": kind.words, "properties": properties}


def _part(schema: JsonSchema) -> JsonSchema:
    return {"oneOf": [_of_kind(schema, kind) for kind in KINDS.values()]}


def _one_of(first: str, second: str) -> Rule:
    def rule(schema: JsonSchema) -> JsonSchema:
        return {**schema, **exactly_one_of(first, second)}

    return rule


def _either_off_the_whole(schema: JsonSchema) -> JsonSchema:
    return {**schema, **not_both("document_discount", "package")}


BOOK_RULES = {"Part": _part}
PRICING_RULES = {
    "PricingOptions": _either_off_the_whole,
    "LineDiscount": _one_of("key", "kind"),
    "DocumentDiscount": _one_of("percent", "amount"),
    "Deposit": _one_of("percent", "amount"),
}
