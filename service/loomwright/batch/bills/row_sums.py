"""Sums of the lines of many rows, by the functions that add up a single bill."""

from collections.abc import Sequence
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.assembly import RowLine, RowLines
from loomwright.batch.bills.line_amounts import GREATEST_AMOUNT
from loomwright.engineering.record import record
from loomwright.pricing.labour_lines import MINIMUM_KEY, lacking_units
from loomwright.pricing.lines import LABOUR
from loomwright.pricing.minor_units import Units, percent_of, shared_units
from loomwright.pricing.money import ROUNDING_MODES
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.sums import LineUnits, Sums, change_of_whole, lacks_lines, sums_of

# A bill may come to so many times its lines with taxes, and more than one such sum is added up.
_ROOM = 16
# Shares are worked out for so many rows at once that the lines of all stay in the cache.
_SHARED_AT_ONCE = 1_024
# Two such amounts multiplied and doubled fit into 64 bits.
_GREATEST_SHARED = 1 << 30


@record
class SumsOfRows:
    """Sums of rows, and the rows that the single bill refuses or that are too great for 64 bits."""

    sums: Sums
    left_out: bool | npt.NDArray[np.bool_]


class RowSums:
    """Adds up the lines of rows.

    Parameters
    ----------
    book
        Price book.
    options
        Discounts, package price, deposit.
    """

    def __init__(self, book: PriceBook, options: PricingOptions) -> None:
        self._book, self._options = book, options
        self._rounding = ROUNDING_MODES[book.rounding.mode]
        self._is_shared = options.package is not None or options.document_discount is not None
        self._greatest = _greatest_sum(book, options, is_shared=self._is_shared)

    def of(self, lines: RowLines, count: int) -> SumsOfRows:
        """Return the sums of rows.

        Parameters
        ----------
        lines
            Lines at list price with their own discounts.
        count
            Rows.

        Returns
        -------
        SumsOfRows
            Columns, or whole numbers where all rows have the same.
        """
        units = [_units(line, is_labour=False) for line in lines.parts]
        units += [_units(line, is_labour=True) for line in lines.labour]
        if self._book.labour_minimum:
            units += self._least_charge(lines.labour)
        listed = sum((line.listed for line in units), 0)
        left_out = listed > self._greatest
        if self._is_shared:
            units, refused = self._with_shares(units, count)
            left_out = left_out | refused
        sums = sums_of(units, self._book, self._options)
        if sums.deposit is not None:
            left_out = left_out | (sums.deposit > sums.total)
        return SumsOfRows(sums, left_out)

    def _least_charge(self, labour: Sequence[RowLine]) -> list[LineUnits]:
        """Return the lines that bring labour up to the least charge, by tax category."""
        lacking = lacking_units(sum((line.listed for line in labour), 0), self._book)
        percent = self._options.discount_percent(LABOUR, MINIMUM_KEY)
        found: dict[str, Units] = {}
        # It is taxed as the first line of labour that a row has.
        is_open: bool | npt.NDArray[np.bool_] = True
        for line in labour:
            found[line.category] = found.get(line.category, 0) + lacking * (is_open & line.is_there)
            is_open = is_open & np.logical_not(line.is_there)
        return [
            LineUnits(category, True, listed, percent_of(listed, percent, self._rounding), 0)
            for category, listed in found.items()
        ]

    def _with_shares(
        self, lines: Sequence[LineUnits], count: int
    ) -> tuple[list[LineUnits], bool | npt.NDArray[np.bool_]]:
        """Return lines with their shares of what is off the whole, and the rows it is refused."""
        lines = [line for line in lines if np.any(line.listed)]
        weights = np.empty((len(lines), count), np.int64)
        for row, line in zip(weights, lines, strict=True):
            row[:] = line.total
        before = weights.sum(axis=0)
        change = change_of_whole(before, self._options, self._rounding)
        refused = np.asarray(lacks_lines(before, self._options), np.bool_)
        if self._options.package is None:
            refused = refused | (before + change < 0)
        if not lines:
            return [], refused
        within = np.minimum(weights, _GREATEST_SHARED)
        limit = np.clip(change, -_GREATEST_SHARED, _GREATEST_SHARED)
        refused = refused | (limit != change)
        shares = np.zeros_like(within)
        for first in range(0, count, _SHARED_AT_ONCE):
            block = slice(first, first + _SHARED_AT_ONCE)
            # What comes to nothing takes no share, unless everything does, and then of nothing.
            own = np.flatnonzero(within[:, block].any(axis=1))
            if own.size:
                shares[own, block] = shared_units(limit[block], within[own, block])
        return [
            LineUnits(line.category, line.is_labour, line.listed, line.discount, share)
            for line, share in zip(lines, shares, strict=True)
        ], refused


def _units(line: RowLine, *, is_labour: bool) -> LineUnits:
    return LineUnits(line.category, is_labour, line.listed, line.discount, 0)


def _greatest_sum(book: PriceBook, options: PricingOptions, *, is_shared: bool) -> int:
    """Return the greatest sum of lines whose products with every percentage fit into 64 bits."""
    percents = [
        sum((rate.percent for rate in rates), Decimal(0)) for rates in book.tax_categories.values()
    ]
    percents += [rate.percent for rates in book.tax_categories.values() for rate in rates]
    percents.append(options.discount_percent(LABOUR, MINIMUM_KEY))
    for share in (options.document_discount, options.deposit):
        if share is not None and share.percent is not None:
            percents.append(share.percent)
    factor = max(
        numerator + 100 * denominator
        for numerator, denominator in (percent.as_integer_ratio() for percent in percents)
    )
    greatest = min((1 << 62) // factor // _ROOM, GREATEST_AMOUNT - 1)
    return min(greatest, _GREATEST_SHARED) if is_shared else greatest
