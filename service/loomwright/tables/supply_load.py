"""Tables of batteries and charging as frozen records, checked on load."""

from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources.abc import Traversable
from types import MappingProxyType

from loomwright.tables import supply_specs as specs
from loomwright.tables.read import (
    TableError,
    package_folder,
    provenance_of,
    read_sources,
    read_table,
)
from loomwright.tables.records import Source
from loomwright.tables.specs import Row, required_number
from loomwright.tables.supply_records import BatteryKind, SupplyFactor, SupplyTables

# A month of the table is one of 30 days.
SECONDS_PER_MONTH = 30.0 * 86_400.0


@cache
def supply_tables() -> SupplyTables:
    """Return the supply tables of the installed package, read once in a process."""
    folder = package_folder()
    return load_supply_tables(folder, read_sources(folder))


def load_supply_tables(folder: Traversable, sources: Mapping[str, Source]) -> SupplyTables:
    """Return the supply tables of a folder.

    Parameters
    ----------
    folder
        Holds the CSV files.
    sources
        Known sources by key.

    Returns
    -------
    SupplyTables
        Records by key, in coherent SI.

    Raises
    ------
    TableError
        Where a file breaks its spec, or a kind of battery stands in one of two tables only.
    """
    voltages = read_table(folder, specs.OPEN_CIRCUIT_VOLTAGES, sources)
    rows = read_table(folder, specs.BATTERY_KINDS, sources)
    if {row["kind"] for row in voltages} != {row["key"] for row in rows}:
        raise TableError(
            f"{specs.OPEN_CIRCUIT_VOLTAGES.file}: not the kinds of {specs.BATTERY_KINDS.file}"
        )
    kinds = [
        _kind(row, [entry for entry in voltages if entry["kind"] == row["key"]]) for row in rows
    ]
    factors = [
        SupplyFactor(str(row["key"]), required_number(row, "value"), provenance_of(row))
        for row in read_table(folder, specs.SUPPLY_FACTORS, sources)
    ]
    return SupplyTables(
        battery_kinds=MappingProxyType({kind.key: kind for kind in kinds}),
        factors=MappingProxyType({factor.key: factor for factor in factors}),
    )


def _kind(row: Row, voltages: Sequence[Row]) -> BatteryKind:
    return BatteryKind(
        key=str(row["key"]),
        name=str(row["name"]),
        peukert_exponent=required_number(row, "peukert_exponent"),
        peukert_low=required_number(row, "peukert_low"),
        peukert_high=required_number(row, "peukert_high"),
        self_discharge_per_s=required_number(row, "self_discharge_percent_per_month")
        / 100.0
        / SECONDS_PER_MONTH,
        open_circuit_voltages_v=tuple(
            (
                required_number(entry, "state_of_charge_percent") / 100.0,
                required_number(entry, "open_circuit_voltage_v"),
            )
            for entry in voltages
        ),
        provenance=provenance_of(row),
        voltage_provenances=tuple(provenance_of(entry) for entry in voltages),
    )
