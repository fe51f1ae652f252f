"""Lines of the log as JSON objects where that is asked for; the server's own, too."""

import logging
import sys
from collections.abc import Callable
from types import TracebackType
from typing import Any

from flask import has_request_context
from flask.globals import request_ctx
from pythonjsonlogger.json import JsonFormatter

from loomwright.web.redaction import RedactingLogger, redacted
from loomwright.web.request_ids import id_of_environ
from loomwright.web.settings import JSON, Settings

_MEMBERS = "{levelname}{name}{process}{message}"
_NAMES = {"levelname": "level", "name": "logger", "process": "pid"}


class JsonLines(JsonFormatter):
    """A record as one JSON object in one line, keys in addresses taken out.

    Members are ``time`` (RFC 3339, UTC), ``level``, ``logger``, ``pid`` and ``message``; ``id`` of
    the request that is being answered; ``exc_info`` and ``stack_info``; what the record adds.
    """

    def __init__(self) -> None:
        super().__init__(_MEMBERS, style="{", rename_fields=_NAMES, timestamp="time")

    def add_fields(
        self,
        log_data: dict[str, Any],
        record: logging.LogRecord,
        message_dict: dict[str, Any],
    ) -> None:
        """Add the request."""
        super().add_fields(log_data, record, message_dict)
        log_data["message"] = redacted(str(log_data["message"]))
        if "id" not in log_data and has_request_context():
            log_data["id"] = id_of_environ(request_ctx.request.environ)

    def formatException(self, ei: Any) -> str:  # noqa: N802
        """Return a traceback without keys."""
        return redacted(str(super().formatException(ei)))

    def formatStack(self, stack_info: str) -> str:  # noqa: N802
        """Return a stack without keys."""
        return redacted(str(super().formatStack(stack_info)))


class JsonServerLogger(RedactingLogger):
    """The logger of the server, each line an object."""

    def setup(self, cfg: object) -> None:
        """Set up the logs as the server is told to."""
        super().setup(cfg)
        use_json(self.error_log)
        use_json(self.access_log)


def server_logger(settings: Settings) -> type[RedactingLogger]:
    """Return the class of the server's logger.

    Parameters
    ----------
    settings
        With the format.

    Returns
    -------
    type
        For ``logger_class`` of gunicorn.
    """
    return JsonServerLogger if settings.log_format == JSON else RedactingLogger


def use_json(logger: logging.Logger) -> None:
    """Make the handlers of a logger write objects."""
    for handler in logger.handlers:
        handler.setFormatter(JsonLines())


def set_up_logs(settings: Settings) -> None:
    """Make whatever else logs in this process write objects, where that is asked for.

    That is libraries, warnings, and an error that ends the process.

    Parameters
    ----------
    settings
        With the format and the level.
    """
    if settings.log_format != JSON:
        return
    root = logging.getLogger()
    if not root.handlers:
        root.addHandler(logging.StreamHandler(sys.stderr))
    use_json(root)
    root.setLevel(settings.log_level.upper())
    logging.captureWarnings(capture=True)
    sys.excepthook = _logging_hook(sys.excepthook)


def _logging_hook(before: Callable[..., Any]) -> Callable[..., Any]:
    if getattr(before, "logs", False):
        return before

    def log(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if issubclass(kind, KeyboardInterrupt):
            before(kind, error, trace)
            return
        logging.getLogger("loomwright").critical("ended by an error", exc_info=(kind, error, trace))

    log.logs = True  # type: ignore[attr-defined]
    return log


def json_line(logger: str, level: int, message: str) -> str:
    """Return one line of the log for what is told before any log is set up.

    Parameters
    ----------
    logger
        Name.
    level
        As ``logging`` has it.
    message
        Text.

    Returns
    -------
    str
        An object, without the end of the line.
    """
    record = logging.LogRecord(logger, level, "", 0, message, None, None)
    return str(JsonLines().format(record))
