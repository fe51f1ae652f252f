"""Which reading would tell the two likeliest hypotheses apart."""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.likelihood import Fit, Taken, moments
from loomwright.engineering.measurement.measured_network import Quantity
from loomwright.engineering.measurement.meter import RECTANGULAR, Meter
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]

# In standard deviations: a reading that moves less is not worth taking.
LEAST_SEPARATION = 1.0


@record
class NextReading:
    """The reading that tells the two likeliest hypotheses apart best.

    Parameters
    ----------
    quantity
        Which.
    if_first, if_second
        What the meter would show under each [V] or [A].
    separation
        Difference over its standard deviation [1].
    """

    quantity: Quantity
    if_first: float
    if_second: float
    separation: float


def next_reading(
    first: tuple[Fit, Array],
    second: tuple[Fit, Array],
    left: Mapping[Quantity, tuple[int, Meter]],
    taken: Taken,
) -> NextReading | None:
    """Return the unread quantity whose means under two hypotheses lie farthest apart.

    Parameters
    ----------
    first
        The likeliest hypothesis with how likely its sizes are.
    second
        The one after it.
    left
        Column and meter of each quantity that has not been read.
    taken
        The readings.

    Returns
    -------
    NextReading or None
        None where none is left, or none differs by ``LEAST_SEPARATION``.

    Notes
    -----
    Difference of the means over the root of the sum of their variances, each with that of the meter
    at the first of the means.
    """
    if not left:
        return None
    columns = [column for column, _ in left.values()]
    if_first, variance = moments(*first, columns, taken)
    if_second, other_variance = moments(*second, columns, taken)
    separation = np.abs(if_first - if_second) / np.sqrt(
        variance + other_variance + 2.0 * _meter_variances(left, if_first)
    )
    place = int(separation.argmax())
    if separation[place] < LEAST_SEPARATION:
        return None
    quantity = list(left)[place]
    return NextReading(
        quantity, float(if_first[place]), float(if_second[place]), float(separation[place])
    )


def _meter_variances(
    left: Mapping[Quantity, tuple[int, Meter]], values: Sequence[float] | Array
) -> Array:
    limits = [
        meter.limit(float(value)) for (_, meter), value in zip(left.values(), values, strict=True)
    ]
    return np.asarray((RECTANGULAR * np.array(limits)) ** 2)
