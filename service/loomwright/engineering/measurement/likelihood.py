"""How likely readings are under a hypothesis, and what the unread quantities then are.

What meters show is normally distributed around what the network model says. The covariance has two
parts: how installations that are built right differ from each other, taken from draws and scaled to
the network at hand, and how meters err.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.hypotheses import Hypothesis
from loomwright.engineering.measurement.meter import Meter, meter_covariance
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]

# Values between two solved sizes: what a meter shows is nearly straight between them.
BETWEEN = 4
# Of what has no operating point: below any other, and still a number to reckon with.
LEAST_LIKELIHOOD = -1e300
# In volts or amperes: what is smaller in the plan carries nothing, and has no scale.
_LEAST_SCALE = 1e-9


@record
class Taken:
    """The readings and what they are held against.

    Parameters
    ----------
    values, meters, ranges
        What was read [V] or [A], with which meter and in which of its ranges, in one order.
    columns
        The column of each reading among all quantities.
    middle, spread
        Mean of the draws of the plan for all quantities, and their covariance.
    scaled
        Which quantities spread in proportion to themselves: drops and currents.
    """

    values: Array
    meters: tuple[Meter, ...]
    ranges: tuple[str, ...]
    columns: list[int]
    middle: Array
    spread: Array
    scaled: npt.NDArray[np.bool_]

    def spread_at(self, shown: Array, columns: Sequence[int]) -> Array:
        """Return the covariance of installations around each row of what is shown.

        Parameters
        ----------
        shown
            All quantities of networks as rows [V] or [A].
        columns
            The quantities wanted.

        Returns
        -------
        ndarray
            Networks by quantities by quantities, in the squared units of the quantities.
        """
        place = list(columns)
        middle = self.middle[place]
        # What carries nothing in the plan has no scale; there only the meter's digits are left.
        is_scaled = self.scaled[place] & (np.abs(middle) > _LEAST_SCALE)
        factor = np.ones((shown.shape[0], len(place)))
        np.divide(shown[:, place], middle, out=factor, where=is_scaled)
        within = self.spread[np.ix_(place, place)]
        return np.asarray(factor[:, :, None] * within * factor[:, None, :])


@record
class Fit:
    """One hypothesis held against the readings, by size.

    ``shown`` has all quantities by column; ``distance`` is the squared distance of the readings in
    standard deviations, infinite without an operating point.
    """

    hypothesis: Hypothesis
    magnitudes: Array
    shown: Array
    log_likelihood: Array
    distance: Array


def fit_of(hypothesis: Hypothesis, shown: Array, taken: Taken) -> Fit:
    """Return a hypothesis held against the readings, at its sizes and between them.

    Parameters
    ----------
    hypothesis
        With sizes in rising or falling order, or one conductor after the other.
    shown
        All quantities at each size, NaN without an operating point.
    taken
        The readings.

    Returns
    -------
    Fit
        At ``BETWEEN`` times as many sizes, straight in the magnitude itself, which a drop nearly
        is; conductors have nothing between them.
    """
    magnitudes = hypothesis.magnitudes
    if not hypothesis.labels:
        places = np.arange(magnitudes.size)
        steps = np.linspace(0, places[-1], BETWEEN * int(places[-1]) + 1)
        magnitudes = np.interp(steps, places, hypothesis.magnitudes)
        shown = np.stack([np.interp(steps, places, column) for column in shown.T], axis=1)
    likelihood, distance = log_likelihood(shown, taken)
    return Fit(hypothesis, magnitudes, shown, likelihood, distance)


def log_likelihood(shown: Array, taken: Taken) -> tuple[Array, Array]:
    """Return the log likelihood of the readings for each network, and their squared distance.

    Parameters
    ----------
    shown
        All quantities of networks as rows, NaN without an operating point.
    taken
        The readings.

    Returns
    -------
    tuple of ndarray
        Logarithm of the normal density but for ``log(2 pi) / 2`` for each reading, and the squared
        distance in standard deviations [1].

    Notes
    -----
    With ``C = L L'`` and ``L z = y - mu``: ``- z'z / 2 - sum(log(diag L))``.
    """
    solved = ~np.isnan(shown).any(axis=1)
    likelihood = np.full(shown.shape[0], LEAST_LIKELIHOOD)
    distance = np.full(shown.shape[0], np.inf)
    at = shown[solved]
    expected = at[:, taken.columns]
    covariance = taken.spread_at(at, taken.columns) + meter_covariance(
        expected, taken.meters, taken.ranges
    )
    root = np.linalg.cholesky(covariance)
    off = np.linalg.solve(root, (taken.values - expected)[:, :, None]).squeeze(axis=2)
    squared = (off * off).sum(axis=1)
    determinant = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    likelihood[solved] = -0.5 * squared - determinant
    distance[solved] = squared
    return likelihood, distance


def moments(fit: Fit, weights: Array, columns: Sequence[int], taken: Taken) -> tuple[Array, Array]:
    """Return mean and variance of unread quantities under a hypothesis after the readings.

    Parameters
    ----------
    fit
        The hypothesis.
    weights
        How likely each of its sizes is, in any one unit, 0 or more.
    columns
        The unread quantities.
    taken
        The readings.

    Returns
    -------
    tuple of ndarray
        Of what a perfect meter shows of each, over the sizes [V] or [A] and its square.

    Notes
    -----
    Of jointly normal ``x`` and ``y``: mean ``mu_x + G (y - mu_y)`` and covariance
    ``C_xx - G C_yx`` with ``G = C_xy C_yy^-1``; over the sizes, mean of the variances and variance
    of the means.
    """
    solved = ~np.isnan(fit.shown).any(axis=1)
    at, weight = fit.shown[solved], weights[solved]
    total = weight.sum()
    # A hypothesis that is out of the question has no weight left: then all its sizes are alike.
    share = weight / total if total else np.full(weight.size, 1 / weight.size)
    spread = taken.spread_at(at, [*columns, *taken.columns])
    count = len(columns)
    expected = at[:, taken.columns]
    of_read = spread[:, count:, count:] + meter_covariance(expected, taken.meters, taken.ranges)
    gain = np.linalg.solve(of_read, spread[:, count:, :count]).transpose(0, 2, 1)
    shifted = (gain @ (taken.values - expected)[:, :, None]).squeeze(axis=2)
    means = at[:, columns] + shifted
    left = spread[:, :count, :count] - gain @ spread[:, count:, :count]
    mean = share @ means
    # Rounding can leave a hair below nought where the readings tell all.
    within = share @ np.maximum(np.diagonal(left, axis1=1, axis2=2), 0.0)
    return mean, within + share @ (means - mean) ** 2
