"""Figures that a formula of the source, or a law of a second source, gives for a row of a table.

Each formula is asked about one row, with the whole table at hand; it stays silent about a row that
it does not know. Its figures lie under the key of that row.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

from loomwright.tables.specs import Row, number, required_number
from reference.figures import Cell, Figure, key_of

Formula = Callable[[Row, Sequence[Row]], Iterator[Figure]]
Expected = Cell | tuple[float, float]

GAS_CONSTANT_OF_DRY_AIR_J_PER_KGK = 287.053
ATMOSPHERE_PA = 101325.0


def given_by(
    name: str,
    table: str,
    row: Row,
    expected: Mapping[str, Expected],
    relative: float = 0.0,
    absolute: float = 0.0,
    checked: str = "formula",
) -> Iterator[Figure]:
    """Yield what a formula gives for some columns of a row."""
    for column, value in expected.items():
        yield Figure(name, checked, table, key_of(table, row), column, value, relative, absolute)


def standard_atmosphere(row: Row, _: Sequence[Row]) -> Iterator[Figure]:
    """Viscosity and conductivity of the U.S. Standard Atmosphere 1976, equations 51 and 53.

    Density is that of the ideal gas and the specific heat that of a diatomic one, which is 3 % low
    at 550 K; the table takes other correlations. Pr = nu / alpha by definition, within the digits.
    """
    t = required_number(row, "temperature_k")
    viscosity = 1.458e-6 * t**1.5 / (t + 110.4)
    conductivity = 2.64638e-3 * t**1.5 / (t + 245.4 * 10.0 ** (-12.0 / t))
    density = ATMOSPHERE_PA / (GAS_CONSTANT_OF_DRY_AIR_J_PER_KGK * t)
    heat = 3.5 * GAS_CONSTANT_OF_DRY_AIR_J_PER_KGK
    given = {
        "conductivity_w_per_mk": conductivity,
        "kinematic_viscosity_mm2_per_s": viscosity / density * 1e6,
        "thermal_diffusivity_mm2_per_s": conductivity / (density * heat) * 1e6,
    }
    yield from given_by("U.S. Standard Atmosphere 1976", "air", row, given, relative=0.045)
    prandtl = required_number(row, "kinematic_viscosity_mm2_per_s") / required_number(
        row, "thermal_diffusivity_mm2_per_s"
    )
    yield from given_by("Pr = nu / alpha", "air", row, {"prandtl": prandtl}, relative=0.015)


def step_up_supply(row: Row, _: Sequence[Row]) -> Iterator[Figure]:
    """Efficiency with a step-up supply of 85 % to 92 %: common practice, no source.

    Class D is left out: its range with a converter is one of the reference's own.
    """
    if row["key"] in ("A", "AB", "A_series_fed", "B"):
        given = {
            f"efficiency_with_converter_{end}_percent": share * efficiency
            for end, share in (("low", 0.85), ("high", 0.92))
            if (efficiency := number(row, f"efficiency_{end}_percent")) is not None
        }
        yield from given_by(
            "step-up supply of 85 % to 92 %",
            "amplifier_classes",
            row,
            given,
            relative=1e-6,
            checked="practice",
        )


def gauge_number(key: str) -> int:
    """Return the number of a gauge; 1/0 to 4/0 are 0 to -3."""
    name = key.removesuffix(" AWG").removeprefix("SAE ")
    return 1 - int(name.removesuffix("/0")) if name.endswith("/0") else int(name)


# Nominal wall of SAE J1128 GXL up to 8 gauge and of SAE J1127 SGX beyond, from memory.
WALL_MM = {
    **dict.fromkeys((20, 18, 16, 14), 0.58),
    12: 0.66,
    10: 0.79,
    8: 0.94,
    **dict.fromkeys((6, 4, 3, 2), 1.52),
    **dict.fromkeys((1, 0, -1), 1.65),
    **dict.fromkeys((-2, -3), 1.98),
}
STRAND_FILL = 0.77


def gauge_geometry(row: Row, _: Sequence[Row]) -> Iterator[Figure]:
    """Section by ASTM B258 and diameters of a strand with the wall of SAE J1127 and J1128."""
    key = str(row["key"])
    if not key.endswith(" AWG") and not key.startswith("SAE "):
        return
    gauge = gauge_number(key)
    if key.endswith(" AWG"):
        diameter = 0.127 * 92.0 ** ((36 - gauge) / 39.0)
        given = {"cross_section_mm2": math.pi / 4.0 * diameter**2}
        yield from given_by("ASTM B258", "conductor_sizes", row, given, relative=1e-6)
    section = required_number(row, "cross_section_mm2")
    strand = math.sqrt(4.0 / math.pi * section / STRAND_FILL)
    given = {"conductor_diameter_mm": strand}
    yield from given_by("strand fill", "conductor_sizes", row, given, absolute=6e-4)
    if gauge in WALL_MM:
        outside = required_number(row, "conductor_diameter_mm") + 2.0 * WALL_MM[gauge]
        given = {"outside_diameter_mm": outside}
        yield from given_by(
            "nominal wall", "conductor_sizes", row, given, absolute=6e-4, checked="memory"
        )


SERIES = (
    ("ISO ", " mm2", "iso_6722"),
    ("SAE ", "", "sae"),
    ("", " AWG", "awg"),
    ("", " mm2", "metric"),
)


def size_names(row: Row, rows: Sequence[Row]) -> Iterator[Figure]:
    """Series and metric section as the name of the size says them, rank by section."""
    key = str(row["key"])
    series: str | None = next(
        (name for start, end, name in SERIES if key.startswith(start) and key.endswith(end)), None
    )
    if series is None:
        return
    section = required_number(row, "cross_section_mm2")
    thinner = [
        other
        for other in rows
        if other["series"] == series and required_number(other, "cross_section_mm2") < section
    ]
    given: dict[str, Expected] = {"series": series, "rank": 1.0 + len(thinner)}
    if key.endswith(" mm2"):
        given["cross_section_mm2"] = float(key.removeprefix("ISO ").removesuffix(" mm2"))
    yield from given_by("name of the size", "conductor_sizes", row, given)


def resistance_times_section(row: Row, _: Sequence[Row]) -> Iterator[Figure]:
    """Greatest resistance of vehicle cable: 18.1 to 19.7 ohm mm2/km, tinned 1 % to 6 % above.

    Pure copper is 17.24; the band is what the standards allow for stranding and tolerance.
    """
    copper = number(row, "resistance_copper_ohm_per_km")
    if str(row["key"]).startswith("ISO ") and copper is not None:
        section = required_number(row, "cross_section_mm2")
        given = {
            "resistance_copper_ohm_per_km": (18.1 / section, 19.705 / section),
            "resistance_tinned_copper_ohm_per_km": (1.01 * copper, 1.06 * copper),
        }
        yield from given_by("resistance times section", "conductor_sizes", row, given)


def adiabatic_constant(row: Row, _: Sequence[Row]) -> Iterator[Figure]:
    """Heat capacity from the seen constants K of IEC 60949 Table I, 226 and 148.

    K = sqrt(sigma (beta + 20) / rho) holds within 0.5 %, hence its square within 1 %.
    """
    constant = {"copper": 226.0, "aluminium": 148.0}.get(str(row["key"]))
    if constant is not None:
        resistivity = required_number(row, "resistivity_20c_ohm_mm2_per_m")
        beta = required_number(row, "beta_c")
        heat = constant**2 * resistivity / (beta + 20.0)
        given = {"volumetric_heat_capacity_j_per_cm3k": heat}
        yield from given_by("IEC 60949 Table I, K", "materials", row, given, relative=0.01)


# Share of copper by volume and least conductivity in % IACS, ASTM B566.
CLAD = {"cca_10": (0.10, 62.9), "cca_15": (0.15, 64.4)}


def clad_aluminium(row: Row, rows: Sequence[Row]) -> Iterator[Figure]:
    """Resistivity from the least conductivity, heat capacity and coefficient as a mixture."""
    metals = {str(other["key"]): other for other in rows}
    if row["key"] not in CLAD or not {"copper", "aluminium"} <= set(metals):
        return
    share, conductivity = CLAD[str(row["key"])]
    copper, aluminium = metals["copper"], metals["aluminium"]

    def mixture(column: str) -> float:
        return share * required_number(copper, column) + (1.0 - share) * required_number(
            aluminium, column
        )

    for column, value, tolerance in (
        ("resistivity_20c_ohm_mm2_per_m", 1.7241 / conductivity, 1e-4),
        ("volumetric_heat_capacity_j_per_cm3k", mixture("volumetric_heat_capacity_j_per_cm3k"), 0),
        # Weighting by the current in each metal instead gives 0.2 % less.
        ("temperature_coefficient_20c_per_k", mixture("temperature_coefficient_20c_per_k"), 0.003),
    ):
        yield from given_by("ASTM B566 mixture", "materials", row, {column: value}, tolerance)


def insulation_ratings(row: Row, _: Sequence[Row]) -> Iterator[Figure]:
    """Rating as the key says it; overload 50 K above (ISO 6722-1, 6 h, from memory)."""
    stem, _separator, rating = str(row["key"]).rpartition("_")
    if stem and rating.isdigit():
        given: dict[str, Expected] = {
            "temperature_rating_c": float(rating),
            "overload_temperature_c": float(rating) + 50.0,
        }
        yield from given_by("rating in the key", "insulations", row, given, checked="memory")


# Factors k of copper in A s^0.5 / mm2 that were seen in print, IEC 60364-4-43 Table 43A.
K_OF_COPPER = {"pvc_70": 115.0, "pvc_90": 100.0, "xlpe_90": 143.0}


def short_circuit_limits(row: Row, _: Sequence[Row]) -> Iterator[Figure]:
    """Final temperature behind a printed k = 226 sqrt(ln((Tf + 234.5) / (Ti + 234.5))), IEC 60949.

    Half a unit of k is 0.9 K at most.
    """
    if row["key"] in K_OF_COPPER:
        start = required_number(row, "temperature_rating_c") + 234.5
        final = start * math.exp((K_OF_COPPER[str(row["key"])] / 226.0) ** 2) - 234.5
        given = {"short_circuit_temperature_c": final}
        yield from given_by(
            "IEC 60364-4-43 Table 43A, k", "insulations", row, given, absolute=0.9, checked="page"
        )


# Pitch by ISO 261, width across flats by ISO 4032, medium clearance hole by ISO 273 [mm].
BOLTS = {
    4.0: (0.7, 7.0, 4.5),
    5.0: (0.8, 8.0, 5.5),
    6.0: (1.0, 10.0, 6.6),
    8.0: (1.25, 13.0, 9.0),
    10.0: (1.5, 16.0, 11.0),
    12.0: (1.75, 18.0, 13.5),
}


def bolt_torque(row: Row, _: Sequence[Row]) -> Iterator[Figure]:
    """Tightening torque by VDI 2230 part 1, of 8.8 bolts at 90 % of 640 N/mm2 and friction 0.12.

    Thread by ISO 724. The bearing face is taken 5 % narrower than the flats, which the table takes
    by the head; that is within 3 %.
    """
    diameter = required_number(row, "diameter_mm")
    if row["joint"] != "bolt" or diameter not in BOLTS:
        return
    pitch, flats, hole = BOLTS[diameter]
    flank, core = diameter - 0.649519 * pitch, diameter - 1.226869 * pitch
    stressed, friction = 0.5 * (flank + core), 0.12
    twist = 1.5 * flank / stressed * (pitch / (math.pi * flank) + 1.155 * friction)
    preload = 0.9 * 640.0 * math.pi / 4.0 * stressed**2 / math.sqrt(1.0 + 3.0 * twist**2)
    lever = 0.16 * pitch + friction * (0.58 * flank + 0.25 * (0.95 * flats + hole))
    given = {"torque_n_m": 1e-3 * preload * lever}
    yield from given_by("VDI 2230 tightening torque", "torques", row, given, relative=0.03)


FORMULAS: Mapping[str, tuple[Formula, ...]] = {
    "air": (standard_atmosphere,),
    "amplifier_classes": (step_up_supply,),
    "conductor_sizes": (gauge_geometry, size_names, resistance_times_section),
    "insulations": (insulation_ratings, short_circuit_limits),
    "materials": (adiabatic_constant, clad_aluminium),
    "torques": (bolt_torque,),
}


def formula_figures(table: str, row: Row, rows: Sequence[Row]) -> Iterator[Figure]:
    """Yield what every formula of a table says about a row."""
    for formula in FORMULAS.get(table, ()):
        yield from formula(row, rows)
