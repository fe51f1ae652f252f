"""Frozen records of the tables about amplifiers and programmes."""

from collections.abc import Mapping
from dataclasses import dataclass

from loomwright.tables.records import Provenance


@dataclass(frozen=True, slots=True)
class EfficiencyBand:
    """Least and greatest usual efficiency of a class at full sine output, as fractions of 1."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class AmplifierClass:
    """An amplifier class: its efficiency, and how its draw follows the drive level.

    A band of ``None`` means that the efficiency has to be measured. ``delivers_from_supply`` is
    true for a switching stage, which takes the load's power itself from the supply, and false for
    a linear stage, whose draw follows the output current. ``provenance`` covers the efficiencies,
    ``practice_provenance`` the idle share, the loss split, fuse loading and rail utilisation.
    """

    key: str
    name: str
    theoretical_efficiency: float
    efficiency: EfficiencyBand | None
    efficiency_with_converter: EfficiencyBand | None
    delivers_from_supply: bool
    idle_share: float
    square_root_share: float
    fuse_loading_low: float
    fuse_loading_likely: float
    rail_utilisation_low: float
    rail_utilisation_likely: float
    rail_utilisation_high: float
    provenance: Provenance
    practice_provenance: Provenance


@dataclass(frozen=True, slots=True)
class Programme:
    """A kind of signal with its crest factor: the value used, and the range found."""

    key: str
    name: str
    crest_factor_db: float
    crest_factor_low_db: float
    crest_factor_high_db: float
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class AudioTables:
    """Amplifier classes and programmes by key."""

    amplifier_classes: Mapping[str, AmplifierClass]
    programmes: Mapping[str, Programme]
