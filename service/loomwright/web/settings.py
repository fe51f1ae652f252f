"""The operator's settings, as the service reads them once they are checked."""

import os
from dataclasses import dataclass
from pathlib import Path

from flask import Flask, current_app

OPEN, KEYS = "open", "keys"
ON, OFF = "on", "off"
TEXT, JSON = "text", "json"
_CONFIG = "LOOMWRIGHT_SETTINGS"


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
    """What the operator set; each field is described in ``settings_table.SETTINGS``."""

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
