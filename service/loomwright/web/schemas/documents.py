"""JSON Schema of the documents that explicit readers take, made from the readers' own rules."""

from collections.abc import Callable, Mapping
from typing import Any

from loomwright.pricing.members import (
    DATE_PATTERN,
    DECIMAL_PATTERN,
    INSTANT_PATTERN,
    TEXT_LIMIT,
    TEXT_PATTERN,
    Choice,
    Choices,
    CsvText,
    DateText,
    DecimalText,
    InstantText,
    Member,
    Number,
    NumberChoice,
    Record,
    Records,
    Text,
    Texts,
    Truth,
    Whole,
    is_required,
)
from loomwright.units import KINDS
from loomwright.web.quantities import Quantity

JsonSchema = dict[str, Any]
_TEXT = {"type": "string", "minLength": 1, "maxLength": TEXT_LIMIT, "pattern": TEXT_PATTERN}
# Turns the plain schema of a record into one that also states the rules between its members.
Rule = Callable[[JsonSchema], JsonSchema]


def components(record: Record, rules: Mapping[str, Rule]) -> dict[str, JsonSchema]:
    """Return the component schemas of a record and of every record below it.

    Parameters
    ----------
    record
        The document.
    rules
        Rules between members, by name of the record that has them.

    Returns
    -------
    dict
        By name of the record.
    """
    found: dict[str, JsonSchema] = {}
    _collect(record, rules, found)
    return found


def object_schema(members: Mapping[str, Member]) -> JsonSchema:
    """Return the JSON Schema of an object that has these members and no others."""
    return {
        "type": "object",
        "properties": {name: member_schema(member) for name, member in members.items()},
        "required": [name for name, member in members.items() if is_required(member)],
        "additionalProperties": False,
    }


def member_schema(member: Member) -> JsonSchema:
    """Return the JSON Schema of one member; records are references to components."""
    schema = _form(member)
    default = getattr(member, "default", None)
    if default is not None:
        schema["default"] = default if isinstance(default, str | int | float) else f"{default:f}"
    if member.about:
        schema["description"] = member.about
    return schema


def _collect(
    record: Record | Records, rules: Mapping[str, Rule], found: dict[str, JsonSchema]
) -> None:
    plain = object_schema(record.members)
    stated = rules[record.name](plain) if record.name in rules else plain
    found[record.name] = _by_reference(stated, found)
    for member in record.members.values():
        # A record without members is described by the rule of the one that holds it.
        if isinstance(member, Record | Records) and member.members:
            _collect(member, rules, found)


def _by_reference(schema: JsonSchema, found: dict[str, JsonSchema]) -> JsonSchema:
    """Return a schema in the form that generated clients understand.

    A choice between kinds becomes one between components, by the title of each.
    """
    kinds = schema.get("oneOf", [])
    if "properties" in schema and kinds:
        # A rule between members; generators take a bare oneOf for a choice between types.
        rest = {name: form for name, form in schema.items() if name != "oneOf"}
        return {**rest, "allOf": [*schema.get("allOf", ()), {"oneOf": kinds}]}
    if not kinds:
        return schema
    names = {kind["properties"]["kind"]["const"]: kind["title"] for kind in kinds}
    found |= {kind["title"]: kind for kind in kinds}
    pointers = {kind: f"#/components/schemas/{name}" for kind, name in names.items()}
    return {
        **schema,
        "oneOf": [reference(name) for name in names.values()],
        "discriminator": {"propertyName": "kind", "mapping": pointers},
    }


def _form(member: Member) -> JsonSchema:  # noqa: PLR0911, PLR0912  one for each form
    match member:
        case Text():
            return dict(_TEXT)
        case CsvText():
            return {"type": "string", "contentMediaType": "text/csv"}
        case Choice():
            return {"type": "string", "enum": list(member.choices)}
        case Choices():
            item = {"type": "string", "enum": list(member.choices)}
            return _array(item, member.least, member.most) | {"uniqueItems": True}
        case Texts():
            return _array(dict(_TEXT), member.least, member.most) | {"uniqueItems": True}
        case DateText():
            return {"type": "string", "format": "date", "pattern": DATE_PATTERN}
        case InstantText():
            return {"type": "string", "format": "date-time", "pattern": INSTANT_PATTERN}
        case NumberChoice():
            texts = [f"{number} {member.unit}" for number in member.numbers]
            # Two lists of one type each: generated clients have no type for a mixed one.
            forms = [
                {"type": "integer", "enum": list(member.numbers)},
                {"type": "string", "enum": texts},
            ]
            return {"anyOf": forms, "x-unit": member.unit}
        case DecimalText():
            return {
                "type": "string",
                "pattern": DECIMAL_PATTERN,
                "x-least": f"{member.lower:f}",
                "x-greatest": f"{member.upper:f}",
            }
        case Number(quantity=""):
            schema = {"type": "number", "minimum": member.lower, "maximum": member.upper}
            return schema | ({"x-unit": member.unit} if member.unit else {})
        case Number():
            return Quantity(KINDS[member.quantity], member.lower, member.upper).json_schema()
        case Whole():
            return {"type": "integer", "minimum": member.lower, "maximum": member.upper}
        case Truth():
            return {"type": "boolean"}
        case Record():
            return reference(member.name)
        case Records():
            return _array(reference(member.name), member.least, member.most)
    raise TypeError(f"no JSON Schema for {type(member).__name__}")


def reference(name: str) -> JsonSchema:
    """Return a reference to a component schema."""
    return {"$ref": f"#/components/schemas/{name}"}


def _array(items: JsonSchema, least: int, most: int) -> JsonSchema:
    return {"type": "array", "items": items, "minItems": least, "maxItems": most}
