"""How long a conductor withstands an overcurrent before its insulation is damaged."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.protection.transient import (
    LumpedConductor,
    steady_current_a,
    time_to_temperature_s,
    with_ampacity,
)

Array = npt.NDArray[np.float64]
Number = float | Array

SHORT_CIRCUIT_DURATION_S = 5.0
LOG_EXCESS = np.linspace(np.log(1e-3), np.log(1e3), 65)
PLOT_EXCESSES = np.geomspace(0.01, 50.0, 25)


@dataclass(frozen=True, slots=True, eq=False)
class DamagePoint:
    """One point of the damage curve, ready to plot on logarithmic axes; kept with its curve."""

    current_a: float
    damage_time_s: float


@dataclass(frozen=True, slots=True, eq=False)
class DamageCurve:
    """Time to damage of one conductor, tabulated over the excess above its threshold.

    Below ``threshold_current_a`` the conductor never reaches its overload temperature. The excess
    is ``I / threshold - 1``, in which the curve is smooth even where the time runs to infinity. At
    ``corner_current_a`` the time has come down to 5 s, where it stays for a while.
    """

    conductor: LumpedConductor
    initial_temperature_k: float
    threshold_current_a: float
    corner_current_a: float
    log_excess: Array
    log_time: Array
    points: tuple[DamagePoint, ...]


def damage_time_s(
    conductor: LumpedConductor, current_a: Number, initial_temperature_k: float | None = None
) -> Array:
    """Return the time in which a current damages the insulation of a conductor.

    Damage is the short-circuit limit temperature where it is reached within 5 s; else the overload
    limit temperature, but never counted as sooner than 5 s.

    Parameters
    ----------
    conductor
        The conductor at its ambient.
    current_a
        Constant current [A], 0 or more.
    initial_temperature_k
        Conductor temperature at the start [K]; the insulation rating if none, as in IEC 60949.

    Returns
    -------
    ndarray
        Time [s]; infinite where the current never reaches the overload limit.

    References
    ----------
    IEC 60364-4-43:2008, 434.5.2 and Table 43A (limits for up to 5 s); ISO 6722-1:2011, thermal
    overload of 6 h at rating + 50 K (memory).
    """
    fault = time_to_temperature_s(
        conductor, current_a, conductor.short_circuit_temperature_k, initial_temperature_k
    ).time_s
    overload = time_to_temperature_s(
        conductor, current_a, conductor.overload_temperature_k, initial_temperature_k
    ).time_s
    return np.where(
        fault <= SHORT_CIRCUIT_DURATION_S, fault, np.maximum(overload, SHORT_CIRCUIT_DURATION_S)
    )


@dataclass(frozen=True, slots=True, eq=False)
class _HeatingTable:
    """Times of a conductor alone to one limit, over ``LOG_EXCESS`` above its threshold."""

    threshold_current_a: float
    log_time: Array


@lru_cache(maxsize=1024)
def _heating_tables(
    conductor: LumpedConductor, initial_temperature_k: float
) -> tuple[_HeatingTable, _HeatingTable]:
    """Return the tables to the overload limit and to the short-circuit limit."""
    return (
        _heating_table(conductor, conductor.overload_temperature_k, initial_temperature_k),
        _heating_table(conductor, conductor.short_circuit_temperature_k, initial_temperature_k),
    )


def _heating_table(
    conductor: LumpedConductor, final_temperature_k: float, initial_temperature_k: float
) -> _HeatingTable:
    threshold = float(steady_current_a(conductor, final_temperature_k))
    current = threshold * (1.0 + np.exp(LOG_EXCESS))
    heating = time_to_temperature_s(conductor, current, final_temperature_k, initial_temperature_k)
    return _HeatingTable(threshold, np.log(heating.time_s))


@lru_cache(maxsize=2048)
def damage_curve(
    conductor: LumpedConductor, ampacity_a: float, initial_temperature_k: float | None = None
) -> DamageCurve:
    """Return the tabulated damage curve of a conductor.

    Parameters
    ----------
    conductor
        The conductor alone at its ambient.
    ampacity_a
        Continuous current that governs [A]; where it lies below the conductor's own, the heat loss
        is cut to agree.
    initial_temperature_k
        Conductor temperature at the start [K]; the insulation rating if none.

    Returns
    -------
    DamageCurve
        For ``interpolated_damage_time_s``, with points ready to plot.

    Notes
    -----
    With the heat loss cut by a factor s, ``I**2 R - s q = s ((I / sqrt(s))**2 R - q)``: the time at
    a current is that of the whole heat loss at ``I / sqrt(s)``, divided by s. So the tables of the
    conductor alone serve every ampacity.
    """
    held = with_ampacity(conductor, ampacity_a)
    initial = held.temperature_rating_k if initial_temperature_k is None else initial_temperature_k
    overload, fault = _heating_tables(conductor, initial)
    scale = float(held.heat_loss_w_per_m[-1] / conductor.heat_loss_w_per_m[-1])
    log_excess, log_time, corner = _joined(overload, fault, scale)
    threshold = overload.threshold_current_a * float(np.sqrt(scale))
    plotted = np.interp(np.log(PLOT_EXCESSES), log_excess, log_time)
    return DamageCurve(
        conductor=held,
        initial_temperature_k=initial,
        threshold_current_a=threshold,
        corner_current_a=threshold * (1.0 + np.exp(corner)),
        log_excess=log_excess,
        log_time=log_time,
        points=tuple(
            map(
                DamagePoint,
                (threshold * (1.0 + PLOT_EXCESSES)).tolist(),
                np.exp(plotted).tolist(),
            )
        ),
    )


def _joined(
    overload: _HeatingTable, fault: _HeatingTable, scale: float
) -> tuple[Array, Array, float]:
    """Return excess and time to damage as logarithms, and the excess at the corner."""
    limit = np.log(SHORT_CIRCUIT_DURATION_S * scale)
    # The two corners at 5 s become points of the grid, so that no interpolation cuts them off.
    corner = _log_excess_at(overload, limit)
    ratio = fault.threshold_current_a / overload.threshold_current_a
    second = np.log(ratio * (1.0 + np.exp(_log_excess_at(fault, limit))) - 1.0)
    log_excess = np.sort(np.append(LOG_EXCESS, (corner, second)))
    log_time = np.maximum(np.interp(log_excess, LOG_EXCESS, overload.log_time), limit)
    is_fault = log_excess >= second
    over_fault = np.log((1.0 + np.exp(log_excess[is_fault])) / ratio - 1.0)
    log_time[is_fault] = np.interp(over_fault, LOG_EXCESS, fault.log_time)
    return log_excess, log_time - np.log(scale), corner


def _log_excess_at(table: _HeatingTable, log_time: float) -> float:
    """Return the logarithm of the excess at which a limit is reached in a time."""
    return float(np.interp(-log_time, -table.log_time, LOG_EXCESS))


def interpolated_damage_time_s(curve: DamageCurve, current_a: Number) -> Number:
    """Return the time to damage from the tabulated curve.

    Within 1 % of ``damage_time_s``.

    Parameters
    ----------
    curve
        From ``damage_curve``.
    current_a
        Constant current [A], 0 or more; an array has one axis.

    Returns
    -------
    float or ndarray
        Time [s]; infinite up to the threshold.
    """
    line = curve.threshold_current_a, curve.log_excess, curve.log_time
    if isinstance(current_a, np.ndarray):
        return _times_on_line_s(current_a, *line)
    return time_on_line_s(current_a, *line)


@compiled
def time_on_line_s(
    current_a: float, threshold_current_a: float, log_excess: Array, log_time: Array
) -> float:
    """Return the time to damage from the members of a tabulated curve.

    Parameters
    ----------
    current_a
        Constant current [A], 0 or more.
    threshold_current_a
        Greatest current that never damages the conductor [A].
    log_excess
        Logarithms of the excess above it [1], rising.
    log_time
        Logarithms of the times to damage [s].

    Returns
    -------
    float
        Time [s]; infinite up to the threshold.
    """
    excess = current_a / threshold_current_a - 1.0
    if excess <= 0.0:
        return math.inf
    wanted = math.log(excess)
    # Past the table heat is stored only: the time falls as the inverse square of the current.
    past = max(wanted - log_excess[-1], 0.0)
    return math.exp(np.interp(wanted, log_excess, log_time) - 2.0 * past)


@compiled
def _times_on_line_s(
    current_a: Array, threshold_current_a: float, log_excess: Array, log_time: Array
) -> Array:
    times = np.empty(current_a.size)
    for place in range(current_a.size):
        times[place] = time_on_line_s(current_a[place], threshold_current_a, log_excess, log_time)
    return times
