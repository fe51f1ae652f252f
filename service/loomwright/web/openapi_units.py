"""Units in the schemas of the OpenAPI document: stated in ``x-unit`` and told in descriptions."""

from types import MappingProxyType
from typing import Any

JsonSchema = dict[str, Any]
# Unit by the last part of the name of an answer's number, or by the last two.
UNITS_BY_SUFFIX = MappingProxyType(
    {
        "a": "A",
        "ah": "Ah",
        "c": "degC",
        "d": "d",
        "db": "dB",
        "j": "J",
        "h": "h",
        "k": "K",
        "m": "m",
        "mm": "mm",
        "mm2": "mm2",
        "mv": "mV",
        "n_m": "N m",
        "ohm": "ohm",
        "percent": "%",
        "px": "px",
        "rpm": "rpm",
        "s": "s",
        "v": "V",
        "w": "W",
    }
)
# A ratio, a count, or a number whose unit stands beside it.
NO_UNIT = "1"
_NUMBERS = frozenset({"number", "integer"})


def add_units(schemas: dict[str, JsonSchema]) -> None:
    """State the unit of every number of the answers, and tell that of every quantity.

    Parameters
    ----------
    schemas
        Components by name; each gets its units in place.
    """
    for name, schema in schemas.items():
        if name.endswith("Answer"):
            for field, property_ in schema.get("properties", {}).items():
                _add_unit_by_name(field, property_)
        _tell_units(schema)


def tell_unit(schema: JsonSchema) -> None:
    """Tell the unit of one quantity in its description."""
    unit = schema.get("x-unit") or schema.get("items", {}).get("x-unit")
    if unit is None:
        return
    said = "Without unit." if unit == NO_UNIT else f"Unit: {unit}."
    accepted = schema.get("x-accepted-units") or schema.get("items", {}).get("x-accepted-units")
    if accepted:
        said = f"A number in {unit}, or text with one of the units {', '.join(accepted)}."
    about = schema.get("description", "")
    if said not in about:
        schema["description"] = f"{about} {said}".strip()


def _add_unit_by_name(field: str, schema: JsonSchema) -> None:
    if _is_numeric(schema) and "x-unit" not in schema:
        parts = field.split("_")
        one = UNITS_BY_SUFFIX.get(parts[-1], NO_UNIT)
        schema["x-unit"] = UNITS_BY_SUFFIX.get("_".join(parts[-2:]), one)


def _is_numeric(schema: JsonSchema) -> bool:
    """Tell whether a property is a number, a list of numbers, or one of both or null."""
    stated = schema.get("type", ())
    if {stated} & _NUMBERS if isinstance(stated, str) else set(stated) & _NUMBERS:
        return True
    if "items" in schema and _is_numeric(schema["items"]):
        return True
    return any(_is_numeric(form) for form in schema.get("anyOf", ()))


def _tell_units(value: Any) -> None:
    if isinstance(value, list):
        for entry in value:
            _tell_units(entry)
    elif isinstance(value, dict):
        for property_ in value.get("properties", {}).values():
            if isinstance(property_, dict):
                tell_unit(property_)
        for entry in value.values():
            _tell_units(entry)
