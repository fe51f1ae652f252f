"""Choices between numbers that are floats or arrays.

One formula then serves one call and a million calls; on plain floats these stay ten times quicker
than the array functions they stand in for.
"""

import math

import numpy as np
import numpy.typing as npt

from loomwright.engineering.network.operating_point import Number

Flag = bool | npt.NDArray[np.bool_]
Key = str | npt.NDArray[np.str_]


def lesser(first: Number, second: Number) -> Number:
    """Return the lesser of two numbers, element by element."""
    if isinstance(first, np.ndarray) or isinstance(second, np.ndarray):
        return np.minimum(first, second)
    return min(first, second)


def greater(first: Number, second: Number) -> Number:
    """Return the greater of two numbers, element by element."""
    if isinstance(first, np.ndarray) or isinstance(second, np.ndarray):
        return np.maximum(first, second)
    return max(first, second)


def square_root(value: Number) -> Number:
    """Return the square root of a number of 0 or more, element by element."""
    if isinstance(value, np.ndarray):
        return np.sqrt(value)
    return math.sqrt(value)


def decimal_logarithm(value: Number) -> Number:
    """Return the logarithm to base 10 of a number above 0, element by element."""
    if isinstance(value, np.ndarray):
        return np.log10(value)
    return math.log10(value)


def natural_logarithm(value: Number) -> Number:
    """Return the natural logarithm of a number above 0, element by element."""
    if isinstance(value, np.ndarray):
        return np.log(value)
    return math.log(value)


def exponential(value: Number) -> Number:
    """Return e to the power of a number, element by element."""
    if isinstance(value, np.ndarray):
        return np.exp(value)
    return math.exp(value)


def chosen_number(condition: Flag, when_true: Number, when_false: Number) -> Number:
    """Return one of two numbers by a condition, element by element."""
    if isinstance(condition, np.ndarray):
        return np.where(condition, when_true, when_false)
    return when_true if condition else when_false


def chosen_key(condition: Flag, when_true: Key, when_false: Key) -> Key:
    """Return one of two keys by a condition, element by element."""
    if isinstance(condition, np.ndarray):
        return np.where(condition, when_true, when_false)
    return when_true if condition else when_false


def holds_anywhere(condition: Flag) -> bool:
    """Return whether a condition is true in at least one element."""
    return bool(np.any(condition)) if isinstance(condition, np.ndarray) else bool(condition)
