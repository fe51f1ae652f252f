"""Fuse types in English words, by their keys: here alone, for texts of answers and documents."""

from collections.abc import Mapping
from types import MappingProxyType

from loomwright.marked import marked

# Names of the table of fuse types, without a range of ratings: the rating stands beside the type.
FUSE_TYPES: Mapping[str, str] = MappingProxyType(
    {
        "iso_8820_3_c": marked("medium blade (type C)"),
        "iso_8820_3_c_1_to_2_a": marked("medium blade (type C), 1 A and 2 A"),
        "iso_8820_3_e": marked("high-current blade (type E)"),
        "iso_8820_3_f": marked("miniature blade (type F)"),
        "iso_8820_4_a": marked("cartridge with female contacts (type A)"),
        "iso_8820_4_b": marked("cartridge with bolt-in contacts (type B)"),
        "iso_8820_5_sf30": marked("strip fuse SF30"),
        "iso_8820_5_sf51": marked("strip fuse SF51"),
        "iso_8820_6_single_bolt": marked("single-bolt fuse-link"),
        "sae_j1284": marked("blade fuse (regular)"),
        "sae_j1888": marked("high-current time-lag blade fuse"),
        "sae_j2077": marked("miniature blade fuse"),
    }
)


def fuse_standard(fuse_type: str) -> str:
    """Return the standard of a fuse type by its key, as ISO 8820-3, in every language alike."""
    body, number, part, *_ = (*fuse_type.split("_"), "")
    named = f"{number}-{part}" if body == "iso" else number.upper()
    return f"{body.upper()} {named}"


# As a text of an answer says a type: in words, with its standard.
FUSE_TYPE_TEXTS: Mapping[str, str] = MappingProxyType(
    {key: f"{name}, {fuse_standard(key)}" for key, name in FUSE_TYPES.items()}
)
