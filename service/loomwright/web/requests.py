"""From an HTTP request to loaded values: JSON body or query string under one schema."""

import re
from collections.abc import Iterable
from typing import Any

import orjson
from flask import Request
from marshmallow import ValidationError, fields
from werkzeug.exceptions import ClientDisconnected

from loomwright.unique_members import DuplicateMemberError, json_of_unique_members
from loomwright.units import NUMBER_PATTERN
from loomwright.web.bodies import sent_body
from loomwright.web.forms.form import RESERVED_PARAMETERS
from loomwright.web.problems import ProblemError, escaped_token, pointers_of_messages
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
# Fields whose query text is JSON.
LIST_FIELDS = (ObjectList, QuantityList, KeyList)
_NUMBER = re.compile(NUMBER_PATTERN)
STATED_TWICE = "State it once."
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
        ``unsupported_media_type``, ``malformed_body``, ``body_too_large`` or ``request_timeout``.
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
        document = json_of_unique_members(body)
    except DuplicateMemberError as error:
        raise duplicate_members(error.pointers) from None
    except orjson.JSONDecodeError as error:
        raise ProblemError("malformed_body", f"The body is not JSON: {error}.") from None
    if not isinstance(document, dict):
        raise ProblemError("malformed_body", "The body must be one JSON object.")
    return document


def duplicate_members(pointers: Iterable[str]) -> ProblemError:
    """Return the problem of a body in which member names stand twice in one object.

    Parameters
    ----------
    pointers
        Of each such member.

    Returns
    -------
    ProblemError
        ``malformed_body``.
    """
    return ProblemError(
        "malformed_body",
        "A member name stands twice in one object, so that it is open what counts.",
        [(pointer, STATED_TWICE) for pointer in pointers],
    )


def _body(request: Request) -> bytes:
    """Return the body; one of stated length is read at once, without a stream around it."""
    stated = request.environ.get("CONTENT_LENGTH", "")
    length = int(stated) if stated.isascii() and stated.isdigit() and len(stated) < 8 else -1
    if not 0 <= length <= GREATEST_BODY_BYTES:
        return sent_body(request, GREATEST_BODY_BYTES)
    body: bytes = request.environ["wsgi.input"].read(length)
    if len(body) < length:
        raise ClientDisconnected()
    return body


def _query_document(schema: RequestSchema, request: Request) -> dict[str, Any]:
    document: dict[str, Any] = {}
    stated = list(request.args.lists())
    if len(request.args) < sum(len(texts) for _, texts in stated):
        raise _duplicate_parameters({name: len(texts) for name, texts in stated})
    faults: list[tuple[str, str]] = []
    for name, (text,) in stated:
        if name in RESERVED_PARAMETERS:
            continue
        field = schema.fields.get(name)
        try:
            document[name] = text if field is None else _query_value(field, text)
        except DuplicateMemberError as error:
            faults += [(f"/{name}{pointer}", STATED_TWICE) for pointer in error.pointers]
    if faults:
        raise invalid(faults)
    return document


def _duplicate_parameters(counts: dict[str, int]) -> ProblemError:
    repeated = {name: count for name, count in counts.items() if count > 1}
    return ProblemError(
        "duplicate_parameter",
        "; ".join(f"{name} is given {count} times" for name, count in repeated.items()) + ".",
        [(f"/{escaped_token(name)}", "give it once") for name in repeated],
    )


def _json_value(text: str) -> Any:
    """Return the value of a JSON text; text that is none stays, and its field names the fault."""
    try:
        return json_of_unique_members(text)
    except DuplicateMemberError:
        raise
    except orjson.JSONDecodeError:
        return text


def _query_value(field: fields.Field[Any], text: str) -> Any:
    """Return the JSON value that a query text stands for; text that stands for none stays text."""
    if isinstance(field, LIST_FIELDS):
        return _json_value(text)
    if isinstance(field, (Quantity, PlainNumber, WholeNumber)):
        return float(text) if _NUMBER.fullmatch(text) else text
    if isinstance(field, Flag):
        return _FLAGS.get(text, text)
    return text
