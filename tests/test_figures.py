"""Figures as answers give them: six significant digits, by number and by the array."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from loomwright.figures import six_digits, six_digits_of_each


@pytest.mark.parametrize(
    ("value", "rounded"),
    [(12.3456789, 12.3457), (0.000123456789, 0.000123457), (1234567.0, 1234570.0), (-0.5, -0.5)],
)
def test_a_figure_has_six_significant_digits(value, rounded):
    # Counted off by hand.
    assert six_digits(value) == rounded
    assert six_digits_of_each(np.array([value]))[0] == rounded


@given(st.lists(st.floats(-1e10, 1e10), min_size=1, max_size=50))
@example([0.0, 99.99995, 99.999949, 999999.5, 9999995.0, 1.0, 10.0, 0.1, 2.5e-6, 1e-12, 1e22])
@example([12.34565, 1.234565, 123456.5, 0.0001234565])
@example([10.0**power for power in range(-9, 10)])
@example([np.nextafter(10.0**power, 0.0) for power in range(-9, 10)])
@example([np.nextafter(10.0**power, np.inf) for power in range(-9, 10)])
@example([9.999995 * 10.0**power for power in range(-9, 9)])
@example([9.9999951 * 10.0**power for power in range(-9, 9)])
def test_the_array_rounds_like_the_number(values):
    each = six_digits_of_each(np.array(values))
    assert each.tolist() == [six_digits(value) for value in values]


def test_what_is_not_known_stays_unknown():
    assert six_digits(None) is None
    assert np.isnan(six_digits_of_each(np.array([np.nan, 1.0]))).tolist() == [True, False]
