"""Bills of rows: in every field those of the single call, whatever the job and the price book."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_jobs import jobs
from drawn_row_bills import (
    assert_rows_are_single_bills,
    drawn_sizes,
    drawn_variation,
    pricing_documents,
    shops,
)
from loomwright.batch.bills import row_bills
from loomwright.batch.bills.row_bills import RowBills
from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.pricing.pricing_options import pricing_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
seeds = st.integers(0, 2**32)


def job_of(document: Document) -> Job:
    return job_from_document(document, tables(), fuse_tables().types)


@pytest.mark.parametrize(
    ("pricing", "share"),
    [
        ({}, 1.0),
        ({"package": {"name": "All in", "price": "799"}, "deposit": {"percent": "30"}}, 0.5),
        ({"document_discount": {"percent": "7.5"}, "as_of": "2031-04-30"}, 0.5),
    ],
)
@pytest.mark.parametrize("name", DEMO_JOBS)
def test_rows_of_the_demo_jobs_are_their_single_bills(
    name: str, pricing: Document, share: float
) -> None:
    draw = np.random.default_rng(DEMO_JOBS.index(name))
    job, book = job_of(demo_job(name)), demo_book()
    options = pricing_from_document(pricing, book.currency)
    count = int(share * (3600 if len(job.circuits) == 1 else 1200))
    variation = drawn_variation(job, count, draw)
    sizes = drawn_sizes(job, count, draw, least_kinds=3)
    columns = RowBills(book, options).of(variation, sizes)
    held = assert_rows_are_single_bills(variation, sizes, columns, book, options, range(count))
    assert held == count


@settings(max_examples=60)
@given(st.data(), seeds)
def test_rows_of_drawn_jobs_in_drawn_shops_are_their_single_bills(
    data: st.DataObject, seed: int
) -> None:
    try:
        job = job_of(data.draw(jobs()))
    except DocumentError:
        return
    book = price_book_from_document(data.draw(shops()))
    options = pricing_from_document(data.draw(pricing_documents(book.currency)), book.currency)
    draw, bills = np.random.default_rng(seed), RowBills(book, options)
    # What is kept of a call serves the next.
    for count in (1, 60):
        variation, sizes = drawn_variation(job, count, draw), drawn_sizes(job, count, draw)
        columns = bills.of(variation, sizes)
        assert_rows_are_single_bills(variation, sizes, columns, book, options, range(count))
