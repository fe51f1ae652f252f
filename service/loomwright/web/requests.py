"""From an HTTP request to loaded values: JSON body or query string under one schema."""

import re
from contextlib import suppress
from typing import Any

import orjson
from flask import Request
from marshmallow import ValidationError, fields
from werkzeug.exceptions import ClientDisconnected

from loomwright.units import NUMBER_PATTERN
from loomwright.web.problems import ProblemError, pointers_of_messages
from loomwright.web.quantities import (
    Flag,
    KeyList,
    PlainNumber,
    Quantity,
    QuantityList,
    WholeNumber,
)
from loomwright.web.schemas.base import ObjectList
from loomwright.web.schemas.base import Request as RequestSchema

GREATEST_BODY_BYTES = 1024 * 1024
_JSON = "application/json"
# Query parameters that are no fields of a request.
RESERVED_PARAMETERS = frozenset({"key"})
# Fields whose query text is JSON.
LIST_FIELDS = (ObjectList, QuantityList, KeyList)
_NUMBER = re.compile(NUMBER_PATTERN)
_FLAGS = {"true": True, "false": False}


def loaded(schema: RequestSchema, request: Request) -> dict[str, Any]:
    """Return the values of a request under a schema, quantities in coherent SI.

    Parameters
    ----------
    schema
        Of the operation; the same for body and query string.
    request
        POST with a JSON object, or GET with a query string.

    Returns
    -------
    dict
        Loaded values by field name.

    Raises
    ------
    ProblemError
        ``invalid_request`` with every fault, ``malformed_body``, ``unsupported_media_type`` or
        ``duplicate_parameter``.
    """
    if request.method == "POST":
        document = json_object(request)
    else:
        document = _query_document(schema, request)
    try:
        return schema.load_document(document)
    except ValidationError as error:
        raise invalid(pointers_of_messages(error.messages)) from None


def invalid(faults: list[tuple[str, str]]) -> ProblemError:
    """Return the problem of an invalid request with all its faults."""
    count = len(faults)
    return ProblemError(
        "invalid_request",
        f"{count} fault{'s' if count != 1 else ''} in the request; each is named in errors.",
        faults,
    )


def json_object(request: Request) -> dict[str, Any]:
    """Return the JSON object of a body.

    Parameters
    ----------
    request
        With ``application/json``.

    Returns
    -------
    dict
        The parsed object.

    Raises
    ------
    ProblemError
        ``unsupported_media_type``, ``malformed_body`` or ``request_timeout``.
    """
    # The bare type is what nearly all clients send; the rest is read with its parameters.
    if request.environ.get("CONTENT_TYPE") != _JSON and request.mimetype != _JSON:
        raise ProblemError(
            "unsupported_media_type",
            f"The body is {request.mimetype or 'of no stated type'}; "
            "send Content-Type: application/json.",
        )
    try:
        body = _body(request)
    except (ClientDisconnected, OSError):
        # The server's socket gave up waiting for the rest of the body.
        raise ProblemError("request_timeout", "The body did not arrive in time.") from None
    try:
        document = orjson.loads(body)
    except orjson.JSONDecodeError as error:
        raise ProblemError("malformed_body", f"The body is not JSON: {error}.") from None
    if not isinstance(document, dict):
        raise ProblemError("malformed_body", "The body must be one JSON object.")
    return document


def _body(request: Request) -> bytes:
    """Return the body; one of stated length is read at once, without a stream around it."""
    stated = request.environ.get("CONTENT_LENGTH", "")
    length = int(stated) if stated.isascii() and stated.isdigit() and len(stated) < 8 else -1
    if not 0 <= length <= GREATEST_BODY_BYTES:
        return request.get_data(cache=False)
    body: bytes = request.environ["wsgi.input"].read(length)
    if len(body) < length:
        raise ClientDisconnected()
    return body


def _query_document(schema: RequestSchema, request: Request) -> dict[str, Any]:
    document: dict[str, Any] = {}
    for name, texts in request.args.lists():
        if len(texts) > 1:
            raise ProblemError(
                "duplicate_parameter",
                f"{name} is given {len(texts)} times.",
                [(f"/{name}", "give it once")],
            )
        if name in RESERVED_PARAMETERS:
            continue
        field = schema.fields.get(name)
        document[name] = texts[0] if field is None else _query_value(field, texts[0])
    return document


def _query_value(field: fields.Field[Any], text: str) -> Any:
    """Return the JSON value that a query text stands for; text that stands for none stays text."""
    if isinstance(field, LIST_FIELDS):
        # Text that is not JSON stays text, and the field names the fault among all others.
        with suppress(orjson.JSONDecodeError):
            return orjson.loads(text)
        return text
    if isinstance(field, (Quantity, PlainNumber, WholeNumber)):
        return float(text) if _NUMBER.fullmatch(text) else text
    if isinstance(field, Flag):
        return _FLAGS.get(text, text)
    return text
