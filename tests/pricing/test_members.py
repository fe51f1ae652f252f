"""What a rule of a member says of itself."""

import re
from collections.abc import Mapping
from decimal import Decimal

import pytest

from loomwright.pricing.members import (
    DECIMAL_PATTERN,
    GREATEST_DECIMAL,
    DecimalText,
    Member,
    Records,
    Text,
    Truth,
    Whole,
    is_required,
)

REQUIRED: Mapping[str, tuple[Member, bool]] = {
    "as-made": (Text(), True),
    "not-required": (Text(required=False), False),
    "with-default": (Text(default="x"), False),
    "default-zero": (Whole(0, 5, 0), False),
    "truth": (Truth(default=False), False),
    "array-of-some": (Records("R", {}, 1, 2), True),
    "array-of-none": (Records("R", {}, 0, 2), False),
    "array-not-required": (Records("R", {}, 1, 2, required=False), False),
}


@pytest.mark.parametrize(("member", "expected"), REQUIRED.values(), ids=REQUIRED)
def test_a_member_is_required_unless_it_says_otherwise(member: Member, expected: bool) -> None:
    assert is_required(member) is expected


def test_a_decimal_is_bounded_by_what_can_be_written() -> None:
    # The bound that a document states for every plain decimal is the least that has no form.
    greatest = GREATEST_DECIMAL - Decimal("0.000001")
    assert re.fullmatch(DECIMAL_PATTERN, f"{greatest:f}")
    assert not re.fullmatch(DECIMAL_PATTERN, f"{GREATEST_DECIMAL:f}")
    assert (DecimalText().lower, DecimalText().upper) == (0, GREATEST_DECIMAL)
