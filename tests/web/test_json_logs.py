"""Lines of the log as JSON: one object each, with the request, without keys."""

import json
import logging
import subprocess
import sys
from collections.abc import Iterator
from io import StringIO

import pytest

from loomwright.web.redaction import redact
from loomwright.web.signals.logs import json_line, use_json
from set_up import create_with


@pytest.fixture
def logger() -> logging.Logger:
    made = logging.getLogger("test of JSON logs")
    made.handlers = [logging.StreamHandler(StringIO())]
    made.propagate = False
    redact(made)
    use_json(made)
    return made


def written(logger: logging.Logger) -> list[dict[str, object]]:
    # The first one is ours; the test runner adds its own.
    handler = logger.handlers[0]
    assert isinstance(handler, logging.StreamHandler)
    return [json.loads(line) for line in handler.stream.getvalue().splitlines()]


def test_each_record_is_one_line_whatever_is_in_it(logger: logging.Logger) -> None:
    logger.warning('two\nlines "and" \u2028 %s', "more\r\n")
    (line,) = written(logger)
    assert line["message"] == 'two\nlines "and" \u2028 more\r\n'
    assert (line["level"], line["logger"]) == ("WARNING", logger.name)
    assert list(line)[:4] == ["level", "logger", "pid", "message"]
    assert str(line["time"]).endswith("+00:00")


def test_no_line_holds_a_key(logger: logging.Logger) -> None:
    logger.error("asked %s", "/v1/a?key=S3cret")
    try:
        raise ValueError("/v1/a?key=S3cret")
    except ValueError:
        logger.exception("failed at ?key=S3cret", stack_info=True)
    first, second = written(logger)
    assert first["message"] == "asked /v1/a?key=(redacted)"
    assert "ValueError: /v1/a?key=(redacted)" in str(second["exc_info"])
    assert second["message"] == "failed at ?key=(redacted)"
    assert "S3cret" not in str([first, second])


@pytest.fixture
def application_log() -> Iterator[StringIO]:
    """What the logger of all applications of this process writes."""
    app_logger = logging.getLogger("loomwright")
    before = app_logger.handlers
    stream = StringIO()
    app_logger.handlers = [logging.StreamHandler(stream)]
    yield stream
    app_logger.handlers = before


def test_lines_of_the_application_name_the_request(application_log: StringIO) -> None:
    app = create_with(log_format="json")

    @app.get("/fails")
    def fails() -> None:
        raise ValueError("?key=S3cret")

    app.test_client().get("/fails?key=S3cret", headers={"X-Request-Id": "it-failed"})
    (line,) = [json.loads(line) for line in application_log.getvalue().splitlines()]
    assert line["id"] == "it-failed"
    assert line["level"] == "ERROR"
    assert "ValueError: ?key=(redacted)" in line["exc_info"]
    assert "S3cret" not in str(line)


def test_a_line_can_be_made_before_there_is_a_log() -> None:
    line = json.loads(json_line("loomwright", logging.CRITICAL, "wrong"))
    assert (line["level"], line["message"]) == ("CRITICAL", "wrong")


PROCESS = """
import logging, warnings
from loomwright.web.settings import Settings
from loomwright.web.signals.logs import set_up_logs
set_up_logs(Settings(log_format="json", log_level="warning"))
set_up_logs(Settings(log_format="json", log_level="warning"))
logging.getLogger("a.library").warning("told")
logging.getLogger("a.library").info("not told")
warnings.warn("warned", stacklevel=1)
raise ValueError("?key=S3cret")
"""


def test_libraries_warnings_and_the_last_error_are_objects_too() -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROCESS], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 1
    told, warned, ended = [json.loads(line) for line in done.stderr.splitlines()]
    assert (told["logger"], told["message"]) == ("a.library", "told")
    assert "UserWarning: warned" in warned["message"]
    assert ended["level"] == "CRITICAL"
    assert "ValueError: ?key=(redacted)" in ended["exc_info"]
