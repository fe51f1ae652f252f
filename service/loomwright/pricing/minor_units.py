"""Money as whole numbers of minor units: for one bill, or for many of them as columns.

What rounds, shares or taxes is written once here, with operators that whole numbers of Python and
of NumPy have alike. A column of 64 bits has room for 18 digits, which whoever makes it sees to.
"""

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, ROUND_UP, Decimal
from typing import Any

import numpy as np
import numpy.typing as npt

# Amounts of one bill, or of each of many.
Units = int | npt.NDArray[np.int64]


def rounded_quotient(numerator: Units, denominator: int, rounding: str) -> Units:
    """Return a quotient rounded to a whole number.

    Parameters
    ----------
    numerator
        Of any sign.
    denominator
        Above 0.
    rounding
        One of ``money.ROUNDING_MODES``; halves and rests go as the ``decimal`` module has them go.

    Returns
    -------
    int or ndarray
        The quotient.

    Raises
    ------
    ValueError
        Another rounding mode.
    """
    sign = _sign(numerator)
    magnitude = numerator * sign
    whole, rest = magnitude // denominator, magnitude % denominator
    if rounding == ROUND_HALF_UP:
        rounded = whole + (2 * rest >= denominator)
    elif rounding == ROUND_HALF_EVEN:
        # An odd one is the farther neighbour of a half.
        rounded = whole + (2 * rest + whole % 2 > denominator)
    elif rounding == ROUND_UP:
        rounded = whole + (rest > 0)
    elif rounding == ROUND_DOWN:
        rounded = whole
    else:
        raise ValueError(f"no price book rounds by {rounding}")
    return rounded * sign


def percent_of(units: Units, percent: Decimal, rounding: str) -> Units:
    """Return a percentage of an amount, rounded.

    Parameters
    ----------
    units
        The amount.
    percent
        Percentage [%], 0 or more.
    rounding
        Rounding mode of the ``decimal`` module.

    Returns
    -------
    int or ndarray
        ``units x percent / 100``.
    """
    numerator, denominator = percent.as_integer_ratio()
    return rounded_quotient(units * numerator, 100 * denominator, rounding)


def percent_within(units: Units, percent: Decimal, rounding: str) -> Units:
    """Return what an amount holds of a percentage that was added to it, rounded.

    Parameters
    ----------
    units
        The amount with what was added.
    percent
        Percentage of the amount without it [%], 0 or more.
    rounding
        Rounding mode of the ``decimal`` module.

    Returns
    -------
    int or ndarray
        ``units x percent / (100 + percent)``.
    """
    numerator, denominator = percent.as_integer_ratio()
    return rounded_quotient(units * numerator, 100 * denominator + numerator, rounding)


def shared_units(units: Units, weights: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return an amount shared by weights to the last minor unit.

    Each share is first cut to whole minor units; those left over go one by one to the shares that
    lost most by the cut, the earlier first where they lost alike (largest remainder).

    Parameters
    ----------
    units
        Amount to be shared, of any sign.
    weights
        Whole numbers of 0 or more, one or more along the first axis; equal shares where all are 0.

    Returns
    -------
    ndarray
        Shares in the form of the weights, which add up to the amount exactly.
    """
    weights = weights + (weights.sum(axis=0) == 0)
    whole = weights.sum(axis=0)
    sign = _sign(units)
    products = units * sign * weights
    shares = products // whole
    lost = products - shares * whole
    left = np.asarray(units * sign - shares.sum(axis=0), np.int64)
    # No two of these are alike, and of shares that lost alike the earlier one's is the greater.
    count = len(weights)
    ranks = lost * count + np.arange(count)[::-1].reshape(count, *[1] * (weights.ndim - 1))
    rising = np.sort(np.moveaxis(ranks, 0, -1), axis=-1)
    last = np.take_along_axis(rising, np.minimum(count - left, count - 1)[..., None], axis=-1)
    takes_one = (ranks >= last.squeeze(axis=-1)) & (left > 0)
    return (shares + takes_one) * sign  # type: ignore[no-any-return]


def _sign(units: Units) -> Units:
    return 1 - 2 * (units < 0)
