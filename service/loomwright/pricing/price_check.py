"""Prices of a book against its costs and against one another."""

from collections.abc import Iterator, Mapping
from decimal import Decimal, localcontext

from loomwright.pricing.book_check import Finding, Sold, all_parts, kind_of
from loomwright.pricing.lines import KIT, LABOUR
from loomwright.pricing.lines import plain_number as plain
from loomwright.pricing.price_book import Article, Kit, LabourOperation, Part, PriceBook

_HUNDRED = Decimal(100)
# Every product and sum is exact: prices, quantities and percentages have 15 digits at most.
_DIGITS = 100


def below_cost_findings(book: PriceBook) -> list[Finding]:
    """Return what is sold for less than it costs the shop, taxes left out.

    Parameters
    ----------
    book
        Price book; what states no cost is not judged.

    Returns
    -------
    list of Finding
        They tell what things cost: for those who may see it.
    """
    with localcontext(prec=_DIGITS):
        return list(_below_cost(book))


def _below_cost(book: PriceBook) -> Iterator[Finding]:
    costs = {part.key: part.cost for part in all_parts(book)}
    for part in all_parts(book):
        for finding, what, price, cost in _priced(part):
            yield from _judged(finding, part, what, price, cost, book)
    for kit in book.kits:
        cost = _kit_cost(kit, costs)
        yield from _judged("kit_below_cost", kit, "The kit", kit.unit_price, cost, book)
    for work in book.labour.values():
        what, rate = "An hour of", work.hourly_rate
        yield from _judged("labour_below_cost", work, what, rate, work.hourly_cost, book)


def _priced(part: Part) -> Iterator[tuple[str, str, Decimal, Decimal | None]]:
    """Yield each price of a part with what it costs: name of a finding, words, price, cost."""
    yield "unit_price_below_cost", "A unit of", part.unit_price, part.cost
    for tier in part.price_breaks:
        what = f"From {plain(tier.from_quantity)} a unit of"
        yield "price_break_below_cost", what, tier.unit_price, part.cost
    for pack in part.packs:
        of_units = None if part.cost is None else part.cost * pack.quantity
        cost = of_units if pack.cost is None else pack.cost
        yield "pack_below_cost", f"A pack of {plain(pack.quantity)} of", pack.price, cost


def _judged(
    finding: str,
    sold: Sold | LabourOperation,
    what: str,
    price: Decimal,
    cost: Decimal | None,
    book: PriceBook,
) -> Iterator[Finding]:
    if cost is None or not _is_below(price, cost, sold.tax_category, book):
        return
    kind = LABOUR if isinstance(sold, LabourOperation) else kind_of(sold)
    message = f"{what} {sold.key} is sold at {plain(price)} and costs {plain(cost)}."
    yield Finding(finding, kind, (sold.key,), message)


def _kit_cost(kit: Kit, costs: Mapping[str, Decimal | None]) -> Decimal | None:
    """Return what a kit costs: as stated, or as its pieces do where all say so."""
    if kit.cost is not None:
        return kit.cost
    total = Decimal(0)
    for key, quantity in kit.contents.items():
        cost = costs[key]
        if cost is None:
            return None
        total += cost * quantity
    return total


def _is_below(price: Decimal, cost: Decimal, category: str, book: PriceBook) -> bool:
    percent = Decimal(0)
    if book.prices_include_tax:
        percent = sum((rate.percent for rate in book.tax_categories[category]), Decimal(0))
    return price * _HUNDRED < cost * (_HUNDRED + percent)


def dearer_together_findings(book: PriceBook) -> list[Finding]:
    """Return price breaks, packs and kits that cost more than the same bought singly.

    Parameters
    ----------
    book
        Price book.

    Returns
    -------
    list of Finding
        By part, then by kit.
    """
    with localcontext(prec=_DIGITS):
        return list(_dearer_together(book))


def _dearer_together(book: PriceBook) -> Iterator[Finding]:
    loose = {part.key: Article(part.key, part) for part in all_parts(book)}
    for part in all_parts(book):
        before = part.unit_price
        for tier in part.price_breaks:
            if tier.unit_price > before:
                message = (
                    f"From {plain(tier.from_quantity)} a unit of {part.key} costs "
                    f"{plain(tier.unit_price)}, below that {plain(before)}."
                )
                yield Finding("price_break_dearer", part.kind, (part.key,), message)
            before = tier.unit_price
        for pack in part.packs:
            singly = loose[part.key].price(pack.quantity)
            if pack.price > singly:
                message = (
                    f"A pack of {plain(pack.quantity)} of {part.key} costs "
                    f"{plain(pack.price)}, the same units loose {plain(singly)}."
                )
                yield Finding("pack_dearer", part.kind, (part.key,), message)
    for kit in book.kits:
        singly = sum((loose[key].price(each) for key, each in kit.contents.items()), Decimal(0))
        if kit.unit_price > singly:
            message = (
                f"The kit {kit.key} costs {plain(kit.unit_price)}, its pieces {plain(singly)}."
            )
            yield Finding("kit_dearer", KIT, (kit.key,), message)
