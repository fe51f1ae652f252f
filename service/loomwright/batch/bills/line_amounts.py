"""Amounts of lines by their quantity, in a table that reaches as far as any row so far."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from loomwright.pricing.lines import Line
from loomwright.pricing.minor_units import Units, percent_of, rounded_quotient
from loomwright.pricing.money import ROUNDING_MODES, product_in_minor_units
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.totals import priced_lines

# A line of more is left to the single call; thousands of them still add up in 64 bits.
GREATEST_AMOUNT = 10**15
# Steps up to here are kept in a table, which takes 16 bytes for each.
GREATEST_KEPT = 1 << 16
_LEAST_KEPT = 512
# Steps of all rows that are kept beside it.
_GREATEST_SINGLE = 1024
# A product of 64 bits twice which still fits.
_GREATEST_PRODUCT = 1 << 61

Column = npt.NDArray[np.int64]
# Amount at list price and its discount.
ListedAndDiscount = tuple[Units, Units]


class LineDiscounts:
    """Lines with their own discounts, without shares of what is off the whole.

    Parameters
    ----------
    book
        Price book.
    options
        Pricing options.
    """

    def __init__(self, book: PriceBook, options: PricingOptions) -> None:
        self._book = book
        self._options = replace(options, package=None, document_discount=None)

    def percent(self, kind: str, key: str) -> Decimal:
        """Return what is off a line [%]."""
        return self._options.discount_percent(kind, key)

    def amounts(self, line: Line) -> tuple[int, int]:
        """Return the list total of a line and its discount, no more than the greatest amount."""
        (priced,) = priced_lines((line,), self._book, self._options)
        listed, discount = priced.list_total.minor_units, priced.discount.minor_units
        return min(listed, GREATEST_AMOUNT), min(discount, GREATEST_AMOUNT)

    def of_multiples(self, line: Line, count: int) -> tuple[Column, Column] | None:
        """Return list total and discount of 0, 1, 2 and so on times the quantity of a line.

        Parameters
        ----------
        line
            A line whose unit price is that of any quantity.
        count
            How many.

        Returns
        -------
        tuple of two ndarray or None
            As ``amounts`` has them of each; none where 64 bits may not hold them.
        """
        percent, currency = self.percent(line.kind, line.key), self._book.currency
        price = product_in_minor_units(line.unit_price, line.quantity, currency)
        greatest = count * abs(price[0]) * percent.as_integer_ratio()[0]
        if max(greatest, count * abs(price[0])) >= _GREATEST_PRODUCT:
            return None
        mode = ROUNDING_MODES[self._book.rounding.mode]
        listed = rounded_quotient(np.arange(count) * price[0], price[1], mode)
        discount = percent_of(listed, percent, mode) if percent else np.zeros(count, np.int64)
        return np.minimum(listed, GREATEST_AMOUNT), np.minimum(discount, GREATEST_AMOUNT)


class LineAmounts:
    """List total and discount of one line by the steps of its quantity.

    Parameters
    ----------
    line
        The line for so many steps, at one unit price.
    discounts
        Line discounts.
    """

    def __init__(self, line: Callable[[int], Line], discounts: LineDiscounts) -> None:
        self._line, self._discounts = line, discounts
        # By steps up to those of some row so far.
        self._listed = self._discount = np.zeros(0, np.int64)
        self._has_discount, self._has_table = False, True
        self._single: dict[int, tuple[int, int]] = {}

    def of(self, steps: Units) -> ListedAndDiscount:
        """Return list total and discount of each row, or those of all rows.

        Parameters
        ----------
        steps
            Of the quantity, 0 or more.

        Returns
        -------
        tuple of two int or ndarray
            Minor units.
        """
        if not isinstance(steps, np.ndarray):
            return self._of_one(steps)
        if not self._reaches(int(steps.max())):
            return self._of_few(steps)
        discount = self._discount[steps] if self._has_discount else 0
        return self._listed[steps], discount

    def _of_one(self, steps: int) -> tuple[int, int]:
        # Most lines have one quantity in all rows, for which no table is needed.
        found = self._single.get(steps)
        if found is None:
            found = self._discounts.amounts(self._line(steps))
            if len(self._single) < _GREATEST_SINGLE:
                self._single[steps] = found
        return found

    def _of_few(self, steps: npt.NDArray[np.int64]) -> ListedAndDiscount:
        found, codes = np.unique(steps, return_inverse=True)
        amounts = [self._discounts.amounts(self._line(each)) for each in found.tolist()]
        listed, discount = np.array(amounts, np.int64).T
        return listed[codes], discount[codes]

    def _reaches(self, greatest: int) -> bool:
        """Return whether the table reaches up to so many steps, as it is from now on if it may."""
        if greatest < self._listed.size:
            return True
        if greatest >= GREATEST_KEPT or not self._has_table:
            return False
        # Twice as much, so that it is seldom done.
        count = min(max(greatest + 1, 2 * self._listed.size, _LEAST_KEPT), GREATEST_KEPT)
        table = self._discounts.of_multiples(self._line(1), count)
        if table is None:
            self._has_table = False
            return False
        self._listed, self._discount = table
        self._has_discount = bool(self._discount.any())
        return True
