"""A price book checked by itself and against the jobs that it shall price."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from loomwright.jobs.job import Job
from loomwright.jobs.priced_job import priced_job
from loomwright.pricing.book_check import (
    Finding,
    duplicated_findings,
    incomplete_range_findings,
    stale_findings,
    unused_findings,
)
from loomwright.pricing.lines import Unpriced
from loomwright.pricing.price_book import PriceBook, Validity
from loomwright.pricing.price_check import below_cost_findings, dearer_together_findings
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Provenance, Tables

USABLE = "usable"
USABLE_WITH_FINDINGS = "usable_with_findings"
NOT_USABLE = "not_usable"
VERDICTS = (USABLE, USABLE_WITH_FINDINGS, NOT_USABLE)


@dataclass(frozen=True, slots=True)
class JobNeeds:
    """What a job takes from a book, and what it misses there.

    ``unknown_difficulty`` is the factor that its vehicle names and the book lacks.
    """

    title: str
    unpriced: tuple[Unpriced, ...]
    unknown_difficulty: str | None
    used: frozenset[str]
    provenances: tuple[Provenance, ...]

    @property
    def lacks_nothing(self) -> bool:
        """Whether the book serves the whole job."""
        return not self.unpriced and self.unknown_difficulty is None


@dataclass(frozen=True, slots=True)
class CheckedBook:
    """The findings on a book; a group that was not judged is none.

    ``missing`` pairs the place of a job with what it misses.
    """

    verdict: str
    missing: tuple[tuple[int, JobNeeds], ...] | None
    stale: tuple[Finding, ...] | None
    duplicated: tuple[Finding, ...]
    below_cost: tuple[Finding, ...] | None
    dearer_together: tuple[Finding, ...]
    incomplete_range: tuple[Finding, ...]
    unused: tuple[Finding, ...] | None


def job_needs(
    job: Job, book: PriceBook, tables: Tables, fuse_tables: FuseTables, as_of: date | None
) -> JobNeeds:
    """Return what a job takes from a book and misses there, from its bill.

    Parameters
    ----------
    job
        The job.
    book
        Price book; whether the book as a whole holds on the day is another finding.
    tables
        Tables of the engineering.
    fuse_tables
        Fuse tables of the engineering.
    as_of
        Day of the quote, if any.

    Returns
    -------
    JobNeeds
        Needs.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models.
    """
    difficulty = job.vehicle.difficulty
    unknown = difficulty if difficulty not in book.difficulty else None
    if unknown is not None:
        job = replace(job, vehicle=replace(job.vehicle, difficulty=None))
    holding = replace(book.on_day(as_of), validity=Validity())
    priced = priced_job(job, holding, tables, fuse_tables)
    return JobNeeds(
        title=job.title,
        unpriced=priced.bill.unpriced,
        unknown_difficulty=unknown,
        used=frozenset(line.key for line in priced.bill.lines),
        provenances=priced.provenances,
    )


def checked_book(
    book: PriceBook,
    needs: Sequence[JobNeeds] | None,
    as_of: date | None,
    *,
    with_cost: bool,
    with_unused: bool,
) -> CheckedBook:
    """Return everything found about a price book.

    Parameters
    ----------
    book
        Price book without faults.
    needs
        Of the jobs that it shall price; none where no job is given.
    as_of
        Day on which it shall hold; without it nothing is judged stale, as no clock is read.
    with_cost
        Whether prices are held against costs, which tells what things cost.
    with_unused
        Whether to list what no job uses.

    Returns
    -------
    CheckedBook
        ``not_usable`` where the book does not hold on the day; ``usable_with_findings`` where
        anything is found, but for what is unused.
    """
    holding = book.on_day(as_of)
    missing = stale = below_cost = unused = None
    if needs is not None:
        missing = tuple(
            (place, entry) for place, entry in enumerate(needs) if not entry.lacks_nothing
        )
        if with_unused:
            used = frozenset[str]().union(*(entry.used for entry in needs))
            unused = tuple(unused_findings(book, used))
    if as_of is not None:
        stale = tuple(stale_findings(book, as_of))
    if with_cost:
        below_cost = tuple(below_cost_findings(holding))
    duplicated = tuple(duplicated_findings(holding))
    dearer_together = tuple(dearer_together_findings(holding))
    incomplete_range = tuple(incomplete_range_findings(holding))
    counted = (missing, stale, duplicated, below_cost, dearer_together, incomplete_range)
    verdict = USABLE_WITH_FINDINGS if any(counted) else USABLE
    return CheckedBook(
        verdict=verdict if book.validity.holds_on(as_of) else NOT_USABLE,
        missing=missing,
        stale=stale,
        duplicated=duplicated,
        below_cost=below_cost,
        dearer_together=dearer_together,
        incomplete_range=incomplete_range,
        unused=unused,
    )
