"""Conductor temperature against current as a curve, made once for a conductor and an ambient.

The heat balance is solved on a grid of currents up to the cap of the model, and between the grid's
points a cubic takes the temperature and its slope from both ends (Hermite). It is within 0.005 K
of the solved balance everywhere, far below what the air table is worth, and costs a tenth of
solving again; a test holds it to that.
"""

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.conductors.heat import (
    InsulatedConductor,
    heat_balance,
    steady_temperature,
)
from loomwright.tables.records import Air

Array = npt.NDArray[np.float64]

INTERVALS = 32
_LEAST_SHARE = 1e-6


def temperature_curve(
    conductor: InsulatedConductor, cap_current_a: Array, ambient_temperature_k: float, air: Air
) -> Array:
    """Return the temperature rise of conductors against the share of a cap current.

    Parameters
    ----------
    conductor
        Conductors, arrays of one axis.
    cap_current_a
        Current that the curve ends at [A], below thermal runaway.
    ambient_temperature_k
        Ambient temperature [K].
    air
        Table of air properties.

    Returns
    -------
    ndarray
        Coefficients [K], shape (conductors, intervals, 4), rising in power of the place inside an
        interval.

    Raises
    ------
    EngineeringError
        ``heat_balance_not_converged``.
    """
    grid = InsulatedConductor(
        outside_diameter_m=np.asarray(conductor.outside_diameter_m)[:, None],
        insulation_resistance_km_per_w=np.asarray(conductor.insulation_resistance_km_per_w)[
            :, None
        ],
        emissivity=conductor.emissivity,
        resistance_20c_ohm_per_m=np.asarray(conductor.resistance_20c_ohm_per_m)[:, None],
        temperature_coefficient_20c_per_k=np.asarray(conductor.temperature_coefficient_20c_per_k)[
            :, None
        ],
    )
    shares = np.maximum(np.linspace(0.0, 1.0, INTERVALS + 1), _LEAST_SHARE)
    current = cap_current_a[:, None] * shares
    solved = steady_temperature(current, ambient_temperature_k, grid, air)
    balance = heat_balance(solved.surface_rise_k, current, ambient_temperature_k, grid, air)
    # dT/dI = dT/dx dx/dI along the balance, here per interval of the grid.
    slope = (
        balance.temperature_slope
        * (2.0 * balance.gained_w_per_m / current)
        / balance.imbalance_slope_w_per_mk
        * (cap_current_a[:, None] / INTERVALS)
    )
    rise = balance.conductor_temperature_k - ambient_temperature_k
    start, end = rise[:, :-1], rise[:, 1:]
    start_slope, end_slope = slope[:, :-1], slope[:, 1:]
    return np.stack(
        [
            start,
            start_slope,
            3.0 * (end - start) - 2.0 * start_slope - end_slope,
            2.0 * (start - end) + start_slope + end_slope,
        ],
        axis=-1,
    )


def curve_table(curves: Array) -> Array:
    """Return curves as one table for ``rise_and_slope_on_curve_k``.

    Parameters
    ----------
    curves
        Coefficients, shape (..., intervals, 4).

    Returns
    -------
    ndarray
        Shape (..., intervals + 1, 4): one more interval at each curve's end, where the rise stays
        that of the cap.
    """
    ends = np.zeros((*curves.shape[:-2], 1, curves.shape[-1]))
    c0, c1, c2, c3 = np.moveaxis(curves[..., -1, :], -1, 0)
    ends[..., 0, 0] = ((c3 + c2) + c1) + c0
    return np.ascontiguousarray(np.concatenate([curves, ends], axis=-2))


@compiled
def place_on_curve(share: float) -> tuple[int, float]:
    """Return where a share of the cap current lies on a curve of a ``curve_table``.

    Parameters
    ----------
    share
        Share of the cap current [1], 0 or more; 1 where it is above 1.

    Returns
    -------
    tuple
        Index of the interval, and how far inside it [1].
    """
    place = min(share * INTERVALS, float(INTERVALS))
    interval = int(place)
    return interval, place - interval


@compiled
def rise_and_slope_k(
    c0: float, c1: float, c2: float, c3: float, inside: float
) -> tuple[float, float]:
    """Return the temperature rise inside an interval of a curve, and its slope.

    Parameters
    ----------
    c0
        Coefficient of the interval [K]. As numbers, since a loop that takes parts of an array
        spends most of its time on taking them.
    c1
        That of the place inside [K].
    c2
        That of its square [K].
    c3
        That of its cube [K].
    inside
        How far inside the interval [1].

    Returns
    -------
    tuple of float
        Rise above ambient [K] and its derivative by the share [K].
    """
    rise = ((c3 * inside + c2) * inside + c1) * inside + c0
    slope = INTERVALS * ((3.0 * c3 * inside + 2.0 * c2) * inside + c1)
    return rise, slope


@compiled
def rise_and_slope_on_curve_k(curve: Array, share: float) -> tuple[float, float]:
    """Return the temperature rise at a share of the cap current, and its slope.

    Parameters
    ----------
    curve
        One curve of a ``curve_table``, shape (intervals + 1, 4) [K].
    share
        Share of the cap current [1], 0 or more; 1 where it is above 1.

    Returns
    -------
    tuple of float
        Rise above ambient [K] and its derivative by the share [K], 0 from a share of 1 up.
    """
    interval, inside = place_on_curve(share)
    return rise_and_slope_k(
        curve[interval, 0], curve[interval, 1], curve[interval, 2], curve[interval, 3], inside
    )
