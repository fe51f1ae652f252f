"""Bills against arithmetic done by hand, and the laws of lines and totals."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawn_bills import LAY, book_of
from loomwright.pricing.bill import NO_OPTIONS, Bill, Bills, bill_of_materials
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.kinds import KINDS, UNIT_WORDS
from loomwright.pricing.lines import Need, reason_of
from loomwright.pricing.money import money_total
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.requirements import (
    LabourRequirement,
    QuantityRules,
    Requirement,
    exact_length_m,
    rounded_up,
)

CASES = Path(__file__).parent.parent / "cases" / "bill"


def cases(name: str) -> list[Any]:
    return [
        pytest.param(case, id=case["id"])
        for case in json.loads((CASES / f"{name}.json").read_text(encoding="utf-8"))
    ]


def requirement(what: str, attributes: dict[str, str], quantity: str) -> Requirement:
    numeric = {rule.needed for rule in KINDS[what].rules if rule.numeric}
    typed = {
        name: Decimal(value) if name in numeric else value for name, value in attributes.items()
    }
    return Requirement(what, typed, Decimal(quantity), "EA", "a test needs it", "test", "one")


@pytest.mark.parametrize("case", cases("sale_increments"))
def test_quantity_is_rounded_up_to_the_sale_increment(case: dict[str, Any]) -> None:
    stated = case["given"]
    sold = rounded_up(Decimal(stated["quantity"]), Decimal(stated["increment"]))
    assert sold == Decimal(case["expected"]["sold"])


@pytest.mark.parametrize("case", cases("bills"))
def test_bill_is_the_one_worked_by_hand(case: dict[str, Any]) -> None:
    stated, expected = case["given"], case["expected"]
    bill = bill_of_materials(
        [requirement(*part) for part in stated["parts"]],
        [
            LabourRequirement(key, pieces, Decimal(length), "a test needs it", "test", "one")
            for key, pieces, length in stated["labour"]
        ],
        price_book_from_document(stated["book"]),
    )
    lines = {line.key: (line.quantity, str(line.total)) for line in bill.lines}
    assert lines == {
        key: (Decimal(quantity), total) for key, (quantity, total) in expected["lines"].items()
    }
    assert [(entry.kind, entry.quantity) for entry in bill.unpriced] == [
        (kind, Decimal(quantity)) for kind, quantity in expected["unpriced"]
    ]
    assert str(bill.totals.net_total) == expected["net"]
    taxes = money_total((tax.amount for tax in bill.totals.taxes), bill.currency)
    assert str(taxes) == expected["tax"]
    assert str(bill.totals.total) == expected["total"]


PRICES = st.decimals(min_value=0, max_value=100_000, places=4)
QUANTITIES = st.decimals(min_value=0, max_value=1000, places=3)


@st.composite
def books_and_needs(draw: st.DrawFn) -> tuple[PriceBook, list[Requirement]]:
    currency = draw(st.sampled_from(("EUR", "JPY", "KWD")))
    prices = draw(st.lists(PRICES, min_size=1, max_size=8))
    increments = draw(
        st.lists(
            st.sampled_from(("1", "0.5", "0.25", "3", "10", "0.001")),
            min_size=len(prices),
            max_size=len(prices),
        )
    )
    document = {
        "name": "Random shop",
        "currency": currency,
        "taxes": [
            {
                "key": "tax",
                "name": "Tax",
                "percent": format(draw(st.decimals(min_value=0, max_value=100, places=2)), "f"),
            }
        ],
        "parts": [
            {
                "key": f"P{index}",
                "kind": "equipment",
                "description": "Random part",
                "attributes": {"reference": f"part {index}"},
                "unit": "EA",
                "sale_increment": increment,
                "unit_price": format(price, "f"),
            }
            for index, (price, increment) in enumerate(zip(prices, increments, strict=True))
        ],
    }
    # References past the end of the book stand for parts that it lacks.
    wanted = draw(
        st.lists(st.tuples(st.integers(0, len(prices) + 1), QUANTITIES), min_size=1, max_size=15)
    )
    needs = [
        requirement("equipment", {"reference": f"part {index}"}, str(quantity))
        for index, quantity in wanted
    ]
    return price_book_from_document(document), needs


def check_totals(bill: Bill) -> None:
    assert sum(line.total.minor_units for line in bill.lines) == bill.totals.net_total.minor_units
    assert bill.totals.parts_total + bill.totals.labour_total == bill.totals.net_total
    # A bill on which nothing could be priced has no line that a tax applies to.
    assert len(bill.totals.taxes) == min(len(bill.lines), 1)
    assert all(tax.base == bill.totals.net_total for tax in bill.totals.taxes)
    tax = money_total((tax.amount for tax in bill.totals.taxes), bill.currency)
    assert bill.totals.net_total + tax == bill.totals.total


@given(books_and_needs(), st.randoms(use_true_random=False))
def test_totals_are_the_sum_of_the_lines_in_any_order(
    drawn: tuple[PriceBook, list[Requirement]], random: Any
) -> None:
    book, needs = drawn
    bill = bill_of_materials(needs, [], book)
    check_totals(bill)
    shuffled = list(needs)
    random.shuffle(shuffled)
    again = bill_of_materials(shuffled, [], book)
    key_figures = [(line.key, line.quantity, line.total) for line in bill.lines]
    assert [(line.key, line.quantity, line.total) for line in again.lines] == key_figures
    assert again.totals.total == bill.totals.total


@given(books_and_needs())
def test_nothing_needed_is_lost_and_nothing_is_short(
    drawn: tuple[PriceBook, list[Requirement]],
) -> None:
    book, needs = drawn
    bill = bill_of_materials(needs, [], book)
    stated = sum((need.quantity for need in needs), Decimal(0))
    placed = [need.quantity for line in bill.lines for need in line.needs]
    placed += [need.quantity for entry in bill.unpriced for need in entry.needs]
    assert sum(placed, Decimal(0)) == stated
    assert len(placed) == len(needs)
    for line in bill.lines:
        part = next(part for part in book.parts[line.kind] if part.key == line.key)
        needed = sum((need.quantity for need in line.needs), Decimal(0))
        assert needed <= line.quantity < needed + part.sale_increment
        assert line.quantity % part.sale_increment == 0


def labour_book(charged_per: str) -> PriceBook:
    return price_book_from_document(
        {
            "name": "Labour shop",
            "currency": "EUR",
            "taxes": [{"key": "tax", "name": "VAT", "percent": "0"}],
            "parts": [],
            "labour": [
                {
                    "key": "lay",
                    "description": "Lay",
                    "charged_per": charged_per,
                    "standard_hours": "0.1",
                    "hourly_rate": "50",
                }
            ],
        }
    )


@pytest.mark.parametrize(
    ("charged_per", "hours"), [("job", "0.1"), ("piece", "0.3"), ("metre", "0.75")]
)
def test_labour_is_charged_by_what_the_book_says(charged_per: str, hours: str) -> None:
    # By hand: once 0.1 h; 3 pieces 0.3 h; 7.1 m 0.71 h, up to the next 0.05 h.
    wanted = [
        LabourRequirement("lay", 1, Decimal("3.1"), "first run", "test", "one"),
        LabourRequirement("lay", 2, Decimal("4.0"), "second run", "test", "two"),
    ]
    bill = bill_of_materials([], wanted, labour_book(charged_per))
    (line,) = bill.lines
    assert line.quantity == Decimal(hours)
    assert line.unit == "HUR"
    assert line.unit_word == "hour"
    assert bill.totals.labour_total == bill.totals.net_total == line.total


def test_a_part_sold_by_the_foot_serves_a_need_in_metres() -> None:
    book = price_book_from_document(
        {
            "name": "Foot shop",
            "currency": "USD",
            "taxes": [{"key": "tax", "name": "Sales tax", "percent": "0"}],
            "parts": [
                {
                    "key": "LEAD",
                    "kind": "remote_lead",
                    "description": "Lead by the foot",
                    "attributes": {"cross_section_mm2": 0.75},
                    "unit": "FOT",
                    "unit_price": "0.20",
                }
            ],
        }
    )
    need = Requirement(
        "remote_lead", {"cross_section_mm2": Decimal("0.75")}, Decimal("3.048"), "MTR", "", "", ""
    )
    # 0.3048 m is one international foot, exactly.
    (line,) = bill_of_materials([need], [], book).lines
    assert (line.quantity, line.unit, str(line.total)) == (Decimal(10), "FOT", "2.00")


def test_the_tightest_fit_comes_first_then_the_price() -> None:
    def loom(key: str, diameter: int, price: str) -> dict[str, Any]:
        return {
            "key": key,
            "kind": "split_loom",
            "description": "Loom",
            "attributes": {"inner_diameter_mm": diameter},
            "unit": "MTR",
            "unit_price": price,
        }

    book = price_book_from_document(
        {
            "name": "Loom shop",
            "currency": "EUR",
            "taxes": [{"key": "tax", "name": "VAT", "percent": "0"}],
            "parts": [
                loom("WIDE", 20, "0.10"),
                loom("FIT-DEAR", 10, "3"),
                loom("FIT", 10, "2"),
                loom("NARROW", 6, "0.10"),
            ],
        }
    )
    part = book.part_for("split_loom", {"least_inner_diameter_mm": Decimal("9.2")})
    assert part is not None
    assert part.key == "FIT"


def test_reasons_that_circuits_share_are_said_once() -> None:
    needs = [
        Need("lamp feed", Decimal(1), "one at the source", "test"),
        Need("lamp feed", Decimal(1), "one at the load", "test"),
        Need("heater feed", Decimal(1), "one at the source", "test"),
        Need("heater feed", Decimal(1), "one at the load", "test"),
        Need("radio feed", Decimal(1), "one at the load", "test"),
        Need("", Decimal(1), "whole job", "test"),
    ]
    assert reason_of(needs) == (
        "lamp feed, heater feed (each): one at the source, one at the load; "
        "radio feed: one at the load; whole job"
    )


def test_slack_waste_and_ties_follow_their_rules() -> None:
    rules = QuantityRules()
    # 5.2 m + 10 % = 5.72 m, and 0.15 m at each end; 4 m + 5 %; 1 + ceil(5.2 / 0.3) = 19.
    assert rules.conductor_length_m(Decimal("5.2")) == Decimal("6.02")
    assert rules.loom_length_m(Decimal(4)) == Decimal("4.2")
    assert rules.tie_count(Decimal("5.2")) == 19


@given(st.lists(st.integers(1, 10**7), min_size=1, max_size=20))
def test_binary_dust_never_sells_an_increment(micrometres: list[int]) -> None:
    summed = sum(value / 1e6 for value in micrometres)
    assert exact_length_m(summed) == Decimal(sum(micrometres)).scaleb(-6)


def test_every_unit_a_part_may_sell_in_has_a_word() -> None:
    assert {unit for kind in KINDS.values() for unit in kind.units} <= UNIT_WORDS.keys()


def test_bills_that_share_a_book_have_the_labour_that_each_asks_for() -> None:
    book = price_book_from_document(book_of([], labour=[LAY]))
    bills = Bills(book, NO_OPTIONS, None)
    for pieces in (1, 2, 1):
        wanted = [LabourRequirement("lay", pieces, Decimal(0), "why", "rule", "")]
        bill = bills.of([], wanted)
        # Half an hour each at 60.00.
        assert bill.totals.labour_total.minor_units == pieces * 3000
        assert bill == bill_of_materials([], wanted, book)
