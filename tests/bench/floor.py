"""Apps to measure against: a bare Flask view with ready answers, and no framework at all."""

import itertools
import json
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from flask import Flask, Response, request

# Operation, with its form behind a point -> what it is asked for, and the bytes that the service
# answered to each of its request bodies, each byte as the character of its number.
ANSWERS: dict[str, dict[str, Any]] = json.loads(
    Path(os.environ["BENCH_ANSWERS"]).read_text(encoding="utf-8")
)


def create_floor() -> Flask:
    """Make the Flask app whose views return the answers in turn, without a look at the body."""
    app = Flask(__name__)
    turns: dict[str, Iterator[bytes]] = {}
    for name, given in ANSWERS.items():
        answers = [answer.encode("latin-1") for answer in given["answers"]]
        turns[name] = itertools.cycle(answers)
    for operation in dict.fromkeys(name.partition(".")[0] for name in turns):
        app.add_url_rule(
            f"/v1/{operation}",
            operation,
            _view(turns),
            methods=["POST"],
            provide_automatic_options=False,
        )
    return app


def _view(turns: dict[str, Iterator[bytes]]) -> Callable[[], Response]:
    def view() -> Response:
        name = request.headers["Measured"]
        return Response(next(turns[name]), mimetype=request.headers["Accept"])

    return view


def bare_wsgi(_environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """Answer two bytes without any framework: what server and client manage between them."""
    start_response("200 OK", [("Content-Type", "application/json"), ("Content-Length", "2")])
    return [b"{}"]
