"""The OpenAPI 3.1 document, made from the schemas that the views load and from the code table."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from http import HTTPStatus
from typing import Any

import orjson
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
from loomwright.web.forms.described import (
    as_parameter,
    error_content,
    form_content,
    form_parameters,
)
from loomwright.web.forms.registry import FORMS_BY_OPERATION
from loomwright.web.openapi_bodies import (
    BodyForm,
    DocumentSchema,
    body_content,
    body_description,
)
from loomwright.web.openapi_examples import (
    answer_examples,
    example_components,
    line_examples,
    problem_component,
    problem_examples,
)
from loomwright.web.openapi_links import links_of
from loomwright.web.openapi_units import add_units, tell_unit
from loomwright.web.problem_codes import CODES, codes_of
from loomwright.web.problems import MEDIA_TYPE
from loomwright.web.requests import GREATEST_BODY_BYTES, LIST_FIELDS
from loomwright.web.schemas.common import SegmentRequest
from loomwright.web.schemas.load import LoadDriverRequest, StatedOutputRequest
from loomwright.web.schemas.problem import ProblemSchema
from loomwright.web.schemas.sensitivity import TOLERANCE_REQUESTS

DESCRIPTION = """\
The engineering and the pricing behind a vehicle 12, 24 or 48 V installation: conductors, fuses,
honest output figures and priced bills of materials.

A request quantity is a number in the unit that `x-unit` states, or text `"<number> <unit>"` with a
unit from `x-accepted-units`. A response quantity is a number whose name ends in its unit. Lengths
are one-way unless the name says otherwise. The vehicle maker's instructions, local codes and
licensed practice come before any figure given here.
"""


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation with the schemas of its request and answer.

    ``description`` says in Markdown what ``summary`` leaves open. ``with_query`` adds GET with the
    same fields as query parameters. ``statuses`` are those of problems that not every operation
    has. ``pages`` are media types of the answer beside JSON and beside its registered forms.
    ``is_kept`` says that an answer to GET has a validator. ``bodies`` are forms of bodies beside
    JSON, which go with ``as`` in the query of POST and with compression.
    """

    name: str
    summary: str
    tag: str
    request: type[Schema] | DocumentSchema | None
    answer: type[Schema]
    with_query: bool = False
    statuses: tuple[int, ...] = ()
    path: str = ""
    description: str = ""
    pages: tuple[str, ...] = ()
    is_kept: bool = True
    bodies: tuple[BodyForm, ...] = ()
    greatest_body_bytes: int = GREATEST_BODY_BYTES

    @property
    def url(self) -> str:
        """Path of the operation."""
        return self.path or f"/v1/{self.name}"


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
        info={
            "summary": "Engineering and pricing of vehicle 12, 24 and 48 V installations.",
            "description": DESCRIPTION,
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        servers=[{"url": "/", "description": "The service itself"}],
        tags=[
            {
                "name": "engineering",
                "description": "Sizing and checking: figures with the rules they rest on.",
            },
            {
                "name": "pricing",
                "description": "Bills of materials, and the price books they are priced by.",
            },
            {"name": "service", "description": "The state of the service."},
        ],
    )
    assert plugin.converter is not None
    plugin.converter.add_attribute_function(_own_field)  # type: ignore[no-untyped-call]
    for name, scheme in SECURITY_SCHEMES.items():
        spec.components.security_scheme(name, scheme)
    for name, (description, example) in RESPONSE_HEADERS.items():
        # Methods that a path does not have are no operation of it.
        if name == "Allow":
            continue
        header = {"description": description, "schema": {"type": "string"}, "example": example}
        spec.components.header(name, header)
    spec.components.schema("Problem", schema=ProblemSchema)
    for schema in (SegmentRequest, LoadDriverRequest, StatedOutputRequest, *TOLERANCE_REQUESTS):
        spec.components.schema(schema.__name__, schema=schema)
    added: dict[str, Any] = {}
    for operation in operations:
        if isinstance(operation.request, DocumentSchema):
            _add_components(spec, operation.request, added)
        spec.path(path=operation.url, operations=_methods(operation, plugin))
    document = spec.to_dict()
    _add_rules(document, operations)
    add_units(document["components"]["schemas"])
    _add_problems(document)
    return document


@cache
def openapi_json(operations: tuple[Operation, ...]) -> bytes:
    """Return the OpenAPI document as JSON, made once."""
    return orjson.dumps(openapi_document(operations))


def _add_problems(document: dict[str, Any]) -> None:
    """Add the examples, and the table of codes with those of codes that belong to no operation."""
    examples = example_components()
    used = set(_references(document))
    document["components"]["examples"] = {
        name: example
        for name, example in examples.items()
        if f"#/components/examples/{name}" in used
    }
    document["x-problem-codes"] = {}
    for code, entry in sorted(CODES.items()):
        shown: dict[str, Any] = {
            "status": entry.status,
            "title": entry.title,
            "action": entry.action,
        }
        name = problem_component(code)
        if name in document["components"]["examples"]:
            shown["example"] = {"$ref": f"#/components/examples/{name}"}
        elif name:
            shown["example"] = examples[name]["value"]
        document["x-problem-codes"][code] = shown


def _references(value: Any) -> Iterator[str]:
    if isinstance(value, list):
        for entry in value:
            yield from _references(entry)
    elif isinstance(value, dict):
        for name, entry in value.items():
            if name == "$ref":
                yield entry
            else:
                yield from _references(entry)


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
    base = {
        "tags": [operation.tag],
        "summary": operation.summary,
        "description": operation.description or operation.summary,
    }
    # The first one is no key at all, for a service that is open.
    offered: list[dict[str, list[str]]] = [{}]
    if operation.tag != "service":
        offered.append({BEARER: []})
    if operation.request is None:
        return {
            "get": {
                **base,
                "operationId": identifier,
                "security": offered,
                "responses": _responses(operation, "get", *_GET_STATUSES),
            }
        }
    post: dict[str, Any] = {
        **base,
        "operationId": identifier,
        "requestBody": {
            "required": True,
            "description": body_description(operation.bodies, operation.greatest_body_bytes),
            "content": {
                "application/json": _request_content(operation),
                **{each.media_type: body_content(each) for each in operation.bodies},
            },
        },
        "security": offered,
        "responses": _responses(operation, "post", *_POST_STATUSES),
    }
    if operation.bodies:
        post["parameters"] = [as_parameter(FORMS_BY_OPERATION[operation.name])]
    methods = {"post": post}
    if operation.with_query and not isinstance(operation.request, DocumentSchema):
        forms = FORMS_BY_OPERATION.get(operation.name)
        methods["get"] = {
            **base,
            "operationId": f"{identifier}_by_query",
            "parameters": [
                *_parameters(operation, operation.request, plugin),
                *(form_parameters(forms) if forms else ()),
            ],
            "security": [*offered, {SPREADSHEET_KEY: []}],
            "responses": _responses(operation, "get", *_GET_STATUSES, 400, 422),
        }
    return methods


_POST_STATUSES = (400, 408, 413, 415, 422, 500)
_GET_STATUSES = (414, 500)


def _headers(*names: str) -> dict[str, Any]:
    return {name: {"$ref": f"#/components/headers/{name}"} for name in names}


_OF_ALL = ("X-Request-Id", "Cache-Control", "Vary", "Deprecation", "Sunset")
_OF_READS = (*_OF_ALL, "ETag")
_OF_STATUS = {
    401: ("WWW-Authenticate",),
    403: ("WWW-Authenticate",),
    429: ("Retry-After", "RateLimit", "RateLimit-Policy"),
    503: ("Retry-After",),
}


def _responses(operation: Operation, method: str, *statuses: int) -> dict[str, Any]:
    """Return the responses of one method, in order of their statuses."""
    forms = FORMS_BY_OPERATION.get(operation.name)
    accepted = {*statuses, *operation.statuses, *((406,) if forms is not None else ())}
    if operation.tag != "service":
        accepted |= set(ACCESS_STATUSES)
    found = {
        "200": _answer(operation, method),
        **{str(status): _problem(operation, method, status) for status in accepted},
    }
    if method == "get" and operation.is_kept:
        found["304"] = {
            "description": "The caller has the answer already, as `If-None-Match` says.",
            "headers": _headers(*_OF_READS),
        }
    return dict(sorted(found.items()))


def _answer(operation: Operation, method: str) -> dict[str, Any]:
    forms = FORMS_BY_OPERATION.get(operation.name)
    content: dict[str, Any] = {"application/json": {"schema": operation.answer}}
    if forms is not None:
        content |= form_content(forms)
    content |= {media_type: {"schema": {"type": "string"}} for media_type in operation.pages}
    for media_type, described in content.items():
        examples = answer_examples(operation.name, media_type)
        if examples:
            described["examples"] = examples
    answer: dict[str, Any] = {
        "description": "The answer; a design that cannot be met is a verdict in it.",
        "headers": _headers(*(_OF_READS if method == "get" and operation.is_kept else _OF_ALL)),
        "content": content,
    }
    links = links_of(operation.name, method)
    if links:
        answer["links"] = links
    return answer


def _problem(operation: Operation, method: str, status: int) -> dict[str, Any]:
    examples = problem_examples(operation.name, method, status)
    content: dict[str, Any] = {MEDIA_TYPE: {"schema": ProblemSchema, "examples": examples}}
    if method == "get":
        content |= error_content()
    if status == HTTPStatus.UNPROCESSABLE_ENTITY:
        for media_type, described in content.items():
            lines = line_examples(media_type)
            if lines:
                described["examples"] = lines
    return {
        "description": "; ".join(
            f"`{key}`: {CODES[key].title}" for key in codes_of(operation.name, status)
        ),
        "headers": _headers("X-Request-Id", *_OF_STATUS.get(status, ())),
        "content": content,
    }


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


def _parameters(
    operation: Operation, request: type[Schema], plugin: MarshmallowPlugin
) -> list[dict[str, Any]]:
    """Return the fields of a request as query parameters; nested ones as JSON text."""
    parameters = []
    example = next(iter(EXAMPLES[operation.name].values()))
    assert plugin.converter is not None
    for name, field in request().fields.items():
        schema = plugin.converter.field2property(field)
        tell_unit(schema)
        description = schema.pop("description", "") or f"Field {name} of the request."
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
