"""Steps of a working that a technician can follow by hand."""

from collections.abc import Mapping
from dataclasses import dataclass


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
