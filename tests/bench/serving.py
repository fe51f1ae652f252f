"""Measure ways to run the server against one another: quick calls beside streams and slow clients.

Each way is a server of one worker with the deployed settings and other options of gunicorn. All of
them run at once, one of them under load at a time, in turns; each figure is the median of the runs,
and the ratios are to the first way.

    python tests/bench/serving.py [--runs 5] [--seconds 1.0] [way ...]
"""

import argparse
import contextlib
import json
import selectors
import socket
import statistics
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.calls import (
    BODIES,
    SERVICE,
    BenchError,
    http_request,
    load,
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
# Ways that keep no connection, so that no crowd of callers can ask again on theirs.
CLOSING = ("no keep-alive", "sync")
SLOW = 200
# Callers at once; the deployed bound of calls that wait is 16.
CROWDS = (16, 32, 64)
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
    port: int, requests: list[bytes], seconds: float, callers: int
) -> tuple[list[float], int]:
    """Keep many callers busy who ask again at once, whatever they are told.

    Return how long each answer took that was one, as its caller saw it, and how many were refusals.
    """
    waits: list[float] = []
    refused = turn = 0
    with selectors.DefaultSelector() as selector, contextlib.ExitStack() as stack:
        for _ in range(callers):
            wire = stack.enter_context(socket.create_connection(("127.0.0.1", port)))
            began = time.perf_counter()
            wire.sendall(requests[turn % len(requests)])
            selector.register(wire, selectors.EVENT_READ, [began, b""])
            turn += 1
        end = time.perf_counter() + seconds
        while (now := time.perf_counter()) < end:
            for key, _ in selector.select(timeout=LONGEST_S):
                received = key.data[1] + key.fileobj.recv(262144)
                head, found, body = received.partition(b"\r\n\r\n")
                length = head.lower().partition(b"content-length:")[2].partition(b"\r\n")[0]
                if not found or len(body) < int(length):
                    key.data[1] = received
                    continue
                now = time.perf_counter()
                if head.startswith(b"HTTP/1.1 200 "):
                    waits.append(now - key.data[0])
                else:
                    refused += 1
                key.data[:] = [time.perf_counter(), b""]
                key.fileobj.sendall(requests[turn % len(requests)])
                turn += 1
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


def measure(options: argparse.Namespace) -> None:
    """Measure and print the table."""
    requests = [
        http_request("size-conductor", body)
        for body in request_bodies(BODIES, "size-conductor", 50)
    ]
    closing = [request.replace(b"\r\n", b"\r\nConnection: close\r\n", 1) for request in requests]
    names = options.ways or list(WAYS)
    found: dict[str, dict[str, list[float]]] = {name: {} for name in names}

    def note(name: str, what: str, figure: float) -> None:
        found[name].setdefault(what, []).append(figure)

    with contextlib.ExitStack() as stack:
        ports = {}
        for name in names:
            settings = ["--workers=1", *WAYS[name]]
            ports[name] = stack.enter_context(server(SERVICE, settings, {}))
        for _ in range(options.runs):
            for callers in (1, 8):
                for name, port in ports.items():
                    rate = load(port, requests, options.seconds, callers).requests_per_second
                    note(name, f"calls/s of {callers}", rate)
            for name, port in ports.items():
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
                if name in CLOSING:
                    continue
                kept, _ = waits_in_a_crowd(port, requests, options.seconds, 1)
                for callers in CROWDS:
                    waits, refused = waits_in_a_crowd(port, requests, options.seconds, callers)
                    ratio = percentile(waits, 0.99) / percentile(kept, 0.99)
                    note(name, f"p99 x, {callers} callers", ratio)
                    note(name, f"refused of {callers} callers", refused / (refused + len(waits)))
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
    for name in names[1:]:
        ratio = medians[name]["calls/s of 1"] / first["calls/s of 1"]
        print(f"{name}: {ratio:.2f} times the calls a second of one caller")


def main() -> None:
    """Read the options and measure."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("ways", nargs="*", choices=[*WAYS, []])
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--seconds", type=float, default=1.0)
    try:
        measure(parser.parse_args())
    except BenchError as error:
        sys.exit(f"bench: {error}")


if __name__ == "__main__":
    main()
