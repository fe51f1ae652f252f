"""Opening times of a fuse against the conductor's time to damage."""

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compilable
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.damage import (
    SHORT_CIRCUIT_DURATION_S,
    DamageCurve,
    interpolated_damage_time_s,
    time_on_line_s,
)
from loomwright.engineering.protection.fuse_answer import BandPoint, Coordination
from loomwright.engineering.protection.fuses import FuseCurve, fuse_curve, opening_time_on_line_s
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import FuseType

Array = npt.NDArray[np.float64]

PARTS_OF_SPAN = 12
# The damage curve bends between two points of the grid by less than this.
GRID_ALLOWANCE = 1.03
# Multiples of the last published current, up to where the conductor heats adiabatically.
BEYOND_MULTIPLES = np.geomspace(1.0, 1000.0, 61)

NOT_REACHED = "not_reached"
BY_LAST_TIME = "bounded_by_last_time"
BY_CONSTANT_I2T = "bounded_by_constant_i2t"
NOT_SHOWN = "not_shown"

# What the limits say of a fault.
NOT_PROTECTED, PROTECTED, BY_TIME_AT_FAULT = 0, 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class FuseSet:
    """Some fuse types in order of preference."""

    tables: FuseTables
    types: tuple[FuseType, ...]


@lru_cache(maxsize=256)
def fuse_set(tables: FuseTables, keys: tuple[str, ...] = ()) -> FuseSet:
    """Return the wanted fuse types.

    Parameters
    ----------
    tables
        All fuse tables.
    keys
        Wanted types in order of preference; empty for all.

    Returns
    -------
    FuseSet
        The same object for the same keys.

    Raises
    ------
    EngineeringError
        ``unknown_fuse_type``.
    """
    return FuseSet(tables, tuple(fuse_type_of(tables, key) for key in keys or tables.types))


def _grid(curve: FuseCurve) -> tuple[Array, Array]:
    """Return multiples and greatest times with each published span cut into equal parts."""
    points = curve.greatest_log_multiple
    index = np.arange(points.size)
    position = np.linspace(0.0, points.size - 1.0, (points.size - 1) * PARTS_OF_SPAN + 1)
    return (
        np.exp(np.interp(position, index, points)),
        np.exp(np.interp(position, index, curve.greatest_log_time)),
    )


def fuse_type_of(tables: FuseTables, key: str) -> FuseType:
    """Return a fuse type by its key.

    Parameters
    ----------
    tables
        All fuse tables.
    key
        Key of the type.

    Returns
    -------
    FuseType
        The record.

    Raises
    ------
    EngineeringError
        ``unknown_fuse_type``.
    """
    fuse_type = tables.types.get(key)
    if fuse_type is None:
        raise EngineeringError(
            "unknown_fuse_type",
            f"Fuse type {key!r} is not listed; use one of {', '.join(tables.types)}.",
            field="fuse_types",
            value=key,
        )
    return fuse_type


@lru_cache(maxsize=2048)
def band_points(fuse_type: FuseType, rated_current_a: float) -> tuple[BandPoint, ...]:
    """Return the published points of a fuse's band at one rating [A, s]."""
    return tuple(
        BandPoint(
            current_multiple=point.current_multiple,
            current_a=point.current_multiple * rated_current_a,
            least_s=point.least_s,
            greatest_s=point.greatest_s,
        )
        for point in fuse_type.opening_times
    )


class ProtectionLimits(NamedTuple):
    """Near-source faults up to which one fuse protects one conductor.

    Parameters
    ----------
    fails_from_a
        From here on a margin along the published curve or at the corner of the damage curve is too
        small [A]; infinite where none is.
    curve_ends_at_a
        Last published current [A].
    unproven_from_a
        Beyond that, from here on the let-through of the last point is too much [A], so that the
        last opening time alone has to be short enough; infinite where it never is.
    last_greatest_s
        Greatest opening time at the last published current [s].
    """

    fails_from_a: float
    curve_ends_at_a: float
    unproven_from_a: float
    last_greatest_s: float


@dataclass(frozen=True, slots=True, eq=False)
class MarginLine:
    """Damage time over greatest opening time of one fuse before one conductor.

    ``current_a`` rises along the published curve; ``least_margin`` and ``at_current_a`` are the
    least margin from the first point up to each, and where it lies. ``beyond_current_a`` goes on
    from the last point, with the least margin up to each if the let-through stays that of the last
    point. ``corner_margin`` is that at the corner of the damage curve.
    """

    current_a: tuple[float, ...]
    least_margin: tuple[float, ...]
    at_current_a: tuple[float, ...]
    last_greatest_s: float
    beyond_current_a: tuple[float, ...]
    beyond_least_margin: tuple[float, ...]
    corner_a: float
    corner_margin: float
    limits: ProtectionLimits


@lru_cache(maxsize=4096)
def margin_line(
    fuse_type: FuseType, rated_current_a: float, curve: DamageCurve, parallel_conductors: int
) -> MarginLine:
    """Return the margins of a fuse along its published curve.

    No load and no source takes part, so that a pair of fuse and conductor is worked out once.

    Parameters
    ----------
    fuse_type
        A type with a published curve.
    rated_current_a
        Its rating [A], above 0.
    curve
        Damage curve of one conductor.
    parallel_conductors
        Equal conductors that share the current [1].

    Returns
    -------
    MarginLine
        On a grid of currents.
    """
    multiple, greatest = _grid(fuse_curve(fuse_type))
    current = rated_current_a * multiple
    margin = np.asarray(interpolated_damage_time_s(curve, current / parallel_conductors) / greatest)
    least = np.minimum.accumulate(margin)
    falls = np.append(True, margin[1:] < least[:-1])
    place = np.maximum.accumulate(np.where(falls, np.arange(margin.size), 0))
    beyond = current[-1] * BEYOND_MULTIPLES
    of_last_time = interpolated_damage_time_s(curve, beyond / parallel_conductors) / greatest[-1]
    of_last_i2t = np.minimum.accumulate(of_last_time * BEYOND_MULTIPLES**2)
    corner_a = curve.corner_current_a * parallel_conductors
    at_corner = _margin_at_corner(fuse_type, rated_current_a, corner_a)
    return MarginLine(
        current_a=tuple(current.tolist()),
        least_margin=tuple(least.tolist()),
        at_current_a=tuple(current[place].tolist()),
        last_greatest_s=float(greatest[-1]),
        beyond_current_a=tuple(beyond.tolist()),
        beyond_least_margin=tuple(of_last_i2t.tolist()),
        corner_a=corner_a,
        corner_margin=at_corner,
        limits=ProtectionLimits(
            min(
                _too_small_from_a(current, least, 0.0),
                corner_a if at_corner <= GRID_ALLOWANCE else math.inf,
            ),
            float(current[-1]),
            _too_small_from_a(beyond, of_last_i2t, float(current[-1])),
            float(greatest[-1]),
        ),
    )


def _too_small_from_a(current_a: Array, least_margin: Array, from_the_start_a: float) -> float:
    """Return the fault from which on the first margin that is too small counts."""
    too_small = np.flatnonzero(least_margin <= GRID_ALLOWANCE)
    if too_small.size == 0:
        return math.inf
    # A point counts while the one before it can still flow, so that the fault itself is covered.
    first = int(too_small[0])
    return float(current_a[first - 1]) if first else from_the_start_a


def _margin_at_corner(fuse_type: FuseType, rating_a: float, corner_a: float) -> float:
    """Return the margin at the corner of the damage curve, which may fall between grid points.

    Infinite where the corner lies outside the published curve.
    """
    greatest = opening_time_on_line_s(fuse_curve(fuse_type).greatest_points, corner_a / rating_a)
    return math.inf if greatest is None else SHORT_CIRCUIT_DURATION_S / greatest


@compilable
def protection(limits: ProtectionLimits, near_source_fault_a: float) -> int:
    """Return whether a fuse protects a conductor against every current up to the greatest.

    Parameters
    ----------
    limits
        Of the fuse before the conductor.
    near_source_fault_a
        Greatest current that can flow [A].

    Returns
    -------
    int
        ``PROTECTED`` where the margins are large enough, and beyond the published curve are known
        to be; ``NOT_PROTECTED``; or ``BY_TIME_AT_FAULT`` where it hangs on ``opens_in_time``.
    """
    if near_source_fault_a >= limits.fails_from_a:
        return NOT_PROTECTED
    if near_source_fault_a <= limits.curve_ends_at_a:
        return PROTECTED
    if near_source_fault_a < limits.unproven_from_a:
        return PROTECTED
    return BY_TIME_AT_FAULT


@compilable
def opens_in_time(last_greatest_s: float, damage_time_s: float) -> bool:
    """Return whether the last published opening time is short enough for a greater fault.

    Parameters
    ----------
    last_greatest_s
        Greatest opening time at the last published current [s].
    damage_time_s
        Of the conductor at the fault [s]; it only falls with the current, so that the fault itself
        is the hardest case.

    Returns
    -------
    bool
        With the allowance for the grid.
    """
    return damage_time_s > GRID_ALLOWANCE * last_greatest_s


def protection_with_damage(
    line: MarginLine, curve: DamageCurve, parallel_conductors: int, near_source_fault_a: float
) -> tuple[bool, str]:
    """Return whether a fuse protects a conductor, and what is known beyond its published curve.

    Parameters
    ----------
    line
        Margins of the fuse before the conductor.
    curve
        Damage curve of one conductor.
    parallel_conductors
        Equal conductors that share the current [1].
    near_source_fault_a
        Greatest current that can flow [A].

    Returns
    -------
    tuple of bool and str
        ``holds`` and ``beyond_published_curve`` of ``Coordination``.
    """
    found = protection(line.limits, near_source_fault_a)
    if not near_source_fault_a > line.limits.curve_ends_at_a:
        return found == PROTECTED, NOT_REACHED
    at_fault_s = time_on_line_s(
        near_source_fault_a / parallel_conductors,
        curve.threshold_current_a,
        curve.log_excess,
        curve.log_time,
    )
    in_time = opens_in_time(line.last_greatest_s, at_fault_s)
    beyond = BY_LAST_TIME if in_time else _by_let_through(line, near_source_fault_a)
    return (in_time if found == BY_TIME_AT_FAULT else found == PROTECTED), beyond


def coordination_with_damage(
    fuse_type: FuseType,
    rated_current_a: float,
    curve: DamageCurve,
    parallel_conductors: int,
    near_source_fault_a: float,
) -> Coordination:
    """Return how a fuse protects a conductor from damage.

    Parameters
    ----------
    fuse_type
        A type with a published curve.
    rated_current_a
        Its rating [A], above 0.
    curve
        Damage curve of one conductor.
    parallel_conductors
        Equal conductors that share the current [1].
    near_source_fault_a
        Greatest current that can flow [A].

    Returns
    -------
    Coordination
        Whether it holds, and the least margin.
    """
    line = margin_line(fuse_type, rated_current_a, curve, parallel_conductors)
    place = min(bisect_right(line.current_a, near_source_fault_a), len(line.current_a) - 1)
    margin, at_current_a = line.least_margin[place], line.at_current_a[place]
    if line.corner_a <= near_source_fault_a and line.corner_margin < margin:
        margin, at_current_a = line.corner_margin, line.corner_a
    holds, beyond = protection_with_damage(line, curve, parallel_conductors, near_source_fault_a)
    can_damage = margin < np.inf
    return Coordination(
        holds=holds,
        least_margin=margin if can_damage else None,
        least_margin_current_a=at_current_a if can_damage else None,
        beyond_published_curve=beyond,
    )


def _by_let_through(line: MarginLine, near_source_fault_a: float) -> str:
    """Return whether a let-through like that of the last published point is small enough."""
    place = bisect_right(line.beyond_current_a, near_source_fault_a)
    of_last_i2t = line.beyond_least_margin[min(place, len(line.beyond_least_margin) - 1)]
    return BY_CONSTANT_I2T if of_last_i2t > GRID_ALLOWANCE else NOT_SHOWN
