"""The operator's settings: read from the environment once, at the start, with every fault at once.

``SETTINGS`` is the one table: the reader, the start's complaints and the table of
``deploy/README.md`` come from it. A variable that begins with ``LOOMWRIGHT_`` and is not in it
stops the start: a misspelt name of the file of keys would otherwise leave the service open.
"""

import ipaddress
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import limits
from flask import Flask, current_app

from loomwright.web.key_file import KeyFileError, keys_of_file

PREFIX = "LOOMWRIGHT_"
OPEN, KEYS = "open", "keys"
_CONFIG = "LOOMWRIGHT_SETTINGS"
_LEAST_PORT, _GREATEST_PORT = 1, 65535


class SettingsError(Exception):
    """Settings that the service cannot start with.

    Parameters
    ----------
    faults
        One line each.
    """

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class Settings:
    """What the operator set; each field is described in ``SETTINGS``."""

    bind: str = ""
    port: int = 8080
    workers: int = 0
    threads: int = 1
    access: str = ""
    keys_file: Path | None = None
    jwt_issuer: str = ""
    jwt_audience: str = ""
    jwt_keys: str = ""
    jwt_hosts: tuple[str, ...] = ()
    rate_limit: str = ""
    rate_limit_storage: str = "memory://"
    cors_origins: tuple[str, ...] = ()
    price_books: Path | None = None
    providers_file: Path | None = None

    @property
    def listens_on(self) -> str:
        """Where the server listens: ``host:port`` or ``unix:path``."""
        return self.bind or f"127.0.0.1:{self.port}"

    @property
    def needs_keys(self) -> bool:
        """Whether every operation needs a key or a token."""
        if self.access:
            return self.access == KEYS
        return self.keys_file is not None or bool(self.jwt_issuer)


class _WrongError(ValueError):
    """What a value has to be."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One variable: field of ``Settings``, reader of its text, what stands without it, meaning."""

    field: str
    read: Callable[[str], Any]
    default: str
    meaning: str

    @property
    def name(self) -> str:
        """Name of the variable."""
        return PREFIX + self.field.upper()


def _whole(least: int, greatest: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,6}", text, re.ASCII) or not least <= int(text) <= greatest:
            raise _WrongError(f"a whole number from {least} to {greatest}")
        return int(text)

    return read


def _one_of(*choices: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text not in choices:
            raise _WrongError(f"one of {', '.join(choices)}")
        return text

    return read


def _file(text: str) -> Path:
    path = Path(text)
    if not path.is_file() or not os.access(path, os.R_OK):
        raise _WrongError("a file that can be read")
    return path


def _folder(text: str) -> Path:
    path = Path(text)
    if not path.is_dir():
        raise _WrongError("a folder")
    return path


def _keys_file(text: str) -> Path:
    path = _file(text)
    try:
        keys_of_file(path)
    except KeyFileError as error:
        raise _WrongError(f"a file of keys. {error}") from None
    return path


def _address_to_listen_on(text: str) -> str:
    if text.startswith("unix:") and len(text) > len("unix:"):
        return text
    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal() or not _LEAST_PORT <= int(port) <= _GREATEST_PORT:
        raise _WrongError("host:port, [IPv6 address]:port or unix:path")
    return text


def _list(text: str) -> tuple[str, ...]:
    return tuple(entry for entry in re.split(r"[,\s]+", text) if entry)


def _origins(text: str) -> tuple[str, ...]:
    origins = _list(text)
    for origin in origins:
        if origin != "*" and not re.fullmatch(r"https?://[A-Za-z0-9.\[\]:-]+", origin, re.ASCII):
            raise _WrongError("*, or origins such as https://till.example:8443, without a path")
    return origins


def _rate(text: str) -> str:
    try:
        limits.parse_many(text)
    except ValueError:
        raise _WrongError("a rate such as 600/minute, several with commas between") from None
    return text


def _storage(text: str) -> str:
    if urlsplit(text).scheme not in ("memory", "redis", "rediss", "unix", "redis+unix"):
        raise _WrongError("memory:// or redis://host:port/number")
    return text


def _text(text: str) -> str:
    return text


SETTINGS = (
    Setting(
        "bind",
        _address_to_listen_on,
        "`127.0.0.1` and the port",
        "where the server listens: `host:port`, `[address]:port` or `unix:path`",
    ),
    Setting("port", _whole(_LEAST_PORT, _GREATEST_PORT), "`8080`", "port on the loopback"),
    Setting("workers", _whole(1, 1024), "one per core", "processes"),
    Setting("threads", _whole(1, 1024), "`1`", "threads of each process"),
    Setting(
        "access",
        _one_of(OPEN, KEYS),
        "`keys` once keys or tokens are set, else `open`",
        "`open`: whoever reaches the service may use it, and a key is asked for cost only; `keys`: "
        "every operation needs one. Beyond the loopback `open` must be said",
    ),
    Setting("keys_file", _keys_file, "none", "TOML file of keys, see below"),
    Setting("jwt_issuer", _text, "none", "`iss` of the tokens that are accepted"),
    Setting("jwt_audience", _text, "none", "`aud` that a token must name; needed with an issuer"),
    Setting(
        "jwt_keys",
        _text,
        "none",
        "the issuer's public keys (JWKS): a file, or an `https` address; needed with an issuer",
    ),
    Setting("jwt_hosts", _list, "none", "hosts (`host` or `host:port`) that the address may name"),
    Setting(
        "rate_limit", _rate, "off", "requests of each caller, such as `600/minute` or `10/second`"
    ),
    Setting(
        "rate_limit_storage",
        _storage,
        "`memory://`",
        "where requests are counted: each process for itself, or together in `redis://host:port/0`",
    ),
    Setting("cors_origins", _origins, "off", "origins whose pages may call, or `*`"),
    Setting("price_books", _folder, "none", "folder of mounted price books"),
    Setting("providers_file", _file, "none", "TOML file of providers of price books"),
)


def settings_from(environment: Mapping[str, str]) -> Settings:
    """Return the settings that an environment states.

    Parameters
    ----------
    environment
        Variables by name; an empty one counts as not set.

    Returns
    -------
    Settings
        Checked, each by itself and all together.

    Raises
    ------
    SettingsError
        With every fault.
    """
    known = {setting.name: setting for setting in SETTINGS}
    values: dict[str, Any] = {}
    faults: list[str] = []
    for name, text in sorted(environment.items()):
        if not name.startswith(PREFIX) or not text:
            continue
        if name not in known:
            faults.append(f"{name} is no setting; deploy/README.md lists them.")
            continue
        try:
            values[known[name].field] = known[name].read(text)
        except _WrongError as error:
            # An address with a password in it is not repeated.
            stated = "what it is" if "@" in text else f"'{text}'"
            faults.append(f"{name} is {stated}, but has to be {str(error).rstrip('.')}.")
    settings = Settings(**values)
    faults += _faults_between(settings)
    if faults:
        raise SettingsError(faults)
    return settings


def _faults_between(settings: Settings) -> list[str]:
    faults = []
    tokens = (settings.jwt_issuer, settings.jwt_audience, settings.jwt_keys)
    if any(tokens) and not all(tokens):
        faults.append(
            "LOOMWRIGHT_JWT_ISSUER, LOOMWRIGHT_JWT_AUDIENCE and LOOMWRIGHT_JWT_KEYS are set "
            "together."
        )
    faults += _faults_of_jwt_keys(settings)
    if settings.access == KEYS and settings.keys_file is None and not settings.jwt_issuer:
        faults.append(
            "LOOMWRIGHT_ACCESS is 'keys', but neither LOOMWRIGHT_KEYS_FILE nor "
            "LOOMWRIGHT_JWT_ISSUER is set."
        )
    # An unset bind is the loopback.
    return faults + exposure_faults(settings, [settings.listens_on])


def _faults_of_jwt_keys(settings: Settings) -> list[str]:
    keys = settings.jwt_keys
    if "://" not in keys:
        if keys and not Path(keys).is_file():
            return [f"LOOMWRIGHT_JWT_KEYS is '{keys}', but has to be a file or an https address."]
        return []
    url = urlsplit(keys)
    host = url.hostname or ""
    if url.scheme != "https" and not (url.scheme == "http" and _is_loopback(host)):
        return [f"LOOMWRIGHT_JWT_KEYS is '{keys}', but only https is taken beyond the loopback."]
    if url.netloc not in settings.jwt_hosts:
        return [f"LOOMWRIGHT_JWT_KEYS names {url.netloc}; LOOMWRIGHT_JWT_HOSTS does not list it."]
    return []


def exposure_faults(settings: Settings, addresses: list[str]) -> list[str]:
    """Return what is wrong with listening on addresses under these settings.

    Parameters
    ----------
    settings
        The settings.
    addresses
        Each ``host:port`` or ``unix:path``.

    Returns
    -------
    list of str
        A line for each address that others can reach, while access is open and nobody said so.
    """
    if settings.needs_keys or settings.access == OPEN:
        return []
    return [
        f"{address} can be reached by others, and no key is asked: set LOOMWRIGHT_KEYS_FILE or "
        "LOOMWRIGHT_JWT_ISSUER, or LOOMWRIGHT_ACCESS=open to serve whoever reaches it."
        for address in addresses
        if not address.startswith("unix:") and not _is_loopback(address.rpartition(":")[0])
    ]


def _is_loopback(host: str) -> bool:
    name = host.strip("[]")
    if name == "localhost":
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def keep_settings(app: Flask, settings: Settings) -> None:
    """Give an application its settings.

    Parameters
    ----------
    app
        The application.
    settings
        What ``current_settings`` returns in its requests.
    """
    app.config[_CONFIG] = settings


def current_settings() -> Settings:
    """Return the settings of the application whose request is under way."""
    settings: Settings = current_app.config[_CONFIG]
    return settings
