"""Clients that ask all the time and count what became of each request.

A connection that the server closes before it has sent a byte of an answer may be used again by RFC
9112, 9.3.1, only where it had served before; a client may then send the request again. What breaks
off on a new connection, or within an answer, is lost.
"""

import json
import re
import socket
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager

LONGEST_S = 60.0
BODY = json.dumps(
    {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "route": [{"length": 4.5}]}
).encode()
REQUEST = (
    b"POST /v1/size-conductor HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    b"Content-Length: %d\r\n\r\n%s" % (len(BODY), BODY)
)
_LENGTH = re.compile(rb"\r\nContent-Length: ([0-9]+)\r\n", re.IGNORECASE)
_CLOSES = re.compile(rb"\r\nConnection: close\r\n", re.IGNORECASE)
# What may become of a request.
ANSWERED, REFUSED, CLOSED_IDLE, LOST = "answered", "refused at connect", "closed idle", "lost"
LAST = "answered, and told that the connection ends"
# An answer, too: more may come in than is worked on (RFC 9110, 15.6.4).
BUSY = "answered 503"


class BrokenOffError(Exception):
    """A connection ended before its answer did.

    Parameters
    ----------
    received
        What came of the answer.
    """

    def __init__(self, received: bytes) -> None:
        super().__init__(received[:200])
        self.received = received


def answer(wire: socket.socket) -> tuple[int, bool]:
    """Read one answer; return its status, and whether it says that the connection ends."""
    received = b""
    while True:
        head, gap, body = received.partition(b"\r\n\r\n")
        if gap:
            length = _LENGTH.search(head + b"\r\n")
            assert length, head
            if len(body) >= int(length[1]):
                return int(head.split(b" ", 2)[1]), bool(_CLOSES.search(head + b"\r\n"))
        try:
            piece = wire.recv(65536)
        except ConnectionError:
            piece = b""
        if not piece:
            raise BrokenOffError(received)
        received += piece


class Client(threading.Thread):
    """Asks over and over until it is stopped, or nobody listens any more."""

    def __init__(self, port: int, keeps: bool, stop: threading.Event) -> None:
        super().__init__()
        self._port = port
        self.keeps = keeps
        self._stop_asking = stop
        self.counts: Counter[str] = Counter()
        self.faults: list[str] = []

    def run(self) -> None:
        """Ask."""
        while not self._stop_asking.is_set():
            try:
                wire = socket.create_connection(("127.0.0.1", self._port), timeout=LONGEST_S)
            except ConnectionRefusedError:
                self.counts[REFUSED] += 1
                if self._stop_asking.wait(0.02):
                    return
                continue
            with wire:
                self._ask_through(wire)

    def _ask_through(self, wire: socket.socket) -> None:
        served = 0
        while not self._stop_asking.is_set():
            try:
                wire.sendall(REQUEST)
                status, ends = answer(wire)
            except (BrokenOffError, ConnectionError) as error:
                began = isinstance(error, BrokenOffError) and bool(error.received)
                kind = CLOSED_IDLE if served and not began else LOST
                self.counts[kind] += 1
                self.faults.append(f"{kind} after {served}: {error!r}")
                return
            served += 1
            if status not in (200, 503):
                self.faults.append(f"answered {status} after {served}")
            if ends:
                self.counts[LAST] += 1
            else:
                self.counts[ANSWERED if status == 200 else BUSY] += 1
            if ends or not self.keeps:
                return


@contextmanager
def clients(port: int, keeping: int, changing: int) -> Iterator[list[Client]]:
    """Yield clients at work, so many that keep their connection and so many that never do."""
    stop = threading.Event()
    found = [Client(port, number < keeping, stop) for number in range(keeping + changing)]
    for client in found:
        client.start()
    try:
        yield found
    finally:
        stop.set()
        for client in found:
            client.join()


def totals(found: list[Client]) -> Counter[str]:
    """Return how many requests ended how."""
    return sum((client.counts for client in found), Counter())


def queued(port: int, count: int) -> list[socket.socket]:
    """Return connections that wait for being accepted, each with its request sent."""
    wires = []
    for _ in range(count):
        wire = socket.create_connection(("127.0.0.1", port), timeout=LONGEST_S)
        wire.sendall(REQUEST)
        wires.append(wire)
    return wires


def is_answered(wire: socket.socket) -> bool:
    """Tell whether the request of a connection is answered, and close it."""
    with wire:
        try:
            return answer(wire)[0] == 200
        except BrokenOffError:
            return False
