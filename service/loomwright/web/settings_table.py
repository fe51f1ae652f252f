"""The environment's variables: read once, at the start, with every fault at once.

``SETTINGS`` is the one table: the reader, the start's complaints and the table of
``deploy/README.md`` come from it. A variable that begins with ``LOOMWRIGHT_`` and is not in it
stops the start: a misspelt name of the file of keys would otherwise leave the service open.

A setting that may hold a password can also come from a file that the same name with ``_FILE`` at
its end names, as secrets are mounted. What it holds is told nowhere, in no complaint either.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

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
from loomwright.web.settings import JSON, KEYS, OFF, ON, OPEN, TEXT, Settings, SettingsError
from loomwright.web.settings_together import faults_together

PREFIX = "LOOMWRIGHT_"
_FILE = "_FILE"


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
    faults += faults_together(settings)
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
