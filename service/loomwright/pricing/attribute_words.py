"""What a part must be, in words: the attributes of a need as the texts of a bill tell them."""

from collections.abc import Mapping
from types import MappingProxyType

from loomwright.pricing.kinds import KINDS, Attribute
from loomwright.pricing.lines import plain_number
from loomwright.tables.conductor_words import INSULATIONS, MATERIALS, SERIES
from loomwright.tables.fuse_words import FUSE_TYPE_TEXTS

# Attributes whose values are keys of ours; all others are told as they are stated.
_VALUES: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "fuse_type": FUSE_TYPE_TEXTS,
        "insulation": INSULATIONS,
        "material": MATERIALS,
        "place": {name: kind.words for name, kind in KINDS.items()},
        "series": SERIES,
    }
)
# What the name of a number may end in, and the sign of that unit.
_UNITS: Mapping[str, str] = MappingProxyType({"a": "A", "m": "m", "mm": "mm", "mm2": "mm2"})


def in_words(key: str) -> str:
    """Return a key of several words as they are read, such as ``"fuse holder"``."""
    return key.replace("_", " ")


def attribute_text(name: str, value: Attribute) -> str:
    """Return one attribute of a need in words.

    Parameters
    ----------
    name
        Of the attribute; that of a number ends in its unit.
    value
        Text or number.

    Returns
    -------
    str
        Such as ``"rating 30 A"`` or ``"insulation PVC rated 105 C"``.
    """
    if isinstance(value, str):
        return f"{in_words(name)} {_VALUES.get(name, {}).get(value, value)}"
    words, _, unit = name.rpartition("_")
    if unit not in _UNITS:
        return f"{in_words(name)} {plain_number(value)}"
    return f"{in_words(words)} {plain_number(value)} {_UNITS[unit]}"
