"""Bands and uncertainties over tolerances, on formulas whose answer is known by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import case_parameters
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.sensitivity.bands import (
    ROUNDING,
    UNCERTAINTY,
    Outcome,
    TolerancedInput,
    change_for_itself,
    combined_standard_uncertainty,
    rectangular_standard_uncertainty,
    sensitivity_of,
    toleranced_input,
)
from loomwright.tables.records import Provenance
from loomwright.tables.tolerance_records import Tolerance

ROOT_12 = math.sqrt(12.0)
SOURCE = Provenance("common_practice", "made up", "practice")


def ranged(name, low, nominal, high, *, has_zero=True):
    return TolerancedInput(name, nominal, low, high, has_zero, SOURCE)


def of_formula(formula, inputs, choose=lambda y: "small" if y < 100 else "large"):
    """Return the sensitivity of one result, which is also what strains."""

    def evaluate(changes):
        y = formula(**({entry.name: entry.nominal for entry in inputs} | changes))
        return Outcome((y,), (choose(y),), (y,))

    return sensitivity_of(inputs, evaluate)


@pytest.mark.parametrize("case", case_parameters("sensitivity/uncertainty"))
def test_uncertainty(case):
    asked = case["given"]
    found = (
        rectangular_standard_uncertainty(asked["low"], asked["high"])
        if asked["function"] == "rectangular"
        else combined_standard_uncertainty(asked["contributions"])
    )
    assert found == pytest.approx(
        case["expected"]["value"], rel=0.0, abs=case["tolerance"]["absolute"]
    )


def test_uncertainty_does_not_ask_which_end_is_first():
    assert rectangular_standard_uncertainty(7.0, 1.0) == rectangular_standard_uncertainty(1.0, 7.0)


def test_no_input_brings_no_uncertainty():
    found = of_formula(lambda: 5.0, [])
    assert (found.inputs, found.choice_changes) == ((), False)
    assert found.worst_case is found.nominal
    (band,) = found.bands
    assert (band.low, band.nominal, band.high, band.standard_uncertainty) == (5.0, 5.0, 5.0, 0.0)


def test_share_of_an_input_scales_with_it():
    found = toleranced_input("length", 4.0, Tolerance("length", True, 0.05, 0.25, SOURCE))
    assert found == TolerancedInput("length", 4.0, 3.8, 5.0, True, SOURCE)


def test_difference_of_temperature_does_not():
    found = toleranced_input("ambient", 313.15, Tolerance("ambient", False, 10.0, 5.0, None))
    assert found == TolerancedInput("ambient", 313.15, 303.15, 318.15, False, None)


def test_no_end_lies_beyond_what_can_be():
    tolerance = Tolerance("share", True, 0.5, 0.5, SOURCE)
    assert toleranced_input("share", 0.8, tolerance, 1.0).high == 1.0
    assert toleranced_input("share", 0.5, tolerance, 1.0).high == 0.75


def test_product_by_hand():
    # a = 10 within 10 %, b = 5 within 5 %: 50, from 9 x 4.75 to 11 x 5.25.
    found = of_formula(lambda a, b: a * b, [ranged("a", 9, 10, 11), ranged("b", 4.75, 5, 5.25)])
    a, b = found.inputs
    assert (a.at_low.results, a.at_high.results) == ((45,), (55,))
    assert (b.at_low.results, b.at_high.results) == ((47.5,), (52.5,))
    assert a.elasticities == b.elasticities == (1.0,)
    assert a.changes_by_one_percent == b.changes_by_one_percent == (0.5,)
    assert a.standard_uncertainties == pytest.approx((10 / ROOT_12,))
    assert b.standard_uncertainties == pytest.approx((5 / ROOT_12,))
    (band,) = found.bands
    assert (band.low, band.nominal, band.high) == (42.75, 50, 57.75)
    # Squares of both add up: 100 and 25 over 12.
    assert band.standard_uncertainty == pytest.approx(math.sqrt(125 / 12))
    assert found.worst_case.results == (57.75,)
    assert not found.choice_changes


def test_quotient_has_its_extremes_at_crossed_ends():
    found = of_formula(lambda a, b: a / b, [ranged("a", 9, 10, 12), ranged("b", 4, 5, 8)])
    (band,) = found.bands
    assert (band.low, band.high) == (9 / 8, 12 / 4)
    a, b = found.inputs
    # (10 / 8 - 10 / 4) / 2 / ((8 - 4) / 5) over the whole width.
    assert b.elasticities == (pytest.approx(-0.78125),)
    assert a.elasticities == (pytest.approx(1.0),)


def test_square_has_an_elasticity_of_two_between_even_ends():
    (row,) = of_formula(lambda x: x * x, [ranged("x", 0.9, 1.0, 1.1)]).inputs
    assert row.elasticities == (pytest.approx(2.0),)


def test_tolerance_to_one_side_alone():
    (row,) = of_formula(lambda x: 3.0 * x, [ranged("x", 2.0, 2.0, 2.5)]).inputs
    assert row.at_low.results == (6.0,)
    assert row.at_high.results == (7.5,)
    assert row.elasticities == (1.0,)
    assert row.standard_uncertainties == (pytest.approx(1.5 / ROOT_12),)
    (row,) = of_formula(lambda x: 3.0 * x, [ranged("x", 1.0, 2.0, 2.0)]).inputs
    assert (row.at_low.results, row.at_high.results) == ((3.0,), (6.0,))


def test_temperature_has_no_elasticity():
    inputs = [ranged("t", 303.15, 313.15, 323.15, has_zero=False)]
    (row,) = of_formula(lambda t: t - 273.15, inputs).inputs
    assert math.isnan(row.elasticities[0])
    assert math.isnan(row.changes_by_one_percent[0])
    assert row.standard_uncertainties == (pytest.approx(20.0 / ROOT_12),)


def test_result_of_nought_has_no_elasticity_but_a_change():
    (row,) = of_formula(lambda x: x - 10.0, [ranged("x", 9.0, 10.0, 11.0)]).inputs
    assert math.isnan(row.elasticities[0])
    assert row.changes_by_one_percent == (pytest.approx(0.1),)


def test_change_for_itself_is_the_input_times_the_slope():
    # A slope of 6 over 3, times 4.
    assert change_for_itself(ranged("x", 2.0, 4.0, 5.0), 1.0, 7.0) == 8.0
    assert math.isnan(change_for_itself(ranged("x", 4.0, 4.0, 4.0), 1.0, 1.0))


def test_choice_changes_at_the_end_where_it_does():
    def chosen(nominal):
        inputs = [ranged("x", nominal - 1, nominal, nominal + 1)]
        found = of_formula(lambda x: x, inputs)
        (row,) = found.inputs
        choices = [outcome.choice[0] for outcome in (row.at_low, row.at_high, found.worst_case)]
        return choices, row.choice_changes, found.choice_changes

    assert chosen(99.5) == (["small", "large", "large"], True, True)
    # The worst case is large as the stated one, and still the easier end has another choice.
    assert chosen(100.5) == (["small", "large", "large"], True, True)
    assert chosen(50.0) == (["small", "small", "small"], False, False)


def test_choice_may_change_in_the_worst_case_alone():
    inputs = [ranged("a", 44, 45, 49), ranged("b", 44, 45, 51.5)]
    found = of_formula(lambda a, b: a + b, inputs)
    assert [row.choice_changes for row in found.inputs] == [False, False]
    assert (found.worst_case.choice, found.choice_changes) == (("large",), True)


def test_worst_case_is_where_the_requirement_nearest_to_its_limit_gets_nearer():
    # x raises the first requirement and eases the second; y is felt by the second alone.
    def evaluate(changes):
        x, y = changes.get("x", 1.0), changes.get("y", 1.0)
        near, far = 0.9 * x, 0.5 * y / x
        return Outcome((x, y), ("same",), tuple(sorted((near, far), reverse=True)))

    found = sensitivity_of([ranged("x", 0.9, 1.0, 1.1), ranged("y", 0.8, 1.0, 1.3)], evaluate)
    assert found.worst_case.results == (1.1, 1.3)
    assert [(band.low, band.high) for band in found.bands] == [(0.9, 1.1), (0.8, 1.3)]


def test_each_changed_request_is_calculated_once():
    asked = []

    def evaluate(changes):
        asked.append(dict(changes))
        y = changes.get("a", 2.0) * changes.get("b", 3.0) * changes.get("c", 5.0)
        return Outcome((y, y), ("same",), (y,))

    sensitivity_of([ranged("a", 1, 2, 2), ranged("b", 2, 3, 4), ranged("c", 5, 5, 6)], evaluate)
    # An end that is the stated value is not asked for; the corners of both results are the same.
    alone = [{"a": 1}, {"b": 2}, {"b": 4}, {"c": 6}]
    assert asked == [{}, *alone, {"a": 2, "b": 4, "c": 6}, {"a": 1, "b": 2, "c": 5}]


def test_input_without_effect_stays_as_stated_in_the_worst_case():
    asked = []

    def evaluate(changes):
        asked.append(dict(changes))
        return Outcome((changes.get("a", 2.0),), ("same",), (changes.get("a", 2.0),))

    sensitivity_of([ranged("a", 1, 2, 3), ranged("idle", 1, 2, 3)], evaluate)
    assert asked == [{}, {"a": 1}, {"a": 3}, {"idle": 1}, {"idle": 3}]


def test_rounding_is_no_effect():
    def formula(a, noise):
        return a * (1.0 + 0.5 * ROUNDING * (noise - 2.0))

    found = of_formula(formula, [ranged("a", 9, 10, 11), ranged("noise", 1, 2, 3)])
    _, noise = found.inputs
    assert noise.at_low.results == noise.at_high.results == (10,)
    assert noise.at_low.strain == (10,)
    assert noise.standard_uncertainties == (0.0,)
    effect = of_formula(lambda a: 1.0 + 4.0 * ROUNDING * a, [ranged("a", -1.0, 1e-3, 1.0)])
    assert effect.inputs[0].standard_uncertainties[0] > 0.0


@pytest.mark.parametrize(("share", "counts"), [(1e-11, False), (1e-9, True)])
def test_an_effect_of_a_billionth_counts(share, counts):
    (row,) = of_formula(lambda a: 1.0 + share * a, [ranged("a", -1.0, 0.0, 1.0)]).inputs
    assert (row.standard_uncertainties[0] > 0.0) == counts


def test_end_beyond_the_models_says_why_and_leaves_the_band_open():
    def evaluate(changes):
        x = changes.get("x", 1.0)
        if x > 1.5:
            raise EngineeringError("too_hot", "beyond")
        return Outcome((x,), ("fine", "a size"), (x,))

    found = sensitivity_of([ranged("x", 0.5, 1.0, 2.0)], evaluate)
    (row,), (band,) = found.inputs, found.bands
    assert row.at_low.results == (0.5,)
    assert row.at_high.choice == ("too_hot", None)
    assert row.choice_changes
    assert found.worst_case is row.at_high
    values = (row.at_high.results[0], band.low, band.high, band.standard_uncertainty)
    assert all(map(math.isnan, values))
    assert band.nominal == 1.0


def test_stated_case_beyond_the_models_is_an_error():
    def evaluate(_):
        raise EngineeringError("too_hot", "beyond")

    with pytest.raises(EngineeringError) as caught:
        sensitivity_of([], evaluate)
    assert caught.value.code == "too_hot"


def test_formula_of_the_uncertainty_has_its_source():
    assert UNCERTAINTY.source == "jcgm_100"


SHARES = st.floats(0.0, 0.9)


@st.composite
def products(draw):
    """Draw a product of powers, which rises or falls steadily in each input."""
    count = draw(st.integers(1, 4))
    return [
        (f"x{place}", draw(st.floats(0.1, 10.0)), draw(st.floats(-2.0, 2.0)))
        for place in range(count)
    ]


def of_product(factors, shares):
    def formula(**values):
        return math.prod(values[name] ** power for name, _, power in factors)

    inputs = [
        toleranced_input(name, nominal, Tolerance(name, True, share, share, SOURCE))
        for (name, nominal, _), share in zip(factors, shares, strict=True)
    ]
    return of_formula(formula, inputs)


@given(products(), st.data())
def test_band_encloses_each_input_alone_and_the_worst_case(factors, data):
    found = of_product(factors, [data.draw(SHARES) for _ in factors])
    (band,) = found.bands
    ends = [outcome for row in found.inputs for outcome in (row.at_low, row.at_high)]
    for outcome in (found.nominal, found.worst_case, *ends):
        assert band.low <= outcome.results[0] <= band.high
    # What strains is the result itself here, so that the worst case is the upper end.
    assert found.worst_case.results[0] == pytest.approx(band.high, rel=2.0 * ROUNDING)


@given(products(), st.data())
def test_wider_tolerance_never_narrows_the_band(factors, data):
    shares = [data.draw(SHARES) for _ in factors]
    wider = [data.draw(st.floats(share, 0.9)) for share in shares]
    (inner,), (outer,) = of_product(factors, shares).bands, of_product(factors, wider).bands
    slack = 1.0 + 2.0 * ROUNDING
    assert outer.low <= inner.low * slack
    assert outer.high * slack >= inner.high
    # The spread of both ends grows with a tolerance that is even on both sides.
    spread = inner.standard_uncertainty - outer.standard_uncertainty
    assert spread <= 4.0 * ROUNDING * inner.nominal


@given(products())
def test_no_tolerance_gives_no_band(factors):
    found = of_product(factors, [0.0] * len(factors))
    (band,) = found.bands
    assert band.low == band.nominal == band.high
    assert band.standard_uncertainty == 0.0
    assert not found.choice_changes
    assert found.worst_case is found.nominal
    assert all(math.isnan(row.elasticities[0]) for row in found.inputs)


@given(products(), st.floats(1e-4, 1e-3))
def test_elasticity_of_a_power_is_its_exponent(factors, share):
    found = of_product(factors, [share] * len(factors))
    for row, (_, _, power) in zip(found.inputs, factors, strict=True):
        # ((1 + h)^p - (1 - h)^p) / 2h is p (1 + (p - 1)(p - 2) h^2 / 6): within 2 h^2 x p here;
        # differences below the rounding limit count as none, which is 1e-10 / 1e-4.
        assert row.elasticities[0] == pytest.approx(power, rel=1e-5, abs=2e-6)
