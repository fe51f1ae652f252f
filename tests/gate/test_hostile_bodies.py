"""Hostile bodies and the real server: all are answered, no worker dies, memory stays bounded."""

import contextlib
import gzip
import http.client
import itertools
import json
import socket
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hostile_bodies import (
    MIB,
    POSTED,
    Hostile,
    arrow_bodies,
    broken_bodies,
    compressed_bodies,
    large_bodies,
    lines,
    values_in_places,
)
from proxied import Instance, free_ports

LONGEST_S = 60.0
# Beside what a worker has when it is ready: a body of 16 MiB as bytes, as values and as rows; what
# 64 MiB in a small body would take does not fit in.
GREATEST_GROWTH_MIB = 300
Record = Callable[[str, object], None]


@pytest.fixture(scope="module")
def instance(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Instance]:
    found = Instance(*free_ports(1), tmp_path_factory.mktemp("hostile") / "log")
    found.start()
    try:
        found.wait_until_ready()
        yield found
    finally:
        found.stop()


def memory_mib(instance: Instance, name: str) -> float:
    """Return what the only worker takes of memory, ``VmRSS`` now or ``VmHWM`` at most (proc(5))."""
    (worker,) = instance.workers()
    lines_ = Path(f"/proc/{worker}/status").read_text("ascii").splitlines()
    (line,) = [each for each in lines_ if each.startswith(f"{name}:")]
    return int(line.split()[1]) / 1024


class Asker:
    """One client, which connects again where the server ends the connection."""

    def __init__(self, instance: Instance) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", instance.port, timeout=LONGEST_S)
        self.statuses: Counter[int] = Counter()
        self.faults: list[str] = []

    def ask(self, hostile: Hostile) -> None:
        """Send a body; note the answer, and what is wrong with it."""
        headers = {"Content-Type": hostile.media_type}
        if hostile.coding:
            headers["Content-Encoding"] = hostile.coding
        where = f"{hostile.operation}, {hostile.what}"
        try:
            self._connection.request("POST", POSTED[hostile.operation].url, hostile.body, headers)
            response = self._connection.getresponse()
            body = response.read()
        except (OSError, http.client.HTTPException) as error:
            self.faults.append(f"{where}: {error!r}")
            self._connection.close()
            return
        self.statuses[response.status] += 1
        if response.status == 200:
            return
        if not 400 <= response.status < 500:
            self.faults.append(f"{where}: {response.status}")
        elif response.headers["Content-Type"] != "application/problem+json":
            self.faults.append(f"{where}: {response.headers['Content-Type']}")
        elif json.loads(body)["status"] != response.status:
            self.faults.append(f"{where}: {body[:200]!r}")

    def close(self) -> None:
        """End the connection."""
        self._connection.close()


@pytest.mark.parametrize(
    ("bodies", "statuses"),
    [
        (lambda: itertools.chain(broken_bodies(), lines()), {200, 400, 422}),
        (lambda: itertools.chain(compressed_bodies(), large_bodies()), {400, 413, 422}),
        (lambda: arrow_bodies(400), {200, 400, 422}),
        (lambda: values_in_places(every=False), {200, 400, 422}),
    ],
    ids=["broken", "compressed", "arrow", "values"],
)
def test_every_body_is_answered_and_the_worker_lives_on(
    instance: Instance,
    bodies: Callable[[], Iterator[Hostile]],
    statuses: set[int],
    request: pytest.FixtureRequest,
    record_property: Record,
) -> None:
    workers, before = instance.workers(), memory_mib(instance, "VmRSS")
    with contextlib.closing(Asker(instance)) as asker:
        for hostile in bodies():
            asker.ask(hostile)
    peak = memory_mib(instance, "VmHWM")
    told = ", ".join(f"{count} of {status}" for status, count in sorted(asker.statuses.items()))
    record_property(
        "summary",
        f"Hostile bodies, {request.node.callspec.id}: {told}; {before:.0f} MiB before, "
        f"{peak:.0f} MiB at most.",
    )
    assert asker.faults == []
    assert set(asker.statuses) <= statuses
    assert asker.statuses[400] > 10
    assert instance.workers() == workers
    assert instance.log.read_text("utf-8") == ""
    assert peak - before < GREATEST_GROWTH_MIB


@pytest.mark.parametrize(
    ("path", "limit", "packed"),
    [
        ("/v1/size-fuse", MIB, False),
        ("/v1/price-packages", 16 * MIB, False),
        ("/v1/price-packages", 16 * MIB, True),
    ],
)
def test_chunks_of_no_stated_length_are_held_to_the_limit(
    instance: Instance, path: str, limit: int, packed: bool
) -> None:
    sent = gzip.compress(b" " * (limit + 1)) if packed else b" " * (limit + 1)
    coding = "Content-Encoding: gzip\r\n" if packed else ""
    head = (
        f"POST {path} HTTP/1.1\r\nHost: x\r\nConnection: close\r\n{coding}"
        "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"
    )
    workers = instance.workers()
    with socket.create_connection(("127.0.0.1", instance.port), timeout=LONGEST_S) as wire:
        wire.sendall(head.encode())
        # It may answer before it has all, and then takes no more.
        with contextlib.suppress(ConnectionError):
            for first in range(0, len(sent), MIB):
                piece = sent[first : first + MIB]
                wire.sendall(b"%x\r\n%s\r\n" % (len(piece), piece))
            wire.sendall(b"0\r\n\r\n")
        received = b""
        with contextlib.suppress(ConnectionResetError):
            while piece := wire.recv(65536):
                received += piece
    assert received.startswith(b"HTTP/1.1 413 "), received[:300]
    assert b'"code":"body_too_large"' in received
    assert instance.workers() == workers
