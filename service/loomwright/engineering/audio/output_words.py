"""The words behind the keys of an output estimate."""

from collections.abc import Mapping
from types import MappingProxyType

BOUNDS: Mapping[str, str] = MappingProxyType(
    {
        "fuse_and_efficiency": "the fuse rating, the supply voltage and the efficiency of the"
        " class end it",
        "supply_and_efficiency": "the source and its route cannot deliver the current of the fuse;"
        " their greatest power and the efficiency end it",
        "rail_voltage": "without a step-up converter the supply voltage into the load impedance"
        " ends it",
        "claim": "the maker claims no more",
    }
)
BOUND_PREMISES: Mapping[str, str] = MappingProxyType(
    {
        "low": "low end of the efficiency band, a fuse loaded to half its rating and a lossy"
        " output stage",
        "likely": "middle of the efficiency band, a fuse loaded as makers usually load it and a"
        " usual output stage (common practice, no source)",
        "high": "sustained sine at the full fuse rating, high end of the efficiency band, a good"
        " output stage",
    }
)
BURST_BOUNDS: Mapping[str, str] = MappingProxyType(
    {
        "fuse_burst": "bursts shorter than 0.15 s at twice the fuse rating, which the quickest"
        " blade fuse still carries",
        "fuse_average": "the average current on the programme reaches the fuse rating",
        "rail_voltage": BOUNDS["rail_voltage"],
    }
)
VERDICTS: Mapping[str, str] = MappingProxyType(
    {
        "plausible": "the claim lies within what the equipment can sustain on a sine",
        "doubtful": "the claim needs more than the usual best efficiency or the full tolerated"
        " overload of the fuse",
        "impossible": "the claim as sustained sine power exceeds the fuse at 110 % with the"
        " theoretical efficiency, or the lossless rail",
    }
)
RERATINGS: Mapping[str, str] = MappingProxyType(
    {
        "square_of_supply_voltage": "the rail follows the supply, so output follows its square",
        "none_regulated": "a regulated converter holds the rail, so the supply changes nothing",
    }
)
CTA_2006_BOUNDS: Mapping[str, str] = MappingProxyType(
    {
        "rail_voltage": "the likely output re-rated to 14.4 V and 4 ohm at the same clipping",
        "fuse_and_efficiency": BOUNDS["fuse_and_efficiency"],
    }
)


def bound_reason(bound: str, key: str) -> str:
    """Return the reason for one bound of an estimate in one sentence.

    Parameters
    ----------
    bound
        ``low``, ``likely`` or ``high``.
    key
        A key of ``BOUNDS``.

    Returns
    -------
    str
        What ends the bound, and on which premise.
    """
    return f"{BOUNDS[key][0].upper()}{BOUNDS[key][1:]}. Premise: {BOUND_PREMISES[bound]}."
