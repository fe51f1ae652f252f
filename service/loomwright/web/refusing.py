"""What the server answers by itself, in the same words and form as the application would.

The application is not asked: a request that is refused costs a fraction of one that is answered.
Each form of refusal is made once, by an application that refuses everything, and kept.
"""

from functools import lru_cache
from typing import Any

from flask import Flask, Response
from flask.globals import request_ctx

from loomwright.web.described_http import REQUEST_ID
from loomwright.web.manners import register_manners
from loomwright.web.problems import CODE_OF_STATUS, problem_response, register_problems
from loomwright.web.request_ids import id_of_environ
from loomwright.web.settings import Settings
from loomwright.web.signals.refusals import note_refusal
from loomwright.web.versions import VERSIONS

# What callers write makes new forms: the last ones are kept.
_KEPT_FORMS = 512
_READS = frozenset({"GET", "HEAD"})
_REFUSAL = "loomwright.refusal"
# Of each answer, not of its form.
_OWN_FIELDS = frozenset({REQUEST_ID.lower(), "content-length", "connection"})
_ROOTS = {f"/{version.name}/" for version in VERSIONS}

# Code, detail, status, fields to add.
_Refusal = tuple[str, str, int, tuple[tuple[str, str], ...]]
# Method, path, query, Accept, Origin.
_Asked = tuple[str, str, str, str, str]
_NOTHING: _Asked = ("POST", "/", "", "", "")


class Refusing:
    """Makes answers to requests that the server refuses.

    Parameters
    ----------
    settings
        Of the operator.
    """

    def __init__(self, settings: Settings) -> None:
        self._app = _refusing_app(settings)
        self._asks_origin = bool(settings.cors_origins)
        self._form = lru_cache(_KEPT_FORMS)(self._made)

    def overloaded(self, detail: str, retry_after_s: int, request: Any, *, keeps: bool) -> bytes:
        """Return a whole HTTP answer that says that there is too much to do.

        Parameters
        ----------
        detail
            What there is too much of.
        retry_after_s
            Seconds to wait, for ``Retry-After``.
        request
            As the server has parsed it; None where it has not arrived so far.
        keeps
            Whether the connection stays open.

        Returns
        -------
        bytes
            Head and body, the latter not to HEAD; whoever watches is told.
        """
        fields = (("Retry-After", str(retry_after_s)),)
        return self._answer(("overloaded", detail, 503, fields), request, keeps=keeps)

    def unread(self, status: int, reason: str, request: Any = None) -> bytes:
        """Return a whole HTTP answer to what does not become a request, and close.

        Parameters
        ----------
        status
            Its status.
        reason
            The status in words.
        request
            As the server has parsed it, where that is known.

        Returns
        -------
        bytes
            Head and body, the latter not to HEAD; whoever watches is told.
        """
        detail = f"{reason}; the request was refused before it was read."
        code = CODE_OF_STATUS.get(status, "http_error")
        return self._answer((code, detail, status, ()), request, keeps=False)

    def _answer(self, refusal: _Refusal, request: Any, *, keeps: bool) -> bytes:
        note_refusal(refusal[2])
        fields = dict(request.headers) if request else {}
        head, body = self._form(refusal, self._asked(request, fields) if request else _NOTHING)
        name = id_of_environ({"HTTP_X_REQUEST_ID": fields.get(REQUEST_ID.upper())})
        own = f"Connection: {'keep-alive' if keeps else 'close'}\r\n{REQUEST_ID}: {name}\r\n\r\n"
        has_body = request is None or request.method != "HEAD"
        return head + own.encode("ascii") + (body if has_body else b"")

    def _asked(self, request: Any, fields: dict[str, str]) -> _Asked:
        """Return all of a request that the form of a refusal depends on."""
        root = request.path[: request.path.find("/", 1) + 1]
        path = root if root in _ROOTS else "/"
        origin = fields.get("ORIGIN", "") if self._asks_origin else ""
        if request.method not in _READS:
            return "POST", path, "", "", origin
        query = request.query if "as=" in request.query or "errors=" in request.query else ""
        return "GET", path, query, fields.get("ACCEPT", ""), origin

    def _made(self, refusal: _Refusal, asked: _Asked) -> tuple[bytes, bytes]:
        method, path, query, accept, origin = asked
        stated = {"Accept": accept, "Origin": origin}
        with self._app.test_request_context(
            path,
            method=method,
            query_string=query,
            headers=[(name, text) for name, text in stated.items() if text],
            environ_base={_REFUSAL: refusal},
        ):
            response = self._app.full_dispatch_request()
        body = response.get_data()
        lines = [f"HTTP/1.1 {response.status}", f"Content-Length: {len(body)}"]
        lines += [
            f"{name}: {text}"
            for name, text in response.headers.items()
            if name.lower() not in _OWN_FIELDS
        ]
        return "".join(f"{line}\r\n" for line in lines).encode("latin-1"), body


def _refusing_app(settings: Settings) -> Flask:
    app = Flask("loomwright", static_folder=None)
    register_problems(app)
    register_manners(app, settings, ())

    @app.before_request
    def refuse() -> Response:
        code, detail, status, fields = request_ctx.request.environ[_REFUSAL]
        return problem_response(code, detail, status=status, headers=dict(fields))

    return app
