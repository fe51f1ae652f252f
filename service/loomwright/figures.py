"""Figures as answers give them."""

import math

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled

# Answers give temperatures in degree Celsius.
KELVIN_AT_0_C = 273.15
# Powers of ten as far as six digits of a magnitude from 1e-9 on need them.
_TENS = np.array([float(10**power) for power in range(15)])


def six_digits(value: float | npt.NDArray[np.float64] | None) -> float | None:
    """Return a value to six significant digits; no model here is worth more.

    Parameters
    ----------
    value
        One number in the unit that its name ends in, or none.

    Returns
    -------
    float or None
        Rounded half to even in decimal.
    """
    return None if value is None else float(f"{value:.6g}")


def six_digits_of_each(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return values to six significant digits, each as ``six_digits`` returns it.

    Parameters
    ----------
    values
        Numbers of magnitude from 1e-9 to 1e9, 0 or NaN, which stays.

    Returns
    -------
    ndarray
        Rounded half to even in decimal.
    """
    flat = np.ravel(values)
    rounded, is_doubtful, any_doubtful = _rounded_to_six_digits(flat)
    if any_doubtful:
        for place in np.flatnonzero(is_doubtful):
            rounded[place] = float(f"{flat[place]:.6g}")
    return rounded.reshape(np.shape(values))


@compiled
def _rounded_to_six_digits(
    values: npt.NDArray[np.float64],
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_], bool]:
    """Return values to six digits, which of them may have gone to the wrong neighbour, if any.

    A power of ten up to 1e22 is exact in binary, so that a whole number over it is the float of the
    decimal. What is inexact is the product, which matters near the middle between two whole numbers
    only; at a power of ten both of its neighbours round to it.
    """
    rounded = np.empty(values.size)
    doubtful = np.zeros(values.size, np.bool_)
    any_doubtful = False
    for place in range(values.size):
        value = values[place]
        magnitude = abs(value)
        if magnitude == 0.0 or math.isnan(magnitude):
            rounded[place] = value
            continue
        doubtful[place] = not 1e-9 <= magnitude <= 1e9
        if doubtful[place]:
            rounded[place] = value
            any_doubtful = True
            continue
        digits = 5 - math.floor(math.log10(magnitude))
        scaled = value * _TENS[digits] if digits >= 0 else value / _TENS[-digits]
        whole = np.rint(scaled)
        between = abs(abs(scaled - whole) - 0.5)
        doubtful[place] = between < 1e-6 or not 1e5 <= abs(scaled) < 1e6
        any_doubtful = any_doubtful or doubtful[place]
        rounded[place] = whole / _TENS[digits] if digits >= 0 else whole * _TENS[-digits]
    return rounded, doubtful, any_doubtful


@compiled
def rounded_lines(
    values: npt.NDArray[np.float64],
    rows: npt.NDArray[np.int64],
    slopes: tuple[float, ...],
    offsets: tuple[float, ...],
    scales: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """Return straight lines of rows of values, rounded to decimal digits.

    Parameters
    ----------
    values
        Rows of values in any unit.
    rows
        Which row each line is made of.
    slopes
        Of each line, which is ``slope x value + offset``.
    offsets
        Of each line.
    scales
        10 to the power of the decimal digits of each line.

    Returns
    -------
    ndarray
        Lines by values, rounded half to even; NaN stays NaN.
    """
    lines = np.empty((rows.size, values.shape[1]))
    for line in range(rows.size):
        for place in range(values.shape[1]):
            value = values[rows[line], place] * slopes[line] + offsets[line]
            lines[line, place] = np.rint(value * scales[line]) / scales[line]
    return lines
