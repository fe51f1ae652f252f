"""Rounding and sharing of minor units: worked by hand, and columns row by row as single amounts."""

from decimal import ROUND_CEILING, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.pricing.minor_units import (
    percent_of,
    percent_within,
    rounded_quotient,
    shared_units,
)
from loomwright.pricing.money import ROUNDING_MODES

MODES = st.sampled_from(sorted(ROUNDING_MODES.values()))
AMOUNTS = st.integers(-(10**10), 10**10)
COLUMNS = st.lists(AMOUNTS, min_size=1, max_size=20)
PERCENTS = st.decimals(min_value=0, max_value=100, places=3)


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        # Of -7, -6, -5, 5, 6, 7 and 10 by 4: -1.75, -1.5, -1.25, 1.25, 1.5, 1.75, 2.5.
        ("half_up", [-2, -2, -1, 1, 2, 2, 3]),
        ("half_even", [-2, -2, -1, 1, 2, 2, 2]),
        ("down", [-1, -1, -1, 1, 1, 1, 2]),
        ("up", [-2, -2, -2, 2, 2, 2, 3]),
    ],
)
def test_quotients_are_rounded_as_their_mode_says(mode: str, expected: list[int]) -> None:
    numerators = [-7, -6, -5, 5, 6, 7, 10]
    rounding = ROUNDING_MODES[mode]
    assert [rounded_quotient(each, 4, rounding) for each in numerators] == expected
    assert np.array_equal(rounded_quotient(np.array(numerators), 4, rounding), expected)


def test_the_least_amounts_have_their_sign() -> None:
    # Halves of one minor unit either way, and nothing.
    half_up = ROUNDING_MODES["half_up"]
    assert [rounded_quotient(each, 2, half_up) for each in (-1, 0, 1)] == [-1, 0, 1]
    assert np.array_equal(rounded_quotient(np.array([-1, 0, 1]), 2, half_up), [-1, 0, 1])


def test_a_mode_that_no_book_has_is_refused() -> None:
    with pytest.raises(ValueError, match="ROUND_CEILING"):
        rounded_quotient(1, 2, ROUND_CEILING)


@given(AMOUNTS, st.integers(1, 10**6), MODES)
def test_quotients_are_those_of_the_decimal_module(
    numerator: int, denominator: int, rounding: str
) -> None:
    exact = Decimal(numerator) / denominator
    # 28 digits tell a half from its neighbours, as the denominator has 7 at most.
    assert rounded_quotient(numerator, denominator, rounding) == exact.to_integral_value(rounding)


@given(COLUMNS, PERCENTS, MODES)
def test_columns_have_the_percentages_of_their_amounts(
    amounts: list[int], percent: Decimal, rounding: str
) -> None:
    column = np.array(amounts, np.int64)
    assert np.array_equal(
        percent_of(column, percent, rounding),
        [percent_of(each, percent, rounding) for each in amounts],
    )
    assert np.array_equal(
        percent_within(column, percent, rounding),
        [percent_within(each, percent, rounding) for each in amounts],
    )


def test_percentages_are_those_worked_by_hand() -> None:
    # 12.5 % of 3.00 is 0.375; within 3.00 it is 3.00 x 12.5 / 112.5 = 0.3333...
    percent = Decimal("12.5")
    assert percent_of(300, percent, ROUNDING_MODES["half_up"]) == 38
    assert percent_of(300, percent, ROUNDING_MODES["down"]) == 37
    assert percent_within(300, percent, ROUNDING_MODES["half_up"]) == 33
    assert percent_within(300, percent, ROUNDING_MODES["up"]) == 34


def test_what_is_left_over_goes_to_those_that_lost_most_and_the_earlier_of_them() -> None:
    # 10 by 1, 2, 2, 1: 1.67, 3.33, 3.33, 1.67, cut to 1, 3, 3, 1; two are left for first and last.
    assert shared_units(10, np.array([1, 2, 2, 1])).tolist() == [2, 3, 3, 2]
    # 7 by 1, 1, 1: a third of one each, and the first takes it.
    assert shared_units(7, np.array([1, 1, 1], object)).tolist() == [3, 2, 2]
    assert shared_units(-7, np.array([1, 1, 1])).tolist() == [-3, -2, -2]
    # More than a number in binary holds, either way: the odd one to the first.
    many = 10**17
    assert shared_units(2 * many + 1, np.array([1, 1], object)).tolist() == [many + 1, many]
    assert shared_units(-2 * many - 1, np.array([1, 1], object)).tolist() == [-many - 1, -many]
    # By nothing at all: equally.
    assert shared_units(3, np.array([0, 0])).tolist() == [2, 1]


@given(
    st.lists(
        st.tuples(AMOUNTS, st.lists(st.integers(0, 10**7), min_size=4, max_size=4)),
        min_size=1,
        max_size=10,
    )
)
def test_columns_are_shared_as_their_amounts_are(rows: list[tuple[int, list[int]]]) -> None:
    weights = np.array([weights for _, weights in rows], np.int64).T
    shares = shared_units(np.array([units for units, _ in rows], np.int64), weights)
    for column, (units, own) in zip(shares.T.tolist(), rows, strict=True):
        assert column == shared_units(units, np.array(own, object)).tolist()
        assert sum(column) == units
