"""Unit factors against UDUNITS-2, the units library of the geosciences, by ``cf-units``.

Both directions, over twelve decades. The tolerance is a few roundings of the result: the exact
definitions are the same (international foot and inch, Celsius from kelvin, Fahrenheit from
Celsius). Where there is an offset the sum rounds at the size of the offset, so 4 roundings of 460
are allowed besides.
"""

import numpy as np
import pytest
from cf_units import Unit

from loomwright.units import KINDS, QuantityKind
from second_opinions import Opinion, agrees, each_point_matters

COHERENT = {
    "length": "m",
    "current": "A",
    "voltage": "V",
    "power": "W",
    "resistance": "ohm",
    "impedance": "ohm",
    "temperature": "K",
    "time": "s",
    "charge": "C",
    "shaft_speed": "1/s",
}
# UDUNITS reads the other unit names as they are written here.
OTHER_NAMES = {
    "degC": "celsius",
    "degF": "fahrenheit",
    "ft": "international_foot",
    "in": "inch",
    "Ah": "ampere.hour",
    "mAh": "milliampere.hour",
    # That of UDUNITS is an angle by time.
    "rpm": "1/min",
}
MAGNITUDES = np.concatenate([-np.geomspace(1e6, 1e-6, 13), [0.0], np.geomspace(1e-6, 1e6, 13)])
ROUNDINGS = 4 * float(np.finfo(float).eps)
AT_THE_OFFSET = {"degC": 460 * ROUNDINGS, "degF": 460 * ROUNDINGS}
VANISHING = 1e-300  # zero is zero in every unit without an offset

EVERY_UNIT = [
    pytest.param(kind, unit, id=f"{key}-{unit}")
    for key, kind in KINDS.items()
    for unit in kind.units
]
EVERY_KIND = [pytest.param(kind, id=key) for key, kind in KINDS.items()]


def units_of(kind: QuantityKind, unit: str) -> tuple[Unit, Unit]:
    """Return a unit of ours and the coherent one of its kind, as UDUNITS reads them."""
    return Unit(OTHER_NAMES.get(unit, unit)), Unit(COHERENT[kind.key])


def text_to_si(kind: QuantityKind, unit: str) -> Opinion:
    theirs, coherent = units_of(kind, unit)
    read = [kind.si_of_text(f"{float(number)!r} {unit}") for number in MAGNITUDES]
    return (
        np.array(read, float),
        theirs.convert(MAGNITUDES, coherent),
        ROUNDINGS,
        AT_THE_OFFSET.get(unit, VANISHING),
    )


def si_to_unit_and_back(kind: QuantityKind, unit: str) -> Opinion:
    """UDUNITS goes from SI to the unit, ours comes back; what is expected is the start."""
    theirs, coherent = units_of(kind, unit)
    numbers = coherent.convert(MAGNITUDES, theirs)
    back = [kind.si_of_text(f"{float(number)!r} {unit}") for number in numbers]
    return np.array(back, float), MAGNITUDES, ROUNDINGS, AT_THE_OFFSET.get(unit, VANISHING)


def number_to_si(kind: QuantityKind) -> Opinion:
    theirs, coherent = units_of(kind, kind.stated_unit)
    ours = np.array([kind.si_of_number(float(number)) for number in MAGNITUDES])
    absolute = AT_THE_OFFSET.get(kind.stated_unit, VANISHING)
    return ours, theirs.convert(MAGNITUDES, coherent), ROUNDINGS, absolute


def si_to_number(kind: QuantityKind) -> Opinion:
    theirs, coherent = units_of(kind, kind.stated_unit)
    ours = np.array([kind.number_of_si(float(value)) for value in MAGNITUDES])
    absolute = AT_THE_OFFSET.get(kind.stated_unit, VANISHING)
    return ours, coherent.convert(MAGNITUDES, theirs), ROUNDINGS, absolute


@pytest.mark.parametrize(("kind", "unit"), EVERY_UNIT)
def test_text_in_every_unit_is_converted_alike(kind: QuantityKind, unit: str) -> None:
    assert agrees(*text_to_si(kind, unit))
    assert agrees(*si_to_unit_and_back(kind, unit))


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_numbers_in_the_stated_unit_are_converted_alike(kind: QuantityKind) -> None:
    assert agrees(*number_to_si(kind))
    assert agrees(*si_to_number(kind))


@pytest.mark.parametrize(("kind", "unit"), EVERY_UNIT)
def test_a_factor_just_outside_the_tolerance_is_refused(kind: QuantityKind, unit: str) -> None:
    # A figure of which 1.05 tolerances are not a whole number of its last places is rounded to
    # the next place, so three tolerances are pushed; the sixteenth digit is still what is seen.
    ours, theirs, relative, absolute = text_to_si(kind, unit)
    assert each_point_matters(ours, theirs, relative, absolute, push=3.0)


def test_a_confused_offset_or_foot_is_refused() -> None:
    """273 for 273.15, and the US survey foot, 2e-6 longer, are the likely mistakes."""
    ours, theirs, relative, absolute = text_to_si(KINDS["temperature"], "degC")
    assert not agrees(ours - 0.15, theirs, relative, absolute)
    survey = Unit("US_survey_foot").convert(MAGNITUDES, Unit("m"))
    assert not agrees(text_to_si(KINDS["length"], "ft")[0], survey, relative, VANISHING)
