"""Which fault explains a set of readings best, and which reading would tell more.

Every hypothesis is a set of networks with a fault of one kind in its sizes. What the meter shows of
each is a normal distribution around what the network model says: the spread of installations that
are built right, from draws, with drops and currents scaled to the network at hand, and the meter's
own accuracy. The likelihood of a hypothesis is the mean over its sizes, and all hypotheses are
equally likely beforehand.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.expected import Reading, meter_range
from loomwright.engineering.measurement.hypotheses import (
    CAUSE_BY_FAULT,
    Hypothesis,
    OtherConductor,
    hypotheses,
)
from loomwright.engineering.measurement.measured_network import MeasuredNetwork, Quantity
from loomwright.engineering.measurement.meter import Meter, meter_covariance
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]

# Values between two solved sizes: what a meter shows is nearly straight between them.
_BETWEEN = 4
# A likelihood ratio below this tells no two hypotheses apart: H. Jeffreys, Theory of Probability,
# 3rd edition, appendix B, where 10 begins to be strong; from memory.
TELLING_RATIO = 10.0
# In standard deviations: a reading that moves less is not worth taking.
LEAST_SEPARATION = 1.0
# Squared distance from the best fit, over the number of readings, that is still an explanation, in
# standard deviations of a chi-squared distribution: 3.09 leaves 0.1 % out.
_EXPLAINED_SCORE = 3.0902
_LEAST_LIKELIHOOD = -1e300
_LEAST_SCALE = 1e-9


@record
class Cause:
    """One hypothesis with how likely the readings make it.

    Parameters
    ----------
    fault, subject, cause
        What it is, at which circuit or source, and the cause that it counts to.
    probability
        Among all hypotheses [1].
    magnitude
        Likeliest size, see ``Hypothesis.magnitudes``.
    label
        Likeliest conductor; empty for all others.
    """

    fault: str
    subject: str
    cause: str
    probability: float
    magnitude: float
    label: str


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


@record
class Diagnosis:
    """Hypotheses from the likeliest down.

    Parameters
    ----------
    causes
        Every hypothesis.
    alike
        How many of the first the readings do not tell apart; 1 where the first stands alone.
    explains
        Whether the best fit lies within the spread of the readings at all.
    next_reading
        ``None`` where no reading is left that tells the first two apart.
    """

    causes: tuple[Cause, ...]
    alike: int
    explains: bool
    next_reading: NextReading | None


@record
class _Fit:
    """One hypothesis held against the readings, by size."""

    hypothesis: Hypothesis
    magnitudes: Array
    shown: Array
    log_likelihood: Array
    distance: Array


def diagnosis(
    network: MeasuredNetwork,
    planned_draws: Array,
    meters: Mapping[Quantity, Meter],
    readings: Mapping[Quantity, Reading],
    others: Mapping[str, Sequence[OtherConductor]],
    circuits: Sequence[str],
) -> Diagnosis:
    """Return what is likely wrong.

    One fault at a time. Readings at zero and above.

    Parameters
    ----------
    network
        As planned.
    planned_draws
        What a perfect meter shows of draws of the network, by the sorted keys of ``meters``.
    meters
        Quantities that were read or could be, and the meter that each is taken with.
    readings
        What has been read, at least one, each among ``meters``.
    others
        Other conductors that may be fitted, by circuit.
    circuits
        Circuits that were measured, and those that feed them.

    Returns
    -------
    Diagnosis
        All hypotheses.
    """
    wanted = sorted(meters)
    read = [column for column, quantity in enumerate(wanted) if quantity in readings]
    there = planned_draws[~np.isnan(planned_draws).any(axis=1)]
    spread = np.atleast_2d(np.cov(there, rowvar=False))
    middle = there.mean(axis=0)
    found, variants = hypotheses(network, others, circuits)
    # The draws' mean differs a little from the plan, for which the distributions are not symmetric.
    shown = network.values_of(variants, wanted)
    shown += middle - shown[0]
    scaled = np.array([meter_range(quantity) != "voltage" for quantity in wanted])
    taken = _Taken(
        np.array([readings[wanted[column]].value for column in read]),
        tuple(readings[wanted[column]].meter for column in read),
        tuple(meter_range(wanted[column]) for column in read),
        read,
        middle,
        spread,
        scaled,
    )
    fits = [_fit(hypothesis, shown[hypothesis.rows], taken) for hypothesis in found]
    return _ranked(fits, wanted, meters, readings, taken)


@record
class _Taken:
    """The readings and what they are held against."""

    values: Array
    meters: tuple[Meter, ...]
    ranges: tuple[str, ...]
    columns: list[int]
    middle: Array
    spread: Array
    scaled: npt.NDArray[np.bool_]

    def spread_at(self, shown: Array, columns: Sequence[int]) -> Array:
        """Return the covariance of installations around each row of what is shown."""
        place = list(columns)
        middle = self.middle[place]
        # What carries nothing in the plan has no scale; there only the meter's digits are left.
        is_scaled = self.scaled[place] & (np.abs(middle) > _LEAST_SCALE)
        factor = np.where(is_scaled, shown[:, place] / np.where(is_scaled, middle, 1.0), 1.0)
        within = self.spread[np.ix_(place, place)]
        return np.asarray(factor[:, :, None] * within * factor[:, None, :])


def _fit(hypothesis: Hypothesis, shown: Array, taken: _Taken) -> _Fit:
    magnitudes = hypothesis.magnitudes
    if magnitudes.size > 1 and not hypothesis.labels:
        steps = np.linspace(0, magnitudes.size - 1, _BETWEEN * (magnitudes.size - 1) + 1)
        places = np.arange(magnitudes.size)
        finer = np.interp(steps, places, magnitudes)
        # Straight in the magnitude itself, which a drop nearly is.
        shown = np.stack(
            [np.interp(finer, magnitudes, shown[:, column]) for column in range(shown.shape[1])],
            axis=1,
        )
        magnitudes = finer
    log_likelihood, distance = _log_likelihood(shown, taken)
    return _Fit(hypothesis, magnitudes, shown, log_likelihood, distance)


def _log_likelihood(shown: Array, taken: _Taken) -> tuple[Array, Array]:
    """Return the log likelihood of the readings for each row, and the squared distance."""
    solved = ~np.isnan(shown).any(axis=1)
    likelihood = np.full(shown.shape[0], _LEAST_LIKELIHOOD)
    distance = np.full(shown.shape[0], np.inf)
    at = shown[solved]
    expected = at[:, taken.columns]
    covariance = taken.spread_at(at, taken.columns) + meter_covariance(
        expected, taken.meters, taken.ranges
    )
    root = np.linalg.cholesky(covariance)
    off = np.linalg.solve(root, (taken.values - expected)[:, :, None])[:, :, 0]
    squared = (off * off).sum(axis=1)
    determinant = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    likelihood[solved] = -0.5 * squared - determinant
    distance[solved] = squared
    return likelihood, distance


def _ranked(
    fits: Sequence[_Fit],
    wanted: Sequence[Quantity],
    meters: Mapping[Quantity, Meter],
    readings: Mapping[Quantity, Reading],
    taken: _Taken,
) -> Diagnosis:
    best = max(float(fit.log_likelihood.max()) for fit in fits)
    weights = [np.exp(fit.log_likelihood - best) for fit in fits]
    likelihoods = np.array([weight.mean() for weight in weights])
    probabilities = likelihoods / likelihoods.sum()
    # Where two are alike to the last digit, the order of the hypotheses decides.
    order = sorted(range(len(fits)), key=lambda place: -probabilities[place])
    causes = tuple(_cause(fits[place], float(probabilities[place])) for place in order)
    first = causes[0].probability
    alike = sum(cause.probability * TELLING_RATIO > first for cause in causes)
    nearest = min(float(fit.distance.min()) for fit in fits)
    pair = [(fits[place], weights[place]) for place in order[:2]]
    return Diagnosis(
        causes,
        alike,
        bool(nearest <= greatest_distance(len(taken.columns))),
        _next_reading(pair, wanted, meters, readings, taken),
    )


def greatest_distance(readings: int) -> float:
    """Return the squared distance that 0.1 % of sets of so many readings exceed.

    Parameters
    ----------
    readings
        Number of readings, 1 or more.

    Returns
    -------
    float
        Quantile of the chi-squared distribution [1], within 3.5 % for one degree of freedom and
        within 1 % from ten up.

    References
    ----------
    Wilson and Hilferty, Proceedings of the National Academy of Sciences 17 (1931) 684-688, from
    memory: ``k (1 - 2 / 9k + z sqrt(2 / 9k))**3``.
    """
    part = 2.0 / (9.0 * readings)
    return float(readings * (1.0 - part + _EXPLAINED_SCORE * part**0.5) ** 3)


def _cause(fit: _Fit, probability: float) -> Cause:
    likeliest = int(fit.log_likelihood.argmax())
    labels = fit.hypothesis.labels
    return Cause(
        fit.hypothesis.fault,
        fit.hypothesis.subject,
        CAUSE_BY_FAULT[fit.hypothesis.fault],
        probability,
        float(fit.magnitudes[likeliest]),
        labels[likeliest] if labels else "",
    )


def _next_reading(
    pair: Sequence[tuple[_Fit, Array]],
    wanted: Sequence[Quantity],
    meters: Mapping[Quantity, Meter],
    readings: Mapping[Quantity, Reading],
    taken: _Taken,
) -> NextReading | None:
    """Return the unread quantity whose means under two hypotheses lie farthest apart."""
    left = [column for column, quantity in enumerate(wanted) if quantity not in readings]
    if not left:
        return None
    means, variances = zip(*(_moments(*entry, left, taken) for entry in pair), strict=True)
    meter = np.array(
        [
            meters[wanted[column]].limit(float(mean)) ** 2 / 3.0
            for column, mean in zip(left, means[0], strict=True)
        ]
    )
    separation = np.abs(means[0] - means[1]) / np.sqrt(variances[0] + variances[1] + 2.0 * meter)
    place = int(separation.argmax())
    if separation[place] < LEAST_SEPARATION:
        return None
    return NextReading(
        wanted[left[place]],
        float(means[0][place]),
        float(means[1][place]),
        float(separation[place]),
    )


def _moments(
    fit: _Fit, weights: Array, columns: Sequence[int], taken: _Taken
) -> tuple[Array, Array]:
    """Return mean and variance of unread quantities under a hypothesis after the readings."""
    solved = ~np.isnan(fit.shown).any(axis=1)
    at, weight = fit.shown[solved], weights[solved]
    # A hypothesis that is out of the question has no weight left: then all its sizes are alike.
    share = weight / weight.sum() if weight.sum() > 0.0 else np.full(weight.size, 1 / weight.size)
    both = [*columns, *taken.columns]
    spread = taken.spread_at(at, both)
    count = len(columns)
    expected = at[:, taken.columns]
    of_read = spread[:, count:, count:] + meter_covariance(expected, taken.meters, taken.ranges)
    gain = np.linalg.solve(of_read, spread[:, count:, :count]).transpose(0, 2, 1)
    means = at[:, columns] + (gain @ (taken.values - expected)[:, :, None])[:, :, 0]
    left = spread[:, :count, :count] - gain @ spread[:, count:, :count]
    mean = share @ means
    variance = share @ np.maximum(np.diagonal(left, axis1=1, axis2=2), 0.0)
    return mean, variance + share @ (means - mean) ** 2
