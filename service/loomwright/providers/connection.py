"""Connections to providers: to allowed hosts and public addresses, within limits."""

import ipaddress
import socket
import ssl
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from contextlib import closing, suppress
from dataclasses import dataclass
from http.client import HTTPException
from typing import Any
from urllib.parse import urlsplit

import urllib3.connection
from urllib3.exceptions import HTTPError

from loomwright.providers.configuration import HttpSettings

_CHUNK_BYTES = 65536
_PORTS = {"http": 80, "https": 443}
# RFC 6052, section 2.1, and RFC 4291, section 2.4: all else of IPv6 is for other uses, among them
# the deprecated ::127.0.0.1, which the library takes for global.
_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")
_GLOBAL_UNICAST = ipaddress.IPv6Network("2000::/3")
_LAST_32_BITS = 0xFFFFFFFF
Resolve = Callable[[str, int], list[str]]


class RefusedError(RuntimeError):
    """A connection that may not be made, or an answer that may not be read further."""


@dataclass(frozen=True)
class Received:
    """An answer: status, header fields by name in small letters, body."""

    status: int
    headers: Mapping[str, str]
    body: bytes


def resolved_addresses(host: str, port: int) -> list[str]:
    """Return the addresses of a host."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return [str(entry[4][0]) for entry in found]


def received(
    settings: HttpSettings,
    path: str,
    headers: Mapping[str, str],
    resolve: Resolve = resolved_addresses,
) -> Received:
    """Ask a provider for a document.

    The name is looked up once, and it is the address found there that is checked and connected to:
    a name that changes its mind in between gains nothing. Redirects are not followed; what is
    compressed is not asked for and not read.

    Parameters
    ----------
    settings
        Of the provider.
    path
        Below its address.
    headers
        Of the request.
    resolve
        Look-up of a host's addresses.

    Returns
    -------
    Received
        The answer, whatever its status.

    Raises
    ------
    RefusedError
        The address is not allowed, or the answer too large.
    OSError
        There is no answer in time.
    """
    parts = urlsplit(settings.address)
    host, port = str(parts.hostname), parts.port or _PORTS[parts.scheme]
    if host not in settings.allowed_hosts:
        raise RefusedError("its host is not allowed")
    deadline = time.monotonic() + settings.timeout_s
    addresses = _in_time(lambda: resolve(host, port), settings.timeout_s)
    connection = _connection(parts.scheme, host, port, settings, addresses)
    # The time-out of a socket starts anew with each byte; the whole has a limit of its own.
    sockets: list[socket.socket] = []
    left_s = max(0.0, deadline - time.monotonic())
    watch = threading.Timer(left_s, _cut, [connection, sockets])
    watch.daemon = True
    watch.start()
    try:
        connection.connect()
        # An answer that ends with its connection takes the socket out of the connection's hands.
        sockets.append(connection.sock)
        # While TLS greets, nobody else holds the socket, so that the watch cut nothing if it came.
        if time.monotonic() >= deadline:
            raise TimeoutError("no connection in time")
        connection.request(
            "GET",
            parts.path + path,
            headers={
                # The connection is to an address and does not know the name.
                "Host": parts.netloc,
                "Accept-Encoding": "identity",
                **headers,
            },
            preload_content=False,
            decode_content=False,
        )
        answer = connection.getresponse()
        # Closed by itself, as one that ends with its connection is the last to hold the socket.
        with closing(answer):
            body = _body(answer, settings.greatest_bytes)
    except RefusedError:
        raise
    except (HTTPError, HTTPException, OSError) as error:
        if isinstance(error, TimeoutError) or time.monotonic() >= deadline:
            raise TimeoutError("no whole answer in time") from error
        raise OSError(str(error)) from error
    finally:
        watch.cancel()
        connection.close()
    if time.monotonic() >= deadline:
        raise TimeoutError("no whole answer in time")
    return Received(
        answer.status, {name.lower(): value for name, value in answer.headers.items()}, body
    )


def _body(answer: Any, greatest: int) -> bytes:
    if answer.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise RefusedError("it compresses what was to be sent as it is")
    parts: list[bytes] = []
    size = 0
    while part := answer.read1(_CHUNK_BYTES):
        size += len(part)
        if size > greatest:
            raise RefusedError(f"it sends more than {greatest} bytes")
        parts.append(part)
    return b"".join(parts)


def _cut(connection: urllib3.connection.HTTPConnection, sockets: Sequence[socket.socket]) -> None:
    """End a connection under whoever waits for it."""
    for sock in (*sockets, connection.sock):
        if sock is not None:
            with suppress(OSError):  # it has ended by itself
                sock.shutdown(socket.SHUT_RDWR)


def _in_time(look_up: Callable[[], Sequence[str]], seconds: float) -> Sequence[str]:
    """Return what a name leads to; a resolver that says nothing has no limit of its own to set."""
    future: Future[Sequence[str]] = Future()

    def run() -> None:
        try:
            future.set_result(look_up())
        except Exception as error:  # raised again where it is waited for
            future.set_exception(error)

    threading.Thread(target=run, daemon=True).start()
    return future.result(seconds)


def _connection(
    scheme: str, host: str, port: int, settings: HttpSettings, addresses: Sequence[str]
) -> urllib3.connection.HTTPConnection:
    """Return a connection to a checked address, which proves by its certificate to be the host."""
    allowed = [each for each in addresses if _is_allowed(each, settings.private_addresses)]
    if not addresses or len(allowed) < len(addresses):
        # One private address among public ones is as good as none.
        raise RefusedError("its name leads to an address that is not allowed")
    if scheme == "http":
        return urllib3.connection.HTTPConnection(allowed[0], port, timeout=settings.timeout_s)
    return urllib3.connection.HTTPSConnection(
        allowed[0],
        port,
        timeout=settings.timeout_s,
        ssl_context=ssl.create_default_context(),
        server_hostname=host,
    )


def _is_allowed(address: str, private_too: bool) -> bool:
    """Return whether an address may be connected to."""
    return private_too or _is_public(ipaddress.ip_address(address.partition("%")[0]))


def _is_public(address: ipaddress.IPv4Address | ipaddress.IPv6Address) -> bool:
    """Return whether an address leads to the public network, also where it holds another one."""
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return _is_public(address.ipv4_mapped)
        if address in _NAT64:
            return _is_public(ipaddress.IPv4Address(int(address) & _LAST_32_BITS))
        # Tunnels end at an IPv4 address of the sender's choice; nobody serves prices through them.
        if address not in _GLOBAL_UNICAST or address.sixtofour or address.teredo:
            return False
    return address.is_global and not address.is_multicast
