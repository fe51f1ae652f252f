"""Errors in the form that the caller reads: one short line instead of a problem document."""

from typing import Any

from flask import Response, has_request_context
from flask.globals import request_ctx

from loomwright.documents.csv_text import csv_of_rows
from loomwright.web.forms.accept import best_media_type
from loomwright.web.forms.form import ERRORS_AS_TEXT, Form
from loomwright.web.forms.shared_forms import CSV, TEXT, XML
from loomwright.web.forms.text_form import in_one_line
from loomwright.web.forms.xml_form import xml_of_error

GREATEST_LINE = 240
# What a formula can look for.
START = "Error: "
PROBLEM = "application/problem+json"

# Forms in which an error is a line.
ERROR_FORMS = (TEXT, CSV, XML)

_BY_NAME = {form.name: form for form in ERROR_FORMS}
_BY_MEDIA_TYPE = {form.media_type: form for form in ERROR_FORMS}
_CSV_LINE = f"{CSV.media_type}; charset=utf-8; header=absent"
# In this order where the caller likes several alike.
_OFFERED = (PROBLEM, "application/json", *_BY_MEDIA_TYPE)


def in_asked_form(response: Response, document: dict[str, Any]) -> Response:
    """Make a problem response one in the form that its request asks for.

    Every problem of the service passes through here, whoever raised it. A line takes the place of
    the document where ``as`` or ``Accept`` of a GET or HEAD asks for text, CSV or XML, under the
    same status and header fields. ``errors=text`` in the query gives the status 200, for programs
    that show no other.

    Parameters
    ----------
    response
        With the problem document as JSON.
    document
        The problem document.

    Returns
    -------
    Response
        The same, changed or not.
    """
    if not has_request_context():
        return response
    response.vary.add("Accept")
    request = request_ctx.request
    if request.method not in ("GET", "HEAD"):
        # A program that posts takes a document with every fault, whatever form its answer has.
        return response
    query = request.args
    shown = query.get("errors") == ERRORS_AS_TEXT
    form = _BY_NAME.get(query.get("as", ""))
    if form is None and "as" not in query:
        best = best_media_type(request.environ.get("HTTP_ACCEPT", ""), _OFFERED)
        form = _BY_MEDIA_TYPE.get(best or PROBLEM)
    if form is None and shown:
        form = TEXT
    if form is not None:
        response.data = _encoded(form, error_line(document))
        response.content_type = form.content_type if form is not CSV else _CSV_LINE
    if shown:
        response.status_code = 200
        # Under this status only the header tells that the answer is none to be kept.
        response.headers["Cache-Control"] = "no-store"
    return response


def error_line(document: dict[str, Any]) -> str:
    """Return a problem document as one short line that a person can act on.

    Parameters
    ----------
    document
        The problem document.

    Returns
    -------
    str
        ``Error: `` with the first fault and its field, or with what is wrong and what to do.
    """
    faults = document["errors"]
    if faults and faults[0]["pointer"]:
        first = faults[0]
        said = f"{first['pointer'].removeprefix('/')}: {first['message']}"
        more = len(faults) - 1
        tail = f" (and {more} more fault{'s' if more > 1 else ''})" if more else ""
    else:
        said, tail = f"{document['detail']} {document['action']}", ""
    line, room = in_one_line(said), GREATEST_LINE - len(START) - len(tail)
    if len(line) > room:
        line = line[: room - 4].rpartition(" ")[0].rstrip(",;") + " ..."
    return START + line + tail


def _encoded(form: Form, line: str) -> bytes:
    if form is XML:
        return xml_of_error(line)
    return csv_of_rows((line,), ()) if form is CSV else line.encode()
