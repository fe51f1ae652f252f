"""Schemas and choices that several operations share."""

from typing import Any, ClassVar

from marshmallow import fields

from loomwright.tables.load import tables
from loomwright.units import LENGTH, TEMPERATURE
from loomwright.web.quantities import Key, Quantity, WholeNumber
from loomwright.web.schemas.base import Answer, ObjectList, Request, describe

_TABLES = tables()
SERIES_KEYS = tuple(_TABLES.series)
MATERIAL_KEYS = tuple(_TABLES.materials)
INSULATION_KEYS = tuple(_TABLES.insulations)
ZONE_KEYS = tuple(_TABLES.zones)
SIZE_KEYS = tuple(_TABLES.conductors)
SYSTEM_VOLTAGES = (12, 24, 48)
FLAT_ROUTE_FIELDS = ("length", "zone", "ambient_temperature", "bundled_conductors")


def size_of_series(field: str) -> dict[str, Any]:
    """Return the JSON Schema rules that a size is of the series of the request."""
    return {
        "allOf": [
            {
                "if": {"properties": {"series": {"const": series}}, "required": ["series"]},
                "then": {"properties": {field: {"enum": [size.key for size in sizes]}}},
            }
            for series, sizes in _TABLES.series.items()
        ]
    }


class SegmentRequest(Request):
    """A stretch of the route with one surrounding."""

    length = Quantity(
        LENGTH, 0.01, 100.0, required=True, metadata=describe("One-way length of the segment.")
    )
    zone = Key(
        ZONE_KEYS,
        metadata=describe("Mounting zone; gives the ambient temperature unless that is stated."),
    )
    ambient_temperature = Quantity(
        TEMPERATURE,
        -40.0,
        150.0,
        metadata=describe("Ambient of the segment; overrides that of the zone."),
    )
    bundled_conductors = WholeNumber(
        1,
        200,
        load_default=1,
        metadata=describe("Loaded conductors in the bundle, this one included.", default=1),
    )


class RouteFields(Request):
    """The route: either a list of segments, or one segment given flat."""

    json_schema_rules: ClassVar[tuple[dict[str, Any], ...]] = (
        {
            "oneOf": [
                {
                    "required": ["route"],
                    "not": {"anyOf": [{"required": [name]} for name in FLAT_ROUTE_FIELDS]},
                },
                {"required": ["length"], "not": {"required": ["route"]}},
            ]
        },
    )

    route = ObjectList(
        SegmentRequest,
        1,
        12,
        metadata=describe(
            "The route as segments in order from the source; instead of length, zone, "
            "ambient_temperature and bundled_conductors."
        ),
    )
    length = Quantity(
        LENGTH, 0.01, 100.0, metadata=describe("One-way length of a route of one segment.")
    )
    zone = Key(ZONE_KEYS, metadata=describe("Mounting zone of a route of one segment."))
    ambient_temperature = Quantity(
        TEMPERATURE,
        -40.0,
        150.0,
        metadata=describe("Ambient of a route of one segment; overrides that of the zone."),
    )
    bundled_conductors = WholeNumber(
        1, 200, metadata=describe("Loaded conductors in the bundle, this one included.")
    )

    def faults_between(
        self, values: dict[str, Any], document: dict[str, Any]
    ) -> list[tuple[str, str]]:
        """Refuse both forms of a route at once, and none."""
        found = super().faults_between(values, document)
        if "route" in document:
            flat = [name for name in FLAT_ROUTE_FIELDS if name in document]
            if flat:
                found.append(("route", f"give either route or {', '.join(flat)}, not both"))
        elif "length" not in document:
            found.append(("length", "give length, or route with its segments"))
        return found


class ConductorFamilyFields(RouteFields):
    """Conductor family, shared by the operations that name a conductor."""

    series = Key(
        SERIES_KEYS,
        required=True,
        metadata=describe(
            "Conductor series. SAE conductors are thinner than AWG ones of the same number, so "
            "the series is never assumed."
        ),
    )
    material = Key(
        MATERIAL_KEYS,
        load_default="copper",
        metadata=describe("Conductor material.", default="copper"),
    )
    insulation = Key(
        INSULATION_KEYS,
        load_default="pvc_105",
        metadata=describe("Insulation with its temperature rating.", default="pvc_105"),
    )


def faults_of_series(values: dict[str, Any], name: str) -> list[tuple[str, str]]:
    """Return the fault of a size that is not of the series of the request."""
    size, series = values.get(name), values.get("series")
    if size is None or series is None:
        return []
    listed = _TABLES.series[series]
    if _TABLES.conductors[size] in listed:
        return []
    sizes = ", ".join(entry.key for entry in listed)
    return [(name, f"not of series {series}; it has {sizes}")]


def faults_of_return(values: dict[str, Any], document: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the fault of a chassis return without its resistance, or the other way round."""
    if "return_path" in document and "return_path" not in values:
        # Its own fault is named already, and which path is meant is open.
        return []
    by_chassis = values.get("return_path") == "chassis"
    if by_chassis == ("chassis_resistance" in document):
        return []
    message = "give it with return_path chassis" if by_chassis else "only with return_path chassis"
    return [("chassis_resistance", message)]


RETURN_RULE = {
    "if": {"properties": {"return_path": {"const": "chassis"}}, "required": ["return_path"]},
    "then": {"required": ["chassis_resistance"]},
    "else": {"not": {"required": ["chassis_resistance"]}},
}


class SourceAnswer(Answer):
    """A publication that the answer rests on."""

    key = fields.String(required=True)
    title = fields.String(required=True)
    edition = fields.String(required=True)
    locator = fields.String(required=True)
    checked = fields.String(
        required=True,
        metadata=describe(
            "page: seen in print; formula: computed; memory: recalled, not seen; practice: common "
            "practice, no source.",
            enum=["page", "formula", "memory", "practice"],
        ),
    )


class CautionAnswer(Answer):
    """A caution, by key and in words."""

    key = fields.String(required=True)
    text = fields.String(required=True)


class WorkingStepAnswer(Answer):
    """One step of the working, to be followed by hand."""

    step = fields.Integer(required=True)
    text = fields.String(required=True)
    formula = fields.String(required=True)
    inputs = fields.Dict(keys=fields.String(), values=fields.Raw(), required=True)
    result = fields.Float(required=True, allow_nan=False)
    unit = fields.String(required=True)
    source = fields.String(required=True)


class AnswerBase(Answer):
    """What every answer carries."""

    verdict = fields.String(required=True)
    cautions = fields.List(fields.Nested(CautionAnswer), required=True)
    sources = fields.List(fields.Nested(SourceAnswer), required=True)
    engine_version = fields.String(required=True)
    working = fields.List(fields.Nested(WorkingStepAnswer))
