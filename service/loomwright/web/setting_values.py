"""Readers of the texts of settings: each returns a checked value or says what it has to be."""

import os
import re
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

import limits

from loomwright.web.key_file import KeyFileError, keys_of_file

LEAST_PORT, GREATEST_PORT = 1, 65535
_GREATEST_SECRET_BYTES = 4096


class WrongValueError(ValueError):
    """What a value has to be."""


def whole(least: int, greatest: int) -> Callable[[str], int]:
    """Return a reader of whole numbers from ``least`` to ``greatest``."""

    def read(text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,6}", text, re.ASCII) or not least <= int(text) <= greatest:
            raise WrongValueError(f"a whole number from {least} to {greatest}")
        return int(text)

    return read


def one_of(*choices: str) -> Callable[[str], str]:
    """Return a reader of one of some words."""

    def read(text: str) -> str:
        if text not in choices:
            raise WrongValueError(f"one of {', '.join(choices)}")
        return text

    return read


def file_to_read(text: str) -> Path:
    """Return the path of a file that can be read."""
    path = Path(text)
    if not path.is_file() or not os.access(path, os.R_OK):
        raise WrongValueError("a file that can be read")
    return path


def folder(text: str) -> Path:
    """Return the path of a folder."""
    path = Path(text)
    if not path.is_dir():
        raise WrongValueError("a folder")
    return path


def folder_to_write(text: str) -> Path:
    """Return the path of a folder that can be written to."""
    path = Path(text)
    if not path.is_dir() or not os.access(path, os.W_OK | os.X_OK):
        raise WrongValueError("a folder that can be written to")
    return path


def keys_file(text: str) -> Path:
    """Return the path of a file of keys without a fault."""
    path = file_to_read(text)
    try:
        keys_of_file(path)
    except KeyFileError as error:
        raise WrongValueError(f"a file of keys. {error}") from None
    return path


def address_to_listen_on(text: str) -> str:
    """Return ``host:port``, ``[address]:port`` or ``unix:path`` as it is."""
    if text.startswith("unix:") and len(text) > len("unix:"):
        return text
    if not _is_host_and_port(text):
        raise WrongValueError("host:port, [IPv6 address]:port or unix:path")
    return text


def host_and_port(text: str) -> str:
    """Return ``host:port`` or ``[address]:port`` as it is."""
    if not _is_host_and_port(text):
        raise WrongValueError("host:port or [IPv6 address]:port")
    return text


def _is_host_and_port(text: str) -> bool:
    host, _, port = text.rpartition(":")
    if not re.fullmatch(r"[0-9]{1,5}", port, re.ASCII):
        return False
    return bool(host) and LEAST_PORT <= int(port) <= GREATEST_PORT


def list_of_words(text: str) -> tuple[str, ...]:
    """Return what stands between commas and blanks."""
    return tuple(entry for entry in re.split(r"[,\s]+", text) if entry)


def origins(text: str) -> tuple[str, ...]:
    """Return a list of origins (RFC 6454), or of ``*``."""
    origins = list_of_words(text)
    for origin in origins:
        if origin != "*" and not re.fullmatch(r"https?://[A-Za-z0-9.\[\]:-]+", origin, re.ASCII):
            raise WrongValueError("*, or origins such as https://till.example:8443, without a path")
    return origins


def rate(text: str) -> str:
    """Return a rate, or several, as the library ``limits`` reads it."""
    try:
        limits.parse_many(text)
    except ValueError:
        raise WrongValueError("a rate such as 600/minute, several with commas between") from None
    return text


def storage(text: str) -> str:
    """Return the address of a storage of counters."""
    if urlsplit(text).scheme not in ("memory", "redis", "rediss", "unix", "redis+unix"):
        raise WrongValueError("memory:// or redis://host:port/number")
    return text


def plain_text(text: str) -> str:
    """Return any text as it is."""
    return text


def secret_of(path: Path) -> str:
    """Return the text of a file that holds one secret, without the end of its line.

    Parameters
    ----------
    path
        One line of printable text in UTF-8.

    Returns
    -------
    str
        Never empty.

    Raises
    ------
    WrongValueError
        The file cannot be read, or holds anything else. What it holds is not told.
    """
    wanted = f"a file of one line that can be read, of at most {_GREATEST_SECRET_BYTES} bytes"
    try:
        with path.open("rb") as file:
            held = file.read(_GREATEST_SECRET_BYTES + 1)
        text = held.decode("utf-8").strip()
    except (OSError, ValueError):
        raise WrongValueError(wanted) from None
    if not text or not text.isprintable() or len(held) > _GREATEST_SECRET_BYTES:
        raise WrongValueError(wanted)
    return text
