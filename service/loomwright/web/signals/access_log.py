"""A line for each request: what was asked for by our own names, and how it went.

Nothing that the caller sent stands in it but the identifier of the request, whose form is bounded:
no path, query, header or body, no key and no token.
"""

import logging
import sys
from datetime import UTC, datetime

from loomwright.web.access import caller_name
from loomwright.web.request_ids import id_of_environ
from loomwright.web.settings import JSON
from loomwright.web.signals.exchange import PROBLEM, Exchange
from loomwright.web.signals.logs import JsonLines

LOGGER = "loomwright.access"
MESSAGE = "request"


class AccessLog:
    """Writes a line for each exchange on standard output.

    Parameters
    ----------
    form
        ``text`` or ``json``.
    """

    def __init__(self, form: str) -> None:
        handler = logging.StreamHandler(sys.stdout)
        handler.setFormatter(JsonLines() if form == JSON else _PlainLines())
        self._logger = logging.getLogger(LOGGER)
        # One logger for all applications of a process.
        self._logger.handlers = [handler]
        self._logger.setLevel(logging.INFO)
        self._logger.propagate = False

    def begin(self, exchange: Exchange) -> None:
        """Do nothing: the line is written at the end."""

    def end(self, exchange: Exchange) -> None:
        """Write the line."""
        self._logger.info(MESSAGE, extra=members(exchange))


def members(exchange: Exchange) -> dict[str, object]:
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
    found: dict[str, object] = {
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
    for name, value in exchange.headers:
        if name.lower() == "content-length":
            return int(value)
    return 0


class _PlainLines(logging.Formatter):
    """``time level name=value ...``, in the order of ``members``."""

    def format(self, record: logging.LogRecord) -> str:
        """Return a line."""
        time = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        told = (f"{name}={getattr(record, name)}" for name in _ORDER if hasattr(record, name))
        return f"{time} {record.levelname} {MESSAGE} {' '.join(told)}"


_ORDER = (
    "id", "operation", "method", "status", "duration_ms", "bytes", "key", "problem", "trace",
    "complete",
)  # fmt: skip
