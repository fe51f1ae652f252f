"""The greatest power of networks: closed forms, limits worked out by hand, and the law of it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawn_networks import drawn_network, quadratic_curve
from loomwright.engineering.network.collapse import (
    AIM_SHORT,
    GREATEST_GROWTH,
    RELATIVE_TOLERANCE,
    collapse_of_all_loads,
    collapse_of_one_load,
    next_trial,
    straightened,
)
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft, Stretch
from loomwright.engineering.network.solver import NO_OPERATING_POINT, SOLVED, solved_networks


def bus(emf_v=12.0, resistance_ohm=0.1, **source):
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", emf_v, resistance_ohm, **source)
    return draft


def of_all(draft):
    return collapse_of_all_loads(draft.shape(), draft.elements())


def of_one(draft, name):
    place = list(draft.loads).index(name)
    return collapse_of_one_load(place, draft.shape(), draft.elements())


def assert_greatest(collapse, power_w):
    """Compare to the tolerance of the bounds; from below, as an operating point was found."""
    assert collapse.state.tolist() == [SOLVED]
    found = collapse.greatest_power_w[0]
    # 1e-9: what the steps can still tell from a collapse.
    assert power_w * (1.0 - 1.01 * RELATIVE_TOLERANCE) <= found <= power_w * (1.0 + 1e-9)
    assert 0.0 <= collapse.residual[0] <= RELATIVE_TOLERANCE
    assert 3 <= collapse.trials[0] <= 40


@given(st.floats(6.0, 60.0), st.floats(1e-4, 0.1), st.floats(1e-4, 0.1), st.floats(1.0, 5000.0))
def test_one_load_gets_a_quarter_of_the_square_over_the_resistance(emf, source, branch, power):
    draft = bus(emf, source)
    draft.branch("feed", "bus", "load", branch)
    draft.load("load", "load", REFERENCE, power_w=power)
    collapse = of_all(draft)
    most = emf * emf / (4.0 * (source + branch))
    assert_greatest(collapse, most)
    assert collapse.greatest_factor[0] == pytest.approx(most / power, rel=1.1e-7)
    assert collapse.greatest_power_w[0] == power * collapse.greatest_factor[0]


def test_factor_is_below_one_where_the_load_asks_for_too_much():
    draft = bus()
    draft.load("load", "bus", REFERENCE, power_w=720.0)
    collapse = of_all(draft)
    # 144 V2 / 0.4 ohm = 360 W.
    assert_greatest(collapse, 360.0)
    assert collapse.greatest_factor[0] == pytest.approx(0.5, rel=1.1e-7)


def test_limited_source_gives_its_current_at_the_voltage_of_its_limit():
    # 20 A at 14 V - 20 A x 0.05 ohm = 13 V; beyond, the voltage falls at the same current. The
    # collapse of the source without a limit would be at 980 W.
    draft = bus(14.0, 0.05, greatest_current_a=20.0)
    draft.load("load", "bus", REFERENCE, power_w=100.0)
    assert_greatest(of_all(draft), 260.0)


def test_limited_source_beyond_its_own_collapse_is_not_reached():
    # E / 2 R = 60 A is below the limit of 80 A.
    draft = bus(12.0, 0.1, greatest_current_a=80.0)
    draft.load("load", "bus", REFERENCE, power_w=1.0)
    assert_greatest(of_all(draft), 360.0)


def test_second_source_that_waits_adds_its_power():
    # The first: 15 V, at most 20 A; the second: 12 V behind 0.1 ohm, waiting above 12 V. With both
    # P = V (20 A + (12 V - V) / 0.1 ohm), greatest at V = 7 V: 7 (20 + 50) = 490 W.
    draft = bus(15.0, 0.01, greatest_current_a=20.0, takes_back=False)
    draft.source("second", REFERENCE, "bus", 12.0, 0.1, takes_back=False)
    draft.load("load", "bus", REFERENCE, power_w=100.0)
    assert_greatest(of_all(draft), 490.0)


@pytest.mark.parametrize(
    ("other", "power_w"),
    [
        # 20 A more: as from 10 V, 100 V2 / 0.4 ohm.
        ({"current_a": 20.0}, 250.0),
        # 10 S more: as from 6 V behind 0.05 ohm, 36 V2 / 0.2 ohm.
        ({"conductance_s": 10.0}, 180.0),
        # 100 W more: of 360 W 260 W are left.
        ({"power_w": 100.0}, 260.0),
        ({}, 360.0),
    ],
)
def test_one_load_among_several_gets_what_the_others_leave(other, power_w):
    draft = bus()
    draft.load("other", "bus", REFERENCE, **other)
    draft.load("load", "bus", REFERENCE, power_w=50.0)
    collapse = of_one(draft, "load")
    assert_greatest(collapse, power_w)
    assert collapse.greatest_factor[0] == pytest.approx(power_w / 50.0, rel=1.1e-7)


def test_all_loads_are_turned_up_together():
    draft = bus()
    draft.load("one", "bus", REFERENCE, power_w=100.0)
    draft.load("other", "bus", REFERENCE, power_w=20.0, current_a=20.0)
    collapse = of_all(draft)
    assert_greatest(collapse, 250.0)
    assert collapse.greatest_factor[0] == pytest.approx(250.0 / 120.0, rel=1.1e-7)


def test_heated_conductor_delivers_less_than_a_cold_one_and_more_than_a_hot_one():
    draft = bus(12.0, 0.01)
    draft.branch("feed", "bus", "load", 0.0, (Stretch(0.05, 2e-4, 0.004, quadratic_curve(100.0)),))
    draft.load("load", "load", REFERENCE, power_w=100.0)
    # P = I (12 - I (0.06 + 0.02 (I / 250)^2)): 12 = 0.12 I + 0.08 I^3 / 250^2 at the top.
    current = 100.0
    for _ in range(60):
        current -= (0.12 * current + 0.08 * current**3 / 250.0**2 - 12.0) / (
            0.12 + 0.24 * current**2 / 250.0**2
        )
    power = current * (12.0 - current * (0.06 + 0.02 * (current / 250.0) ** 2))
    assert 144.0 / (4.0 * 0.08) < power < 144.0 / (4.0 * 0.06)
    assert_greatest(of_all(draft), power)


@pytest.mark.parametrize("seed", [0, 3, 6, 7, 10, 12, 18])
@pytest.mark.parametrize("single", [False, True])
def test_just_below_there_is_a_point_and_just_above_none(seed, single):
    draft = drawn_network(seed)
    shape, elements = draft.shape(), draft.elements()
    turned = int(elements.load_power_w[0].argmax())
    collapse = (
        collapse_of_one_load(turned, shape, elements)
        if single
        else collapse_of_all_loads(shape, elements)
    )
    assert collapse.state.tolist() == [SOLVED]
    assert collapse.greatest_factor[0] >= 1.0
    for share, state in ((1.0 - 1e-6, SOLVED), (1.0 + 1e-6, NO_OPERATING_POINT)):
        power = elements.load_power_w.copy()
        power[0, turned if single else slice(None)] *= share * collapse.greatest_factor[0]
        loaded = elements._replace(load_power_w=power)
        assert solved_networks(shape, loaded).state.tolist() == [state]


def test_loads_without_constant_power_have_no_limit():
    draft = bus()
    draft.load("lamp", "bus", REFERENCE, current_a=10.0, conductance_s=1.0)
    draft.load("converter", "bus", REFERENCE, power_w=10.0)
    collapse = of_one(draft, "lamp")
    assert collapse.state.tolist() == [SOLVED]
    assert collapse.greatest_factor.tolist() == [math.inf]
    assert np.isnan(collapse.greatest_power_w).all()
    assert (collapse.trials.tolist(), collapse.residual.tolist()) == ([1], [0.0])


def test_factor_beyond_a_thousand_million_counts_as_unlimited():
    draft = bus()
    draft.load("load", "bus", REFERENCE, power_w=360e-8)
    assert of_all(draft).greatest_factor[0] == pytest.approx(1e8, rel=1.1e-7)
    draft.load("load", "bus", REFERENCE, power_w=360e-12)
    collapse = of_all(draft)
    assert (collapse.state.tolist(), collapse.residual.tolist()) == ([SOLVED], [0.0])
    assert collapse.greatest_factor.tolist() == [math.inf]
    assert np.isnan(collapse.greatest_power_w).all()


def test_network_without_a_point_even_without_the_load_says_so():
    draft = bus()
    draft.load("other", "bus", REFERENCE, power_w=361.0)
    draft.load("load", "bus", REFERENCE, power_w=1.0)
    collapse = of_one(draft, "load")
    assert collapse.state.tolist() == [NO_OPERATING_POINT]
    assert collapse.trials.tolist() == [1]
    for values in (collapse.greatest_factor, collapse.greatest_power_w, collapse.residual):
        assert np.isnan(values).all()
    # Turned up together, both find what the source has.
    assert_greatest(of_all(draft), 360.0)


def test_each_network_has_a_row_of_its_own():
    draft = bus()
    draft.load("load", "bus", REFERENCE, power_w=100.0)
    elements = draft.elements()
    columns = {
        name: values if name == "curves" else np.repeat(values, 3, axis=0)
        for name, values in elements._asdict().items()
    }
    rows = elements._replace(**columns)
    rows.emf_v[:, 0] = [12.0, 24.0, 6.0]
    rows.load_power_w[2, 0] = 0.0
    collapse = collapse_of_all_loads(draft.shape(), rows)
    assert collapse.greatest_power_w[:2] == pytest.approx([360.0, 1440.0], rel=1.1e-7)
    assert math.isinf(collapse.greatest_factor[2])


# --- the search ---


@given(st.floats(1e-6, 1.0))
def test_measure_of_one_load_is_straight_in_its_factor(share):
    # With s**2 = 1 - factor / greatest, from the text of the module.
    s = math.sqrt(share)
    assert straightened(2.0 * s / (1.0 + s)) == pytest.approx(share)


def test_two_trials_of_one_aim_lie_within_the_tolerance():
    assert 0.0 < 2.0 * AIM_SHORT < RELATIVE_TOLERANCE


def test_without_a_second_point_the_factor_grows_by_a_thousand():
    grown = next_trial(0.0, math.inf, 1.0, -1.0, 1.0)
    assert grown == GREATEST_GROWTH == 1000.0
    assert next_trial(0.5, math.inf, 1.0, -1.0, 2.0) == 1000.0
    assert next_trial(5.0, math.inf, 1.0, -1.0, 2.0) == 5000.0


def test_a_secant_aims_just_short_of_where_it_meets_nought():
    # From 1 at 0.5 to 2 at 0.25: 0 at 3; from 0 at 0.5 to 2 at 0.25: 0 at 4.
    assert next_trial(2.0, math.inf, 0.25, 1.0, 0.5) == pytest.approx(3.0 * (1.0 - 3e-8), rel=1e-12)
    assert next_trial(2.0, math.inf, 0.25, 0.0, 0.5) == pytest.approx(4.0 * (1.0 - 3e-8), rel=1e-12)
    assert next_trial(2.0, 3.5, 0.25, 1.0, 0.5) == pytest.approx(3.0 * (1.0 - 3e-8), rel=1e-12)


def test_an_aim_that_is_reached_is_passed_by_a_hair():
    lower = 3.0 * (1.0 - 2e-8)
    # Where the secant meets nought: at 3 again.
    measure = (3.0 - lower) / 4.0
    found = next_trial(lower, math.inf, measure, 1.0, 0.5)
    assert found == pytest.approx(3.0 * (1.0 + 3e-8), rel=1e-10)
    # A hair further off, the trial still lies short of the aim.
    lower = 3.0 * (1.0 - 6e-8)
    found = next_trial(lower, math.inf, (3.0 - lower) / 4.0, 1.0, 0.5)
    assert found == pytest.approx(3.0 * (1.0 - 3e-8), rel=1e-10)


@pytest.mark.parametrize(
    ("lower", "upper", "measure", "before", "before_measure"),
    [
        # The aim of 3 lies beyond the upper bound.
        (2.0, 2.5, 0.25, 1.0, 0.5),
        # The measure has not fallen, or there is no point before.
        (2.0, 2.5, 0.5, 1.0, 0.5),
        (2.0, 2.5, 0.25, 2.0, 0.5),
        (2.0, 2.5, 0.25, -0.5, 0.5),
    ],
)
def test_where_the_secant_is_of_no_use_the_bounds_are_halved(
    lower, upper, measure, before, before_measure
):
    assert next_trial(lower, upper, measure, before, before_measure) == 2.25


def test_the_collapse_of_one_load_is_found_in_four_to_five_trials():
    # One that only halved would need some 25 from the first upper bound on.
    generator = np.random.default_rng(0)
    trials = []
    for emf, decades, power in generator.uniform((6.0, -3.0, 1.0), (60.0, -1.0, 5000.0), (200, 3)):
        draft = bus(emf, 10.0**decades)
        draft.load("load", "bus", REFERENCE, power_w=power)
        trials.append(of_all(draft).trials[0])
    assert 3.8 < np.mean(trials) < 4.8
    assert max(trials) <= 16
