"""Quantity rules against arithmetic done by hand, and the laws of quantities."""

import json
from dataclasses import fields
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.requirements import ROUTE, QuantityRules, Stretch

CASES = Path(__file__).parent.parent / "cases" / "parts" / "quantity_rules.json"


@pytest.mark.parametrize(
    "case",
    [pytest.param(case, id=case["id"]) for case in json.loads(CASES.read_text(encoding="utf-8"))],
)
def test_a_quantity_is_the_one_worked_by_hand(case: dict[str, Any]) -> None:
    stated = case["given"]
    rules = QuantityRules(**{name: Decimal(value) for name, value in stated["rules"].items()})
    arguments = [
        Decimal(value) if isinstance(value, str) else value for value in stated["arguments"]
    ]
    found = getattr(rules, stated["rule"])(*arguments)
    assert abs(found - Decimal(case["expected"])) <= Decimal(case["tolerance"])


LENGTHS = st.decimals(min_value="0.01", max_value=100, places=3)
DIAMETERS = st.decimals(min_value="0.001", max_value="0.1", places=4)
PERCENTS = st.decimals(min_value=0, max_value=90, places=1)


@given(LENGTHS, LENGTHS, DIAMETERS, PERCENTS, PERCENTS)
def test_more_run_or_more_overlap_never_means_less_tape(
    length_m: Decimal, more_m: Decimal, diameter_m: Decimal, first: Decimal, second: Decimal
) -> None:
    loose, tight = sorted((first, second))
    short = QuantityRules(tape_overlap_percent=loose).tape_length_m(length_m, diameter_m)
    long = QuantityRules(tape_overlap_percent=loose).tape_length_m(length_m + more_m, diameter_m)
    closer = QuantityRules(tape_overlap_percent=tight).tape_length_m(length_m, diameter_m)
    assert 0 < short <= long
    assert short <= closer


@given(LENGTHS, DIAMETERS, PERCENTS)
def test_tape_covers_the_surface_it_goes_around(
    length_m: Decimal, diameter_m: Decimal, overlap: Decimal
) -> None:
    rules = QuantityRules(tape_overlap_percent=overlap, tape_waste_percent=Decimal(0))
    fresh_m2 = (
        rules.tape_length_m(length_m, diameter_m) * rules.tape_width_m * (100 - overlap) / 100
    )
    # Rounding up adds at most a millimetre of tape.
    surface_m2 = Decimal("3.14159265358979") * diameter_m * length_m
    assert surface_m2 <= fresh_m2 <= surface_m2 + Decimal("0.001") * rules.tape_width_m


def test_every_quantity_rule_is_a_member_of_the_price_book() -> None:
    names = [field.name for field in fields(QuantityRules)]
    stated = {name: f"0.0{index + 10}" for index, name in enumerate(names)}
    stated["tape_width_m"] = "0.05"
    document = {
        "name": "Own rules",
        "currency": "EUR",
        "taxes": [{"key": "tax", "name": "VAT", "percent": "0"}],
        "rules": stated,
        "parts": [],
        "labour": [],
    }
    rules = price_book_from_document(document).rules
    assert {name: str(getattr(rules, name)) for name in names} == stated


def test_a_stretch_is_the_first_of_its_kind_unless_it_says_which() -> None:
    assert Stretch(ROUTE).number == 0
