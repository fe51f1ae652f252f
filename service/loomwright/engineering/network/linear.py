"""Symmetric systems of equations, factorised as L D L' so that the factors tell of stability."""

import math

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled

Array = npt.NDArray[np.float64]

# Of a diagonal element: a pivot that is not above it is none.
LEAST_PIVOT = 1e-13


@compiled
def first_failing_pivot(matrix: Array) -> int:
    """Factorise a symmetric matrix in place as L D L' as far as it is positive definite.

    Parameters
    ----------
    matrix
        Symmetric, square; its lower triangle becomes L below the diagonal and D on it.

    Returns
    -------
    int
        -1 where the matrix is positive definite; otherwise the first column whose pivot is not
        above 0, up to which the factors hold, and the row of L of that column with them.

    References
    ----------
    Golub and Van Loan, Matrix Computations, 4th edition, 4.1.2 (memory).
    """
    count = matrix.shape[0]
    for column in range(count):
        diagonal = matrix[column, column]
        pivot = diagonal
        for k in range(column):
            pivot -= matrix[column, k] * matrix[column, k] * matrix[k, k]
        if not pivot > LEAST_PIVOT * abs(diagonal):
            return column
        matrix[column, column] = pivot
        for row in range(column + 1, count):
            value = matrix[row, column]
            for k in range(column):
                value -= matrix[row, k] * matrix[column, k] * matrix[k, k]
            matrix[row, column] = value / pivot
    return -1


@compiled
def replace_by_solution(matrix: Array, right: Array) -> None:
    """Replace the right side of equations by their solution.

    Parameters
    ----------
    matrix
        As ``first_failing_pivot`` leaves a positive definite one.
    right
        Right side, becomes the solution.
    """
    count = right.size
    for row in range(count):
        for k in range(row):
            right[row] -= matrix[row, k] * right[k]
    for row in range(count):
        right[row] /= matrix[row, row]
    for row in range(count - 1, -1, -1):
        for k in range(row + 1, count):
            right[row] -= matrix[k, row] * right[k]


@compiled
def direction_without_stiffness(matrix: Array, column: int) -> Array:
    """Return a direction along which a matrix that is not positive definite does not resist.

    Parameters
    ----------
    matrix
        As ``first_failing_pivot`` leaves it.
    column
        The failing column that it returned.

    Returns
    -------
    ndarray
        ``x`` with 1 in the failing column and 0 behind it. Of ``A x`` all elements before that
        column are 0 and the one in it is the failing pivot. Where no element of A off its diagonal
        is above 0, no element of ``x`` is below 0 and none of ``A x`` above 0.

    Notes
    -----
    With ``A = L D L'`` in the leading block, ``x = (-inverse(A11) a12, 1, 0) =
    (-inverse(L11') l, 1, 0)``, ``l`` the row of L of the failing column.
    """
    direction = np.zeros(matrix.shape[0])
    direction[column] = 1.0
    for row in range(column - 1, -1, -1):
        for k in range(row + 1, column + 1):
            direction[row] -= matrix[k, row] * direction[k]
    return direction


@compiled
def determinant_ratio(matrix: Array, greater: Array) -> float:
    """Return the determinant of a matrix over that of a greater one.

    Parameters
    ----------
    matrix
        Symmetric; is used up.
    greater
        Symmetric and positive definite; is used up.

    Returns
    -------
    float
        0 where one of them is not positive definite.
    """
    if first_failing_pivot(matrix) >= 0 or first_failing_pivot(greater) >= 0:
        return 0.0
    ratio = 1.0
    for place in range(matrix.shape[0]):
        ratio *= matrix[place, place] / greater[place, place]
    return ratio


@compiled
def greatest_size(values: Array) -> float:
    """Return the greatest magnitude among numbers, 0 where there are none, NaN where one is."""
    greatest = 0.0
    for value in values:
        size = abs(value)
        # A maximum would pass over what is not a number.
        if size > greatest or math.isnan(size):
            greatest = size
    return greatest
