"""Output of an alternator against its speed, between the points of its rating."""

import re
from itertools import pairwise

from loomwright.engineering.record import record

# Where an output lies on the curve.
WITHIN_CURVE = "within_output_curve"
BELOW_CURVE = "below_output_curve"
BEYOND_CURVE = "beyond_output_curve"
DESIGNATION_PATTERN = (
    r"^([0-9]{1,4}(?:\.[0-9]{1,2})?) ?/ ?([0-9]{1,4}(?:\.[0-9]{1,2})?) ?A,? "
    r"?([0-9]{1,3}(?:\.[0-9]{1,2})?) ?V$"
)
_DESIGNATION = re.compile(DESIGNATION_PATTERN, re.ASCII)

OutputCurve = tuple[tuple[float, float], ...]


@record
class Alternator:
    """An alternator with its drive and the engine speeds that matter.

    Parameters
    ----------
    curve
        Pairs of alternator speed [1/s], rising, and output at 23 C [A], never falling; net of the
        field current.
    pulley_ratio
        Alternator speed over engine speed, above 0.
    hot_output_share
        Output of the hot machine over that of the curve, above 0 and at most 1.
    set_voltage_v
        That the regulator holds [V], above 0.
    idle_speed_per_s
        Of the engine [1/s], above 0.
    cruise_speed_per_s
        Of the engine on the road [1/s], at least the idle speed.
    greatest_idle_speed_per_s
        To which the idle of the engine may be raised [1/s].
    """

    curve: OutputCurve
    pulley_ratio: float
    hot_output_share: float
    set_voltage_v: float
    idle_speed_per_s: float
    cruise_speed_per_s: float
    greatest_idle_speed_per_s: float


@record
class Designation:
    """What an alternator's designation states: currents at both test speeds and test voltage."""

    low_speed_current_a: float
    rated_current_a: float
    test_voltage_v: float


def designation_of(text: str) -> Designation | None:
    """Return what a designation such as ``"70/140A 13.5V"`` states.

    Parameters
    ----------
    text
        Current at the low test speed, a stroke, rated current, ``A``, test voltage, ``V``; a comma
        after ``A`` and single spaces are let pass.

    Returns
    -------
    Designation or None
        None where the text is not of that form.

    References
    ----------
    ISO 8854:2012 and SAE J56:1999, designation ``IL / IR A UT V``: output at 1500 1/min and at
    6000 1/min, at 23 C and test voltage. The format was seen on a page, the speeds are from memory.
    """
    match = _DESIGNATION.fullmatch(text)
    if match is None:
        return None
    return Designation(*(float(group) for group in match.groups()))


def output_curve_of(
    designation: Designation, low_speed_per_s: float, rated_speed_per_s: float
) -> OutputCurve:
    """Return the two points of a designation as an output curve.

    Parameters
    ----------
    designation
        With a rated current of at least that at the low speed.
    low_speed_per_s
        Low test speed of the standard [1/s], above 0.
    rated_speed_per_s
        Speed of the rated current [1/s], above the low one.

    Returns
    -------
    tuple of pairs
        Alternator speed [1/s] and output [A].

    References
    ----------
    ISO 8854:2012, test speeds of 1500 1/min and 6000 1/min, from memory.
    """
    return (
        (low_speed_per_s, designation.low_speed_current_a),
        (rated_speed_per_s, designation.rated_current_a),
    )


def alternator_output_a(alternator: Alternator, engine_speed_per_s: float) -> tuple[float, str]:
    """Return the output of the hot alternator at an engine speed, and where that lies.

    Straight lines between the points, which lie below the bent curve of a real machine. Nothing is
    stated below the first point, so nothing is counted there; beyond the last point the output of
    that point is taken.

    Parameters
    ----------
    alternator
        The alternator.
    engine_speed_per_s
        Of the engine [1/s], 0 or more.

    Returns
    -------
    tuple
        Output [A]; and ``within_output_curve``, ``below_output_curve`` or ``beyond_output_curve``.

    Notes
    -----
    The test voltage is 13.5 V for 12 V systems; at a higher set voltage a machine gives a little
    less, which is left out.

    References
    ----------
    ISO 8854:2012 and SAE J56:1999, rating at 23 C; the share of the hot machine is common practice.
    """
    speed = engine_speed_per_s * alternator.pulley_ratio
    curve, share = alternator.curve, alternator.hot_output_share
    if speed < curve[0][0]:
        return 0.0, BELOW_CURVE
    for (low, low_a), (high, high_a) in pairwise(curve):
        if speed <= high:
            return share * (low_a + (high_a - low_a) * (speed - low) / (high - low)), WITHIN_CURVE
    return share * curve[-1][1], BEYOND_CURVE


def engine_speed_for_output_per_s(alternator: Alternator, output_a: float) -> float | None:
    """Return the least engine speed at which the hot alternator gives an output.

    The inverse of ``alternator_output_a``.

    Parameters
    ----------
    alternator
        The alternator.
    output_a
        Wanted output [A].

    Returns
    -------
    float or None
        Engine speed [1/s]; that of the first point for an output at or below its own; none for an
        output that no point reaches.
    """
    wanted_a = output_a / alternator.hot_output_share
    curve = alternator.curve
    if wanted_a <= curve[0][1]:
        return curve[0][0] / alternator.pulley_ratio
    for (low, low_a), (high, high_a) in pairwise(curve):
        if wanted_a <= high_a:
            speed = low + (high - low) * (wanted_a - low_a) / (high_a - low_a)
            return speed / alternator.pulley_ratio
    return None
