"""What a job needs, before any price: quantities with slack, waste and sale increment."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Context, Decimal
from typing import TYPE_CHECKING, NamedTuple, Protocol

from loomwright.engineering.record import record
from loomwright.pricing.growing import Exact, Growing
from loomwright.pricing.kinds import Attribute

if TYPE_CHECKING:
    from loomwright.pricing.part_lines import Served

_UP = Context(prec=100, rounding=ROUND_CEILING)
_MICROMETRE = Decimal("0.000001")
_MILLIMETRE = Decimal("0.001")
_PI = Decimal("3.141592653589793")


# Lengths of a circuit: along its route, of what of it is loomed or taped, and of its leads.
ROUTE, LOOMED, TAPED = "route", "loomed", "taped"
GROUND_LEAD, SIGNAL_LEAD, REMOTE_LEAD = "ground_lead", "signal_lead", "remote_lead"


class Stretch(NamedTuple):
    """A length of a circuit; ``number`` counts leads from 0."""

    what: str
    number: int = 0


ALONG_ROUTE, ALONG_LOOM, ALONG_TAPE = Stretch(ROUTE), Stretch(LOOMED), Stretch(TAPED)
ALONG_GROUND_LEAD = Stretch(GROUND_LEAD)


class LengthRule(Protocol):
    """How much is needed for a length [m]."""

    def __call__(self, length_m: Exact, /) -> Exact:
        """Return the quantity, or the law of it."""


@record
class Measured:
    """What of a requirement follows from a length of its circuit.

    The quantity does by ``rule``, where there is one; the attribute of a name is the length itself
    [m].
    """

    stretch: Stretch
    rule: LengthRule | None
    attribute: str = ""


@dataclass(slots=True)
class Requirement:
    """A part that a job needs.

    ``quantity`` holds slack and waste already, in ``unit`` (UN/CEFACT Recommendation 20), but is
    not yet rounded up to what the shop sells. ``rule`` is the key of the rule that produced it,
    ``reason`` says why in a sentence, ``circuit`` names the circuit, or is empty for the job.
    ``measured`` is none where nothing of it follows from a length.

    No record, since ``served`` is written: how a price book served it last, kept here because many
    bills ask for the same requirement.
    """

    what: str
    attributes: Mapping[str, Attribute]
    quantity: Decimal
    unit: str
    reason: str
    rule: str
    circuit: str
    measured: Measured | None = None
    served: "Served | None" = field(default=None, init=False, repr=False, compare=False)


@record
class LabourRequirement:
    """An operation that a job needs.

    The price book decides whether the operation is charged by the job, the piece or the metre, so
    both counts are stated; ``length_m`` is 0 where the operation has no length, and that of the
    ``stretch`` otherwise.
    """

    operation: str
    pieces: int
    length_m: Decimal
    reason: str
    rule: str
    circuit: str
    stretch: Stretch | None = None


@dataclass(frozen=True, slots=True)
class QuantityRules:
    """Slack, waste and consumption rules of a price book.

    Attributes
    ----------
    conductor_slack_percent
        Added to each run for the way it really lies [%].
    conductor_slack_per_end_m
        Added at each end of each piece for dressing and remaking [m].
    loom_waste_percent
        Added to the covered length [%].
    loom_room_percent
        Added to the bundle's diameter when a loom is chosen, so that it closes [%].
    tape_width_m
        Width of the cloth tape that the shop wraps with [m], above 0.
    tape_overlap_percent
        Part of the width that each turn lays over the one before [%], below 100.
    tape_waste_percent
        Added to the wrapped length of tape [%].
    tape_per_loom_end_m
        Length along the run that is wrapped at each end of a loom [m].
    heat_shrink_per_end_m
        Cut for each crimped terminal [m].
    heat_shrink_per_solder_joint_m
        Cut for each soldered joint [m].
    solder_g_per_mm2
        Solder of one joint for each square millimetre of the conductor [g].
    markers_per_end
        Cable markers at each end of a piece of conductor.
    labels_per_fuse
        Labels at each fuse holder and at each way of a distribution block.
    boots_per_stud
        Insulating boots over each positive stud that no cover protects.
    paste_per_contact_g
        Protective paste for each bolted contact at a battery or ground point [g].
    tie_spacing_m
        Distance between cable ties [m], above 0.
    labour_increment_h
        Hours of an operation are rounded up to a multiple of this [h], above 0.
    """

    conductor_slack_percent: Decimal = Decimal(10)
    conductor_slack_per_end_m: Decimal = Decimal("0.15")
    loom_waste_percent: Decimal = Decimal(5)
    loom_room_percent: Decimal = Decimal(10)
    tape_width_m: Decimal = Decimal("0.019")
    tape_overlap_percent: Decimal = Decimal(50)
    tape_waste_percent: Decimal = Decimal(10)
    tape_per_loom_end_m: Decimal = Decimal("0.05")
    heat_shrink_per_end_m: Decimal = Decimal("0.04")
    heat_shrink_per_solder_joint_m: Decimal = Decimal("0.06")
    solder_g_per_mm2: Decimal = Decimal("0.1")
    markers_per_end: Decimal = Decimal(1)
    labels_per_fuse: Decimal = Decimal(1)
    boots_per_stud: Decimal = Decimal(1)
    paste_per_contact_g: Decimal = Decimal(2)
    tie_spacing_m: Decimal = Decimal("0.3")
    labour_increment_h: Decimal = Decimal("0.05")

    def conductor_length_m(self, route_length_m: Exact, pieces: int = 1) -> Exact:
        """Return the conductor to cut for a route [m].

        Parameters
        ----------
        route_length_m
            One way along the route [m].
        pieces
            Pieces that the conductor is cut into, 1 or more; each has two ends.

        Returns
        -------
        Decimal or Growing
            Slack on the run and at each end included [m].
        """
        run = route_length_m * (100 + self.conductor_slack_percent) / 100
        return run + 2 * pieces * self.conductor_slack_per_end_m

    def loom_length_m(self, covered_length_m: Exact) -> Exact:
        """Return the loom to cut for a covered length [m]."""
        return covered_length_m * (100 + self.loom_waste_percent) / 100

    def loom_inner_diameter_m(self, bundle_diameter_m: Decimal) -> Decimal:
        """Return the least inner diameter of a loom for a bundle [m]."""
        return bundle_diameter_m * (100 + self.loom_room_percent) / 100

    def tape_length_m(self, covered_length_m: Exact, diameter_m: Decimal) -> Exact:
        """Return the cloth tape to cut for a spiral wrap, waste included.

        Parameters
        ----------
        covered_length_m
            Length along the run [m].
        diameter_m
            Diameter that the tape goes around [m].

        Returns
        -------
        Decimal or Growing
            Tape [m], up to the next millimetre.

        Notes
        -----
        ``pi d l / (w (1 - o))``: the surface of the run over what a unit length of tape adds to
        it. Unrolled, the spiral is a strip on a plane, so this holds at any pitch; the thickness
        of the tape is left out.
        """
        fresh_width_m = self.tape_width_m * (100 - self.tape_overlap_percent) / 100
        wrapped_m = covered_length_m * (_PI * diameter_m) / fresh_width_m
        return rounded_up(wrapped_m * (100 + self.tape_waste_percent) / 100, _MILLIMETRE)

    def solder_g(self, cross_section_mm2: Decimal) -> Decimal:
        """Return the solder of one joint of conductors of a cross-section [g]."""
        return cross_section_mm2 * self.solder_g_per_mm2

    def tie_count(self, route_length_m: Exact) -> Exact:
        """Return the ties for a route: one at its start and one each spacing."""
        return steps_up(route_length_m, self.tie_spacing_m) + 1


def steps_up(quantity: Exact, step: Decimal) -> Exact:
    """Return the least number of steps that is not below a quantity.

    Parameters
    ----------
    quantity
        What is needed, 0 or more.
    step
        Above 0.

    Returns
    -------
    Decimal or Growing
        A whole number.
    """
    if isinstance(quantity, Growing):
        return (quantity / step).whole_steps()
    return _UP.divide(quantity, step).to_integral_value(ROUND_CEILING)


def rounded_up(quantity: Exact, increment: Decimal) -> Exact:
    """Return the least multiple of an increment that is not below a quantity.

    Parameters
    ----------
    quantity
        What is needed, 0 or more.
    increment
        What the shop sells by, above 0.

    Returns
    -------
    Decimal or Growing
        The multiple, with the decimals of the increment.
    """
    return steps_up(quantity, increment) * increment


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
