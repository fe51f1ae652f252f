"""What the table about signal paths may hold."""

from collections.abc import Sequence

from loomwright.tables.specs import Column, Row, TableSpec, required_number


def law_of_signal_factors(rows: Sequence[Row]) -> list[str]:
    """Check that ranges and thresholds stand in their order, and parts between nought and one."""
    values = {str(row["key"]): required_number(row, "value") for row in rows}
    faults = [
        f"{low} is not below {high}"
        for low, high in (
            ("line_input_least_v", "line_input_greatest_v"),
            ("line_output_impedance_ohm", "line_input_impedance_ohm"),
            ("ground_noise_severe_db", "ground_noise_audible_db"),
            ("common_mode_rejection_db", "isolation_rejection_db"),
        )
        if not values[low] < values[high]
    ]
    return faults + [
        f"{key} is not between 0 and 1"
        for key in ("alternating_share", "release_fraction")
        if not 0.0 < values[key] < 1.0
    ]


SIGNAL_FACTORS = TableSpec(
    "signal_factors.csv",
    ("key",),
    (Column("key"), Column("value", 1e-12, 100_000.0)),
    (),
    law_of_signal_factors,
)
