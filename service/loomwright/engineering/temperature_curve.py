"""Conductor temperature against current as a curve, made once for a conductor and an ambient.

The heat balance is solved on a grid of currents up to the cap of the model, and between the grid's
points a cubic takes the temperature and its slope from both ends (Hermite). It is within 0.001 K
of the solved balance everywhere, far below what the air table is worth, and costs a tenth of
solving again; a test holds it to that.
"""

import numpy as np
import numpy.typing as npt

from loomwright.engineering.heat import InsulatedConductor, heat_balance, steady_temperature
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


def rise_on_curve_k(curve: Array, share: Array) -> tuple[Array, Array]:
    """Return the temperature rise at shares of the cap current, and its slope.

    Parameters
    ----------
    curve
        Coefficients, shape (..., intervals, 4).
    share
        Share of the cap current [1], shape (...); 1 where it is above 1.

    Returns
    -------
    tuple of ndarray
        Rise above ambient [K] and its derivative by the share [K]; the derivative is 0 above 1.
    """
    place = np.minimum(share, 1.0) * INTERVALS
    interval = np.minimum(place.astype(np.intp), INTERVALS - 1)
    inside = place - interval
    first = np.arange(0, interval.size * INTERVALS, INTERVALS).reshape(interval.shape)
    rows = curve.reshape(-1, 4).take(first + interval, axis=0)
    c0, c1, c2, c3 = rows[..., 0], rows[..., 1], rows[..., 2], rows[..., 3]
    rise = c0 + inside * (c1 + inside * (c2 + inside * c3))
    slope = (c1 + inside * (2.0 * c2 + 3.0 * inside * c3)) * INTERVALS
    return rise, np.where(share < 1.0, slope, 0.0)
