"""Price books: frozen records of what a shop sells and at which price."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from loomwright.pricing.kinds import KINDS, LABOUR_UNIT, Attribute
from loomwright.pricing.requirements import QuantityRules


@dataclass(frozen=True, slots=True)
class Validity:
    """First and last day on which something holds; none where it is open."""

    first: date | None = None
    last: date | None = None

    def holds_on(self, day: date | None) -> bool:
        """Return whether a day lies within; without a day nothing is judged."""
        if day is None:
            return True
        return (self.first is None or self.first <= day) and (self.last is None or day <= self.last)


@dataclass(frozen=True, slots=True)
class TaxRate:
    """A tax on net amounts; no tax applies on another."""

    key: str
    name: str
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Rounding:
    """How money is rounded: each tax for the ``document`` or at each ``line``; the mode."""

    tax: str
    mode: str


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """Price of each unit of a part from a quantity on one line up."""

    from_quantity: Decimal
    unit_price: Decimal


@dataclass(frozen=True, slots=True)
class Pack:
    """A sealed pack of a part; ``cost`` is that of the pack, if stated."""

    quantity: Decimal
    price: Decimal
    cost: Decimal | None


@dataclass(frozen=True, slots=True)
class Part:
    """Something that the shop sells; ``unit_price`` may be finer than a minor unit.

    ``price_breaks`` rise in quantity. ``stock`` is none where it is not counted.
    """

    key: str
    kind: str
    description: str
    attributes: Mapping[str, Attribute]
    unit: str
    sale_increment: Decimal
    unit_price: Decimal
    price_breaks: tuple[PriceBreak, ...]
    packs: tuple[Pack, ...]
    cost: Decimal | None
    tax_category: str
    stock: Decimal | None
    validity: Validity
    shop_part_number: str | None


@dataclass(frozen=True, slots=True)
class Kit:
    """Parts sold together under one price; ``contents`` are units by key of the part."""

    key: str
    description: str
    contents: Mapping[str, Decimal]
    unit_price: Decimal
    cost: Decimal | None
    tax_category: str
    stock: Decimal | None
    validity: Validity
    shop_part_number: str | None
    unit: str = "SET"


@dataclass(frozen=True, slots=True)
class LabourOperation:
    """Work that the shop does: standard hours for each job, piece or metre, and the rate."""

    key: str
    description: str
    charged_per: str
    standard_hours: Decimal
    hourly_rate: Decimal
    hourly_cost: Decimal | None
    tax_category: str
    unit: str = LABOUR_UNIT


@dataclass(frozen=True, slots=True)
class DifficultyFactor:
    """How much longer than standard the work on some vehicles takes."""

    key: str
    description: str
    factor: Decimal


@dataclass(frozen=True, slots=True)
class PriceBook:
    """A shop's prices. Parts are held by kind in the order of the book, the rest by key.

    ``tax_categories`` gives the taxes of each category, ``shop_tax_codes`` the shop's own codes of
    those that have one. ``digest`` names the document that the book
    was read from.
    """

    name: str
    currency: str
    validity: Validity
    quote_days: int | None
    prices_include_tax: bool
    tax_categories: Mapping[str, tuple[TaxRate, ...]]
    shop_tax_codes: Mapping[str, str]
    rounding: Rounding
    labour_minimum: Decimal
    rules: QuantityRules
    difficulty: Mapping[str, DifficultyFactor]
    parts: Mapping[str, tuple[Part, ...]]
    kits: tuple[Kit, ...]
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

    def parts_for(self, what: str, needed: Mapping[str, Attribute]) -> tuple[Part, ...]:
        """Return the parts that serve a need with the tightest fit, by price, then key.

        Parameters
        ----------
        what
            Kind of part.
        needed
            Every attribute that the kind is chosen by.

        Returns
        -------
        tuple of Part
            Equally tight ones; empty where no part of the book serves.
        """
        kind = KINDS[what]
        shelf = self._shelves.get((what, *kind.needed_identity(needed)), ())
        serving = [part for part in shelf if kind.holds(part.attributes, needed)]
        if not serving:
            return ()
        tightest = kind.excess(serving[0].attributes)
        return tuple(part for part in serving if kind.excess(part.attributes) == tightest)

    def part_for(self, what: str, needed: Mapping[str, Attribute]) -> Part | None:
        """Return the first of ``parts_for``, or none."""
        return next(iter(self.parts_for(what, needed)), None)

    def on_day(self, day: date | None) -> "PriceBook":
        """Return the book with what holds on a day; the book itself where no day is given.

        A kit holds only while all its parts do.
        """
        if day is None:
            return self
        parts = {
            kind: tuple(part for part in of_kind if part.validity.holds_on(day))
            for kind, of_kind in self.parts.items()
        }
        held = {part.key for of_kind in parts.values() for part in of_kind}
        kits = tuple(
            kit for kit in self.kits if kit.validity.holds_on(day) and kit.contents.keys() <= held
        )
        return replace(self, parts=parts, kits=kits)


def _preference(part: Part) -> tuple[tuple[Decimal, ...], Decimal, str]:
    return KINDS[part.kind].excess(part.attributes), part.unit_price, part.key
