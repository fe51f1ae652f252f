"""What a check of a price book finds, each finding on a book that has just that fault.

What is worth a finding is common practice of a shop; there is no published source.
"""

import copy
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from drawn_books import books
from hypothesis import given
from hypothesis import strategies as st

from loomwright.pricing.book_check import (
    FINDINGS,
    Finding,
    duplicated_findings,
    incomplete_range_findings,
    stale_findings,
    unused_findings,
)
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.kinds import KINDS
from loomwright.pricing.price_book import PriceBook
from loomwright.pricing.price_check import below_cost_findings, dearer_together_findings

Document = dict[str, Any]
DAY = date(2031, 4, 30)


def book() -> Document:
    """A book without any finding but for the kinds that it lacks."""
    part = {"unit": "EA", "unit_price": "2.00", "cost": "1.00"}
    return {
        "name": "Test shop",
        "currency": "EUR",
        "taxes": [{"key": "vat", "name": "VAT", "percent": "25"}],
        "parts": [
            {
                **part,
                "key": "F-30",
                "kind": "fuse",
                "description": "Fuse",
                "attributes": {"fuse_type": "blade", "rating_a": 30},
                "price_breaks": [{"from_quantity": "10", "unit_price": "1.50"}],
                "packs": [{"quantity": "20", "price": "28.00"}],
            },
            {
                **part,
                "key": "H-40",
                "kind": "fuse_holder",
                "description": "Holder",
                "attributes": {
                    "fuse_type": "blade",
                    "greatest_rating_a": 40,
                    "greatest_cross_section_mm2": 6,
                    "connection": "M6",
                },
            },
        ],
        "kits": [
            {
                "key": "K",
                "description": "Fuse and holder",
                "unit_price": "3.50",
                "contents": [{"part": "F-30", "quantity": "1"}, {"part": "H-40", "quantity": "1"}],
            }
        ],
        "labour": [
            {
                "key": "fit",
                "description": "Fit",
                "charged_per": "job",
                "standard_hours": "1",
                "hourly_rate": "60",
                "hourly_cost": "40",
            }
        ],
    }


def read(*changes: tuple[str, Any]) -> PriceBook:
    """The book with members set: paths such as ``parts/0/cost``."""
    document = book()
    for path, value in changes:
        holder: Any = document
        *above, last = path.split("/")
        for step in above:
            holder = holder[int(step) if step.isdigit() else step]
        if isinstance(holder, list):
            holder.append(value)
        else:
            holder[last] = value
    return price_book_from_document(document)


def seen(findings: list[Finding]) -> list[tuple[str, str, tuple[str, ...]]]:
    assert all(entry.finding in FINDINGS and entry.message.endswith(".") for entry in findings)
    return [(entry.finding, entry.kind, entry.keys) for entry in findings]


def day(days: int) -> str:
    return (DAY + timedelta(days=days)).isoformat()


def test_the_plain_book_has_no_finding() -> None:
    plain = read()
    assert seen(stale_findings(plain, DAY)) == []
    assert seen(duplicated_findings(plain)) == []
    assert seen(below_cost_findings(plain)) == []
    assert seen(dearer_together_findings(plain)) == []


@pytest.mark.parametrize(
    ("first", "last", "finding"),
    [
        (None, day(-1), "expired"),
        (None, day(0), "ends_soon"),
        # A month's notice; common practice, no source.
        (None, day(30), "ends_soon"),
        (None, day(31), None),
        (day(1), None, "not_yet_valid"),
        (day(0), None, None),
    ],
)
@pytest.mark.parametrize(
    ("place", "kind", "key"),
    [("", "book", "Test shop"), ("parts/1/", "fuse_holder", "H-40"), ("kits/0/", "kit", "K")],
)
def test_stale_is_what_does_not_hold_or_ends_soon(
    first: str | None, last: str | None, finding: str | None, place: str, kind: str, key: str
) -> None:
    bounds = (("valid_from", first), ("valid_until", last))
    changed = read(*((f"{place}{name}", value) for name, value in bounds if value))
    found = seen(stale_findings(changed, DAY))
    expected = [] if finding is None else [(finding, kind, (key,))]
    if key == "H-40" and finding in ("expired", "not_yet_valid"):
        expected.append(("holds_stale_part", "kit", ("K", "H-40")))
    assert found == expected


def twin(**members: Any) -> tuple[str, Document]:
    return "parts/-", {**copy.deepcopy(book()["parts"][0]), "key": "F-30-B", **members}


def test_parts_in_each_others_place_are_named_with_the_one_that_is_taken() -> None:
    cheaper = duplicated_findings(read(twin(unit_price="1.90", description="Other")))
    assert seen(cheaper) == [("same_attributes", "fuse", ("F-30-B", "F-30"))]
    assert "F-30-B is taken: 1.9 against 2 a unit." in cheaper[0].message
    (alike,) = duplicated_findings(read(twin()))
    assert alike.keys == ("F-30", "F-30-B")
    assert "F-30 is taken: at the same price of 2 its key comes first." in alike.message


def test_packs_and_breaks_are_a_reason_to_look_twice_at_what_is_taken() -> None:
    words = "Packs and price breaks may make another cheaper."
    plain = read(("parts/0/packs", []), ("parts/0/price_breaks", []))
    for changes, is_told in (
        (twin(packs=[], price_breaks=[]), False),
        (twin(packs=[]), True),
        (twin(price_breaks=[]), True),
    ):
        document = book()
        document["parts"][0].update(packs=[], price_breaks=[])
        document["parts"].append(changes[1])
        (found,) = duplicated_findings(price_book_from_document(document))
        assert found.message.endswith(words) == is_told
    assert duplicated_findings(plain) == []


def test_duplicates_named_by_two_findings_are_named_together_for_their_words() -> None:
    other = {"fuse_type": "blade", "rating_a": 25}
    document = book()
    del document["kits"]
    document["parts"] += [
        twin()[1],
        twin(key="F-25", attributes=other)[1],
        twin(key="F-25-B", attributes=other)[1],
    ]
    pairs = [("F-30", "F-30-B"), ("F-25", "F-25-B")]
    assert seen(duplicated_findings(price_book_from_document(document))) == [
        *(("same_attributes", "fuse", pair) for pair in pairs),
        ("same_description", "fuse", (*pairs[0], *pairs[1])),
    ]


@pytest.mark.parametrize(
    ("count", "end"), [(12, "E-11."), (13, "E-11 and 1 more."), (15, "E-11 and 3 more.")]
)
def test_a_dozen_keys_are_told_and_the_rest_counted(count: int, end: str) -> None:
    document = book()
    part = {"kind": "equipment", "description": "E", "unit": "EA", "unit_price": "1"}
    document["parts"] = [
        {**part, "key": f"E-{place}", "attributes": {"reference": f"e {place}"}}
        for place in range(count)
    ]
    del document["kits"], document["labour"]
    (found,) = unused_findings(price_book_from_document(document), ())
    assert len(found.keys) == count
    assert found.message.endswith(end)


def test_the_part_named_as_taken_is_the_one_that_the_book_gives() -> None:
    needed = {"fuse_type": "blade", "rating_a": Decimal(30)}
    for price in ("1.90", "2.00", "2.10"):
        changed = read(twin(unit_price=price))
        taken = changed.part_for("fuse", needed)
        assert taken is not None
        assert duplicated_findings(changed)[0].keys[0] == taken.key


def test_prices_that_follow_one_another_are_no_duplicates() -> None:
    ends = ("parts/0/valid_until", day(0))
    assert seen(duplicated_findings(read(ends, twin(valid_from=day(1))))) == []
    assert len(duplicated_findings(read(ends, twin(valid_from=day(0))))) == 1


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)).map(sorted), max_size=6))
def test_duplicates_are_those_that_hold_on_one_day(periods: list[list[int]]) -> None:
    document = book()
    document["parts"] = [
        {
            **book()["parts"][0],
            "key": f"F-{place}",
            "valid_from": day(first),
            "valid_until": day(last),
        }
        for place, (first, last) in enumerate(periods)
    ]
    del document["kits"]
    days = [{at for at, (a, b) in enumerate(periods) if a <= each <= b} for each in range(21)]
    expected = {f"F-{place}" for together in days if len(together) > 1 for place in together}
    found = duplicated_findings(price_book_from_document(document))
    assert {key for entry in found for key in entry.keys} == expected


def test_articles_that_read_alike_are_named() -> None:
    other = {"fuse_type": "blade", "rating_a": 25}
    found = duplicated_findings(read(twin(attributes=other, description=" fuse"[1:] + "  ")))
    assert seen(found) == [("same_description", "fuse", ("F-30", "F-30-B"))]
    assert seen(duplicated_findings(read(("kits/0/description", "FUSE")))) == [
        ("same_description", "fuse", ("F-30", "K"))
    ]


@pytest.mark.parametrize(
    ("path", "value", "finding", "key"),
    [
        ("parts/1/unit_price", "0.99", "unit_price_below_cost", "H-40"),
        ("parts/0/price_breaks/0/unit_price", "0.99", "price_break_below_cost", "F-30"),
        ("parts/0/packs/0/price", "19.99", "pack_below_cost", "F-30"),
        ("kits/0/cost", "3.51", "kit_below_cost", "K"),
        ("kits/0/unit_price", "1.99", "kit_below_cost", "K"),
        ("labour/0/hourly_cost", "60.01", "labour_below_cost", "fit"),
    ],
)
def test_below_cost_is_told_by_what_is_sold(path: str, value: str, finding: str, key: str) -> None:
    kinds = {"H-40": "fuse_holder", "F-30": "fuse", "K": "kit", "fit": "labour"}
    assert seen(below_cost_findings(read((path, value)))) == [(finding, kinds[key], (key,))]


def test_a_kit_costs_what_its_pieces_cost() -> None:
    # 2 at 1.00 and 1 at 1.00 are 3.00.
    two = ("kits/0/contents/0/quantity", "2")
    assert below_cost_findings(read(two, ("kits/0/unit_price", "3.00"))) == []
    assert len(below_cost_findings(read(two, ("kits/0/unit_price", "2.99")))) == 1


def test_at_cost_is_not_below_it() -> None:
    assert below_cost_findings(read(("parts/1/unit_price", "1.00"))) == []


def test_as_dear_is_not_dearer() -> None:
    document = book()
    document["parts"][0].update(
        price_breaks=[{"from_quantity": "10", "unit_price": "2.00"}],
        packs=[{"quantity": "20", "price": "40.00"}],
    )
    document["kits"][0]["unit_price"] = "4.00"
    assert dearer_together_findings(price_book_from_document(document)) == []


def test_the_stated_cost_of_a_pack_outweighs_that_of_its_units() -> None:
    document = book()
    pack = document["parts"][0]["packs"][0]
    pack.update(price="19.00", cost="18.00")
    assert below_cost_findings(price_book_from_document(document)) == []
    pack.update(cost="19.50")
    assert len(below_cost_findings(price_book_from_document(document))) == 1


def test_taxes_in_a_price_are_left_out() -> None:
    # 1.25 with 25 % tax is 1.00 net, which is the cost.
    assert below_cost_findings(read(("parts/1/unit_price", "1.25"))) == []
    included = ("prices_include_tax", True)
    assert below_cost_findings(read(included, ("parts/1/unit_price", "1.25"))) == []
    assert len(below_cost_findings(read(included, ("parts/1/unit_price", "1.249")))) == 1


def test_what_states_no_cost_is_not_judged() -> None:
    document = book()
    for part in document["parts"]:
        del part["cost"]
        part["unit_price"] = "0"
    del document["parts"][0]["price_breaks"], document["parts"][0]["packs"]
    document["kits"][0]["unit_price"] = "0"
    assert below_cost_findings(price_book_from_document(document)) == []


def test_dearer_together_is_a_break_a_pack_or_a_kit() -> None:
    document = book()
    fuse = document["parts"][0]
    fuse["price_breaks"] += [{"from_quantity": "50", "unit_price": "1.51"}]
    # 20 at 1.50 are 30.00; 5 are still at 2.00.
    fuse["packs"] = [{"quantity": "20", "price": "30.01"}, {"quantity": "5", "price": "10.00"}]
    document["kits"][0]["unit_price"] = "4.01"
    assert seen(dearer_together_findings(price_book_from_document(document))) == [
        ("price_break_dearer", "fuse", ("F-30",)),
        ("pack_dearer", "fuse", ("F-30",)),
        ("kit_dearer", "kit", ("K",)),
    ]


def test_kinds_without_parts_are_told_once() -> None:
    lacking = tuple(kind for kind in KINDS if kind not in ("fuse", "fuse_holder"))
    found = incomplete_range_findings(read())
    assert seen(found) == [("kind_without_parts", "book", lacking)]
    # Without any conductor or terminal nothing more is said of them.
    empty = price_book_from_document({"name": "x", "currency": "EUR"})
    assert seen(incomplete_range_findings(empty)) == [("kind_without_parts", "book", tuple(KINDS))]


def wire(size: str, colour: str) -> tuple[str, Document]:
    attributes = {"series": "metric", "size": size, "material": "copper", "insulation": "pvc_105"}
    return "parts/-", {
        "key": f"W-{size}-{colour}",
        "kind": "conductor",
        "description": f"Wire {size} {colour}",
        "attributes": {**attributes, "colour": colour},
        "unit": "MTR",
        "unit_price": "1",
    }


def test_a_conductor_without_terminals_is_named_with_its_size() -> None:
    terminal = {
        "key": "T-6",
        "kind": "ring_terminal",
        "description": "Terminal",
        "attributes": {"series": "metric", "size": "6 mm2", "stud": "M8"},
        "unit": "EA",
        "unit_price": "1",
    }
    sold = [wire("6 mm2", "red"), wire("4 mm2", "red"), wire("4 mm2", "black")]
    found = incomplete_range_findings(read(*sold, ("parts/-", terminal)))
    assert seen(found)[1:] == [
        ("conductor_without_terminal", "conductor", ("W-4 mm2-red", "W-4 mm2-black"))
    ]
    assert found[1].message.startswith("No ring terminal fits metric 4 mm2: ")


def test_fuses_and_holders_of_different_types_are_named() -> None:
    other = {"fuse_type": "strip", "rating_a": 30}
    found = incomplete_range_findings(read(("parts/0/attributes", other)))
    assert seen(found)[1:] == [
        ("fuse_without_holder", "fuse", ("F-30",)),
        ("holder_without_fuse", "fuse_holder", ("H-40",)),
    ]
    words = KINDS["fuse_holder"].words
    assert found[1].message == f"No {words} fits strip: F-30."


def test_what_no_job_uses_is_listed_by_kind() -> None:
    assert seen(unused_findings(read(), {"F-30"})) == [
        ("unused", "fuse_holder", ("H-40",)),
        ("unused", "kit", ("K",)),
        ("unused", "labour", ("fit",)),
    ]


@given(books(), st.dates())
def test_any_book_can_be_checked(document: Document, on: date) -> None:
    any_book = price_book_from_document(document)
    found = [
        *stale_findings(any_book, on),
        *duplicated_findings(any_book),
        *below_cost_findings(any_book),
        *dearer_together_findings(any_book),
        *incomplete_range_findings(any_book),
        *unused_findings(any_book, ()),
    ]
    assert all(entry.finding in FINDINGS for entry in found)
