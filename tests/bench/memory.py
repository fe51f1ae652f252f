"""Ask one worker for everything in turns and print what memory it takes.

Quick calculations come twenty times as often as plans, bills, drawings and documents, and each time
with other figures. A batch, a check of a price book, a request by its address and two that are
refused come in each round, too.

    python tests/bench/memory.py [--requests 1000000] [--every 50000] [--seconds 900] [--quick]

Memos of the service fill until each has met all ``--variants`` of figures, or is full.
The growth is that from the end of the warm-up, the first fifth, to the end; the slope is the least
squares line through that part. With ``--most-growth-mib`` a greater growth is exit status 1.
"""

import argparse
import contextlib
import http.client
import itertools
import os
import statistics
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import orjson
from calls import (
    BODIES,
    OPERATIONS,
    SERVICE,
    BenchError,
    Connection,
    accept_of,
    http_request,
    request_bodies,
    server,
)

from loomwright.web.schemas.batch import batch_examples
from loomwright.web.schemas.batch_bodies import ndjson_of
from loomwright.web.schemas.book_check import check_examples

QUICK = OPERATIONS[:7]
DOCUMENTS = ("plan-installation.pdf", "plan-installation.work-order.pdf")
QUICK_OF_A_ROUND = 20
WARM_UP = 0.2
ADDRESS = "/v1/size-conductor?series=awg&supply_voltage=12.6&length=4.5&as=text&load_current="


def children(process: int) -> list[int]:
    """Return the process ids of the children of a process."""
    text = Path(f"/proc/{process}/task/{process}/children").read_text("ascii")
    return [int(each) for each in text.split()]


def resident_mib(process: int) -> float:
    """Return the memory that a process has in use, files of its programs among it (proc(5))."""
    pages = int(Path(f"/proc/{process}/statm").read_text("ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


class Asker:
    """Asks for one thing after the other, each in its turn."""

    def __init__(self, port: int, *, quick: bool, variants: int) -> None:
        self._port = port
        self._connection = Connection(port)
        self._plain = http.client.HTTPConnection("127.0.0.1", port, timeout=180)
        names = [*QUICK] if quick else [*OPERATIONS, *DOCUMENTS]
        self._requests = {
            name: itertools.cycle(
                [
                    http_request(name, body, accept_of(BODIES, name))
                    for body in request_bodies(BODIES, name, variants)
                ]
            )
            for name in names
        }
        self._rest = [name for name in names if name not in QUICK]
        self._numbers = itertools.count(1)
        batch = ndjson_of(batch_examples()["every_package_for_every_vehicle"]).encode()
        check = next(iter(check_examples().values()))
        self._others = [] if quick else [("price-packages", batch), ("check-price-book", check)]

    def close(self) -> None:
        """End its connections."""
        self._connection.close()
        self._plain.close()

    def wait(self) -> None:
        """Return once something is answered."""
        self._ask_plainly("GET", "/v1/health", b"", "application/json", 200)

    def rounds(self) -> Iterator[int]:
        """Ask for ever; yield after each request how many there were."""
        count = itertools.count(1)
        while True:
            for name in [*(QUICK * QUICK_OF_A_ROUND), *self._rest]:
                self._ask(next(self._requests[name]))
                yield next(count)
            current = 1 + next(self._numbers) % 1000 / 50
            self._ask_plainly("GET", f"{ADDRESS}{current}", b"", "text/plain", 200)
            yield next(count)
            for path, status in (("size-fuse", 422), ("size-conductor", 400)):
                body = b'{"length":%d}' % next(self._numbers) if status == 422 else b'{"a":1,"a":2}'
                self._ask_plainly("POST", f"/v1/{path}", body, "application/json", status)
                yield next(count)
            for name, other in self._others:
                is_lines = isinstance(other, bytes)
                body = other if is_lines else orjson.dumps(other)
                kind = "application/x-ndjson" if is_lines else "application/json"
                self._ask_plainly("POST", f"/v1/{name}", body, kind, 200)
                yield next(count)

    def _ask(self, request: bytes) -> None:
        connection = self._connection
        connection.send(request)
        while not connection.receive():
            pass
        if connection.closing:
            connection.close()
            connection.open()

    def _ask_plainly(self, method: str, path: str, body: bytes, kind: str, status: int) -> None:
        headers = {"Content-Type": kind} if body else {"Accept": kind}
        try:
            self._plain.request(method, path, body or None, headers)
            response = self._plain.getresponse()
        except (ConnectionError, http.client.BadStatusLine):
            # Idle for longer than the server keeps it.
            self._plain.close()
            self._plain.request(method, path, body or None, headers)
            response = self._plain.getresponse()
        answer = response.read()
        if response.status != status:
            raise BenchError(f"{path}: {response.status} {answer[:500]!r}")


def measure(options: argparse.Namespace) -> int:
    """Ask and print; return the exit status."""
    began = time.monotonic()
    found: list[tuple[int, float]] = []
    with server(SERVICE, ["--workers", "1"], {}) as port:
        (master,) = children(os.getpid())
        asker = Asker(port, quick=options.quick, variants=options.variants)
        # The port is open before there is a worker.
        asker.wait()
        (worker,) = children(master)
        with contextlib.closing(asker):
            for count in asker.rounds():
                ended = count >= options.requests or time.monotonic() - began > options.seconds
                if count % options.every == 0 or ended:
                    found.append((count, resident_mib(worker)))
                    print(f"{count:9d} requests {found[-1][1]:8.1f} MiB", flush=True)
                if ended:
                    break
        if children(master) != [worker]:
            raise BenchError("the worker was replaced")
    return _judged(found, options.most_growth_mib)


def _judged(found: list[tuple[int, float]], most_growth_mib: float) -> int:
    last = found[-1][0]
    warm = [each for each in found if each[0] >= WARM_UP * last]
    if len(warm) < 3:
        raise BenchError("too few readings; ask for more requests, or read more often")
    growth = warm[-1][1] - warm[0][1]
    slope = statistics.linear_regression(*zip(*warm, strict=True)).slope
    print(
        f"from {warm[0][0]} to {last} requests: growth {growth:.1f} MiB, "
        f"slope {slope * 2**20:.1f} bytes a request"
    )
    return 1 if growth > most_growth_mib else 0


def main() -> int:
    """Run the measurement that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--requests", type=int, default=1_000_000)
    parser.add_argument("--every", type=int, default=50_000)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--variants", type=int, default=300)
    parser.add_argument("--quick", action="store_true", help="quick calculations only")
    parser.add_argument("--most-growth-mib", type=float, default=float("inf"))
    try:
        return measure(parser.parse_args())
    except BenchError as error:
        sys.stderr.write(f"{error}\n")
        return 2


if __name__ == "__main__":
    sys.exit(main())
