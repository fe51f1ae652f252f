"""Frozen records of the tables, in coherent SI units.

Records that serve as keys of a memo compare by identity (``eq=False``): each exists once.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple


@dataclass(frozen=True, slots=True)
class Source:
    """A publication that rows of a table were taken from."""

    key: str
    title: str
    edition: str
    publisher: str
    year: int
    licence: str


class Provenance(NamedTuple):
    """Where one row comes from and how it was checked.

    ``checked`` is ``page`` (seen on a stored page), ``formula`` (computed from the cited formula),
    ``memory`` (recalled, not seen) or ``practice`` (common practice, no source). Every answer
    gathers dozens, each once and in the order of their values: a tuple does both without a call.
    """

    source: str
    locator: str
    checked: str


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """A conductor metal."""

    key: str
    name: str
    resistivity_20c_ohm_m: float
    temperature_coefficient_20c_per_k: float
    volumetric_heat_capacity_j_per_m3k: float
    adiabatic_beta_k: float
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class Insulation:
    """An insulation compound with its temperature rating."""

    key: str
    name: str
    temperature_rating_k: float
    overload_temperature_k: float
    short_circuit_temperature_k: float
    thermal_resistivity_km_per_w: float
    volumetric_heat_capacity_j_per_m3k: float
    emissivity: float
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class ConductorSize:
    """One size of one conductor series.

    ``rank`` rises with the cross-section inside a series. ``temperature_coefficients_20c_per_k``
    holds those materials for which the series' standard prints its own coefficient.
    ``resistance_20c_ohm_per_m`` maps a material key to the resistance at 20 C that the series'
    own standard gives; for a material it does not list the resistance is computed from the
    cross-section.
    """

    key: str
    series: str
    rank: int
    cross_section_m2: float
    resistance_20c_ohm_per_m: Mapping[str, float]
    temperature_coefficients_20c_per_k: Mapping[str, float]
    conductor_diameter_m: float
    outside_diameter_m: float
    provenance: Provenance
    diameter_provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """A place in the vehicle where a conductor runs."""

    key: str
    name: str
    ambient_temperature_k: float
    engine_space: bool
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class AmpacityRow:
    """A published ampacity of one size at one insulation rating."""

    table: str
    size: str
    temperature_rating_k: float
    ampacity_a: float
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class RatingFactor:
    """A published factor on ampacity, by engine space or by number of bundled conductors."""

    table: str
    condition: str
    lower: float
    upper: float
    factor: float
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class StudTorque:
    """A published tightening torque of one size of thread.

    ``joint`` is ``terminal``, a conductor on the stud of a device, or ``bolt``, what a steel bolt
    of property class 8.8 bears.
    """

    joint: str
    stud: str
    diameter_m: float
    torque_n_m: float
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class OpeningTime:
    """Least and greatest opening time of a fuse at one multiple of its rated current."""

    current_multiple: float
    least_s: float | None
    greatest_s: float | None


@dataclass(frozen=True, slots=True, eq=False)
class FuseType:
    """A type of fuse-link with its standard ratings, limits and time-current points.

    ``ratings_a`` is rising. ``opening_times`` is rising in multiple; ``None`` means not limited.
    """

    key: str
    name: str
    standard: str
    ratings_a: tuple[float, ...]
    rated_voltages_v: tuple[float, ...]
    breaking_capacity_a: float
    mounting: str
    opening_times: tuple[OpeningTime, ...]
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class Air:
    """Dry air at 1 atm against temperature, rising in temperature."""

    temperature_k: tuple[float, ...]
    conductivity_w_per_mk: tuple[float, ...]
    kinematic_viscosity_m2_per_s: tuple[float, ...]
    prandtl: tuple[float, ...]
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class Tables:
    """Tables of conductors and heat, by key; made once when the process starts."""

    sources: Mapping[str, Source]
    materials: Mapping[str, Material]
    insulations: Mapping[str, Insulation]
    zones: Mapping[str, Zone]
    conductors: Mapping[str, ConductorSize]
    series: Mapping[str, tuple[ConductorSize, ...]]
    ampacities: tuple[AmpacityRow, ...]
    factors: tuple[RatingFactor, ...]
    torques: Mapping[tuple[str, str], StudTorque]
    air: Air
