"""Rules between the members of a vehicle's supply and of its loads."""

from loomwright.engineering.supply.alternator import DESIGNATION_PATTERN
from loomwright.jobs.supply_members import OTHER_KIND
from loomwright.web.schemas.base import exactly_one_of, not_both
from loomwright.web.schemas.documents import JsonSchema


def _supply(schema: JsonSchema) -> JsonSchema:
    return {**schema, **not_both("alternator", "converter")}


def _alternator(schema: JsonSchema) -> JsonSchema:
    designation = {**schema["properties"]["designation"], "pattern": DESIGNATION_PATTERN}
    properties = {**schema["properties"], "designation": designation}
    return {**schema, "properties": properties, **exactly_one_of("designation", "output_curve")}


def _converter(schema: JsonSchema) -> JsonSchema:
    return {**schema, **exactly_one_of("greatest_current", "greatest_power")}


def _battery(schema: JsonSchema) -> JsonSchema:
    is_other = {"properties": {"kind": {"const": OTHER_KIND}}, "required": ["kind"]}
    return {
        **schema,
        **exactly_one_of("internal_resistance", "cold_cranking_current"),
        "if": is_other,
        "then": {
            "required": ["open_circuit_curve", "peukert_exponent", "internal_resistance"],
        },
    }


def _load(schema: JsonSchema) -> JsonSchema:
    pairs = (("average_current_share", "crest_factor_db"), ("loop_resistance", "voltage_drop"))
    return {
        **schema,
        **exactly_one_of("load_current", "load_power"),
        "not": {"anyOf": [{"required": list(pair)} for pair in pairs]},
    }


VEHICLE_SUPPLY_RULES = {
    "VehicleSupply": _supply,
    "Alternator": _alternator,
    "SupplyConverter": _converter,
    "SupplyBattery": _battery,
}
SUPPLY_RULES = {**VEHICLE_SUPPLY_RULES, "SupplyLoad": _load}
