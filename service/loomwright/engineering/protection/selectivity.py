"""Selectivity between two fuses in series: only the downstream one opens."""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.protection.fuses import fuse_curve
from loomwright.engineering.record import record
from loomwright.tables.records import FuseType

Array = npt.NDArray[np.float64]

SELECTIVE = "selective"
SELECTIVE_IN_PART = "selective_in_part"
NOT_SELECTIVE = "not_selective"
CURVE_NOT_PUBLISHED = "curve_not_published"

END_BY_CROSSING = "bands_cross"
END_BY_CURVE = "outside_published_curve"


@record
class FuseInCircuit:
    """A fuse that is already there: its type, if known, and its rating."""

    fuse_type: FuseType | None
    rated_current_a: float


@record
class Selectivity:
    """Whether the downstream fuse alone opens, and up to which current.

    ``state`` is ``selective`` up to the fault current, ``selective_in_part`` up to
    ``selective_up_to_a`` only, ``not_selective`` from the start, or ``curve_not_published``.
    ``ended_by`` says what ends it: ``bands_cross`` or ``outside_published_curve``.
    """

    state: str
    selective_up_to_a: float | None
    ended_by: str | None


@lru_cache(maxsize=4096)
def selective_multiple(
    upstream: FuseType, downstream: FuseType, rating_ratio: float
) -> tuple[float, str]:
    """Return the multiple of the downstream rating up to which two fuses are selective.

    Beyond its last published point the downstream fuse opens no later than at that point, as
    opening times only fall with current; the upstream band is never used beyond its own end.

    Parameters
    ----------
    upstream
        Type nearer to the source, with a published curve.
    downstream
        Type nearer to the load, with a published curve.
    rating_ratio
        Upstream rating over downstream rating [1], above 0.

    Returns
    -------
    tuple of float and str
        Multiple [1], 0 where the bands cross from the start, and what ends the selectivity.
    """
    up, down = fuse_curve(upstream), fuse_curve(downstream)
    # The upstream band in multiples of the downstream rating.
    upstream_log_multiple = up.least_log_multiple + math.log(rating_ratio)
    first, last = down.greatest_log_multiple[0], upstream_log_multiple[-1]
    if last <= first:
        # The upstream fuse is at the end of its curve before the downstream one must open at all.
        return 0.0, END_BY_CURVE
    # Between corners both bands are straight, so that two of them bracket each crossing.
    corners = np.unique(np.concatenate([down.greatest_log_multiple, upstream_log_multiple]))
    log_multiples = corners[(corners >= first) & (corners <= last)]
    greatest = np.interp(log_multiples, down.greatest_log_multiple, down.greatest_log_time)
    # Below its first point the upstream fuse carries the current at least as long as there.
    least = np.interp(log_multiples, upstream_log_multiple, up.least_log_time)
    distance = least - greatest
    crossing = np.flatnonzero(distance <= 0.0)
    if crossing.size == 0:
        return math.exp(last), END_BY_CURVE
    after = int(crossing[0])
    if after == 0:
        return 0.0, END_BY_CROSSING
    before = after - 1
    share = distance[before] / (distance[before] - distance[after])
    step = log_multiples[after] - log_multiples[before]
    return math.exp(float(log_multiples[before] + share * step)), END_BY_CROSSING


def selectivity(
    upstream: FuseInCircuit, downstream: FuseInCircuit, fault_current_a: float
) -> Selectivity:
    """Return the selectivity of two fuses in series.

    The least opening time upstream lies above the greatest opening time downstream at every
    current up to the limit.

    Parameters
    ----------
    upstream
        Fuse nearer to the source.
    downstream
        Fuse nearer to the load.
    fault_current_a
        Greatest current that both can see [A], above 0.

    Returns
    -------
    Selectivity
        State and limit.
    """
    found = selective_up_to_a(upstream, downstream)
    if found is None:
        return Selectivity(CURVE_NOT_PUBLISHED, None, None)
    limit, ended_by = found
    if limit >= fault_current_a:
        return Selectivity(SELECTIVE, fault_current_a, None)
    if limit == 0.0:
        return Selectivity(NOT_SELECTIVE, None, ended_by)
    return Selectivity(SELECTIVE_IN_PART, limit, ended_by)


def selective_up_to_a(
    upstream: FuseInCircuit, downstream: FuseInCircuit
) -> tuple[float, str] | None:
    """Return the current up to which two fuses in series are selective.

    Parameters
    ----------
    upstream
        Fuse nearer to the source.
    downstream
        Fuse nearer to the load.

    Returns
    -------
    tuple of float and str, or None
        Current [A], 0 where the bands cross from the start, and what ends the selectivity;
        ``None`` where one of the curves is not published.
    """
    up, down = upstream.fuse_type, downstream.fuse_type
    if up is None or down is None or not (_is_published(up) and _is_published(down)):
        return None
    ratio = upstream.rated_current_a / downstream.rated_current_a
    multiple, ended_by = selective_multiple(up, down, ratio)
    return multiple * downstream.rated_current_a, ended_by


def _is_published(fuse_type: FuseType) -> bool:
    return fuse_curve(fuse_type).is_published
