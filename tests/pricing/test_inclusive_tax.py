"""Tax within a price against worked examples of tax authorities."""

import json
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.pricing.money import ROUNDING_MODES, Money, money_from_minor_units, tax_within

CASES = Path(__file__).parent.parent / "cases" / "money" / "inclusive_tax.json"


def cases() -> list[Any]:
    return [
        pytest.param(case, id=case["id"]) for case in json.loads(CASES.read_text(encoding="utf-8"))
    ]


@pytest.mark.parametrize("case", cases())
def test_tax_within_is_that_of_the_authority(case: dict[str, Any]) -> None:
    stated, expected = case["given"], case["expected"]
    gross = Money(Decimal(stated["gross"]), stated["currency"])
    tax = tax_within(gross, Decimal(stated["percent"]))
    assert (str(tax), str(gross - tax)) == (expected["tax"], expected["net"])


@given(
    st.sampled_from(("EUR", "JPY", "KWD", "CLF")),
    st.integers(-(10**9), 10**9),
    st.decimals(0, 100, places=4),
    st.sampled_from(sorted(ROUNDING_MODES)),
)
def test_tax_within_is_the_exact_quotient_rounded_as_said(
    currency: str, units: int, percent: Decimal, mode: str
) -> None:
    tax = tax_within(money_from_minor_units(units, currency), percent, ROUNDING_MODES[mode])
    exact = units * Fraction(percent) / (100 + Fraction(percent))
    error = tax.minor_units - exact
    if mode in ("down", "up"):
        # Towards zero or away from it, by less than one minor unit.
        outwards = error if units >= 0 else -error
        assert -1 < outwards <= 0 if mode == "down" else 0 <= outwards < 1
    else:
        assert abs(error) <= Fraction(1, 2)
        if abs(error) == Fraction(1, 2):
            is_even = tax.minor_units % 2 == 0
            away = abs(tax.minor_units) > abs(exact)
            assert is_even if mode == "half_even" else away
