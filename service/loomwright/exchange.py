"""One HTTP request to a plugin, and what came back."""

import http.client
import json
import ssl
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any
from urllib.parse import urlsplit

JSON = "application/json"
PROBLEM = "application/problem+json"
# What is read at most: enough to see that a document is too large.
GREATEST_BYTES = 64 * 1024 * 1024
TIMEOUT_S = 30.0
_CHUNK = 65536


class UsageError(Exception):
    """The command line, or what it names, cannot be used; the message is one line."""


@dataclass(frozen=True)
class Seen:
    """What came back: an answer, or ``error`` where there was none.

    ``value`` is what a provider in process returned; over HTTP it is none.
    """

    status: int = 0
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""
    seconds: float = 0.0
    error: str = ""
    value: Any = None

    @property
    def media_type(self) -> str:
        """Media type without its parameters, in small letters."""
        return self.headers.get("content-type", "").partition(";")[0].strip().lower()

    @cached_property
    def document(self) -> Any:
        """The JSON value, or None if the body holds none; a byte order mark is passed over."""
        if self.value is not None:
            return self.value
        try:
            return json.loads(self.body.decode("utf-8-sig"))
        except ValueError:
            return None

    def member(self, name: str) -> Any:
        """Return a member of the object, or None."""
        return self.document.get(name) if isinstance(self.document, dict) else None

    @property
    def summary(self) -> str:
        """What was seen, in a few words."""
        if self.error:
            return self.error
        said = self.member("code") or self.member("title")
        return f"status {self.status}" + (f" ({said})" if said else "")


@dataclass(frozen=True, slots=True)
class Address:
    """The base address of a plugin, taken apart."""

    scheme: str
    host: str
    port: int | None
    path: str
    token: str = ""

    def send(
        self, method: str, path: str, headers: Mapping[str, str], body: bytes | None = None
    ) -> Seen:
        """Send one request on a connection of its own, follow no redirect, return what came.

        Parameters
        ----------
        method
            Of HTTP.
        path
            Below the base address, with its query.
        headers
            Of the request.
        body
            Of the request, if any.

        Returns
        -------
        Seen
            Time-out and broken connections are an ``error`` of it.
        """
        started = time.monotonic()
        connection = self._connection()
        try:
            connection.request(method, self.path + path, body, dict(headers))
            response = connection.getresponse()
            content = _read(response, started)
        except (OSError, http.client.HTTPException) as error:
            waited = time.monotonic() - started
            return Seen(seconds=waited, error=f"no answer: {error or type(error).__name__}")
        finally:
            connection.close()
        return Seen(
            response.status,
            {name.lower(): value for name, value in response.getheaders()},
            content,
            time.monotonic() - started,
        )

    def _connection(self) -> http.client.HTTPConnection:
        if self.scheme == "https":
            return http.client.HTTPSConnection(
                self.host, self.port, timeout=TIMEOUT_S, context=ssl.create_default_context()
            )
        return http.client.HTTPConnection(self.host, self.port, timeout=TIMEOUT_S)


# No token is no secret.
def address_of(url: str, token: str = "") -> Address:  # nosec B107
    """Return a base address taken apart.

    Parameters
    ----------
    url
        ``http`` or ``https``, without query.
    token
        Bearer token, if one is wanted there; empty for none.

    Returns
    -------
    Address
        Without a slash at its end.

    Raises
    ------
    UsageError
        It is no such address.
    """
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise UsageError(f"{url!r} is no address: {error}") from None
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
        raise UsageError(f"{url!r} is no http or https address without a query")
    return Address(parts.scheme, parts.hostname, port, parts.path.rstrip("/"), token)


def _read(response: http.client.HTTPResponse, started: float) -> bytes:
    """Return the body, up to the limits of size and time."""
    parts: list[bytes] = []
    size = 0
    while size <= GREATEST_BYTES and (part := response.read1(_CHUNK)):
        parts.append(part)
        size += len(part)
        # A body that trickles in keeps the socket's own time-out from ever ending it.
        if time.monotonic() - started > TIMEOUT_S:
            raise TimeoutError("the body did not end in time")
    if response.length and size <= GREATEST_BYTES:
        raise http.client.HTTPException(
            f"the body ended {response.length} bytes before its stated length"
        )
    return b"".join(parts)
