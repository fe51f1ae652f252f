"""Money against ISO 4217 and arithmetic done by hand, and the laws of sums."""

import json
from decimal import ROUND_DOWN, Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.pricing.money import (
    Money,
    MoneyError,
    minor_unit_digits,
    money_from_minor_units,
    money_total,
    rounded_money,
    tax_on,
)

CASES = Path(__file__).parent.parent / "cases" / "money"
CURRENCIES = ("EUR", "JPY", "KWD", "IQD", "CLF")


def cases(name: str) -> list[Any]:
    return [
        pytest.param(case, id=case["id"])
        for case in json.loads((CASES / f"{name}.json").read_text(encoding="utf-8"))
    ]


@pytest.mark.parametrize("case", cases("minor_units"))
def test_minor_units_are_those_of_iso_4217(case: dict[str, Any]) -> None:
    currency, expected = case["given"]["currency"], case["expected"]
    if expected.get("refused"):
        with pytest.raises(MoneyError):
            minor_unit_digits(currency)
    else:
        assert minor_unit_digits(currency) == expected["digits"]


@pytest.mark.parametrize("case", cases("rounding"))
def test_an_exact_amount_is_rounded_half_up_once(case: dict[str, Any]) -> None:
    stated = case["given"]
    rounded = rounded_money(Decimal(stated["exact"]), stated["currency"])
    assert str(rounded) == case["expected"]["amount"]


@pytest.mark.parametrize("case", cases("tax"))
def test_tax_is_percent_of_its_base(case: dict[str, Any]) -> None:
    stated = case["given"]
    base = Money(Decimal(stated["base"]), stated["currency"])
    assert str(tax_on(base, Decimal(stated["percent"]))) == case["expected"]["tax"]


def test_another_rounding_is_used_when_named() -> None:
    assert str(rounded_money(Decimal("2.349"), "EUR", ROUND_DOWN)) == "2.34"


@pytest.mark.parametrize("amount", ["1.5", "1.500", "1", "NaN", "Infinity"])
def test_an_amount_off_the_grid_is_refused(amount: str) -> None:
    with pytest.raises(MoneyError):
        Money(Decimal(amount), "EUR")


@pytest.mark.parametrize("amount", ["NaN", "-Infinity", "sNaN"])
def test_an_amount_that_is_not_finite_is_refused(amount: str) -> None:
    with pytest.raises(MoneyError):
        rounded_money(Decimal(amount), "EUR")


def test_currencies_do_not_mix() -> None:
    euro, yen = Money(Decimal("1.00"), "EUR"), Money(Decimal(1), "JPY")
    with pytest.raises(MoneyError):
        _ = euro + yen
    with pytest.raises(MoneyError):
        _ = euro - yen


def test_difference_is_exact() -> None:
    assert str(Money(Decimal("0.10"), "EUR") - Money(Decimal("0.30"), "EUR")) == "-0.20"


@given(st.sampled_from(CURRENCIES), st.integers(-(10**30), 10**30))
def test_minor_units_round_trip(currency: str, units: int) -> None:
    money = money_from_minor_units(units, currency)
    assert money.minor_units == units
    assert Money(Decimal(str(money)), currency) == money


@given(
    st.sampled_from(CURRENCIES),
    st.lists(st.integers(-(10**20), 10**20), max_size=30),
    st.randoms(use_true_random=False),
)
def test_a_total_is_the_integer_sum_in_any_order(
    currency: str, units: list[int], random: Any
) -> None:
    total = money_total((money_from_minor_units(unit, currency) for unit in units), currency)
    shuffled = list(units)
    random.shuffle(shuffled)
    again = money_total((money_from_minor_units(unit, currency) for unit in shuffled), currency)
    assert total.minor_units == sum(units)
    assert again == total


@given(
    st.sampled_from(CURRENCIES),
    st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**12), max_value=10**12),
)
def test_rounding_moves_by_at_most_half_a_minor_unit(currency: str, exact: Decimal) -> None:
    rounded = rounded_money(exact, currency)
    half = Decimal(5).scaleb(-minor_unit_digits(currency) - 1)
    assert abs(rounded.amount - exact) <= half


@given(st.integers(0, 10**15), st.integers(0, 10**8))
def test_tax_in_cents_is_the_integer_formula(cents: int, percent_millionths: int) -> None:
    base = money_from_minor_units(cents, "EUR")
    percent = Decimal(percent_millionths).scaleb(-6)
    # floor(x + 1/2) in whole numbers: x = cents * percent / 100.
    expected = (2 * cents * percent_millionths + 10**8) // (2 * 10**8)
    assert tax_on(base, percent).minor_units == expected
