"""Intermittent duty of the lumped conductor."""

import numpy as np
import numpy.typing as npt

from loomwright.engineering.duty import heating_ratio_of_duty
from loomwright.engineering.transient import LumpedConductor, heat_loss_w_per_m

Array = npt.NDArray[np.float64]
Number = float | Array


def thermal_time_constant_s(
    conductor: LumpedConductor, conductor_temperature_k: float | None = None
) -> float:
    """Return the thermal time constant of the lump.

    The straight line from ambient through one temperature stands for the heat loss; the rise of
    resistance with temperature is left out, which gives the shorter constant and so the higher
    peak under intermittent duty.

    Parameters
    ----------
    conductor
        The conductor at its ambient.
    conductor_temperature_k
        Where the line is drawn [K], above ambient; the insulation rating if none.

    Returns
    -------
    float
        Time constant [s].

    Notes
    -----
    ``tau = C (T - Ta) / q(T)``.
    """
    at = (
        conductor.temperature_rating_k
        if conductor_temperature_k is None
        else conductor_temperature_k
    )
    rise = at - conductor.ambient_temperature_k
    return conductor.heat_capacity_j_per_mk * rise / float(heat_loss_w_per_m(conductor, at))


def peak_rise_ratio_of_duty(
    conductor: LumpedConductor, on_time_s: Number, off_time_s: Number
) -> Array:
    """Return the peak temperature rise of a cyclic load over that of the steady load.

    Parameters
    ----------
    conductor
        The conductor at its ambient.
    on_time_s
        Time under load in each cycle [s], above 0.
    off_time_s
        Time without load in each cycle [s], 0 or more.

    Returns
    -------
    ndarray
        Ratio [1], above 0 and at most 1.

    Notes
    -----
    ``(1 - exp(-on / tau)) / (1 - exp(-(on + off) / tau))``.
    """
    return heating_ratio_of_duty(on_time_s, off_time_s, thermal_time_constant_s(conductor))
