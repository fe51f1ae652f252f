"""Errors as RFC 9457 problem documents; the one table of codes."""

from collections.abc import Iterable
from dataclasses import dataclass
from http import HTTPStatus
from types import MappingProxyType
from typing import Any

import orjson
from flask import Flask, Response, current_app
from werkzeug.exceptions import HTTPException

from loomwright.engineering.errors import EngineeringError

MEDIA_TYPE = "application/problem+json"


@dataclass(frozen=True, slots=True)
class ProblemCode:
    """Status, title and what the caller can do."""

    status: int
    title: str
    action: str


CODES = MappingProxyType(
    {
        "invalid_request": ProblemCode(
            422, "The request is not valid", "Mend each field named in errors and send again."
        ),
        "malformed_body": ProblemCode(
            400, "The body is not JSON", "Send one JSON object in UTF-8, without NaN or infinity."
        ),
        "duplicate_parameter": ProblemCode(
            400, "A query parameter is given twice", "Give each query parameter once."
        ),
        "bad_request": ProblemCode(400, "The request is malformed", "Mend the request line."),
        "not_found": ProblemCode(404, "No such resource", "Look up the paths in the OpenAPI file."),
        "method_not_allowed": ProblemCode(
            405, "The method is not allowed here", "Use a method of the Allow header."
        ),
        "body_too_large": ProblemCode(413, "The body is too large", "Send at most 1 MiB."),
        "uri_too_long": ProblemCode(414, "The address is too long", "Use POST with a JSON body."),
        "request_timeout": ProblemCode(
            408, "The request did not arrive in time", "Send the whole request without a pause."
        ),
        "unsupported_media_type": ProblemCode(
            415, "The media type is not supported", "Send Content-Type: application/json."
        ),
        "http_error": ProblemCode(400, "The request was refused", "See the status."),
        "internal_error": ProblemCode(
            500, "The service failed", "Send again; report it with the request if it persists."
        ),
        "ambient_above_insulation_rating": ProblemCode(
            422, "The place is too hot for the insulation", "Choose a higher insulation rating."
        ),
        "ambient_not_below_rating": ProblemCode(
            422, "The place is too hot for the insulation", "Choose a higher insulation rating."
        ),
        "ambient_outside_model": ProblemCode(
            422, "The ambient is outside the model", "Give an ambient inside the range named."
        ),
        "deposit_above_total": ProblemCode(
            422, "The deposit is above the total", "Ask for at most the total."
        ),
        "discount_above_total": ProblemCode(
            422, "The discount is above the total", "Give at most the sum of the lines."
        ),
        "drive_above_full": ProblemCode(
            422, "The drive is above full output", "Ask for at most the full output."
        ),
        "efficiency_above_class_maximum": ProblemCode(
            422, "The efficiency is impossible for the class", "Check the measurement or the class."
        ),
        "efficiency_required": ProblemCode(
            422, "The class has no usual efficiency", "Give the measured efficiency."
        ),
        "emf_below_cranking_voltage": ProblemCode(
            422,
            "The source voltage is below that of the cold-cranking test",
            "Check voltage and number of batteries in series.",
        ),
        "fuse_required": ProblemCode(
            422, "No fuse rating is given", "Give the rating of each fuse."
        ),
        "heat_balance_not_converged": ProblemCode(
            422, "The heat balance has no solution", "Lower the current or the ambient."
        ),
        "incomplete_pair": ProblemCode(422, "Half of a pair is missing", "Give both or neither."),
        "key_not_permitted": ProblemCode(
            403, "The key may not do this", "Use another key or ask for less."
        ),
        "key_required": ProblemCode(
            401, "A key is needed", "Send Authorization: Bearer with a key."
        ),
        "no_resistance_in_fault_circuit": ProblemCode(
            422,
            "Nothing limits the fault current",
            "Give the source a resistance or a current limit.",
        ),
        "no_size_large_enough": ProblemCode(
            422, "No listed size is large enough", "Use parallel runs or another series."
        ),
        "one_of_required": ProblemCode(
            422, "One of two fields is missing", "Give one of the fields named."
        ),
        "only_one_of": ProblemCode(
            422, "Two fields exclude each other", "Give one of the fields named."
        ),
        "operating_point_not_converged": ProblemCode(
            422, "The operating point was not found", "Lower the load."
        ),
        "out_of_range": ProblemCode(
            422, "A value is out of range", "Give a value inside the range named."
        ),
        "package_without_lines": ProblemCode(
            422, "A package price has no lines", "Complete the price book or leave it out."
        ),
        # The operator's file is at fault and no change to the request helps; once it is mended, the
        # same request is answered. That is a 503, not a 4xx.
        "price_book_faulty": ProblemCode(
            503, "The mounted price book cannot be used", "Tell the operator what errors names."
        ),
        "price_book_not_valid": ProblemCode(
            422, "The price book does not hold on this day", "Use another book or another day."
        ),
        "temperature_outside_model": ProblemCode(
            422, "A temperature is outside the model", "Give a temperature inside the range named."
        ),
        "unknown_converter": ProblemCode(
            422, "The converter is unknown", "Give one of the converters named."
        ),
        "unknown_difficulty": ProblemCode(
            422, "The difficulty factor is unknown", "Give one of the price book."
        ),
        "unknown_fuse_type": ProblemCode(
            422, "The fuse type is unknown", "Give one of the types named."
        ),
        "unknown_placement_rule": ProblemCode(
            422, "The placement rule is unknown", "Give one of the rules named."
        ),
        "unknown_price_book": ProblemCode(
            422, "No price book has this name", "Give one of the names listed, or send a book."
        ),
        "value_out_of_range": ProblemCode(
            422, "A value is out of range", "Give a value inside the range named."
        ),
    }
)


class ProblemError(Exception):
    """A fault of the request, found in the web layer.

    Parameters
    ----------
    code
        Key of ``CODES``.
    detail
        What is wrong with this request.
    errors
        Faults as pairs of JSON pointer and message.
    """

    def __init__(self, code: str, detail: str, errors: Iterable[tuple[str, str]] = ()) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.errors = tuple(errors)


def problem_response(
    code: str,
    detail: str,
    errors: Iterable[tuple[str, str]] = (),
    *,
    status: int | None = None,
    headers: dict[str, str] | None = None,
) -> Response:
    """Return a problem document.

    Parameters
    ----------
    code
        Key of ``CODES``.
    detail
        One sentence about this request.
    errors
        Faults as pairs of JSON pointer and message.
    status
        Another status than the code's own.
    headers
        Headers to add.

    Returns
    -------
    Response
        ``application/problem+json``.
    """
    known = CODES[code]
    document: dict[str, Any] = {
        "type": f"/v1/problems#{code}",
        "title": known.title,
        "status": status or known.status,
        "code": code,
        "detail": detail,
        "action": known.action,
        "errors": [{"pointer": pointer, "message": message} for pointer, message in errors],
    }
    response = Response(
        orjson.dumps(document), status=status or known.status, content_type=MEDIA_TYPE
    )
    if response.status_code == HTTPStatus.UNAUTHORIZED:
        response.headers["WWW-Authenticate"] = 'Bearer realm="cost and margin"'
    response.headers.update(headers or {})
    return response


def pointers_of_messages(messages: Any, pointer: str = "") -> list[tuple[str, str]]:
    """Return nested messages as JSON pointers (RFC 6901) and sentences.

    Parameters
    ----------
    messages
        Of a ``ValidationError``; None as a name stands for the object that holds the names.
    pointer
        Where the messages hang.

    Returns
    -------
    list of tuple
        Pointer and message, in the order found.
    """
    if isinstance(messages, dict):
        found = []
        for key, value in messages.items():
            inside = pointer if key is None else f"{pointer}/{_escaped(str(key))}"
            found += pointers_of_messages(value, inside)
        return found
    if isinstance(messages, list):
        return [(pointer, str(message)) for message in messages]
    return [(pointer, str(messages))]


def _escaped(token: str) -> str:
    return token.replace("~", "~0").replace("/", "~1")


_CODE_OF_STATUS = {
    400: "bad_request",
    404: "not_found",
    405: "method_not_allowed",
    408: "request_timeout",
    413: "body_too_large",
    414: "uri_too_long",
    415: "unsupported_media_type",
    500: "internal_error",
}


def register_problems(app: Flask) -> None:
    """Make every failure of an application a problem document.

    Parameters
    ----------
    app
        The application.
    """

    @app.errorhandler(ProblemError)
    def refused(error: ProblemError) -> Response:
        return problem_response(error.code, error.detail, error.errors)

    @app.errorhandler(EngineeringError)
    def out_of_model(error: EngineeringError) -> Response:
        pointer = "" if error.field is None else f"/{error.field}"
        return problem_response(error.code, error.message, [(pointer, error.message)])

    @app.errorhandler(HTTPException)
    def http_error(error: HTTPException) -> Response:
        status = error.code or 500
        code = _CODE_OF_STATUS.get(status, "http_error")
        headers = {
            name: value
            for name, value in error.get_headers()
            if name.lower() not in ("content-type", "content-length")
        }
        detail = error.description or HTTPStatus(status).phrase
        return problem_response(code, detail, status=status, headers=headers)

    @app.errorhandler(Exception)
    def failed(error: Exception) -> Response:
        # The cause goes to the log, never to the caller.
        current_app.logger.exception("unhandled error", exc_info=error)
        return problem_response("internal_error", "The service failed on this request.")
