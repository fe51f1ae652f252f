"""What the loaders hand on is what the tables print: every cell of every row, in SI units.

The figures are compared with the printed rows, so a loader must neither mix up columns nor units.
"""

import pytest

from loomwright.tables import signal_load
from loomwright.tables.audio_load import audio_tables
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.supply_load import supply_tables
from loomwright.tables.tolerance_load import tolerances
from reference.coverage import figure_columns
from reference.figures import SPECS, shipped_rows

CELSIUS = 273.15
CORE, FUSES, AUDIO, SUPPLY = tables(), fuse_tables(), audio_tables(), supply_tables()
# Only the law of the table reads it: it ties the viscosity to the Prandtl number.
NOT_HANDED_ON = {("air", "thermal_diffusivity_mm2_per_s")}


def yes_or_no(flag):
    return "yes" if flag else "no"


def band_percent(name, band):
    low, high = (None, None) if band is None else (band.low * 100, band.high * 100)
    return {f"{name}_low_percent": low, f"{name}_high_percent": high}


def materials():
    for item in CORE.materials.values():
        yield {
            "key": item.key,
            "resistivity_20c_ohm_mm2_per_m": item.resistivity_20c_ohm_m * 1e6,
            "temperature_coefficient_20c_per_k": item.temperature_coefficient_20c_per_k,
            "volumetric_heat_capacity_j_per_cm3k": item.volumetric_heat_capacity_j_per_m3k / 1e6,
            "beta_c": item.adiabatic_beta_k,
        }


def insulations():
    for item in CORE.insulations.values():
        yield {
            "key": item.key,
            "temperature_rating_c": item.temperature_rating_k - CELSIUS,
            "overload_temperature_c": item.overload_temperature_k - CELSIUS,
            "short_circuit_temperature_c": item.short_circuit_temperature_k - CELSIUS,
            "thermal_resistivity_km_per_w": item.thermal_resistivity_km_per_w,
            "volumetric_heat_capacity_j_per_cm3k": item.volumetric_heat_capacity_j_per_m3k / 1e6,
            "emissivity": item.emissivity,
        }


def zones():
    for item in CORE.zones.values():
        yield {
            "key": item.key,
            "ambient_temperature_c": item.ambient_temperature_k - CELSIUS,
            "engine_space": yes_or_no(item.engine_space),
        }


def air():
    for at, temperature in enumerate(CORE.air.temperature_k):
        yield {
            "temperature_k": temperature,
            "conductivity_w_per_mk": CORE.air.conductivity_w_per_mk[at],
            "kinematic_viscosity_mm2_per_s": CORE.air.kinematic_viscosity_m2_per_s[at] * 1e6,
            "prandtl": CORE.air.prandtl[at],
        }


def conductor_sizes():
    for item in CORE.conductors.values():
        coefficients = set(item.temperature_coefficients_20c_per_k.values())
        yield {
            "key": item.key,
            "series": item.series,
            "rank": item.rank,
            "cross_section_mm2": item.cross_section_m2 * 1e6,
            **{
                f"resistance_{metal}_ohm_per_km": None if ohms is None else ohms * 1e3
                for metal in ("copper", "tinned_copper", "aluminium")
                for ohms in (item.resistance_20c_ohm_per_m.get(metal),)
            },
            "temperature_coefficient_20c_per_k": coefficients.pop() if coefficients else None,
            "conductor_diameter_mm": item.conductor_diameter_m * 1e3,
            "outside_diameter_mm": item.outside_diameter_m * 1e3,
        }


def ampacities():
    for item in CORE.ampacities:
        yield {
            "table": item.table,
            "size": item.size,
            "temperature_rating_c": item.temperature_rating_k - CELSIUS,
            "ampacity_a": item.ampacity_a,
        }


def rating_factors():
    for item in CORE.factors:
        offset = CELSIUS if item.condition == "engine_space" else 0.0
        yield {
            "table": item.table,
            "condition": item.condition,
            "lower": item.lower - offset,
            "upper": item.upper - offset,
            "factor": item.factor,
        }


def torques():
    for item in CORE.torques.values():
        yield {
            "joint": item.joint,
            "stud": item.stud,
            "diameter_mm": item.diameter_m * 1e3,
            "torque_n_m": item.torque_n_m,
        }


def amplifier_classes():
    for item in AUDIO.amplifier_classes.values():
        yield {
            "key": item.key,
            "theoretical_efficiency_percent": item.theoretical_efficiency * 100,
            **band_percent("efficiency", item.efficiency),
            **band_percent("efficiency_with_converter", item.efficiency_with_converter),
            "stage": "switching" if item.delivers_from_supply else "linear",
            "idle_share_percent": item.idle_share * 100,
            "square_root_share_percent": item.square_root_share * 100,
            "fuse_loading_low_percent": item.fuse_loading_low * 100,
            "fuse_loading_likely_percent": item.fuse_loading_likely * 100,
            "rail_utilisation_low_percent": item.rail_utilisation_low * 100,
            "rail_utilisation_likely_percent": item.rail_utilisation_likely * 100,
            "rail_utilisation_high_percent": item.rail_utilisation_high * 100,
        }


def programmes():
    for item in AUDIO.programmes.values():
        yield {
            "key": item.key,
            "crest_factor_db": item.crest_factor_db,
            "crest_factor_low_db": item.crest_factor_low_db,
            "crest_factor_high_db": item.crest_factor_high_db,
        }


def fuse_types():
    for item in FUSES.types.values():
        yield {
            "key": item.key,
            "standard": item.standard,
            "mounting": item.mounting,
            "rated_voltages_v": ";".join(f"{volts:g}" for volts in item.rated_voltages_v),
            "breaking_capacity_a": item.breaking_capacity_a,
        }


def fuse_ratings():
    for item in FUSES.types.values():
        for rating in item.ratings_a:
            yield {"fuse_type": item.key, "rated_current_a": rating}


def fuse_opening_times():
    for item in FUSES.types.values():
        for point in item.opening_times:
            yield {
                "fuse_type": item.key,
                "current_percent": point.current_multiple * 100,
                "least_s": point.least_s,
                "greatest_s": point.greatest_s,
            }


def fuse_factors():
    for item in FUSES.factors.values():
        yield {"key": item.key, "value": item.value}


def fuse_position_limits():
    inches = {
        row["rule"]: row["greatest_distance_in"] is not None
        for row in shipped_rows("fuse_position_limits")
    }
    for item in FUSES.position_limits:
        distance, printed = item.greatest_distance_m, inches[item.rule]
        yield {
            "rule": item.rule,
            "sheathed": yes_or_no(item.sheathed),
            "on_battery_terminal": yes_or_no(item.on_battery_terminal),
            "greatest_distance_in": distance / 0.0254 if printed else None,
            "greatest_distance_mm": None if printed else distance * 1e3,
        }


def fuse_interrupting_capacities():
    for item in FUSES.interrupting_capacities:
        yield {
            "cold_cranking_above_a": item.cold_cranking_above_a,
            "cold_cranking_to_a": item.cold_cranking_to_a,
            "main_a": item.main_a,
            "branch_a": item.branch_a,
        }


def fuse_system_voltages():
    for item in FUSES.system_voltages:
        yield {"nominal_v": item.nominal_v, "greatest_operating_v": item.greatest_operating_v}


def signal_factors():
    for item in signal_load.signal_factors().values():
        yield {"key": item.key, "value": item.value}


def battery_kinds():
    for item in SUPPLY.battery_kinds.values():
        yield {
            "key": item.key,
            "peukert_exponent": item.peukert_exponent,
            "peukert_low": item.peukert_low,
            "peukert_high": item.peukert_high,
            # A month of 30 days.
            "self_discharge_percent_per_month": item.self_discharge_per_s * 100 * 30 * 86_400,
        }


def open_circuit_voltages():
    for item in SUPPLY.battery_kinds.values():
        for state, volts in item.open_circuit_voltages_v:
            yield {
                "kind": item.key,
                "state_of_charge_percent": state * 100,
                "open_circuit_voltage_v": volts,
            }


def supply_factors():
    for item in SUPPLY.factors.values():
        yield {"key": item.key, "value": item.value}


def tolerance_rows():
    for item in tolerances().values():
        scale = 100 if item.is_share else 1
        yield {
            "key": item.key,
            "unit": "percent" if item.is_share else "K",
            "below": item.below * scale,
            "above": item.above * scale,
        }


tolerance_rows.__name__ = "tolerances"


RECORDS = (
    air,
    ampacities,
    amplifier_classes,
    battery_kinds,
    conductor_sizes,
    fuse_factors,
    fuse_interrupting_capacities,
    fuse_opening_times,
    fuse_position_limits,
    fuse_ratings,
    fuse_system_voltages,
    fuse_types,
    insulations,
    materials,
    open_circuit_voltages,
    programmes,
    rating_factors,
    signal_factors,
    supply_factors,
    tolerance_rows,
    torques,
    zones,
)


def test_records_of_every_table_are_compared():
    assert {records.__name__ for records in RECORDS} == set(SPECS)


def plain(row, columns):
    """Return cells as text of nine digits, which drops what a conversion of units leaves."""
    return {
        name: f"{row[name]:.9g}" if isinstance(row[name], int | float) else row[name]
        for name in columns
    }


@pytest.mark.parametrize("records", RECORDS, ids=lambda records: records.__name__)
def test_records_hold_what_the_table_prints(records):
    table = records.__name__
    columns = [
        column.name for column in figure_columns(table) if (table, column.name) not in NOT_HANDED_ON
    ]

    def by_key(row):
        return [row[name] for name in SPECS[table].key]

    printed = sorted((plain(row, columns) for row in shipped_rows(table)), key=by_key)
    assert sorted((plain(row, columns) for row in records()), key=by_key) == printed
