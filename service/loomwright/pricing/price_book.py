"""Price books: frozen records, read from plain JSON documents and named by their digest."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from decimal import Decimal

from loomwright.pricing.book_members import ATTRIBUTES, BOOK
from loomwright.pricing.kinds import KINDS, LABOUR_UNIT, Attribute, Kind
from loomwright.pricing.reading import DocumentError, Fault, ObjectReader
from loomwright.pricing.requirements import QuantityRules


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
    """A shop's prices. Parts are held by kind in the order of the book, labour by key."""

    name: str
    currency: str
    tax: TaxRate
    rules: QuantityRules
    parts: Mapping[str, tuple[Part, ...]]
    labour: Mapping[str, LabourOperation]
    digest: str
    _shelves: Mapping[tuple[object, ...], Sequence[Part]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        # A job asks dozens of times; parts alike in all that must be equal lie on one shelf, the
        # one to be taken first in front.
        shelves: dict[tuple[object, ...], list[Part]] = {}
        for parts in self.parts.values():
            for part in sorted(parts, key=_preference):
                identity = KINDS[part.kind].identity(part.attributes)
                shelves.setdefault((part.kind, *identity), []).append(part)
        object.__setattr__(self, "_shelves", shelves)

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
        shelf = self._shelves.get((what, *kind.needed_identity(needed)), ())
        return next((part for part in shelf if kind.holds(part.attributes, needed)), None)


def _preference(part: Part) -> tuple[tuple[Decimal, ...], Decimal, str]:
    return KINDS[part.kind].excess(part.attributes), part.unit_price, part.key


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
    reader = ObjectReader(document, "", faults, BOOK)
    name = reader.text("name")
    currency = reader.choice("currency")
    tax = reader.object("tax")
    rate = TaxRate(tax.text("name"), tax.decimal("percent"))
    rules = _rules(reader)
    parts = [_part(part) for part in reader.objects("parts")]
    labour = [_labour(operation) for operation in reader.objects("labour")]
    if faults:
        raise DocumentError("price_book", faults)
    by_kind: dict[str, list[Part]] = {what: [] for what in KINDS}
    for part in parts:
        by_kind[part.kind].append(part)
    return PriceBook(
        name=name,
        currency=currency,
        tax=rate,
        rules=rules,
        parts={what: tuple(of_kind) for what, of_kind in by_kind.items()},
        labour={operation.key: operation for operation in labour},
        digest=price_book_digest(document),
    )


def _rules(reader: ObjectReader) -> QuantityRules:
    rules = reader.object("rules")
    return QuantityRules(*(rules.decimal(field.name) for field in fields(QuantityRules)))


def _part(reader: ObjectReader) -> Part:
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
    )


def _attributes(reader: ObjectReader, kind: Kind) -> dict[str, Attribute]:
    attributes = reader.object("attributes", ATTRIBUTES[kind.name])
    return {
        rule.name: Decimal(repr(attributes.number(rule.name)))
        if rule.numeric
        else attributes.text(rule.name)
        for rule in kind.rules
    }


def _labour(operation: ObjectReader) -> LabourOperation:
    return LabourOperation(
        key=operation.text("key"),
        description=operation.text("description"),
        charged_per=operation.choice("charged_per"),
        standard_hours=operation.decimal("standard_hours"),
        hourly_rate=operation.decimal("hourly_rate"),
    )
