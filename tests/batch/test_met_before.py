"""What engines before have met is lent to one engine at a time, and changes no row."""

import gc
from dataclasses import replace

import pytest

from catalogue import packages, vehicles
from loomwright.batch import met_before
from loomwright.batch.array_engine import ArrayEngine
from loomwright.batch.engine import Batch, batches
from loomwright.batch.memo import Memo
from loomwright.batch.met_before import lend
from loomwright.batch.pair import package_from_document, vehicle_from_document
from loomwright.batch.quote import Pricing
from loomwright.jobs.demo_library import demo_book


class Borrower:
    pass


@pytest.fixture(autouse=True)
def nothing_met(monkeypatch):
    gc.collect()
    monkeypatch.setattr(met_before, "_free", [])


def catalogue_batch(book):
    return Batch(
        [package_from_document(document) for document in packages(4)],
        [vehicle_from_document(document) for document in vehicles(30)],
        Pricing(book, {}),
    )


def rows_of(batch):
    engine = ArrayEngine(batch)
    return [rows.nested() for rows in batches(engine, batch, None, 64)]


def test_a_memo_forgets_the_oldest_and_makes_it_anew():
    made = []

    def make(key):
        made.append(key)
        return object()

    memo = Memo(2)
    first = memo.of("a", make)
    assert memo.of("b", make) is not first
    assert memo.of("a", make) is first
    memo.of("c", make)
    assert memo.of("a", make) is not first
    assert made == ["a", "b", "c", "a"]
    assert len(list(memo.values())) == 2


def test_a_memo_knows_a_value_of_nothing():
    made = []
    memo = Memo(2)
    for _ in range(2):
        assert memo.of("a", made.append) is None
    assert made == ["a"]


def test_what_was_met_is_lent_to_one_at_a_time_and_comes_back():
    book = demo_book()
    one, other = Borrower(), Borrower()
    met, meanwhile = lend(book, one), lend(book, other)
    assert met is not meanwhile
    del one
    assert lend(book, Borrower()) is met
    del other
    assert lend(replace(book), Borrower()) not in (met, meanwhile)


def test_the_books_lent_last_are_kept():
    books = [replace(demo_book()) for _ in range(met_before.GREATEST_BOOKS + 1)]
    met = [lend(book, Borrower()) for book in books]
    assert [lend(book, borrower) for book in books[1:] for borrower in [Borrower()]] == met[1:]
    assert lend(books[0], Borrower()) is not met[0]


def test_what_holds_too_many_cases_goes_with_its_engine(monkeypatch):
    batch = catalogue_batch(demo_book())
    rows_of(batch)
    (met,) = met_before._free
    cases = met.case_count()
    assert cases > 10
    monkeypatch.setattr(met_before, "GREATEST_CASES", cases - 1)
    rows_of(batch)
    assert met_before._free == []


def test_an_engine_goes_at_once_and_leaves_what_it_met():
    gc.disable()
    try:
        batch = catalogue_batch(demo_book())
        rows_of(batch)
        assert [met.book for met in met_before._free] == [batch.pricing.book]
    finally:
        gc.enable()


def test_rows_are_the_same_whatever_was_met_before():
    batch = catalogue_batch(demo_book())
    first = rows_of(batch)
    again = rows_of(batch)
    assert first == again
    fresh = rows_of(catalogue_batch(replace(demo_book())))
    assert fresh == first
