"""Opening times of chosen fuses against the conductor's time to damage, for all types at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.damage import (
    SHORT_CIRCUIT_DURATION_S,
    DamageCurve,
    interpolated_damage_time_s,
)
from loomwright.engineering.protection.fuse_answer import BandPoint, Coordination
from loomwright.engineering.protection.fuses import FuseCurve, fuse_curve, opening_time_on_line_s
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import FuseType

Array = npt.NDArray[np.float64]

PARTS_OF_SPAN = 12
# The damage curve bends between two points of the grid by less than this.
GRID_ALLOWANCE = 1.03
BEYOND_SHARES = np.linspace(0.0, 1.0, 6)

NOT_REACHED = "not_reached"
BY_LAST_TIME = "bounded_by_last_time"
BY_CONSTANT_I2T = "bounded_by_constant_i2t"
NOT_SHOWN = "not_shown"


@dataclass(frozen=True, slots=True, eq=False)
class FuseSet:
    """Some fuse types with their curves on grids, one row for each type.

    Rows of types without a curve hold NaN.
    """

    tables: FuseTables
    types: tuple[FuseType, ...]
    grid_multiple: Array
    grid_greatest_s: Array


@lru_cache(maxsize=256)
def fuse_set(tables: FuseTables, keys: tuple[str, ...] = ()) -> FuseSet:
    """Return the wanted fuse types with their curves on grids.

    Parameters
    ----------
    tables
        All fuse tables.
    keys
        Wanted types in order of preference; empty for all.

    Returns
    -------
    FuseSet
        Kept for the next request.

    Raises
    ------
    EngineeringError
        ``unknown_fuse_type``.
    """
    types = tuple(fuse_type_of(tables, key) for key in keys or tables.types)
    rows = [_grid(fuse_curve(fuse_type)) for fuse_type in types]
    width = max(multiple.size for multiple, _ in rows)
    return FuseSet(
        tables=tables,
        types=types,
        grid_multiple=np.stack([_padded(multiple, width) for multiple, _ in rows]),
        grid_greatest_s=np.stack([_padded(greatest, width) for _, greatest in rows]),
    )


def _grid(curve: FuseCurve) -> tuple[Array, Array]:
    """Return multiples and greatest times with each published span cut into equal parts."""
    points = curve.greatest_log_multiple
    if points.size == 0:
        return np.array([np.nan]), np.array([np.nan])
    index = np.arange(points.size)
    position = np.linspace(0.0, points.size - 1.0, (points.size - 1) * PARTS_OF_SPAN + 1)
    return (
        np.exp(np.interp(position, index, points)),
        np.exp(np.interp(position, index, curve.greatest_log_time)),
    )


def _padded(row: Array, width: int) -> Array:
    return np.pad(row, (0, width - row.size), mode="edge")


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


def coordination_with_damage(
    fuses: FuseSet,
    rows: Sequence[int],
    ratings_a: Sequence[float],
    curve: DamageCurve,
    parallel_conductors: int,
    near_source_fault_a: float,
) -> list[Coordination]:
    """Return how each chosen fuse protects the conductor from damage.

    Parameters
    ----------
    fuses
        The types.
    rows
        Positions of types with a published curve.
    ratings_a
        The rating chosen for each of those [A].
    curve
        Damage curve of one conductor.
    parallel_conductors
        Equal conductors that share the current [1].
    near_source_fault_a
        Greatest current that can flow [A].

    Returns
    -------
    list of Coordination
        One for each row.
    """
    if not rows:
        return []
    multiple = fuses.grid_multiple[rows]
    greatest = fuses.grid_greatest_s[rows]
    current = np.asarray(ratings_a)[:, np.newaxis] * multiple
    last = current[:, -1:]
    beyond = last * np.maximum(near_source_fault_a / last, 1.0) ** BEYOND_SHARES
    both = np.concatenate([current, beyond], axis=1)
    damage = interpolated_damage_time_s(curve, both / parallel_conductors)
    width = current.shape[1]
    margin = damage[:, :width] / greatest
    # A point counts while the one before it can still flow, so that the fault itself is covered.
    margin[:, 1:][current[:, :-1] > near_source_fault_a] = np.inf
    least = margin.argmin(axis=1)
    of_last_time = damage[:, width:] / greatest[:, -1:]
    of_last_i2t = of_last_time * (beyond / last) ** 2
    corner = curve.corner_current_a * parallel_conductors
    corner_margins = [
        _margin_at_corner(fuses.types[row], rating, corner)
        if corner < near_source_fault_a
        else None
        for row, rating in zip(rows, ratings_a, strict=True)
    ]
    return [
        _coordination(corner, *figures)
        for figures in zip(
            corner_margins,
            margin.min(axis=1).tolist(),
            current[np.arange(len(rows)), least].tolist(),
            (last[:, 0] >= near_source_fault_a).tolist(),
            of_last_time.min(axis=1).tolist(),
            of_last_i2t.min(axis=1).tolist(),
            strict=True,
        )
    ]


def _margin_at_corner(fuse_type: FuseType, rating_a: float, corner_a: float) -> float | None:
    """Return the margin at the corner of the damage curve, which may fall between grid points."""
    greatest = opening_time_on_line_s(fuse_curve(fuse_type).greatest_points, corner_a / rating_a)
    return None if greatest is None else SHORT_CIRCUIT_DURATION_S / greatest


def _coordination(
    corner_a: float,
    corner_margin: float | None,
    margin: float,
    at_current_a: float,
    covers_fault: bool,
    of_last_time: float,
    of_last_i2t: float,
) -> Coordination:
    if corner_margin is not None and corner_margin < margin:
        margin, at_current_a = corner_margin, corner_a
    if covers_fault:
        beyond = NOT_REACHED
    elif of_last_time > GRID_ALLOWANCE:
        beyond = BY_LAST_TIME
    else:
        beyond = BY_CONSTANT_I2T if of_last_i2t > GRID_ALLOWANCE else NOT_SHOWN
    can_damage = margin < np.inf
    return Coordination(
        holds=margin > GRID_ALLOWANCE and beyond != NOT_SHOWN,
        least_margin=margin if can_damage else None,
        least_margin_current_a=at_current_a if can_damage else None,
        beyond_published_curve=beyond,
    )
