"""What a price book keeps from bill to bill is bounded, found again, and changes no bill."""

import gc
import weakref
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.jobs.bill_answer import bill_document
from loomwright.jobs.demo_library import demo_book, demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import priced_job
from loomwright.pricing.bill import bill_of_materials
from loomwright.pricing.kept import Kept
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import Requirement, rounded_up
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables


@pytest.fixture
def without_collector() -> Iterator[None]:
    gc.collect()
    gc.disable()
    yield
    gc.enable()


def test_no_more_is_kept_than_allowed_and_the_last_always_is() -> None:
    kept: Kept[int, str] = Kept(3)
    for number in range(11):
        assert kept.keep(number, str(number)) == str(number)
        assert len(kept) <= 3
        assert kept[number] == str(number)
    assert dict(kept) == {9: "9", 10: "10"}


def test_what_is_derived_is_made_once_for_each_book() -> None:
    book, made = replace(demo_book()), list[str]()

    def name(of: PriceBook) -> str:
        made.append(of.name)
        return of.name

    assert [book.derived(name), book.derived(name)] == [book.name] * 2
    assert made == [book.name]
    other = replace(book, name="another book")
    assert other.derived(name) == "another book"
    assert made == [book.name, "another book"]


@pytest.mark.usefixtures("without_collector")
def test_a_book_that_priced_a_job_goes_as_soon_as_nobody_has_it() -> None:
    book = replace(demo_book())
    job = job_from_document(demo_job("van_second_battery"), tables(), fuse_tables().types)
    assert priced_job(job, book, tables(), fuse_tables()).bill.lines
    gone = weakref.ref(book)
    del book
    assert gone() is None


NUMBERS = st.decimals(min_value=0, max_value=10**6, places=None, allow_nan=False).filter(
    lambda number: len(number.as_tuple().digits) <= 12
)
INCREMENTS = st.sampled_from(["1", "10", "1E+1", "0.5", "0.50", "0.05", "2.5", "0.001"])


@given(NUMBERS, INCREMENTS.map(Decimal))
def test_what_is_rounded_up_stays_as_it_is_to_the_digit(needed: Decimal, step: Decimal) -> None:
    once = rounded_up(needed, step)
    assert str(rounded_up(once, step)) == str(once)


@pytest.mark.parametrize("first", ["2", "2.0", "2.00", "0.2E+1"])
def test_equal_quantities_are_printed_as_if_the_other_had_never_been_asked_for(first: str) -> None:
    part = next(part for part in demo_book().parts["conductor"] if part.unit == "MTR")

    def stated(quantity: str, book: PriceBook) -> str:
        needed = Requirement(
            "conductor",
            part.attributes,
            Decimal(quantity),
            "MTR",
            "asked for",
            "power_conductor",
            "",
        )
        return repr(bill_document(bill_of_materials([needed], [], book)))

    book = replace(demo_book())
    stated(first, book)
    for second in ("2", "2.0", "2.00", "20E-1"):
        assert stated(second, book) == stated(second, replace(demo_book()))
