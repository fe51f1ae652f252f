"""The only module that knows Pint: factors of the accepted units, read once at start.

A request quantity is a number in the stated unit, or ``"<number> <unit>"`` with the unit from the
closed list of that quantity. Free text never reaches a unit parser: ``1 mb`` would be a millibar.
"""

import re
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType

import pint

NUMBER_PATTERN = r"[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
# Longest text that is looked at as a quantity.
GREATEST_TEXT_LENGTH = 40
# Decimal, so that a foot is 0.3048 m and not its neighbour.
_REGISTRY: pint.UnitRegistry[Decimal] = pint.UnitRegistry(cache_folder=None, non_int_type=Decimal)


@dataclass(frozen=True)
class QuantityKind:
    """A physical quantity with its stated unit and the closed list of accepted units.

    ``scale`` and ``offset`` turn a number in a unit into coherent SI:
    ``si = number * scale + offset``.
    """

    key: str
    stated_unit: str
    units: tuple[str, ...]
    _scales: MappingProxyType[str, tuple[float, float]] = field(repr=False)
    _matcher: re.Pattern[str] = field(repr=False)

    @property
    def pattern(self) -> str:
        """ECMA 262 pattern of the string form, for clients to check before calling."""
        alternatives = "|".join(re.escape(unit) for unit in self.units)
        return f"^{NUMBER_PATTERN} ?(?:{alternatives})$"

    @property
    def line_of_number(self) -> tuple[float, float]:
        """Scale and offset of a number in the stated unit."""
        return self._scales[self.stated_unit]

    def si_of_number(self, value: float) -> float:
        """Return a number in the stated unit in coherent SI.

        Parameters
        ----------
        value
            In the stated unit.

        Returns
        -------
        float
            In coherent SI.
        """
        scale, offset = self._scales[self.stated_unit]
        return value * scale + offset

    def si_of_text(self, text: str) -> float | None:
        """Return ``"<number> <unit>"`` in coherent SI, or none where it is not of that form.

        Parameters
        ----------
        text
            Number, one optional space, unit from the closed list.

        Returns
        -------
        float or None
            In coherent SI; may be infinite where the number overflows.
        """
        match = self._matcher.fullmatch(text)
        if match is None:
            return None
        scale, offset = self._scales[match[2]]
        return float(match[1]) * scale + offset

    def number_in(self, unit: str, value: float) -> float:
        """Return a coherent SI value in one of the accepted units.

        Parameters
        ----------
        unit
            One of ``units``.
        value
            In coherent SI.

        Returns
        -------
        float
            In that unit.
        """
        scale, offset = self._scales[unit]
        return (value - offset) / scale

    def number_of_si(self, value: float) -> float:
        """Return a coherent SI value in the stated unit.

        Parameters
        ----------
        value
            In coherent SI.

        Returns
        -------
        float
            In the stated unit.
        """
        scale, offset = self._scales[self.stated_unit]
        return (value - offset) / scale


def _kind(key: str, coherent: str, stated: str, units: dict[str, str]) -> QuantityKind:
    scales = {}
    for unit, name in units.items():
        zero = _REGISTRY.Quantity(Decimal(0), name).to(coherent).magnitude
        one = _REGISTRY.Quantity(Decimal(1), name).to(coherent).magnitude
        scales[unit] = (float(one - zero), float(zero))
    alternatives = "|".join(re.escape(unit) for unit in units)
    return QuantityKind(
        key=key,
        stated_unit=stated,
        units=tuple(units),
        _scales=MappingProxyType(scales),
        _matcher=re.compile(f"({NUMBER_PATTERN}) ?({alternatives})"),
    )


LENGTH = _kind(
    "length",
    "metre",
    "m",
    {"m": "metre", "cm": "centimetre", "mm": "millimetre", "ft": "foot", "in": "inch"},
)
CURRENT = _kind("current", "ampere", "A", {"A": "ampere", "mA": "milliampere"})
VOLTAGE = _kind("voltage", "volt", "V", {"V": "volt", "mV": "millivolt"})
POWER = _kind("power", "watt", "W", {"W": "watt", "mW": "milliwatt", "kW": "kilowatt"})
RESISTANCE = _kind("resistance", "ohm", "ohm", {"ohm": "ohm", "mohm": "milliohm"})
IMPEDANCE = _kind("impedance", "ohm", "ohm", {"ohm": "ohm"})
TEMPERATURE = _kind(
    "temperature",
    "kelvin",
    "degC",
    {"degC": "degC", "degF": "degF", "K": "kelvin"},
)
TIME = _kind(
    "time", "second", "s", {"s": "second", "ms": "millisecond", "min": "minute", "h": "hour"}
)
CHARGE = _kind("charge", "coulomb", "Ah", {"Ah": "ampere * hour", "mAh": "milliampere * hour"})
# A revolution is a count here and no angle: 60 rpm are 1/s, not 6.28 rad/s.
SHAFT_SPEED = _kind("shaft_speed", "1 / second", "rpm", {"rpm": "1 / minute"})
# Of documents for people alone; no request states one.
TORQUE = _kind(
    "torque",
    "newton * metre",
    "N m",
    {"N m": "newton * metre", "lbf in": "force_pound * inch", "lbf ft": "force_pound * foot"},
)

KINDS = MappingProxyType(
    {
        kind.key: kind
        for kind in (
            LENGTH,
            CURRENT,
            VOLTAGE,
            POWER,
            RESISTANCE,
            IMPEDANCE,
            TEMPERATURE,
            TIME,
            CHARGE,
            SHAFT_SPEED,
        )
    }
)


def quantity_text(quantity: str, text: str) -> float | None:
    """Return the number in the stated unit that a text means, or none where it means none.

    Parameters
    ----------
    quantity
        Key of the quantity.
    text
        Such as ``"16 ft"``.

    Returns
    -------
    float or None
        In the stated unit of the quantity.
    """
    if len(text) > GREATEST_TEXT_LENGTH:
        return None
    kind = KINDS[quantity]
    si = kind.si_of_text(text)
    return None if si is None else kind.number_of_si(si)
