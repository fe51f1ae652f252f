"""Figures as answers give them."""

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled

# Answers give temperatures in degree Celsius.
KELVIN_AT_0_C = 273.15


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
