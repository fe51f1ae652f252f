"""Reading of a vehicle's supply and its loads from plain JSON documents, every fault listed."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from loomwright.engineering.audio.levels import programme_power_fraction
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.faults import internal_resistance_from_en_cold_cranking_ohm
from loomwright.engineering.supply.alternator import (
    Alternator,
    OutputCurve,
    designation_of,
    output_curve_of,
)
from loomwright.engineering.supply.battery import Battery
from loomwright.engineering.supply.converter import Converter, rated_current_of_power_a
from loomwright.engineering.supply.remedies import COST_RANK
from loomwright.engineering.supply.request import (
    STATES,
    ExistingLoads,
    SupplyLoad,
    SupplyRequest,
    VehicleSupply,
)
from loomwright.jobs.supply_members import DRAW_EXPONENTS, OTHER_KIND
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.records import Provenance
from loomwright.tables.supply_records import SupplyTables, VoltageCurve

NOMINAL_BATTERY_V = 12.0
SECONDS_PER_MINUTE, SECONDS_PER_DAY = 60.0, 86_400.0
SECONDS_PER_MONTH = 30.0 * SECONDS_PER_DAY
AMPERE_SECONDS_PER_AMPERE_HOUR = 3600.0
# Set voltage and designation over system voltage; 16 V of 12 V is the most that equipment bears.
LEAST_SET_SHARE, GREATEST_SET_SHARE = 1.0, 1.34


class _Defaults:
    """Figures of the tables that stand in for what is not stated, with where they come from."""

    def __init__(self, tables: SupplyTables) -> None:
        self._tables = tables
        self.used: dict[Provenance, None] = {}

    def factor(self, key: str) -> float:
        """Return a factor of the tables and note that the answer rests on it."""
        factor = self._tables.factors[key]
        self.used[factor.provenance] = None
        return factor.value


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
    defaults = _Defaults(tables)
    if reader.has("alternator") and reader.has("converter"):
        reader.fault("converter", "State either alternator or converter, not both.")
    if not system_voltage_v:
        # Of the system voltage only the scale of defaults is missing; all faults are still found.
        system_voltage_v = NOMINAL_BATTERY_V
    set_v = _set_voltage(reader, system_voltage_v, defaults)
    is_practice = False
    alternator = converter = None
    if reader.has("alternator"):
        item = reader.object("alternator")
        is_practice = not item.has("hot_output_percent")
        alternator = _alternator(item, system_voltage_v, set_v, defaults)
    if reader.has("converter"):
        converter = _converter(reader.object("converter"), set_v, defaults)
    battery_reader = reader.object("battery")
    battery = _battery(battery_reader, system_voltage_v, tables, defaults)
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


def _one_of(reader: ObjectReader, first: str, second: str) -> bool:
    if reader.has(first) == reader.has(second):
        reader.fault(first, f"State either {first} or {second}, not both and not neither.")
        return False
    return True


def _not_both(reader: ObjectReader, first: str, second: str) -> None:
    if reader.has(first) and reader.has(second):
        reader.fault(first, f"State either {first} or {second}, not both.")


def _fits(system_v: float, voltage_v: float) -> bool:
    return LEAST_SET_SHARE <= voltage_v / system_v <= GREATEST_SET_SHARE


def _set_voltage(reader: ObjectReader, system_v: float, defaults: _Defaults) -> float:
    if not reader.has("set_voltage"):
        return defaults.factor("rating_voltage_v") * system_v / NOMINAL_BATTERY_V
    before = len(reader.faults)
    set_v = reader.number("set_voltage")
    if len(reader.faults) == before and not _fits(system_v, set_v):
        reader.fault(
            "set_voltage",
            f"From {LEAST_SET_SHARE * system_v:g} to {GREATEST_SET_SHARE * system_v:g} V fits "
            f"a {system_v:g} V system.",
        )
    return set_v


def _per_s(reader: ObjectReader, name: str) -> float:
    return reader.number(name) / SECONDS_PER_MINUTE


def _alternator(
    reader: ObjectReader, system_v: float, set_v: float, defaults: _Defaults
) -> Alternator:
    idle, cruise = _per_s(reader, "idle_speed"), _per_s(reader, "cruise_speed")
    if cruise < idle:
        reader.fault("cruise_speed", "It lies below idle_speed.")
    if reader.has("greatest_idle_speed"):
        greatest = _per_s(reader, "greatest_idle_speed")
        if greatest < idle:
            reader.fault("greatest_idle_speed", "It lies below idle_speed.")
    else:
        greatest = max(idle, defaults.factor("greatest_idle_rpm") / SECONDS_PER_MINUTE)
    share = (
        reader.number("hot_output_percent")
        if reader.has("hot_output_percent")
        else defaults.factor("hot_output_percent")
    )
    return Alternator(
        curve=_output_curve(reader, system_v, defaults),
        pulley_ratio=reader.number("pulley_ratio"),
        hot_output_share=share / 100.0,
        set_voltage_v=set_v,
        idle_speed_per_s=idle,
        cruise_speed_per_s=cruise,
        greatest_idle_speed_per_s=greatest,
    )


def _output_curve(reader: ObjectReader, system_v: float, defaults: _Defaults) -> OutputCurve:
    if not _one_of(reader, "designation", "output_curve"):
        return ()
    if reader.has("output_curve"):
        return _points(reader)
    text = reader.text("designation")
    stated = designation_of(text)
    if stated is None:
        reader.fault("designation", "A designation such as 70/140A 13.5V is needed.")
        return ()
    if stated.rated_current_a < stated.low_speed_current_a:
        reader.fault("designation", "The rated current lies below that at the low speed.")
    if not _fits(system_v, stated.test_voltage_v):
        reader.fault("designation", f"Its test voltage does not fit a {system_v:g} V system.")
    return output_curve_of(
        stated,
        defaults.factor("low_speed_rpm") / SECONDS_PER_MINUTE,
        defaults.factor("rated_speed_rpm") / SECONDS_PER_MINUTE,
    )


def _points(reader: ObjectReader) -> OutputCurve:
    readers = reader.objects("output_curve")
    points = [(_per_s(item, "alternator_speed"), item.number("output_current")) for item in readers]
    for item, (before, after) in zip(readers[1:], pairwise(points), strict=True):
        if after[0] <= before[0]:
            item.fault("alternator_speed", "The speeds do not rise.")
        if after[1] < before[1]:
            item.fault("output_current", "The output falls with the speed.")
    return tuple(points)


def _converter(reader: ObjectReader, set_v: float, defaults: _Defaults) -> Converter:
    _one_of(reader, "greatest_current", "greatest_power")
    current_a = reader.optional_number("greatest_current")
    power_w = reader.optional_number("greatest_power")
    if current_a is None:
        current_a = rated_current_of_power_a(power_w or 0.0, set_v)
    efficiency = (
        reader.number("efficiency_percent")
        if reader.has("efficiency_percent")
        else defaults.factor("converter_efficiency_percent")
    )
    return Converter(
        rated_current_a=current_a,
        available_share=reader.number("available_output_percent") / 100.0,
        efficiency=efficiency / 100.0,
        set_voltage_v=set_v,
    )


def _battery(
    reader: ObjectReader, system_v: float, tables: SupplyTables, defaults: _Defaults
) -> Battery | None:
    before = len(reader.faults)
    in_series = system_v / NOMINAL_BATTERY_V
    kind_key = reader.choice("kind")
    kind = tables.battery_kinds.get(kind_key)
    curve: VoltageCurve = ()
    if reader.has("open_circuit_curve"):
        curve = _voltage_curve(reader)
    elif kind is not None:
        curve = tuple((state, volts * in_series) for state, volts in kind.open_circuit_voltages_v)
        defaults.used |= dict.fromkeys(kind.voltage_provenances)
    if kind_key == OTHER_KIND:
        for name in ("open_circuit_curve", "peukert_exponent"):
            if not reader.has(name):
                reader.fault(name, "A battery of kind other needs it.")
        if reader.has("cold_cranking_current"):
            reader.fault("cold_cranking_current", "State internal_resistance with kind other.")
    _one_of(reader, "internal_resistance", "cold_cranking_current")
    resistance_ohm = reader.optional_number("internal_resistance")
    cranking_a = reader.optional_number("cold_cranking_current")
    exponent = reader.optional_number("peukert_exponent")
    monthly = reader.optional_number("self_discharge_percent_per_month")
    if kind is not None and (exponent is None or monthly is None):
        defaults.used[kind.provenance] = None
    capacity_ah, rated_s = reader.number("capacity"), reader.number("rated_time")
    now = _percent(reader, "state_of_charge_percent", "state_of_charge_percent", defaults)
    start = _percent(
        reader, "start_state_of_charge_percent", "start_state_of_charge_percent", defaults
    )
    cut_off_v = reader.optional_number("cut_off_voltage")
    if cut_off_v is None:
        cut_off_v = defaults.factor("cut_off_voltage_v") * in_series
    if len(reader.faults) > before:
        return None
    if resistance_ohm is None:
        # The cold-cranking test is one of a full battery.
        try:
            resistance_ohm = internal_resistance_from_en_cold_cranking_ohm(
                curve[-1][1], cranking_a or 0.0, round(in_series)
            )
        except EngineeringError as error:
            reader.fault("cold_cranking_current", error.message)
            return None
    own_discharge = kind.self_discharge_per_s if kind else 0.0
    return Battery(
        capacity_as=capacity_ah * AMPERE_SECONDS_PER_AMPERE_HOUR,
        rated_time_s=rated_s,
        peukert_exponent=exponent or (kind.peukert_exponent if kind else 1.0),
        internal_resistance_ohm=resistance_ohm,
        state_of_charge=now,
        start_state_of_charge=start,
        cut_off_voltage_v=cut_off_v,
        self_discharge_per_s=own_discharge
        if monthly is None
        else monthly / 100 / SECONDS_PER_MONTH,
        open_circuit_voltages_v=curve,
    )


def _percent(reader: ObjectReader, name: str, key: str, defaults: _Defaults) -> float:
    stated = reader.optional_number(name)
    return (defaults.factor(key) if stated is None else stated) / 100.0


def _voltage_curve(reader: ObjectReader) -> VoltageCurve:
    readers = reader.objects("open_circuit_curve")
    points = [
        (item.number("state_of_charge_percent") / 100.0, item.number("open_circuit_voltage"))
        for item in readers
    ]
    for item, (before, after) in zip(readers[1:], pairwise(points), strict=True):
        if after[0] <= before[0]:
            item.fault("state_of_charge_percent", "The states of charge do not rise.")
        if after[1] <= before[1]:
            item.fault("open_circuit_voltage", "The voltage does not rise with the charge.")
    if points and (points[0][0], points[-1][0]) != (0.0, 1.0):
        reader.fault("open_circuit_curve", "It reaches from 0 to 100 % of charge.")
    return tuple(points)


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
    _one_of(reader, "load_current", "load_power")
    _not_both(reader, "average_current_share", "crest_factor_db")
    _not_both(reader, "loop_resistance", "voltage_drop")
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
