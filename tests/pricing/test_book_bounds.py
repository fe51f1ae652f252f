"""What a price book and the options of a bill may hold: the first value within, the first beyond.

The bounds are those that the OpenAPI document publishes; a wider one would let in a book that the
other party's schema refuses.
"""

import copy
from typing import Any

import pytest

from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.book_members import (
    ATTRIBUTES,
    BOOK,
    KIT,
    PART,
    TAX_CATEGORY,
    attribute_members,
)
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.kinds import KINDS
from loomwright.pricing.members import Member, Number
from loomwright.pricing.money import minor_unit_digits
from loomwright.pricing.pricing_options import PRICING, pricing_from_document
from loomwright.pricing.reading import ObjectReader

Document = dict[str, Any]
UNITS = {"a", "m", "mm", "mm2", "ways"}


def book() -> Document:
    """A book that states every member that has a bound."""
    return {
        "name": "Bounded",
        "currency": "EUR",
        "quote_days": 30,
        "labour_minimum": "1",
        "taxes": [{"key": "tax", "name": "VAT", "percent": "20"}],
        "rules": {},
        "difficulty": [{"key": "tight", "description": "Tight", "factor": "1"}],
        "parts": [
            {
                "key": "FUSE",
                "kind": "fuse",
                "description": "Fuse",
                "attributes": {"fuse_type": "blade", "rating_a": 10},
                "unit": "EA",
                "sale_increment": "1",
                "unit_price": "1",
                "price_breaks": [{"from_quantity": "5", "unit_price": "1"}],
                "packs": [{"quantity": "10", "price": "1", "cost": "1"}],
                "cost": "1",
                "stock": "1",
            }
        ],
        "kits": [
            {
                "key": "KIT",
                "description": "Kit",
                "contents": [{"part": "FUSE", "quantity": "1"}],
                "unit_price": "1",
                "cost": "1",
                "stock": "1",
            }
        ],
        "labour": [
            {
                "key": "fit",
                "description": "Fit",
                "charged_per": "job",
                "standard_hours": "1",
                "hourly_rate": "1",
                "hourly_cost": "1",
            }
        ],
    }


GREATEST = "999999999.999999"
# Place in the book, least and greatest that is taken, next below and next above.
DECIMALS: list[tuple[str, str, str, str, str]] = [
    ("labour_minimum", "0", GREATEST, "-0.000001", "1000000000"),
    ("taxes/0/percent", "0", "100", "-0.000001", "100.000001"),
    ("rules/conductor_slack_percent", "0", "100", "-1", "100.000001"),
    ("rules/conductor_slack_per_end_m", "0", "10", "-1", "10.000001"),
    ("rules/loom_waste_percent", "0", "100", "-1", "100.000001"),
    ("rules/heat_shrink_per_end_m", "0", "1", "-1", "1.000001"),
    ("rules/tie_spacing_m", "0.01", "10", "0.009999", "10.000001"),
    ("rules/labour_increment_h", "0.001", "1", "0.000999", "1.000001"),
    ("difficulty/0/factor", "0.1", "10", "0.099999", "10.000001"),
    ("parts/0/sale_increment", "0.000001", GREATEST, "0", "1000000000"),
    ("parts/0/unit_price", "0", GREATEST, "-1", "1000000000"),
    ("parts/0/price_breaks/0/from_quantity", "0.000001", GREATEST, "0", "1000000000"),
    ("parts/0/price_breaks/0/unit_price", "0", GREATEST, "-1", "1000000000"),
    ("parts/0/packs/0/quantity", "0.000001", GREATEST, "0", "1000000000"),
    ("parts/0/packs/0/price", "0", GREATEST, "-1", "1000000000"),
    ("parts/0/packs/0/cost", "0", GREATEST, "-1", "1000000000"),
    ("parts/0/cost", "0", GREATEST, "-1", "1000000000"),
    ("parts/0/stock", "0", GREATEST, "-1", "1000000000"),
    ("kits/0/contents/0/quantity", "0.000001", GREATEST, "0", "1000000000"),
    ("kits/0/unit_price", "0", GREATEST, "-1", "1000000000"),
    ("labour/0/standard_hours", "0", "1000", "-1", "1000.000001"),
    ("labour/0/hourly_rate", "0", GREATEST, "-1", "1000000000"),
    ("labour/0/hourly_cost", "0", GREATEST, "-1", "1000000000"),
]
NUMBERS: list[tuple[str, float, float, float, float]] = [
    ("quote_days", 1, 3650, 0, 3651),
    ("parts/0/attributes/rating_a", 0, 1e6, -1e-9, 1_000_000.001),
]


def with_value(path: str, value: object) -> Document:
    document = copy.deepcopy(book())
    *steps, last = path.split("/")
    place: Any = document
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place[step]
    place[last] = value
    return document


@pytest.mark.parametrize(
    ("path", "least", "greatest", "below", "above"),
    [*DECIMALS, *NUMBERS],
    ids=[entry[0] for entry in (*DECIMALS, *NUMBERS)],
)
def test_a_value_is_taken_at_its_bounds_and_refused_beyond(
    path: str, least: object, greatest: object, below: object, above: object
) -> None:
    for value in (least, greatest):
        price_book_from_document(with_value(path, value))
    for value in (below, above):
        with pytest.raises(DocumentError) as caught:
            price_book_from_document(with_value(path, value))
        assert [fault.pointer for fault in caught.value.faults] == [f"/{path}"]


@pytest.mark.parametrize(
    "path",
    [
        *("quote_days", "labour_minimum", "rules", "difficulty", "parts", "kits", "labour"),
        *("parts/0/sale_increment", "parts/0/price_breaks", "parts/0/packs/0/cost"),
        *("parts/0/cost", "parts/0/stock", "kits/0/cost", "kits/0/stock", "labour/0/hourly_cost"),
    ],
)
def test_a_member_with_a_plain_meaning_of_its_absence_may_be_left_out(path: str) -> None:
    document = copy.deepcopy(book())
    if path == "parts":
        del document["kits"]
    *steps, last = path.split("/")
    place: Any = document
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place[step]
    del place[last]
    price_book_from_document(document)


# Members, array, least and greatest number of items.
ARRAYS: list[tuple[dict[str, Member], str, int, int]] = [
    (BOOK, "taxes", 0, 20),
    (BOOK, "tax_categories", 0, 50),
    (BOOK, "difficulty", 0, 100),
    (BOOK, "parts", 0, 20_000),
    (BOOK, "kits", 0, 2_000),
    (BOOK, "labour", 0, 1_000),
    (PART, "price_breaks", 0, 20),
    (PART, "packs", 0, 20),
    (KIT, "contents", 1, 100),
    (PRICING, "line_discounts", 0, 1_000),
]


def faults_of_count(members: dict[str, Member], name: str, count: int) -> list[str]:
    faults: list[Fault] = []
    reader = ObjectReader({name: [{}] * count}, "", faults, members)
    assert len(reader.objects(name)) == (0 if faults else count)
    return [fault.message for fault in faults]


@pytest.mark.parametrize(("members", "name", "least", "most"), ARRAYS)
def test_an_array_has_no_fewer_and_no_more_items_than_stated(
    members: dict[str, Member], name: str, least: int, most: int
) -> None:
    needed = [f"An array of {least} to {most} items is needed."]
    assert faults_of_count(members, name, least) == []
    assert faults_of_count(members, name, most) == []
    assert faults_of_count(members, name, most + 1) == needed
    if least:
        assert faults_of_count(members, name, least - 1) == needed


def test_a_category_has_ten_taxes_at_most() -> None:
    for count, expected in ((0, 0), (10, 0), (11, 1)):
        faults: list[Fault] = []
        taxes = [f"tax {index}" for index in range(count)]
        ObjectReader({"taxes": taxes}, "", faults, TAX_CATEGORY).texts("taxes")
        assert len(faults) == expected


@pytest.mark.parametrize(
    ("pricing", "pointer"),
    [
        ({"line_discounts": [{"key": "a", "percent": "100.01"}]}, "/line_discounts/0/percent"),
        ({"document_discount": {"percent": "100.01"}}, "/document_discount/percent"),
        ({"deposit": {"percent": "100.01"}}, "/deposit/percent"),
    ],
)
def test_no_more_than_all_is_taken_off(pricing: Document, pointer: str) -> None:
    with pytest.raises(DocumentError) as caught:
        pricing_from_document(pricing, "EUR")
    assert [fault.pointer for fault in caught.value.faults] == [pointer]


def test_an_amount_is_as_fine_as_its_currency_and_no_finer() -> None:
    for currency in ("JPY", "EUR", "KWD"):
        digits = minor_unit_digits(currency)
        fine = f"{10**-digits:.{digits}f}"
        options = pricing_from_document({"deposit": {"amount": fine}}, currency)
        assert options.deposit is not None
        assert str(options.deposit.amount) == fine
        with pytest.raises(DocumentError, match=f"at most {digits} decimals"):
            pricing_from_document({"deposit": {"amount": f"{10 ** -(digits + 1):.6f}"}}, currency)


@pytest.mark.parametrize("kind", KINDS)
def test_the_attributes_of_a_kind_are_those_of_its_rules(kind: str) -> None:
    members = attribute_members(KINDS[kind])
    assert members == dict(ATTRIBUTES[kind])
    numbers = {name for name, member in members.items() if isinstance(member, Number)}
    # The name of a number ends in its unit, or counts something.
    assert numbers == {name for name in members if name.rsplit("_", 1)[-1] in UNITS}
