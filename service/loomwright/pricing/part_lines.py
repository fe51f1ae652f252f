"""Lines for the parts that a job needs, bought as cheaply as the book allows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial
from typing import NamedTuple

from loomwright.pricing.attribute_words import attribute_text
from loomwright.pricing.cover import Choice, ClusterCover, KnownCovers, cheapest_cover, no_covers
from loomwright.pricing.cover_proof import proven_plans
from loomwright.pricing.growing import Exact, Growing
from loomwright.pricing.kinds import KINDS
from loomwright.pricing.lines import (
    KIT,
    KnownLines,
    Line,
    Need,
    Unpriced,
    plain_number,
    summed,
)
from loomwright.pricing.money import (
    ROUNDING_MODES,
    Money,
    money_from_minor_units,
    product,
    rounded_product,
)
from loomwright.pricing.price_book import Article, Kit, Pack, Part, PriceBook
from loomwright.pricing.requirements import Requirement, rounded_up

_METRES = {"MTR": Decimal(1), "FOT": Decimal("0.3048")}
_MICRO = Decimal("0.000001")
_NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class PartLines:
    """Lines for parts and kits, what no part serves, and how articles that compete were chosen."""

    lines: tuple[Line, ...]
    unpriced: tuple[Unpriced, ...]
    covers: tuple[ClusterCover, ...]


class Served(NamedTuple):
    """How a price book serves a requirement.

    Parameters
    ----------
    places
        Of the lines of the book; tells one book from another without keeping it alive.
    parts
        Parts that serve it.
    key
        Of the line where one part serves it and there is nothing to choose, otherwise empty.
    need
        As it stands on that line, unless the part competes for another requirement.
    """

    places: Mapping[str, int]
    parts: tuple[Part, ...]
    key: str
    need: Need | None


def _no_lines(_: PriceBook) -> KnownLines:
    return KnownLines()


class PartPricing:
    """Lines for parts from one price book, for one bill or for several that have much in common.

    Requirements are known again by identity: a bill with the same requirement objects as one before
    it gets the lines for them from there, wherever they stand alone on those lines.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    has_runners_up
        Whether covers tell the next cheapest plan, which no line depends on.
    """

    def __init__(self, book: PriceBook, *, has_runners_up: bool = True) -> None:
        self._book, self._places = book, book.line_places
        self._without_choice = book.without_choice
        self._mode = ROUNDING_MODES[book.rounding.mode]
        self._nothing = money_from_minor_units(0, book.currency)
        self._choices: dict[int, Choice] = {}
        # A cover orders its needs by cluster; identity says which requirement each one is.
        self._by_choice: dict[int, Requirement] = {}
        self._covers = KnownCovers(has_runners_up, by_quantities=book.derived(no_covers))
        self._lines: dict[int, list[Line]] = {}
        # By identity of the needs on the line.
        self._plain_lines: dict[tuple[int, ...], Line] = {}
        self._sold = book.derived(_no_lines)

    def lines(self, requirements: Sequence[Requirement]) -> PartLines:
        """Return the cheapest lines that serve all requirements.

        Needs that one part serves share its lines, so that slack and sale increment are paid once.

        Parameters
        ----------
        requirements
            Parts needed; the order of needs within a line follows it.

        Returns
        -------
        PartLines
            Lines by kind and, within a kind, in the order of the book; kits last.
        """
        places = self._places
        found: list[Served] = []
        contested: set[str] = set()
        for asked in requirements:
            served = asked.served
            if served is None or served.places is not places:
                served = asked.served = self._serve(asked)
            if served.need is None:
                contested.update([part.key for part in served.parts])
            found.append(served)
        plain: dict[str, list[Need]] = {}
        choices: list[Choice] = []
        missing: dict[tuple[object, ...], tuple[Requirement, list[Need]]] = {}
        for asked, (_, parts, key, need) in zip(requirements, found, strict=True):
            if need is not None and key not in contested:
                if key in plain:
                    plain[key].append(need)
                else:
                    plain[key] = [need]
            elif parts:
                choices.append(self._choice(asked, parts))
            else:
                entry = missing.setdefault(listed_together(asked), (asked, []))
                entry[1].append(_need(asked, asked.quantity))
        lines = [self._plain_line(needs) for needs in plain.values()]
        covers = cheapest_cover(choices, self._book, proven_plans, self._covers)
        for cover in covers:
            lines += self._cluster_lines(cover)
        # Packs of a part stand behind its loose units, which come first within a cluster.
        lines.sort(key=lambda line: places[line.key])
        absent = [_unpriced(first, needs) for first, needs in missing.values()]
        kinds = list(KINDS)
        absent.sort(key=lambda entry: (kinds.index(entry.kind), entry.description))
        return PartLines(tuple(lines), tuple(absent), covers)

    def _serve(self, asked: Requirement) -> Served:
        """Return how the book serves a requirement."""
        parts = self._book.parts_for(asked.what, asked.attributes)
        if len(parts) == 1:
            part = parts[0]
            if part.key in self._without_choice:
                quantity = asked.quantity
                if part.unit != asked.unit:
                    quantity = in_unit(quantity, asked.unit, part.unit)
                need = Need(asked.circuit, quantity, asked.reason, asked.rule, part)
                return Served(self._places, parts, part.key, need)
        return Served(self._places, parts, "", None)

    def _choice(self, asked: Requirement, parts: tuple[Part, ...]) -> Choice:
        """Return a requirement as the cover sees it."""
        choice = self._choices.get(id(asked))
        if choice is None:
            choice = Choice(
                {part.key: in_unit(asked.quantity, asked.unit, part.unit) for part in parts}
            )
            self._choices[id(asked)] = choice
            self._by_choice[id(choice)] = asked
        return choice

    def _plain_line(self, needs: list[Need]) -> Line:
        """Return the line for needs that one part serves loose, at its one price."""
        known = tuple(map(id, needs))
        line = self._plain_lines.get(known)
        if line is None:
            part = needs[0].part
            assert part is not None
            needed = sum([need.quantity for need in needs], _NONE)
            sold = self._sold.get((part.key, str(needed))) or self._sold.rounded(
                part.key, needed, part.sale_increment, partial(self.loose_line, part)
            )
            line = self._plain_lines[known] = Line(*sold, tuple(needs))
        return line

    def loose_line(self, part: Part, quantity: Decimal, needs: Sequence[Need] = ()) -> Line:
        """Return the line for a part without choice.

        Parameters
        ----------
        part
            One of ``PriceBook.without_choice``.
        quantity
            A multiple of its sale increment.
        needs
            What it is for.

        Returns
        -------
        Line
            At list price.
        """
        return self._line(part, part.kind, quantity, part.unit_price, part.cost, part.stock, needs)

    def _cluster_lines(self, cover: ClusterCover) -> list[Line]:
        """Return the lines for what a cover buys."""
        lines = self._lines.get(id(cover))
        if lines is not None:
            return lines
        needs: dict[str, list[Need]] = {}
        parts = {part.key: part for part in cover.cluster.parts}
        for choice, key in zip(cover.cluster.choices, cover.plan.serving, strict=True):
            need = _need(self._by_choice[id(choice)], choice.quantities[key], parts[key])
            needs.setdefault(key, []).append(need)
        lines = self._lines[id(cover)] = []
        for article in cover.cluster.articles:
            quantity = cover.plan.quantities.get(article.name)
            if quantity is None and not _is_only_place(article, cover, needs):
                continue
            # Each need stands on the first line that brings its part: loose, then pack, then kit.
            own = [need for key in article.supplies for need in needs.pop(key, ())]
            lines.append(self._article_line(article, quantity or Decimal(0), own))
        return lines

    def _article_line(self, article: Article, quantity: Decimal, needs: Sequence[Need]) -> Line:
        kit, part, pack = article.kit, article.part, article.pack
        unit_price = article.unit_price(quantity)
        if kit is not None:
            contents = ", ".join(
                f"{plain_number(each)} x {key}" for key, each in kit.contents.items()
            )
            note = f"cheaper than its pieces; holds {contents}"
            return self._line(kit, KIT, quantity, unit_price, kit.cost, kit.stock, needs, note)
        assert part is not None
        if pack is None:
            note = ""
            if unit_price != part.unit_price:
                note = f"price from {plain_number(_break_at(part, quantity))} {part.unit} up"
            return self._line(
                part, part.kind, quantity, unit_price, part.cost, part.stock, needs, note
            )
        held = plain_number(pack.quantity)
        stock = None if part.stock is None else part.stock // pack.quantity
        note = f"cheaper in a pack of {held} {part.unit}"
        line = self._line(
            part, part.kind, quantity, unit_price, _pack_cost(part, pack), stock, needs, note
        )
        return replace(line, description=f"{line.description}, pack of {held}", unit="EA")

    def _line(
        self,
        sold: Part | Kit,
        kind: str,
        quantity: Decimal,
        unit_price: Decimal,
        cost: Decimal | None,
        stock: Decimal | None,
        needs: Sequence[Need],
        note: str = "",
    ) -> Line:
        """Return a line of a part or a kit; cost is that of one, stock that which there is."""
        return Line(
            kind=kind,
            key=sold.key,
            description=sold.description,
            quantity=quantity,
            unit=sold.unit,
            unit_price=unit_price,
            tax_category=sold.tax_category,
            list_total=self._rounded(unit_price, quantity),
            discount=self._nothing,
            shared=self._nothing,
            needs=tuple(needs),
            note=note,
            cost=None if cost is None else self._rounded(cost, quantity),
            stock=stock,
            shop_part_number=sold.shop_part_number,
        )

    def _rounded(self, each: Decimal, quantity: Decimal) -> Money:
        return rounded_product(each, quantity, self._book.currency, self._mode)


def listed_together(asked: Requirement) -> tuple[object, ...]:
    """Return what needs that no part serves share where they are listed as one."""
    return (asked.what, *sorted(asked.attributes.items()), asked.unit)


def _need(requirement: Requirement, quantity: Decimal, part: Part | None = None) -> Need:
    return Need(requirement.circuit, quantity, requirement.reason, requirement.rule, part)


def in_unit(quantity: Exact, unit: str, sold_in: str) -> Exact:
    """Return a quantity in the unit that a part is sold in; a metre may be sold by the foot.

    Where the quotient does not end it is rounded up at its sixth decimal, never down.
    """
    if unit == sold_in or unit not in _METRES or sold_in not in _METRES:
        return quantity
    converted = rounded_up(quantity * _METRES[unit] / _METRES[sold_in], _MICRO)
    return converted if isinstance(converted, Growing) else converted.normalize()


def _is_only_place(
    article: Article, cover: ClusterCover, needs: Mapping[str, Sequence[Need]]
) -> bool:
    """Return whether needs of nothing at all have no line that is bought to stand on.

    Loose units stand before packs and kits, so that it is on them that such a need is placed.
    """
    bought = [
        other.supplies for other in cover.cluster.articles if other.name in cover.plan.quantities
    ]
    return any(
        key in needs and not any(key in supplies for supplies in bought) for key in article.supplies
    )


def _break_at(part: Part, quantity: Decimal) -> Decimal:
    return [e.from_quantity for e in part.price_breaks if e.from_quantity <= quantity][-1]


def _pack_cost(part: Part, pack: Pack) -> Decimal | None:
    """Return what a pack costs the shop: as stated for it, or its units."""
    if pack.cost is not None:
        return pack.cost
    return None if part.cost is None else product(part.cost, pack.quantity)


def _unpriced(first: Requirement, needs: list[Need]) -> Unpriced:
    stated = ", ".join(attribute_text(name, value) for name, value in first.attributes.items())
    return Unpriced(
        kind=first.what,
        description=f"{KINDS[first.what].words}: {stated}",
        attributes=first.attributes,
        quantity=summed(need.quantity for need in needs),
        unit=first.unit,
        needs=tuple(needs),
    )
