"""The page of problem codes, where the ``type`` of each problem document points."""

from functools import cache

import orjson
from flask import Blueprint, Response
from flask.globals import request_ctx

from loomwright.web.pages.rendering import rendered
from loomwright.web.pages.serving import page_response
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
        response = page_response(_page())
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
    return rendered(
        "problems.html", here="/v1/problems", title="Problems", codes=sorted(CODES.items())
    )
