"""Measure each operation's throughput against a floor, over HTTP.

The floor is a bare Flask view that returns the same bytes under the same gunicorn settings. Both
run at once, one of them under load at a time, in turns; the figure is the median of the runs.
One worker by default, so that on two cores the client does not take the server's time.

    python tests/bench/calls.py [--runs 7] [--seconds 2] [--workers 1] [operation ...]
"""

import argparse
import contextlib
import json
import os
import selectors
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
BODIES = Path(__file__).resolve().parent / "bodies"
OPERATIONS = (
    "size-conductor",
    "size-fuse",
    "estimate-real-output",
    "match-load-impedance",
    "plan-signal-path",
    "assess-supply",
    "solve-network",
    "build-bill-of-materials",
    "build-work-order",
    "plan-installation",
    "draw-installation",
    "check-measurements",
    "draw-time-current",
    "draw-drop-against-length",
    "draw-output-against-claim",
    "draw-voltage-path",
)
# A call of the first takes less than so many times a call of the second.
COMPARED = (
    ("plan-installation", "size-conductor", 25.0),
    ("draw-installation", "size-conductor", 10.0),
    ("draw-time-current", "size-conductor", 10.0),
    ("draw-drop-against-length", "size-conductor", 10.0),
    ("draw-output-against-claim", "size-conductor", 10.0),
    ("draw-voltage-path", "size-conductor", 10.0),
    ("plan-installation.pdf", "size-conductor", 60.0),
    ("plan-installation.work-order.pdf", "size-conductor", 60.0),
    ("plan-installation.labels.pdf", "size-conductor", 60.0),
)
SERVICE = "loomwright.web.app:create_app()"
# What is measured is how much is answered, not how much is refused.
ROOM = {"LOOMWRIGHT_QUEUE": "1000", "LOOMWRIGHT_HEAVY_QUEUE": "1000"}


class BenchError(Exception):
    """A measurement that would mean nothing."""


@dataclass(frozen=True)
class Load:
    """What one run of the client saw."""

    requests_per_second: float
    client_share: float
    # From the moment that a request was sent to that at which its answer was complete [s].
    waits_s: list[float]


@dataclass
class Connection:
    """One keep-alive connection with at most one request under way."""

    port: int
    wire: socket.socket = field(init=False)
    received: bytearray = field(init=False)
    expected: int = field(init=False)
    sent_at: float = field(init=False, default=0.0)

    def __post_init__(self) -> None:
        """Connect."""
        self.open()

    def open(self) -> None:
        """Connect, anew where the server closed."""
        self.wire = socket.create_connection(("127.0.0.1", self.port), timeout=30.0)
        self.wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.received = bytearray()
        self.expected = -1

    def close(self) -> None:
        """Close."""
        self.wire.close()

    def send(self, request: bytes) -> None:
        """Send one request."""
        self.received.clear()
        self.expected = -1
        self.sent_at = time.perf_counter()
        self.wire.sendall(request)

    def receive(self) -> bool:
        """Take in what has arrived; true when the answer is complete."""
        piece = self.wire.recv(262144)
        if not piece:
            raise BenchError("the server closed a connection before its answer was complete")
        self.received += piece
        if self.expected < 0:
            head, found, _ = self.received.partition(b"\r\n\r\n")
            if not found:
                return False
            if not head.startswith(b"HTTP/1.1 200 "):
                raise BenchError(bytes(self.received[:2000]).decode("utf-8", "replace"))
            _, found, rest = head.lower().partition(b"content-length:")
            if not found:
                raise BenchError("an answer without Content-Length")
            self.expected = len(head) + 4 + int(rest.partition(b"\r\n")[0])
        return len(self.received) >= self.expected

    @property
    def body(self) -> bytes:
        """The answer's body."""
        return bytes(self.received.partition(b"\r\n\r\n")[2])

    @property
    def closing(self) -> bool:
        """Whether the server said that it closes after this answer."""
        head = self.received.partition(b"\r\n\r\n")[0].lower()
        return b"connection: close" in head


def http_request(name: str, body: bytes, accept: str = "application/json") -> bytes:
    """Return the bytes of one POST.

    What follows a point in the name is no part of the address; by the whole name the floor knows
    which answers are asked for.
    """
    operation = name.partition(".")[0]
    head = (
        f"POST /v1/{operation} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: {accept}\r\n"
        f"Measured: {name}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode() + body


def answers(port: int, requests: list[bytes]) -> list[bytes]:
    """Return the body that answers each request, asked one after another."""
    bodies = []
    for request in requests:
        connection = Connection(port)
        with contextlib.closing(connection.wire):
            connection.send(request)
            while not connection.receive():
                pass
            bodies.append(connection.body)
    return bodies


def load(port: int, requests: list[bytes], seconds: float, connections: int) -> Load:
    """Keep every connection busy with the requests in turn and count the answers."""
    turn = 0
    waits: list[float] = []
    with selectors.DefaultSelector() as selector, contextlib.ExitStack() as stack:
        for _ in range(connections):
            connection = Connection(port)
            stack.callback(connection.close)
            selector.register(connection.wire, selectors.EVENT_READ, connection)
            connection.send(requests[turn % len(requests)])
            turn += 1
        busy, begun = time.process_time(), time.perf_counter()
        now = begun
        # However slow a call is, a rate is that of at least one.
        while now - begun < seconds or not waits:
            ready = selector.select(timeout=30.0)
            if not ready:
                raise BenchError("the server has not answered for 30 s")
            for key, _ in ready:
                connection = key.data
                if not connection.receive():
                    continue
                waits.append(time.perf_counter() - connection.sent_at)
                if connection.closing:
                    selector.unregister(connection.wire)
                    connection.close()
                    connection.open()
                    selector.register(connection.wire, selectors.EVENT_READ, connection)
                connection.send(requests[turn % len(requests)])
                turn += 1
            now = time.perf_counter()
        busy = time.process_time() - busy
        return Load(len(waits) / (now - begun), busy / (now - begun), waits)


def free_port() -> int:
    """Return a port of the loopback that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextlib.contextmanager
def server(app: str, settings: list[str], environment: dict[str, str]) -> Iterator[int]:
    """Serve the app with the service's own gunicorn settings; yield the port."""
    port = free_port()
    command = [sys.executable, "-m", "gunicorn", "--config", str(ROOT / "deploy/gunicorn.conf.py")]
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(
            [*command, "--bind", f"127.0.0.1:{port}", *settings, app],
            cwd=ROOT,
            env={**os.environ, **environment},
            stdout=log,
            stderr=log,
        )
        try:
            _wait_for(port, process)
            yield port
        except BenchError:
            log.seek(0)
            sys.stderr.write(log.read().decode("utf-8", "replace"))
            raise
        finally:
            process.terminate()
            process.wait(timeout=60.0)


def _wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + 180.0
    while time.monotonic() < deadline:
        if process.poll() is not None:
            raise BenchError(f"gunicorn ended with status {process.returncode}")
        with contextlib.suppress(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port), timeout=5.0).close()
            return
        time.sleep(0.05)
    raise BenchError("gunicorn did not listen within 180 s")


def accept_of(folder: Path, name: str) -> str:
    """Return the media type that an operation is asked for; JSON where its file says nothing."""
    given = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    accept: str = given.get("accept", "application/json")
    return accept


def request_bodies(folder: Path, operation: str, variants: int) -> list[bytes]:
    """Return the distinct request bodies that an operation is measured with.

    Each body of the file comes in as many variants, in which the numbers under the names that the
    file says to vary are up to a fifth smaller: no memo of whole answers would be of help. A file
    may take the bodies of another (``bodies_of``) and put members of its own into each (``with``),
    to ask for them in another form (``accept``).
    """
    given = json.loads((folder / f"{operation}.json").read_text(encoding="utf-8"))
    if "bodies_of" in given:
        other = json.loads((folder / f"{given['bodies_of']}.json").read_text(encoding="utf-8"))
        bodies = [{**body, **given.get("with", {})} for body in other["bodies"]]
        given = {"vary": other["vary"], "bodies": bodies}
    factors = [1.0 - 0.2 * number / variants for number in range(variants)]
    bodies = [
        json.dumps(_scaled(body, frozenset(given["vary"]), factor)).encode()
        for factor in factors
        for body in given["bodies"]
    ]
    if len(set(bodies)) < len(bodies):
        raise BenchError(f"the bodies of {operation} are not distinct")
    return bodies


def _scaled(value: Any, names: frozenset[str], factor: float) -> Any:
    if isinstance(value, dict):
        return {
            name: round(inner * factor, 6)
            if name in names and isinstance(inner, (int, float))
            else _scaled(inner, names, factor)
            for name, inner in value.items()
        }
    if isinstance(value, list):
        return [_scaled(inner, names, factor) for inner in value]
    return value


def measure(options: argparse.Namespace) -> None:
    """Measure and print the table."""
    settings = ["--workers", str(options.workers), *options.gunicorn]
    requests = {
        operation: [
            http_request(operation, body, accept_of(options.bodies, operation))
            for body in request_bodies(options.bodies, operation, options.variants)
        ]
        for operation in options.operations
    }
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        service = stack.enter_context(server(options.app, settings, ROOM))
        captured = {name: answers(service, asked) for name, asked in requests.items()}
        kept = folder / "answers.json"
        kept.write_text(
            json.dumps(
                {
                    name: {
                        "accept": accept_of(options.bodies, name),
                        # Each byte as the character of its number: an answer need not be text.
                        "answers": [body.decode("latin-1") for body in got],
                    }
                    for name, got in captured.items()
                }
            ),
            encoding="utf-8",
        )
        environment = {**ROOM, "BENCH_ANSWERS": str(kept)}
        floor = stack.enter_context(
            server("tests.bench.floor:create_floor()", settings, environment)
        )
        bare = stack.enter_context(server("tests.bench.floor:bare_wsgi", settings, environment))
        for name, asked in requests.items():
            if sorted(answers(floor, asked)) != sorted(captured[name]):
                raise BenchError(f"the floor of {name} does not return the service's bytes")
        print(f"{'operation':<26}{'bytes':>8}{'service/s':>11}{'floor/s':>9}{'bare/s':>9}", end="")
        print(f"{'client':>8}{'ratio':>7}  spread of the ratio")
        for name, asked in requests.items():
            _measure_operation(name, asked, captured[name], (service, floor, bare), options)
        if options.percentiles:
            _print_percentiles(requests, (service, floor), options)
        for compared in COMPARED:
            if set(compared[:2]) <= requests.keys():
                _compare(compared, requests, service, options)


def _print_percentiles(
    requests: dict[str, list[bytes]], ports: tuple[int, int], options: argparse.Namespace
) -> None:
    """Print what a caller waits, alone and among others, and how often the floor's wait that is."""
    print(f"{'wait in ms':<34}{'p50':>9}{'p95':>9}{'p99':>9}  times the floor's p50, p95, p99")
    for name, asked in requests.items():
        for connections in (1, options.connections):
            seen: tuple[list[float], list[float]] = ([], [])
            for _ in range(options.runs):
                for port, waits in zip(ports, seen, strict=True):
                    waits.extend(load(port, asked, options.seconds, connections).waits_s)
            service, floor = (
                [1e3 * statistics.quantiles(waits, n=100)[percent - 1] for percent in (50, 95, 99)]
                for waits in seen
            )
            callers = "1 caller" if connections == 1 else f"{connections} callers"
            ratios = [f"{one / other:.1f}" for one, other in zip(service, floor, strict=True)]
            print(
                f"{name:<24}{callers:>10}" + "".join(f"{wait:>9.3f}" for wait in service),
                " ",
                ", ".join(ratios),
                flush=True,
            )


def _compare(
    compared: tuple[str, str, float],
    requests: dict[str, list[bytes]],
    port: int,
    options: argparse.Namespace,
) -> None:
    """Print how many calls of one operation a call of another takes, measured in turns.

    A call takes what one caller waits for it, with nothing else under way. Where callers crowd, the
    way there and back is hidden behind the work of others; that ratio is printed beside it.
    """
    costly, cheap, limit = compared
    ratios = {connections: list[float]() for connections in (1, options.connections)}
    for _ in range(options.runs):
        for connections, found in ratios.items():
            rates = [
                load(port, requests[name], options.seconds, connections).requests_per_second
                for name in (cheap, costly)
            ]
            found.append(rates[0] / rates[1])
    alone, crowded = (statistics.median(found) for found in ratios.values())
    print(
        f"  {costly} takes {alone:.1f} times {cheap}, {min(ratios[1]):.1f} to {max(ratios[1]):.1f};"
        f" {'less' if alone < limit else 'NOT LESS'} than {limit:g}"
        f" ({crowded:.1f} with {options.connections} callers)"
    )


def _measure_operation(
    name: str,
    requests: list[bytes],
    captured: list[bytes],
    ports: tuple[int, int, int],
    options: argparse.Namespace,
) -> None:
    runs: tuple[list[Load], list[Load], list[Load]] = ([], [], [])
    for port in ports:
        load(port, requests, options.seconds / 4, options.connections)  # warm-up, not counted
    for _ in range(options.runs):
        for port, seen in zip(ports, runs, strict=True):
            seen.append(load(port, requests, options.seconds, options.connections))
    service, floor, bare = (
        statistics.median(run.requests_per_second for run in seen) for seen in runs
    )
    ratios = [
        one.requests_per_second / other.requests_per_second
        for one, other in zip(runs[0], runs[1], strict=True)
    ]
    share = statistics.median(run.client_share for run in runs[1])
    size = statistics.mean(len(body) for body in captured)
    print(
        f"{name:<26}{size:>8.0f}{service:>11.0f}{floor:>9.0f}{bare:>9.0f}{share:>8.0%}"
        f"{service / floor:>8.4f}  {min(ratios):.4f} to {max(ratios):.4f}",
        flush=True,
    )
    if bare < 1.1 * floor:
        print("  the client may be the limit: without a framework it is hardly faster")


def main() -> None:
    """Read the options and measure."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("operations", nargs="*", default=OPERATIONS)
    parser.add_argument("--runs", type=int, default=7)
    parser.add_argument("--seconds", type=float, default=2.0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--connections", type=int, default=8)
    parser.add_argument("--app", default=SERVICE, help="the app that takes the service's place")
    parser.add_argument(
        "--percentiles", action="store_true", help="print what callers wait, beside the rates"
    )
    parser.add_argument("--variants", type=int, default=150, help="of each request body")
    parser.add_argument("--bodies", type=Path, default=BODIES, help="a folder of request bodies")
    parser.add_argument(
        "--gunicorn", action="append", default=[], metavar="SETTING", help="e.g. --threads=4"
    )
    try:
        measure(parser.parse_args())
    except BenchError as error:
        sys.exit(f"bench: {error}")


if __name__ == "__main__":
    main()
