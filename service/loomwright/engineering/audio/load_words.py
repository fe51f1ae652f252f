"""The words behind the keys of a match of drivers to an amplifier."""

from collections.abc import Mapping
from types import MappingProxyType

VERDICTS: Mapping[str, str] = MappingProxyType(
    {
        "wiring_found": "within the limits of amplifier and drivers, with equal power in each"
        " driver and each of its coils; of such ways this one gives the greatest output",
        "unequal_wiring_found": "no way within the limits gives each driver and each of its coils"
        " equal power; of the others this one gives the greatest output",
        "drivers_overloaded": "every load that the amplifier may drive gives some driver more than"
        " its power limit at full output",
        "no_wiring_within_limits": "every way gives a load below the least that the amplifier may"
        " drive",
    }
)
WIRING_VERDICTS: Mapping[str, str] = MappingProxyType(
    {
        "within_limits": "load and drivers within their limits",
        "drivers_overloaded": "the load is within the amplifier's limit; at full output a driver"
        " takes more than its power limit",
        "load_too_low": "the load is below the least that the amplifier may drive",
    }
)
BASES: Mapping[str, str] = MappingProxyType(
    {
        "stated": "stated by the maker for this load",
        "interpolated": "between two stated loads, as of a source with an internal resistance",
        "voltage_held_above": "above the greatest stated load; the voltage stays what it is there",
        "voltage_held_below": "below the least stated load; the voltage stays what it is there at"
        " most",
    }
)
