"""Axes as functions from a value to a place in the picture and back, with their ticks."""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.drawings.lettering import MINUS, engineering_figure, three_digits

Array = npt.NDArray[np.float64]

# px of CSS.
_LEAST_MINOR_PX = 3.0


class Tick(NamedTuple):
    """A tick of an axis: its value, its label, empty where it has none, and whether it is minor."""

    value: float
    label: str
    is_minor: bool


@dataclass(frozen=True, slots=True)
class LinearScale:
    """An axis on which equal differences are equally long.

    Parameters
    ----------
    low, high
        Values at its ends, of which the second is greater.
    start, end
        Places of the ends [px].
    """

    low: float
    high: float
    start: float
    end: float

    def place(self, value: float) -> float:
        """Return the place of a value [px]."""
        return self.start + (value - self.low) * (self.end - self.start) / (self.high - self.low)

    def places(self, values: Array) -> Array:
        """Return the places of values [px]."""
        factor = (self.end - self.start) / (self.high - self.low)
        return np.asarray(self.start + (values - self.low) * factor)

    def value_at(self, place: float) -> float:
        """Return the value at a place."""
        return self.low + (place - self.start) * (self.high - self.low) / (self.end - self.start)

    def ticks(self, label_px: float) -> list[Tick]:
        """Return ticks at steps of 1, 2 or 5, with minor ones between.

        Parameters
        ----------
        label_px
            Room that a label takes along the axis [px].

        Returns
        -------
        list of Tick
            From low to high.
        """
        most = max(1.0, abs(self.end - self.start) / label_px)
        step = step_at_least((self.high - self.low) / most)
        mantissa = round(step / 10.0 ** math.floor(math.log10(step) + 1e-9))
        parts = 4 if mantissa == 2 else 5
        if abs(self.place(step) - self.place(0.0)) / parts < _LEAST_MINOR_PX:
            parts = 1
        first = math.ceil(self.low / step * parts - 1e-6)
        last = math.floor(self.high / step * parts + 1e-6)
        return [
            Tick(
                number * step / parts,
                "" if number % parts else three_digits_of_step(number // parts, step),
                bool(number % parts),
            )
            for number in range(first, last + 1)
        ]


@dataclass(frozen=True, slots=True)
class LogScale:
    """An axis on which equal ratios are equally long.

    Parameters
    ----------
    low, high
        Values at its ends, above 0, of which the second is greater.
    start, end
        Places of the ends [px].
    """

    low: float
    high: float
    start: float
    end: float

    @property
    def decade_px(self) -> float:
        """Length of a decade [px]."""
        return abs(self.end - self.start) / math.log10(self.high / self.low)

    def place(self, value: float) -> float:
        """Return the place of a value above 0 [px]."""
        share = math.log(value / self.low) / math.log(self.high / self.low)
        return self.start + share * (self.end - self.start)

    def places(self, values: Array) -> Array:
        """Return the places of values above 0 [px]."""
        factor = (self.end - self.start) / math.log(self.high / self.low)
        return np.asarray(self.start + np.log(values / self.low) * factor)

    def value_at(self, place: float) -> float:
        """Return the value at a place."""
        share = (place - self.start) / (self.end - self.start)
        return float(self.low * (self.high / self.low) ** share)

    def ticks(self, label_px: float) -> list[Tick]:
        """Return a tick at each decade, and minor ones between where there is room.

        Where decades are few, 2 and 5 have labels as well; where they are many, not each has one.

        Parameters
        ----------
        label_px
            Room that a label takes along the axis [px].

        Returns
        -------
        list of Tick
            From low to high.
        """
        decade_px = self.decade_px
        every = max(1, math.ceil(label_px / decade_px))
        # The least distance is that from 1 to 2, or from 5 to 10.
        labelled = (1, 2, 5) if decade_px * math.log10(2.0) >= label_px else (1,)
        # The least distance is that from 9 to 10.
        minor = range(1, 10) if decade_px * math.log10(10.0 / 9.0) >= 1.2 else (1,)
        found = []
        first, last = math.floor(math.log10(self.low)), math.ceil(math.log10(self.high))
        for power in range(first, last + 1):
            for digit in minor:
                # Of the text, so that 0.3 is no 0.30000000000000004.
                value = float(f"{digit}e{power}")
                if not self.low * (1.0 - 1e-9) <= value <= self.high * (1.0 + 1e-9):
                    continue
                has_label = digit in labelled and not (digit == 1 and power % every)
                label = " ".join(engineering_figure(value)).strip() if has_label else ""
                found.append(Tick(value, label, digit != 1))
        return found


Scale = LinearScale | LogScale


def step_at_least(value: float) -> float:
    """Return the least of 1, 2 and 5 times a power of ten that is not below a value above 0."""
    power = math.floor(math.log10(value))
    for mantissa in (1, 2, 5):
        step = float(f"{mantissa}e{power}")
        if step >= value * (1.0 - 1e-9):
            return step
    return float(f"1e{power + 1}")


def three_digits_of_step(number: int, step: float) -> str:
    """Return the label of a multiple of a step; all of one axis have the same digits behind it."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    value = number * step
    if decimals > 4 or abs(value) >= 10_000.0:
        return " ".join(engineering_figure(value)).strip()
    return f"{value:.{decimals}f}".replace("-", MINUS) if value else three_digits(0.0)


def log_window(values: list[float], below: float, above: float) -> tuple[float, float]:
    """Return the ends of a logarithmic axis that shows some values with a margin.

    Parameters
    ----------
    values
        Any numbers; those that are not above 0 and finite do not count.
    below
        Factor of the margin at the low end [1], above 1.
    above
        That at the high end [1], above 1.

    Returns
    -------
    tuple of float
        Low and high, a decade apart at least; those of 1 where no value counts.
    """
    counted = [value for value in values if 0.0 < value < math.inf] or [1.0]
    low, high = min(counted) / below, max(counted) * above
    if high < 10.0 * low:
        middle = math.sqrt(low * high)
        low, high = middle / math.sqrt(10.0), middle * math.sqrt(10.0)
    return low, high
