"""What each fuse table may hold: columns, ranges, order and one law across columns."""

from collections.abc import Sequence
from itertools import pairwise

from loomwright.tables.specs import Column, Order, Row, TableSpec, grouped, number

MOUNTINGS = frozenset(
    {"plug_in_holder", "plug_in_block", "bolt_in_block", "bolt_in_strip", "single_bolt_on_terminal"}
)


def law_of_fuse_types(rows: Sequence[Row]) -> list[str]:
    """Check known mountings and rated voltages that rise."""
    faults = []
    for row in rows:
        if row["mounting"] not in MOUNTINGS:
            faults.append(f"{row['key']}: mounting {row['mounting']!r} is not known")
        voltages = [float(text) for text in str(row["rated_voltages_v"]).split(";")]
        if voltages != sorted(set(voltages)) or voltages[0] < 12.0:
            faults.append(f"{row['key']}: rated voltages do not rise from at least 12 V")
    return faults


def law_of_opening_times(rows: Sequence[Row]) -> list[str]:
    """Check that the least opening time lies below the greatest at every multiple.

    A fuse that opens at 135 % of its rating has no greatest time below that multiple.
    """
    faults = []
    for (key,), members in grouped(rows, ("fuse_type",)):
        for row in members:
            least, greatest = number(row, "least_s"), number(row, "greatest_s")
            percent = number(row, "current_percent") or 0.0
            if least is not None and greatest is not None and least >= greatest:
                faults.append(f"{key}: least time is not below the greatest at {percent} %")
            if (greatest is None) != (percent < 135.0):
                faults.append(f"{key}: a greatest time is due from 135 % on, not at {percent} %")
    return faults


def law_of_factors(rows: Sequence[Row]) -> list[str]:
    """Check that a fuse is loaded below its rating and opens above it."""
    values = {str(row["key"]): number(row, "value") or 0.0 for row in rows}
    if not values["loading_factor"] < 1.0 < values["conventional_fusing_multiple"]:
        return ["loading factor < 1 < conventional fusing multiple does not hold"]
    return []


def law_of_positions(rows: Sequence[Row]) -> list[str]:
    """Check that each row gives one distance, in the unit of its source."""
    return [
        f"{row['rule']}: one of the two distances is due"
        for row in rows
        if (row["greatest_distance_in"] is None) == (row["greatest_distance_mm"] is None)
        or {row["sheathed"], row["on_battery_terminal"]} - {"yes", "no"}
    ]


def law_of_interrupting_capacities(rows: Sequence[Row]) -> list[str]:
    """Check ranges without gap or upper end, and mains no weaker than branches."""
    faults = []
    if rows[-1]["cold_cranking_to_a"] is not None:
        faults.append("the last row has an upper end")
    for low, high in pairwise(rows):
        if low["cold_cranking_to_a"] != high["cold_cranking_above_a"]:
            faults.append(f"gap after {low['cold_cranking_to_a']} A")
    for row in rows:
        if (number(row, "main_a") or 0.0) < (number(row, "branch_a") or 0.0):
            faults.append(f"main below branch above {row['cold_cranking_above_a']} A")
    return faults


def law_of_system_voltages(rows: Sequence[Row]) -> list[str]:
    """Check that the greatest operating voltage lies 5 to 50 % above the nominal one."""
    return [
        f"{row['nominal_v']} V: greatest operating voltage out of band"
        for row in rows
        if not 1.05
        <= (number(row, "greatest_operating_v") or 0.0) / (number(row, "nominal_v") or 1.0)
        <= 1.5
    ]


FUSE_TYPES = TableSpec(
    "fuse_types.csv",
    ("key",),
    (
        Column("key"),
        Column("name"),
        Column("standard"),
        Column("mounting"),
        Column("rated_voltages_v"),
        Column("breaking_capacity_a", 100.0, 100_000.0),
    ),
    (),
    law_of_fuse_types,
)
FUSE_RATINGS = TableSpec(
    "fuse_ratings.csv",
    ("fuse_type", "rated_current_a"),
    (Column("fuse_type"), Column("rated_current_a", 0.1, 2000.0)),
    (Order("rated_current_a", ("fuse_type",)),),
    lambda rows: [],  # noqa: ARG005  one number per row: the rising order is its only law
)
FUSE_OPENING_TIMES = TableSpec(
    "fuse_opening_times.csv",
    ("fuse_type", "current_percent"),
    (
        Column("fuse_type"),
        Column("current_percent", 100.0, 2000.0),
        Column("least_s", 1e-3, 1e6, optional=True),
        Column("greatest_s", 1e-3, 1e6, optional=True),
    ),
    (
        Order("current_percent", ("fuse_type",)),
        Order("least_s", ("fuse_type",), falling=True),
        Order("greatest_s", ("fuse_type",), falling=True),
    ),
    law_of_opening_times,
)
FUSE_FACTORS = TableSpec(
    "fuse_factors.csv",
    ("key",),
    (Column("key"), Column("value", -1.0, 1000.0)),
    (),
    law_of_factors,
)
FUSE_POSITION_LIMITS = TableSpec(
    "fuse_position_limits.csv",
    ("rule",),
    (
        Column("rule"),
        Column("sheathed"),
        Column("on_battery_terminal"),
        Column("greatest_distance_in", 1.0, 200.0, optional=True),
        Column("greatest_distance_mm", 10.0, 5000.0, optional=True),
    ),
    (),
    law_of_positions,
)
FUSE_INTERRUPTING_CAPACITIES = TableSpec(
    "fuse_interrupting_capacities.csv",
    ("cold_cranking_above_a",),
    (
        Column("cold_cranking_above_a", 0.0, 100_000.0),
        Column("cold_cranking_to_a", 1.0, 100_000.0, optional=True),
        Column("main_a", 100.0, 100_000.0),
        Column("branch_a", 100.0, 100_000.0),
    ),
    (Order("cold_cranking_above_a"), Order("main_a"), Order("branch_a", strict=False)),
    law_of_interrupting_capacities,
)
FUSE_SYSTEM_VOLTAGES = TableSpec(
    "fuse_system_voltages.csv",
    ("nominal_v",),
    (Column("nominal_v", 6.0, 60.0), Column("greatest_operating_v", 6.0, 60.0)),
    (Order("nominal_v"), Order("greatest_operating_v")),
    law_of_system_voltages,
)
