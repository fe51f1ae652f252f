"""Factors of symmetric matrices against matrices worked out by hand and against NumPy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.network.linear import (
    determinant_ratio,
    direction_without_stiffness,
    first_failing_pivot,
    greatest_size,
    replace_by_solution,
)


def test_factors_of_a_definite_matrix():
    # L = (1, 0; 1/2, 1), D = (4, 2).
    matrix = np.array([[4.0, 2.0], [2.0, 3.0]])
    assert first_failing_pivot(matrix) == -1
    assert (matrix[0, 0], matrix[1, 0], matrix[1, 1]) == (4.0, 0.5, 2.0)
    # 4 x + 2 y = 2, 2 x + 3 y = 5: x = -1/2, y = 2.
    right = np.array([2.0, 5.0])
    replace_by_solution(matrix, right)
    assert right.tolist() == [-0.5, 2.0]


@given(st.integers(0, 10_000), st.integers(1, 8))
def test_solution_and_determinants_are_those_of_numpy(seed, count):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(count, count))
    matrix = root @ root.T + np.eye(count)
    right = rng.normal(size=count)
    expected = np.linalg.solve(matrix, right)
    factors, found = matrix.copy(), right.copy()
    assert first_failing_pivot(factors) == -1
    replace_by_solution(factors, found)
    # Condition numbers are below 1e4 here.
    np.testing.assert_allclose(found, expected, rtol=1e-10, atol=1e-11)
    greater = matrix + np.diag(rng.uniform(0.0, 2.0, count))
    ratio = np.linalg.det(matrix) / np.linalg.det(greater)
    assert determinant_ratio(matrix.copy(), greater.copy()) == pytest.approx(ratio, rel=1e-9)


@pytest.mark.parametrize(
    ("rows", "column", "direction"),
    [
        ([[0.0, 0.0], [0.0, 1.0]], 0, [1.0, 0.0]),
        ([[-1.0, 0.0], [0.0, 1.0]], 0, [1.0, 0.0]),
        # Pivot 1 - 4 / 4 = 0; (1/2, 1) is mapped to 0.
        ([[4.0, -2.0], [-2.0, 1.0]], 1, [0.5, 1.0]),
        # A bridge of 1 S between nodes that nothing else holds, behind one that is held.
        ([[2.0, 0.0, 0.0], [0.0, 1.0, -1.0], [0.0, -1.0, 1.0]], 2, [0.0, 1.0, 1.0]),
        # A chain: the pivots are 2, 3/2, and 4/3 - 2/3 = 2/3 less 1.
        ([[2.0, -1.0, 0.0], [-1.0, 2.0, -1.0], [0.0, -1.0, 0.5]], 2, [1 / 3, 2 / 3, 1.0]),
    ],
)
def test_direction_without_stiffness_is_not_resisted(rows, column, direction):
    matrix = np.array(rows)
    factors = matrix.copy()
    assert first_failing_pivot(factors) == column
    found = direction_without_stiffness(factors, column)
    assert found == pytest.approx(direction, abs=1e-15)
    resisted = matrix @ found
    assert resisted[:column] == pytest.approx(np.zeros(column), abs=1e-15)
    assert resisted[column] <= 1e-15


def test_pivot_lost_in_rounding_is_none():
    # Of 1 and 1 + 1e-14 the difference is rounding, that of 1e-12 is not.
    lost = np.array([[1.0, 1.0], [1.0, 1.0 + 1e-14]])
    assert first_failing_pivot(lost) == 1
    kept = np.array([[1.0, 1.0], [1.0, 1.0 + 1e-12]])
    assert first_failing_pivot(kept) == -1
    assert first_failing_pivot(np.array([[math.nan]])) == 0


def test_ratio_is_zero_where_a_matrix_is_not_definite():
    one, none = np.array([[1.0]]), np.array([[-1.0]])
    assert determinant_ratio(none.copy(), one.copy()) == 0.0
    assert determinant_ratio(one.copy(), none.copy()) == 0.0
    assert determinant_ratio(one.copy(), 4.0 * one) == 0.25


@pytest.mark.parametrize(
    ("values", "greatest"),
    [
        ([], 0.0),
        ([-3.0, 2.0], 3.0),
        ([2.0, 5.0, -4.0], 5.0),
        ([math.nan, 1.0], math.nan),
        ([1.0, math.nan, 2.0], math.nan),
    ],
)
def test_greatest_size_takes_no_number_for_zero(values, greatest):
    assert greatest_size(np.array(values, float)) == pytest.approx(greatest, nan_ok=True)
