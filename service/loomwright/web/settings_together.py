"""What settings have to be beside one another: what needs what, and who may reach the service."""

import importlib.util
import ipaddress
from pathlib import Path
from urllib.parse import urlsplit

from loomwright.web.settings import KEYS, ON, OPEN, Settings

# Of the extra ``telemetry``.
_TELEMETRY_MODULES = ("opentelemetry.sdk.trace", "opentelemetry.exporter.otlp.proto.http")


def faults_together(settings: Settings) -> list[str]:
    """Return what is wrong with settings that are right each by itself.

    Parameters
    ----------
    settings
        Each checked by itself.

    Returns
    -------
    list of str
        A line for each fault.
    """
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
