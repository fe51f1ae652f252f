"""Intermittent duty of a conductor."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Number = float | Array


def heating_ratio_of_duty(on_time_s: Number, off_time_s: Number, time_constant_s: Number) -> Array:
    """Return the highest temperature rise of a cyclic load over that of the steady load.

    Lumped conductor with one time constant, cycles repeated until they are periodic.

    Parameters
    ----------
    on_time_s
        Time under load in each cycle [s], above 0.
    off_time_s
        Time without load in each cycle [s], 0 or more; 0 is a continuous load.
    time_constant_s
        Thermal time constant of the conductor [s], above 0.

    Returns
    -------
    ndarray
        Ratio [1], above 0 and at most 1. The square root of it turns the load current into the
        continuous current that heats as much.

    Notes
    -----
    ``(1 - exp(-t_on / tau)) / (1 - exp(-(t_on + t_off) / tau))``, the periodic solution of
    ``tau dx/dt = x_load - x``.
    """
    heating = -np.expm1(-np.asarray(on_time_s, float) / time_constant_s)
    cycle = -np.expm1(-(np.asarray(on_time_s, float) + off_time_s) / time_constant_s)
    return np.asarray(heating / cycle)
