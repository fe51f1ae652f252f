"""Kits, packs and price breaks against pieces: solved once for each distinct requirement."""

from typing import Any

import numpy as np
import pytest

from drawn_row_bills import assert_rows_are_single_bills, drawn_sizes
from loomwright.batch.bills.row_bills import RowBills
from loomwright.batch.variation import SEGMENT_LENGTH, Place, Variation
from loomwright.jobs.demo_library import demo_job, demo_price_book
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.bill import NO_OPTIONS
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.part_lines import PartPricing
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
JOB = "hybrid_jump_start"
ROUTE = Place(SEGMENT_LENGTH, "bass_feed", 0)


def test_a_distinct_requirement_is_solved_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ties are one for each 0.3 m and one more, so that 2,000 routes up to 3 m need few counts."""
    solved = 0
    lines = PartPricing.lines

    def counted(self: PartPricing, requirements: Any) -> Any:
        nonlocal solved
        solved += 1
        return lines(self, requirements)

    monkeypatch.setattr(PartPricing, "lines", counted)
    shop = demo_price_book()
    for part in shop["parts"]:
        if part["kind"] == "cable_tie":
            part["price_breaks"] = [{"from_quantity": "12", "unit_price": "0.01"}]
    job = job_from_document(demo_job(JOB), tables(), fuse_tables().types)
    lengths_m = np.random.default_rng(1).uniform(0.5, 3.0, 2000)
    variation = Variation(job, 2000, {ROUTE: lengths_m})
    sizes = drawn_sizes(job, 1, np.random.default_rng(11))
    every = np.zeros(2000, np.int64)
    for own in sizes.circuits.values():
        for field in type(own).__slots__:
            setattr(own, field, getattr(own, field)[every])
    sizes.unusual = np.zeros(2000, np.bool_)
    bills = RowBills(price_book_from_document(shop), NO_OPTIONS)
    bills.of(variation, sizes)
    # From 0.5 to 3 m there are ten counts at most.
    assert 1 < solved <= 10
    bills.of(variation, sizes)
    assert solved <= 10


def several_brands(shop: Document, brands: int) -> None:
    """Each conductor by several makers, in other increments and one of them in packs."""
    for part in [part for part in shop["parts"] if part["kind"] == "conductor"]:
        for brand in range(brands):
            other = {**part, "key": f"{part['key']}-{brand}", "sale_increment": f"0.{3 + brand}"}
            other["unit_price"] = f"{1 + brand}.07"
            if brand == 0:
                other["packs"] = [{"quantity": "2.5", "price": "1.99"}]
            shop["parts"].append(other)


@pytest.mark.parametrize("name", ["van_second_battery", "truck_24v"])
def test_needs_that_several_parts_serve_are_covered_as_a_single_bill_does(name: str) -> None:
    """The van has more conductors alike than there are sums looked at for each part."""
    shop = demo_price_book()
    several_brands(shop, 2)
    book = price_book_from_document(shop)
    job = job_from_document(demo_job(name), tables(), fuse_tables().types)
    draw, count = np.random.default_rng(2), 12
    # The same conductor for all circuits.
    sizes = drawn_sizes(job, count, draw)
    for own in sizes.circuits.values():
        own.verdict[:], own.size[:], own.fuse_type[:], own.rated_current_a[:] = 0, 4, 0, 30.0
    key = job.circuits[0].key
    lengths_m = np.array([0.5, 0.5, 0.5000001, *draw.uniform(0.4, 3.0, count - 3)])
    variation = Variation(job, count, {Place(SEGMENT_LENGTH, key, 0): lengths_m})
    columns = RowBills(book, NO_OPTIONS).of(variation, sizes)
    held = assert_rows_are_single_bills(variation, sizes, columns, book, NO_OPTIONS, range(count))
    assert held == count
