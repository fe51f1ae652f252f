"""What the tables about batteries and charging may hold."""

from collections.abc import Sequence

from loomwright.tables.specs import Column, Order, Row, TableSpec, grouped, required_number

UNITS = ("percent", "rpm", "s", "v")


def law_of_battery_kinds(rows: Sequence[Row]) -> list[str]:
    """Check that the Peukert exponent used lies within its printed range."""
    return [
        f"{row['key']}: peukert_exponent lies outside peukert_low to peukert_high"
        for row in rows
        if not required_number(row, "peukert_low")
        <= required_number(row, "peukert_exponent")
        <= required_number(row, "peukert_high")
    ]


def law_of_open_circuit_voltages(rows: Sequence[Row]) -> list[str]:
    """Check that each kind is stated from empty to full."""
    faults = []
    for (kind,), members in grouped(rows, ("kind",)):
        states = [required_number(row, "state_of_charge_percent") for row in members]
        if (states[0], states[-1]) != (0.0, 100.0):
            faults.append(f"{kind}: the states of charge do not reach from 0 to 100")
    return faults


def law_of_supply_factors(rows: Sequence[Row]) -> list[str]:
    """Check that each key ends in a unit, and that a percentage is at most 100."""
    faults = []
    for row in rows:
        unit = str(row["key"]).rpartition("_")[2]
        if unit not in UNITS:
            faults.append(f"{row['key']}: the key does not end in a unit")
        elif unit == "percent" and required_number(row, "value") > 100.0:
            faults.append(f"{row['key']}: above 100 percent")
    return faults


BATTERY_KINDS = TableSpec(
    "battery_kinds.csv",
    ("key",),
    (
        Column("key"),
        Column("name"),
        Column("peukert_exponent", 1.0, 2.0),
        Column("peukert_low", 1.0, 2.0),
        Column("peukert_high", 1.0, 2.0),
        Column("self_discharge_percent_per_month", 0.0, 50.0),
    ),
    (),
    law_of_battery_kinds,
)
OPEN_CIRCUIT_VOLTAGES = TableSpec(
    "open_circuit_voltages.csv",
    ("kind", "state_of_charge_percent"),
    (
        Column("kind"),
        Column("state_of_charge_percent", 0.0, 100.0),
        Column("open_circuit_voltage_v", 11.0, 14.0),
    ),
    (
        Order("state_of_charge_percent", ("kind",)),
        Order("open_circuit_voltage_v", ("kind",)),
    ),
    law_of_open_circuit_voltages,
)
SUPPLY_FACTORS = TableSpec(
    "supply_factors.csv",
    ("key",),
    (Column("key"), Column("value", 0.1, 10_000.0)),
    (),
    law_of_supply_factors,
)
