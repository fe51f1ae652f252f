"""From lines to what is due: discounts shared over lines, taxes, deposit, margin."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from loomwright.engineering.errors import EngineeringError
from loomwright.pricing.lines import LABOUR, Line
from loomwright.pricing.money import (
    ROUNDING_MODES,
    Money,
    money_from_minor_units,
    money_total,
    product,
    rounded_money,
    shared_money,
    tax_on,
    tax_within,
)
from loomwright.pricing.price_book import PriceBook, TaxRate
from loomwright.pricing.pricing_options import PricingOptions

_PERCENT = Decimal("0.01")


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
    exact = product(product(line.list_total.amount, percent), _PERCENT)
    return replace(line, discount=rounded_money(exact, line.list_total.currency, mode))


def _change(before: Money, options: PricingOptions, mode: str) -> Money:
    """Return what a document discount or a package price adds to the sum of the lines."""
    if options.package is not None:
        if not before.amount and options.package.price.amount:
            raise EngineeringError(
                "package_without_lines",
                "No line of this bill has a price, so that a package price cannot be shared over "
                "them; leave the package out or complete the price book.",
                field="pricing/package",
            )
        return options.package.price - before
    assert options.document_discount is not None
    discount = options.document_discount.of(before, mode)
    if discount.amount > before.amount:
        raise EngineeringError(
            "discount_above_total",
            f"The document discount of {discount} is above the lines' total of {before}.",
            field="pricing/document_discount/amount",
        )
    return money_from_minor_units(0, before.currency) - discount


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

    def summed(amounts: Iterable[Money]) -> Money:
        return money_total(amounts, currency)

    # Most bills have neither discounts nor shares, and then a line comes to its list price. What
    # it comes to is needed in several ways, and worked out once.
    discounts = [line.discount for line in lines if line.discount.amount]
    shares = [line.shared for line in lines if line.shared.amount]
    at_list_price = [line.list_total for line in lines]
    amounts = [line.total for line in lines] if discounts or shares else at_list_price
    by_category: dict[str, list[Money]] = {}
    for line, amount in zip(lines, amounts, strict=True):
        by_category.setdefault(line.tax_category, []).append(amount)
    of_category = {category: summed(own) for category, own in by_category.items()}
    lines_total = summed(of_category.values())
    labour_total = summed(
        [amount for line, amount in zip(lines, amounts, strict=True) if line.kind == LABOUR]
    )
    taxes = _taxes(lines, amounts, of_category, book)
    tax_total = summed([tax.amount for tax in taxes])
    if book.prices_include_tax:
        net_total, total = lines_total - tax_total, lines_total
    else:
        net_total, total = lines_total, lines_total + tax_total
    deposit = _deposit(total, book, options)
    return Totals(
        list_total=summed(at_list_price) if discounts or shares else lines_total,
        discount=summed(discounts),
        shared=summed(shares),
        parts_total=lines_total - labour_total,
        labour_total=labour_total,
        lines_total=lines_total,
        net_total=net_total,
        exempt_total=summed(
            [own for category, own in of_category.items() if not book.tax_categories[category]]
        ),
        taxes=taxes,
        total=total,
        deposit=deposit,
        balance_due=total if deposit is None else total - deposit,
        line_totals=tuple(amounts),
        line_nets=_line_nets(lines, amounts, book),
    )


def _deposit(total: Money, book: PriceBook, options: PricingOptions) -> Money | None:
    if options.deposit is None:
        return None
    deposit = options.deposit.of(total, ROUNDING_MODES[book.rounding.mode])
    if deposit.amount > total.amount:
        raise EngineeringError(
            "deposit_above_total",
            f"The deposit of {deposit} is above the total of {total}.",
            field="pricing/deposit/amount",
        )
    return deposit


def _taxes(
    lines: Sequence[Line],
    amounts: Sequence[Money],
    of_category: Mapping[str, Money],
    book: PriceBook,
) -> tuple[TaxAmount, ...]:
    """Return each tax of the book that applies to a line.

    What is taxed together is rounded together: all lines of a category, or each line by itself.
    """
    together = list(of_category.items())
    if book.rounding.tax == "line":
        together = [(line.tax_category, own) for line, own in zip(lines, amounts, strict=True)]
    currency = book.currency
    nothing = money_from_minor_units(0, currency)
    base: dict[str, Money] = {}
    amount: dict[str, Money] = {}
    rates: dict[str, TaxRate] = {}
    for category, taxed in together:
        for rate, own_base, own_amount in _taxes_on(taxed, book.tax_categories[category], book):
            rates[rate.key] = rate
            base[rate.key] = base.get(rate.key, nothing) + own_base
            amount[rate.key] = amount.get(rate.key, nothing) + own_amount
    if not book.prices_include_tax and book.rounding.tax == "document":
        # One tax on several categories is still one tax, rounded once.
        mode = ROUNDING_MODES[book.rounding.mode]
        amount = {key: tax_on(base[key], rate.percent, mode) for key, rate in rates.items()}
    listed = {rate.key: rate for of_one in book.tax_categories.values() for rate in of_one}
    return tuple(
        TaxAmount(
            key,
            rate.name,
            rate.percent,
            base[key],
            amount[key],
            categories=tuple(
                category
                for category, of_one in book.tax_categories.items()
                if category in of_category and any(each.key == key for each in of_one)
            ),
        )
        for key, rate in listed.items()
        if key in rates
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
        taxed = money_total((amounts[place] for place in places), book.currency)
        within = money_total((tax for *_, tax in _taxes_on(taxed, rates, book)), book.currency)
        shares = shared_money(within, [amounts[place].amount for place in places])
        for place, share in zip(places, shares, strict=True):
            nets[place] -= share
    return tuple(nets)


def _taxes_on(
    taxed: Money, rates: Sequence[TaxRate], book: PriceBook
) -> list[tuple[TaxRate, Money, Money]]:
    """Return rate, net base and amount of each tax on an amount, or within it."""
    mode = ROUNDING_MODES[book.rounding.mode]
    if not rates:
        return []
    if not book.prices_include_tax:
        return [(rate, taxed, tax_on(taxed, rate.percent, mode)) for rate in rates]
    together = sum((rate.percent for rate in rates), Decimal(0))
    within = tax_within(taxed, together, mode)
    shares = shared_money(within, [rate.percent for rate in rates])
    return [(rate, taxed - within, share) for rate, share in zip(rates, shares, strict=True)]


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
