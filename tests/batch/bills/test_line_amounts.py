"""Amounts of lines by their quantity: those of the single line, each worked out once."""

from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from loomwright.batch.bills.known_amounts import BookAmounts, KnownAmounts
from loomwright.batch.bills.line_amounts import GREATEST_AMOUNT, LineAmounts, LineDiscounts
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.lines import Line
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


def test_an_amount_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    once = LineDiscounts.amounts

    def noted(self: LineDiscounts, line: Line) -> tuple[int, int]:
        asked.append(line.quantity)
        return once(self, line)

    monkeypatch.setattr(LineDiscounts, "amounts", noted)
    priced = amounts(book(), {})
    for steps in ([1, 2, 1], [2, 5, 1], [5]):
        priced.of(np.array(steps))
    priced.of(2)
    assert sorted(asked) == [Decimal("0.5"), Decimal(1), Decimal("2.5")]


def test_amounts_stop_where_sums_of_them_might_not_fit() -> None:
    # 200000 half metres of 999999999 are 10^14 - 10^5, in cents a hundred times as much.
    priced = amounts(book(unit_price="999999999"), {})
    assert priced.of(200_000) == (GREATEST_AMOUNT, 0)
