"""One instance under load as it ends, is reloaded, or loses a worker: what becomes of requests."""

import os
import re
import signal
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from counted_load import (
    ANSWERED,
    BUSY,
    CLOSED_IDLE,
    LAST,
    LONGEST_S,
    LOST,
    REFUSED,
    clients,
    is_answered,
    queued,
    totals,
)
from proxied import Instance, accepts, free_ports
from test_streams import batch

KEEPING, CHANGING = 4, 8
# [s] of load before and after what is done to the instance.
LOAD_S = 0.7
Record = Callable[[str, object], None]


@pytest.fixture
def instance(tmp_path: Path) -> Iterator[Instance]:
    found = Instance(*free_ports(1), tmp_path / "log", workers=2)
    found.start()
    try:
        found.wait_until_ready()
        yield found
    finally:
        found.stop()


def wait_until(happened: Callable[[], bool], what: str) -> float:
    """Return how long [s] it took."""
    began = time.monotonic()
    while not happened():
        assert time.monotonic() - began < LONGEST_S, what
        time.sleep(0.001)
    return time.monotonic() - began


def told(counts: dict[str, int]) -> str:
    return ", ".join(f"{count} {kind}" for kind, count in sorted(counts.items()))


def test_who_waits_to_be_accepted_as_an_instance_ends_is_answered(instance: Instance) -> None:
    workers = instance.workers()
    for worker in workers:
        os.kill(worker, signal.SIGSTOP)
    wires = queued(instance.port, 20)
    instance.running.terminate()
    # Nobody new is let in from now on, while nobody is refused yet either.
    wait_until(lambda: not accepts_within(instance.port, 0.1), "the port stays open")
    for worker in workers:
        os.kill(worker, signal.SIGCONT)
    assert [is_answered(wire) for wire in wires] == [True] * 20
    assert instance.running.wait(timeout=LONGEST_S) == 0
    assert not accepts(instance.port)


def accepts_within(port: int, seconds: float) -> bool:
    with socket.socket() as probe:
        probe.settimeout(seconds)
        try:
            probe.connect(("127.0.0.1", port))
        except (TimeoutError, ConnectionRefusedError):
            return False
        return True


def test_no_request_is_lost_as_an_instance_ends(
    instance: Instance, record_property: Record
) -> None:
    with clients(instance.port, KEEPING, CHANGING) as found:
        time.sleep(LOAD_S)
        instance.running.terminate()
        took = wait_until(lambda: instance.running.poll() is not None, "it does not end")
        wait_until(lambda: all(each.counts[REFUSED] for each in found), "somebody still listens")
    counts = totals(found)
    record_property("summary", f"SIGTERM under load: {told(counts)}; ended in {took:.1f} s.")
    assert [fault for each in found for fault in each.faults] == []
    assert counts[LOST] == counts[CLOSED_IDLE] == 0
    assert counts[ANSWERED] > 100
    # Whoever keeps a connection is told that it ends (RFC 9112, 9.6).
    assert all(each.counts[LAST] >= 1 for each in found if each.keeps)
    assert set(counts) <= {ANSWERED, BUSY, LAST, REFUSED}
    assert instance.running.returncode == 0
    assert instance.log.read_text("utf-8") == ""


def test_no_request_is_lost_as_an_instance_is_reloaded(
    instance: Instance, record_property: Record
) -> None:
    with clients(instance.port, KEEPING, CHANGING) as found:
        for _ in range(2):
            time.sleep(LOAD_S)
            instance.reload()
        time.sleep(LOAD_S)
    counts = totals(found)
    record_property("summary", f"Two SIGHUP under load: {told(counts)}.")
    assert [fault for each in found for fault in each.faults] == []
    assert set(counts) <= {ANSWERED, BUSY, LAST}
    assert counts[ANSWERED] > 100


def test_a_worker_that_is_killed_loses_its_own_requests_only_and_is_replaced(
    instance: Instance, record_property: Record
) -> None:
    wait_until(lambda: len(instance.workers()) == 2, "no second worker")
    before = instance.workers()
    with clients(instance.port, KEEPING, CHANGING) as found:
        time.sleep(LOAD_S)
        answered = [each.counts[ANSWERED] for each in found]
        killed = min(before)
        os.kill(killed, signal.SIGKILL)
        took = wait_until(
            lambda: len(instance.workers()) == 2 and killed not in instance.workers(),
            "the worker is not replaced",
        )
        wait_until(
            lambda: all(
                each.counts[ANSWERED] > count for each, count in zip(found, answered, strict=True)
            ),
            "somebody is not answered any more",
        )
    counts = totals(found)
    record_property(
        "summary", f"SIGKILL of a worker under load: {told(counts)}; replaced in {took:.2f} s."
    )
    # Each client has one connection at a time, so none loses more than one request.
    assert all(each.counts[LOST] + each.counts[CLOSED_IDLE] <= 1 for each in found)
    assert counts[REFUSED] == 0
    assert instance.workers() & before == before - {killed}


def test_rows_that_are_under_way_come_to_their_end(instance: Instance) -> None:
    # More than the buffers of both ends hold, so that most of it is worked out after the signal.
    body = batch(packages=100, vehicles=100)
    with socket.create_connection(("127.0.0.1", instance.port), timeout=LONGEST_S) as wire:
        wire.sendall(
            b"POST /v1/price-packages HTTP/1.1\r\nHost: x\r\nAccept: application/x-ndjson\r\n"
            b"Content-Type: application/json\r\nContent-Length: %d\r\n\r\n" % len(body) + body
        )
        received = bytearray(wire.recv(65536))
        instance.running.terminate()
        wait_until(lambda: not accepts_within(instance.port, 0.1), "the port stays open")
        while piece := wire.recv(1 << 20):
            received += piece
    assert received.endswith(b"\r\n0\r\n\r\n")
    assert re.search(rb'"summary":\{"rows":10000,', received)
    assert instance.running.wait(timeout=LONGEST_S) == 0
