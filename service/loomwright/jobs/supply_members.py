"""The members that say what a vehicle's supply has and what is to hang on it."""

from collections.abc import Mapping
from decimal import Decimal

from loomwright.engineering.supply.remedies import COST_RANK
from loomwright.engineering.supply.request import STATES
from loomwright.pricing.members import (
    Choice,
    Choices,
    DecimalText,
    Member,
    Number,
    Record,
    Records,
    Text,
    Truth,
)

# A battery of a kind that the tables do not have states its own curve.
OTHER_KIND = "other"
BATTERY_KINDS = ("agm", "flooded", OTHER_KIND)
LINEAR_DRAW, POWER_DRAW = "output_voltage", "output_power"
DRAW_EXPONENTS = {LINEAR_DRAW: 0.5, POWER_DRAW: 1.0}
_SPEED = (1.0, 30_000.0, "rpm", "shaft_speed")
_GREATEST_CURRENT_A = 5000.0


def _optional(lower: float, upper: float, unit: str, quantity: str, about: str) -> Number:
    return Number(lower, upper, unit, quantity, required=False, about=about)


def _current(about: str, lower: float = 0.0) -> Number:
    return _optional(lower, _GREATEST_CURRENT_A, "A", "current", about)


def _drawn(about: str) -> Number:
    return Number(0.0, _GREATEST_CURRENT_A, "A", "current", 0.0, about=about)


def _percent(lower: float, about: str) -> Number:
    return _optional(lower, 100.0, "%", "", about)


OUTPUT_POINT: Mapping[str, Member] = {
    "alternator_speed": Number(*_SPEED, about="Of the alternator, not of the engine."),
    "output_current": Number(0.0, _GREATEST_CURRENT_A, "A", "current", about="At that speed."),
}
ALTERNATOR: Mapping[str, Member] = {
    "designation": Text(
        required=False,
        about="As stamped by ISO 8854 or SAE J56, such as 70/140A 13.5V: output at 1500 and at "
        "6000 rpm of the alternator; instead of output_curve.",
    ),
    "output_curve": Records(
        "OutputPoint", OUTPUT_POINT, 2, 20, required=False, about="Rising in speed, at 23 degC."
    ),
    "pulley_ratio": Number(0.5, 10.0, about="Alternator speed over engine speed."),
    "idle_speed": Number(*_SPEED, about="Of the engine."),
    "cruise_speed": Number(*_SPEED, about="Of the engine, on the road."),
    "greatest_idle_speed": _optional(
        *_SPEED, about="To which idle may be raised; 1200 rpm or idle_speed if absent."
    ),
    "hot_output_percent": _percent(
        10.0, "Output of the hot alternator in per cent of the cold one; a usual share if absent."
    ),
}
CONVERTER: Mapping[str, Member] = {
    "greatest_current": _current("Rated output; instead of greatest_power.", 0.1),
    "greatest_power": _optional(1.0, 100_000.0, "W", "power", "Instead of greatest_current."),
    "available_output_percent": Number(
        1.0, 100.0, "%", default=100.0, about="What heat and the vehicle maker leave of it."
    ),
    "efficiency_percent": _percent(50.0, "A usual one if absent."),
}
CURVE_POINT: Mapping[str, Member] = {
    "state_of_charge_percent": Number(0.0, 100.0, "%", about="Rising from 0 to 100."),
    "open_circuit_voltage": Number(1.0, 100.0, "V", "voltage", about="Of the whole bank, rested."),
}
BATTERY: Mapping[str, Member] = {
    "kind": Choice(BATTERY_KINDS, about="Lead-acid of the tables, or another with its own curve."),
    "capacity": Number(0.5, 5000.0, "Ah", "charge", about="Rated, of the whole bank."),
    "rated_time": Number(
        3600.0, 720_000.0, "s", "time", 72_000.0, about="Discharge time of that rating."
    ),
    "internal_resistance": _optional(
        0.0, 10.0, "ohm", "resistance", "Of the bank; instead of cold_cranking_current."
    ),
    "cold_cranking_current": _current(
        "Of the bank by EN 50342-1; instead of internal_resistance, not with kind other.", 1.0
    ),
    "state_of_charge_percent": _percent(0.0, "Now; that of a vehicle in use if absent."),
    "start_state_of_charge_percent": _percent(
        0.0, "Least that still starts the vehicle; a usual one if absent."
    ),
    "cut_off_voltage": _optional(
        1.0, 100.0, "V", "voltage", "At which equipment is switched off; 10.5 V a 12 V if absent."
    ),
    "peukert_exponent": Number(
        1.0, 2.0, required=False, about="That of the kind if absent; 1 where no rate matters."
    ),
    "self_discharge_percent_per_month": _optional(
        0.0, 50.0, "%", "", "That of the kind if absent, none with kind other."
    ),
    "open_circuit_curve": Records(
        "OpenCircuitPoint",
        CURVE_POINT,
        2,
        20,
        required=False,
        about="Instead of that of the kind; kind other needs it.",
    ),
}
EXISTING_LOADS: Mapping[str, Member] = {
    "idle_current": _drawn("Taken by the vehicle at idle."),
    "driving_current": _drawn("Taken by it on the road."),
    "engine_off_current": _drawn("Taken by it with the engine off and the key on."),
    "key_off_current": _drawn("Taken by it as it stands parked."),
}
VEHICLE_SUPPLY: Mapping[str, Member] = {
    "alternator": Record(
        "Alternator", ALTERNATOR, required=False, about="Charging source, if it is one."
    ),
    "converter": Record(
        "SupplyConverter", CONVERTER, required=False, about="Instead of alternator in a hybrid."
    ),
    "set_voltage": _optional(
        1.0,
        100.0,
        "V",
        "voltage",
        "Of the charging source; the test voltage 13.5 V a 12 V if absent.",
    ),
    "battery": Record("SupplyBattery", BATTERY, about="Of the low-voltage system."),
    "existing_loads": Record(
        "ExistingLoads", EXISTING_LOADS, required=False, about="What the vehicle takes itself."
    ),
    "engine_off_time": _optional(
        1.0, 2_592_000.0, "s", "time", "For which the loads shall run with the engine off."
    ),
    "standing_time": _optional(
        0.01, 365.0, "d", "", "After which the parked vehicle shall still start."
    ),
}
VEHICLE_SUPPLY_RECORD = Record(
    "VehicleSupply", VEHICLE_SUPPLY, about="Charging source, battery and what they feed already."
)
SUPPLY_LOAD: Mapping[str, Member] = {
    "key": Text(about="Unique among the loads."),
    "load_current": _current("At its peak; instead of load_power.", 0.001),
    "load_power": _optional(
        0.001, 100_000.0, "W", "power", "Constant power at its peak; instead of load_current."
    ),
    "average_current_share": Number(
        0.0, 1.0, required=False, about="Average over peak draw while in use; 1 if absent."
    ),
    "crest_factor_db": _optional(
        3.0103, 40.0, "dB", "", "Of what an amplifier plays, instead of average_current_share."
    ),
    "draw_follows": Choice(
        tuple(DRAW_EXPONENTS),
        default=LINEAR_DRAW,
        about="What the draw of an amplifier follows: output_power if it switches, the output "
        "voltage if it is linear, which saves less.",
    ),
    "has_drive_level": Truth(False, about="Whether a lower drive level lowers the draw."),
    "loop_resistance": _optional(
        0.0, 10.0, "ohm", "resistance", "Wiring there and back; instead of voltage_drop."
    ),
    "voltage_drop": _optional(
        0.0, 20.0, "V", "voltage", "In the wiring there and back, at the peak at system voltage."
    ),
    "least_voltage": _optional(1.0, 100.0, "V", "voltage", "At which it still works."),
    "standby_current": _drawn("Drawn as the vehicle stands parked."),
    "states": Choices(
        STATES, 1, len(STATES), required=False, about="When it is used; always if absent."
    ),
    "peak_time": _optional(0.001, 3600.0, "s", "time", "That a peak lasts; 1 s if absent."),
}
SUPPLY_LOADS = Records("SupplyLoad", SUPPLY_LOAD, 1, 100, "key", about="New equipment.")
REMEDY_PRICES = Record(
    "RemedyPrices",
    {
        key: DecimalText(Decimal(0), required=False, about="Price, in any one currency.")
        for key in COST_RANK
    },
    required=False,
    about="Where each remedy that helps has a price, the cheapest is chosen by price.",
)
