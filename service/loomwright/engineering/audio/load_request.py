"""What a match of drivers to an amplifier is asked, and the checks on it."""

from dataclasses import dataclass
from string import ascii_lowercase, ascii_uppercase
from typing import NamedTuple

from loomwright.engineering.audio.driver_wiring import GREATEST_COIL_COUNT, DriverSort
from loomwright.engineering.audio.stated_output import StatedOutput
from loomwright.engineering.errors import EngineeringError

# Least and greatest value of each number, in the unit of its name.
LIMITS: dict[str, tuple[float, float]] = {
    "quantity": (1.0, float(GREATEST_COIL_COUNT)),
    "coils": (1.0, 4.0),
    "coil_impedance_ohm": (0.1, 1000.0),
    "coil_dc_resistance_ohm": (0.01, 1000.0),
    "power_limit_w": (0.1, 1e6),
    "least_load_impedance_ohm": (0.1, 1000.0),
    "least_bridged_load_impedance_ohm": (0.1, 1000.0),
    "channels": (1.0, 64.0),
    "load_impedance_ohm": (0.1, 1000.0),
    "power_w": (0.1, 1e6),
}
GREATEST_SORT_COUNT = len(ascii_uppercase)

# Common practice, no source: d.c. resistance of a cold coil over its nominal impedance, and how far
# a coil is from the resistance that its maker states.
DC_SHARE_LOW, DC_SHARE_HIGH = 0.7, 0.9
DC_TOLERANCE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadDriver:
    """Drivers that are alike.

    Parameters
    ----------
    quantity
        How many [1], 1 to 8.
    coils
        Voice coils of each, all alike [1], 1 to 4.
    coil_impedance_ohm
        Nominal impedance of one coil [ohm], 0.1 to 1000.
    coil_dc_resistance_ohm
        D.c. resistance of one coil [ohm], 0.01 to 1000, or none where it is not stated.
    power_limit_w
        Power that each driver bears for good with all its coils driven alike [W], 0.1 to 1e6, or
        none where it is not stated.
    """

    quantity: int
    coils: int
    coil_impedance_ohm: float
    coil_dc_resistance_ohm: float | None = None
    power_limit_w: float | None = None

    @property
    def sort(self) -> tuple[float | None, ...]:
        """What makes drivers alike: all but their number."""
        return (
            self.coils,
            self.coil_impedance_ohm,
            self.coil_dc_resistance_ohm,
            self.power_limit_w,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadMatchRequest:
    """Drivers and the amplifier that is to drive them.

    Parameters
    ----------
    drivers
        On one channel, or on one bridged pair; at least one.
    least_load_impedance_ohm
        Least that one channel may drive [ohm], 0.1 to 1000.
    least_bridged_load_impedance_ohm
        Least that a bridged pair may drive [ohm], 0.1 to 1000; twice that of a channel where it is
        not stated, since each channel sees half of the load.
    bridged
        Whether two channels in opposite phase drive the load.
    channels
        How many channels, or bridged pairs, drive such a set of drivers each [1], 1 to 64.
    outputs
        That the maker states, of one channel or bridged.
    coils_of_a_driver_together
        Whether the coils of each driver are wired with one another first.
    """

    drivers: tuple[LoadDriver, ...]
    least_load_impedance_ohm: float
    least_bridged_load_impedance_ohm: float | None = None
    bridged: bool = False
    channels: int = 1
    outputs: tuple[StatedOutput, ...] = ()
    coils_of_a_driver_together: bool = True


class Driver(NamedTuple):
    """One driver by name, with the places of its coils."""

    name: str
    entry: int
    coils: tuple[int, ...]
    of: LoadDriver


class Coil(NamedTuple):
    """One voice coil by name: impedance, cold d.c. resistance and power limit."""

    name: str
    impedance_ohm: float
    dc_resistance_low_ohm: float
    dc_resistance_high_ohm: float
    power_limit_w: float | None


def check_load_match_request(request: LoadMatchRequest) -> None:
    """Refuse a request that the model cannot answer.

    Parameters
    ----------
    request
        Any request.

    Raises
    ------
    EngineeringError
        ``out_of_range``, naming the field.
    """
    _check_range("drivers", len(request.drivers), (1.0, float(GREATEST_SORT_COUNT)))
    for place, driver in enumerate(request.drivers):
        for name in ("quantity", "coils", "coil_impedance_ohm"):
            _check_range(name, getattr(driver, name), LIMITS[name], f"drivers/{place}/")
        for name in ("coil_dc_resistance_ohm", "power_limit_w"):
            _check_stated(name, getattr(driver, name), f"drivers/{place}/")
    for place, output in enumerate(request.outputs):
        for name in ("load_impedance_ohm", "power_w"):
            _check_range(name, getattr(output, name), LIMITS[name], f"outputs/{place}/")
    for name in ("least_load_impedance_ohm", "least_bridged_load_impedance_ohm", "channels"):
        _check_stated(name, getattr(request, name))


def drivers_by_sort(request: LoadMatchRequest) -> tuple[tuple[DriverSort, ...], tuple[Driver, ...]]:
    """Return the drivers with their names, those alike side by side, and how many there are.

    A driver has the letter of its entry and its number in it, so that the third of the first entry
    is ``A3``.

    Parameters
    ----------
    request
        Checked.

    Returns
    -------
    tuple
        Sorts in the order of their first entries, and drivers in the order of the sorts.
    """
    by_sort: dict[tuple[float | None, ...], list[tuple[str, int, LoadDriver]]] = {}
    for entry, driver in enumerate(request.drivers):
        names = (f"{ascii_uppercase[entry]}{number + 1}" for number in range(driver.quantity))
        by_sort.setdefault(driver.sort, []).extend((name, entry, driver) for name in names)
    sorts = tuple(DriverSort(len(alike), alike[0][2].coils) for alike in by_sort.values())
    drivers: list[Driver] = []
    start = 0
    for name, entry, driver in (one for alike in by_sort.values() for one in alike):
        drivers.append(Driver(name, entry, tuple(range(start, start + driver.coils)), driver))
        start += driver.coils
    return sorts, tuple(drivers)


def coils_of(drivers: tuple[Driver, ...]) -> tuple[Coil, ...]:
    """Return the coils by place; one of several has a small letter behind its driver's name.

    Parameters
    ----------
    drivers
        From ``drivers_by_sort``.

    Returns
    -------
    tuple of Coil
        The power limit of a driver is shared by its coils alike.
    """
    coils = []
    for name, _, places, of in drivers:
        stated = of.coil_dc_resistance_ohm
        if stated is None:
            low, high = DC_SHARE_LOW * of.coil_impedance_ohm, DC_SHARE_HIGH * of.coil_impedance_ohm
        else:
            low, high = (1.0 - DC_TOLERANCE) * stated, (1.0 + DC_TOLERANCE) * stated
        limit = None if of.power_limit_w is None else of.power_limit_w / of.coils
        coils += [
            Coil(
                name + (ascii_lowercase[number] if len(places) > 1 else ""),
                of.coil_impedance_ohm,
                low,
                high,
                limit,
            )
            for number in range(len(places))
        ]
    return tuple(coils)


def least_load_of_request_ohm(request: LoadMatchRequest) -> float:
    """Return the least impedance that the load may have, bridged or not [ohm]."""
    if not request.bridged:
        return request.least_load_impedance_ohm
    stated = request.least_bridged_load_impedance_ohm
    return 2.0 * request.least_load_impedance_ohm if stated is None else stated


def _check_stated(name: str, value: float | None, above: str = "") -> None:
    if value is not None:
        _check_range(name, value, LIMITS[name], above)


def _check_range(name: str, value: float, limits: tuple[float, float], above: str = "") -> None:
    least, greatest = limits
    if not least <= value <= greatest:
        raise EngineeringError(
            "out_of_range",
            f"{name} lies outside {least:g} to {greatest:g}.",
            field=above + name,
            value=value,
            least=least,
            greatest=greatest,
        )
