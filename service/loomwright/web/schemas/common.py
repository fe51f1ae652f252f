"""Schemas and choices that several operations share."""

from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError, fields, validates_schema

from loomwright.tables.load import tables
from loomwright.units import LENGTH, TEMPERATURE
from loomwright.web.quantities import Key, Quantity, WholeNumber

_TABLES = tables()
SERIES_KEYS = tuple(_TABLES.series)
MATERIAL_KEYS = tuple(_TABLES.materials)
INSULATION_KEYS = tuple(_TABLES.insulations)
ZONE_KEYS = tuple(_TABLES.zones)
SIZE_KEYS = tuple(_TABLES.conductors)
SYSTEM_VOLTAGES = (12, 24, 48)
FLAT_ROUTE_FIELDS = ("length", "zone", "ambient_temperature", "bundled_conductors")


class Request(Schema):
    """Base of request schemas: unknown fields are faults."""

    class Meta:
        """Refuse unknown fields."""

        unknown = RAISE


class Answer(Schema):
    """Base of answer schemas, which describe answers and load nothing."""

    class Meta:
        """Answers carry the listed fields and no others."""

        unknown = RAISE


def exactly_one_of(first: str, second: str) -> dict[str, Any]:
    """Return the JSON Schema rule that one of two fields is given."""
    return {"oneOf": [{"required": [first]}, {"required": [second]}]}


def not_both(first: str, second: str) -> dict[str, Any]:
    """Return the JSON Schema rule that two fields exclude each other."""
    return {"not": {"required": [first, second]}}


def together(first: str, second: str) -> dict[str, Any]:
    """Return the JSON Schema rule that two fields belong together."""
    return {"dependentRequired": {first: [second], second: [first]}}


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


def describe(text: str, **more: Any) -> dict[str, Any]:
    """Return field metadata with a description."""
    return {"description": text, **more}


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

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def check_length(self, _data: dict[str, Any], original: Any, **_: Any) -> None:
        """Refuse a segment without length; absent fields are not looked at on loading."""
        if "length" not in original:
            raise ValidationError("give it; it is required", field_name="length")


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

    route = fields.List(
        fields.Nested(SegmentRequest),
        metadata=describe(
            "The route as segments in order from the source; instead of length, zone, "
            "ambient_temperature and bundled_conductors.",
            minItems=1,
            maxItems=12,
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

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def check_route(self, _data: dict[str, Any], original: Any, **_: Any) -> None:
        """Refuse both forms of a route at once, none, and too many segments."""
        flat = [name for name in FLAT_ROUTE_FIELDS if name in original]
        if "route" in original:
            segments = original["route"]
            if flat:
                raise ValidationError(
                    f"give either route or {', '.join(flat)}, not both", field_name="route"
                )
            if isinstance(segments, list) and not 1 <= len(segments) <= 12:
                raise ValidationError("give 1 to 12 segments", field_name="route")
        elif "length" not in original and not getattr(self, "route_is_optional", False):
            raise ValidationError("give length, or route with its segments", field_name="length")


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


def refuse_both(
    original: Any, first: str, second: str, faults: dict[str, list[str]], *, required: bool
) -> None:
    """Add a fault where two fields that exclude each other are both given, or a needed one is not.

    Parameters
    ----------
    original
        The request as sent; a field that failed its own check is still in it.
    first, second
        Names of the fields.
    faults
        Faults by field, added to.
    required
        Whether one of both must be given.
    """
    if first in original and second in original:
        faults.setdefault(first, []).append(f"give either {first} or {second}, not both")
    elif required and first not in original and second not in original:
        faults.setdefault(first, []).append(f"give {first} or {second}")


def require_pair(original: Any, first: str, second: str, faults: dict[str, list[str]]) -> None:
    """Add a fault where one of two fields that belong together is missing."""
    for name, partner in ((first, second), (second, first)):
        if name in original and partner not in original:
            faults.setdefault(partner, []).append(f"give it with {name}")


def refuse_other_series(data: dict[str, Any], name: str, faults: dict[str, list[str]]) -> None:
    """Add a fault where a size is not of the series of the request."""
    size, series = data.get(name), data.get("series")
    if size is None or series is None:
        return
    listed = _TABLES.series[series]
    if _TABLES.conductors[size] not in listed:
        sizes = ", ".join(entry.key for entry in listed)
        faults.setdefault(name, []).append(f"not of series {series}; it has {sizes}")


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
