"""What the server process needs: checked settings, and refusals of its own as problem documents."""

import logging
import os
import sys
from functools import cache, wraps
from typing import Any, NoReturn

import orjson
from gunicorn import util
from gunicorn.http.wsgi import Response

from loomwright.web.described_http import REQUEST_ID
from loomwright.web.problems import CODE_OF_STATUS, MEDIA_TYPE, problem_document
from loomwright.web.request_ids import id_of_environ, new_id
from loomwright.web.settings import JSON, Settings, SettingsError, exposure_faults, settings_from
from loomwright.web.signals.logs import json_line
from loomwright.web.signals.refusals import note_refusal

_ID_FIELD = REQUEST_ID.upper()


def checked_settings() -> Settings:
    """Return the settings of the environment, or end the process with one line for each fault."""
    try:
        return settings_from(os.environ)
    except SettingsError as error:
        end_process(error.faults)


def refuse_exposure(settings: Settings, addresses: list[Any]) -> None:
    """End the process where it would serve whoever reaches it and nobody said so.

    Parameters
    ----------
    settings
        The settings.
    addresses
        Where the server really listens, as it holds them: pairs of host and port, or paths.
    """
    texts = [
        f"{address[0]}:{address[1]}" if isinstance(address, tuple) else f"unix:{address}"
        for address in addresses
    ]
    if faults := exposure_faults(settings, texts):
        end_process(faults)


def end_process(faults: list[str]) -> NoReturn:
    """End the process with one line for each fault.

    Parameters
    ----------
    faults
        A sentence each; as objects where the log is to be in JSON.
    """
    is_json = os.environ.get("LOOMWRIGHT_LOG_FORMAT") == JSON
    for fault in faults:
        line = (
            json_line("loomwright", logging.CRITICAL, fault) if is_json else f"loomwright: {fault}"
        )
        sys.stderr.write(f"{line}\n")
    sys.exit(1)


def use_problem_documents() -> None:
    """Make the server refuse with problem documents what it refuses before the service sees it.

    A request line that is too long, a broken header and the like never reach the application. The
    server has no setting for what it then writes, so its one function for that is exchanged.
    """
    util.write_error = _write_problem


class _Held:
    """Keeps what would be sent."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []

    def sendall(self, piece: bytes) -> None:
        """Keep it."""
        self.pieces.append(piece)


def send_heads_with_bodies() -> None:
    """Send the head of an answer together with the first piece of its body.

    The server sends the head by itself. A process that is killed between the two leaves a proxy
    with a head that it has passed on already, so that it can ask no other instance.
    """
    # The settings of the server, which ask for this, are read again at each reload.
    write = getattr(Response.write, "__wrapped__", Response.write)

    @wraps(write)
    def write_with_head(response: Any, piece: bytes) -> None:
        if response.headers_sent:
            write(response, piece)
            return
        wire, response.sock = response.sock, _Held()
        try:
            write(response, piece)
        finally:
            held, response.sock = response.sock, wire
            wire.sendall(b"".join(held.pieces))

    Response.write = write_with_head


def _write_problem(sock: Any, status_int: int, reason: str, _mesg: str) -> None:
    # The server's own message would repeat the request line, in which a key may stand.
    util.write_nonblock(sock, problem_message(status_int, reason))


def overload_message(detail: str, retry_after_s: int, request: Any, *, keeps: bool) -> bytes:
    """Return a whole HTTP answer that says that there is too much to do, and tell who watches.

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
        Head and body, the latter not to HEAD.
    """
    note_refusal(503)
    body = _overload_body(detail)
    fields = dict(request.headers) if request else {}
    name = id_of_environ({"HTTP_X_REQUEST_ID": fields.get(_ID_FIELD)})
    head = (
        f"HTTP/1.1 503 Service Unavailable\r\nConnection: {'keep-alive' if keeps else 'close'}\r\n"
        f"Content-Type: {MEDIA_TYPE}\r\nCache-Control: no-store\r\n"
        f"X-Content-Type-Options: nosniff\r\nRetry-After: {retry_after_s}\r\n"
        f"{REQUEST_ID}: {name}\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode("ascii") + (b"" if request and request.method == "HEAD" else body)


@cache
def _overload_body(detail: str) -> bytes:
    return orjson.dumps(problem_document("overloaded", detail))


def problem_message(status: int, reason: str) -> bytes:
    """Return a whole HTTP answer with a problem document, and tell those who watch of it.

    Parameters
    ----------
    status
        Its status.
    reason
        The status in words.

    Returns
    -------
    bytes
        Head and body.
    """
    note_refusal(status)
    code = CODE_OF_STATUS.get(status, "http_error")
    detail = f"{reason}; the request was refused before it was read."
    body = orjson.dumps(problem_document(code, detail, status=status))
    head = (
        f"HTTP/1.1 {status} {reason}\r\nConnection: close\r\nContent-Type: {MEDIA_TYPE}\r\n"
        f"Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n"
        f"{REQUEST_ID}: {new_id()}\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode("ascii") + body
