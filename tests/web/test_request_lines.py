"""A line for each request: by our own names, with nothing in it that the caller sent."""

import json
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from loomwright.web.app import create_app
from loomwright.web.examples import EXAMPLES
from loomwright.web.schemas.batch import batch_examples
from set_up import create_with, key_entry

SECRET = "S3cret"
CONDUCTOR = EXAMPLES["size-conductor"]["bass_unit_under_the_seat"]
Line = dict[str, Any]
Lines = Callable[[], list[Line]]


@pytest.fixture
def lines(capfd: pytest.CaptureFixture[str]) -> Lines:
    """What was written since the last time."""
    return lambda: [json.loads(line) for line in capfd.readouterr().out.splitlines()]


def client_with(**settings: Any) -> FlaskClient:
    return create_with(access_log="on", **settings).test_client()


def test_a_line_says_how_it_went(lines: Lines) -> None:
    client = client_with(log_format="json")
    response = client.post(
        "/v1/size-conductor", json=CONDUCTOR, headers={"X-Request-Id": "sheet-7"}
    )
    (line,) = lines()
    assert list(line) == [
        "time", "level", "logger", "pid", "message", "id", "operation", "method", "status",
        "duration_ms", "bytes",
    ]  # fmt: skip
    moment = datetime.fromisoformat(line["time"])
    assert abs(datetime.now(moment.tzinfo) - moment) < timedelta(minutes=1)
    assert moment.utcoffset() == timedelta(0)
    assert line["id"] == response.headers["X-Request-Id"] == "sheet-7"
    assert line["operation"] == "size-conductor"
    assert (line["method"], line["status"]) == ("POST", 200)
    assert line["bytes"] == len(response.data)
    assert 0 < line["duration_ms"] < 60_000


def test_without_the_setting_nothing_is_written(lines: Lines) -> None:
    assert create_app().test_client().get("/v1/live").status_code == 200
    assert lines() == []


def test_the_text_form_has_the_same_members(capfd: pytest.CaptureFixture[str]) -> None:
    client = client_with(log_format="text")
    assert client.get("/nothing").status_code == 404
    line = capfd.readouterr().out
    assert re.fullmatch(
        r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00 INFO request id=[0-9a-f]{32} "
        r"operation=unknown method=GET status=404 duration_ms=[0-9.]+ bytes=\d+ "
        r"problem=not_found\n",
        line,
    )


# Everything of a request that a caller can write to, with something that must not be logged.
HOSTILE: list[tuple[str, str, dict[str, Any]]] = [
    ("GET", f"/v1/{SECRET}", {}),
    ("GET", f"/v1/size-conductor/{SECRET}", {}),
    ("GET", f"/plugin/{SECRET}", {}),
    ("GET", f"/v1/size-conductor?key={SECRET}&length={SECRET}&{SECRET}=1", {}),
    ("POST", "/v1/size-conductor", {"data": SECRET, "content_type": "application/json"}),
    ("POST", "/v1/size-conductor", {"json": {SECRET: SECRET}}),
    ("POST", "/v1/price-packages", {"data": f'{{"{SECRET}', "content_type": "text/csv"}),
    ("POST", f"/v1/size-fuse?{SECRET}", {"data": SECRET, "content_type": SECRET}),
    (SECRET, "/v1/live", {}),
    ("GET", "/v1/live", {"headers": {"X-Request-Id": f"{SECRET} {SECRET}"}}),
    ("GET", "/v1/live", {"headers": {"X-Request-Id": f'{SECRET}"'}}),
    ("GET", "/v1/live", {"headers": {"X-Request-Id": SECRET * 100}}),
    ("GET", "/v1/live", {"headers": {"User-Agent": SECRET, "Referer": f"http://x/?{SECRET}"}}),
    ("GET", "/v1/price-books", {"headers": {"Authorization": f"Bearer {SECRET}"}}),
    ("GET", "/v1/price-books", {"headers": {"Authorization": f"{SECRET} {SECRET}"}}),
    ("GET", "/v1/price-books", {"headers": {"traceparent": SECRET, "tracestate": f"a={SECRET}"}}),
    ("GET", "/v1/price-books", {"headers": {"Host": SECRET, "X-Forwarded-For": SECRET}}),
    ("HEAD", f"/v1/size-fuse?key={SECRET}", {}),
]


@pytest.mark.parametrize("form", ["json", "text"])
def test_nothing_that_the_caller_sent_is_logged(
    form: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text(key_entry("k", "calculate"), "utf-8")
    client = client_with(log_format=form, keys_file=keys)
    for method, path, rest in HOSTILE:
        client.open(path, method=method, **rest)
    said = capfd.readouterr()
    assert said.out.count("\n") == len(HOSTILE)
    assert SECRET.lower() not in (said.out + said.err).lower()


def test_a_key_is_named_and_a_token_is_not_told(tmp_path: Path, lines: Lines) -> None:
    keys = tmp_path / "keys.toml"
    keys.write_text(key_entry(SECRET, "calculate", identifier="till"), "utf-8")
    client = client_with(log_format="json", keys_file=keys)
    send = {"Authorization": f"Bearer {SECRET}"}
    assert client.post("/v1/size-conductor", json=CONDUCTOR, headers=send).status_code == 200
    assert client.get("/v1/price-books", headers=send).status_code == 403
    assert client.get("/v1/price-books").status_code == 401
    first, second, third = lines()
    assert (first["key"], second["key"]) == ("till", "till")
    assert "problem" not in first
    assert (second["problem"], third["problem"]) == ("key_not_permitted", "key_required")
    assert "key" not in third


def test_what_is_refused_to_head_is_told_by_its_code(lines: Lines) -> None:
    client = client_with(log_format="json", rate_limit="1/hour")
    assert [client.head("/v1/price-books").status_code for _ in range(2)] == [200, 200]
    within, above = lines()
    assert "problem" not in within
    assert above["problem"] == "too_many_requests"
    assert within["bytes"] == above["bytes"] == 0


def test_a_stream_has_its_line_once_it_has_ended(lines: Lines) -> None:
    client = client_with(log_format="json")
    body = batch_examples()["every_package_for_every_vehicle"]
    response = client.post("/v1/price-packages", json=body)
    data = response.data
    response.close()
    (line,) = lines()
    assert (line["operation"], line["status"]) == ("price-packages", 200)
    assert (line["bytes"], line["complete"]) == (len(data), True)


def test_a_stream_that_nobody_takes_is_not_complete(lines: Lines) -> None:
    client = client_with(log_format="json")
    body = batch_examples()["every_package_for_every_vehicle"]
    response = client.post("/v1/price-packages", json=body, buffered=False)
    assert lines() == []
    response.close()
    (line,) = lines()
    assert line["complete"] is False


def test_a_failure_has_its_line_and_the_log_its_identifier(
    lines: Lines, caplog: pytest.LogCaptureFixture
) -> None:
    app = create_with(access_log="on", log_format="json")

    @app.get("/fails")
    def fails() -> None:
        raise ValueError

    response = app.test_client().get("/fails", headers={"X-Request-Id": "it-failed"})
    (line,) = lines()
    assert (line["status"], line["problem"]) == (500, "internal_error")
    assert line["id"] == response.headers["X-Request-Id"] == "it-failed"
    assert caplog.messages == ["unhandled error in request it-failed"]
