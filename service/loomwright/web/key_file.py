"""The operator's file of keys: digests, scopes and days, read again when it changes.

A key is random text that stands nowhere in the file; the file holds its SHA-256, so that who reads
the file can use none of them. Keys are rotated by a second entry: add it, let callers change over,
take the first one out. Each request looks at the file's state, so that no worker needs a restart.

    [[keys]]
    id = "till"
    sha256 = "2c70e12b7a0646f92279f427c7b38e7334d8e5389cff167a1dc30e73f826b683"
    scopes = ["calculate", "price"]
    not_before = 2031-01-01T00:00:00Z
    expires = 2031-12-31T23:59:59Z
"""

import hashlib
import hmac
import re
import tomllib
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from loomwright.web.file_state import FileState, are_settled, file_state

CALCULATE, PRICE, COST, SPREADSHEET = "calculate", "price", "cost", "spreadsheet"
SCOPES = MappingProxyType(
    {
        CALCULATE: "the engineering operations, by POST and GET",
        PRICE: "bills of materials and price books",
        COST: "cost and margin, beside `price`",
        SPREADSHEET: "the engineering operations by GET only; the key may stand in the query as "
        "`key`, and has no other scope",
    }
)
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)
_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)
_MEMBERS = frozenset({"id", "sha256", "scopes", "not_before", "expires"})


@dataclass(frozen=True, slots=True)
class Key:
    """One entry of the file."""

    id: str
    digest: str
    scopes: frozenset[str]
    not_before: datetime | None
    expires: datetime | None

    def is_in_force(self, now: datetime) -> bool:
        """Tell whether the key may be used at a time."""
        begun = self.not_before is None or self.not_before <= now
        return begun and (self.expires is None or now < self.expires)


class KeyFileError(Exception):
    """The file cannot be used.

    Parameters
    ----------
    faults
        Everything that is wrong, a sentence each; no key or digest is quoted.
    """

    def __init__(self, faults: list[str]) -> None:
        super().__init__(" ".join(faults))
        self.faults = faults


def keys_of_file(path: Path) -> tuple[Key, ...]:
    """Return the keys of a file as it is now.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    tuple of Key
        In the order of the file.

    Raises
    ------
    KeyFileError
        It cannot be read, or anything in it is wrong. No earlier version serves in its place: it
        might admit a key that the operator has just withdrawn.
    """
    try:
        state = file_state(path)
        return _keys(state) if are_settled((state,)) else _keys.__wrapped__(state)
    except OSError as error:
        raise KeyFileError([f"It cannot be read: {error.strerror}."]) from None


def key_of_text(text: str, keys: tuple[Key, ...]) -> Key | None:
    """Return the key that a text is.

    Parameters
    ----------
    text
        What the caller sent.
    keys
        All there are.

    Returns
    -------
    Key or None
        None where it is no key of these.
    """
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    found = None
    # Every digest is compared, and each in constant time, so that time tells nothing.
    for key in keys:
        if hmac.compare_digest(digest, key.digest):
            found = key
    return found


@lru_cache(maxsize=8)
def _keys(state: FileState) -> tuple[Key, ...]:
    try:
        document = tomllib.loads(state.path.read_bytes().decode("utf-8"))
    except UnicodeDecodeError:
        raise KeyFileError(["It is not UTF-8."]) from None
    except tomllib.TOMLDecodeError as error:
        raise KeyFileError([f"It is not TOML: {error}."]) from None
    faults: list[str] = []
    entries = document.pop("keys", [])
    faults += [f"{name} is unknown; there is only [[keys]]." for name in document]
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise KeyFileError([*faults, "keys is no list of tables; write [[keys]]."])
    keys = []
    for number, entry in enumerate(entries, 1):
        wrong = _faults_of(entry)
        faults += [f"Key {number}: {fault}" for fault in wrong]
        if not wrong:
            keys.append(_key(entry))
    for name in ("id", "digest"):
        values = [getattr(key, name) for key in keys]
        if len(set(values)) < len(values):
            faults.append(f"Two keys have the same {'id' if name == 'id' else 'sha256'}.")
    if faults:
        raise KeyFileError(faults)
    return tuple(keys)


def _faults_of(entry: dict[str, Any]) -> list[str]:
    faults = [f"{name} is unknown." for name in sorted(set(entry) - _MEMBERS)]
    if not _matches(_ID, entry.get("id")):
        faults.append("id is 1 to 64 letters, digits, dots, hyphens or underscores.")
    if not _matches(_DIGEST, entry.get("sha256")):
        faults.append("sha256 is 64 hexadecimal digits in lower case.")
    faults += _faults_of_scopes(entry.get("scopes"))
    days = [entry[name] for name in ("not_before", "expires") if name in entry]
    if not all(isinstance(day, datetime) and day.tzinfo is not None for day in days):
        faults.append("not_before and expires are times with an offset: 2031-12-31T23:59:59Z.")
    elif len(days) == 2 and days[0] >= days[1]:
        faults.append("not_before is not before expires.")
    return faults


def _matches(pattern: re.Pattern[str], value: object) -> bool:
    return isinstance(value, str) and pattern.fullmatch(value) is not None


def _faults_of_scopes(scopes: object) -> list[str]:
    known = ", ".join(SCOPES)
    if not isinstance(scopes, list) or not scopes:
        return [f"scopes is a list of at least one of {known}."]
    unknown = [str(scope) for scope in scopes if scope not in SCOPES]
    if unknown:
        return [f"scope {name} is unknown; there are {known}." for name in unknown]
    if SPREADSHEET in scopes and len(scopes) > 1:
        # What stands in addresses ends up in histories and logs of others.
        return [f"{SPREADSHEET} stands alone; give another key for the rest."]
    return []


def _key(entry: dict[str, Any]) -> Key:
    return Key(
        entry["id"],
        entry["sha256"],
        frozenset(entry["scopes"]),
        entry.get("not_before"),
        entry.get("expires"),
    )
