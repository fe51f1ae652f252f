"""Which fault explains a set of readings best, and which reading would tell more.

Every hypothesis is a set of networks with a fault of one kind in its sizes. What the meter shows of
each is normally distributed (``likelihood``). The likelihood of a hypothesis is the mean over its
sizes, and all hypotheses are equally likely beforehand.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.expected import Reading, meter_range
from loomwright.engineering.measurement.hypotheses import (
    CAUSE_BY_FAULT,
    OtherConductor,
    hypotheses,
)
from loomwright.engineering.measurement.likelihood import Fit, Taken, fit_of
from loomwright.engineering.measurement.measured_network import MeasuredNetwork, Quantity
from loomwright.engineering.measurement.meter import Meter
from loomwright.engineering.measurement.next_reading import NextReading, next_reading
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]

# A likelihood ratio below this tells no two hypotheses apart: H. Jeffreys, Theory of Probability,
# 3rd edition, appendix B, where 10 begins to be strong; from memory.
TELLING_RATIO = 10.0
# Squared distance from the best fit, over the number of readings, that is still an explanation, in
# standard deviations of a chi-squared distribution: 3.09 leaves 0.1 % out.
_EXPLAINED_SCORE = 3.0902


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
    taken = Taken(
        np.array([readings[wanted[column]].value for column in read]),
        tuple(readings[wanted[column]].meter for column in read),
        tuple(meter_range(wanted[column]) for column in read),
        read,
        middle,
        spread,
        scaled,
    )
    fits = [fit_of(hypothesis, shown[hypothesis.rows], taken) for hypothesis in found]
    left = {
        quantity: (column, meters[quantity])
        for column, quantity in enumerate(wanted)
        if quantity not in readings
    }
    return _ranked(fits, left, taken)


def _ranked(
    fits: Sequence[Fit], left: Mapping[Quantity, tuple[int, Meter]], taken: Taken
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
    one, other = order[:2]
    return Diagnosis(
        causes,
        alike,
        bool(nearest <= greatest_distance(len(taken.columns))),
        next_reading((fits[one], weights[one]), (fits[other], weights[other]), left, taken),
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


def _cause(fit: Fit, probability: float) -> Cause:
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
