"""Measure ways to run the server against one another: quick calls beside streams and slow clients.

Each way is a server of one worker with the deployed settings and other options of gunicorn. All of
them run at once, one of them under load at a time, in turns; each figure is the median of the runs,
and the ratios are to the first way.

    python tests/bench/serving.py [--runs 5] [--seconds 1.0] [way ...]

With ``--crowds`` only crowds of callers are measured, each of whom asks again at once whatever the
answer is, on the connection that they have and on a new one for each call: the 99th percentile as
they see it to that of one of them in the same run, calls answered to those of that one, and
refusals a second. What is answered in the first moments is let in as a burst, by intention, and is
not counted.

    taskset -c 1 python tests/bench/serving.py --crowds --server-on 0 [--runs 9] [--seconds 3] [way]
"""

import argparse
import contextlib
import json
import os
import selectors
import socket
import statistics
import sys
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.calls import (
    BODIES,
    SERVICE,
    BenchError,
    http_request,
    request_bodies,
    server,
)

from loomwright.web.schemas.batch import batch_examples

# Name of a way -> options of gunicorn beside the deployed ones.
WAYS = {
    "as deployed": [],
    "no keep-alive": ["--keep-alive=0"],
    "gthread, 1 thread": ["--worker-class=gthread", "--threads=1"],
    "gthread, 4 threads": ["--worker-class=gthread", "--threads=4"],
    "sync": ["--worker-class=sync"],
}
# Ways whose packages are in no lock; measured only where they are named.
UNLOCKED = {
    "gevent": ["--worker-class=gevent", "--worker-connections=1000"],
}
# Ways that keep no connection, so that no crowd of callers can ask again on theirs.
CLOSING = ("no keep-alive", "sync")
SLOW = 200
# Callers at once.
CROWDS = (16, 32, 64, 128)
# A call that takes longer has not been answered.
LONGEST_S = 3.0


def percentile(values: list[float], share: float) -> float:
    """Return a percentile; infinite where nothing was measured."""
    return sorted(values)[int(len(values) * share)] if values else float("inf")


def seconds_of_calls(port: int, requests: list[bytes], seconds: float) -> list[float]:
    """Return how long calls take, one after another, each on a connection of its own."""
    found = []
    end = time.perf_counter() + seconds
    while (began := time.perf_counter()) < end:
        with socket.socket() as wire:
            wire.settimeout(LONGEST_S)
            try:
                wire.connect(("127.0.0.1", port))
                wire.sendall(requests[len(found) % len(requests)])
                received = b""
                while not received.endswith(b"}"):
                    piece = wire.recv(65536)
                    if not piece:
                        break
                    received += piece
            except TimeoutError:
                found.append(float("inf"))
                continue
        found.append(time.perf_counter() - began)
    return found


def waits_in_a_crowd(
    port: int,
    requests: list[bytes],
    options: argparse.Namespace,
    callers: int,
    *,
    keep: bool = True,
) -> tuple[list[float], int]:
    """Keep many callers busy who ask again at once, whatever they are told.

    Return how long each answer took that was one, as its caller saw it, connecting included, and
    how many were refusals; both once the crowd has settled.
    """
    waits: list[float] = []
    refused = turn = 0
    with selectors.DefaultSelector() as selector:

        def ask(wire: socket.socket | None) -> None:
            nonlocal turn
            began = time.perf_counter()
            if wire is None:
                wire = socket.create_connection(("127.0.0.1", port))
                selector.register(wire, selectors.EVENT_READ)
            selector.modify(wire, selectors.EVENT_READ, [began, b""])
            wire.sendall(requests[turn % len(requests)])
            turn += 1

        for _ in range(callers):
            ask(None)
        settled = time.perf_counter() + options.settling
        end = settled + options.seconds
        # However slow calls are, there is one to tell of.
        while time.perf_counter() < end or not waits:
            ready = selector.select(timeout=10 * LONGEST_S)
            if not ready:
                raise BenchError("nothing was answered any more")
            for key, _ in ready:
                wire: socket.socket = key.fileobj  # type: ignore[assignment]
                piece = wire.recv(262144)
                if not piece:
                    raise BenchError("a connection was closed before its answer was whole")
                received = key.data[1] + piece
                head, found, body = received.partition(b"\r\n\r\n")
                length = head.lower().partition(b"content-length:")[2].partition(b"\r\n")[0]
                if not found or len(body) < int(length):
                    key.data[1] = received
                    continue
                now = time.perf_counter()
                if now > settled:
                    if head.startswith(b"HTTP/1.1 200 "):
                        waits.append(now - key.data[0])
                    else:
                        refused += 1
                if not keep:
                    selector.unregister(wire)
                    wire.close()
                ask(wire if keep else None)
        for key in list(selector.get_map().values()):
            key.fileobj.close()  # type: ignore[union-attr]
    return waits, refused


@contextlib.contextmanager
def slow_heads(port: int) -> Iterator[None]:
    """Hold connections that have sent the beginning of a head, and go on by a byte a second."""
    stop = threading.Event()
    with contextlib.ExitStack() as stack:
        wires = [stack.enter_context(socket.socket()) for _ in range(SLOW)]
        for wire in wires:
            wire.settimeout(LONGEST_S)
            wire.connect(("127.0.0.1", port))
            wire.sendall(b"GET /v1/health HTTP/1.1\r\nX: ")

        def drip() -> None:
            while not stop.wait(1.0):
                for wire in wires:
                    with contextlib.suppress(OSError):
                        wire.send(b"x")

        thread = threading.Thread(target=drip)
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()


@contextlib.contextmanager
def streams(port: int, count: int) -> Iterator[None]:
    """Take rows of large batches as fast as they come."""
    (package,), (vehicle, _) = batch_examples()["every_package_for_every_vehicle"].values()
    body = json.dumps(
        {
            "packages": [package | {"key": f"p{number}"} for number in range(1000)],
            "vehicles": [vehicle | {"key": f"v{number}"} for number in range(1000)],
        }
    ).encode()
    wires = []

    def take(wire: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while wire.recv(1 << 20):
                pass

    for _ in range(count):
        wire = socket.create_connection(("127.0.0.1", port))
        wire.sendall(http_request("price-packages", body, "application/x-ndjson"))
        wires.append(wire)
    threads = [threading.Thread(target=take, args=(wire,)) for wire in wires]
    for thread in threads:
        thread.start()
    time.sleep(0.3)
    try:
        yield
    finally:
        for wire, thread in zip(wires, threads, strict=True):
            with contextlib.suppress(OSError):
                wire.shutdown(socket.SHUT_RDWR)
            thread.join()
            wire.close()


def note_crowds(
    note: Callable[[str, float], None],
    port: int,
    requests: list[bytes],
    options: argparse.Namespace,
    *,
    keep: bool,
) -> None:
    """Note what crowds see, as ratios to one caller just before."""
    how = "" if keep else ", each call on a new connection"
    for callers in CROWDS:
        alone, _ = waits_in_a_crowd(port, requests, options, 1, keep=keep)
        waits, refused = waits_in_a_crowd(port, requests, options, callers, keep=keep)
        note(f"p99 ms of 1 caller{how}", percentile(alone, 0.99) * 1000)
        what = f"of {callers} callers{how}"
        note(f"p50 x {what}", percentile(waits, 0.5) / percentile(alone, 0.5))
        note(f"p99 x {what}", percentile(waits, 0.99) / percentile(alone, 0.99))
        note(f"answered x {what}", len(waits) / max(1, len(alone)))
        note(f"refused/s {what}", refused / options.seconds)


def measure(options: argparse.Namespace) -> None:
    """Measure and print the table."""
    requests = [
        http_request("size-conductor", body)
        for body in request_bodies(BODIES, "size-conductor", 50)
    ]
    closing = [request.replace(b"\r\n", b"\r\nConnection: close\r\n", 1) for request in requests]
    names = options.ways or (["as deployed"] if options.crowds else list(WAYS))
    found: dict[str, dict[str, list[float]]] = {name: {} for name in names}

    def note(name: str, what: str, figure: float) -> None:
        found[name].setdefault(what, []).append(figure)

    with contextlib.ExitStack() as stack:
        ports = {}
        for name in names:
            settings = ["--workers=1", *(WAYS | UNLOCKED)[name]]
            before = os.sched_getaffinity(0)
            if options.server_on is not None:
                os.sched_setaffinity(0, {options.server_on})
            ports[name] = stack.enter_context(server(SERVICE, settings, {}))
            os.sched_setaffinity(0, before)
        for _ in range(options.runs):
            for callers in () if options.crowds else (1, 8):
                for name, port in ports.items():
                    waits, _ = waits_in_a_crowd(port, requests, options, callers)
                    note(name, f"calls/s of {callers}", len(waits) / options.seconds)
            for name, port in ports.items():
                if name not in CLOSING:
                    note_crowds(partial(note, name), port, requests, options, keep=True)
                if options.crowds:
                    note_crowds(partial(note, name), port, closing, options, keep=False)
                    continue
                alone = seconds_of_calls(port, closing, options.seconds)
                note(name, "p50 ms", percentile(alone, 0.5) * 1000)
                note(name, "p99 ms", percentile(alone, 0.99) * 1000)
                for count in (1, 2):
                    with streams(port, count):
                        beside = seconds_of_calls(port, closing, options.seconds)
                    for share in (0.5, 0.99):
                        ratio = percentile(beside, share) / percentile(alone, share)
                        note(name, f"p{share * 100:.0f} x, {count} streams", ratio)
                with slow_heads(port):
                    beside = seconds_of_calls(port, closing, options.seconds)
                note(name, f"p50 x, {SLOW} slow", percentile(beside, 0.5) / percentile(alone, 0.5))
    medians = {
        name: {what: statistics.median(figures) for what, figures in noted.items()}
        for name, noted in found.items()
    }
    first = medians[names[0]]
    print("| " + " | ".join(["", *names]) + " |")
    print("|---" * (len(names) + 1) + "|")
    for what in first:
        cells = [f"{medians[name][what]:.2f}" if what in medians[name] else "" for name in names]
        print("| " + " | ".join([what, *cells]) + " |")
    for name in () if options.crowds else names[1:]:
        ratio = medians[name]["calls/s of 1"] / first["calls/s of 1"]
        print(f"{name}: {ratio:.2f} times the calls a second of one caller")


def main() -> None:
    """Read the options and measure."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("ways", nargs="*", choices=[*WAYS, *UNLOCKED, []])
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--seconds", type=float, default=1.0)
    parser.add_argument(
        "--settling", type=float, default=0.3, help="time until it shows that a crowd is no burst"
    )
    parser.add_argument("--crowds", action="store_true", help="measure crowds of callers only")
    parser.add_argument("--server-on", type=int, metavar="CORE", help="core of the servers")
    try:
        measure(parser.parse_args())
    except BenchError as error:
        sys.exit(f"bench: {error}")


if __name__ == "__main__":
    main()
