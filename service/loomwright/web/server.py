"""What the server process needs: checked settings, and refusals of its own as problem documents."""

import logging
import os
import sys
from typing import Any, NoReturn

import orjson
from gunicorn import util

from loomwright.web.described_http import REQUEST_ID
from loomwright.web.problems import CODE_OF_STATUS, MEDIA_TYPE, problem_document
from loomwright.web.request_ids import new_id
from loomwright.web.settings import JSON, Settings, SettingsError, exposure_faults, settings_from
from loomwright.web.signals.logs import json_line
from loomwright.web.signals.refusals import note_refusal


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


def _write_problem(sock: Any, status_int: int, reason: str, _mesg: str) -> None:
    # The server's own message would repeat the request line, in which a key may stand.
    util.write_nonblock(sock, problem_message(status_int, reason))


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
