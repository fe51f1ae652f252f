"""Bills of many rows of one job at once, each the same as the single bill to the minor unit."""

from collections.abc import Hashable, Iterator, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.assembly import RowLine
from loomwright.batch.bills.columns import NO_DAY, BillColumns, Mask, Whole
from loomwright.batch.bills.growth import TooGreatError
from loomwright.batch.bills.job_cases import BookNeeds, JobCases, billed_key
from loomwright.batch.bills.job_cases import difficulties as known_difficulties
from loomwright.batch.bills.known_amounts import BookAmounts, KnownAmounts
from loomwright.batch.bills.lengths import RowLengths, rows_out_of_range
from loomwright.batch.bills.row_sums import RowSums
from loomwright.batch.bills.tally import Chunk
from loomwright.batch.codes import coded_rows
from loomwright.batch.quote import Amounts
from loomwright.batch.sizing.sizes import SizedRows
from loomwright.batch.variation import Variation
from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.job import Job
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
# In place of a difficulty with which the single bill takes no job.
_REFUSED = -1


class Difficulties(NamedTuple):
    """Difficulty of many rows: what is stated, and its index in each row or the one of all."""

    stated: Sequence[str | None]
    of_rows: Units


class BookJobs:
    """Jobs and amounts of a price book that were met so far, whatever the options.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    """

    def __init__(self, book: PriceBook) -> None:
        self.book = book
        #: Amounts of lines.
        self.amounts = BookAmounts(book)
        self._needs = BookNeeds(book)
        self._jobs: dict[Hashable, JobCases] = {}

    def cases(self, job: Job) -> JobCases:
        """Return the cases of a job, and of all that differ from it in nothing that is billed."""
        key = billed_key(job)
        found = self._jobs.get(key)
        if found is None or found.case_count > GREATEST_CASES:
            if len(self._jobs) >= GREATEST_KNOWN_JOBS:
                self._jobs.pop(next(iter(self._jobs)))
            found = JobCases(job, self._needs)
            self._jobs[key] = found
        return found


class RowBills:
    """Bills of rows by one price book under the same options.

    What was worked out for one call serves those after it.

    Parameters
    ----------
    book
        Price book.
    options
        Day, discounts, package price, deposit.
    jobs
        Jobs met before with what holds of the book on the day of the options, if any.
    """

    def __init__(
        self, book: PriceBook, options: PricingOptions, jobs: BookJobs | None = None
    ) -> None:
        self._stated, self._options = book, options
        self._jobs = jobs or BookJobs(book.on_day(options.as_of))
        self._book = self._jobs.book
        self._known = KnownAmounts(self._jobs.amounts, options)
        self._sums = RowSums(self._book, options)
        self._codes: dict[str | None, int] = {}

    def of(
        self, variation: Variation, sizes: SizedRows, difficulties: Difficulties | None = None
    ) -> BillColumns:
        """Return the bills of rows of a job.

        Parameters
        ----------
        variation
            Rows of a job.
        sizes
            Their circuits.
        difficulties
            Difficulty of each row; that of the job where none are stated.

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
        difficulty = self._difficulty(
            difficulties or Difficulties([variation.job.vehicle.difficulty], 0)
        )
        left_out = sizes.unusual | rows_out_of_range(variation) | (difficulty == _REFUSED)
        found.left_out[left_out] = True
        rows = np.flatnonzero(~left_out)
        if not rows.size:
            return found.columns()
        if isinstance(difficulty, np.ndarray):
            difficulty = difficulty[rows]
        frame = self._jobs.cases(variation.job)
        cases = frame.cases(variation, sizes, rows, difficulty)
        for places in _chunks(cases, rows.size):
            own = rows[places]
            chunk = Chunk(own.size, _at(cases, places), RowLengths(variation, own))
            try:
                self._fill(found, own, chunk, frame)
            except TooGreatError:
                found.left_out[own] = True
        return found.columns()

    def _difficulty(self, difficulties: Difficulties) -> Units:
        """Return what cases have of the difficulty of each row, or of all rows."""
        codes = [self._code(each) for each in difficulties.stated]
        if len(set(codes)) == 1:
            return codes[0]
        return np.array(codes, np.int64)[difficulties.of_rows]

    def _code(self, difficulty: str | None) -> int:
        """Return the index of a difficulty with which the single bill takes a job at all."""
        code = self._codes.get(difficulty)
        if code is None:
            code = _REFUSED
            if self._fits(difficulty):
                code = known_difficulties(self._book).index(difficulty)
            self._codes[difficulty] = code
        return code

    def _fits(self, difficulty: str | None) -> bool:
        try:
            Bills(self._stated, self._options, difficulty)
        except EngineeringError:
            return False
        return True

    def _fill(self, found: "_Found", rows: Whole, chunk: Chunk, frame: JobCases) -> None:
        assembly = frame.assembly
        lines = assembly.lines(chunk, self._known)
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
