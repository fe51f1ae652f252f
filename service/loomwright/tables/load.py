"""All tables as frozen records in coherent SI, checked on load."""

from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources.abc import Traversable
from types import MappingProxyType
from typing import Protocol, TypeVar

from loomwright.tables import specs
from loomwright.tables.read import (
    KELVIN_AT_0_C,
    package_folder,
    provenance_of,
    read_sources,
    read_table,
    second_provenance_of,
)
from loomwright.tables.records import (
    Air,
    AmpacityRow,
    ConductorSize,
    Insulation,
    Material,
    RatingFactor,
    Source,
    StudTorque,
    Tables,
    Zone,
)
from loomwright.tables.specs import Row, required_number

LISTED_METALS = ("copper", "tinned_copper", "aluminium")


@cache
def tables() -> Tables:
    """Return the tables of the installed package, read once in a process."""
    return load_tables(package_folder())


def load_tables(folder: Traversable) -> Tables:
    """Return all tables of a folder.

    Parameters
    ----------
    folder
        Holds the CSV files and ``sources.toml``.

    Returns
    -------
    Tables
        Records by key, in coherent SI.

    Raises
    ------
    TableError
        Where a file breaks its spec, with every fault of that file.
    """
    sources = read_sources(folder)

    def read(spec: specs.TableSpec) -> tuple[Row, ...]:
        return read_table(folder, spec, sources)

    sizes = [_conductor_size(row, sources) for row in read(specs.CONDUCTOR_SIZES)]
    series = dict.fromkeys(size.series for size in sizes)
    return Tables(
        sources=MappingProxyType(sources),
        materials=_by_key(_material(row) for row in read(specs.MATERIALS)),
        insulations=_by_key(_insulation(row) for row in read(specs.INSULATIONS)),
        zones=_by_key(_zone(row) for row in read(specs.ZONES)),
        conductors=_by_key(sizes),
        series=MappingProxyType(
            {key: tuple(size for size in sizes if size.series == key) for key in series}
        ),
        ampacities=tuple(_ampacity(row) for row in read(specs.AMPACITIES)),
        factors=tuple(_factor(row) for row in read(specs.RATING_FACTORS)),
        torques=MappingProxyType(
            {(torque.joint, torque.stud): torque for torque in map(_torque, read(specs.TORQUES))}
        ),
        air=_air(read(specs.AIR)),
    )


class _Keyed(Protocol):
    @property
    def key(self) -> str: ...


_Record = TypeVar("_Record", bound=_Keyed)


def _by_key(records: Iterable[_Record]) -> Mapping[str, _Record]:
    return MappingProxyType({record.key: record for record in records})


def _kelvin(row: Row, column: str) -> float:
    return required_number(row, column) + KELVIN_AT_0_C


def _material(row: Row) -> Material:
    return Material(
        key=str(row["key"]),
        name=str(row["name"]),
        resistivity_20c_ohm_m=required_number(row, "resistivity_20c_ohm_mm2_per_m", 1e-6),
        temperature_coefficient_20c_per_k=required_number(row, "temperature_coefficient_20c_per_k"),
        volumetric_heat_capacity_j_per_m3k=required_number(
            row, "volumetric_heat_capacity_j_per_cm3k", 1e6
        ),
        adiabatic_beta_k=required_number(row, "beta_c"),
        provenance=provenance_of(row),
    )


def _insulation(row: Row) -> Insulation:
    return Insulation(
        key=str(row["key"]),
        name=str(row["name"]),
        temperature_rating_k=_kelvin(row, "temperature_rating_c"),
        overload_temperature_k=_kelvin(row, "overload_temperature_c"),
        short_circuit_temperature_k=_kelvin(row, "short_circuit_temperature_c"),
        thermal_resistivity_km_per_w=required_number(row, "thermal_resistivity_km_per_w"),
        volumetric_heat_capacity_j_per_m3k=required_number(
            row, "volumetric_heat_capacity_j_per_cm3k", 1e6
        ),
        emissivity=required_number(row, "emissivity"),
        provenance=provenance_of(row),
    )


def _zone(row: Row) -> Zone:
    return Zone(
        key=str(row["key"]),
        name=str(row["name"]),
        ambient_temperature_k=_kelvin(row, "ambient_temperature_c"),
        engine_space=row["engine_space"] == "yes",
        provenance=provenance_of(row),
    )


def _conductor_size(row: Row, sources: Mapping[str, Source]) -> ConductorSize:
    resistances = {
        metal: float(value) * 1e-3
        for metal in LISTED_METALS
        if (value := row[f"resistance_{metal}_ohm_per_km"]) is not None
    }
    coefficient = row["temperature_coefficient_20c_per_k"]
    coefficients = {} if coefficient is None else dict.fromkeys(resistances, float(coefficient))
    return ConductorSize(
        key=str(row["key"]),
        series=str(row["series"]),
        rank=int(required_number(row, "rank")),
        cross_section_m2=required_number(row, "cross_section_mm2", 1e-6),
        resistance_20c_ohm_per_m=MappingProxyType(resistances),
        temperature_coefficients_20c_per_k=MappingProxyType(coefficients),
        conductor_diameter_m=required_number(row, "conductor_diameter_mm", 1e-3),
        outside_diameter_m=required_number(row, "outside_diameter_mm", 1e-3),
        provenance=provenance_of(row),
        diameter_provenance=second_provenance_of(row, "diameter", specs.CONDUCTOR_SIZES, sources),
    )


def _ampacity(row: Row) -> AmpacityRow:
    return AmpacityRow(
        table=str(row["table"]),
        size=str(row["size"]),
        temperature_rating_k=_kelvin(row, "temperature_rating_c"),
        ampacity_a=required_number(row, "ampacity_a"),
        provenance=provenance_of(row),
    )


def _factor(row: Row) -> RatingFactor:
    # The bounds of an engine-space factor are insulation ratings in Celsius, not counts.
    offset = KELVIN_AT_0_C if row["condition"] == "engine_space" else 0.0
    return RatingFactor(
        table=str(row["table"]),
        condition=str(row["condition"]),
        lower=required_number(row, "lower") + offset,
        upper=required_number(row, "upper") + offset,
        factor=required_number(row, "factor"),
        provenance=provenance_of(row),
    )


def _torque(row: Row) -> StudTorque:
    return StudTorque(
        joint=str(row["joint"]),
        stud=str(row["stud"]),
        diameter_m=required_number(row, "diameter_mm", 1e-3),
        torque_n_m=required_number(row, "torque_n_m"),
        provenance=provenance_of(row),
    )


def _air(rows: Iterable[Row]) -> Air:
    rows = tuple(rows)
    return Air(
        temperature_k=tuple(required_number(row, "temperature_k") for row in rows),
        conductivity_w_per_mk=tuple(required_number(row, "conductivity_w_per_mk") for row in rows),
        kinematic_viscosity_m2_per_s=tuple(
            required_number(row, "kinematic_viscosity_mm2_per_s", 1e-6) for row in rows
        ),
        prandtl=tuple(required_number(row, "prandtl") for row in rows),
        provenance=provenance_of(rows[0]),
    )
