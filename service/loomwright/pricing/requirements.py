"""What a job needs, before any price: quantities with slack, waste and sale increment."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Context, Decimal

from loomwright.pricing.kinds import Attribute

_UP = Context(prec=100, rounding=ROUND_CEILING)
_MICROMETRE = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class Requirement:
    """A part that a job needs.

    ``quantity`` holds slack and waste already, in ``unit`` (UN/CEFACT Recommendation 20), but is
    not yet rounded up to what the shop sells. ``rule`` is the key of the rule that produced it,
    ``reason`` says why in a sentence, ``circuit`` names the circuit, or is empty for the job.
    """

    what: str
    attributes: Mapping[str, Attribute]
    quantity: Decimal
    unit: str
    reason: str
    rule: str
    circuit: str


@dataclass(frozen=True, slots=True)
class LabourRequirement:
    """An operation that a job needs.

    The price book decides whether the operation is charged by the job, the piece or the metre, so
    both counts are stated; ``length_m`` is 0 where the operation has no length.
    """

    operation: str
    pieces: int
    length_m: Decimal
    reason: str
    rule: str
    circuit: str


@dataclass(frozen=True, slots=True)
class QuantityRules:
    """Slack, waste and consumption rules of a price book.

    Attributes
    ----------
    conductor_slack_percent
        Added to each run for the way it really lies [%].
    conductor_slack_per_end_m
        Added at each end for dressing and remaking [m].
    loom_waste_percent
        Added to the covered length [%].
    heat_shrink_per_end_m
        Cut for each crimped terminal [m].
    tie_spacing_m
        Distance between cable ties [m], above 0.
    labour_increment_h
        Hours of an operation are rounded up to a multiple of this [h], above 0.
    """

    conductor_slack_percent: Decimal = Decimal(10)
    conductor_slack_per_end_m: Decimal = Decimal("0.15")
    loom_waste_percent: Decimal = Decimal(5)
    heat_shrink_per_end_m: Decimal = Decimal("0.04")
    tie_spacing_m: Decimal = Decimal("0.3")
    labour_increment_h: Decimal = Decimal("0.05")

    def conductor_length_m(self, route_length_m: Decimal) -> Decimal:
        """Return the conductor to cut for a route [m]: slack on the run and at both ends."""
        run = route_length_m * (100 + self.conductor_slack_percent) / 100
        return run + 2 * self.conductor_slack_per_end_m

    def loom_length_m(self, covered_length_m: Decimal) -> Decimal:
        """Return the loom to cut for a covered length [m]."""
        return covered_length_m * (100 + self.loom_waste_percent) / 100

    def tie_count(self, route_length_m: Decimal) -> int:
        """Return the ties for a route: one at its start and one each spacing."""
        return 1 + int((route_length_m / self.tie_spacing_m).to_integral_value(ROUND_CEILING))


def rounded_up(quantity: Decimal, increment: Decimal) -> Decimal:
    """Return the least multiple of an increment that is not below a quantity.

    Parameters
    ----------
    quantity
        What is needed, 0 or more.
    increment
        What the shop sells by, above 0.

    Returns
    -------
    Decimal
        The multiple, with the decimals of the increment.
    """
    steps = _UP.divide(quantity, increment).to_integral_value(ROUND_CEILING)
    return steps * increment


def exact_length_m(length_m: float) -> Decimal:
    """Return a length as a decimal, to the micrometre.

    A binary fraction such as 0.1 + 0.2 lies a hair above its decimal; without this step that hair
    would sell a customer one more increment.

    Parameters
    ----------
    length_m
        Length [m], 0 to 10000.

    Returns
    -------
    Decimal
        The same length [m].
    """
    return Decimal(repr(float(length_m))).quantize(_MICROMETRE).normalize() + Decimal(0)
