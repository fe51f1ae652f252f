"""What the tables about amplifiers and programmes may hold."""

from collections.abc import Sequence

from loomwright.tables.specs import Column, Row, TableSpec


def law_of_amplifier_classes(rows: Sequence[Row]) -> list[str]:
    """Check low <= high <= theoretical, a converter that only loses, and shares that rise."""
    faults = []
    for row in rows:
        for top, bottom in (
            ("theoretical_efficiency_percent", "efficiency_high_percent"),
            ("efficiency_high_percent", "efficiency_low_percent"),
            ("efficiency_high_percent", "efficiency_with_converter_high_percent"),
            ("efficiency_low_percent", "efficiency_with_converter_low_percent"),
            ("efficiency_with_converter_high_percent", "efficiency_with_converter_low_percent"),
            ("fuse_loading_likely_percent", "fuse_loading_low_percent"),
            ("rail_utilisation_high_percent", "rail_utilisation_likely_percent"),
            ("rail_utilisation_likely_percent", "rail_utilisation_low_percent"),
        ):
            upper, lower = row[top], row[bottom]
            if upper is not None and lower is not None and float(lower) > float(upper):
                faults.append(f"{row['key']}: {bottom} exceeds {top}")
        if row["stage"] not in ("linear", "switching"):
            faults.append(f"{row['key']}: stage is {row['stage']!r}, not linear or switching")
    return faults


def law_of_programmes(rows: Sequence[Row]) -> list[str]:
    """Check that the crest factor used lies within its range and not below that of a sine."""
    return [
        f"{row['key']}: crest factor, low and high do not rise from 3.0103 dB"
        for row in rows
        if not 3.0103
        <= float(row["crest_factor_low_db"] or 0)
        <= float(row["crest_factor_db"] or 0)
        <= float(row["crest_factor_high_db"] or 0)
    ]


AMPLIFIER_CLASSES = TableSpec(
    "amplifier_classes.csv",
    ("key",),
    (
        Column("key"),
        Column("name"),
        Column("theoretical_efficiency_percent", 1.0, 100.0),
        Column("efficiency_low_percent", 1.0, 100.0, optional=True),
        Column("efficiency_high_percent", 1.0, 100.0, optional=True),
        Column("efficiency_with_converter_low_percent", 1.0, 100.0, optional=True),
        Column("efficiency_with_converter_high_percent", 1.0, 100.0, optional=True),
        Column("stage"),
        Column("idle_share_percent", 0.0, 100.0),
        Column("square_root_share_percent", 0.0, 100.0),
        Column("fuse_loading_low_percent", 10.0, 100.0),
        Column("fuse_loading_likely_percent", 10.0, 100.0),
        Column("rail_utilisation_low_percent", 10.0, 100.0),
        Column("rail_utilisation_likely_percent", 10.0, 100.0),
        Column("rail_utilisation_high_percent", 10.0, 100.0),
        Column("practice_checked"),
        Column("practice_source"),
        Column("practice_locator"),
    ),
    (),
    law_of_amplifier_classes,
)
PROGRAMMES = TableSpec(
    "programmes.csv",
    ("key",),
    (
        Column("key"),
        Column("name"),
        Column("crest_factor_db", 3.0, 40.0),
        Column("crest_factor_low_db", 3.0, 40.0),
        Column("crest_factor_high_db", 3.0, 40.0),
    ),
    (),
    law_of_programmes,
)
