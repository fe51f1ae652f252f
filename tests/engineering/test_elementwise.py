"""One formula for both: a float stays a float, an array is taken element by element."""

import math

import numpy as np
import pytest

from loomwright.engineering import elementwise

ONE = {
    "square_root": math.sqrt,
    "decimal_logarithm": math.log10,
    "natural_logarithm": math.log,
    "exponential": math.exp,
}


@pytest.mark.parametrize("name", ONE)
def test_functions_of_one_number(name):
    function = getattr(elementwise, name)
    for value in (0.25, 1.0, 7.0):
        assert type(function(value)) is float
        assert function(value) == pytest.approx(ONE[name](value), rel=1e-15)
    many = function(np.array([0.25, 7.0]))
    np.testing.assert_allclose(many, [ONE[name](0.25), ONE[name](7.0)], rtol=1e-15)


@pytest.mark.parametrize(("name", "chosen"), [("lesser", min), ("greater", max)])
def test_lesser_and_greater(name, chosen):
    function = getattr(elementwise, name)
    for pair in ((1.0, 2.0), (2.0, 1.0)):
        assert type(function(*pair)) is float
        assert function(*pair) == chosen(pair)
    for pair in ((np.array([1.0, 3.0]), 2.0), (2.0, np.array([1.0, 3.0]))):
        assert function(*pair).tolist() == [chosen(1.0, 2.0), chosen(3.0, 2.0)]


@pytest.mark.parametrize(
    ("name", "first", "second"), [("chosen_number", 1.0, 2.0), ("chosen_key", "one", "two")]
)
def test_choice_by_a_condition(name, first, second):
    function = getattr(elementwise, name)
    assert function(True, first, second) is first
    assert function(False, first, second) is second
    assert function(np.array([True, False]), first, second).tolist() == [first, second]


def test_a_condition_holds_anywhere():
    assert elementwise.holds_anywhere(True) is True
    assert elementwise.holds_anywhere(False) is False
    assert elementwise.holds_anywhere(np.array([False, True])) is True
    assert elementwise.holds_anywhere(np.array([False, False])) is False
