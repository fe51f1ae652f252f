"""What speaks against a rating, by numbers: each bound alone and at its tolerance, and all."""

import math

import pytest

from loomwright.engineering.protection import fuse_answer as answers
from loomwright.engineering.protection import rating_rules as rules
from loomwright.engineering.protection.rating_rules import RatingBounds

OPEN = RatingBounds(lower_a=1.0, conductor_a=math.inf, far_end_a=math.inf, upstream_a=math.inf)
UPPER = [
    ("conductor_a", answers.NOT_PROTECTED),
    ("far_end_a", answers.NOT_CLEARED),
    ("upstream_a", answers.NOT_SELECTIVE),
]


def failures(rating_a, bounds, of_type=0, is_given=False, is_protected=True):
    digits = rules.failures_of_rating(of_type, rating_a, bounds, is_given, is_protected)
    return rules.failures_of_digits(digits)


# Ten digits are kept: a bound of 1 A is kept up to 1.0000000001 A.
BESIDE_ONE = [
    (1.0 - 2e-10, True),
    (1.0, True),
    (1.0 + 0.5e-10, True),
    (1.0 + 1e-10, True),
    (1.0 + 2e-10, False),
]


@pytest.mark.parametrize(("rating_a", "keeps"), BESIDE_ONE)
def test_a_rating_is_at_most_a_limit_within_ten_digits(rating_a, keeps):
    assert rules.is_at_most(rating_a, 1.0) is keeps


def test_nothing_is_at_most_a_limit_that_is_none():
    assert not rules.is_at_most(1.0, math.nan)


@pytest.mark.parametrize(("rating_a", "keeps"), BESIDE_ONE)
@pytest.mark.parametrize(("bound", "failure"), UPPER)
@pytest.mark.parametrize("is_published", [False, True])
def test_each_upper_bound_binds_past_ten_digits(bound, failure, rating_a, keeps, is_published):
    of_type = 0 if is_published else rules.CURVE_NOT_PUBLISHED
    of_curve = () if is_published else (answers.CURVE_NOT_PUBLISHED,)
    bounds = OPEN._replace(lower_a=0.5, **{bound: 1.0})
    given = failures(rating_a, bounds, of_type, is_given=True)
    assert given == of_curve + (() if keeps else (failure,))
    # From 0.5 A to 1 A there is room, in which this type has no rating; only a curve that is read
    # shows that the far end is not cleared either.
    chosen = () if keeps else (answers.NO_RATING,)
    if not keeps and is_published and bound == "far_end_a":
        chosen = (answers.NO_RATING, failure)
    assert failures(rating_a, bounds, of_type) == of_curve + chosen


@pytest.mark.parametrize(("lower_a", "keeps"), BESIDE_ONE)
def test_a_given_rating_is_too_low_past_ten_digits(lower_a, keeps):
    found = failures(1.0, OPEN._replace(lower_a=lower_a), is_given=True)
    assert found == (() if keeps else (answers.RATING_TOO_LOW,))


@pytest.mark.parametrize(("bound", "failure"), UPPER[::2])
@pytest.mark.parametrize(
    ("lower_a", "is_open"), [(9.0, True), (10.0, True), (math.nextafter(10.0, 11.0), False)]
)
def test_a_bound_is_named_only_where_it_leaves_no_room(bound, failure, lower_a, is_open):
    bounds = OPEN._replace(lower_a=lower_a, **{bound: 10.0})
    assert failures(15.0, bounds) == ((answers.NO_RATING,) if is_open else (failure,))


@pytest.mark.parametrize(
    ("lower_a", "is_open"), [(9.0, True), (10.0, True), (math.nextafter(10.0, 11.0), False)]
)
def test_what_is_not_cleared_is_said_whether_there_is_room_or_not(lower_a, is_open):
    found = failures(15.0, OPEN._replace(lower_a=lower_a, far_end_a=10.0))
    assert found == ((answers.NO_RATING,) if is_open else ()) + (answers.NOT_CLEARED,)


def test_no_rating_surely_clears_a_far_end_without_a_bound():
    bounds = OPEN._replace(far_end_a=math.nan)
    assert failures(15.0, bounds) == (answers.NOT_CLEARED,)
    assert failures(15.0, bounds, is_given=True) == (answers.NOT_CLEARED,)


@pytest.mark.parametrize("is_given", [False, True])
def test_an_unprotected_conductor_is_said_only_where_the_curve_is_known(is_given):
    assert failures(15.0, OPEN, 0, is_given, is_protected=False) == (answers.NOT_PROTECTED,)
    unknown = failures(15.0, OPEN, rules.CURVE_NOT_PUBLISHED, is_given, is_protected=False)
    assert unknown == (answers.CURVE_NOT_PUBLISHED,)


def test_all_that_speaks_against_a_rating_is_said_in_order():
    of_type = rules.VOLTAGE_TOO_LOW | rules.BREAKING_TOO_LOW | rules.NOT_STANDARD
    bounds = RatingBounds(lower_a=20.0, conductor_a=9.0, far_end_a=8.0, upstream_a=7.0)
    found = failures(10.0, bounds, of_type, is_given=True, is_protected=False)
    assert found == (
        answers.VOLTAGE_TOO_LOW,
        answers.BREAKING_TOO_LOW,
        answers.NOT_STANDARD,
        answers.RATING_TOO_LOW,
        answers.NOT_SELECTIVE,
        answers.NOT_CLEARED,
        answers.NOT_PROTECTED,
    )
    # Without a rating the bounds say nothing.
    assert failures(math.nan, bounds, rules.BREAKING_TOO_LOW) == (
        answers.BREAKING_TOO_LOW,
        answers.NO_RATING,
    )


@pytest.mark.parametrize(
    ("stated_a", "greatest_a"), [(20.0, 20.0), (9.0, 9.0), (5.0, 9.0), (math.nan, math.nan)]
)
def test_a_load_starts_with_its_running_current_at_least(stated_a, greatest_a):
    found = rules.starting_current_a(stated_a, 9.0)
    assert found == pytest.approx(greatest_a, rel=0.0, abs=0.0, nan_ok=True)


@pytest.mark.parametrize(
    ("ambient_factor", "carries_a", "opens_a"),
    # 12 A by 1.5 of the rating; a warm fuse carries less, and a cold one opens later.
    [(0.8, 10.0, 8.0), (1.0, 8.0, 8.0), (1.25, 8.0, 6.4)],
)
def test_ambient_counts_only_against_the_fuse(ambient_factor, carries_a, opens_a):
    carried = rules.rating_to_carry_a(12.0, 1.5, ambient_factor)
    assert carried == pytest.approx(carries_a, rel=1e-12)
    opened = rules.rating_to_open_a(12.0, 1.5, ambient_factor)
    assert opened == pytest.approx(opens_a, rel=1e-12)


@pytest.mark.parametrize(("fault_a", "lacks"), [(999.0, False), (1000.0, False), (1001.0, True)])
def test_a_fault_of_just_the_breaking_capacity_is_broken(fault_a, lacks):
    assert rules.lacks_breaking_capacity(1000.0, fault_a) is lacks


@pytest.mark.parametrize(("listed_a", "serves"), [(10.0 - 2e-9, False), (10.0 - 0.5e-9, True)])
def test_a_listed_rating_serves_within_ten_digits(listed_a, serves):
    assert (listed_a >= rules.least_listed_a(10.0)) is serves


@pytest.mark.parametrize(
    ("failing", "failure"),
    # Of each type the failure that stands first, and of those the one that stands last.
    [
        ([rules.VOLTAGE_TOO_LOW | rules.NOT_CLEARED], answers.VOLTAGE_TOO_LOW),
        ([rules.BREAKING_TOO_LOW | rules.RATING_TOO_LOW], answers.BREAKING_TOO_LOW),
        ([rules.VOLTAGE_TOO_LOW], answers.VOLTAGE_TOO_LOW),
        ([rules.NOT_CLEARED | rules.NOT_PROTECTED, rules.NO_RATING], answers.NOT_CLEARED),
        ([rules.NO_RATING, rules.NOT_SELECTIVE, rules.BREAKING_TOO_LOW], answers.NOT_SELECTIVE),
    ],
)
def test_the_failure_nearest_to_a_fuse_that_fits_is_the_most_telling(failing, failure):
    assert rules.first_that_fits(failing, False) == (-1, answers.TYPE_FAILURES.index(failure))
    # Where no rating at all is permitted it is the conductor that stands against it.
    place = answers.TYPE_FAILURES.index(answers.NOT_PROTECTED)
    assert rules.first_that_fits(failing, True) == (-1, place)


@pytest.mark.parametrize("is_empty", [False, True])
def test_the_first_type_that_fits_is_chosen_whatever_the_others_fail(is_empty):
    assert rules.first_that_fits([rules.NO_RATING, 0, 0], is_empty) == (1, -1)
    assert rules.first_that_fits([0, rules.NO_RATING], is_empty) == (0, -1)
