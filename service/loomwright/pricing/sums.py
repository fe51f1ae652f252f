"""What lines come to together, in minor units: for one bill, or for many of them as columns."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

import numpy as np

from loomwright.engineering.record import record
from loomwright.pricing.minor_units import (
    Units,
    percent_of,
    percent_within,
    shared_units,
)
from loomwright.pricing.money import ROUNDING_MODES, whole_weights
from loomwright.pricing.price_book import PriceBook, TaxRate
from loomwright.pricing.pricing_options import PricingOptions


@record
class LineUnits:
    """A line as its sums see it; ``shared`` is negative where it lowers the price."""

    category: str
    is_labour: bool
    listed: Units
    discount: Units
    shared: Units

    @property
    def total(self) -> Units:
        """What the line comes to."""
        change = self.shared - self.discount
        # Most lines have neither, in any row.
        is_none = isinstance(change, int) and change == 0
        return self.listed if is_none else self.listed + change


@record
class TaxUnits:
    """One tax: what it is due on, and what it comes to."""

    rate: TaxRate
    base: Units
    amount: Units


@record
class Sums:
    """What is due, as ``totals.Totals`` says of each; ``taxes`` by key of the rate."""

    list_total: Units
    discount: Units
    shared: Units
    parts_total: Units
    labour_total: Units
    lines_total: Units
    net_total: Units
    exempt_total: Units
    tax_total: Units
    total: Units
    deposit: Units | None
    balance_due: Units
    taxes: Mapping[str, TaxUnits]


def change_of_whole(before: Units, options: PricingOptions, rounding: str) -> Units:
    """Return what a document discount or a package price adds to the sum of the lines.

    Parameters
    ----------
    before
        Sum of the lines.
    options
        With one of the two.
    rounding
        Rounding mode of the ``decimal`` module.

    Returns
    -------
    int or ndarray
        Negative where it lowers the price.
    """
    if options.package is not None:
        return options.package.price.minor_units - before
    assert options.document_discount is not None
    return -options.document_discount.of_units(before, rounding)


def lacks_lines(before: Units, options: PricingOptions) -> Units:
    """Return whether no line has a price over which a package price could be shared.

    Parameters
    ----------
    before
        Sum of the lines.
    options
        With or without a package price.

    Returns
    -------
    int or ndarray
        True where the package price fits no such bill.
    """
    wanted = options.package is not None and options.package.price.minor_units != 0
    return (before == 0) & wanted


def sums_of(lines: Sequence[LineUnits], book: PriceBook, options: PricingOptions) -> Sums:
    """Return what lines come to, with taxes and deposit.

    Parameters
    ----------
    lines
        Lines with discounts and shares.
    book
        Price book: taxes, price basis, rounding.
    options
        Deposit, which is not held against the total here.

    Returns
    -------
    Sums
        Exact sums; only taxes and the deposit are rounded.
    """
    totals = [(line.category, line.total) for line in lines]
    of_category: dict[str, Units] = {}
    for category, total in totals:
        of_category[category] = of_category.get(category, 0) + total
    lines_total = _sum(of_category.values())
    labour_total = _sum(
        total for line, (_, total) in zip(lines, totals, strict=True) if line.is_labour
    )
    taxes = taxes_of(of_category, totals, book)
    tax_total = _sum(tax.amount for tax in taxes.values())
    net_total, due = lines_total, lines_total + tax_total
    if book.prices_include_tax:
        net_total, due = lines_total - tax_total, lines_total
    deposit = None
    if options.deposit is not None:
        deposit = options.deposit.of_units(due, ROUNDING_MODES[book.rounding.mode])
    return Sums(
        list_total=_sum(line.listed for line in lines),
        discount=_sum(line.discount for line in lines),
        shared=_sum(line.shared for line in lines),
        parts_total=lines_total - labour_total,
        labour_total=labour_total,
        lines_total=lines_total,
        net_total=net_total,
        exempt_total=_sum(
            own for category, own in of_category.items() if not book.tax_categories[category]
        ),
        tax_total=tax_total,
        total=due,
        deposit=deposit,
        balance_due=due if deposit is None else due - deposit,
        taxes=taxes,
    )


def taxes_of(
    of_category: Mapping[str, Units], lines: Sequence[tuple[str, Units]], book: PriceBook
) -> dict[str, TaxUnits]:
    """Return each tax of the book that applies to a line.

    What is taxed together is rounded together: all lines of a category, or each line by itself.

    Parameters
    ----------
    of_category
        What the lines of each tax category come to.
    lines
        Category and total of each line.
    book
        Price book: taxes, price basis, rounding.

    Returns
    -------
    dict
        By key of the rate.
    """
    together = lines if book.rounding.tax == "line" else list(of_category.items())
    found: dict[str, TaxUnits] = {}
    for category, taxed in together:
        for tax in taxes_on(taxed, book.tax_categories[category], book):
            key, known = tax.rate.key, found.get(tax.rate.key)
            if known is None:
                found[key] = tax
            else:
                found[key] = TaxUnits(tax.rate, known.base + tax.base, known.amount + tax.amount)
    if not book.prices_include_tax and book.rounding.tax == "document":
        # One tax on several categories is still one tax, rounded once.
        mode = ROUNDING_MODES[book.rounding.mode]
        return {
            key: TaxUnits(tax.rate, tax.base, percent_of(tax.base, tax.rate.percent, mode))
            for key, tax in found.items()
        }
    return found


def taxes_on(taxed: Units, rates: Sequence[TaxRate], book: PriceBook) -> list[TaxUnits]:
    """Return each tax on an amount, or within it where prices include taxes.

    Parameters
    ----------
    taxed
        What is taxed together.
    rates
        Taxes of its category.
    book
        Price book: price basis, rounding.

    Returns
    -------
    list of TaxUnits
        In the order of the rates.
    """
    mode = ROUNDING_MODES[book.rounding.mode]
    if not rates:
        return []
    if not book.prices_include_tax:
        return [TaxUnits(rate, taxed, percent_of(taxed, rate.percent, mode)) for rate in rates]
    within = percent_within(taxed, sum((rate.percent for rate in rates), Decimal(0)), mode)
    if len(rates) == 1:
        return [TaxUnits(rates[0], taxed - within, within)]
    weights = whole_weights([rate.percent for rate in rates])
    if isinstance(within, np.ndarray):
        weights = np.repeat(weights.astype(np.int64)[:, None], within.size, axis=1)
    shares = shared_units(within, weights)
    return [TaxUnits(rate, taxed - within, own) for rate, own in zip(rates, shares, strict=True)]


def _sum(units: Iterable[Units]) -> Units:
    return sum(units, 0)
