"""Lengths at which other ready-made parts serve are those of the price book on the day."""

from datetime import date

import numpy as np

from loomwright.batch.bills.lengths import RowLengths
from loomwright.batch.bills.thresholds import Thresholds
from loomwright.batch.variation import SIGNAL_LEAD_LENGTH, Place, Variation
from loomwright.jobs.demo_library import demo_job, demo_price_book
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.book_document import price_book_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables


def test_parts_by_length_change_where_the_book_says() -> None:
    shop = demo_price_book()
    for part in shop["parts"]:
        if part["kind"] == "signal_lead":
            part["valid_from"] = "2031-01-01"
    whole = price_book_from_document(shop)
    job = job_from_document(demo_job("combustion_car"), tables(), fuse_tables().types)
    circuit = job.circuits[0]
    # Line pairs are 3, 5 and 7 m long in the demo book, and no other lead is of another length.
    lengths_m = np.array([2.0, 3.0, 3.000001, 5.0, 6.0, 7.0, 7.000001, 9.0])
    place = Place(SIGNAL_LEAD_LENGTH, circuit.key, 0)
    lengths = RowLengths(Variation(job, 8, {place: lengths_m}), slice(None))
    first, second = Thresholds(circuit, whole).of(lengths)
    assert np.array_equal(first, [0, 1, 2, 3, 4, 5, 6, 6])
    assert second == 2
    # Before the first day of all leads no length makes a difference.
    first, second = Thresholds(circuit, whole.on_day(date(2030, 1, 1))).of(lengths)
    assert np.array_equal(first, [0] * 8)
    assert second == 0
