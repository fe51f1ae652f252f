"""What each table may hold: columns, ranges, order and one law across columns.

A spec is data; ``read.py`` enforces it. A law returns the faults it finds, in words.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

Row = Mapping[str, str | float | None]
Law = Callable[[Sequence[Row]], list[str]]

COPPER_RESISTIVITY_OHM_MM2_PER_M = 0.017241
ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M = 0.028264
# A conductor on the stud of a device, and a steel bolt by itself.
JOINTS = frozenset({"terminal", "bolt"})


@dataclass(frozen=True, slots=True)
class Column:
    """One column: text, or a number inside a closed range.

    ``optional`` cells may be empty if the row's note says why.
    """

    name: str
    least: float | None = None
    greatest: float | None = None
    optional: bool = False

    @property
    def is_number(self) -> bool:
        """Whether cells are read as numbers."""
        return self.least is not None


@dataclass(frozen=True, slots=True)
class Order:
    """A column that must rise or fall, row by row, inside each group.

    ``strict`` forbids equal neighbours.
    """

    column: str
    within: tuple[str, ...] = ()
    falling: bool = False
    strict: bool = True


@dataclass(frozen=True, slots=True)
class TableSpec:
    """The contract of one CSV file."""

    file: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    orders: tuple[Order, ...]
    law: Law


def number(row: Row, column: str) -> float | None:
    """Return a numeric cell, or none where it is empty."""
    value = row[column]
    return None if value is None else float(value)


def required_number(row: Row, column: str, scale: float = 1.0) -> float:
    """Return a numeric cell of a required column, times a scale."""
    value = row[column]
    assert value is not None  # an empty cell of a required column never passes the reader
    return float(value) * scale


def grouped(
    rows: Iterable[Row], within: tuple[str, ...]
) -> Iterable[tuple[tuple[str, ...], list[Row]]]:
    """Yield rows by equal values of some columns, keeping their order."""

    def key(row: Row) -> tuple[str, ...]:
        return tuple(str(row[name]) for name in within)

    for group, members in groupby(sorted(rows, key=key), key=key):
        yield group, list(members)


def law_of_materials(rows: Sequence[Row]) -> list[str]:
    """Check that 1 / (beta + 20) is the temperature coefficient within 5 %.

    Both describe the same straight line of resistance against temperature.
    """
    faults = []
    for row in rows:
        coefficient = float(row["temperature_coefficient_20c_per_k"] or 0)
        product = coefficient * (float(row["beta_c"] or 0) + 20.0)
        if not 0.95 <= product <= 1.05:
            faults.append(
                f"{row['key']}: coefficient x (beta + 20) = {product:.3f}, not 1 within 5 %"
            )
    return faults


def law_of_insulations(rows: Sequence[Row]) -> list[str]:
    """Check rating < overload limit <= short-circuit limit + 0 K."""
    return [
        f"{row['key']}: rating, overload and short-circuit limit do not rise"
        for row in rows
        if not float(row["temperature_rating_c"] or 0)
        < float(row["overload_temperature_c"] or 0)
        <= float(row["short_circuit_temperature_c"] or 0)
    ]


def law_of_torques(rows: Sequence[Row]) -> list[str]:
    """Check known joints, and that a terminal is given less than a steel bolt of its size bears."""
    bolts = {
        row["stud"]: required_number(row, "torque_n_m") for row in rows if row["joint"] == "bolt"
    }
    faults = [
        f"{row['joint']} {row['stud']}: the joint is not known"
        for row in rows
        if row["joint"] not in JOINTS
    ]
    return faults + [
        f"{row['stud']}: a terminal is given no less than a steel bolt bears"
        for row in rows
        if row["joint"] == "terminal"
        and required_number(row, "torque_n_m") >= bolts.get(row["stud"], math.inf)
    ]


def law_of_zones(rows: Sequence[Row]) -> list[str]:
    """Check that each engine space is hotter than the reference ambient of the tables, 30 C."""
    return [
        f"{row['key']}: engine_space must be yes or no, and an engine space hotter than 30 C"
        for row in rows
        if row["engine_space"] not in ("yes", "no")
        or (row["engine_space"] == "yes" and float(row["ambient_temperature_c"] or 0) <= 30.0)
    ]


def law_of_air(rows: Sequence[Row]) -> list[str]:
    """Check that Pr = nu / alpha within 1.5 %."""
    faults = []
    for row in rows:
        ratio = float(row["kinematic_viscosity_mm2_per_s"] or 0) / float(
            row["thermal_diffusivity_mm2_per_s"] or 1
        )
        prandtl = float(row["prandtl"] or 1)
        if abs(ratio / prandtl - 1.0) > 0.015:
            faults.append(f"{row['temperature_k']} K: nu / alpha = {ratio:.4f}, Pr = {prandtl}")
    return faults


def law_of_conductor_sizes(rows: Sequence[Row]) -> list[str]:
    """Check resistance x section = resistivity within a stated band, and the diameters.

    Limits of the standards lie 0 to 18 % above the resistivity of the metal, because they allow for
    stranding, tin and the tolerance of the strands; the fill of a strand lies in 0.50 to 0.95.
    """
    faults = []
    for row in rows:
        section = float(row["cross_section_mm2"] or 0)
        for metal, resistivity, greatest in (
            ("copper", COPPER_RESISTIVITY_OHM_MM2_PER_M, 1.18),
            ("tinned_copper", COPPER_RESISTIVITY_OHM_MM2_PER_M, 1.21),
            ("aluminium", ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M, 1.18),
        ):
            resistance = number(row, f"resistance_{metal}_ohm_per_km")
            if resistance is None:
                continue
            ratio = resistance * section / 1000.0 / resistivity
            if not 1.0 <= ratio <= greatest:
                faults.append(
                    f"{row['key']}: {metal} resistance x section / resistivity = {ratio:.3f}"
                )
        diameter = float(row["conductor_diameter_mm"] or 1)
        fill = section / (0.7853981633974483 * diameter**2)
        if not 0.50 <= fill <= 0.95 or float(row["outside_diameter_mm"] or 0) <= diameter:
            faults.append(f"{row['key']}: fill {fill:.2f} or outside diameter out of band")
    return faults


def law_of_ampacities(rows: Sequence[Row]) -> list[str]:
    """Check that ampacity never falls as the insulation rating rises, size by size."""
    faults = []
    for group, members in grouped(rows, ("table", "size")):
        rising = sorted(members, key=lambda row: float(row["temperature_rating_c"] or 0))
        for lower, upper in pairwise(rising):
            if float(upper["ampacity_a"] or 0) < float(lower["ampacity_a"] or 0):
                faults.append(
                    f"{' '.join(group)}: ampacity falls from {lower['temperature_rating_c']} C"
                )
    return faults


def law_of_rating_factors(rows: Sequence[Row]) -> list[str]:
    """Check ranges that do not overlap, and factors that move one way.

    More conductors never raise the factor; a higher insulation rating never lowers it.
    """
    faults = []
    for (table, condition), members in grouped(rows, ("table", "condition")):
        rising = sorted(members, key=lambda row: float(row["lower"] or 0))
        sign = -1.0 if condition == "bundled_conductors" else 1.0
        for low, high in pairwise(rising):
            if float(high["lower"] or 0) <= float(low["upper"] or 0):
                faults.append(f"{table} {condition}: ranges overlap at {high['lower']}")
            if sign * (float(high["factor"] or 0) - float(low["factor"] or 0)) < 0:
                faults.append(f"{table} {condition}: factor moves the wrong way at {high['lower']}")
    return faults


MATERIALS = TableSpec(
    "materials.csv",
    ("key",),
    (
        Column("key"),
        Column("name"),
        Column("resistivity_20c_ohm_mm2_per_m", 0.015, 0.05),
        Column("temperature_coefficient_20c_per_k", 0.003, 0.006),
        Column("volumetric_heat_capacity_j_per_cm3k", 1.0, 5.0),
        Column("beta_c", 150.0, 300.0),
    ),
    (),
    law_of_materials,
)
INSULATIONS = TableSpec(
    "insulations.csv",
    ("key",),
    (
        Column("key"),
        Column("name"),
        Column("temperature_rating_c", 50.0, 250.0),
        Column("overload_temperature_c", 60.0, 400.0),
        Column("short_circuit_temperature_c", 100.0, 500.0),
        Column("thermal_resistivity_km_per_w", 1.0, 10.0),
        Column("volumetric_heat_capacity_j_per_cm3k", 0.5, 4.0),
        Column("emissivity", 0.02, 1.0),
    ),
    (),
    law_of_insulations,
)
ZONES = TableSpec(
    "zones.csv",
    ("key",),
    (
        Column("key"),
        Column("name"),
        Column("ambient_temperature_c", -40.0, 125.0),
        Column("engine_space"),
    ),
    (),
    law_of_zones,
)
AIR = TableSpec(
    "air.csv",
    ("temperature_k",),
    (
        Column("temperature_k", 100.0, 1000.0),
        Column("conductivity_w_per_mk", 0.005, 0.1),
        Column("kinematic_viscosity_mm2_per_s", 1.0, 200.0),
        Column("thermal_diffusivity_mm2_per_s", 1.0, 300.0),
        Column("prandtl", 0.6, 0.8),
    ),
    (
        Order("temperature_k"),
        Order("conductivity_w_per_mk"),
        Order("kinematic_viscosity_mm2_per_s"),
        Order("prandtl", falling=True),
    ),
    law_of_air,
)
CONDUCTOR_SIZES = TableSpec(
    "conductor_sizes.csv",
    ("key",),
    (
        Column("key"),
        Column("series"),
        Column("rank", 1, 100),
        Column("cross_section_mm2", 0.1, 500.0),
        Column("resistance_copper_ohm_per_km", 0.01, 200.0, optional=True),
        Column("resistance_tinned_copper_ohm_per_km", 0.01, 200.0, optional=True),
        Column("resistance_aluminium_ohm_per_km", 0.01, 200.0, optional=True),
        Column("temperature_coefficient_20c_per_k", 0.003, 0.006, optional=True),
        Column("conductor_diameter_mm", 0.3, 50.0),
        Column("outside_diameter_mm", 0.5, 60.0),
        Column("diameter_checked"),
        Column("diameter_source"),
        Column("diameter_locator"),
    ),
    (
        Order("rank", ("series",)),
        Order("cross_section_mm2", ("series",)),
        Order("resistance_copper_ohm_per_km", ("series",), falling=True),
        Order("resistance_tinned_copper_ohm_per_km", ("series",), falling=True),
        Order("resistance_aluminium_ohm_per_km", ("series",), falling=True),
        Order("conductor_diameter_mm", ("series",)),
        Order("outside_diameter_mm", ("series",)),
    ),
    law_of_conductor_sizes,
)
AMPACITIES = TableSpec(
    "ampacities.csv",
    ("table", "size", "temperature_rating_c"),
    (
        Column("table"),
        Column("size"),
        Column("temperature_rating_c", 50.0, 250.0),
        Column("ampacity_a", 1.0, 1000.0),
    ),
    (Order("ampacity_a", ("table", "temperature_rating_c")),),
    law_of_ampacities,
)
RATING_FACTORS = TableSpec(
    "rating_factors.csv",
    ("table", "condition", "lower"),
    (
        Column("table"),
        Column("condition"),
        Column("lower", 1.0, 1000.0),
        Column("upper", 1.0, 1000.0),
        Column("factor", 0.1, 1.0),
    ),
    (),
    law_of_rating_factors,
)
TORQUES = TableSpec(
    "torques.csv",
    ("joint", "stud"),
    (
        Column("joint"),
        Column("stud"),
        Column("diameter_mm", 1.0, 20.0),
        Column("torque_n_m", 0.1, 200.0),
    ),
    (
        Order("diameter_mm", ("joint",)),
        Order("torque_n_m", ("joint",), strict=False),
    ),
    law_of_torques,
)
