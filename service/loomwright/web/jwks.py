"""The public keys of a token issuer (JWKS, RFC 7517), from a file or from an address."""

import http.client
import ssl
import threading
import time
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol
from urllib.parse import urlsplit

import jwt
import orjson
from jwt import PyJWK

from loomwright.web.file_state import FileState, are_settled, file_state

ALGORITHMS = ("ES256", "EdDSA", "PS256", "RS256")
LEAST_RSA_BITS = 2048
KEPT_FOR_S, ASKED_AT_MOST_EVERY_S, TIME_LIMIT_S = 300.0, 30.0, 3.0
GREATEST_BYTES = 256 * 1024
_HTTP_OK = 200

Keys = Mapping[str, PyJWK]


class KeySetError(Exception):
    """The issuer's keys cannot be had."""


class KeySource(Protocol):
    """Where the keys of an issuer come from."""

    def key(self, identifier: str) -> PyJWK | None:
        """Return the key of an identifier, or none."""


def keys_of_document(text: bytes) -> Keys:
    """Return the keys of a JWKS document by identifier.

    Keys that cannot verify a signature here are left out: without identifier, for encryption,
    symmetric, of another algorithm, or RSA below 2048 bits.

    Parameters
    ----------
    text
        JSON.

    Returns
    -------
    Mapping
        By ``kid``.

    Raises
    ------
    KeySetError
        It is no JWKS document.
    """
    try:
        entries = orjson.loads(text)["keys"]
        found = [_key(entry) for entry in entries]
    except (orjson.JSONDecodeError, KeyError, TypeError, AttributeError):
        raise KeySetError("it is no JWKS document") from None
    return {key.key_id: key for key in found if key is not None and key.key_id}


def _key(entry: dict[str, Any]) -> PyJWK | None:
    if entry.get("kty") == "oct" or entry.get("use", "sig") != "sig":
        return None
    if not isinstance(entry.get("kid"), str):
        return None
    try:
        key = PyJWK(entry)
    except jwt.PyJWTError:
        return None
    if key.algorithm_name not in ALGORITHMS:
        return None
    # Elliptic curves have their size in their name.
    bits = getattr(key.key, "key_size", LEAST_RSA_BITS) if key.key_type == "RSA" else LEAST_RSA_BITS
    return key if bits >= LEAST_RSA_BITS else None


class FileKeys:
    """Keys of a file, read again when it changes.

    Parameters
    ----------
    path
        The file.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def key(self, identifier: str) -> PyJWK | None:
        """Return the key of an identifier, or none."""
        try:
            state = file_state(self._path)
            keys = _file_keys(state) if are_settled((state,)) else _file_keys.__wrapped__(state)
        except OSError as error:
            raise KeySetError(f"the file cannot be read: {error.strerror}") from None
        return keys.get(identifier)


@lru_cache(maxsize=4)
def _file_keys(state: FileState) -> Keys:
    return keys_of_document(state.path.read_bytes())


class AddressKeys:
    """Keys of an address, asked again after a while and when an unknown key comes up.

    Parameters
    ----------
    address
        ``https``, its host on the operator's list. Redirects are not followed.
    """

    def __init__(self, address: str) -> None:
        self._address = address
        self._lock = threading.Lock()
        self._keys: Keys = {}
        self._got_s = self._asked_s = float("-inf")

    def key(self, identifier: str) -> PyJWK | None:
        """Return the key of an identifier, or none.

        An unknown identifier makes the address be asked again, but not more often than every 30 s:
        a caller cannot drive requests to the issuer. Keys older than 5 min do not serve when the
        issuer cannot be reached, so that a key it withdrew is not accepted for longer.
        """
        with self._lock:
            now = time.monotonic()
            is_old = now - self._got_s >= KEPT_FOR_S
            may_ask = now - self._asked_s >= ASKED_AT_MOST_EVERY_S
            if may_ask and (is_old or identifier not in self._keys):
                self._asked_s = now
                self._keys = keys_of_document(fetched(self._address))
                self._got_s = now
            elif is_old:
                raise KeySetError("the issuer could not be reached")
            return self._keys.get(identifier)


def fetched(address: str) -> bytes:
    """Return what an address answers, within limits of time and size.

    Parameters
    ----------
    address
        ``https``, or ``http`` on the loopback.

    Returns
    -------
    bytes
        The body.

    Raises
    ------
    KeySetError
        It cannot be reached, answers with another status than 200, too slowly or too much.
    """
    url = urlsplit(address)
    connection: http.client.HTTPConnection
    if url.scheme == "https":
        context = ssl.create_default_context()
        connection = http.client.HTTPSConnection(
            url.hostname or "", url.port, timeout=TIME_LIMIT_S, context=context
        )
    else:
        connection = http.client.HTTPConnection(url.hostname or "", url.port, timeout=TIME_LIMIT_S)
    deadline = time.monotonic() + TIME_LIMIT_S
    try:
        target = f"{url.path or '/'}{f'?{url.query}' if url.query else ''}"
        connection.request("GET", target, headers={"Accept": "application/json"})
        answer = connection.getresponse()
        if answer.status != _HTTP_OK:
            raise KeySetError(f"the issuer answered with status {answer.status}")
        body = b""
        while piece := answer.read1(65536):
            body += piece
            if len(body) > GREATEST_BYTES:
                raise KeySetError(f"the issuer sent more than {GREATEST_BYTES} bytes")
            if time.monotonic() > deadline:
                raise KeySetError(f"the issuer took longer than {TIME_LIMIT_S:g} s")
    except (OSError, http.client.HTTPException) as error:
        raise KeySetError(f"the issuer could not be reached: {type(error).__name__}") from None
    finally:
        connection.close()
    return body
