"""The time-current band of a fuse type, and the rules on rating, voltage, capacity and place.

Between published points the band runs in straight lines on logarithmic axes. Beyond either end
nothing is invented: the state says ``outside_published_curve``.
"""

import math
from bisect import bisect_left
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.errors import EngineeringError
from loomwright.tables.fuse_records import FuseTables, InterruptingCapacity, PositionLimit
from loomwright.tables.records import FuseType

Array = npt.NDArray[np.float64]
Number = float | Array

WITHIN = "within_published_curve"
NOT_LIMITED = "not_limited"
OUTSIDE = "outside_published_curve"

LEAST_AMBIENT_K = 233.15
GREATEST_AMBIENT_K = 398.15
EXTRA_LOW_VOLTAGE_RULE_V = 50.0


@dataclass(frozen=True, slots=True)
class OpeningBand:
    """Least and greatest opening time at some multiples of the rated current.

    Times are NaN where the state is not ``within_published_curve``. ``not_limited`` means that the
    standard sets no such limit there: a fuse may carry 110 % for ever.
    """

    least_s: Array
    greatest_s: Array
    least_state: npt.NDArray[np.str_]
    greatest_state: npt.NDArray[np.str_]


@dataclass(frozen=True, slots=True, eq=False)
class FuseCurve:
    """Published points of one fuse type as logarithms, rising in multiple; empty if none."""

    first_multiple: float
    last_multiple: float
    least_log_multiple: Array
    least_log_time: Array
    greatest_log_multiple: Array
    greatest_log_time: Array
    least_points: tuple[tuple[float, ...], tuple[float, ...]]
    greatest_points: tuple[tuple[float, ...], tuple[float, ...]]

    @property
    def is_published(self) -> bool:
        """Whether there are points at all."""
        return bool(self.greatest_log_multiple.size)

    @property
    def last_greatest_s(self) -> float:
        """Greatest opening time at the last published multiple [s]."""
        return math.exp(self.greatest_log_time[-1])


@lru_cache(maxsize=256)
def fuse_curve(fuse_type: FuseType) -> FuseCurve:
    """Return the published points of a fuse type as arrays."""
    points = fuse_type.opening_times
    least = [(p.current_multiple, p.least_s) for p in points if p.least_s is not None]
    greatest = [(p.current_multiple, p.greatest_s) for p in points if p.greatest_s is not None]
    return FuseCurve(
        first_multiple=points[0].current_multiple if points else math.nan,
        last_multiple=points[-1].current_multiple if points else math.nan,
        least_log_multiple=np.log([multiple for multiple, _ in least]),
        least_log_time=np.log([time for _, time in least]),
        greatest_log_multiple=np.log([multiple for multiple, _ in greatest]),
        greatest_log_time=np.log([time for _, time in greatest]),
        least_points=_logarithms(least),
        greatest_points=_logarithms(greatest),
    )


def _logarithms(
    points: list[tuple[float, float]],
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    return (
        tuple(math.log(multiple) for multiple, _ in points),
        tuple(math.log(time) for _, time in points),
    )


def opening_band(fuse_type: FuseType, current_multiple: Number) -> OpeningBand:
    """Return the least and greatest opening time at multiples of the rated current.

    At 23 C, from cold, without previous load.

    Parameters
    ----------
    fuse_type
        Type with its published points.
    current_multiple
        Current over rated current [1], above 0.

    Returns
    -------
    OpeningBand
        Times [s] and states, of the shape of the argument.

    References
    ----------
    The table of opening times of the type's own standard, ISO 8820-3 to -5 or SAE.
    """
    multiple = np.asarray(current_multiple, float)
    curve = fuse_curve(fuse_type)
    if not curve.is_published:
        nowhere = np.full(multiple.shape, np.nan)
        outside = np.full(multiple.shape, OUTSIDE)
        return OpeningBand(nowhere, nowhere, outside, outside)
    log_multiple = np.log(multiple)
    least = _interpolated(log_multiple, curve.least_log_multiple, curve.least_log_time)
    greatest = _interpolated(log_multiple, curve.greatest_log_multiple, curve.greatest_log_time)
    listed = (multiple >= curve.first_multiple) & (multiple <= curve.last_multiple)

    def state(time: Array) -> npt.NDArray[np.str_]:
        return np.where(np.isfinite(time), WITHIN, np.where(listed, NOT_LIMITED, OUTSIDE))

    return OpeningBand(least, greatest, state(least), state(greatest))


def _interpolated(log_multiple: Array, points: Array, log_times: Array) -> Array:
    # Twelve digits of tolerance: 1.1 x 30 A / 30 A must not fall off the end of the curve.
    inside = (log_multiple >= points[0] - 1e-12) & (log_multiple <= points[-1] + 1e-12)
    return np.where(inside, np.exp(np.interp(log_multiple, points, log_times)), np.nan)


def opening_time_on_line_s(
    points: tuple[tuple[float, ...], tuple[float, ...]], current_multiple: float
) -> float | None:
    """Return one opening time from one edge of the band, as ``opening_band`` does for arrays.

    Parameters
    ----------
    points
        ``least_points`` or ``greatest_points`` of a curve.
    current_multiple
        Current over rated current [1], above 0.

    Returns
    -------
    float or None
        Time [s]; ``None`` outside the points.
    """
    multiples, times = points
    wanted = math.log(current_multiple)
    if not multiples or not multiples[0] - 1e-12 <= wanted <= multiples[-1] + 1e-12:
        return None
    index = min(max(bisect_left(multiples, wanted), 1), len(multiples) - 1)
    left, right = multiples[index - 1], multiples[index]
    share = min(max((wanted - left) / (right - left), 0.0), 1.0)
    return math.exp(times[index - 1] + share * (times[index] - times[index - 1]))


@lru_cache(maxsize=4096)
def multiple_carried_for(fuse_type: FuseType, duration_s: float) -> float | None:
    """Return the greatest multiple of the rated current that a fuse surely carries for a time.

    Parameters
    ----------
    fuse_type
        Type with its published points.
    duration_s
        Time to be carried [s], above 0.

    Returns
    -------
    float or None
        Multiple [1] at which the least opening time equals the duration; the last published
        multiple for shorter times; ``None`` for longer times than any published, or without a
        curve.
    """
    curve = fuse_curve(fuse_type)
    wanted = math.log(duration_s)
    if not curve.is_published or wanted > curve.least_log_time[0]:
        return None
    times, multiples = curve.least_log_time[::-1], curve.least_log_multiple[::-1]
    return math.exp(float(np.interp(wanted, times, multiples)))


@lru_cache(maxsize=4096)
def multiple_opening_within(fuse_type: FuseType, duration_s: float) -> float | None:
    """Return the least multiple of the rated current at which a fuse surely opens in a time.

    Parameters
    ----------
    fuse_type
        Type with its published points.
    duration_s
        Time allowed [s], above 0.

    Returns
    -------
    float or None
        Multiple [1] at which the greatest opening time equals the duration; the first limited
        multiple for longer times; ``None`` for shorter times than any published, or without a
        curve.
    """
    curve = fuse_curve(fuse_type)
    wanted = math.log(duration_s)
    if not curve.is_published or wanted < curve.greatest_log_time[-1] - 1e-12:
        return None
    times, multiples = curve.greatest_log_time[::-1], curve.greatest_log_multiple[::-1]
    return math.exp(float(np.interp(wanted, times, multiples)))


def ambient_rating_factor(ambient_temperature_k: Number, tables: FuseTables) -> Number:
    """Return the current-carrying capacity of a fuse at an ambient over that at 23 C.

    Straight line; low confidence, as the standards print no figure.

    Parameters
    ----------
    ambient_temperature_k
        Air around the fuse [K], 233.15 to 398.15.
    tables
        Slope and reference temperature.

    Returns
    -------
    float or ndarray
        Factor [1]: below 1 above 23 C.

    Raises
    ------
    EngineeringError
        ``ambient_outside_model``.
    """
    if isinstance(ambient_temperature_k, np.ndarray):
        least, greatest = ambient_temperature_k.min(), ambient_temperature_k.max()
    else:
        least = greatest = ambient_temperature_k
    if not LEAST_AMBIENT_K <= least <= greatest <= GREATEST_AMBIENT_K:
        raise EngineeringError(
            "ambient_outside_model",
            f"The ambient of a fuse must lie between {LEAST_AMBIENT_K} K and "
            f"{GREATEST_AMBIENT_K} K.",
            field="ambient_temperature_k",
            value=ambient_temperature_k,
            limit=GREATEST_AMBIENT_K,
        )
    slope = tables.factors["rating_change_per_k"].value
    reference = tables.factors["reference_temperature_k"].value
    return 1.0 + slope * (ambient_temperature_k - reference)


def greatest_operating_voltage_v(system_voltage_v: float, tables: FuseTables) -> float:
    """Return the voltage that a fuse must be rated for on a system.

    Parameters
    ----------
    system_voltage_v
        Nominal or charging voltage [V], above 0.
    tables
        Nominal voltages with their greatest voltage in operation.

    Returns
    -------
    float
        Greatest operating voltage of the class that the voltage falls in [V]; the voltage itself
        above the highest class.

    References
    ----------
    ISO 16750-2 Tables 1 and 2; ISO 21780 clause 5 (memory).
    """
    for row in tables.system_voltages:
        if system_voltage_v <= row.greatest_operating_v:
            return row.greatest_operating_v
    return system_voltage_v


def rated_voltage_at_least_v(fuse_type: FuseType, voltage_v: float) -> float | None:
    """Return the lowest rated voltage of a type that is not below a voltage, or none [V]."""
    for rated_v in fuse_type.rated_voltages_v:
        if rated_v >= voltage_v:
            return rated_v
    return None


def greatest_rating_by_ampacity_rule_a(
    ampacity_a: float, system_voltage_v: float, ratings_a: tuple[float, ...], tables: FuseTables
) -> float:
    """Return the greatest rating that the federal rule allows over a conductor.

    The rule alone does not show that the fuse protects the conductor.

    Parameters
    ----------
    ampacity_a
        Of the conductor [A], above 0.
    system_voltage_v
        Of the circuit [V], above 0.
    ratings_a
        Standard ratings, rising [A].
    tables
        Factors of the rule.

    Returns
    -------
    float
        Rating [A]: 150 % of the ampacity below 50 V. At 50 V and above the ampacity, or the next
        larger standard rating where that is at most 150 % of it.

    References
    ----------
    33 CFR 183.455(c)(1) and (2).
    """
    factors = tables.factors
    if system_voltage_v < EXTRA_LOW_VOLTAGE_RULE_V:
        return ampacity_a * factors["rating_over_ampacity_below_50_v"].value
    base = ampacity_a * factors["rating_over_ampacity_from_50_v"].value
    cap = ampacity_a * factors["next_standard_rating_over_ampacity"].value
    index = bisect_left(ratings_a, base)
    if index < len(ratings_a) and ratings_a[index] <= cap:
        return ratings_a[index]
    return base


def interrupting_capacity(cold_cranking_a: float, tables: FuseTables) -> InterruptingCapacity:
    """Return the least interrupting capacity that the boat standard asks for.

    Circuit breakers at 12 V and 24 V; the cold-cranking currents of batteries in parallel add.

    Parameters
    ----------
    cold_cranking_a
        Cold-cranking current of the whole bank [A], above 0.
    tables
        Rows by cold-cranking current.

    Returns
    -------
    InterruptingCapacity
        For the main and for branch devices [A].

    References
    ----------
    ABYC E-11.16 Table V-A.
    """
    # The last row has no upper end.
    return next(
        row
        for row in tables.interrupting_capacities
        if row.cold_cranking_to_a is None or cold_cranking_a <= row.cold_cranking_to_a
    )


@lru_cache(maxsize=64)
def position_limits(
    sheathed: bool, on_battery_terminal: bool, tables: FuseTables
) -> tuple[PositionLimit, ...]:
    """Return the position limit of each publication for a conductor.

    Parameters
    ----------
    sheathed
        Whether the conductor runs in a sheath or enclosure from the source to the fuse.
    on_battery_terminal
        Whether the conductor starts at the battery terminal itself.
    tables
        Limits of 33 CFR 183.455, ABYC E-11 and ISO 10133.

    Returns
    -------
    tuple of PositionLimit
        One for each publication that limits such a conductor: the greatest distance it allows.
    """
    governing: dict[str, PositionLimit] = {}
    for limit in tables.position_limits:
        if limit.sheathed != sheathed or limit.on_battery_terminal > on_battery_terminal:
            continue
        other = governing.get(limit.provenance.source)
        if other is None or limit.greatest_distance_m > other.greatest_distance_m:
            governing[limit.provenance.source] = limit
    return tuple(governing.values())
