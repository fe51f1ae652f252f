"""Bills of many rows of one job at once, each the same as the single bill to the minor unit."""

from collections.abc import Hashable, Iterator
from datetime import date
from weakref import WeakValueDictionary

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.assembly import KnownAmounts, RowLine
from loomwright.batch.bills.columns import NO_DAY, BillColumns, Mask, Whole
from loomwright.batch.bills.growth import TooGreatError
from loomwright.batch.bills.job_cases import BilledJob, JobCases, billed_key
from loomwright.batch.bills.lengths import RowLengths, rows_out_of_range
from loomwright.batch.bills.line_amounts import LineDiscounts
from loomwright.batch.bills.row_sums import RowSums
from loomwright.batch.bills.tally import Chunk
from loomwright.batch.codes import coded_rows
from loomwright.batch.quote import Amounts
from loomwright.batch.sizing.sizes import SizedRows
from loomwright.batch.variation import Variation
from loomwright.engineering.errors import EngineeringError
from loomwright.pricing.bill import Bills, valid_until
from loomwright.pricing.minor_units import Units
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.sums import Sums

# Columns of so many rows stay in the cache of a core.
ROWS_AT_ONCE = 16_384
# Jobs whose cases are kept, and cases of one of them beyond which it starts anew.
GREATEST_KNOWN_JOBS = 64
GREATEST_CASES = 4_096
_FIRST_DAY = date(1970, 1, 1)
# Later than any day.
_OPEN = int(np.iinfo(np.int32).max)


class RowBills:
    """Bills of rows by one price book under the same options.

    What was worked out for one call serves those after it.

    Parameters
    ----------
    book
        Price book.
    options
        Day, discounts, package price, deposit.
    """

    def __init__(self, book: PriceBook, options: PricingOptions) -> None:
        self._stated, self._options = book, options
        self._book = book.on_day(options.as_of)
        self._known = KnownAmounts(self._book, LineDiscounts(self._book, options))
        self._sums = RowSums(self._book, options)
        self._frames: dict[Hashable, JobCases] = {}
        self._billed = WeakValueDictionary[Hashable, BilledJob]()

    def of(self, variation: Variation, sizes: SizedRows) -> BillColumns:
        """Return the bills of rows of a job.

        Parameters
        ----------
        variation
            Rows of a job.
        sizes
            Their circuits.

        Returns
        -------
        BillColumns
            In the order of the rows; those that the single bill refuses are left to it too.

        Raises
        ------
        CoverError
            The solver of the cheapest articles gave no proof.
        """
        found = _Found(variation.count, has_deposit=self._options.deposit is not None)
        left_out = sizes.unusual | rows_out_of_range(variation)
        rows = np.flatnonzero(~left_out)
        if not rows.size or not self._fits(variation):
            found.left_out[:] = True
            return found.columns()
        found.left_out[left_out] = True
        frame = self._frame(variation)
        cases = frame.cases(variation, sizes, rows)
        for places in _chunks(cases, rows.size):
            own = rows[places]
            chunk = Chunk(own.size, _at(cases, places), RowLengths(variation, own))
            try:
                self._fill(found, own, chunk, frame)
            except TooGreatError:
                found.left_out[own] = True
        return found.columns()

    def _fits(self, variation: Variation) -> bool:
        """Return whether the single bill takes the job at all."""
        try:
            Bills(self._stated, self._options, variation.job.vehicle.difficulty)
        except EngineeringError:
            return False
        return True

    def _frame(self, variation: Variation) -> JobCases:
        key = billed_key(variation.job)
        frame = self._frames.get(key)
        if frame is None or frame.case_count > GREATEST_CASES:
            if len(self._frames) >= GREATEST_KNOWN_JOBS:
                self._frames.pop(next(iter(self._frames)))
            difficulty = variation.job.vehicle.difficulty
            # What lives on with a job of another difficulty serves this one.
            billed = self._billed.get(key[1:]) or BilledJob(variation.job, self._book)
            self._billed[key[1:]] = billed
            frame = JobCases(billed, difficulty, self._book, self._known)
            self._frames[key] = frame
        return frame

    def _fill(self, found: "_Found", rows: Whole, chunk: Chunk, frame: JobCases) -> None:
        assembly = frame.assembly
        lines = assembly.lines(chunk)
        priced = self._sums.of(lines, chunk.count)
        found.take(rows, priced.sums)
        found.left_out[rows] = priced.left_out
        found.micro_hours[rows] = lines.micro_hours
        found.unpriced[rows] = assembly.unserved.count(chunk)
        found.days[rows] = self._last_days(lines.parts)

    def _last_days(self, lines: list[RowLine]) -> Units:
        """Return the last day of each row, counted from the epoch, or that of all rows."""
        stated = valid_until((), self._book, self._options.as_of)
        found: Units = _OPEN if stated is None else _day(stated)
        for line in lines:
            if line.last_day is None or line.is_there is False:
                continue
            own: Units = _day(line.last_day)
            if isinstance(line.is_there, np.ndarray):
                own = np.where(line.is_there, own, _OPEN)
            found = np.minimum(found, own)
        return found


class _Found:
    """Columns that are being filled."""

    def __init__(self, count: int, *, has_deposit: bool) -> None:
        self.amounts = {
            name: np.zeros(count, np.int64)
            for name in Amounts._fields
            if has_deposit or name != "deposit"
        }
        self.micro_hours = np.zeros(count, np.int64)
        self.unpriced = np.zeros(count, np.int32)
        self.days = np.full(count, _OPEN)
        self.left_out: Mask = np.zeros(count, np.bool_)

    def take(self, rows: Whole, sums: Sums) -> None:
        """Enter the sums of some rows."""
        for name, column in self.amounts.items():
            column[rows] = _of_sums(sums, name)

    def columns(self) -> BillColumns:
        """Return what was filled in."""
        return BillColumns(
            amounts={name: self.amounts.get(name) for name in Amounts._fields},
            labour_hours=self.micro_hours,
            unpriced=self.unpriced,
            valid_until=np.where(self.days == _OPEN, NO_DAY, self.days).astype(np.int32),
            needs_single_call=self.left_out,
        )


def _of_sums(sums: Sums, name: str) -> Units:
    """Return the sums that a quote calls by a name."""
    of_lines = {"discount_total": sums.discount, "shared_total": sums.shared}
    found: Units = of_lines[name] if name in of_lines else getattr(sums, name)
    return found


def _day(day: date) -> int:
    return (day - _FIRST_DAY).days


def _chunks(cases: dict[int, Units], count: int) -> Iterator[Whole]:
    """Yield the places of rows, those of the same cases together."""
    varying = [own for own in cases.values() if isinstance(own, np.ndarray)]
    order: npt.NDArray[np.int64] = np.arange(count)
    if varying:
        codes, kinds = coded_rows(varying)
        # Whole numbers of 16 bits are sorted by their digits, in a tenth of the time.
        order = np.argsort(
            codes.astype(np.int16 if len(kinds) < 1 << 15 else np.int64), kind="stable"
        )
    for first in range(0, count, ROWS_AT_ONCE):
        yield order[first : first + ROWS_AT_ONCE]


def _at(cases: dict[int, Units], places: Whole) -> dict[int, Units]:
    """Return the cases of some rows, as one where they are the same."""
    found: dict[int, Units] = {}
    for piece, own in cases.items():
        if isinstance(own, np.ndarray):
            taken = own[places]
            lowest = int(taken.min())
            found[piece] = lowest if lowest == int(taken.max()) else taken
        else:
            found[piece] = own
    return found
