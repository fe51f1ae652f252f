"""Amounts of lines by their quantity: those of the single line."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from loomwright.batch.bills.known_amounts import BookAmounts, KnownAmounts
from loomwright.batch.bills.line_amounts import GREATEST_AMOUNT, LineAmounts, LineDiscounts
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.part_lines import PartPricing
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.pricing_options import pricing_from_document

PART = {
    "key": "TUBE",
    "kind": "cloth_tape",
    "description": "Tape",
    "attributes": {"tape_width_mm": 19},
    "unit": "MTR",
    "sale_increment": "0.5",
    "unit_price": "1.23",
}


def book(**changes: Any) -> PriceBook:
    return price_book_from_document(
        {"name": "Shop", "currency": "EUR", "parts": [{**PART, **changes}]}
    )


def amounts(shop: PriceBook, pricing: dict[str, Any]) -> LineAmounts:
    options = pricing_from_document(pricing, "EUR")
    return KnownAmounts(BookAmounts(shop), options).of_part(shop.part_by_key["TUBE"])


def test_amounts_are_those_worked_by_hand() -> None:
    # Half metres of 1.23: 0.615, 1.23 and 1.845; 10 % off the rounded 0.62, 1.23 and 1.85.
    pricing = {"line_discounts": [{"kind": "cloth_tape", "percent": "10"}]}
    priced = amounts(book(), {**pricing, "package": {"name": "all", "price": "1"}})
    listed, discount = priced.of(np.array([3, 1, 0, 2, 1]))
    assert np.array_equal(listed, [185, 62, 0, 123, 62])
    assert np.array_equal(discount, [19, 6, 0, 12, 6])
    assert priced.of(3) == (185, 19)
    # So many that they are not kept.
    listed, discount = priced.of(np.array([2_000_000, 1]))
    assert np.array_equal(listed, [123_000_000, 62])
    assert np.array_equal(discount, [12_300_000, 6])
    assert priced.of(2_000_000) == (123_000_000, 12_300_000)


def test_without_a_discount_there_is_no_column_of_it() -> None:
    assert amounts(book(), {}).of(np.array([1, 2]))[1] == 0


@given(
    st.decimals("0", "9999", places=4),
    st.sampled_from(["0.1", "0.25", "0.5", "1", "3", "0.007"]),
    st.sampled_from(["0", "5", "12.5", "33.333", "100"]),
    st.sampled_from(["half_up", "half_even", "down", "up"]),
    st.lists(st.integers(0, 3000), min_size=1, max_size=8),
)
def test_amounts_are_those_of_the_single_line(
    price: Decimal, increment: str, percent: str, mode: str, steps: list[int]
) -> None:
    shop = book(unit_price=str(price), sale_increment=increment)
    shop = replace(shop, rounding=replace(shop.rounding, mode=mode))
    pricing = {"line_discounts": [{"key": "TUBE", "percent": percent}]}
    discounts = LineDiscounts(shop, pricing_from_document(pricing, "EUR"))
    part, pricing_of_parts = shop.part_by_key["TUBE"], PartPricing(shop)
    single = [
        discounts.amounts(pricing_of_parts.loose_line(part, each * part.sale_increment))
        for each in steps
    ]
    priced = amounts(shop, pricing)
    listed, discount = (np.broadcast_to(each, len(steps)) for each in priced.of(np.array(steps)))
    assert list(zip(listed.tolist(), discount.tolist(), strict=True)) == single
    assert [amounts(shop, pricing).of(each) for each in steps] == single


def test_products_that_64_bits_may_not_hold_are_asked_for_one_by_one() -> None:
    # 0.000001 of 999999999.999999 is 99999.9999999999 cents: 60000 times its numerator has 20
    # digits.
    shop = book(unit_price="999999999.999999", sale_increment="0.000001")
    pricing = {"line_discounts": [{"key": "TUBE", "percent": "33.333"}]}
    listed, discount = amounts(shop, pricing).of(np.array([2, 60_000]))
    assert np.array_equal(listed, [200_000, 6_000_000_000])
    assert np.array_equal(discount, [66_666, 1_999_980_000])
    assert amounts(shop, pricing).of(60_000) == (6_000_000_000, 1_999_980_000)


def test_amounts_stop_where_sums_of_them_might_not_fit() -> None:
    # 200000 half metres of 999999999 are 10^14 - 10^5, in cents a hundred times as much.
    priced = amounts(book(unit_price="999999999"), {})
    assert priced.of(200_000) == (GREATEST_AMOUNT, 0)
