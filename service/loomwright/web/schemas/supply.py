"""Request and answer of assess-supply."""

from functools import cache
from typing import Any

from marshmallow import fields

from loomwright.engineering.supply.alternator import BELOW_CURVE, BEYOND_CURVE, WITHIN_CURVE
from loomwright.engineering.supply.assessment import VERDICTS
from loomwright.engineering.supply.battery import DISCHARGE_ENDS
from loomwright.engineering.supply.checks import CHECKS
from loomwright.engineering.supply.converter import CONVERTER_LIMIT
from loomwright.engineering.supply.remedies import BY_PRICE, BY_RANK, COST_RANK
from loomwright.engineering.supply.request import RUNNING_STATES, STATES
from loomwright.jobs.job import SYSTEM_VOLTAGES_V
from loomwright.jobs.supply_answer import UNITS
from loomwright.jobs.supply_members import REMEDY_PRICES, SUPPLY_LOADS, VEHICLE_SUPPLY_RECORD
from loomwright.pricing.members import NumberChoice, Record
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.common import AnswerBase
from loomwright.web.schemas.documents import JsonSchema, components
from loomwright.web.schemas.supply_rules import SUPPLY_RULES

SUPPLY_REQUEST = Record(
    "AssessSupplyRequest",
    {
        "system_voltage": NumberChoice(
            SYSTEM_VOLTAGES_V, "V", about="Nominal voltage of the low-voltage system."
        ),
        "supply": VEHICLE_SUPPLY_RECORD,
        "loads": SUPPLY_LOADS,
        "remedy_prices": REMEDY_PRICES,
    },
)


@cache
def supply_components() -> dict[str, JsonSchema]:
    """Return the component schemas of the request, by name."""
    return components(SUPPLY_REQUEST, SUPPLY_RULES)


def supply_examples() -> dict[str, dict[str, Any]]:
    """Return requests by name: a car with music, a truck of 24 V, a hybrid with a converter."""
    return {
        "car_with_music": {
            "system_voltage": 12,
            "supply": {
                "alternator": {
                    "designation": "50/120A 13.5V",
                    "pulley_ratio": 2.7,
                    "idle_speed": 750,
                    "cruise_speed": "2200 rpm",
                },
                "set_voltage": 14.2,
                "battery": {"kind": "flooded", "capacity": "70 Ah", "cold_cranking_current": 640},
                "existing_loads": {
                    "idle_current": 32,
                    "driving_current": 38,
                    "engine_off_current": 2,
                    "key_off_current": "30 mA",
                },
                "engine_off_time": "2 h",
                "standing_time": 21,
            },
            "loads": [
                {
                    "key": "amplifier",
                    "load_current": 62,
                    "crest_factor_db": 12.0412,
                    "has_drive_level": True,
                    "loop_resistance": "19 mohm",
                    "least_voltage": 10.8,
                    "standby_current": "5 mA",
                },
                {"key": "radio", "load_current": 4, "voltage_drop": 0.2, "least_voltage": 10},
            ],
        },
        "truck_24v": {
            "system_voltage": 24,
            "supply": {
                "alternator": {
                    "output_curve": [
                        {"alternator_speed": 1500, "output_current": 35},
                        {"alternator_speed": 3000, "output_current": 76},
                        {"alternator_speed": 6000, "output_current": 100},
                    ],
                    "pulley_ratio": 3.4,
                    "idle_speed": 600,
                    "cruise_speed": 1300,
                    "hot_output_percent": 85,
                },
                "set_voltage": 28,
                "battery": {
                    "kind": "agm",
                    "capacity": 180,
                    "internal_resistance": "9 mohm",
                    "state_of_charge_percent": 90,
                },
                "existing_loads": {"idle_current": 28, "driving_current": 34},
                "engine_off_time": "8 h",
            },
            "loads": [
                {"key": "heater", "load_power": 240, "average_current_share": 0.25},
                {
                    "key": "work_lights",
                    "load_power": 160,
                    "voltage_drop": 0.6,
                    "least_voltage": 22,
                    "states": ["idle"],
                },
            ],
        },
        "hybrid_with_converter": {
            "system_voltage": 12,
            "supply": {
                "converter": {"greatest_power": "1.8 kW", "available_output_percent": 40},
                "set_voltage": 14.4,
                "battery": {"kind": "agm", "capacity": 45, "internal_resistance": 0.007},
                "existing_loads": {"idle_current": 30, "driving_current": 42},
            },
            "loads": [
                {
                    "key": "bass",
                    "load_current": 40,
                    "average_current_share": 0.3,
                    "has_drive_level": True,
                    "draw_follows": "output_power",
                }
            ],
            "remedy_prices": {"lower_drive_level": "0", "second_battery": "240.00"},
        },
    }


_STATES = {"enum": list(STATES)}


class SupplyRemedyAnswer(Answer):
    """One remedy of a shortfall; its own figure is stated, those of others are null."""

    remedy = fields.String(required=True, metadata={"enum": list(COST_RANK)})
    closes = fields.Boolean(
        required=True,
        metadata=describe("Whether the assessment with it no longer shows the shortfall."),
    )
    drive_level_change_db = fields.Float(
        required=True, allow_none=True, metadata=describe("By which the drive level is lowered.")
    )
    standby_current_a = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Standby of all new loads together that may be left."),
    )
    idle_speed_rpm = fields.Float(
        required=True, allow_none=True, metadata=describe("Raised idle of the engine.")
    )
    loop_resistance_ohm = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Greatest of the load's wiring there and back."),
    )
    added_capacity_ah = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Least capacity of a second battery of the same kind."),
    )
    output_a = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("Least output of a larger charging source in that state, hot."),
    )


class ShortfallAnswer(Answer):
    """Where the supply falls short, with what would mend it."""

    check = fields.String(required=True, metadata={"enum": list(CHECKS)})
    reason = fields.String(required=True)
    state = fields.String(required=True, allow_none=True)
    load_key = fields.String(required=True, allow_none=True, metadata=describe("Of the load."))
    present = fields.Float(required=True, metadata=describe("In the unit beside it."))
    wanted = fields.Float(required=True, metadata=describe("In the unit beside it."))
    unit = fields.String(required=True, metadata={"enum": list(UNITS)})
    remedies = fields.List(fields.Nested(SupplyRemedyAnswer), required=True)
    cheapest = fields.String(
        required=True,
        allow_none=True,
        metadata=describe("Remedy that closes the gap at the least cost; null where none does."),
    )
    chosen_by = fields.String(
        required=True,
        allow_none=True,
        metadata=describe(f"{BY_PRICE} where each that closes it has a price, or {BY_RANK}."),
    )


class ChargingAnswer(Answer):
    """What the charging source leaves over in one state of the vehicle."""

    state = fields.String(required=True, metadata={"enum": list(RUNNING_STATES)})
    output_a = fields.Float(required=True)
    bound = fields.String(
        required=True,
        metadata=describe(
            "What ends the output.", enum=[WITHIN_CURVE, BELOW_CURVE, BEYOND_CURVE, CONVERTER_LIMIT]
        ),
    )
    existing_current_a = fields.Float(required=True)
    average_current_a = fields.Float(required=True, metadata=describe("Of the new loads."))
    peak_current_a = fields.Float(
        required=True, metadata=describe("Of the new loads, all at once.")
    )
    headroom_a = fields.Float(
        required=True,
        metadata=describe("Output less existing and average; below 0 the battery empties."),
    )
    peak_excess_current_a = fields.Float(
        required=True, metadata=describe("What the battery adds at the peaks.")
    )
    excess_charge_ah = fields.Float(
        required=True, metadata=describe("What the battery gives during one peak.")
    )
    recovery_charge_ah = fields.Float(
        required=True, metadata=describe("What it can get back until the next.")
    )


class EngineOffAnswer(Answer):
    """How long the battery bears the loads with the engine off."""

    average_current_a = fields.Float(required=True)
    engine_off_time_h = fields.Float(
        required=True, allow_none=True, metadata=describe("Null where nothing is drawn.")
    )
    end = fields.String(required=True, metadata={"enum": list(DISCHARGE_ENDS)})
    reason = fields.String(required=True)
    end_state_of_charge_percent = fields.Float(required=True)


class KeyOffAnswer(Answer):
    """How long the parked vehicle still starts."""

    drain_current_a = fields.Float(required=True)
    no_start_time_d = fields.Float(
        required=True, allow_none=True, metadata=describe("Null where nothing drains the battery.")
    )


class SupplyLoadAnswer(Answer):
    """A load with all peaks together; null where no operating point exists."""

    key = fields.String(required=True)
    state = fields.String(required=True, metadata=_STATES)
    load_voltage_v = fields.Float(required=True, allow_none=True)
    load_current_a = fields.Float(required=True, allow_none=True)


class StateVoltagesAnswer(Answer):
    """Voltages in one state of the vehicle with all peaks together."""

    state = fields.String(required=True, metadata=_STATES)
    bus_voltage_v = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("At the battery; null where no operating point exists."),
    )
    greatest_power_w = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("That the battery can deliver; null without internal resistance."),
    )
    load_voltages = fields.List(fields.Nested(SupplyLoadAnswer), required=True)


class SupplyAnswer(Answer):
    """A supply with what hangs on it."""

    verdict = fields.String(required=True, metadata={"enum": list(VERDICTS)})
    shortfalls = fields.List(fields.Nested(ShortfallAnswer), required=True)
    charging = fields.List(
        fields.Nested(ChargingAnswer),
        required=True,
        metadata=describe("At idle and on the road; empty where nothing charges."),
    )
    converter_input_w = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("On average while driving, from the high-voltage battery."),
    )
    engine_off = fields.Nested(EngineOffAnswer, required=True)
    key_off = fields.Nested(KeyOffAnswer, required=True)
    worst_voltages = fields.List(
        fields.Nested(SupplyLoadAnswer),
        required=True,
        metadata=describe("Each in the state in which it gets the least voltage."),
    )
    voltages = fields.List(fields.Nested(StateVoltagesAnswer), required=True)


class AssessSupplyAnswer(SupplyAnswer, AnswerBase):
    """A supply assessed."""
