"""The service, a receiver and a stranger on the loopback interface, as one case scripts them.

What the stand-in for the service answers is what the service itself answers, unless the script of
the case says otherwise. Everything that arrives is recorded.
"""

import hashlib
import json
import select
import socket
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from loomwright.conformance.deliveries import edited
from loomwright.conformance.service_answers import service
from loomwright.delivery import VERSION
from loomwright.exchange import JSON, PROBLEM
from loomwright.web.problem_codes import CODES

SERVICE, RECEIVER, STRANGER = "service", "receiver", "stranger"
# Stands in a script for whatever code the service has for the status.
OF_STATUS = "of_status"
# What is not asked for a design or a bill is answered as it is, whatever the script says.
_ASIDE = ("/v1/health", "/v1/openapi.json", "/v1/price-books", "/capabilities")
_HOP_BY_HOP = ("connection", "keep-alive", "transfer-encoding", "content-length", "host")
_LOOK_EVERY_S = 0.02
_UNKNOWN = {"x_later": {"a": [1, None], "total": "7.00"}, "later": "2"}


@dataclass(slots=True)
class Recorded:
    """One request as it arrived, and how it was answered; ``ended`` is when the answer was out."""

    place: str
    method: str
    target: str
    headers: Mapping[str, str]
    body: bytes
    arrived: float
    status: int = 0
    answer: bytes = b""
    answer_headers: Mapping[str, str] = field(default_factory=dict)
    ended: float = 0.0
    held_s: float | None = None

    @property
    def path(self) -> str:
        """The target without its query."""
        return self.target.partition("?")[0]

    @property
    def aside(self) -> bool:
        """Whether it asks for neither a design nor a bill, and delivers nothing.

        Spreadsheets send OPTIONS and HEAD before each GET.
        """
        return self.path in _ASIDE or self.method in ("HEAD", "OPTIONS")

    @property
    def identity(self) -> tuple[str, str, bytes]:
        """What tells a request from another."""
        return self.method, self.target, self.body

    @property
    def retry_after_s(self) -> float | None:
        """Seconds that the answer asks to wait."""
        stated = self.answer_headers.get("Retry-After")
        return None if stated is None else float(stated)


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer of a stand-in."""

    status: int
    headers: Mapping[str, str]
    body: bytes


class StandIns:
    """The servers of one case; a context within which they run.

    Parameters
    ----------
    script
        By place, what is done with the first, second, ... request; what is marked ``lasting`` with
        all that follow as well.
    patience_s
        How long a held request is held.
    """

    def __init__(
        self, script: Mapping[str, Sequence[Mapping[str, Any]]], patience_s: float
    ) -> None:
        self.script = script
        self.patience_s = patience_s
        self.recorded: list[Recorded] = []
        self.over = threading.Event()
        self._lock = threading.Lock()
        self._counts: dict[str, int] = {}
        self._kept: dict[str, str] = {}
        self._servers = {place: self._server(place) for place in (SERVICE, RECEIVER, STRANGER)}

    def __enter__(self) -> "StandIns":
        for server in self._servers.values():
            threading.Thread(
                target=server.serve_forever, args=(_LOOK_EVERY_S,), daemon=True
            ).start()
        return self

    def __exit__(self, *_: object) -> None:
        self.over.set()
        for server in self._servers.values():
            server.shutdown()
            server.server_close()

    def url(self, place: str) -> str:
        """Return the base address of a stand-in."""
        return f"http://127.0.0.1:{self._servers[place].server_address[1]}"

    def arrive(self, request: Recorded) -> Mapping[str, Any]:
        """Record a request and return what the script does with it."""
        with self._lock:
            self.recorded.append(request)
            if request.aside:
                return {}
            place = request.place
            number = self._counts.get(place, 0)
            self._counts[place] = number + 1
        acts = self.script.get(place, ())
        if number < len(acts):
            return acts[number]
        return acts[-1] if acts and acts[-1].get("lasting") else {}

    def answer(self, request: Recorded, act: Mapping[str, Any]) -> Answer:
        """Return the answer to a request under an act of the script."""
        if "redirect" in act:
            where = self.url(STRANGER) + request.target
            return Answer(act["redirect"], {"Location": where}, b"")
        if "status" in act:
            return _problem(act)
        if request.place == SERVICE:
            return _changed(_real_answer(request), request, act)
        if request.place == RECEIVER:
            return self._received(request)
        return Answer(200, {"Content-Type": JSON}, b"{}")

    def _received(self, request: Recorded) -> Answer:
        """Answer as a receiver that records everything."""
        headers = {"Content-Type": JSON}
        if request.path == "/capabilities":
            named = {"specification": VERSION, "roles": [RECEIVER], "name": "Conformance runner"}
            return Answer(200, headers, json.dumps(named).encode())
        digest = hashlib.sha256(request.body).hexdigest()
        with self._lock:
            first = request.path not in self._kept
            known = self._kept.setdefault(request.path, digest)
        if known != digest:
            return _problem({"status": 409, "code": "conflict"})
        return Answer(201 if first else 200, headers, b"{}")

    def _server(self, place: str) -> ThreadingHTTPServer:
        bound = type("BoundHandler", (_Handler,), {"stand_ins": self, "place": place})
        server = ThreadingHTTPServer(("127.0.0.1", 0), bound)
        server.daemon_threads = True
        # A caller that gave up leaves a broken connection, which is what the case is about.
        server.handle_error = lambda *_: None  # type: ignore[method-assign]
        return server


def _problem(act: Mapping[str, Any]) -> Answer:
    """Return a problem document; one without a code is a page of something in between."""
    headers = dict(act.get("headers", {}))
    status = act["status"]
    if "code" not in act:
        page = f"<html><title>{status}</title></html>".encode()
        return Answer(status, {"Content-Type": "text/html", **headers}, page)
    code = act["code"]
    if code == OF_STATUS:
        code = next((name for name, row in CODES.items() if row.status == status), OF_STATUS)
    known = CODES.get(code)
    document = {
        "type": f"/v1/problems#{code}",
        "title": known.title if known else "Refused",
        "status": status,
        "code": code,
        "detail": "Refused by the conformance runner.",
        "action": known.action if known else "See the status.",
        "errors": [],
        **act.get("texts", {}),
    }
    return Answer(status, {"Content-Type": PROBLEM, **headers}, json.dumps(document).encode())


def _real_answer(request: Recorded) -> Answer:
    # Without Accept-Encoding, so that the bytes recorded are those that the caller means.
    headers = [
        (name, value)
        for name, value in request.headers.items()
        if name.lower() not in (*_HOP_BY_HOP, "accept-encoding")
    ]
    answer = (
        service()
        .test_client()
        .open(request.target, method=request.method, headers=headers, data=request.body)
    )
    kept = {name: value for name, value in answer.headers if name.lower() not in _HOP_BY_HOP}
    return Answer(answer.status_code, kept, answer.get_data())


def _changed(answer: Answer, request: Recorded, act: Mapping[str, Any]) -> Answer:
    """Return an answer of the service as the script changes it; only JSON with status 200 is."""
    changes = [name for name in ("add_members", "reverse_members", "edits") if name in act]
    if not changes or answer.status != 200:
        return answer
    document = json.loads(answer.body)
    if "add_members" in act:
        document = _with_additions(document)
    if "reverse_members" in act:
        document = _reversed(document)
    operation = request.path.rpartition("/")[2]
    edits = act.get("edits", {})
    edited(document, edits.get(operation, edits.get("*", ())))
    body = json.dumps(document, ensure_ascii=False).encode()
    headers = {name: value for name, value in answer.headers.items() if name.lower() != "etag"}
    return Answer(answer.status, headers, body)


def _with_additions(value: Any) -> Any:
    if isinstance(value, dict):
        return {**{name: _with_additions(entry) for name, entry in value.items()}, **_UNKNOWN}
    return [_with_additions(entry) for entry in value] if isinstance(value, list) else value


def _reversed(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _reversed(value[name]) for name in reversed(value)}
    return [_reversed(entry) for entry in value] if isinstance(value, list) else value


class _Handler(BaseHTTPRequestHandler):
    """Records each request and answers as the stand-ins say."""

    protocol_version = "HTTP/1.1"
    stand_ins: StandIns
    place: str

    def _handle(self) -> None:
        arrived = time.monotonic()
        body = self._body()
        headers = dict(self.headers.items())
        request = Recorded(self.place, self.command, self.path, headers, body, arrived)
        act = self.stand_ins.arrive(request)
        if "hold" in act or "break" in act:
            if "hold" in act:
                request.held_s = self._hold()
            request.ended = time.monotonic()
            self.close_connection = True
            with suppress(OSError):
                self.connection.shutdown(socket.SHUT_RDWR)
            return
        answer = self.stand_ins.answer(request, act)
        if "cut" in act:
            # No answer, as what arrives of it cannot be used.
            self._send(answer, len(answer.body) // 2)
            request.ended = time.monotonic()
            self.close_connection = True
            return
        request.status, request.answer = answer.status, answer.body
        request.answer_headers = answer.headers
        self._send(answer, len(answer.body))
        request.ended = time.monotonic()

    do_GET = do_HEAD = do_POST = do_PUT = do_PATCH = do_DELETE = do_OPTIONS = _handle  # noqa: N815

    def _body(self) -> bytes:
        if self.headers.get("Transfer-Encoding", "").lower() != "chunked":
            return self.rfile.read(int(self.headers.get("Content-Length") or 0))
        parts: list[bytes] = []
        while size := int(self.rfile.readline().split(b";")[0], 16):
            parts.append(self.rfile.read(size))
            self.rfile.readline()
        while self.rfile.readline().strip():
            pass  # trailers
        return b"".join(parts)

    def _hold(self) -> float:
        """Return how long the caller waited for an answer that does not come."""
        started = time.monotonic()
        while (waited := time.monotonic() - started) <= self.stand_ins.patience_s:
            if self.stand_ins.over.is_set():
                break
            readable, _, _ = select.select([self.connection], [], [], _LOOK_EVERY_S)
            if readable and not self._peeked():
                break
        return waited

    def _peeked(self) -> bytes:
        """Return the next byte without taking it; nothing if the caller closed the connection."""
        try:
            byte: bytes = self.connection.recv(1, socket.MSG_PEEK)
        except OSError:
            return b""
        return byte

    def _send(self, answer: Answer, size: int) -> None:
        """Send an answer with that many bytes of its body, whatever length it states."""
        self.send_response(answer.status)
        for name, value in answer.headers.items():
            self.send_header(name, value)
        if answer.status not in (204, 304):
            self.send_header("Content-Length", str(len(answer.body)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(answer.body[:size])
        self.wfile.flush()

    def log_message(self, *_: Any) -> None:
        """Keep standard error for the runner."""
