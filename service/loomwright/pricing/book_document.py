"""Reading of price books from plain JSON documents, and the digest that names them."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import fields
from decimal import Decimal
from typing import Any

from loomwright.pricing.book_members import ATTRIBUTES, BOOK, STANDARD_CATEGORY
from loomwright.pricing.cells import canonical_number
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.kinds import KINDS, Attribute, Kind
from loomwright.pricing.price_book import (
    DifficultyFactor,
    Kit,
    LabourOperation,
    Pack,
    Part,
    PriceBook,
    PriceBreak,
    Rounding,
    TaxRate,
    Validity,
)
from loomwright.pricing.reading import ObjectReader
from loomwright.pricing.requirements import QuantityRules


def price_book_digest(document: object) -> str:
    """Return the SHA-256 of a price book's canonical JSON, in hexadecimal.

    In canonical JSON members are sorted, nothing stands between tokens, a whole number has no
    decimals (25 for 25.0), and a member that is an empty list or an empty object is left out, as it
    says no more than its absence. Decimals that are texts stay as they are stated. So a book from
    JSON and the same book from CSV have one digest.

    Parameters
    ----------
    document
        The book as plain JSON values.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    canonical = json.dumps(
        _canonical(document), sort_keys=True, separators=(",", ":"), ensure_ascii=True
    )
    return hashlib.sha256(canonical.encode("ascii")).hexdigest()


def _canonical(value: Any) -> Any:
    if isinstance(value, Mapping):
        members = {name: _canonical(member) for name, member in value.items()}
        return {name: member for name, member in members.items() if member not in ([], {})}
    if isinstance(value, list | tuple):
        return [_canonical(item) for item in value]
    return canonical_number(value)


def price_book_from_document(document: object) -> PriceBook:
    """Return the price book that a plain JSON document states.

    Parameters
    ----------
    document
        The book as plain JSON values.

    Returns
    -------
    PriceBook
        The checked book.

    Raises
    ------
    DocumentError
        Anything is wrong; ``faults`` lists all of it by JSON pointer.
    """
    faults: list[Fault] = []
    reader = ObjectReader(document, "", faults, BOOK)
    name = reader.text("name")
    currency = reader.choice("currency")
    categories, codes = _tax_categories(reader)
    part_readers, kit_readers = reader.objects("parts"), reader.objects("kits")
    parts = [_part(part, categories) for part in part_readers]
    by_key = {part.key: part for part in parts}
    kits = [_kit(kit, by_key, categories) for kit in kit_readers]
    labour = [_labour(operation, categories) for operation in reader.objects("labour")]
    difficulty = [_difficulty(factor) for factor in reader.objects("difficulty")]
    rounding = reader.object("rounding")
    read = PriceBook(
        name=name,
        currency=currency,
        validity=_validity(reader),
        quote_days=reader.optional_whole("quote_days"),
        prices_include_tax=reader.truth("prices_include_tax"),
        tax_categories=categories,
        shop_tax_codes=codes,
        rounding=Rounding(rounding.choice("tax"), rounding.choice("mode")),
        labour_minimum=reader.decimal("labour_minimum"),
        rules=_rules(reader),
        difficulty={factor.key: factor for factor in difficulty},
        parts=_by_kind(parts),
        kits=tuple(kits),
        labour={operation.key: operation for operation in labour},
        digest=price_book_digest(document) if not faults else "",
    )
    if faults:
        raise DocumentError("price_book", faults)
    return read


def _by_kind(parts: Sequence[Part]) -> dict[str, tuple[Part, ...]]:
    return {what: tuple(part for part in parts if part.kind == what) for what in KINDS}


def _validity(reader: ObjectReader) -> Validity:
    validity = Validity(reader.date("valid_from"), reader.date("valid_until"))
    if validity.first and validity.last and validity.last < validity.first:
        reader.fault("valid_until", "It lies before valid_from.")
    return validity


def _tax_categories(
    reader: ObjectReader,
) -> tuple[dict[str, tuple[TaxRate, ...]], dict[str, str]]:
    """Return the taxes of each category and the shop's codes of categories.

    All taxes apply to all where no category is stated.
    """
    rates = [
        TaxRate(item.text("key"), item.text("name"), item.decimal("percent"))
        for item in reader.objects("taxes")
    ]
    by_key = {rate.key: rate for rate in rates}
    categories: dict[str, tuple[TaxRate, ...]] = {}
    codes: dict[str, str] = {}
    for item in reader.objects("tax_categories"):
        wanted = item.texts("taxes")
        for index, key in enumerate(wanted):
            if key not in by_key:
                item.fault_at("taxes", index, f"No tax has this key. {_one_of(by_key)}")
        category = item.text("key")
        categories[category] = tuple(by_key[key] for key in wanted if key in by_key)
        if item.has("shop_tax_code"):
            codes[category] = item.text("shop_tax_code")
    return categories or {STANDARD_CATEGORY: tuple(rates)}, codes


def _one_of(keys: Mapping[str, object]) -> str:
    return f"The book has: {', '.join(keys) or 'none'}."


def _category(reader: ObjectReader, categories: Mapping[str, tuple[TaxRate, ...]]) -> str:
    key = reader.text("tax_category")
    if key not in categories:
        reader.fault("tax_category", f"No tax category has this key. {_one_of(categories)}")
    return key


def _rules(reader: ObjectReader) -> QuantityRules:
    rules = reader.object("rules")
    return QuantityRules(*(rules.decimal(field.name) for field in fields(QuantityRules)))


def _part(reader: ObjectReader, categories: Mapping[str, tuple[TaxRate, ...]]) -> Part:
    key = reader.text("key")
    what = reader.choice("kind")
    kind = KINDS.get(what)
    return Part(
        key=key,
        kind=what,
        description=reader.text("description"),
        # Which attributes and units are right depends on the kind.
        attributes=_attributes(reader, kind) if kind else {},
        unit=reader.choice("unit", among=kind.units if kind else None),
        sale_increment=reader.decimal("sale_increment"),
        unit_price=reader.decimal("unit_price"),
        price_breaks=_price_breaks(reader),
        packs=tuple(
            Pack(item.decimal("quantity"), item.decimal("price"), item.optional_decimal("cost"))
            for item in reader.objects("packs")
        ),
        cost=reader.optional_decimal("cost"),
        tax_category=_category(reader, categories),
        stock=reader.optional_decimal("stock"),
        validity=_validity(reader),
        shop_part_number=reader.text("shop_part_number") or None,
    )


def _price_breaks(reader: ObjectReader) -> tuple[PriceBreak, ...]:
    readers = reader.objects("price_breaks")
    breaks = tuple(
        PriceBreak(item.decimal("from_quantity"), item.decimal("unit_price")) for item in readers
    )
    for index in range(1, len(breaks)):
        if breaks[index].from_quantity <= breaks[index - 1].from_quantity:
            readers[index].fault("from_quantity", "Price breaks rise in quantity; this one falls.")
    return breaks


def _attributes(reader: ObjectReader, kind: Kind) -> dict[str, Attribute]:
    attributes = reader.object("attributes", ATTRIBUTES[kind.name])
    return {
        rule.name: Decimal(repr(attributes.number(rule.name)))
        if rule.numeric
        else attributes.text(rule.name)
        for rule in kind.rules
    }


def _kit(
    reader: ObjectReader,
    parts: Mapping[str, Part],
    categories: Mapping[str, tuple[TaxRate, ...]],
) -> Kit:
    key = reader.text("key")
    if key in parts:
        reader.fault("key", "A part has this key; it is unique among parts and kits.")
    contents: dict[str, Decimal] = {}
    for item in reader.objects("contents"):
        part = item.text("part")
        if part and part not in parts:
            item.fault("part", "No part of the book has this key.")
        contents[part] = item.decimal("quantity")
    return Kit(
        key=key,
        description=reader.text("description"),
        contents=contents,
        unit_price=reader.decimal("unit_price"),
        cost=reader.optional_decimal("cost"),
        tax_category=_category(reader, categories),
        stock=reader.optional_decimal("stock"),
        validity=_validity(reader),
        shop_part_number=reader.text("shop_part_number") or None,
    )


def _labour(
    operation: ObjectReader, categories: Mapping[str, tuple[TaxRate, ...]]
) -> LabourOperation:
    return LabourOperation(
        key=operation.text("key"),
        description=operation.text("description"),
        charged_per=operation.choice("charged_per"),
        standard_hours=operation.decimal("standard_hours"),
        hourly_rate=operation.decimal("hourly_rate"),
        hourly_cost=operation.optional_decimal("hourly_cost"),
        tax_category=_category(operation, categories),
    )


def _difficulty(reader: ObjectReader) -> DifficultyFactor:
    return DifficultyFactor(
        reader.text("key"), reader.text("description"), reader.decimal("factor")
    )
