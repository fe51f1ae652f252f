"""Money against GMP and MPFR, by ``gmpy2``, and currency digits against CLDR, by ``babel``.

GMP's rationals are exact and MPFR rounds them, so no rounding of the ``decimal`` module is on the
other side. The tolerance is nothing: an amount is a whole number of minor units.

ISO 4217 says how many decimals a currency has, CLDR how many are in use; where coins of the minor
unit are gone the two differ, and this service follows ISO 4217.
"""

from collections.abc import Callable
from decimal import (
    ROUND_CEILING,
    ROUND_DOWN,
    ROUND_FLOOR,
    ROUND_HALF_EVEN,
    ROUND_HALF_UP,
    Decimal,
)
from typing import Any

import gmpy2
import pytest
from babel.numbers import get_currency_precision
from gmpy2 import mpfr, mpq
from hypothesis import example, given
from hypothesis import strategies as st

from cases import case_parameters
from loomwright.pricing.money import (
    CURRENCIES,
    minor_unit_digits,
    money_from_minor_units,
    money_total,
    product,
    rounded_money,
    tax_on,
)

# Digits by ISO 4217 and by CLDR.
DIFFERENT_DIGITS = {
    **dict.fromkeys(("AFN", "ALL", "COP", "HUF", "IDR", "IRR", "KPW", "LAK"), (2, 0)),
    **dict.fromkeys(("LBP", "MGA", "MMK", "SOS", "SYP", "YER"), (2, 0)),
    "IQD": (3, 0),
}
MPFR_ROUNDINGS: dict[str, Callable[[mpfr], mpfr]] = {
    ROUND_HALF_UP: gmpy2.rint_round,  # halves away from zero
    ROUND_HALF_EVEN: gmpy2.rint,
    ROUND_DOWN: gmpy2.rint_trunc,
    ROUND_FLOOR: gmpy2.rint_floor,
    ROUND_CEILING: gmpy2.rint_ceil,
}
# A half is exact in binary; 60 decimals of a fraction are nearer to one than 1000 bits show.
PRECISION_BITS = 1000
GRID_CURRENCIES = ("EUR", "JPY", "KWD", "CLF")
amounts = st.decimals(
    min_value=-(10**12), max_value=10**12, places=8, allow_nan=False, allow_infinity=False
)
percents = st.decimals(min_value=0, max_value=100, places=4)


def rational(number: Decimal) -> mpq:
    return mpq(format(number, "f"))


def minor_units_by_mpfr(exact: mpq, currency: str, rounding: str = ROUND_HALF_UP) -> int:
    scaled = exact * 10 ** minor_unit_digits(currency)
    with gmpy2.context(precision=PRECISION_BITS):
        return int(MPFR_ROUNDINGS[rounding](mpfr(scaled)))


@pytest.mark.parametrize("rounding", MPFR_ROUNDINGS)
@pytest.mark.parametrize("currency", GRID_CURRENCIES)
@pytest.mark.parametrize(
    "exact",
    ["0", "2.345", "-2.345", "2.5", "-2.5", "3.5", "0.0005", "2.34499999999999999999999999999999"],
)
def test_near_halves_are_rounded_alike(exact: str, currency: str, rounding: str) -> None:
    ours = rounded_money(Decimal(exact), currency, rounding)
    assert ours.minor_units == minor_units_by_mpfr(mpq(exact), currency, rounding)


@pytest.mark.parametrize("exact", ["2.345", "2.335", "-2.345", "0.005"])
def test_halves_go_away_from_zero_where_no_rounding_is_named(exact: str) -> None:
    ours = rounded_money(Decimal(exact), "EUR")
    assert ours.minor_units == minor_units_by_mpfr(mpq(exact), "EUR", ROUND_HALF_UP)


@given(amounts, st.sampled_from(CURRENCIES), st.sampled_from(sorted(MPFR_ROUNDINGS)))
def test_any_amount_is_rounded_alike(exact: Decimal, currency: str, rounding: str) -> None:
    ours = rounded_money(exact, currency, rounding)
    assert ours.minor_units == minor_units_by_mpfr(rational(exact), currency, rounding)


@given(amounts, amounts)
def test_a_product_is_that_of_rationals(left: Decimal, right: Decimal) -> None:
    assert rational(product(left, right)) == rational(left) * rational(right)


# Halves of a cent, which chance seldom draws: 0.015, -0.015 and 0.025.
@example(20, Decimal("7.5"), "EUR")
@example(-20, Decimal("7.5"), "EUR")
@example(25, Decimal("10"), "EUR")
@given(st.integers(-(10**15), 10**15), percents, st.sampled_from(GRID_CURRENCIES))
def test_tax_is_that_of_rationals(units: int, percent: Decimal, currency: str) -> None:
    base = money_from_minor_units(units, currency)
    theirs = minor_units_by_mpfr(rational(base.amount) * rational(percent) / 100, currency)
    assert tax_on(base, percent).minor_units == theirs


@given(st.lists(st.integers(-(10**20), 10**20), max_size=40), st.sampled_from(GRID_CURRENCIES))
def test_a_total_is_that_of_rationals(units: list[int], currency: str) -> None:
    parts = [money_from_minor_units(unit, currency) for unit in units]
    theirs = sum((rational(part.amount) for part in parts), mpq(0))
    assert rational(money_total(parts, currency).amount) == theirs


def test_currency_digits_differ_from_cldr_in_the_named_currencies_only() -> None:
    digits = {code: (minor_unit_digits(code), get_currency_precision(code)) for code in CURRENCIES}
    assert {code: pair for code, pair in digits.items() if pair[0] != pair[1]} == DIFFERENT_DIGITS


@pytest.mark.parametrize("case", case_parameters("money/inclusive_tax"))
def test_published_inclusive_tax_is_what_rationals_give(case: dict[str, Any]) -> None:
    """The data's own arithmetic: the printed fraction is the rate's, and the figures follow."""
    stated, expected = case["given"], case["expected"]
    percent, currency = mpq(stated["percent"]), stated["currency"]
    fraction = percent / (100 + percent)
    assert fraction == mpq(expected["fraction"])
    gross = rational(Decimal(stated["gross"]))
    tax = minor_units_by_mpfr(gross * fraction, currency)
    assert str(money_from_minor_units(tax, currency)) == expected["tax"]
    assert rational(Decimal(expected["net"])) + rational(Decimal(expected["tax"])) == gross


@pytest.mark.parametrize("case", case_parameters("money/inclusive_tax"))
def test_published_net_amount_is_taxed_back_to_the_gross(case: dict[str, Any]) -> None:
    """The exclusive tax of today's core on the net amount, at most one minor unit away.

    One: the net amount is off by half a unit at most, so its tax by half of the rate, and each of
    the two taxes is rounded once more.
    """
    stated, expected = case["given"], case["expected"]
    net = rounded_money(Decimal(expected["net"]), stated["currency"])
    gross = rounded_money(Decimal(stated["gross"]), stated["currency"])
    back = net + tax_on(net, Decimal(stated["percent"]))
    assert abs(back.minor_units - gross.minor_units) <= 1


@pytest.mark.parametrize("rounding", MPFR_ROUNDINGS)
@pytest.mark.parametrize("currency", GRID_CURRENCIES)
def test_one_minor_unit_more_or_less_is_refused(currency: str, rounding: str) -> None:
    exact = Decimal("1234567.89123456")
    theirs = minor_units_by_mpfr(rational(exact), currency, rounding)
    ours = rounded_money(exact, currency, rounding)
    assert ours.minor_units == theirs
    for unit in (money_from_minor_units(1, currency), money_from_minor_units(-1, currency)):
        assert (ours + unit).minor_units != theirs


@pytest.mark.parametrize("nudge", ["1e-16", "-1e-16"])
def test_a_product_off_in_its_last_place_is_refused(nudge: str) -> None:
    left, right = Decimal("123456789.12345678"), Decimal("0.00000007")
    off = product(left, right) + Decimal(nudge)
    assert rational(off) != rational(left) * rational(right)


def test_another_rounding_is_refused() -> None:
    """Halves to even in place of halves away from zero is the likely mistake."""
    half = Decimal("2.345")
    assert rounded_money(half, "EUR", ROUND_HALF_EVEN).minor_units != minor_units_by_mpfr(
        rational(half), "EUR"
    )
