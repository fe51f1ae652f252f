"""What the table of tolerances may hold."""

from collections.abc import Sequence

from loomwright.tables.specs import Column, Row, TableSpec

PERCENT = "percent"
KELVIN = "K"


def law_of_tolerances(rows: Sequence[Row]) -> list[str]:
    """Check that temperatures are in K and all else in percent, and that some way is open."""
    faults = []
    for row in rows:
        unit = KELVIN if str(row["key"]).endswith("temperature") else PERCENT
        if row["unit"] != unit:
            faults.append(f"{row['key']}: unit is {row['unit']!r}, not {unit}")
        if not float(row["below"] or 0) + float(row["above"] or 0) > 0:
            faults.append(f"{row['key']}: no tolerance either way")
    return faults


TOLERANCES = TableSpec(
    "tolerances.csv",
    ("key",),
    (
        Column("key"),
        Column("unit"),
        Column("below", 0.0, 90.0),
        Column("above", 0.0, 90.0),
    ),
    (),
    law_of_tolerances,
)
