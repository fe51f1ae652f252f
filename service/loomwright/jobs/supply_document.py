"""Reading of a vehicle's supply and its loads from plain JSON documents, every fault listed."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from loomwright.engineering.audio.levels import programme_power_fraction
from loomwright.engineering.supply.remedies import COST_RANK
from loomwright.engineering.supply.request import (
    STATES,
    ExistingLoads,
    SupplyLoad,
    SupplyRequest,
    VehicleSupply,
)
from loomwright.jobs.supply_battery import battery_from_reader
from loomwright.jobs.supply_charging import (
    alternator_from_reader,
    converter_from_reader,
    set_voltage,
)
from loomwright.jobs.supply_defaults import NOMINAL_BATTERY_V, Defaults, not_both, one_of
from loomwright.jobs.supply_members import DRAW_EXPONENTS
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.supply_records import SupplyTables

SECONDS_PER_DAY = 86_400.0


def supply_from_reader(
    reader: ObjectReader, system_voltage_v: float, tables: SupplyTables
) -> VehicleSupply | None:
    """Return the supply that an object states.

    Parameters
    ----------
    reader
        Of a ``VehicleSupply``; faults are noted with it.
    system_voltage_v
        Nominal voltage [V]; 0 where that is at fault itself.
    tables
        Kinds of battery, and what stands in for members left out.

    Returns
    -------
    VehicleSupply or None
        None where anything in it is wrong.
    """
    before = len(reader.faults)
    defaults = Defaults(tables)
    if reader.has("alternator") and reader.has("converter"):
        reader.fault("converter", "State either alternator or converter, not both.")
    if not system_voltage_v:
        # Of the system voltage only the scale of defaults is missing; all faults are still found.
        system_voltage_v = NOMINAL_BATTERY_V
    set_v = set_voltage(reader, system_voltage_v, defaults)
    is_practice = False
    alternator = converter = None
    if reader.has("alternator"):
        item = reader.object("alternator")
        is_practice = not item.has("hot_output_percent")
        alternator = alternator_from_reader(item, system_voltage_v, set_v, defaults)
    if reader.has("converter"):
        converter = converter_from_reader(reader.object("converter"), set_v, defaults)
    battery_reader = reader.object("battery")
    battery = battery_from_reader(battery_reader, system_voltage_v, tables, defaults)
    existing = ExistingLoads()
    if reader.has("existing_loads"):
        existing = _existing_loads(reader.object("existing_loads"))
    standing_days = reader.optional_number("standing_time")
    engine_off_s = reader.optional_number("engine_off_time")
    if len(reader.faults) > before or battery is None:
        return None
    return VehicleSupply(
        system_voltage_v=system_voltage_v,
        battery=battery,
        alternator=alternator,
        converter=converter,
        existing=existing,
        wanted_engine_off_s=engine_off_s,
        wanted_standing_s=None if standing_days is None else standing_days * SECONDS_PER_DAY,
        resistance_is_cold=battery_reader.has("cold_cranking_current"),
        share_is_practice=is_practice,
        provenances=tuple(defaults.used),
    )


def _existing_loads(reader: ObjectReader) -> ExistingLoads:
    return ExistingLoads(
        idle_a=reader.number("idle_current"),
        driving_a=reader.number("driving_current"),
        engine_off_a=reader.number("engine_off_current"),
        key_off_a=reader.number("key_off_current"),
    )


def load_from_reader(
    reader: ObjectReader, system_voltage_v: float, tables: SupplyTables
) -> SupplyLoad:
    """Return the load that an object states.

    Parameters
    ----------
    reader
        Of a ``SupplyLoad``; faults are noted with it.
    system_voltage_v
        Nominal voltage [V], at which the draw of a load of constant power is taken.
    tables
        What stands in for members left out.

    Returns
    -------
    SupplyLoad
        A stand-in where anything is wrong.
    """
    system_v = system_voltage_v or NOMINAL_BATTERY_V
    one_of(reader, "load_current", "load_power")
    not_both(reader, "average_current_share", "crest_factor_db")
    not_both(reader, "loop_resistance", "voltage_drop")
    current_a = reader.optional_number("load_current")
    power_w = reader.optional_number("load_power")
    peak_a = current_a if current_a is not None else (power_w or 0.0) / system_v
    exponent = DRAW_EXPONENTS.get(reader.choice("draw_follows"), 1.0)
    share = reader.optional_number("average_current_share")
    crest_factor_db = reader.optional_number("crest_factor_db")
    if crest_factor_db is not None:
        share = float(programme_power_fraction(crest_factor_db)) ** exponent
    peak_s = reader.optional_number("peak_time")
    return SupplyLoad(
        key=reader.text("key"),
        current_a=current_a,
        power_w=power_w if current_a is None else None,
        average_current_a=peak_a * (1.0 if share is None else share),
        loop_resistance_ohm=_loop_resistance(reader, system_v, current_a, power_w),
        least_voltage_v=reader.optional_number("least_voltage"),
        standby_current_a=reader.number("standby_current"),
        states=reader.choices("states") if reader.has("states") else STATES,
        peak_time_s=tables.factors["peak_time_s"].value if peak_s is None else peak_s,
        has_drive_level=reader.truth("has_drive_level"),
        draw_exponent=exponent,
    )


def _loop_resistance(
    reader: ObjectReader, system_v: float, current_a: float | None, power_w: float | None
) -> float:
    drop_v = reader.optional_number("voltage_drop")
    if drop_v is None:
        return reader.optional_number("loop_resistance") or 0.0
    if drop_v >= system_v:
        reader.fault("voltage_drop", f"It leaves nothing of {system_v:g} V.")
        return 0.0
    drawn_a = current_a if current_a is not None else (power_w or 0.0) / (system_v - drop_v)
    return drop_v / drawn_a if drawn_a > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class StatedSupply:
    """Supply and loads of a request, and the prices of remedies."""

    request: SupplyRequest
    prices: Mapping[str, Decimal]


def supply_from_document(reader: ObjectReader, tables: SupplyTables) -> StatedSupply | None:
    """Return the supply with its loads that a request states.

    Parameters
    ----------
    reader
        Of the request; faults are noted with it.
    tables
        Kinds of battery, and what stands in for members left out.

    Returns
    -------
    StatedSupply or None
        None where anything is wrong.
    """
    system_v = reader.number_choice("system_voltage")
    supply = supply_from_reader(reader.object("supply"), system_v, tables)
    readers = reader.objects("loads")
    loads = tuple(load_from_reader(item, system_v, tables) for item in readers)
    is_usual = any(not item.has("peak_time") for item in readers)
    provenances = (tables.factors["peak_time_s"].provenance,) if is_usual else ()
    prices: dict[str, Decimal] = {}
    if reader.has("remedy_prices"):
        listed = reader.object("remedy_prices")
        stated = {key: listed.optional_decimal(key) for key in COST_RANK}
        prices = {key: price for key, price in stated.items() if price is not None}
    if reader.faults or supply is None:
        return None
    return StatedSupply(SupplyRequest(supply, loads, provenances), prices)
