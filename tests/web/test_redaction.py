"""No log holds a key that stood in an address."""

import logging

import pytest

from loomwright.web.redaction import RedactingFilter, redact, redacted


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("GET /v1/a?key=S3 HTTP/1.1", "GET /v1/a?key=(redacted) HTTP/1.1"),
        ("GET /v1/a?x=1&key=S3&y=2 HTTP/1.1", "GET /v1/a?x=1&key=(redacted)&y=2 HTTP/1.1"),
        ("GET /v1/a?key=S3&key=S3b", "GET /v1/a?key=(redacted)&key=(redacted)"),
        ("?KEY=S3", "?KEY=(redacted)"),
        ("?%6bey=S3", "?%6bey=(redacted)"),
        ("?%6B%65%79=S3", "?%6B%65%79=(redacted)"),
        ("?key%3DS3", "?key%3D(redacted)"),
        ('"https://x.example/?key=S3" "agent"', '"https://x.example/?key=(redacted)" "agent"'),
        ("key=S3", "key=(redacted)"),
        ("no secret here; a monkey=5 and a keyword", "no secret here; a monkey=5 and a keyword"),
    ],
)
def test_the_value_of_a_key_is_taken_out(text: str, expected: str) -> None:
    assert redacted(text) == expected


def test_messages_arguments_and_tracebacks_are_redacted(
    caplog: pytest.LogCaptureFixture,
) -> None:
    logger = logging.getLogger("test of redaction")
    redact(logger)
    redact(logger)
    assert sum(isinstance(each, RedactingFilter) for each in logger.filters) == 1
    logger.warning("asked %s at %d", "/v1/a?key=S3cret", 5)
    try:
        raise ValueError("/v1/a?key=S3cret")
    except ValueError:
        logger.exception("failed")
    assert "asked /v1/a?key=(redacted) at 5" in caplog.text
    assert "ValueError: /v1/a?key=(redacted)" in caplog.text
    assert "S3cret" not in caplog.text
