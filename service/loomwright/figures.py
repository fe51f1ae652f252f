"""Figures as answers give them."""

import numpy as np
import numpy.typing as npt


def six_digits(value: float | npt.NDArray[np.float64] | None) -> float | None:
    """Return a value to six significant digits; no model here is worth more.

    Parameters
    ----------
    value
        One number in the unit that its name ends in, or none.

    Returns
    -------
    float or None
        Rounded half to even in decimal.
    """
    return None if value is None else float(f"{value:.6g}")
