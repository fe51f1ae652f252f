"""What a meter may show instead of the true value."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

# A rectangular distribution of half-width a has the standard deviation a / sqrt(3).
RECTANGULAR = 3.0**-0.5
LEAST_DIGITS = 0.5


class Meter(NamedTuple):
    """A meter as its maker states it, such as "0.5 % of reading + 2 digits".

    Parameters
    ----------
    share
        Of the reading [1], 0 or more.
    digits
        Counts of the last digit [1], 0 or more; half a count is the least, by rounding.
    resolution
        Value of the last digit, in the unit of the reading, above 0.
    """

    share: float
    digits: float
    resolution: float

    @property
    def digit_limit(self) -> float:
        """Half-width of what the digits add, in the unit of the reading."""
        return max(self.digits, LEAST_DIGITS) * self.resolution

    def limit(self, value: float) -> float:
        """Return the greatest deviation at a value.

        Parameters
        ----------
        value
            In the unit of the reading.

        Returns
        -------
        float
            Half-width in the same unit.
        """
        return self.share * abs(value) + self.digit_limit


def meter_covariance(shown: Array, meters: tuple[Meter, ...], kinds: tuple[str, ...]) -> Array:
    """Return the covariance that meters add to readings.

    Both parts of a meter's statement are taken as rectangular. The share of reading is one error of
    the meter, so all readings of one kind that are taken with the same accuracy have it in common;
    the digits are independent of each other.

    Parameters
    ----------
    shown
        Values, variants by readings.
    meters
        Of each reading.
    kinds
        Of each reading: readings of one kind are taken in one range of one meter.

    Returns
    -------
    ndarray
        Variants by readings by readings, in the squared units.

    References
    ----------
    JCGM 100:2008, 4.3.7 (rectangular), 5.2.2 and F.1.2.3 (common error), from memory.
    """
    gain = np.array([meter.share for meter in meters]) * RECTANGULAR
    error = shown * gain
    common = np.array(
        [
            [one == other and a.share == b.share for other, b in zip(kinds, meters, strict=True)]
            for one, a in zip(kinds, meters, strict=True)
        ]
    )
    digits = np.array([meter.digit_limit for meter in meters]) * RECTANGULAR
    return np.asarray(error[:, :, None] * error[:, None, :] * common + np.diag(digits * digits))
