"""Errors as RFC 9457 problem documents."""

from collections.abc import Iterable
from http import HTTPStatus
from typing import Any

import orjson
from flask import Flask, Response, current_app
from flask.globals import request_ctx
from werkzeug.exceptions import HTTPException

from loomwright.documents.paperwork import PaperworkError
from loomwright.engineering.errors import EngineeringError
from loomwright.web.forms.errors import in_asked_form
from loomwright.web.problem_codes import CODES
from loomwright.web.request_ids import request_id
from loomwright.web.signals.exchange import note_problem

MEDIA_TYPE = "application/problem+json"


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
    headers
        Headers to add to the answer, such as ``Retry-After``.
    """

    def __init__(
        self,
        code: str,
        detail: str,
        errors: Iterable[tuple[str, str]] = (),
        *,
        headers: dict[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.errors = tuple(errors)
        self.headers = headers


def problem_document(
    code: str,
    detail: str,
    errors: Iterable[tuple[str, str]] = (),
    *,
    status: int | None = None,
) -> dict[str, Any]:
    """Return the members of a problem document.

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

    Returns
    -------
    dict
        As RFC 9457 names them, and ``code``, ``action`` and ``errors``.
    """
    known = CODES[code]
    return {
        "type": f"/v1/problems#{code}",
        "title": known.title,
        "status": status or known.status,
        "code": code,
        "detail": detail,
        "action": known.action,
        "errors": [{"pointer": pointer, "message": message} for pointer, message in errors],
    }


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
        ``application/problem+json``, or one line where the request asks for text, CSV or XML.
    """
    note_problem(code)
    document = problem_document(code, detail, errors, status=status)
    response = Response(orjson.dumps(document), status=document["status"], content_type=MEDIA_TYPE)
    if code in _CHALLENGES:
        response.headers["WWW-Authenticate"] = f'Bearer realm="loomwright"{_CHALLENGES[code]}'
    response.headers.update(headers or {})
    return in_asked_form(response, document)


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
            inside = pointer if key is None else f"{pointer}/{escaped_token(str(key))}"
            found += pointers_of_messages(value, inside)
        return found
    if isinstance(messages, list):
        return [(pointer, str(message)) for message in messages]
    return [(pointer, str(messages))]


def escaped_token(token: str) -> str:
    """Return a name as it stands in a JSON pointer (RFC 6901, 3)."""
    return token.replace("~", "~0").replace("/", "~1")


# What RFC 6750, 3.1 says beside the scheme.
_CHALLENGES = {
    "key_required": "",
    "key_not_accepted": ', error="invalid_token"',
    "key_expired": ', error="invalid_token"',
    "key_not_permitted": ', error="insufficient_scope"',
}
CODE_OF_STATUS = {
    400: "bad_request",
    404: "not_found",
    405: "method_not_allowed",
    406: "not_acceptable",
    408: "request_timeout",
    413: "body_too_large",
    414: "uri_too_long",
    415: "unsupported_media_type",
    417: "expectation_failed",
    431: "headers_too_large",
    500: "internal_error",
    501: "not_implemented",
}


# What the library says in more words than a cell of a sheet shows.
_DETAILS = {404: "There is nothing at this address."}


def register_problems(app: Flask) -> None:
    """Make every failure of an application a problem document.

    Parameters
    ----------
    app
        The application.
    """

    @app.errorhandler(ProblemError)
    def refused(error: ProblemError) -> Response:
        return problem_response(error.code, error.detail, error.errors, headers=error.headers)

    @app.errorhandler(EngineeringError)
    def out_of_model(error: EngineeringError) -> Response:
        pointer = "" if error.field is None else f"/{error.field}"
        return problem_response(error.code, error.message, [(pointer, error.message)])

    @app.errorhandler(PaperworkError)
    def not_to_be_documented(error: PaperworkError) -> Response:
        faults = [(fault.pointer, fault.message) for fault in error.faults]
        return problem_response(error.code, "No such document can be made of this bill.", faults)

    @app.errorhandler(HTTPException)
    def http_error(error: HTTPException) -> Response:
        status = error.code or 500
        code = CODE_OF_STATUS.get(status, "http_error")
        headers = {
            name: value
            for name, value in error.get_headers()
            if name.lower() not in ("content-type", "content-length")
        }
        detail = _DETAILS.get(status) or error.description or HTTPStatus(status).phrase
        return problem_response(code, detail, status=status, headers=headers)

    @app.errorhandler(Exception)
    def failed(error: Exception) -> Response:
        # The cause goes to the log, never to the caller.
        identifier = request_id(request_ctx.request)
        current_app.logger.exception("unhandled error in request %s", identifier, exc_info=error)
        return problem_response("internal_error", "The service failed on this request.")
