"""Amounts of lines by their quantity, each worked out by the single bill when first met."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from loomwright.pricing.lines import Line
from loomwright.pricing.minor_units import Units
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.totals import priced_lines

# A line of more is left to the single call; thousands of them still add up in 64 bits.
GREATEST_AMOUNT = 10**15
# Steps up to here are kept in a table, which takes 17 bytes for each.
GREATEST_KEPT = 1 << 16

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


class LineAmounts:
    """List total and discount of one line by the steps of its quantity.

    Parameters
    ----------
    line
        The line for so many steps.
    discounts
        Line discounts.
    """

    def __init__(self, line: Callable[[int], Line], discounts: LineDiscounts) -> None:
        self._line, self._discounts = line, discounts
        self._known = np.zeros(0, np.bool_)
        self._listed = self._discount = np.zeros(0, np.int64)
        self._has_discount = False

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
        greatest = int(steps.max())
        if greatest >= GREATEST_KEPT:
            return self._of_few(steps)
        self._make_room(greatest + 1)
        known = self._known[steps]
        if not known.all():
            for each in np.unique(steps[~known]).tolist():
                self._learn(each)
        discount = self._discount[steps] if self._has_discount else 0
        return self._listed[steps], discount

    def _of_one(self, steps: int) -> tuple[int, int]:
        if steps >= GREATEST_KEPT:
            return self._discounts.amounts(self._line(steps))
        self._make_room(steps + 1)
        if not self._known[steps]:
            self._learn(steps)
        return int(self._listed[steps]), int(self._discount[steps])

    def _of_few(self, steps: npt.NDArray[np.int64]) -> ListedAndDiscount:
        found, codes = np.unique(steps, return_inverse=True)
        amounts = [self._discounts.amounts(self._line(each)) for each in found.tolist()]
        listed, discount = np.array(amounts, np.int64).T
        return listed[codes], discount[codes]

    def _make_room(self, count: int) -> None:
        lacking = count - self._known.size
        if lacking > 0:
            # Twice as much, so that it is seldom done.
            more = np.zeros(max(lacking, self._known.size), np.int64)
            self._listed = np.concatenate((self._listed, more))
            self._discount = np.concatenate((self._discount, more))
            self._known = np.concatenate((self._known, more > 0))

    def _learn(self, steps: int) -> None:
        listed, discount = self._discounts.amounts(self._line(steps))
        self._listed[steps], self._discount[steps] = listed, discount
        self._known[steps] = True
        self._has_discount |= discount != 0
