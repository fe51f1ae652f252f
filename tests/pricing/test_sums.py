"""Sums of columns are those of each bill alone, and those worked by hand."""

from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawn_bills import book_of, books, pricings
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.labour_lines import lacking_units
from loomwright.pricing.minor_units import Units
from loomwright.pricing.money import ROUNDING_MODES
from loomwright.pricing.pricing_options import pricing_from_document
from loomwright.pricing.sums import LineUnits, change_of_whole, lacks_lines, sums_of

HALF_UP = ROUNDING_MODES["half_up"]
AMOUNTS = st.lists(st.integers(0, 10**8), min_size=3, max_size=3)


def whole(figures: object) -> list[int]:
    return np.asarray(figures).tolist()  # type: ignore[no-any-return]


@given(books(), pricings(), st.data())
def test_sums_of_columns_are_those_of_each_bill(
    shop: dict[str, Any], pricing: dict[str, Any], data: st.DataObject
) -> None:
    book = price_book_from_document(shop)
    options = pricing_from_document(pricing, book.currency)
    kinds = [
        (category, data.draw(st.booleans()))
        for category in data.draw(st.lists(st.sampled_from(list(book.tax_categories)), max_size=4))
    ]
    # A column stands beside figures that all bills have alike.
    drawn: list[list[Units]] = [
        [np.array(data.draw(AMOUNTS)), data.draw(st.integers(0, 10**6)), np.array([0, -5, 7])]
        for _ in kinds
    ]
    columns = [
        LineUnits(category, is_labour, *figures)
        for (category, is_labour), figures in zip(kinds, drawn, strict=True)
    ]
    together = sums_of(columns, book, options)
    for row in range(3):
        own = [
            LineUnits(
                category,
                is_labour,
                *(int(each[row]) if isinstance(each, np.ndarray) else each for each in figures),
            )
            for (category, is_labour), figures in zip(kinds, drawn, strict=True)
        ]
        alone = sums_of(own, book, options)
        for name in (
            "list_total",
            "discount",
            "shared",
            "parts_total",
            "labour_total",
            "lines_total",
            "net_total",
            "exempt_total",
            "tax_total",
            "total",
            "deposit",
            "balance_due",
        ):
            found, expected = getattr(together, name), getattr(alone, name)
            assert (found is None) == (expected is None)
            if found is not None:
                assert int(np.broadcast_to(found, 3)[row]) == expected


def test_sums_are_worked_by_hand() -> None:
    book = price_book_from_document(
        book_of(
            [],
            taxes=[{"key": "a", "name": "A", "percent": "10"}],
            tax_categories=[{"key": "full", "taxes": ["a"]}, {"key": "none", "taxes": []}],
        )
    )
    options = pricing_from_document({"deposit": {"percent": "50"}}, "EUR")
    lines = [
        LineUnits("full", False, np.array([1000, 2000]), 100, np.array([0, -5])),
        LineUnits("none", True, 300, 0, 0),
    ]
    sums = sums_of(lines, book, options)
    # 900 and 1895 with a tenth each, 90 and 189.5 rounded up; and 300 of labour without.
    assert whole(sums.list_total) == [1300, 2300]
    assert sums.discount == 100
    assert whole(sums.shared) == [0, -5]
    assert whole(sums.parts_total) == [900, 1895]
    assert sums.labour_total == sums.exempt_total == 300
    assert whole(sums.lines_total) == whole(sums.net_total) == [1200, 2195]
    assert whole(sums.tax_total) == [90, 190]
    assert whole(sums.total) == [1290, 2385]
    # Half of 2385 is 1192.5.
    assert sums.deposit is not None
    assert whole(sums.deposit) == [645, 1193]
    assert whole(sums.balance_due) == [645, 1192]


def test_what_is_off_the_whole_is_that_of_each_bill() -> None:
    before = np.array([0, 1000, 995])
    package = pricing_from_document({"package": {"name": "p", "price": "9.99"}}, "EUR")
    assert whole(change_of_whole(before, package, HALF_UP)) == [999, -1, 4]
    assert whole(lacks_lines(before, package)) == [True, False, False]
    for price, expected in (("0.00", False), ("0.01", True)):
        least = pricing_from_document({"package": {"name": "p", "price": price}}, "EUR")
        assert bool(lacks_lines(0, least)) is expected
    share = pricing_from_document({"document_discount": {"percent": "10"}}, "EUR")
    assert whole(change_of_whole(before, share, HALF_UP)) == [0, -100, -100]
    assert not np.any(lacks_lines(before, share))
    amount = pricing_from_document({"document_discount": {"amount": "0.07"}}, "EUR")
    assert whole(change_of_whole(before, amount, HALF_UP)) == [-7, -7, -7]


@pytest.mark.parametrize(("charged", "lacking"), [(0, 5000), (4999, 1), (5000, 0), (9000, 0)])
def test_labour_lacks_what_it_is_below_the_least_charge(charged: int, lacking: int) -> None:
    book = price_book_from_document(book_of([], labour_minimum="50"))
    assert book.labour_minimum == Decimal(50)
    assert lacking_units(charged, book) == lacking
    assert whole(lacking_units(np.array([charged]), book)) == [lacking]
