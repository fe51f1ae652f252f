"""Quantities that grow with a length, written down before the length is known.

The quantity rules take a length as a decimal, or in its place a ``Growing``, and then answer with
the law by which their answer follows from any length: for many lengths at once, exactly.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import TypeVar, Union


@dataclass(frozen=True, slots=True)
class Growing:
    """A quantity as the law by which it follows from a length.

    It is ``factor x + constant``, where ``x`` is the length [m], or what the law ``steps_of`` comes
    to, rounded up to a whole number.
    """

    factor: Fraction = Fraction(1)
    constant: Fraction = Fraction(0)
    steps_of: Union["Growing", None] = None

    def __add__(self, other: Decimal | int) -> "Growing":
        return Growing(self.factor, self.constant + Fraction(other), self.steps_of)

    __radd__ = __add__

    def __mul__(self, other: Decimal | int) -> "Growing":
        by = Fraction(other)
        return Growing(self.factor * by, self.constant * by, self.steps_of)

    __rmul__ = __mul__

    def __truediv__(self, other: Decimal | int) -> "Growing":
        by = Fraction(other)
        return Growing(self.factor / by, self.constant / by, self.steps_of)

    def whole_steps(self) -> "Growing":
        """Return what it comes to, rounded up to a whole number."""
        return Growing(steps_of=self)

    def at(self, length_m: Decimal) -> Fraction:
        """Return the quantity for one length [m]."""
        if self.steps_of is None:
            return self.factor * Fraction(length_m) + self.constant
        return self.factor * ceil(self.steps_of.at(length_m)) + self.constant


# A length or a quantity: a number, or the law by which it follows from a length.
Exact = TypeVar("Exact", Decimal, Growing)
