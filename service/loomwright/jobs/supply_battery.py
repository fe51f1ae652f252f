"""Reading of a vehicle's battery."""

from itertools import pairwise

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.faults import internal_resistance_from_en_cold_cranking_ohm
from loomwright.engineering.supply.battery import Battery
from loomwright.jobs.supply_defaults import NOMINAL_BATTERY_V, Defaults, one_of
from loomwright.jobs.supply_members import OTHER_KIND
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.supply_records import SupplyTables, VoltageCurve

SECONDS_PER_MONTH = 30.0 * 86_400.0
AMPERE_SECONDS_PER_AMPERE_HOUR = 3600.0


def battery_from_reader(
    reader: ObjectReader, system_v: float, tables: SupplyTables, defaults: Defaults
) -> Battery | None:
    """Return the battery that an object states; None where anything in it is wrong."""
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
    one_of(reader, "internal_resistance", "cold_cranking_current")
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


def _percent(reader: ObjectReader, name: str, key: str, defaults: Defaults) -> float:
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
