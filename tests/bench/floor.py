"""Apps to measure against: a bare Flask view with ready answers, and no framework at all."""

import itertools
import json
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from flask import Flask, Response

# Operation -> the bytes that the service answered to each of its request bodies.
ANSWERS: dict[str, list[str]] = json.loads(
    Path(os.environ["BENCH_ANSWERS"]).read_text(encoding="utf-8")
)


def create_floor() -> Flask:
    """Make the Flask app whose views return the answers in turn, without a look at the request."""
    app = Flask(__name__)
    for operation, answers in ANSWERS.items():
        turns = itertools.cycle([answer.encode() for answer in answers])
        app.add_url_rule(
            f"/v1/{operation}",
            operation,
            _view(turns),
            methods=["POST"],
            provide_automatic_options=False,
        )
    return app


def _view(turns: Iterator[bytes]) -> Callable[[], Response]:
    def view() -> Response:
        return Response(next(turns), mimetype="application/json")

    return view


def bare_wsgi(_environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """Answer two bytes without any framework: what server and client manage between them."""
    start_response("200 OK", [("Content-Type", "application/json"), ("Content-Length", "2")])
    return [b"{}"]
