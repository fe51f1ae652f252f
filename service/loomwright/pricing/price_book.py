"""Price books: frozen records, read from plain JSON documents and named by their digest."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from decimal import Decimal

from loomwright.pricing.kinds import KINDS, LABOUR_UNIT, Attribute, Kind
from loomwright.pricing.money import MoneyError, minor_unit_digits
from loomwright.pricing.reading import DocumentError, Fault, ObjectReader, refuse_duplicates
from loomwright.pricing.requirements import QuantityRules

BOOK_MEMBERS = ("name", "currency", "tax", "rules", "parts", "labour")
TAX_MEMBERS = ("name", "percent")
PART_MEMBERS = (
    "key",
    "kind",
    "description",
    "attributes",
    "unit",
    "sale_increment",
    "unit_price",
)
LABOUR_MEMBERS = ("key", "description", "charged_per", "standard_hours", "hourly_rate")
CHARGED_PER = ("job", "piece", "metre")
_SMALLEST = Decimal("0.000001")
_RULE_BOUNDS: dict[str, tuple[Decimal, Decimal]] = {
    "conductor_slack_percent": (Decimal(0), Decimal(100)),
    "conductor_slack_per_end_m": (Decimal(0), Decimal(10)),
    "loom_waste_percent": (Decimal(0), Decimal(100)),
    "heat_shrink_per_end_m": (Decimal(0), Decimal(1)),
    "tie_spacing_m": (Decimal("0.01"), Decimal(10)),
    "labour_increment_h": (Decimal("0.001"), Decimal(1)),
}


@dataclass(frozen=True, slots=True)
class TaxRate:
    """A tax added to net prices."""

    name: str
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Part:
    """Something that the shop sells; ``unit_price`` is net and may be finer than a minor unit."""

    key: str
    kind: str
    description: str
    attributes: Mapping[str, Attribute]
    unit: str
    sale_increment: Decimal
    unit_price: Decimal


@dataclass(frozen=True, slots=True)
class LabourOperation:
    """Work that the shop does: standard hours for each job, piece or metre, and the rate."""

    key: str
    description: str
    charged_per: str
    standard_hours: Decimal
    hourly_rate: Decimal
    unit: str = LABOUR_UNIT


@dataclass(frozen=True, slots=True)
class PriceBook:
    """A shop's prices. Parts are held by kind, labour operations by key."""

    name: str
    currency: str
    tax: TaxRate
    rules: QuantityRules
    parts: Mapping[str, tuple[Part, ...]]
    labour: Mapping[str, LabourOperation]
    digest: str

    def part_for(self, what: str, needed: Mapping[str, Attribute]) -> Part | None:
        """Return the part that serves a need: tightest fit, then least price, then key.

        Parameters
        ----------
        what
            Kind of part.
        needed
            Every attribute that the kind is chosen by.

        Returns
        -------
        Part or None
            ``None`` where no part of the book serves.
        """
        kind = KINDS[what]
        serving = (
            part for part in self.parts.get(what, ()) if kind.serves(part.attributes, needed)
        )
        return min(
            serving,
            key=lambda part: (kind.excess(part.attributes), part.unit_price, part.key),
            default=None,
        )


def price_book_digest(document: object) -> str:
    """Return the SHA-256 of a price book's canonical JSON, in hexadecimal.

    Parameters
    ----------
    document
        The book as plain JSON values.

    Returns
    -------
    str
        64 hexadecimal digits; the same for any order of members and any white space.
    """
    canonical = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(canonical.encode("ascii")).hexdigest()


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
    reader = ObjectReader(document, "", faults, BOOK_MEMBERS)
    name = reader.text("name")
    currency = _currency(reader)
    tax = _tax(reader)
    rules = _rules(reader)
    parts = _parts(reader)
    labour = _labour(reader)
    if faults:
        raise DocumentError("price_book", faults)
    by_kind = {what: tuple(part for part in parts if part.kind == what) for what in KINDS}
    return PriceBook(
        name=name,
        currency=currency,
        tax=tax,
        rules=rules,
        parts=by_kind,
        labour={operation.key: operation for operation in labour},
        digest=price_book_digest(document),
    )


def _currency(reader: ObjectReader) -> str:
    before = len(reader.faults)
    currency = reader.text("currency")
    if len(reader.faults) == before:
        try:
            minor_unit_digits(currency)
        except MoneyError as error:
            reader.fault("currency", str(error))
    return currency


def _tax(reader: ObjectReader) -> TaxRate:
    tax = reader.object("tax", TAX_MEMBERS)
    return TaxRate(tax.text("name"), tax.decimal("percent", upper=Decimal(100)))


def _rules(reader: ObjectReader) -> QuantityRules:
    if not reader.has("rules"):
        return QuantityRules()
    rules = reader.object("rules", tuple(_RULE_BOUNDS))
    stated: dict[str, Decimal] = {}
    for field in fields(QuantityRules):
        lower, upper = _RULE_BOUNDS[field.name]
        stated[field.name] = rules.decimal(field.name, field.default, lower=lower, upper=upper)
    return QuantityRules(**stated)


def _parts(reader: ObjectReader) -> list[Part]:
    readers = reader.objects("parts", PART_MEMBERS, most=20_000)
    refuse_duplicates(readers, "key")
    return [_part(part) for part in readers]


def _part(reader: ObjectReader) -> Part:
    key = reader.text("key")
    what = reader.choice("kind", KINDS)
    kind = KINDS.get(what)
    return Part(
        key=key,
        kind=what,
        description=reader.text("description"),
        attributes=_attributes(reader, kind),
        unit=reader.choice("unit", kind.units) if kind else "",
        sale_increment=reader.decimal("sale_increment", Decimal(1), lower=_SMALLEST),
        unit_price=reader.decimal("unit_price"),
    )


def _attributes(reader: ObjectReader, kind: Kind | None) -> dict[str, Attribute]:
    if kind is None:
        # Which attributes are right depends on the kind, whose fault is noted already.
        return {}
    attributes = reader.object("attributes", tuple(rule.name for rule in kind.rules))
    read: dict[str, Attribute] = {}
    for rule in kind.rules:
        if rule.numeric:
            read[rule.name] = Decimal(repr(attributes.number(rule.name, upper=1e6)))
        else:
            read[rule.name] = attributes.text(rule.name)
    return read


def _labour(reader: ObjectReader) -> list[LabourOperation]:
    readers = reader.objects("labour", LABOUR_MEMBERS, most=1000)
    refuse_duplicates(readers, "key")
    return [
        LabourOperation(
            key=operation.text("key"),
            description=operation.text("description"),
            charged_per=operation.choice("charged_per", CHARGED_PER),
            standard_hours=operation.decimal("standard_hours", upper=Decimal(1000)),
            hourly_rate=operation.decimal("hourly_rate"),
        )
        for operation in readers
    ]
