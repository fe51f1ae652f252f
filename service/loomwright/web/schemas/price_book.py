"""Rules between the members of a price book document: each kind of part has its own attributes."""

from loomwright.pricing.book_members import ATTRIBUTES
from loomwright.pricing.kinds import KINDS, Kind
from loomwright.web.schemas.documents import JsonSchema, object_schema


def _of_kind(schema: JsonSchema, kind: Kind) -> JsonSchema:
    own = {
        "kind": {"const": kind.name},
        "attributes": object_schema(ATTRIBUTES[kind.name]),
        "unit": {"enum": list(kind.units)},
    }
    properties = {
        name: {**form, **own.get(name, {})} if name != "attributes" else own[name]
        for name, form in schema["properties"].items()
    }
    return {**schema, "title": kind.words, "properties": properties}


def _part(schema: JsonSchema) -> JsonSchema:
    return {"oneOf": [_of_kind(schema, kind) for kind in KINDS.values()]}


BOOK_RULES = {"Part": _part}
