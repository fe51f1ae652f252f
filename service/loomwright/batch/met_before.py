"""What engines before have met by a price book, lent to one engine at a time.

Ten packages meet nearly every case of bills and every cover that a price book has to offer, which
takes as long as thousands of rows. A process that prices one batch after the other by the same book
pays for that once. It is a memo: what it holds follows from the book and the tables alone.
"""

import threading
import weakref
from datetime import date

from loomwright.batch.bills.row_bills import BookJobs
from loomwright.batch.memo import Memo
from loomwright.batch.sizing.known_fuses import KnownFuses
from loomwright.pricing.price_book import PriceBook

# Of one book: days whose prices are told apart.
GREATEST_DAYS = 8
# Cases beyond which what was met is let go with its engine; each takes some kB.
GREATEST_CASES = 20_000
# Books that are kept, each once for every engine that had it at the same time.
GREATEST_BOOKS = 4


class MetBefore:
    """What was met so far by a price book, for one engine at a time.

    Parameters
    ----------
    book
        Price book.
    """

    def __init__(self, book: PriceBook) -> None:
        self.book = book
        #: Fuses of circuits.
        self.fuses = KnownFuses()
        self._jobs: Memo[date | None, BookJobs] = Memo(GREATEST_DAYS)

    def jobs(self, day: date | None) -> BookJobs:
        """Return the jobs that were met on a day."""
        return self._jobs.of(day, lambda day: BookJobs(self.book.on_day(day)))

    def case_count(self) -> int:
        """Return the number of cases that it holds."""
        return sum(jobs.case_count() for jobs in self._jobs.values())


_free: list[MetBefore] = []
_lock = threading.Lock()
# Hits and misses.
_lookups = [0, 0]


def lend(book: PriceBook, borrower: object) -> MetBefore:
    """Return what was met before by a price book, for as long as the borrower lives.

    Parameters
    ----------
    book
        Price book; the same object as before, as those are that the service holds.
    borrower
        Who has it to himself; it comes back when he is gone.

    Returns
    -------
    MetBefore
        Nothing met yet where the book is new, or lent already.
    """
    with _lock:
        place = next((place for place, met in enumerate(_free) if met.book is book), None)
        _lookups[place is None] += 1
        met = MetBefore(book) if place is None else _free.pop(place)
    weakref.finalize(borrower, _give_back, met).atexit = False
    return met


def lookups() -> tuple[int, int]:
    """Return how often something met before was lent, and how often nothing, in this process."""
    return _lookups[False], _lookups[True]


def _give_back(met: MetBefore) -> None:
    if met.case_count() > GREATEST_CASES:
        return
    with _lock:
        _free.append(met)
        del _free[:-GREATEST_BOOKS]
