"""Money against ISO 4217 and arithmetic done by hand, and the laws of sums."""

import json
from decimal import ROUND_DOWN, Decimal, Inexact, InvalidOperation
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
    product,
    rounded_money,
    shared_money,
    tax_on,
    tax_within,
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


def test_a_product_of_a_hundred_digits_is_exact_and_a_longer_one_an_error() -> None:
    # (10^50 - 1)^2 = 10^100 - 2 x 10^50 + 1, of 100 digits; a factor with one nine more makes 101.
    nines = Decimal(10**50 - 1)
    assert int(product(nines, nines)) == 10**100 - 2 * 10**50 + 1
    with pytest.raises(Inexact):
        product(nines, Decimal(10**51 - 1))


def test_an_amount_of_a_hundred_digits_is_rounded_and_a_longer_one_is_an_error() -> None:
    # 98 nines, a point, two decimals; rounded up it has 99 digits before the point.
    whole = 10**98 - 1
    assert str(rounded_money(Decimal(f"{whole}.984"), "EUR")) == f"{whole}.98"
    with pytest.raises(InvalidOperation):
        rounded_money(Decimal(f"{whole}.996"), "EUR")


def test_tax_within_a_long_amount_is_rounded_once() -> None:
    # A third of 10^30 + 0.01 at 50 %, in cents (10^32 + 1) / 3: a third of 10^32 - 1 is all threes,
    # and two thirds remain, which make one cent more.
    gross = money_from_minor_units(10**32 + 1, "EUR")
    assert tax_within(gross, Decimal(50)).minor_units == int("3" * 32) + 1


def test_a_share_lost_alike_goes_to_the_earlier() -> None:
    # 5 cents by 1, 1, 1: 1.67 each, cut to 1; two cents are left, for the first two.
    shares = shared_money(money_from_minor_units(5, "EUR"), [Decimal(1)] * 3)
    assert [share.minor_units for share in shares] == [2, 2, 1]
    # -5 cents by 1 and 3: 1.25 and 3.75, so that the second takes the one that is left.
    shares = shared_money(money_from_minor_units(-5, "EUR"), [Decimal(1), Decimal(3)])
    assert [share.minor_units for share in shares] == [-1, -4]


def test_money_of_nothing_has_no_sign() -> None:
    assert str(money_from_minor_units(0, "EUR")) == "0.00"
    assert str(tax_within(money_from_minor_units(0, "EUR"), Decimal(20))) == "0.00"


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
