"""Readings held against hypotheses: normal densities, between sizes, and what is left open."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from loomwright.engineering.measurement.diagnosis import TELLING_RATIO
from loomwright.engineering.measurement.hypotheses import POOR_GROUND, Hypothesis
from loomwright.engineering.measurement.likelihood import (
    BETWEEN,
    LEAST_LIKELIHOOD,
    Fit,
    Taken,
    fit_of,
    log_likelihood,
    moments,
)
from loomwright.engineering.measurement.measured_network import CURRENT, FEED_DROP, Quantity
from loomwright.engineering.measurement.meter import Meter
from loomwright.engineering.measurement.next_reading import LEAST_SEPARATION, next_reading

PERFECT = Meter(0.0, 0.0, 0.0)
ROOT_3 = math.sqrt(3.0)


def taken(values: list[float], columns: list[int], **more: Any) -> Taken:
    """Readings of a plan of three quantities with variances 1, 4 and 9."""
    given = {
        "meters": (PERFECT,) * len(values),
        "ranges": ("voltage",) * len(values),
        "middle": np.array([2.0, 4.0, 5.0]),
        "spread": np.diag([1.0, 4.0, 9.0]),
        "scaled": np.zeros(3, dtype=bool),
    }
    return Taken(values=np.array(values), columns=columns, **(given | more))


def hypothesis(magnitudes: list[float], labels: tuple[str, ...] = ()) -> Hypothesis:
    rows = slice(0, len(magnitudes))
    return Hypothesis(POOR_GROUND, "lamp", np.array(magnitudes), labels, rows)


def fit(shown: list[list[float]]) -> Fit:
    rows = np.array(shown)
    nothing = np.zeros(len(shown))
    return Fit(hypothesis([1.0] * len(shown)), nothing, rows, nothing, nothing)


# --- the spread of installations ---


def test_drops_and_currents_spread_in_proportion_and_voltages_do_not() -> None:
    plan = taken(
        [], [], spread=np.array([[1.0, 0.5, 0.2], [0.5, 4.0, 0.3], [0.2, 0.3, 9.0]]),
        scaled=np.array([True, True, False]),
    )  # fmt: skip
    # Twice the first, three times the second; whatever the third.
    (found,) = plan.spread_at(np.array([[4.0, 12.0, 50.0]]), [0, 1, 2])
    assert found == pytest.approx(np.array([[4.0, 3.0, 0.4], [3.0, 36.0, 0.9], [0.4, 0.9, 9.0]]))
    (found,) = plan.spread_at(np.array([[4.0, 12.0, 50.0]]), [2, 0])
    assert found.tolist() == [[9.0, 0.4], [0.4, 4.0]]


@pytest.mark.parametrize(("middle", "factor"), [(0.0, 1.0), (1e-9, 1.0), (-2e-9, -1.5e9)])
def test_what_carries_nothing_in_the_plan_has_no_scale(middle: float, factor: float) -> None:
    plan = taken([], [], middle=np.array([middle, 1.0, 1.0]), scaled=np.ones(3, dtype=bool))
    found = plan.spread_at(np.array([[3.0, 1.0, 1.0]]), [0])
    assert found == pytest.approx(factor**2)


# --- likelihood ---


@settings(max_examples=30)
@given(
    st.lists(st.floats(-3.0, 3.0), min_size=3, max_size=3),
    st.lists(st.floats(1.0, 9.0), min_size=3, max_size=3),
)
def test_likelihood_is_the_normal_density(values: list[float], shown: list[float]) -> None:
    # A meter of 10 % and one digit of 0.3, both rectangular: variances a third of the squares; the
    # share is common to readings of one range.
    meter = Meter(0.1, 1.0, 0.3)
    spread = np.array([[2.0, 0.3, 0.1], [0.3, 1.0, 0.2], [0.1, 0.2, 3.0]])
    readings = taken(
        values, [0, 1, 2], meters=(meter,) * 3, ranges=("voltage", "voltage", "current"),
        spread=spread,
    )  # fmt: skip
    gains = 0.1 / ROOT_3 * np.array(shown)
    common = np.array([[1, 1, 0], [1, 1, 0], [0, 0, 1]])
    covariance = spread + np.outer(gains, gains) * common + np.eye(3) * 0.3**2 / 3.0
    found, distance = log_likelihood(np.array([shown]), readings)
    expected = multivariate_normal(shown, covariance).logpdf(values) + 1.5 * math.log(2 * math.pi)
    assert found[0] == pytest.approx(expected, rel=1e-9)
    off = np.array(values) - shown
    assert distance[0] == pytest.approx(off @ np.linalg.inv(covariance) @ off, rel=1e-9)


def test_what_has_no_operating_point_is_out_of_the_question() -> None:
    rows = np.array([[2.0, math.nan, 5.0], [2.0, 4.0, 5.0]])
    found, distance = log_likelihood(rows, taken([3.0], [0]))
    # One standard deviation of 1 off.
    assert (found[1], distance[1]) == (-0.5, 1.0)
    assert (found[0], distance[0]) == (LEAST_LIKELIHOOD, math.inf)
    assert np.exp(found[0] - found[1]) == 0.0
    assert math.isfinite(LEAST_LIKELIHOOD)


# --- between sizes ---


def test_three_values_lie_between_two_sizes() -> None:
    shown = np.array([[10.0, 0.0, 1.0], [20.0, 4.0, 1.0], [60.0, 0.0, 1.0]])
    found = fit_of(hypothesis([1.0, 2.0, 4.0]), shown, taken([2.0], [0]))
    assert BETWEEN == 4
    assert found.magnitudes.tolist() == [1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 3.5, 4.0]
    assert found.shown[:, 0].tolist() == [10.0, 12.5, 15.0, 17.5, 20.0, 30.0, 40.0, 50.0, 60.0]
    assert found.shown[:, 1].tolist() == [0.0, 1.0, 2.0, 3.0, 4.0, 3.0, 2.0, 1.0, 0.0]
    # A variance of 1 around each.
    assert found.distance.tolist() == ((found.shown[:, 0] - 2.0) ** 2).tolist()
    assert found.log_likelihood.tolist() == (-0.5 * found.distance).tolist()


@pytest.mark.parametrize(("sizes", "labels"), [([0.0], ()), ([1.6, 1.55], ("thin", "clad"))])
def test_nothing_lies_between_conductors_nor_beside_one_size(
    sizes: list[float], labels: tuple[str, ...]
) -> None:
    shown = np.array([[2.0, 4.0, 5.0], [3.0, 4.0, 5.0]])[: len(sizes)]
    found = fit_of(hypothesis(sizes, labels), shown, taken([2.0], [0]))
    assert found.magnitudes.tolist() == sizes
    assert found.shown.tolist() == shown.tolist()


# --- what is left open ---


def correlated(values: list[float], meter: Meter = PERFECT) -> Taken:
    """The second of three quantities read; it has covariance 1.2 with the first."""
    spread = np.array([[1.0, 1.2, 0.0], [1.2, 4.0, 0.0], [0.0, 0.0, 9.0]])
    return taken(values, [1], spread=spread, meters=(meter,))


def test_a_reading_moves_what_hangs_together_with_it() -> None:
    # Bivariate normal, sigma 1 and 2, rho 0.6: mean moves by 0.6 x 1 / 2 of 3, variance 1 - 0.36.
    mean, variance = moments(fit([[2.0, 4.0, 5.0]]), np.array([7.0]), [0, 2], correlated([7.0]))
    assert mean == pytest.approx([2.9, 5.0])
    assert variance == pytest.approx([0.64, 9.0])


def test_a_poor_meter_moves_it_less() -> None:
    # A digit of 2 sqrt(3) adds 4 to the variance of the reading: gain 1.2 / 8.
    meter = Meter(0.0, 1.0, 2.0 * ROOT_3)
    mean, variance = moments(fit([[2.0, 4.0, 5.0]]), np.array([1.0]), [0], correlated([7.0], meter))
    assert mean == pytest.approx([2.45])
    assert variance == pytest.approx([1.0 - 1.2 * 1.2 / 8.0])


def test_sizes_count_by_their_weight() -> None:
    # Nothing hangs together: means 2 and 6 at weights 1 and 3 give 5, spread 3 around it.
    plan = taken([4.0], [1])
    mean, variance = moments(
        fit([[2.0, 4.0, 5.0], [6.0, 4.0, 5.0]]), np.array([0.1, 0.3]), [0], plan
    )
    assert mean == pytest.approx([5.0])
    assert variance == pytest.approx([1.0 + (9.0 + 3.0) / 4.0])


@pytest.mark.parametrize("lost", [0.0, math.nan])
def test_without_any_weight_all_sizes_with_an_operating_point_are_alike(lost: float) -> None:
    rows = [[2.0, 4.0, 5.0], [6.0, 4.0, 5.0], [math.nan, math.nan, math.nan]]
    weights = np.array([0.0, 0.0, lost])
    mean, variance = moments(fit(rows), weights, [0], taken([4.0], [1]))
    assert mean == pytest.approx([4.0])
    assert variance == pytest.approx([1.0 + 4.0])


def test_a_variance_is_never_below_nought() -> None:
    # The reading tells all of the first quantity, and rounding a hair more.
    spread = np.array([[1.0, 1.0 + 1e-12, 0.0], [1.0 + 1e-12, 1.0, 0.0], [0.0, 0.0, 9.0]])
    plan = taken([4.0], [1], spread=spread)
    _, variance = moments(fit([[2.0, 4.0, 5.0]]), np.array([1.0]), [0], plan)
    assert variance.tolist() == [0.0]


# --- the next reading ---

DROP, FLOW = Quantity(FEED_DROP, "lamp", "load"), Quantity(CURRENT, "lamp", "load")


def test_the_next_reading_is_the_one_that_differs_most_in_standard_deviations() -> None:
    # The first differs by 3 at variances 1 each, the last by 8 at 9 each.
    ones = np.ones(1)
    pair = (fit([[2.0, 4.0, 5.0]]), ones), (fit([[5.0, 4.0, 13.0]]), ones)
    left = {DROP: (0, PERFECT), FLOW: (2, PERFECT)}
    found = next_reading(*pair, left, taken([4.0], [1]))
    assert found is not None
    assert (found.quantity, found.if_first, found.if_second) == (DROP, 2.0, 5.0)
    assert found.separation == pytest.approx(3.0 / math.sqrt(2.0))


def test_the_meter_counts_at_what_the_first_hypothesis_shows() -> None:
    # 50 % of 2 is a half-width of 1, twice a variance of a third; with 1 and 4 for the two spreads.
    plan = taken([4.0], [1], scaled=np.array([True, False, False]))
    pair = (fit([[2.0, 4.0, 5.0]]), np.ones(1)), (fit([[4.0, 4.0, 5.0]]), np.ones(1))
    found = next_reading(*pair, {DROP: (0, Meter(0.5, 0.0, 0.0))}, plan)
    assert found is None
    pair = (fit([[2.0, 4.0, 5.0]]), np.ones(1)), (fit([[8.0, 4.0, 5.0]]), np.ones(1))
    found = next_reading(*pair, {DROP: (0, Meter(0.5, 0.0, 0.0))}, plan)
    assert found is not None
    assert found.separation == pytest.approx(6.0 / math.sqrt(1.0 + 16.0 + 2.0 / 3.0))


def test_a_reading_that_moves_by_less_than_its_spread_is_not_worth_taking() -> None:
    ones = np.ones(1)
    for difference, is_worth in ((1.41, False), (1.42, True)):
        pair = (fit([[2.0, 4.0, 5.0]]), ones), (fit([[2.0 + difference, 4.0, 5.0]]), ones)
        found = next_reading(*pair, {DROP: (0, PERFECT)}, taken([4.0], [1]))
        assert (found is not None) is is_worth
    assert LEAST_SEPARATION == 1.0


def test_where_all_is_read_nothing_is_left_to_read() -> None:
    ones = np.ones(1)
    pair = (fit([[2.0, 4.0, 5.0]]), ones), (fit([[9.0, 4.0, 5.0]]), ones)
    assert next_reading(*pair, {}, taken([4.0], [1])) is None


def test_two_hypotheses_are_told_apart_from_a_ratio_of_ten_up() -> None:
    # Jeffreys, as the module says.
    assert TELLING_RATIO == 10.0
