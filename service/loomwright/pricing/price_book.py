"""Price books: frozen records of what a shop sells and at which price.

What is looked up for every bill is derived from a part or a book once, when first asked for.
"""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import cached_property, lru_cache, partial
from typing import TypeVar, cast

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


@dataclass(frozen=True)
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

    @cached_property
    def articles(self) -> tuple["Article", ...]:
        """What the part is sold as: loose, and in each pack."""
        loose = Article(self.key, self)
        packs = [Article(f"{self.key} pack {pack.quantity}", self, pack) for pack in self.packs]
        return (loose, *packs)


@dataclass(frozen=True)
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

    @cached_property
    def article(self) -> "Article":
        """The kit as what is bought."""
        return Article(f"kit {self.key}", None, kit=self)


def finest_decimals(numbers: Iterable[Decimal]) -> int:
    """Return how many decimals the finest of some numbers has, 0 where none has any."""
    return max([0, *[-int(number.as_tuple().exponent) for number in numbers]])


@dataclass(frozen=True)
class Article:
    """What can be bought: ``pack`` or ``kit`` is stated, or neither for loose units of ``part``.

    ``name`` is unique within a book.
    """

    name: str
    part: Part | None
    pack: Pack | None = None
    kit: Kit | None = None

    @property
    def sold(self) -> Part | Kit:
        """The part or the kit."""
        sold = self.kit or self.part
        assert sold is not None
        return sold

    @cached_property
    def step(self) -> Decimal:
        """What the quantity of a line is a multiple of, in the unit of the line."""
        return self.part.sale_increment if self.part and not self.pack else Decimal(1)

    @cached_property
    def supplies(self) -> Mapping[str, Decimal]:
        """Units of each part in one step."""
        if self.kit is not None:
            return self.kit.contents
        assert self.part is not None
        return {self.part.key: self.pack.quantity if self.pack else self.step}

    @cached_property
    def tiers(self) -> tuple[tuple[Decimal, Decimal], ...]:
        """Least quantity and unit price of each tier, rising in quantity; the first from 0."""
        if self.kit is not None:
            return ((Decimal(0), self.kit.unit_price),)
        assert self.part is not None
        if self.pack is not None:
            return ((Decimal(0), self.pack.price),)
        return (
            (Decimal(0), self.part.unit_price),
            *((entry.from_quantity, entry.unit_price) for entry in self.part.price_breaks),
        )

    @cached_property
    def decimals(self) -> int:
        """Decimals of the finest quantity that it is sold, priced or kept in stock by."""
        stock = () if self.part is None or self.part.stock is None else (self.part.stock,)
        return finest_decimals(
            [*self.supplies.values(), *(least for least, _ in self.tiers), *stock]
        )

    @cached_property
    def price_decimals(self) -> int:
        """Decimals of its finest price."""
        return finest_decimals([price for _, price in self.tiers])

    def unit_price(self, quantity: Decimal) -> Decimal:
        """Return the unit price of a quantity on one line."""
        if len(self.tiers) == 1:
            return self.tiers[0][1]
        return [price for least, price in self.tiers if least <= quantity][-1]

    def price(self, quantity: Decimal) -> Decimal:
        """Return the exact price of a quantity on one line, unrounded."""
        return self.unit_price(quantity) * quantity


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

    @property
    def is_charged_once(self) -> bool:
        """Whether it is charged once for a job, however much there is of it."""
        return self.charged_per == "job"


@dataclass(frozen=True, slots=True)
class DifficultyFactor:
    """How much longer than standard the work on some vehicles takes."""

    key: str
    description: str
    factor: Decimal


Derived = TypeVar("Derived")
# Parts by kind and by what must equal, each with what it has to spare.
Shelves = dict[tuple[str, Hashable], list[tuple[Part, tuple[Decimal, ...]]]]
# The largest demo job asks for some hundred in its three plans; each takes less than 1 kB.
GREATEST_KNOWN_NEEDS = 2048


@dataclass(frozen=True)
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

    @cached_property
    def part_by_key(self) -> Mapping[str, Part]:
        """Every part, in the order of the lines of a bill."""
        return {part.key: part for kind in KINDS for part in self.parts.get(kind, ())}

    @cached_property
    def kits_with(self) -> Mapping[str, tuple[Kit, ...]]:
        """The kits that hold a part, by its key."""
        found: dict[str, tuple[Kit, ...]] = {}
        for kit in self.kits:
            for key in kit.contents:
                found[key] = (*found.get(key, ()), kit)
        return found

    @cached_property
    def line_places(self) -> Mapping[str, int]:
        """Place of the line of each part, by kind, then by book, and then of each kit."""
        keys = [*self.part_by_key, *(kit.key for kit in self.kits)]
        return {key: place for place, key in enumerate(keys)}

    @cached_property
    def last_days(self) -> Mapping[str, date]:
        """The last day on which a price holds, by key of the parts and kits that have one."""
        sold: list[Part | Kit] = [*self.part_by_key.values(), *self.kits]
        return {item.key: item.validity.last for item in sold if item.validity.last is not None}

    @cached_property
    def without_choice(self) -> frozenset[str]:
        """Keys of the parts that are sold loose, at one price, and in no kit."""
        return frozenset(
            key
            for key, part in self.part_by_key.items()
            if not part.packs and not part.price_breaks and key not in self.kits_with
        )

    @cached_property
    def _shelves(self) -> Shelves:
        """Parts alike in all that must be equal, each with its excess, first to be taken first."""
        shelves: Shelves = {}
        for parts in self.parts.values():
            for part in sorted(parts, key=_preference):
                kind = KINDS[part.kind]
                shelf = shelves.setdefault((part.kind, kind.identity(part.attributes)), [])
                shelf.append((part, kind.excess(part.attributes)))
        return shelves

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
        return self._known_fits(what, tuple(needed.items()))

    @cached_property
    def _known_fits(self) -> Callable[[str, tuple[tuple[str, Attribute], ...]], tuple[Part, ...]]:
        """Parts that serve a need, kept for the needs asked for last: jobs ask for much alike."""
        return lru_cache(maxsize=GREATEST_KNOWN_NEEDS)(partial(_fitting, self._shelves))

    def part_for(self, what: str, needed: Mapping[str, Attribute]) -> Part | None:
        """Return the first of ``parts_for``, or none."""
        return next(iter(self.parts_for(what, needed)), None)

    @cached_property
    def _derived(self) -> dict[object, object]:
        return {}

    def derived(self, make: Callable[["PriceBook"], Derived]) -> Derived:
        """Return what a function makes of the book, made once and kept as long as the book.

        It must not hold the book itself: both would then wait for the garbage collector.
        """
        known = self._derived.get(make)
        if known is None:
            # Of threads that make it at the same time, all go on with that of the first.
            known = self._derived.setdefault(make, make(self))
        return cast(Derived, known)

    def on_day(self, day: date | None) -> "PriceBook":
        """Return the book with what holds on a day; the book itself where no day is given.

        A kit holds only while all its parts do.
        """
        if day is None or self._holds_on(day):
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

    def _holds_on(self, day: date) -> bool:
        return all(validity.holds_on(day) for validity in self._limited)

    @cached_property
    def _limited(self) -> list[Validity]:
        """What limits parts and kits; nothing does in most books."""
        sold: list[Part | Kit] = [*self.part_by_key.values(), *self.kits]
        return list({item.validity: None for item in sold if item.validity != Validity()})


def _fitting(
    shelves: Shelves, what: str, attributes: tuple[tuple[str, Attribute], ...]
) -> tuple[Part, ...]:
    kind, needed = KINDS[what], dict(attributes)
    found: list[Part] = []
    tightest = None
    for part, excess in shelves.get((what, kind.needed_identity(needed)), ()):
        if tightest is not None and excess != tightest:
            break
        if kind.holds(part.attributes, needed):
            tightest = excess
            found.append(part)
    return tuple(found)


def _preference(part: Part) -> tuple[tuple[Decimal, ...], Decimal, str]:
    return KINDS[part.kind].excess(part.attributes), part.unit_price, part.key
