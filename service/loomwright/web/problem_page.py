"""The page of problem codes, where the ``type`` of each problem document points."""

from functools import cache
from html import escape

import orjson
from flask import Blueprint, Response
from flask.globals import request_ctx

from loomwright.web.problem_codes import CODES
from loomwright.web.problems import ProblemError

_JSON, _HTML = "application/json", "text/html"

blueprint = Blueprint("problems", __name__)


@blueprint.get("/problems")
def problems_view() -> Response:
    """Answer the codes as JSON or as a page."""
    request = request_ctx.request
    best = _JSON
    if request.accept_mimetypes:
        found = request.accept_mimetypes.best_match([_JSON, _HTML])
        if found is None:
            raise ProblemError("not_acceptable", f"There are {_JSON} and {_HTML}.")
        best = found
    if best == _HTML:
        response = Response(_page(), content_type=f"{_HTML}; charset=utf-8")
    else:
        response = Response(_document(), content_type=_JSON)
    response.headers["Vary"] = "Accept"
    return response


@cache
def _document() -> bytes:
    problems = [
        {"code": code, "status": known.status, "title": known.title, "action": known.action}
        for code, known in sorted(CODES.items())
    ]
    return orjson.dumps({"problems": problems})


@cache
def _page() -> str:
    rows = "\n".join(
        f'<tr id="{escape(code)}"><td><code>{escape(code)}</code></td><td>{known.status}</td>'
        f"<td>{escape(known.title)}</td><td>{escape(known.action)}</td></tr>"
        for code, known in sorted(CODES.items())
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>Problems</title>'
        "</head><body><h1>Problems</h1>\n<p>Every refusal is a problem document (RFC 9457) with "
        "one of these codes.</p>\n<table><thead><tr><th>code</th><th>status</th><th>title</th>"
        f"<th>what to do</th></tr></thead><tbody>\n{rows}\n</tbody></table></body></html>\n"
    )
