"""Fuse tables as frozen records in coherent SI, checked on load."""

from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources.abc import Traversable
from types import MappingProxyType

from loomwright.tables import fuse_specs as specs
from loomwright.tables.fuse_records import (
    FuseFactor,
    FuseTables,
    InterruptingCapacity,
    PositionLimit,
    SystemVoltage,
)
from loomwright.tables.read import (
    TableError,
    package_folder,
    provenance_of,
    read_sources,
    read_table,
)
from loomwright.tables.records import FuseType, OpeningTime, Provenance, Source
from loomwright.tables.specs import Row, TableSpec, grouped, number, required_number

METRES_PER_INCH = 0.0254


@cache
def fuse_tables() -> FuseTables:
    """Return the fuse tables of the installed package, read once in a process."""
    folder = package_folder()
    return load_fuse_tables(folder, read_sources(folder))


def load_fuse_tables(folder: Traversable, sources: Mapping[str, Source]) -> FuseTables:
    """Return the fuse tables of a folder.

    Parameters
    ----------
    folder
        Holds the CSV files.
    sources
        Known sources by key.

    Returns
    -------
    FuseTables
        Records by key, in coherent SI.

    Raises
    ------
    TableError
        Where a file breaks its spec, or a row names a fuse type that is not listed.
    """

    def read(spec: TableSpec) -> tuple[Row, ...]:
        return read_table(folder, spec, sources)

    rows = read(specs.FUSE_TYPES)
    ratings = _by_type(read(specs.FUSE_RATINGS))
    times = _by_type(read(specs.FUSE_OPENING_TIMES))
    keys = {str(row["key"]) for row in rows}
    if keys != set(ratings) or set(times) - keys:
        strange = sorted((keys ^ set(ratings)) | (set(times) - keys))
        raise TableError(f"fuse tables do not name the same fuse types: {', '.join(strange)}")
    return FuseTables(
        types=MappingProxyType(
            {key: _fuse_type(row, ratings, times) for row in rows if (key := str(row["key"]))}
        ),
        curve_provenance=_provenance(times),
        rating_provenance=_provenance(ratings),
        factors=MappingProxyType(
            {
                str(row["key"]): FuseFactor(
                    str(row["key"]), required_number(row, "value"), provenance_of(row)
                )
                for row in read(specs.FUSE_FACTORS)
            }
        ),
        position_limits=tuple(map(_position_limit, read(specs.FUSE_POSITION_LIMITS))),
        interrupting_capacities=tuple(
            map(_interrupting_capacity, read(specs.FUSE_INTERRUPTING_CAPACITIES))
        ),
        system_voltages=tuple(
            SystemVoltage(
                required_number(row, "nominal_v"),
                required_number(row, "greatest_operating_v"),
                provenance_of(row),
            )
            for row in read(specs.FUSE_SYSTEM_VOLTAGES)
        ),
    )


def _by_type(rows: Iterable[Row]) -> Mapping[str, list[Row]]:
    return {key: members for (key,), members in grouped(rows, ("fuse_type",))}


def _provenance(rows: Mapping[str, list[Row]]) -> Mapping[str, Provenance]:
    return MappingProxyType({key: provenance_of(members[0]) for key, members in rows.items()})


def _fuse_type(
    row: Row, ratings: Mapping[str, list[Row]], times: Mapping[str, list[Row]]
) -> FuseType:
    key = str(row["key"])
    return FuseType(
        key=key,
        name=str(row["name"]),
        standard=str(row["standard"]),
        ratings_a=tuple(required_number(rating, "rated_current_a") for rating in ratings[key]),
        rated_voltages_v=tuple(float(text) for text in str(row["rated_voltages_v"]).split(";")),
        breaking_capacity_a=required_number(row, "breaking_capacity_a"),
        mounting=str(row["mounting"]),
        opening_times=tuple(
            OpeningTime(
                current_multiple=required_number(time, "current_percent") / 100.0,
                least_s=number(time, "least_s"),
                greatest_s=number(time, "greatest_s"),
            )
            for time in times.get(key, ())
        ),
        provenance=provenance_of(row),
    )


def _position_limit(row: Row) -> PositionLimit:
    inches = number(row, "greatest_distance_in")
    distance_m = (
        required_number(row, "greatest_distance_mm") * 1e-3
        if inches is None
        else inches * METRES_PER_INCH
    )
    return PositionLimit(
        rule=str(row["rule"]),
        sheathed=row["sheathed"] == "yes",
        on_battery_terminal=row["on_battery_terminal"] == "yes",
        greatest_distance_m=distance_m,
        provenance=provenance_of(row),
    )


def _interrupting_capacity(row: Row) -> InterruptingCapacity:
    return InterruptingCapacity(
        cold_cranking_above_a=required_number(row, "cold_cranking_above_a"),
        cold_cranking_to_a=number(row, "cold_cranking_to_a"),
        main_a=required_number(row, "main_a"),
        branch_a=required_number(row, "branch_a"),
        provenance=provenance_of(row),
    )
