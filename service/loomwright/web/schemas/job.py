"""Rules between the members of a job document."""

from typing import Any

from loomwright.jobs.job_members import CHASSIS, RETURN_PATH
from loomwright.tables.audio_load import audio_tables
from loomwright.tables.audio_records import AmplifierClass
from loomwright.web.schemas.base import exactly_one_of, together
from loomwright.web.schemas.common import size_of_series
from loomwright.web.schemas.documents import JsonSchema
from loomwright.web.schemas.signal import SIGNAL_RULES
from loomwright.web.schemas.supply_rules import VEHICLE_SUPPLY_RULES

_GROUND_MEMBERS = tuple(name for name in RETURN_PATH if name != "by")


def _smallest_size(schema: JsonSchema) -> JsonSchema:
    return {**schema, **size_of_series("smallest_size")}


def _source(schema: JsonSchema) -> JsonSchema:
    return {**schema, **exactly_one_of("source_resistance", "cold_cranking_current")}


def _equipment(schema: JsonSchema) -> JsonSchema:
    def load(*given: str) -> dict[str, Any]:
        names = ("circuit", "load_current", "load_power")
        absent = [name for name in names if name not in given]
        return {
            "required": list(given),
            "not": {"anyOf": [{"required": [name]} for name in absent]},
        }

    return {
        **schema,
        **together("inrush_current", "inrush_time"),
        "oneOf": [load("circuit", "load_current"), load("circuit", "load_power"), load()],
        "dependentRequired": {
            **together("inrush_current", "inrush_time")["dependentRequired"],
            "amplifier": ["fuse_rating", "circuit"],
        },
    }


def _amplifier(schema: JsonSchema) -> JsonSchema:
    def of_class(kind: AmplifierClass) -> JsonSchema:
        is_kind = {
            "properties": {"amplifier_class": {"const": kind.key}},
            "required": ["amplifier_class"],
        }
        limit = {"properties": {"measured_efficiency": {"maximum": kind.theoretical_efficiency}}}
        needed = {"required": ["measured_efficiency"]} if kind.efficiency is None else {}
        return {"if": is_kind, "then": limit | needed}

    classes = audio_tables().amplifier_classes.values()
    return {**schema, "allOf": [of_class(kind) for kind in classes]}


def _return_path(schema: JsonSchema) -> JsonSchema:
    needed = [name for name in schema["required"] if name != "by"]
    by_chassis = {"properties": {"by": {"const": CHASSIS}}, "required": ["by"]}
    return {
        **schema,
        "required": ["by"],
        "if": by_chassis,
        "then": {"required": needed},
        "else": {"not": {"anyOf": [{"required": [name]} for name in _GROUND_MEMBERS]}},
    }


JOB_RULES = {
    "ConductorChoice": _smallest_size,
    "CircuitConductorChoice": _smallest_size,
    "PowerSource": _source,
    "Equipment": _equipment,
    "Amplifier": _amplifier,
    "ReturnPath": _return_path,
    **SIGNAL_RULES,
    **VEHICLE_SUPPLY_RULES,
}
