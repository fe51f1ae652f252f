"""How a request states its price book, and rules between members of books and pricing options."""

from itertools import combinations

from loomwright.pricing.book_members import ATTRIBUTES, PRICE_BOOK
from loomwright.pricing.book_tables import PRICE_BOOK_TABLES
from loomwright.pricing.kinds import KINDS, Kind
from loomwright.pricing.members import Member, Record, Text
from loomwright.web.schemas.base import exactly_one_of, not_both
from loomwright.web.schemas.documents import JsonSchema, Rule, object_schema

BY_DOCUMENT, BY_CSV, BY_NAME = "price_book", "price_book_csv", "price_book_name"
FROM_PROVIDER = "price_book_from"
PROVIDED: dict[str, Member] = {
    "provider": Text(about="Name of a provider that the operator configured."),
    "price_book": Text(about="Name of a price book that the provider lists."),
}
BOOK_CHOICE: dict[str, Member] = {
    BY_DOCUMENT: Record(
        PRICE_BOOK.name,
        PRICE_BOOK.members,
        required=False,
        about="Prices; the embedded demo price book where no book is stated at all.",
    ),
    BY_CSV: Record(
        PRICE_BOOK_TABLES.name,
        PRICE_BOOK_TABLES.members,
        required=False,
        about="Prices as CSV texts by name of the table, instead of price_book.",
    ),
    BY_NAME: Text(
        required=False,
        about="Name of a price book that the operator mounted, instead of price_book; "
        "/v1/price-books lists them.",
    ),
    FROM_PROVIDER: Record(
        "ProvidedPriceBook",
        PROVIDED,
        required=False,
        about="Price book of a provider, instead of price_book; /v1/price-books lists providers.",
    ),
}


def at_most_one_book(schema: JsonSchema) -> JsonSchema:
    """Return the schema of a request that states its price book in one way at most."""
    pairs = [{"required": list(pair)} for pair in combinations(BOOK_CHOICE, 2)]
    return {**schema, "not": {"anyOf": pairs}}


def _of_kind(schema: JsonSchema, kind: Kind) -> JsonSchema:
    own = {
        "kind": {"type": "string", "const": kind.name},
        "attributes": object_schema(ATTRIBUTES[kind.name]),
        "unit": {"enum": list(kind.units)},
    }
    properties = {
        name: own[name] if name in ("attributes", "kind") else {**form, **own.get(name, {})}
        for name, form in schema["properties"].items()
    }
    title = f"{kind.name.title().replace('_', '')}Part"
    return {**schema, "title": title, "properties": properties}


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
    "BatchPricingOptions": _either_off_the_whole,
    "LineDiscount": _one_of("key", "kind"),
    "DocumentDiscount": _one_of("percent", "amount"),
    "Deposit": _one_of("percent", "amount"),
}
