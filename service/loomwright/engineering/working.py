"""Steps of a working that a technician can follow by hand."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class WorkingStep:
    """One step: words, formula, the numbers put in, the result and where the formula is from.

    ``inputs`` holds values by symbol, each name ending in its unit.
    """

    text: str
    formula: str
    inputs: Mapping[str, float | str]
    result: float
    unit: str
    source: str


def seven_digits(value: float | npt.NDArray[np.float64]) -> float:
    """Return one value to seven significant digits, enough to follow a working by hand.

    Parameters
    ----------
    value
        One number.

    Returns
    -------
    float
        Rounded half to even in decimal.
    """
    return float(f"{float(value):.7g}")
