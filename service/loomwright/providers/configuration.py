"""The operator's list of providers, as TOML."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

DEFAULT_TIMEOUT_S = 5.0
DEFAULT_GREATEST_BYTES = 8 * 1024 * 1024
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}", re.ASCII)
_SHARED: dict[str, tuple[type, ...]] = {"stock_stale_after_s": (int, float)}
_OVER_HTTP: dict[str, tuple[type, ...]] = {
    "address": (str,),
    "allowed_hosts": (list,),
    "private_addresses": (bool,),
    "token_file": (str,),
    "timeout_s": (int, float),
    "greatest_bytes": (int,),
}
_IN_PROCESS: dict[str, tuple[type, ...]] = {"entry_point": (str,), "options": (dict,)}
_WORDS = {str: "a text", list: "a list", bool: "true or false", int: "a number", dict: "a table"}
# A provider that is waited for longer holds up the whole service.
_LONGEST_TIMEOUT_S, _MOST_BYTES = 60.0, 64 * 1024 * 1024


@dataclass(frozen=True)
class HttpSettings:
    """How a provider is reached over HTTP, and what it may take of time [s] and bytes."""

    address: str
    allowed_hosts: tuple[str, ...]
    private_addresses: bool
    token_file: Path | None
    timeout_s: float
    greatest_bytes: int


@dataclass(frozen=True)
class ProcessSettings:
    """Entry point of a provider in process, or ``module:factory``, and what its factory gets."""

    entry_point: str
    options: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class ProviderSettings:
    """One provider; stock older than ``stock_stale_after_s`` [s] is left out of account."""

    name: str
    reached: HttpSettings | ProcessSettings
    stock_stale_after_s: float | None


class ConfigurationError(ValueError):
    """The operator's list cannot be used.

    Parameters
    ----------
    faults
        One line for each thing that is wrong.
    """

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


def provider_settings(text: str) -> dict[str, ProviderSettings]:
    """Return the providers that a TOML text lists.

    Parameters
    ----------
    text
        Tables ``[providers.NAME]``.

    Returns
    -------
    dict
        Settings by name.

    Raises
    ------
    ConfigurationError
        Anything is wrong; ``faults`` names all of it.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigurationError([f"not TOML: {error}"]) from None
    faults = [
        f"{name}: unknown; only [providers.NAME] is" for name in document.keys() - {"providers"}
    ]
    listed = document.get("providers", {})
    if not isinstance(listed, dict):
        raise ConfigurationError([*faults, "providers: a table of providers is needed"])
    found = {}
    for name, stated in listed.items():
        own: list[str] = []
        settings = _settings(name, stated, own)
        faults += [f"providers.{name}{fault}" for fault in own]
        if settings is not None and not own:
            found[name] = settings
    if faults:
        raise ConfigurationError(sorted(faults))
    return found


def _settings(name: str, stated: Any, faults: list[str]) -> ProviderSettings | None:
    if not _NAME.fullmatch(name):
        faults.append(": a name has 1 to 64 letters, digits, - and _, a letter or digit first")
    if not isinstance(stated, dict):
        faults.append(": a table is needed")
        return None
    if ("address" in stated) == ("entry_point" in stated):
        faults.append(": state either address or entry_point")
        return None
    is_http = "address" in stated
    _check_members(stated, _SHARED | (_OVER_HTTP if is_http else _IN_PROCESS), faults)
    if faults:
        return None
    stale = stated.get("stock_stale_after_s")
    if stale is not None and not 0 < stale < 1e9:
        faults.append(".stock_stale_after_s: seconds above 0 are needed")
    reached = _over_http(stated, faults) if is_http else _in_process(stated, faults)
    return ProviderSettings(name, reached, None if stale is None else float(stale))


def _check_members(
    stated: Mapping[str, Any], members: Mapping[str, tuple[type, ...]], faults: list[str]
) -> None:
    for member, value in stated.items():
        if member not in members:
            faults.append(f".{member}: unknown; there are {', '.join(members)}")
        # A truth value is a number to Python and none to TOML.
        elif isinstance(value, bool) != (members[member] == (bool,)) or not isinstance(
            value, members[member]
        ):
            faults.append(f".{member}: {_WORDS[members[member][0]]} is needed")


def _over_http(stated: Mapping[str, Any], faults: list[str]) -> HttpSettings:
    private = stated.get("private_addresses", False)
    hosts = tuple(str(host).lower() for host in stated.get("allowed_hosts", ()))
    _check_address(stated["address"], hosts, private, faults)
    timeout = float(stated.get("timeout_s", DEFAULT_TIMEOUT_S))
    if not 0 < timeout <= _LONGEST_TIMEOUT_S:
        faults.append(f".timeout_s: more than 0 and at most {_LONGEST_TIMEOUT_S:g} s are needed")
    greatest = stated.get("greatest_bytes", DEFAULT_GREATEST_BYTES)
    if not 0 < greatest <= _MOST_BYTES:
        faults.append(f".greatest_bytes: 1 to {_MOST_BYTES} are needed")
    token = stated.get("token_file")
    if token is not None and not Path(token).is_file():
        faults.append(".token_file: there is no such file")
    return HttpSettings(
        stated["address"].rstrip("/"),
        hosts,
        private,
        None if token is None else Path(token),
        timeout,
        greatest,
    )


def _check_address(address: str, hosts: tuple[str, ...], private: bool, faults: list[str]) -> None:
    try:
        parts = urlsplit(address)
        host, _ = parts.hostname, parts.port
    except ValueError:
        faults.append(".address: no http or https address")
        return
    if parts.scheme not in ("http", "https") or not host or parts.query or parts.fragment:
        faults.append(".address: an http or https address without a query is needed")
    elif parts.username or parts.password:
        faults.append(".address: a token stands in token_file, not in the address")
    elif parts.scheme == "http" and not private:
        faults.append(".address: https is needed, unless private_addresses is true")
    elif host not in hosts:
        faults.append(f".allowed_hosts: {host} is not among them")


def _in_process(stated: Mapping[str, Any], faults: list[str]) -> ProcessSettings:
    options = stated.get("options", {})
    faults += [
        f".options.{name}: a text is needed"
        for name, value in options.items()
        if not isinstance(value, str)
    ]
    return ProcessSettings(stated["entry_point"], dict(options))
