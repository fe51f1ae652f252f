"""A line for each request: what was asked for by our own names, and how it went.

Nothing that the caller sent stands in it but the identifier of the request, whose form is bounded:
no path, query, header or body, no key and no token. Lines are made and written here and not by
``logging``, which takes ten times as long.
"""

import contextlib
import os
from datetime import UTC, datetime

import orjson

from loomwright.web.access import caller_name
from loomwright.web.request_ids import id_of_environ
from loomwright.web.settings import JSON
from loomwright.web.signals.exchange import PROBLEM, RESPONSE, Exchange

_STANDARD_OUTPUT = 1
_LEVEL, _LOGGER, _MESSAGE = "INFO", "loomwright.access", "request"


class AccessLog:
    """Writes a line for each exchange on standard output.

    Parameters
    ----------
    form
        ``text`` or ``json``.
    """

    def __init__(self, form: str) -> None:
        self._line = _json_line if form == JSON else _text_line

    def begin(self, exchange: Exchange) -> None:
        """Do nothing: the line is written at the end."""

    def end(self, exchange: Exchange) -> None:
        """Write the line."""
        time = datetime.now(UTC).isoformat(timespec="milliseconds")
        line = self._line(time, members(exchange))
        # In one piece, so that lines of several processes do not mix. A log that nobody takes any
        # more fails no request.
        with contextlib.suppress(OSError):
            os.write(_STANDARD_OUTPUT, line)


def members(exchange: Exchange) -> dict[str, str | int | float | bool]:
    """Return what a line says of an exchange.

    Parameters
    ----------
    exchange
        Ended.

    Returns
    -------
    dict
        ``id``, ``operation``, ``method``, ``status``, ``duration_ms``, ``bytes`` of the body that
        was sent; ``key`` by its identifier, ``problem`` by its code and ``trace`` where there is
        one; ``complete`` of a stream.
    """
    environ = exchange.environ
    found: dict[str, str | int | float | bool] = {
        "id": id_of_environ(environ),
        "operation": exchange.operation,
        "method": exchange.method,
        "status": exchange.status,
        "duration_ms": round(exchange.elapsed_s * 1000, 3),
        "bytes": _sent_bytes(exchange),
    }
    key = caller_name(environ)
    if key:
        found["key"] = key
    if PROBLEM in environ:
        found["problem"] = environ[PROBLEM]
    if exchange.span is not None:
        found["trace"] = f"{exchange.span.get_span_context().trace_id:032x}"
    if exchange.streamed_bytes is not None:
        found["complete"] = exchange.is_complete
    return found


def _sent_bytes(exchange: Exchange) -> int:
    if exchange.streamed_bytes is not None:
        return exchange.streamed_bytes
    if exchange.environ["REQUEST_METHOD"] == "HEAD":
        return 0
    response = exchange.environ.get(RESPONSE)
    return 0 if response is None else response.calculate_content_length() or 0


def _json_line(time: str, told: dict[str, str | int | float | bool]) -> bytes:
    head = {"time": time, "level": _LEVEL, "logger": _LOGGER, "pid": os.getpid()}
    return orjson.dumps({**head, "message": _MESSAGE, **told}, option=orjson.OPT_APPEND_NEWLINE)


def _text_line(time: str, told: dict[str, str | int | float | bool]) -> bytes:
    said = " ".join(f"{name}={_told(value)}" for name, value in told.items())
    return f"{time} {_LEVEL} {_MESSAGE} {said}\n".encode()


def _told(value: str | int | float | bool) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
