"""From lines to what is due: discounts shared over lines, taxes, deposit, margin."""

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from decimal import Decimal

from loomwright.engineering.errors import EngineeringError
from loomwright.pricing.lines import LABOUR, Line
from loomwright.pricing.minor_units import Units, percent_of
from loomwright.pricing.money import (
    ROUNDING_MODES,
    Money,
    money_from_minor_units,
    money_total,
    shared_money,
)
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.sums import (
    LineUnits,
    TaxUnits,
    change_of_whole,
    lacks_lines,
    sums_of,
    taxes_on,
)


@dataclass(frozen=True, slots=True)
class TaxAmount:
    """One tax of a bill: ``amount`` is the tax on or within the lines that ``base`` is net of.

    ``categories`` are the tax categories of those lines, in the order of the book.
    """

    key: str
    name: str
    percent: Decimal
    base: Money
    amount: Money
    categories: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Totals:
    """What is due.

    ``lines_total`` is the exact sum of the lines and ``parts_total`` and ``labour_total`` its two
    parts, on the price basis of the book. Without taxes in the prices it is the ``net_total``, with
    them the ``total``; both differ by the taxes. ``exempt_total`` is the part of the lines that no
    tax applies to. ``discount`` is what was taken off: the line discounts, and ``shared`` what a
    document discount or a package price changed besides. ``line_totals`` is what each line
    comes to and ``line_nets`` its part of the ``net_total``, in the order of the lines.
    """

    list_total: Money
    discount: Money
    shared: Money
    parts_total: Money
    labour_total: Money
    lines_total: Money
    net_total: Money
    exempt_total: Money
    taxes: tuple[TaxAmount, ...]
    total: Money
    deposit: Money | None
    balance_due: Money
    line_totals: tuple[Money, ...]
    line_nets: tuple[Money, ...]


@dataclass(frozen=True, slots=True)
class Margin:
    """What the bill leaves to the shop; none where ``uncosted`` lines have no cost in the book."""

    cost_total: Money
    margin: Money | None
    percent: Decimal | None
    uncosted: tuple[str, ...]


def priced_lines(
    lines: Sequence[Line], book: PriceBook, options: PricingOptions
) -> tuple[Line, ...]:
    """Return the lines with their discounts, and with their shares of what is off the whole.

    Parameters
    ----------
    lines
        Lines at list price.
    book
        Price book, for its rounding.
    options
        Discounts and package price.

    Returns
    -------
    tuple of Line
        In the same order.

    Raises
    ------
    EngineeringError
        ``discount_above_total``; ``package_without_lines``.
    """
    if not options.changes_lines:
        return tuple(lines)
    mode = ROUNDING_MODES[book.rounding.mode]
    discounted = lines
    if options.discounts_by_key or options.discounts_by_kind:
        discounted = [_discounted(line, options, mode) for line in lines]
    if options.package is None and options.document_discount is None:
        return tuple(discounted)
    before = money_total((line.discounted_total for line in discounted), book.currency)
    change = _change(before, options, mode)
    if not discounted:
        return ()
    weights = [line.discounted_total.amount for line in discounted]
    shares = shared_money(change, weights)
    return tuple(
        replace(line, shared=share) for line, share in zip(discounted, shares, strict=True)
    )


def _discounted(line: Line, options: PricingOptions, mode: str) -> Line:
    percent = options.discount_percent(line.kind, line.key)
    if not percent:
        return line
    discount = percent_of(line.list_total.minor_units, percent, mode)
    return replace(line, discount=money_from_minor_units(int(discount), line.list_total.currency))


def _change(before: Money, options: PricingOptions, mode: str) -> Money:
    """Return what a document discount or a package price adds to the sum of the lines."""
    if lacks_lines(before.minor_units, options):
        raise EngineeringError(
            "package_without_lines",
            "No line of this bill has a price, so that a package price cannot be shared over "
            "them; leave the package out or complete the price book.",
            field="pricing/package",
        )
    change = change_of_whole(before.minor_units, options, mode)
    if options.package is None and before.minor_units + change < 0:
        discount = money_from_minor_units(int(-change), before.currency)
        raise EngineeringError(
            "discount_above_total",
            f"The document discount of {discount} is above the lines' total of {before}.",
            field="pricing/document_discount/amount",
        )
    return money_from_minor_units(int(change), before.currency)


def totals_of(lines: Sequence[Line], book: PriceBook, options: PricingOptions) -> Totals:
    """Return the totals and taxes of priced lines.

    Parameters
    ----------
    lines
        From ``priced_lines``.
    book
        Price book: taxes, price basis, rounding.
    options
        Deposit.

    Returns
    -------
    Totals
        Exact sums; only taxes and the deposit are rounded.

    Raises
    ------
    EngineeringError
        ``deposit_above_total``.
    """
    currency = book.currency

    def money(units: Units) -> Money:
        return money_from_minor_units(int(units), currency)

    sums = sums_of(_units_of(lines, book, options), book, options)
    deposit = None if sums.deposit is None else money(sums.deposit)
    if sums.deposit is not None and sums.deposit > sums.total:
        raise EngineeringError(
            "deposit_above_total",
            f"The deposit of {deposit} is above the total of {money(sums.total)}.",
            field="pricing/deposit/amount",
        )
    changed = options.changes_lines
    amounts = [line.total if changed else line.list_total for line in lines]
    return Totals(
        list_total=money(sums.list_total),
        discount=money(sums.discount),
        shared=money(sums.shared),
        parts_total=money(sums.parts_total),
        labour_total=money(sums.labour_total),
        lines_total=money(sums.lines_total),
        net_total=money(sums.net_total),
        exempt_total=money(sums.exempt_total),
        taxes=_taxes(sums.taxes, {line.tax_category for line in lines}, book),
        total=money(sums.total),
        deposit=deposit,
        balance_due=money(sums.balance_due),
        line_totals=tuple(amounts),
        line_nets=_line_nets(lines, amounts, book),
    )


def _units_of(lines: Sequence[Line], book: PriceBook, options: PricingOptions) -> list[LineUnits]:
    """Return lines in minor units, those that are taxed alike as one where it comes to the same."""
    groups: Iterable[list[Line]]
    if book.rounding.tax == "line":
        groups = [[line] for line in lines]
    else:
        parts: dict[str, list[Line]] = {}
        labour: dict[str, list[Line]] = {}
        for line in lines:
            alike, category = labour if line.kind == LABOUR else parts, line.tax_category
            if category in alike:
                alike[category].append(line)
            else:
                alike[category] = [line]
        groups = (*parts.values(), *labour.values())

    def summed(amounts: list[Money]) -> int:
        return money_total(amounts, book.currency).minor_units

    return [
        LineUnits(
            category=own[0].tax_category,
            is_labour=own[0].kind == LABOUR,
            listed=summed([line.list_total for line in own]),
            discount=summed([line.discount for line in own]) if options.changes_lines else 0,
            shared=summed([line.shared for line in own]) if options.changes_lines else 0,
        )
        for own in groups
    ]


def _taxes(taxes: Mapping[str, TaxUnits], used: Set[str], book: PriceBook) -> tuple[TaxAmount, ...]:
    """Return each tax that applies to a line, in the order of the book."""
    listed = {rate.key: rate for of_one in book.tax_categories.values() for rate in of_one}
    return tuple(
        TaxAmount(
            key,
            rate.name,
            rate.percent,
            money_from_minor_units(int(taxes[key].base), book.currency),
            money_from_minor_units(int(taxes[key].amount), book.currency),
            categories=tuple(
                category
                for category, of_one in book.tax_categories.items()
                if category in used and any(each.key == key for each in of_one)
            ),
        )
        for key, rate in listed.items()
        if key in taxes
    )


def _line_nets(
    lines: Sequence[Line], amounts: Sequence[Money], book: PriceBook
) -> tuple[Money, ...]:
    """Return what each line is without taxes; what is rounded together is shared over its lines."""
    if not book.prices_include_tax:
        return tuple(amounts)
    groups: dict[object, list[int]] = {}
    for place, line in enumerate(lines):
        together = place if book.rounding.tax == "line" else line.tax_category
        groups.setdefault(together, []).append(place)
    nets = list(amounts)
    for places in groups.values():
        rates = book.tax_categories[lines[places[0]].tax_category]
        weights = [amounts[place].amount for place in places]
        taxed = sum([amounts[place].minor_units for place in places])
        within = sum([int(tax.amount) for tax in taxes_on(taxed, rates, book)])
        shares = shared_money(money_from_minor_units(within, book.currency), weights)
        for place, share in zip(places, shares, strict=True):
            nets[place] -= share
    return tuple(nets)


def margin_of(lines: Sequence[Line], totals: Totals) -> Margin:
    """Return cost and margin of priced lines, on the net total.

    Parameters
    ----------
    lines
        The lines.
    totals
        Their totals.

    Returns
    -------
    Margin
        The margin in percent has one decimal.
    """
    costs = [line.cost for line in lines if line.cost is not None]
    cost_total = money_total(costs, totals.total.currency)
    uncosted = tuple(dict.fromkeys([line.key for line in lines if line.cost is None]))
    if uncosted:
        return Margin(cost_total, None, None, uncosted)
    margin = totals.net_total - cost_total
    percent = None
    if totals.net_total.amount:
        percent = (100 * margin.amount / totals.net_total.amount).quantize(Decimal("0.1"))
    return Margin(cost_total, margin, percent, ())
