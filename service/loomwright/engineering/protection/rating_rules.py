"""Which rating of a fuse is looked at and what speaks against it, as arithmetic of numbers.

One request runs these functions as Python, many rows run them in a compiled loop. What a fuse or a
type fails is held as binary digits, one for each of ``TYPE_FAILURES``, the first one last.
"""

import math
from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compilable
from loomwright.engineering.protection import fuse_answer as answers

# Bounds are compared with ratings after some divisions; ten digits are kept.
RELATIVE_TOLERANCE = 1e-10
UP_TO, FROM = 1.0 + RELATIVE_TOLERANCE, 1.0 - RELATIVE_TOLERANCE

VOLTAGE_TOO_LOW = 1 << answers.TYPE_FAILURES.index(answers.VOLTAGE_TOO_LOW)
BREAKING_TOO_LOW = 1 << answers.TYPE_FAILURES.index(answers.BREAKING_TOO_LOW)
CURVE_NOT_PUBLISHED = 1 << answers.TYPE_FAILURES.index(answers.CURVE_NOT_PUBLISHED)
NOT_STANDARD = 1 << answers.TYPE_FAILURES.index(answers.NOT_STANDARD)
RATING_TOO_LOW = 1 << answers.TYPE_FAILURES.index(answers.RATING_TOO_LOW)
NO_RATING = 1 << answers.TYPE_FAILURES.index(answers.NO_RATING)
NOT_SELECTIVE = 1 << answers.TYPE_FAILURES.index(answers.NOT_SELECTIVE)
NOT_CLEARED = 1 << answers.TYPE_FAILURES.index(answers.NOT_CLEARED)
NOT_PROTECTED = 1 << answers.TYPE_FAILURES.index(answers.NOT_PROTECTED)
# Places in ``TYPE_FAILURES``.
NOT_PROTECTED_PLACE = answers.TYPE_FAILURES.index(answers.NOT_PROTECTED)


class RatingBounds(NamedTuple):
    """Bounds on the rating of one fuse type [A].

    Parameters
    ----------
    lower_a
        Greatest of the lower bounds.
    conductor_a
        Least bound by the conductor.
    far_end_a
        Bound by the fault at the far end; NaN where no rating surely clears it.
    upstream_a
        Bound by selectivity with the upstream fuse; infinite without.
    """

    lower_a: float
    conductor_a: float
    far_end_a: float
    upstream_a: float


@compilable
def rating_to_carry_a(current_a: float, multiple: float, ambient_factor: float) -> float:
    """Return the least rating that carries a current; a cold fuse is not loaded higher.

    Parameters
    ----------
    current_a
        Current [A].
    multiple
        Of the rated current that is carried at 23 C [1].
    ambient_factor
        Capacity at the ambient over that at 23 C [1].

    Returns
    -------
    float
        Rating [A].
    """
    return current_a / (multiple * min(1.0, ambient_factor))


@compilable
def rating_to_open_a(current_a: float, multiple: float, ambient_factor: float) -> float:
    """Return the greatest rating that a current opens; a cold fuse opens later.

    Parameters
    ----------
    current_a
        Current [A].
    multiple
        Of the rated current that opens the fuse at 23 C [1].
    ambient_factor
        Capacity at the ambient over that at 23 C [1].

    Returns
    -------
    float
        Rating [A]; NaN where the multiple is.
    """
    return current_a / (multiple * max(1.0, ambient_factor))


@compilable
def starting_current_a(stated_a: float, continuous_current_a: float) -> float:
    """Return the greatest current of a load as it starts: never less than while it runs.

    Parameters
    ----------
    stated_a
        Of all that starts together [A]; NaN where nothing is stated.
    continuous_current_a
        Current while the load is on [A].

    Returns
    -------
    float
        Current [A]; NaN where nothing is stated.
    """
    return stated_a if math.isnan(stated_a) else max(stated_a, continuous_current_a)


@compilable
def lacks_breaking_capacity(breaking_capacity_a: float, required_a: float) -> bool:
    """Return whether a fuse cannot break a fault."""
    return breaking_capacity_a < required_a


@compilable
def least_listed_a(lower_a: float) -> float:
    """Return the rating from which on a listed one counts as not below a bound [A]."""
    return lower_a * FROM


@compilable
def is_at_most(value: float, limit: float) -> bool:
    """Return whether a rating keeps a limit, within the tolerance; never one that is NaN."""
    return value <= limit * UP_TO


@compilable
def failures_of_rating(
    of_type: int, rating_a: float, bounds: RatingBounds, is_given: bool, is_protected: bool
) -> int:
    """Return what speaks against a fuse type with its candidate rating.

    Parameters
    ----------
    of_type
        What speaks against the type and the rating, whatever the bounds are.
    rating_a
        Candidate rating [A]; NaN where the type has none.
    bounds
        Bounds of the type.
    is_given
        Whether the rating is to be checked instead of chosen.
    is_protected
        Whether the fuse protects the conductor all along its curve.

    Returns
    -------
    int
        Binary digits, 0 where the fuse fits.
    """
    if math.isnan(rating_a):
        return of_type | NO_RATING
    lower_a, conductor_a, far_end_a, upstream_a = bounds
    failed = 0
    if rating_a > conductor_a * UP_TO:
        failed |= NOT_PROTECTED
    if rating_a > far_end_a * UP_TO:
        failed |= NOT_CLEARED
    if rating_a > upstream_a * UP_TO:
        failed |= NOT_SELECTIVE
    if is_given:
        if lower_a > rating_a * UP_TO:
            failed |= RATING_TOO_LOW
    elif failed and not (lower_a > conductor_a or lower_a > far_end_a or lower_a > upstream_a):
        # The window is open, yet no standard rating of this type falls into it.
        failed = NO_RATING
    if of_type & CURVE_NOT_PUBLISHED:
        return of_type | failed
    if not is_protected:
        failed |= NOT_PROTECTED
    if not is_at_most(rating_a, far_end_a):
        failed |= NOT_CLEARED
    return of_type | failed


@compilable
def first_that_fits(
    failing: Sequence[int] | npt.NDArray[np.int64], no_rating_is_permitted: bool
) -> tuple[int, int]:
    """Return the fuse type that is chosen, and the most telling failure where none is.

    Parameters
    ----------
    failing
        What speaks against each type, in order of preference.
    no_rating_is_permitted
        Whether the window that all types share is empty.

    Returns
    -------
    tuple of int
        Place of the type, -1 for none, and place of the failure in ``TYPE_FAILURES``, -1 where a
        type is chosen.
    """
    most_telling = -1
    for place in range(len(failing)):
        failed = failing[place]
        if failed == 0:
            return place, -1
        first = 0
        while failed >> first & 1 == 0:
            first += 1
        most_telling = max(most_telling, first)
    if no_rating_is_permitted:
        return -1, NOT_PROTECTED_PLACE
    return -1, most_telling


@cache
def failures_of_digits(digits: int) -> tuple[str, ...]:
    """Return failures by name, in the order of ``TYPE_FAILURES``."""
    return tuple(
        failure for place, failure in enumerate(answers.TYPE_FAILURES) if digits >> place & 1
    )
