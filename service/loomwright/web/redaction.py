"""Keys in addresses are kept out of every log."""

import logging
import re

from gunicorn.glogging import Logger

# The name may be written with percent signs, which mean the same to the service.
_NAME = "".join(f"(?:{letter}|%{ord(letter):x}|%{ord(letter.upper()):x})" for letter in "key")
_KEY = re.compile(rf"(?i)(?<![\w%-])(?P<name>{_NAME}(?:=|%3d))[^&\s\"'#;]+")
_REDACTED = r"\g<name>(redacted)"


def redacted(text: str) -> str:
    """Return a text with the value of each ``key=`` taken out.

    Parameters
    ----------
    text
        Of a log.

    Returns
    -------
    str
        The same with ``(redacted)`` in place of keys.
    """
    return _KEY.sub(_REDACTED, text)


class RedactingFilter(logging.Filter):
    """Takes keys out of a record: message, traceback and stack."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Change the record; it is always logged."""
        record.msg, record.args = redacted(record.getMessage()), ()
        if record.exc_info:
            record.exc_text = redacted(logging.Formatter().formatException(record.exc_info))
        if record.stack_info:
            record.stack_info = redacted(record.stack_info)
        return True


def redact(logger: logging.Logger) -> None:
    """Take keys out of what a logger and its handlers write, once however often this is called."""
    for place in (logger, *logger.handlers):
        if not any(isinstance(known, RedactingFilter) for known in place.filters):
            place.addFilter(RedactingFilter())


class RedactingLogger(Logger):  # type: ignore[misc]  # gunicorn has no types
    """The logger of the server, access log included."""

    def setup(self, cfg: object) -> None:
        """Set up the logs as the server is told to."""
        super().setup(cfg)
        redact(self.error_log)
        redact(self.access_log)
