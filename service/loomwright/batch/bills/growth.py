"""Quantities of many rows: sums of laws of lengths in whole steps, exact in 64 bits."""

from fractions import Fraction
from math import ceil, gcd, lcm
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.lengths import MICROMETRES
from loomwright.pricing.growing import Growing
from loomwright.pricing.minor_units import Units

# Whole numbers of 64 bits hold these with room for one more sum of two.
GREATEST = 1 << 61
# As far from a whole number a sum in binary is beyond doubt, if it is no greater than that.
_DOUBT, _GREATEST_DOUBTED = 1e-5, 1e8


class TooGreatError(ArithmeticError):
    """A whole number that 64 bits may not hold."""


def variable_part(law: Growing, micrometres: Units) -> tuple[Units, Fraction]:
    """Return whole numbers and the factor by which a law grows with them.

    Parameters
    ----------
    law
        The law.
    micrometres
        Length that it is of [um].

    Returns
    -------
    tuple
        What the law comes to is the factor times the whole numbers, and its constant.

    Raises
    ------
    TooGreatError
        64 bits may not hold it.
    """
    if law.steps_of is None:
        return micrometres, law.factor / MICROMETRES
    return _rounded_up(law.steps_of, micrometres), law.factor


def _rounded_up(law: Growing, micrometres: Units) -> Units:
    whole, factor = variable_part(law, micrometres)
    if isinstance(whole, int):
        return ceil(factor * whole + law.constant)
    denominator = lcm(factor.denominator, law.constant.denominator)
    times, plus = int(factor * denominator), int(law.constant * denominator)
    greatest = int(whole.max()) if whole.size else 0
    if abs(times) * greatest + abs(plus) < GREATEST and denominator < GREATEST:
        return -(-(times * whole + plus) // denominator)
    # In binary first, then whole numbers of any size where that is too close to call.
    near = whole * float(factor) + float(law.constant)
    if near.size and float(np.abs(near).max()) > _GREATEST_DOUBTED:
        raise TooGreatError("a quantity has too many digits")
    found: npt.NDArray[np.int64] = np.ceil(near).astype(np.int64)
    for place in np.flatnonzero(np.abs(near - np.rint(near)) < _DOUBT).tolist():
        found[place] = -(-(times * int(whole[place]) + plus) // denominator)
    return found


class Stepped(NamedTuple):
    """A law in steps of some size: the numerator and denominator of its numbers, in lowest terms.

    ``factor`` is that of each micrometre, or of each step of the law that it rounds up.
    """

    law: Growing
    constant: tuple[int, int]
    factor: tuple[int, int]


def in_steps(law: Growing, step: Fraction) -> Stepped:
    """Return a law in steps of some size instead of the unit that it is in."""
    times = 1 if law.steps_of is not None else MICROMETRES
    return Stepped(law, _quotient(law.constant, step, 1), _quotient(law.factor, step, times))


def _quotient(quantity: Fraction, step: Fraction, times: int) -> tuple[int, int]:
    """Return a quantity over so many times a step above 0, in lowest terms."""
    numerator = quantity.numerator * step.denominator
    denominator = quantity.denominator * step.numerator * times
    divisor = gcd(numerator, denominator)
    return numerator // divisor, denominator // divisor


def steps_over(sum_of_parts: Units, denominator: int) -> Units:
    """Return the least whole number of steps that is not below a sum in parts of one."""
    return sum_of_parts if denominator == 1 else -(-sum_of_parts // denominator)
