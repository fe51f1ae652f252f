"""How long a conductor withstands an overcurrent before its insulation is damaged."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.transient import (
    LumpedConductor,
    steady_current_a,
    time_to_temperature_s,
    with_ampacity,
)

Array = npt.NDArray[np.float64]
Number = float | Array

SHORT_CIRCUIT_DURATION_S = 5.0
GRID_POINTS = 161
LEAST_EXCESS = 1e-4
GREATEST_EXCESS = 1e3
PLOT_EXCESSES = np.geomspace(0.01, 50.0, 25)


@dataclass(frozen=True, slots=True)
class DamagePoint:
    """One point of the damage curve, ready to plot on logarithmic axes."""

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


@lru_cache(maxsize=1024)
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
    """
    held = with_ampacity(conductor, ampacity_a)
    initial = held.temperature_rating_k if initial_temperature_k is None else initial_temperature_k
    threshold = float(steady_current_a(held, held.overload_temperature_k))
    excess = np.geomspace(LEAST_EXCESS, GREATEST_EXCESS, GRID_POINTS)
    # The two corners at 5 s become points of the grid, so that no interpolation cuts them off.
    corners = [
        float(np.interp(-SHORT_CIRCUIT_DURATION_S, -times[reached], excess[reached]))
        for times, reached in (
            _times_and_reached(held, threshold * (1.0 + excess), limit, initial)
            for limit in (held.short_circuit_temperature_k, held.overload_temperature_k)
        )
    ]
    excess = np.unique(np.concatenate([excess, corners]))
    time = damage_time_s(held, threshold * (1.0 + excess), initial)
    finite = np.isfinite(time)
    plotted = threshold * (1.0 + PLOT_EXCESSES)
    return DamageCurve(
        conductor=held,
        initial_temperature_k=initial,
        threshold_current_a=threshold,
        corner_current_a=threshold * (1.0 + min(corners)),
        log_excess=np.log(excess[finite]),
        log_time=np.log(time[finite]),
        points=tuple(
            DamagePoint(current, point)
            for current, point in zip(
                plotted.tolist(), damage_time_s(held, plotted, initial).tolist(), strict=True
            )
            if np.isfinite(point)
        ),
    )


def _times_and_reached(
    conductor: LumpedConductor, current_a: Array, final_temperature_k: float, initial: float
) -> tuple[Array, npt.NDArray[np.bool_]]:
    heating = time_to_temperature_s(conductor, current_a, final_temperature_k, initial)
    return heating.time_s, heating.reached


def interpolated_damage_time_s(curve: DamageCurve, current_a: Number) -> Array:
    """Return the time to damage from the tabulated curve.

    Within 1 % of ``damage_time_s``.

    Parameters
    ----------
    curve
        From ``damage_curve``.
    current_a
        Constant current [A], 0 or more.

    Returns
    -------
    ndarray
        Time [s]; infinite up to the threshold.
    """
    excess = np.asarray(current_a, float) / curve.threshold_current_a - 1.0
    above = excess > 0.0
    logarithm = np.log(np.where(above, excess, 1.0))
    time = np.exp(np.interp(logarithm, curve.log_excess, curve.log_time))
    return np.where(above, time, np.inf)
