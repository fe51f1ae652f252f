"""Every lower and upper bound on the rating of a fuse, each with its rule."""

import math
from bisect import bisect_left
from collections.abc import Callable

from loomwright.engineering.protection.damage import DamageCurve
from loomwright.engineering.protection.fuse_answer import Bound, FuseWindow
from loomwright.engineering.protection.fuse_request import FuseSite
from loomwright.engineering.protection.fuses import (
    EXTRA_LOW_VOLTAGE_RULE_V,
    multiple_carried_for,
)
from loomwright.engineering.protection.rating_rules import rating_to_carry_a, rating_to_open_a
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import FuseType, Provenance

CONTINUOUS_LOAD = "continuous_load"
EQUIPMENT_FUSE = "equipment_fuse"
INRUSH = "inrush"
CYCLIC_LOAD = "cyclic_load"
AMPACITY = "conductor_ampacity"
AMPACITY_RULE = "ampacity_rule_33_cfr_183_455_c"
CONVENTIONAL_FUSING = "conventional_fusing_current"
FAR_END_FAULT = "far_end_fault"
UPSTREAM = "selectivity_with_upstream"

PRACTICE = Provenance("common_practice", "feed not smaller than the fuse it feeds", "practice")


def continuous_share(site: FuseSite, tables: FuseTables) -> float:
    """Return the steady current that loads a fuse like the given load, over the load's current.

    Parameters
    ----------
    site
        Duty of the load.
    tables
        On-time from which a cyclic load counts as continuous.

    Returns
    -------
    float
        Share [1]: the root mean square of a short cycle, else 1.
    """
    on, off = site.on_time_s, site.off_time_s
    if on is None or off is None or on >= tables.factors["duty_as_continuous_s"].value:
        return 1.0
    return math.sqrt(on / (on + off))


def load_bound(
    equivalent_current_a: float, tables: FuseTables, loading_factor: float, ambient_factor: float
) -> Bound:
    """Return the lower bound by the load, which all types share.

    Parameters
    ----------
    equivalent_current_a
        Steady current that loads a fuse like the load [A].
    tables
        Factors.
    loading_factor
        Greatest continuous load over rating at 23 C [1].
    ambient_factor
        Capacity at the ambient over that at 23 C [1]; a cold fuse is not loaded higher.

    Returns
    -------
    Bound
        ``continuous_load``.
    """
    return Bound(
        CONTINUOUS_LOAD,
        rating_to_carry_a(equivalent_current_a, loading_factor, ambient_factor),
        tables.factors["loading_factor"].provenance,
    )


def equipment_bound(site: FuseSite) -> Bound | None:
    """Return the lower bound by the fuse in the equipment, which all types share.

    Parameters
    ----------
    site
        The circuit.

    Returns
    -------
    Bound or None
        ``equipment_fuse``; none without such a fuse, and where the request waives it.
    """
    rating = site.equipment_fuse_a
    if rating is None or site.options.rating_may_be_below_equipment_fuse:
        return None
    return Bound(EQUIPMENT_FUSE, rating, PRACTICE)


def common_upper_bounds(
    site: FuseSite, tables: FuseTables, curve: DamageCurve, ambient_factor: float
) -> tuple[Bound, ...]:
    """Return the upper bounds that all types share.

    Parameters
    ----------
    site
        The circuit.
    tables
        Factors.
    curve
        Damage curve of one conductor.
    ambient_factor
        Capacity at the ambient over that at 23 C [1]; a cold fuse opens later.

    Returns
    -------
    tuple of Bound
        The ampacity, or the limit of the federal rule where the request allows it, and
        ``conventional_fusing_current``: the current that surely opens the fuse in the end does not
        heat the conductor above its thermal-overload temperature.
    """
    factors = tables.factors
    if site.options.rating_may_exceed_ampacity:
        below = site.system_voltage_v < EXTRA_LOW_VOLTAGE_RULE_V
        factor = factors[
            "rating_over_ampacity_below_50_v" if below else "next_standard_rating_over_ampacity"
        ]
        first = Bound(AMPACITY_RULE, factor.value * site.ampacity_a, factor.provenance)
    else:
        first = Bound(AMPACITY, site.ampacity_a, site.ampacity_provenance)
    fusing = factors["conventional_fusing_multiple"]
    held = curve.threshold_current_a * site.parallel_conductors
    second = Bound(
        CONVENTIONAL_FUSING,
        rating_to_open_a(held, fusing.value, ambient_factor),
        fusing.provenance,
    )
    return first, second


def carried_multiple(tables: FuseTables, fuse_type: FuseType, duration_s: float) -> float:
    """Return the multiple of the rated current that a fuse carries for the length of a peak.

    A peak longer than any published time counts as continuous.

    Parameters
    ----------
    tables
        Factors.
    fuse_type
        A type with a published curve.
    duration_s
        Of the peak [s], above 0.

    Returns
    -------
    float
        Multiple [1].
    """
    multiple = multiple_carried_for(fuse_type, duration_s)
    return tables.factors["loading_factor"].value if multiple is None else multiple


def selectivity_bound(
    tables: FuseTables,
    fuse_type: FuseType,
    upstream_rating_a: float,
    is_selective: Callable[[float], bool],
) -> Bound:
    """Return the greatest standard rating of a type that is selective with the upstream fuse.

    Parameters
    ----------
    tables
        Sources of the curves.
    fuse_type
        A type with a published curve.
    upstream_rating_a
        Of the fuse before it [A].
    is_selective
        Whether a rating [A] is; true for all smaller ones as well.

    Returns
    -------
    Bound
        0 A where none is.
    """
    ratings = fuse_type.ratings_a
    first_too_large = bisect_left(
        ratings,
        True,
        key=lambda rating: rating >= upstream_rating_a or not is_selective(rating),
    )
    rating = ratings[first_too_large - 1] if first_too_large else 0.0
    return Bound(UPSTREAM, rating, tables.curve_provenance[fuse_type.key])


def window_of(lower: tuple[Bound, ...], upper: tuple[Bound, ...]) -> FuseWindow:
    """Return the window between the greatest lower and the least upper bound.

    Parameters
    ----------
    lower
        At least one lower bound.
    upper
        At least one upper bound.

    Returns
    -------
    FuseWindow
        With the rules that decide.
    """
    greatest, least = lower[0], upper[0]
    for bound in lower:
        if bound.rated_current_a > greatest.rated_current_a:
            greatest = bound
    for bound in upper:
        if bound.rated_current_a < least.rated_current_a:
            least = bound
    return FuseWindow(
        greatest.rated_current_a, least.rated_current_a, greatest.rule, least.rule, lower, upper
    )
