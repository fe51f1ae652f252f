"""Lines of cases that joined one by one, asked for in between, are those of all cases at once."""

from dataclasses import fields
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_jobs import jobs
from drawn_row_bills import drawn_sizes, drawn_variation, pricing_documents, shops
from loomwright.batch.bills.assembly import RowLine, RowLines
from loomwright.batch.bills.job_cases import BookNeeds, JobCases, difficulties
from loomwright.batch.bills.known_amounts import BookAmounts, KnownAmounts
from loomwright.batch.bills.lengths import RowLengths
from loomwright.batch.bills.tally import Chunk
from loomwright.batch.sizing.sizes import SizedRows
from loomwright.batch.variation import Variation
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import PricingOptions, pricing_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
ROWS = 12


def no_cases(job: Job, book: PriceBook) -> JobCases:
    return JobCases(job, BookNeeds(book))


def known(book: PriceBook, options: PricingOptions) -> KnownAmounts:
    return KnownAmounts(BookAmounts(book), options)


def lines_of(
    cases: JobCases, drawn: tuple[Variation, SizedRows, Any], rows: list[int], amounts: KnownAmounts
) -> tuple[RowLines, Any]:
    """Lines of some rows, whose cases join, and how many needs nothing serves in each."""
    variation, sizes, difficulty = drawn
    own = np.array(rows)
    found = cases.cases(variation, sizes, own, difficulty[own])
    chunk = Chunk(own.size, found, RowLengths(variation, own))
    assembly = cases.assembly
    return assembly.lines(chunk, amounts), listed(assembly.unserved.count(chunk), own.size)


def listed(numbers: Any, count: int) -> list[Any]:
    return np.broadcast_to(numbers, count).tolist()  # type: ignore[no-any-return]


def shown(lines: list[RowLine], count: int) -> list[list[Any]]:
    return [[listed(getattr(line, field.name), count) for field in fields(line)] for line in lines]


@settings(max_examples=30)
@given(jobs(), shops(), pricing_documents(), st.integers(0, 2**32))
def test_cases_that_join_one_by_one_give_the_lines_of_all_at_once(
    document: Document, shop: Document, pricing: Document, seed: int
) -> None:
    try:
        job = job_from_document(document, tables(), fuse_tables().types)
    except DocumentError:
        return
    book = price_book_from_document(shop)
    options = pricing_from_document(pricing, book.currency)
    book, draw = book.on_day(options.as_of), np.random.default_rng(seed)
    variation, sizes = drawn_variation(job, ROWS, draw), drawn_sizes(job, ROWS, draw)
    drawn = variation, sizes, draw.integers(len(difficulties(book)), size=ROWS)
    grown, amounts = no_cases(job, book), known(book, options)
    for row in draw.permutation(ROWS).tolist():
        lines_of(grown, drawn, [row], amounts)
    every = list(range(ROWS))
    of_grown, unserved_of_grown = lines_of(grown, drawn, every, amounts)
    at_once, unserved_at_once = lines_of(no_cases(job, book), drawn, every, known(book, options))
    assert shown(of_grown.parts, ROWS) == shown(at_once.parts, ROWS)
    assert shown(of_grown.labour, ROWS) == shown(at_once.labour, ROWS)
    assert listed(of_grown.micro_hours, ROWS) == listed(at_once.micro_hours, ROWS)
    assert unserved_of_grown == unserved_at_once
