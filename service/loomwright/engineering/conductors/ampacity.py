"""Ampacity of all sizes of a series at one ambient: heat balance beside the published tables.

What depends only on series, metal, insulation and ambient is kept in bounded memos, because the
same few combinations serve most requests.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.heat import (
    InsulatedConductor,
    heat_flow_w_per_m,
    insulation_resistance_km_per_w,
)
from loomwright.engineering.conductors.resistance import (
    resistance_20c_ohm_per_m,
    resistance_at_temperature_ohm_per_m,
    temperature_coefficient_20c_per_k,
)
from loomwright.engineering.conductors.temperature_curve import temperature_curve
from loomwright.tables.records import ConductorSize, Insulation, Material, RatingFactor, Tables

Array = npt.NDArray[np.float64]

TEMPERATURE_CAP_K = 523.15
PUBLISHED_REFERENCE_AMBIENT_K = 303.15
TABULATED_METALS = ("copper", "tinned_copper")
PUBLISHED_TABLE_BY_SERIES = {
    "awg": "cfr_33_183_425",
    "sae": "cfr_33_183_425",
    "metric": "iso_10133",
    "iso_6722": "iso_10133",
}


@dataclass(frozen=True, slots=True, eq=False)
class SeriesProperties:
    """Arrays over the sizes of one series in one metal and insulation, rising in size."""

    sizes: tuple[ConductorSize, ...]
    material: Material
    insulation: Insulation
    cross_section_m2: Array
    conductor: InsulatedConductor
    heat_capacity_j_per_mk: Array


@dataclass(frozen=True, slots=True, eq=False)
class AmbientLimits:
    """What a series can carry at one ambient, arrays over its sizes.

    ``published_ampacity_a`` is NaN where no table covers the size. ``temperature_curve`` is that of
    ``temperature_curve.temperature_curve``, on shares of ``cap_current_a``.
    """

    ampacity_a: Array
    cap_current_a: Array
    temperature_curve: Array
    time_constant_s: Array
    published_ampacity_a: Array


@lru_cache(maxsize=256)
def series_properties(
    sizes: tuple[ConductorSize, ...], material: Material, insulation: Insulation, copper: Material
) -> SeriesProperties:
    """Return the arrays of a series.

    Parameters
    ----------
    sizes
        Sizes of one series, rising.
    material
        Metal of the conductor.
    insulation
        Its insulation.
    copper
        Record of bare copper, the base of the resistance of clad metals.

    Returns
    -------
    SeriesProperties
        Resistances [ohm/m], sections [m2], heat capacity [J/(m K)].
    """
    section = np.array([size.cross_section_m2 for size in sizes])
    inner = np.array([size.conductor_diameter_m for size in sizes])
    outer = np.array([size.outside_diameter_m for size in sizes])
    return SeriesProperties(
        sizes=sizes,
        material=material,
        insulation=insulation,
        cross_section_m2=section,
        conductor=InsulatedConductor(
            outside_diameter_m=outer,
            insulation_resistance_km_per_w=insulation_resistance_km_per_w(
                inner, outer, insulation.thermal_resistivity_km_per_w
            ),
            emissivity=insulation.emissivity,
            resistance_20c_ohm_per_m=np.array(
                [resistance_20c_ohm_per_m(size, material, copper) for size in sizes]
            ),
            temperature_coefficient_20c_per_k=np.array(
                [temperature_coefficient_20c_per_k(size, material) for size in sizes]
            ),
        ),
        heat_capacity_j_per_mk=section * material.volumetric_heat_capacity_j_per_m3k,
    )


@lru_cache(maxsize=1024)
def ambient_limits(
    properties: SeriesProperties, ambient_temperature_k: float, engine_space: bool, tables: Tables
) -> AmbientLimits:
    """Return what each size of a series carries continuously at one ambient, alone.

    Parameters
    ----------
    properties
        Of the series.
    ambient_temperature_k
        Ambient [K], below the insulation rating.
    engine_space
        Whether the published engine-space factor applies.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    AmbientLimits
        Currents [A], time constant [s], temperature curve [K].

    Notes
    -----
    The time constant is that of the straight line through the rating: heat capacity times rise over
    heat flow, with the metal alone counted as heat capacity, which errs to the safe side.
    """
    rating = properties.insulation.temperature_rating_k
    conductor, air = properties.conductor, tables.air
    # Rating and cap are solved as the two rows of one array.
    wanted = np.array([[rating], [TEMPERATURE_CAP_K]])
    flow = heat_flow_w_per_m(wanted, ambient_temperature_k, conductor, air)
    resistance = resistance_at_temperature_ohm_per_m(
        conductor.resistance_20c_ohm_per_m, conductor.temperature_coefficient_20c_per_k, wanted
    )
    ampacity, cap = np.sqrt(flow / resistance)
    factor = published_ambient_factor(properties, ambient_temperature_k, engine_space, tables)
    return AmbientLimits(
        ampacity_a=ampacity,
        cap_current_a=cap,
        temperature_curve=temperature_curve(conductor, cap, ambient_temperature_k, air),
        time_constant_s=properties.heat_capacity_j_per_mk
        * (rating - ambient_temperature_k)
        / flow[0],
        published_ampacity_a=factor * _published_ampacity_a(properties, tables),
    )


@lru_cache(maxsize=256)
def _published_ampacity_a(properties: SeriesProperties, tables: Tables) -> Array:
    """Return the tabulated ampacity of each size at 30 C in copper, NaN where none covers it.

    The column is the greatest insulation rating not above the conductor's; the row is the size
    itself or, for a size between rows, the next thinner one: never a figure that the table grants
    only to more.
    """
    series = properties.sizes[0].series
    table = PUBLISHED_TABLE_BY_SERIES[series]
    rating = properties.insulation.temperature_rating_k
    rows = [row for row in tables.ampacities if row.table == table]
    columns = [row.temperature_rating_k for row in rows if row.temperature_rating_k <= rating]
    if not columns or properties.material.key not in TABULATED_METALS:
        return np.full(len(properties.sizes), np.nan)
    column = max(columns)
    by_size = {row.size: row.ampacity_a for row in rows if row.temperature_rating_k == column}
    found = []
    last = np.nan
    for size in properties.sizes:
        last = by_size.get(_row_of_size(size), last)
        found.append(last)
    return np.array(found)


def _row_of_size(size: ConductorSize) -> str:
    """Return the size as the published table prints it: '8', '1/0', '2.5'."""
    return (
        size.key.removesuffix(" AWG").removesuffix(" mm2").removeprefix("SAE ").removeprefix("ISO ")
    )


def published_ambient_factor(
    properties: SeriesProperties, ambient_temperature_k: float, engine_space: bool, tables: Tables
) -> float:
    """Return the factor on a published ampacity for an ambient other than 30 C.

    Parameters
    ----------
    properties
        Of the series; its insulation rating selects the engine-space factor.
    ambient_temperature_k
        Ambient [K].
    engine_space
        Whether the tabulated engine-space factor applies as well.
    tables
        Published factors.

    Returns
    -------
    float
        Factor [1], 0 to 1: never raised above 1 for a cooler ambient.

    References
    ----------
    IEC 60364-5-52 Table B.52.14, which is ``sqrt((rating - ambient) / (rating - 30 C))`` within
    1 %; 33 CFR 183.425 Table 5 note 1 for engine spaces. The smaller of both governs.
    """
    rating = properties.insulation.temperature_rating_k
    ratio = (rating - ambient_temperature_k) / (rating - PUBLISHED_REFERENCE_AMBIENT_K)
    factor = min(1.0, math.sqrt(max(0.0, ratio)))
    if engine_space:
        table = PUBLISHED_TABLE_BY_SERIES[properties.sizes[0].series]
        factor = min(factor, engine_space_factor(tables.factors, table, rating))
    return factor


def engine_space_factor(
    factors: tuple[RatingFactor, ...], table: str, temperature_rating_k: float
) -> float:
    """Return the tabulated engine-space factor for an insulation rating.

    Parameters
    ----------
    factors
        All published factors.
    table
        Key of the ampacity table.
    temperature_rating_k
        Insulation rating [K]; the greatest tabulated rating not above it is used.

    Returns
    -------
    float
        Factor [1].

    References
    ----------
    33 CFR 183.425 Table 5 note 1; ISO 10133:2012 Annex A.
    """
    rows = [row for row in factors if row.table == table and row.condition == "engine_space"]
    covered = [row for row in rows if row.lower <= temperature_rating_k + 1e-9]
    chosen = (
        max(covered, key=lambda row: row.lower) if covered else min(rows, key=lambda r: r.lower)
    )
    return chosen.factor


@lru_cache(maxsize=4096)
def bundling_factor(tables: Tables, table: str, bundled_conductors: int) -> float:
    """Return the factor on ampacity for conductors that carry current in one bundle.

    Parameters
    ----------
    tables
        Published factors.
    table
        Key of the ampacity table that the factor belongs to.
    bundled_conductors
        Loaded conductors in the bundle [1], 1 to 1000.

    Returns
    -------
    float
        Factor [1]; 1 below the first tabulated number.

    References
    ----------
    ABYC E-11 Tables VI-B to VI-E; ISO 10133:2012 Table A.1 note.
    """
    for row in tables.factors:
        if (
            row.table == table
            and row.condition == "bundled_conductors"
            and row.lower <= bundled_conductors <= row.upper
        ):
            return row.factor
    return 1.0
