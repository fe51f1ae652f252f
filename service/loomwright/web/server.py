"""What the server process needs: checked settings, and answers other than it would send itself."""

import logging
import os
import sys
from functools import wraps
from typing import Any, NoReturn

from gunicorn import util
from gunicorn.http.wsgi import Response

from loomwright.web.refusing import Refusing
from loomwright.web.settings import JSON, Settings, SettingsError
from loomwright.web.settings_table import settings_from
from loomwright.web.settings_together import exposure_faults
from loomwright.web.signals.logs import json_line


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


def use_problem_documents(settings: Settings) -> None:
    """Make the server refuse with problem documents what it refuses before the service sees it.

    A request line that is too long, a broken header and the like never reach the application. The
    server has no setting for what it then writes, so its one function for that is exchanged.

    Parameters
    ----------
    settings
        Which origins may read answers.
    """
    refusing = Refusing(settings)

    def write_problem(sock: Any, status_int: int, reason: str, _mesg: str) -> None:
        # The server's own message would repeat the request line, in which a key may stand.
        util.write_nonblock(sock, refusing.unread(status_int, reason))

    util.write_error = write_problem


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
