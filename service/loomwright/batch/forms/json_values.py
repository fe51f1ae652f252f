"""JSON texts and lines of NDJSON as plain values."""

from collections.abc import Iterator
from typing import IO, Any

import orjson

from loomwright.batch.forms.form_error import DUPLICATE_MEMBER, MALFORMED_JSON, NOT_UTF_8, FormError
from loomwright.unique_members import DuplicateMemberError, json_of_unique_members

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_LINE_END = b"\n"


def json_value(content: bytes, line: int = 1) -> Any:
    """Return the value of a JSON text in UTF-8, a byte order mark in front let pass.

    Parameters
    ----------
    content
        The text.
    line
        Number of its first line.

    Returns
    -------
    object
        Plain values.

    Raises
    ------
    FormError
        It is no JSON, or a member name stands twice in one object.
    """
    try:
        return json_of_unique_members(content.removeprefix(_BYTE_ORDER_MARK))
    except DuplicateMemberError as error:
        place = f"line {line + error.lineno - 1}, character {error.colno}"
        message = f"Members are {error.msg}."
        raise FormError(DUPLICATE_MEMBER, message, place, error.pointers) from error
    except orjson.JSONDecodeError as error:
        check_utf_8(content, line)
        place = f"line {line + error.lineno - 1}, character {error.colno}"
        raise FormError(MALFORMED_JSON, f"Not JSON: {error.msg}.", place) from error


def check_utf_8(content: bytes, line: int) -> None:
    """Raise ``FormError`` where bytes are not UTF-8.

    Parameters
    ----------
    content
        The bytes.
    line
        Number of their first line.

    Raises
    ------
    FormError
        They are not; line and byte are named.
    """
    try:
        content.decode()
    except UnicodeDecodeError as error:
        before = content[: error.start]
        number = error.start - before.rfind(_LINE_END)
        place = f"line {line + before.count(_LINE_END)}, byte {number}"
        message = f"Not UTF-8: {error.reason}. Save the text as UTF-8."
        raise FormError(NOT_UTF_8, message, place) from error


def ndjson_values(stream: IO[bytes]) -> Iterator[tuple[int, Any]]:
    """Yield the values of NDJSON as they come, with the numbers of their lines.

    Parameters
    ----------
    stream
        Open for reading; lines of spaces only are let pass.

    Yields
    ------
    tuple[int, Any]
        Number of the line from 1, and plain values.

    Raises
    ------
    FormError
        A line is no JSON, or a member name stands twice in an object of it.
    """
    for number, line in enumerate(stream, start=1):
        content = line.strip()
        if content:
            # A line end that is no part of the value would stand for one more line in its faults.
            yield number, json_value(content, number)
