"""Numbers of JSON documents: bare in the unit of their rule, or text with a unit."""

import math
from collections.abc import Callable

from loomwright.decimal_comma import comma_advice
from loomwright.pricing.members import Number

# Quantity and text such as "16 ft" -> number in the stated unit, or None if it is not of that form.
QuantityText = Callable[[str, str], float | None]
# A foot in metres is a binary fraction: text at a bound may miss it by a hair.
_BOUND_SLACK = 1e-12


def stated_number(
    rule: Number, value: object, quantity_text: QuantityText | None = None
) -> float | None:
    """Return the number that a value states under a rule.

    Parameters
    ----------
    rule
        The rule.
    value
        A number in the stated unit, or text with a unit where the rule names a quantity.
    quantity_text
        Reader of quantities with a unit; without one, only numbers are quantities.

    Returns
    -------
    float or None
        In the stated unit; none for anything else and outside the bounds.
    """
    if type(value) is float:
        # Most numbers; the rest says the same of the others.
        return value if rule.lower <= value <= rule.upper and math.isfinite(value) else None
    number, slack = _number_in_unit(rule, value, quantity_text)
    if isinstance(number, bool) or not isinstance(number, int | float):
        return None
    # An int of thousands of digits would overflow in float(); the comparison does not.
    within = rule.lower - slack <= number <= rule.upper + slack
    return float(number) if within and math.isfinite(number) else None


def _number_in_unit(
    rule: Number, value: object, quantity_text: QuantityText | None
) -> tuple[object, float]:
    """Return a value with its unit taken off, and by how much it may miss the bounds.

    What the reader of quantities refuses stays text.
    """
    if isinstance(value, str) and rule.quantity and quantity_text:
        read = quantity_text(rule.quantity, value)
        return (value if read is None else read), _BOUND_SLACK * rule.upper
    return value, 0.0


def number_needed(rule: Number, value: object, quantity_text: QuantityText | None) -> str:
    """Return what is needed in place of a value that states no number under a rule."""
    number, _ = _number_in_unit(rule, value, quantity_text)
    if isinstance(number, bool) or not isinstance(number, int | float):
        advice = comma_advice(number)
        return f"A number{_in_unit(rule)} is needed{f'; {advice}' if advice else ''}."
    return f"A number{_in_unit(rule)} from {rule.lower:g} to {rule.upper:g} is needed."


def _in_unit(rule: Number) -> str:
    return f" in {rule.unit}" if rule.unit else ""
