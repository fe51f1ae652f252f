"""Lines for the parts that a job needs, bought as cheaply as the book allows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from loomwright.pricing.cover import Choice, ClusterCover, KnownCovers, cheapest_cover
from loomwright.pricing.cover_proof import proven_plans
from loomwright.pricing.kinds import KINDS
from loomwright.pricing.lines import KIT, Line, Need, Unpriced, plain_number, summed
from loomwright.pricing.money import (
    ROUNDING_MODES,
    Money,
    money_from_minor_units,
    product,
    rounded_money,
)
from loomwright.pricing.price_book import Article, Part, PriceBook
from loomwright.pricing.requirements import Requirement

_METRES = {"MTR": Decimal(1), "FOT": Decimal("0.3048")}
_MICRO = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class PartLines:
    """Lines for parts and kits, what no part serves, and how the articles were chosen."""

    lines: tuple[Line, ...]
    unpriced: tuple[Unpriced, ...]
    covers: tuple[ClusterCover, ...]


class PartPricing:
    """Lines for parts from one price book, for one bill or for several that have much in common.

    Requirements are known again by identity: a bill with the same requirement objects as one before
    it gets the covers and lines of whole clusters from there.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    """

    def __init__(self, book: PriceBook) -> None:
        self._book = book
        self._nothing = money_from_minor_units(0, book.currency)
        # By identity of the requirement, which stands beside it to be kept alive.
        self._choices: dict[int, tuple[Requirement, Choice | None]] = {}
        # A cover orders its needs by cluster; identity says which requirement each one is.
        self._by_choice: dict[int, Requirement] = {}
        self._covers = KnownCovers()
        self._lines: dict[int, list[Line]] = {}

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
        book = self._book
        choices: list[Choice] = []
        missing: dict[tuple[object, ...], tuple[Requirement, list[Need]]] = {}
        for requirement in requirements:
            choice = self._choice(requirement)
            if choice is not None:
                choices.append(choice)
            else:
                same = (requirement.what, *sorted(requirement.attributes.items()), requirement.unit)
                entry = missing.setdefault(same, (requirement, []))
                entry[1].append(_need(requirement, requirement.quantity))
        covers = cheapest_cover(choices, book, proven_plans, self._covers)
        lines = [line for cover in covers for line in self._cluster_lines(cover)]
        # Packs of a part stand behind its loose units, which come first within a cluster.
        places = book.line_places
        lines.sort(key=lambda line: places[line.key])
        absent = [_unpriced(first, needs) for first, needs in missing.values()]
        kinds = list(KINDS)
        absent.sort(key=lambda entry: (kinds.index(entry.kind), entry.description))
        return PartLines(tuple(lines), tuple(absent), covers)

    def _choice(self, requirement: Requirement) -> Choice | None:
        """Return the parts that serve a requirement, none where none does."""
        known = self._choices.get(id(requirement))
        if known is not None:
            return known[1]
        parts = self._book.parts_for(requirement.what, requirement.attributes)
        choice = _choice(requirement, parts) if parts else None
        self._choices[id(requirement)] = requirement, choice
        if choice is not None:
            self._by_choice[id(choice)] = requirement
        return choice

    def _cluster_lines(self, cover: ClusterCover) -> list[Line]:
        lines = self._lines.get(id(cover))
        if lines is None:
            lines = _cluster_lines(cover, self._by_choice, self._book, self._nothing)
            self._lines[id(cover)] = lines
        return lines


def _need(requirement: Requirement, quantity: Decimal, part: Part | None = None) -> Need:
    return Need(requirement.circuit, quantity, requirement.reason, requirement.rule, part)


def _choice(requirement: Requirement, parts: Sequence[Part]) -> Choice:
    return Choice(
        {part.key: _in_unit(requirement.quantity, requirement.unit, part.unit) for part in parts}
    )


def _in_unit(quantity: Decimal, unit: str, sold_in: str) -> Decimal:
    """Return a quantity in the unit that a part is sold in; a metre may be sold by the foot.

    Where the quotient does not end it is rounded up at its sixth decimal, never down.
    """
    if unit == sold_in or unit not in _METRES or sold_in not in _METRES:
        return quantity
    return (quantity * _METRES[unit] / _METRES[sold_in]).quantize(_MICRO, ROUND_CEILING).normalize()


def _cluster_lines(
    cover: ClusterCover, by_choice: Mapping[int, Requirement], book: PriceBook, nothing: Money
) -> list[Line]:
    if cover.cluster.is_plain:
        (part,), (article,) = cover.cluster.parts, cover.cluster.articles
        own = [
            _need(by_choice[id(choice)], choice.quantities[part.key], part)
            for choice in cover.cluster.choices
        ]
        return [_line(article, cover.plan.quantities[article.name], own, book, nothing)]
    needs: dict[str, list[Need]] = {}
    parts = {part.key: part for part in cover.cluster.parts}
    for choice, key in zip(cover.cluster.choices, cover.plan.serving, strict=True):
        need = _need(by_choice[id(choice)], choice.quantities[key], parts[key])
        needs.setdefault(key, []).append(need)
    lines = []
    for article in cover.cluster.articles:
        quantity = cover.plan.quantities.get(article.name)
        if quantity is None and not _is_only_place(article, cover, needs):
            continue
        # Each need stands on the first line that brings its part: loose, then pack, then kit.
        own = [need for key in article.supplies for need in needs.pop(key, ())]
        lines.append(_line(article, quantity or Decimal(0), own, book, nothing))
    return lines


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


def _line(
    article: Article, quantity: Decimal, needs: Sequence[Need], book: PriceBook, nothing: Money
) -> Line:
    kit, part, pack = article.kit, article.part, article.pack
    sold = article.sold
    unit_price = article.unit_price(quantity)
    unit, note, stock = sold.unit, "", sold.stock
    description = sold.description
    if kit is not None:
        contents = ", ".join(f"{plain_number(each)} x {key}" for key, each in kit.contents.items())
        note = f"cheaper than its pieces; holds {contents}"
    elif pack is not None:
        assert part is not None
        description = f"{description}, pack of {plain_number(pack.quantity)}"
        unit, stock = "EA", None if stock is None else stock // pack.quantity
        note = f"cheaper in a pack of {plain_number(pack.quantity)} {part.unit}"
    elif part is not None and unit_price != part.unit_price:
        note = f"price from {plain_number(_break_at(part, quantity))} {part.unit} up"
    return Line(
        kind=KIT if kit is not None else part.kind if part is not None else "",
        key=sold.key,
        description=description,
        quantity=quantity,
        unit=unit,
        unit_price=unit_price,
        tax_category=sold.tax_category,
        list_total=_rounded(product(unit_price, quantity), book),
        discount=nothing,
        shared=nothing,
        needs=tuple(needs),
        note=note,
        cost=_cost(article, quantity, book),
        stock=stock,
        shop_part_number=sold.shop_part_number,
    )


def _break_at(part: Part, quantity: Decimal) -> Decimal:
    return [e.from_quantity for e in part.price_breaks if e.from_quantity <= quantity][-1]


def _cost(article: Article, quantity: Decimal, book: PriceBook) -> Money | None:
    """Return what a quantity of an article costs the shop; that of a pack, or of its units."""
    each = article.sold.cost
    if article.pack is not None:
        of_units = None if each is None else product(each, article.pack.quantity)
        each = of_units if article.pack.cost is None else article.pack.cost
    return None if each is None else _rounded(product(each, quantity), book)


def _rounded(exact: Decimal, book: PriceBook) -> Money:
    return rounded_money(exact, book.currency, ROUNDING_MODES[book.rounding.mode])


def _unpriced(first: Requirement, needs: list[Need]) -> Unpriced:
    stated = ", ".join(f"{name} {plain_number(value)}" for name, value in first.attributes.items())
    return Unpriced(
        kind=first.what,
        description=f"{KINDS[first.what].words}: {stated}",
        attributes=first.attributes,
        quantity=summed(need.quantity for need in needs),
        unit=first.unit,
        needs=tuple(needs),
    )
