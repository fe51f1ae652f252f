"""The OpenAPI 3.1 document, made from the schemas that the views load and from the code table."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import Schema, fields

from loomwright import __version__
from loomwright.web.described_http import (
    ACCESS_STATUSES,
    BEARER,
    RESPONSE_HEADERS,
    SECURITY_SCHEMES,
    SPREADSHEET_KEY,
)
from loomwright.web.examples import EXAMPLES
from loomwright.web.forms.described import error_content, form_content, form_parameters
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.problem_codes import CODES
from loomwright.web.problems import MEDIA_TYPE
from loomwright.web.requests import LIST_FIELDS
from loomwright.web.schemas.common import SegmentRequest

DESCRIPTION = """\
The engineering and the pricing behind a vehicle 12, 24 or 48 V installation: conductors, fuses,
honest output figures and priced bills of materials.

A request quantity is a number in the unit that `x-unit` states, or text `"<number> <unit>"` with a
unit from `x-accepted-units`. A response quantity is a number whose name ends in its unit. Lengths
are one-way unless the name says otherwise. The vehicle maker's instructions, local codes and
licensed practice come before any figure given here.
"""


@dataclass(frozen=True, slots=True)
class DocumentSchema:
    """A request that an explicit reader takes: name of its component, all components, examples."""

    name: str
    components: Callable[[], dict[str, dict[str, Any]]]
    examples: Callable[[], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation with the schemas of its request and answer.

    ``with_query`` adds GET with the same fields as query parameters. ``statuses`` are those of
    problems that not every operation has.
    """

    name: str
    summary: str
    tag: str
    request: type[Schema] | DocumentSchema | None
    answer: type[Schema]
    with_query: bool = False
    statuses: tuple[int, ...] = ()
    path: str = ""

    @property
    def url(self) -> str:
        """Path of the operation."""
        return self.path or f"/v1/{self.name}"


class ProblemErrorSchema(Schema):
    """One fault of a request."""

    pointer = fields.String(required=True, metadata={"description": "JSON pointer to the field."})
    message = fields.String(required=True)


class ProblemSchema(Schema):
    """A problem document (RFC 9457)."""

    type = fields.String(required=True)
    title = fields.String(required=True)
    status = fields.Integer(required=True)
    code = fields.String(required=True, metadata={"enum": sorted(CODES)})
    detail = fields.String(required=True)
    action = fields.String(required=True, metadata={"description": "What the caller can do."})
    errors = fields.List(fields.Nested(ProblemErrorSchema), required=True)


def openapi_document(operations: tuple[Operation, ...]) -> dict[str, Any]:
    """Return the OpenAPI document of the service.

    Parameters
    ----------
    operations
        All operations.

    Returns
    -------
    dict
        OpenAPI 3.1, of plain values.
    """
    plugin = MarshmallowPlugin(schema_name_resolver=_schema_name)
    spec = APISpec(
        title="Loomwright",
        version=__version__,
        openapi_version="3.1.0",
        plugins=[plugin],
        info={"description": DESCRIPTION, "license": {"name": "MIT", "identifier": "MIT"}},
        servers=[{"url": "/", "description": "The service itself"}],
        tags=[
            {"name": "engineering", "description": "Sizing and checking."},
            {"name": "pricing", "description": "Bills of materials."},
            {"name": "service", "description": "The state of the service."},
        ],
    )
    assert plugin.converter is not None
    plugin.converter.add_attribute_function(_own_field)  # type: ignore[no-untyped-call]
    for name, scheme in SECURITY_SCHEMES.items():
        spec.components.security_scheme(name, scheme)
    for name, (description, example) in RESPONSE_HEADERS.items():
        header = {"description": description, "schema": {"type": "string"}, "example": example}
        spec.components.header(name, header)
    spec.components.schema("Problem", schema=ProblemSchema)
    spec.components.schema("SegmentRequest", schema=SegmentRequest)
    added: dict[str, Any] = {}
    for operation in operations:
        if isinstance(operation.request, DocumentSchema):
            _add_components(spec, operation.request, added)
        spec.path(path=operation.url, operations=_methods(operation, plugin))
    document = spec.to_dict()
    _add_rules(document, operations)
    return document


def _add_components(spec: APISpec, request: DocumentSchema, added: dict[str, Any]) -> None:
    """Add the components of a document; what it shares with another is the same in both."""
    for name, component in request.components().items():
        if name not in added:
            spec.components.schema(name, component)
        if added.setdefault(name, component) != component:
            raise ValueError(f"two different schemas are named {name}")


def _schema_name(schema: Any) -> str:
    cls = schema if isinstance(schema, type) else type(schema)
    return str(cls.__name__).removesuffix("Schema")


def _own_field(_converter: Any, field: fields.Field[Any], **_: Any) -> dict[str, Any]:
    """Return the JSON Schema that one of our own fields states of itself."""
    json_schema = getattr(field, "json_schema", None)
    return {} if json_schema is None else dict(json_schema())


def _methods(operation: Operation, plugin: MarshmallowPlugin) -> dict[str, Any]:
    identifier = operation.name.replace("-", "_")
    base = {"tags": [operation.tag], "summary": operation.summary}
    answer: dict[str, Any] = {
        "200": {
            "description": "The answer; a design that cannot be met is a verdict in it.",
            "content": {"application/json": {"schema": operation.answer}},
            "headers": _headers("X-Request-Id", "Cache-Control", "Vary"),
        }
    }
    forms = FORMS_BY_OPERATION.get(operation.name)
    if forms is not None:
        answer["200"]["content"] |= form_content(forms)
        answer |= _problems(406)
    read = {
        **answer,
        "200": {**answer["200"], "headers": _headers(*_OF_READS)},
        "304": _NOT_MODIFIED,
    }
    offered: list[dict[str, list[str]]] = []
    if operation.tag == "service":
        asked = set(operation.statuses)
    else:
        asked = {*ACCESS_STATUSES, *operation.statuses}
        # The first one is no key at all, for a service that is open.
        offered = [{}, {BEARER: []}]
    if operation.request is None:
        responses = {**read, **_problems(*sorted(asked))}
        get = {**base, "operationId": identifier, "security": offered, "responses": responses}
        return {"get": get}
    statuses = sorted({400, 413, 415, 422, *asked})
    methods: dict[str, Any] = {
        "post": {
            **base,
            "operationId": identifier,
            "requestBody": {
                "required": True,
                "content": {"application/json": _request_content(operation)},
            },
            "security": offered,
            "responses": {**answer, **_problems(*statuses)},
        }
    }
    if operation.with_query and not isinstance(operation.request, DocumentSchema):
        methods["get"] = {
            **base,
            "operationId": f"{identifier}_by_query",
            "parameters": [
                *_parameters(operation, operation.request, plugin),
                *(form_parameters(forms) if forms else ()),
            ],
            "security": [*offered, {SPREADSHEET_KEY: []}],
            "responses": {**read, **_problems(*sorted({400, 414, 422, *asked}))},
        }
    return methods


def _request_content(operation: Operation) -> dict[str, Any]:
    request = operation.request
    if isinstance(request, DocumentSchema):
        schema: Any = {"$ref": f"#/components/schemas/{request.name}"}
        examples = request.examples()
    else:
        schema, examples = request, EXAMPLES[operation.name]
    return {
        "schema": schema,
        "examples": {name: {"value": value} for name, value in examples.items()},
    }


def _headers(*names: str) -> dict[str, Any]:
    return {name: {"$ref": f"#/components/headers/{name}"} for name in names}


_OF_READS = ("X-Request-Id", "Cache-Control", "Vary", "ETag")
_OF_STATUS = {
    401: ("WWW-Authenticate",),
    403: ("WWW-Authenticate",),
    429: ("Retry-After", "RateLimit", "RateLimit-Policy"),
}
_NOT_MODIFIED = {
    "description": "The caller has the answer already, as `If-None-Match` says.",
    "headers": _headers(*_OF_READS),
}


def _problems(*statuses: int) -> dict[str, Any]:
    return {
        str(status): {
            "description": "; ".join(
                f"`{key}`: {code.title}" for key, code in CODES.items() if code.status == status
            ),
            "content": {MEDIA_TYPE: {"schema": ProblemSchema}, **error_content()},
            "headers": _headers("X-Request-Id", *_OF_STATUS.get(status, ())),
        }
        for status in statuses
    }


def _parameters(
    operation: Operation, request: type[Schema], plugin: MarshmallowPlugin
) -> list[dict[str, Any]]:
    """Return the fields of a request as query parameters; nested ones as JSON text."""
    parameters = []
    example = next(iter(EXAMPLES[operation.name].values()))
    assert plugin.converter is not None
    for name, field in request().fields.items():
        schema = plugin.converter.field2property(field)
        description = schema.pop("description", "")
        place: dict[str, Any] = {"schema": schema}
        if name in example:
            place["example"] = example[name]
        if isinstance(field, LIST_FIELDS):
            place = {"content": {"application/json": place}}
        parameters.append(
            {
                "name": name,
                "in": "query",
                "required": bool(field.required),
                "description": description,
                **place,
            }
        )
    return parameters


def _add_rules(document: dict[str, Any], operations: tuple[Operation, ...]) -> None:
    """Add the rules between fields that request schemas state in ``json_schema_rules``."""
    schemas = document["components"]["schemas"]
    for operation in operations:
        if operation.request is None or isinstance(operation.request, DocumentSchema):
            continue
        rules: list[dict[str, Any]] = []
        for cls in operation.request.__mro__:
            rules += vars(cls).get("json_schema_rules", ())
        if rules:
            schemas[_schema_name(operation.request)]["allOf"] = rules
