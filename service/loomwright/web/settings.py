"""The operator's settings: read from the environment once, at the start, with every fault at once.

``SETTINGS`` is the one table: the reader, the start's complaints and the table of
``deploy/README.md`` come from it. A variable that begins with ``LOOMWRIGHT_`` and is not in it
stops the start: a misspelt name of the file of keys would otherwise leave the service open.

A setting that may hold a password can also come from a file that the same name with ``_FILE`` at
its end names, as secrets are mounted. What it holds is told nowhere, in no complaint either.
"""

import importlib.util
import ipaddress
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, current_app

from loomwright.web.setting_values import (
    GREATEST_PORT,
    LEAST_PORT,
    WrongValueError,
    address_to_listen_on,
    file_to_read,
    folder,
    folder_to_write,
    host_and_port,
    keys_file,
    list_of_words,
    one_of,
    origins,
    plain_text,
    rate,
    secret_of,
    storage,
    whole,
)

PREFIX = "LOOMWRIGHT_"
OPEN, KEYS = "open", "keys"
ON, OFF = "on", "off"
TEXT, JSON = "text", "json"
_CONFIG = "LOOMWRIGHT_SETTINGS"
_FILE = "_FILE"
# Of the extra ``telemetry``.
_TELEMETRY_MODULES = ("opentelemetry.sdk.trace", "opentelemetry.exporter.otlp.proto.http")


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
    queue: int = 3
    burst: int = 64
    heavy_queue: int = 8
    batches: int = 2
    connections: int = 10_000
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
    log_format: str = TEXT
    log_level: str = "warning"
    access_log: str = OFF
    metrics_bind: str = ""
    metrics_folder: Path | None = None
    telemetry: str = OFF

    @property
    def listens_on(self) -> str:
        """Where the server listens: ``host:port`` or ``unix:path``."""
        return self.bind or f"127.0.0.1:{self.port}"

    @property
    def worker_count(self) -> int:
        """How many processes serve."""
        return self.workers or os.cpu_count() or 1

    @property
    def asks_others(self) -> bool:
        """Whether a call may have to wait for another service before it is answered."""
        return "://" in self.jwt_keys or not self.rate_limit_storage.startswith("memory:")

    @property
    def needs_keys(self) -> bool:
        """Whether every operation needs a key or a token."""
        if self.access:
            return self.access == KEYS
        return self.keys_file is not None or bool(self.jwt_issuer)


@dataclass(frozen=True, slots=True)
class Setting:
    """One variable: field of ``Settings``, reader of its text, what stands without it, meaning.

    ``is_secret`` says that a password may stand in it, so that a file may hold it.
    """

    field: str
    read: Callable[[str], Any]
    default: str
    meaning: str
    is_secret: bool = False

    @property
    def name(self) -> str:
        """Name of the variable."""
        return PREFIX + self.field.upper()


SETTINGS = (
    Setting(
        "bind",
        address_to_listen_on,
        "`127.0.0.1` and the port",
        "where the server listens: `host:port`, `[address]:port` or `unix:path`",
    ),
    Setting("port", whole(LEAST_PORT, GREATEST_PORT), "`8080`", "port on the loopback"),
    Setting("workers", whole(1, 1024), "one per core", "processes"),
    Setting("threads", whole(1, 1024), "`1`", "threads of each process for quick calls"),
    Setting(
        "queue",
        whole(1, 100_000),
        "`3`",
        "quick calls that may wait for a thread in each process for long",
    ),
    Setting(
        "burst",
        whole(1, 100_000),
        "`64`",
        "quick calls that may wait in each process for a moment",
    ),
    Setting(
        "heavy_queue",
        whole(1, 100_000),
        "`8`",
        "plans, bills, documents and drawings of plans that may wait in each process",
    ),
    Setting("batches", whole(1, 1024), "`2`", "batches at once in each process"),
    Setting(
        "connections",
        whole(1, 100_000),
        "`10000`",
        "connections of each process, beyond which the one that waits longest is closed",
    ),
    Setting(
        "access",
        one_of(OPEN, KEYS),
        "`keys` once keys or tokens are set, else `open`",
        "`open`: whoever reaches the service may use it, and a key is asked for cost only; `keys`: "
        "every operation needs one. Beyond the loopback `open` must be said",
    ),
    Setting("keys_file", keys_file, "none", "TOML file of keys, see below"),
    Setting("jwt_issuer", plain_text, "none", "`iss` of the tokens that are accepted"),
    Setting(
        "jwt_audience", plain_text, "none", "`aud` that a token must name; needed with an issuer"
    ),
    Setting(
        "jwt_keys",
        plain_text,
        "none",
        "the issuer's public keys (JWKS): a file, or an `https` address; needed with an issuer",
    ),
    Setting(
        "jwt_hosts",
        list_of_words,
        "none",
        "hosts (`host` or `host:port`) that the address may name",
    ),
    Setting(
        "rate_limit", rate, "off", "requests of each caller, such as `600/minute` or `10/second`"
    ),
    Setting(
        "rate_limit_storage",
        storage,
        "`memory://`",
        "where requests are counted: each process for itself, or together in "
        "`redis://host:port/0`, where a password may stand",
        is_secret=True,
    ),
    Setting("cors_origins", origins, "off", "origins whose pages may call, or `*`"),
    Setting("price_books", folder, "none", "folder of mounted price books"),
    Setting("providers_file", file_to_read, "none", "TOML file of providers of price books"),
    Setting(
        "log_format", one_of(TEXT, JSON), "`text`", "`json`: each line of the log is an object"
    ),
    Setting(
        "log_level",
        one_of("debug", "info", "warning", "error", "critical"),
        "`warning`",
        "the least that is logged; `info` tells the settings at the start",
    ),
    Setting(
        "access_log", one_of(ON, OFF), "`off`", "`on`: a line for each request, on standard output"
    ),
    Setting(
        "metrics_bind",
        host_and_port,
        "off",
        "`host:port` where `/metrics` is served to Prometheus, and nothing else",
    ),
    Setting(
        "metrics_folder",
        folder_to_write,
        "one of its own in the temporary directory",
        "folder in which the processes count; it is emptied at the start and serves one server",
    ),
    Setting(
        "telemetry",
        one_of(ON, OFF),
        "`off`",
        "`on`: spans go where the `OTEL_` variables say; needs the extra `telemetry`",
    ),
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
    texts, faults = _texts_of(environment)
    for name, text in texts.items():
        if name not in known:
            faults.append(f"{name} is no setting; deploy/README.md lists them.")
            continue
        setting = known[name]
        try:
            values[setting.field] = setting.read(text)
        except WrongValueError as error:
            # An address with a password in it is not repeated.
            is_told = not setting.is_secret and "@" not in text
            stated = f"'{text}'" if is_told else "what it is"
            faults.append(f"{name} is {stated}, but has to be {str(error).rstrip('.')}.")
    settings = Settings(**values)
    faults += _faults_between(settings)
    if faults:
        raise SettingsError(faults)
    return settings


def _texts_of(environment: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """Return the texts of the variables that are set, those of files among them, and faults."""
    texts = {
        name: text for name, text in sorted(environment.items()) if name.startswith(PREFIX) and text
    }
    faults = []
    for setting in SETTINGS:
        name = f"{setting.name}{_FILE}"
        if not setting.is_secret or name not in texts:
            continue
        path = Path(texts.pop(name))
        if setting.name in texts:
            faults.append(f"{setting.name} and {name} are both set; set one of them.")
            continue
        try:
            texts[setting.name] = secret_of(path)
        except WrongValueError as error:
            faults.append(f"{name} is '{path}', but has to be {error}.")
    return texts, faults


def _faults_between(settings: Settings) -> list[str]:
    faults = _faults_of_signals(settings)
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


def _faults_of_signals(settings: Settings) -> list[str]:
    faults = []
    if settings.metrics_folder is not None and not settings.metrics_bind:
        faults.append("LOOMWRIGHT_METRICS_FOLDER is set, but LOOMWRIGHT_METRICS_BIND is not.")
    if settings.metrics_bind and settings.metrics_bind == settings.listens_on:
        faults.append("LOOMWRIGHT_METRICS_BIND is where the service itself listens.")
    if settings.telemetry == ON and not _telemetry_is_installed():
        faults.append(
            "LOOMWRIGHT_TELEMETRY is 'on', but the extra is not installed: "
            "pip install 'loomwright[telemetry]'."
        )
    return faults


def _telemetry_is_installed() -> bool:
    try:
        return all(importlib.util.find_spec(name) is not None for name in _TELEMETRY_MODULES)
    except ModuleNotFoundError:
        # Of a package that the name leads through.
        return False


def _faults_of_jwt_keys(settings: Settings) -> list[str]:
    keys = settings.jwt_keys
    # An address with a password in it is not repeated.
    stated = "what it is" if "@" in keys else f"'{keys}'"
    if "://" not in keys:
        if keys and not Path(keys).is_file():
            return [f"LOOMWRIGHT_JWT_KEYS is {stated}, but has to be a file or an https address."]
        return []
    url = urlsplit(keys)
    host = url.hostname or ""
    if url.scheme != "https" and not (url.scheme == "http" and _is_loopback(host)):
        return [f"LOOMWRIGHT_JWT_KEYS is {stated}, but only https is taken beyond the loopback."]
    if url.netloc not in settings.jwt_hosts:
        named = url.netloc.rpartition("@")[2]
        return [f"LOOMWRIGHT_JWT_KEYS names {named}; LOOMWRIGHT_JWT_HOSTS does not list it."]
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
