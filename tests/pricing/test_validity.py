"""Days on which prices hold, and the shelves of a book."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from loomwright.engineering.errors import EngineeringError
from loomwright.pricing.bill import bill_of_materials
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.pricing.price_book import GREATEST_KNOWN_NEEDS, PriceBook, Validity
from loomwright.pricing.pricing_options import PricingOptions
from loomwright.pricing.requirements import Requirement

FIRST, LAST = date(2031, 3, 1), date(2031, 3, 31)
DAY_BEFORE, DAY_AFTER = date(2031, 2, 28), date(2031, 4, 1)


@pytest.mark.parametrize(
    ("validity", "held"),
    [
        (Validity(FIRST, LAST), [False, True, True, False]),
        (Validity(FIRST, None), [False, True, True, True]),
        (Validity(None, LAST), [True, True, True, False]),
        (Validity(), [True, True, True, True]),
    ],
)
def test_a_price_holds_from_its_first_day_to_its_last(validity: Validity, held: list[bool]) -> None:
    days = (DAY_BEFORE, FIRST, LAST, DAY_AFTER)
    assert [validity.holds_on(day) for day in days] == held
    assert validity.holds_on(None)


def tie(key: str, diameter: float, price: str, **changes: Any) -> dict[str, Any]:
    return {
        "key": key,
        "kind": "cable_tie",
        "description": "Tie",
        "attributes": {"greatest_bundle_mm": diameter},
        "unit": "EA",
        "unit_price": price,
        **changes,
    }


def kit(**contents: str) -> dict[str, Any]:
    held = [{"part": key, "quantity": each} for key, each in contents.items()]
    return {"key": "KIT", "description": "Kit", "contents": held, "unit_price": "1"}


def book_of(*parts: dict[str, Any], **changes: Any) -> PriceBook:
    return price_book_from_document(
        {"name": "Shop", "currency": "EUR", "parts": list(parts), **changes}
    )


def keys(book: PriceBook, day: date | None) -> tuple[set[str], set[str]]:
    held = book.on_day(day)
    return (
        {part.key for of_kind in held.parts.values() for part in of_kind},
        {entry.key for entry in held.kits},
    )


def test_a_kit_holds_only_while_all_its_parts_do() -> None:
    book = book_of(
        tie("ALWAYS", 5, "1"),
        tie("MARCH", 6, "1", valid_from="2031-03-01", valid_until="2031-03-31"),
        kits=[kit(ALWAYS="1", MARCH="1")],
    )
    assert keys(book, FIRST) == ({"ALWAYS", "MARCH"}, {"KIT"})
    assert keys(book, DAY_AFTER) == ({"ALWAYS"}, set())
    assert keys(book, None) == ({"ALWAYS", "MARCH"}, {"KIT"})


def test_a_kit_of_all_that_still_holds_goes_on() -> None:
    book = book_of(tie("ALWAYS", 5, "1"), tie("ENDED", 6, "1", valid_until="2031-02-28"))
    book = replace(book, kits=book_of(tie("ALWAYS", 5, "1"), kits=[kit(ALWAYS="2")]).kits)
    assert keys(book, FIRST) == ({"ALWAYS"}, {"KIT"})


def test_a_kit_ends_by_its_own_day_too() -> None:
    ended = {**kit(ALWAYS="1"), "valid_until": "2031-03-31"}
    book = book_of(tie("ALWAYS", 5, "1"), tie("OTHER", 6, "1"), kits=[ended])
    assert keys(book, LAST)[1] == {"KIT"}
    assert keys(book, DAY_AFTER)[1] == set()


def test_all_parts_that_fit_alike_serve_and_the_cheapest_is_first() -> None:
    book = book_of(
        tie("WIDE", 12, "0.10"),
        tie("B", 10, "2"),
        tie("DEAR", 10, "3"),
        tie("A", 10, "2"),
        tie("NARROW", 9, "0.10"),
    )
    needed = {"bundle_diameter_mm": Decimal(10)}
    assert [part.key for part in book.parts_for("cable_tie", needed)] == ["A", "B", "DEAR"]
    wider = {"bundle_diameter_mm": Decimal("10.1")}
    assert [part.key for part in book.parts_for("cable_tie", wider)] == ["WIDE"]
    assert book.parts_for("cable_tie", {"bundle_diameter_mm": Decimal(13)}) == ()
    assert book.part_for("cable_tie", {"bundle_diameter_mm": Decimal(13)}) is None


@pytest.mark.parametrize(
    ("cable", "served"), [("4.9", False), ("5", True), ("9", True), ("9.1", False)]
)
def test_a_grommet_serves_between_its_bounds(cable: str, served: bool) -> None:
    grommet = {
        **tie("GROM", 0, "1"),
        "kind": "grommet",
        "attributes": {"smallest_cable_mm": 5, "greatest_cable_mm": 9},
    }
    parts = book_of(grommet).parts_for("grommet", {"cable_diameter_mm": Decimal(cable)})
    assert bool(parts) == served


NEED = Requirement(
    "cable_tie", {"bundle_diameter_mm": Decimal(5)}, Decimal(1), "EA", "why", "rule", ""
)


def last_day(as_of: date | None, part_ends: str | None = None, **changes: Any) -> date | None:
    ends = {} if part_ends is None else {"valid_until": part_ends}
    book = book_of(
        tie("USED", 5, "1", **ends), tie("UNUSED", 9, "1", valid_until="2031-03-02"), **changes
    )
    return bill_of_materials([NEED], [], book, PricingOptions(as_of=as_of)).valid_until


def test_a_bill_holds_until_the_first_of_its_limits() -> None:
    # What is not on the bill does not limit it.
    assert last_day(FIRST) is None
    assert last_day(None) is None
    assert last_day(FIRST, part_ends="2031-03-31") == LAST
    assert last_day(FIRST, valid_until="2031-03-31") == LAST
    assert last_day(FIRST, part_ends="2031-06-30", valid_until="2031-03-31") == LAST
    # A quote of 30 days from 1 March on ends on the 31st.
    assert last_day(FIRST, quote_days=30) == LAST
    assert last_day(None, quote_days=30) is None
    assert last_day(FIRST, part_ends="2031-03-10", quote_days=30) == date(2031, 3, 10)


def test_a_bill_of_a_kit_ends_with_the_kit() -> None:
    cheap = {**kit(USED="1"), "unit_price": "0.50", "valid_until": "2031-03-31"}
    book = book_of(tie("USED", 5, "1"), kits=[cheap])
    bill = bill_of_materials([NEED], [], book, PricingOptions(as_of=FIRST))
    assert ([line.key for line in bill.lines], bill.valid_until) == (["KIT"], LAST)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({"valid_until": "2031-02-28"}, "from the beginning until 2031-02-28, not on 2031-03-01"),
        ({"valid_from": "2031-03-31"}, "from 2031-03-31 until further notice, not on 2031-03-01"),
    ],
)
def test_a_book_out_of_its_days_is_refused(limits: dict[str, str], words: str) -> None:
    with pytest.raises(EngineeringError, match=words) as caught:
        bill_of_materials([], [], book_of(**limits), PricingOptions(as_of=FIRST))
    assert caught.value.code == "price_book_not_valid"


@pytest.mark.parametrize(
    ("book", "words"),
    [
        (book_of(), "it has: none"),
        (
            book_of(
                difficulty=[
                    {"key": "easy", "description": "Easy", "factor": "0.8"},
                    {"key": "tight", "description": "Tight", "factor": "1.5"},
                ]
            ),
            "it has: easy, tight",
        ),
    ],
    ids=["none", "two"],
)
def test_an_unknown_difficulty_is_refused_with_those_that_are_known(
    book: PriceBook, words: str
) -> None:
    with pytest.raises(EngineeringError, match=words):
        bill_of_materials([], [], book, difficulty="odd")


@pytest.mark.parametrize(
    ("first", "last", "is_taken"),
    [
        ("2031-03-01", "2031-03-01", True),
        ("2031-03-01", "2031-02-28", False),
        (None, "2031-02-28", True),
        ("2031-03-01", None, True),
    ],
)
def test_days_run_forwards(first: str | None, last: str | None, is_taken: bool) -> None:
    days = {"valid_from": first, "valid_until": last}
    stated = {name: day for name, day in days.items() if day is not None}
    if is_taken:
        book_of(**stated)
    else:
        with pytest.raises(DocumentError, match="/valid_until"):
            book_of(**stated)


def test_parts_found_before_are_found_again_also_where_older_needs_were_dropped() -> None:
    book = book_of(tie("THIN", 5.0, "0.10"), tie("THICK", 50.0, "0.20"))
    for tenths in (*range(GREATEST_KNOWN_NEEDS + 2), 0, 50, 51, 500, 501):
        found = book.parts_for("cable_tie", {"bundle_diameter_mm": Decimal(tenths) / 10})
        expected = ["THIN"] if tenths <= 50 else ["THICK"] if tenths <= 500 else []
        assert [part.key for part in found] == expected


def test_a_part_leaves_no_choice_if_it_is_sold_loose_at_one_price_and_in_no_kit() -> None:
    packs = {"packs": [{"quantity": "10", "price": "0.50"}]}
    breaks = {"price_breaks": [{"from_quantity": "10", "unit_price": "0.05"}]}
    book = book_of(
        tie("PLAIN", 5.0, "0.10"),
        tie("PACKED", 6.0, "0.10", **packs),
        tie("BROKEN", 7.0, "0.10", **breaks),
        tie("HELD", 8.0, "0.10"),
        kits=[kit(HELD="2")],
    )
    assert book.without_choice == {"PLAIN"}
