"""Quantity rules give the same for a length as the laws that they give for any."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.pricing.growing import Growing
from loomwright.pricing.labour_lines import hours_of
from loomwright.pricing.part_lines import in_unit
from loomwright.pricing.price_book import DifficultyFactor, LabourOperation
from loomwright.pricing.requirements import QuantityRules, rounded_up, steps_up

LENGTHS = st.integers(0, 10**8).map(lambda micrometres: Decimal(micrometres).scaleb(-6))
DIAMETERS = st.decimals(min_value="0.001", max_value="0.1", places=6)
PERCENTS = st.decimals(min_value=0, max_value=90, places=6)
INCREMENTS = st.decimals(min_value="0.000001", max_value=10, places=6)


def test_a_law_is_worked_by_hand() -> None:
    # 2 x 1.5 + 1 = 4; in steps of 3 that is 2 of them, and 7 with 1 more.
    law = 1 + 2 * Growing()
    assert law.at(Decimal("1.5")) == 4
    assert (law * 3).at(Decimal("1.5")) == 12
    assert (law / 3).at(Decimal("1.5")) == Fraction(4, 3)
    stepped = (law / 3).whole_steps()
    assert stepped.at(Decimal("1.5")) == 2
    assert (stepped * 3 + 1).at(Decimal("1.5")) == 7
    assert (stepped * 3 / 4).at(Decimal("1.5")) == Fraction(3, 2)
    # 2 x 1 + 1 is a whole step, and a hair more is two.
    assert stepped.at(Decimal(1)) == 1
    assert stepped.at(Decimal("1.000001")) == 2


@given(LENGTHS, PERCENTS, DIAMETERS, INCREMENTS, st.integers(1, 3))
def test_rules_of_quantities_follow_their_laws(
    length_m: Decimal, percent: Decimal, diameter_m: Decimal, step_m: Decimal, pieces: int
) -> None:
    rules = QuantityRules(
        conductor_slack_percent=percent,
        loom_waste_percent=percent,
        tape_waste_percent=percent,
        tape_overlap_percent=percent,
        tie_spacing_m=step_m,
    )
    for rule in (
        partial(rules.conductor_length_m, pieces=pieces),
        rules.loom_length_m,
        partial(rules.tape_length_m, diameter_m=diameter_m),
        rules.tie_count,
        partial(rounded_up, increment=step_m),
        partial(steps_up, step=step_m),
        partial(in_unit, unit="MTR", sold_in="FOT"),
        partial(in_unit, unit="MTR", sold_in="MTR"),
    ):
        assert rule(Growing()).at(length_m) == Fraction(rule(length_m))


@pytest.mark.parametrize(
    ("charged_per", "hours"),
    # 0.3 h x 1.25 for the job; of each of 4 pieces; of each of 2.5 m.
    [("job", "0.375"), ("piece", "1.5"), ("metre", "0.9375")],
)
def test_hours_follow_their_law(charged_per: str, hours: str) -> None:
    lay: dict[str, Any] = {"hourly_rate": Decimal(60), "hourly_cost": None, "tax_category": "all"}
    operation = LabourOperation("lay", "Lay", charged_per, Decimal("0.3"), **lay)
    factor = DifficultyFactor("tight", "tight", Decimal("1.25"))
    assert hours_of(operation, 4, Decimal("2.5"), factor) == Decimal(hours)
    law = hours_of(operation, 4, Growing(), factor)
    if isinstance(law, Growing):
        assert charged_per == "metre"
        assert law.at(Decimal("2.5")) == Fraction(hours)
    else:
        assert law == Decimal(hours)
    assert replace(operation).is_charged_once == (charged_per == "job")
