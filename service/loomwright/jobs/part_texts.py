"""Numbers of parts: exact, and as they are read in reasons."""

from decimal import Decimal

from loomwright.engineering.record import record
from loomwright.pricing.requirements import QuantityRules

_TENTH = Decimal("0.1")
_MILLIONTH = Decimal("0.000001")
_NOTHING = Decimal(0)


def millimetres(length_m: float | Decimal) -> Decimal:
    """Return a length in millimetres to a tenth, as parts are sold by."""
    return (Decimal(str(length_m)) * 1000).quantize(_TENTH)


def exact_number(value: float) -> Decimal:
    """Return a catalogue number, such as a rating, without binary dust."""
    return Decimal(repr(float(value))).quantize(_MILLIONTH).normalize() + _NOTHING


def metres_text(length_m: Decimal) -> str:
    """Return a length as it is read in a reason."""
    return f"{length_m:.2f} m"


def plain_text(number: Decimal) -> str:
    """Return a number as it is read in a reason, without zeros at its end."""
    return format(number.normalize(), "f")


@record
class RuleTexts:
    """Figures of the quantity rules as they are read in the reasons of every circuit."""

    conductor_slack: str
    conductor_slack_per_end: str
    loom_waste: str
    loom_room: str
    tape_width_mm: Decimal
    tape_per_loom_end: str
    tape_turns: str
    heat_shrink_per_end: str
    heat_shrink_per_solder_joint: str
    solder_per_mm2: str
    markers_per_end: str
    labels_per_fuse: str
    paste_per_contact: str
    tie_spacing: str

    @classmethod
    def of(cls, rules: QuantityRules) -> "RuleTexts":
        """Return the texts of the rules of a price book."""
        return cls(
            conductor_slack=f"{plain_text(rules.conductor_slack_percent)} %",
            conductor_slack_per_end=metres_text(rules.conductor_slack_per_end_m),
            loom_waste=f"{plain_text(rules.loom_waste_percent)} %",
            loom_room=f"{plain_text(rules.loom_room_percent)} %",
            tape_width_mm=millimetres(rules.tape_width_m),
            tape_per_loom_end=metres_text(rules.tape_per_loom_end_m),
            tape_turns=(
                f"({plain_text(rules.tape_width_m * 1000)} mm x"
                f" {plain_text(100 - rules.tape_overlap_percent)} %)"
                f" + {plain_text(rules.tape_waste_percent)} %"
            ),
            heat_shrink_per_end=metres_text(rules.heat_shrink_per_end_m),
            heat_shrink_per_solder_joint=metres_text(rules.heat_shrink_per_solder_joint_m),
            solder_per_mm2=f"{plain_text(rules.solder_g_per_mm2)} g",
            markers_per_end=plain_text(rules.markers_per_end),
            labels_per_fuse=plain_text(rules.labels_per_fuse),
            paste_per_contact=f"{plain_text(rules.paste_per_contact_g)} g",
            tie_spacing=metres_text(rules.tie_spacing_m),
        )
