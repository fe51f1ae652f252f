"""Conductor temperature against current as a curve, made once for a conductor and an ambient.

The heat balance is solved on a grid of currents up to the cap of the model, and between the grid's
points a cubic takes the temperature and its slope from both ends (Hermite). It is within 0.005 K
of the solved balance everywhere, far below what the air table is worth, and costs a tenth of
solving again; a test holds it to that.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

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


@dataclass(frozen=True, slots=True, eq=False)
class CurveTable:
    """Curves of many conductors as one table, ready to be looked up at once.

    ``coefficients`` has one column for each interval of each curve, and one more at each curve's
    end, where the rise stays that of the cap. Rows 0 to 3 are the coefficients of the rise, rows 4
    to 6 those of its derivative by the share, rising in power of the place inside the interval [K].
    ``first`` is the first column of each curve, in the shape that shares are given in.
    """

    coefficients: Array
    first: npt.NDArray[np.intp]


def curve_table(curves: Array) -> CurveTable:
    """Return curves as a table.

    Parameters
    ----------
    curves
        Coefficients, shape (..., intervals, 4).

    Returns
    -------
    CurveTable
        For shares of shape (...).
    """
    shape = curves.shape[:-2]
    first = (np.arange(np.prod(shape)) * (INTERVALS + 1)).reshape(shape)
    c0, c1, c2, c3 = np.moveaxis(curves, -1, 0)
    ends = np.zeros((*shape, 1, 4))
    ends[..., 0] = (((c3 + c2) + c1) + c0)[..., -1:]
    c0, c1, c2, c3 = np.moveaxis(np.concatenate([curves, ends], axis=-2), -1, 0)
    rows = [c0, c1, c2, c3, INTERVALS * c1, 2.0 * INTERVALS * c2, 3.0 * INTERVALS * c3]
    return CurveTable(coefficients=np.stack([row.ravel() for row in rows]), first=first)


def rise_on_curve_k(table: CurveTable, share: Array) -> Array:
    """Return the temperature rise at shares of the cap current.

    Parameters
    ----------
    table
        The curves.
    share
        Share of the cap current [1]; 1 where it is above 1.

    Returns
    -------
    ndarray
        Rise above ambient [K].
    """
    inside, coefficients = _place(table, share)
    return _rise(inside, coefficients)


def rise_and_slope_on_curve_k(table: CurveTable, share: Array) -> tuple[Array, Array]:
    """Return the temperature rise at shares of the cap current, and its slope.

    Parameters
    ----------
    table
        The curves.
    share
        Share of the cap current [1]; 1 where it is above 1.

    Returns
    -------
    tuple of ndarray
        Rise above ambient [K] and its derivative by the share [K], 0 from a share of 1 up.
    """
    inside, coefficients = _place(table, share)
    slope = inside * coefficients[6]
    slope += coefficients[5]
    slope *= inside
    slope += coefficients[4]
    return _rise(inside, coefficients), slope


def _rise(inside: Array, coefficients: Array) -> Array:
    rise: Array = inside * coefficients[3]
    rise += coefficients[2]
    rise *= inside
    rise += coefficients[1]
    rise *= inside
    rise += coefficients[0]
    return rise


def _place(table: CurveTable, share: Array) -> tuple[Array, Array]:
    """Return the place inside its interval [1] and the interval's coefficients."""
    inside = share * INTERVALS
    np.minimum(inside, INTERVALS, out=inside)
    interval = inside.astype(np.intp)
    inside -= interval
    interval += table.first
    return inside, table.coefficients.take(interval, axis=1)
