"""Bills of rows: in every field those of the single call, whatever the job and the price book."""

from typing import Any

import numpy as np
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
from loomwright.batch.bills.row_bills import RowBills
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.pricing.pricing_options import pricing_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]


@settings(max_examples=40)
@given(jobs(), shops(), pricing_documents(), st.integers(0, 2**32))
def test_rows_of_drawn_jobs_in_drawn_shops_are_their_single_bills(
    document: Document, shop: Document, pricing: Document, seed: int
) -> None:
    try:
        job = job_from_document(document, tables(), fuse_tables().types)
    except DocumentError:
        return
    book = price_book_from_document(shop)
    options = pricing_from_document(pricing, book.currency)
    draw, bills = np.random.default_rng(seed), RowBills(book, options)
    # What is kept of a call serves the next.
    for count in (1, 40):
        variation, sizes = drawn_variation(job, count, draw), drawn_sizes(job, count, draw)
        columns = bills.of(variation, sizes)
        assert_rows_are_single_bills(variation, sizes, columns, book, options, range(count))
