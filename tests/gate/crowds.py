"""A server with the deployed settings, and crowds of clients that are slow, idle or gone."""

import contextlib
import json
import os
import resource
import select
import socket
import statistics
import subprocess
import sys
import threading
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
CONFIG = ROOT / "deploy" / "gunicorn.conf.py"
LONGEST_S = 60.0
BODY = json.dumps(
    {"series": "awg", "load_current": 20, "supply_voltage": 12.6, "route": [{"length": 4.5}]}
).encode()


def wait_for(happened, what):
    deadline = time.monotonic() + LONGEST_S
    while not happened():
        assert time.monotonic() < deadline, what
        time.sleep(0.02)


def post(body=BODY, path="/v1/size-conductor", fields=""):
    head = (
        f"POST {path} HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n{fields}"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    return head.encode() + body


def get(path, fields="", method="GET"):
    return f"{method} {path} HTTP/1.1\r\nHost: x\r\n{fields}\r\n".encode()


HEALTH = get("/v1/health")


class Answer:
    """One answer read from a connection; ``rest`` is what came behind it."""

    def __init__(self, received, wire):
        while b"\r\n\r\n" not in received:
            received += _more(wire)
        head, _, body = received.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        self.status = int(first.split()[1])
        self.fields = dict(line.lower().split(": ", 1) for line in lines)
        length = int(self.fields.get("content-length", 0))
        while len(body) < length:
            body += _more(wire)
        self.body, self.rest = body[:length], body[length:]

    def problem(self):
        assert self.fields["content-type"] == "application/problem+json"
        assert self.fields["cache-control"] == "no-store"
        problem = json.loads(self.body)
        assert problem["status"] == self.status
        return problem


def _more(wire):
    piece = wire.recv(262144)
    assert piece, "closed before the answer was whole"
    return piece


class Served:
    """A running server of one worker."""

    def __init__(self, port, process, log):
        self.port = port
        self.process = process
        self.log = log

    @property
    def worker(self):
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        (worker,) = children.read_text().split()
        return Path("/proc") / worker

    def sockets(self):
        """Return how many sockets the worker holds."""
        found = 0
        for each in (self.worker / "fd").iterdir():
            with contextlib.suppress(FileNotFoundError):
                found += os.readlink(each).startswith("socket:")
        return found

    def held(self):
        """Return how many descriptors and how many threads the worker has."""
        return len(list((self.worker / "fd").iterdir())), len(
            list((self.worker / "task").iterdir())
        )

    def connected(self, receive_bytes=0):
        wire = socket.socket()
        if receive_bytes:
            wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_bytes)
        wire.settimeout(LONGEST_S)
        try:
            wire.connect(("127.0.0.1", self.port))
        except OSError:
            wire.close()
            raise
        return wire

    def ask(self, request):
        """Return the answer to a request on a connection of its own."""
        with self.connected() as wire:
            wire.sendall(request)
            return Answer(b"", wire)

    def seconds_of_calls(self, count=40):
        """Return the median time of quick calls, each on a connection of its own, all answered."""
        seconds = []
        for _ in range(count):
            began = time.perf_counter()
            answer = self.ask(post())
            seconds.append(time.perf_counter() - began)
            assert answer.status == 200, answer.body
        return statistics.median(seconds)

    def seconds_of_kept_calls(self, count=100):
        """Return the median time of quick calls on one connection, all answered."""
        seconds = []
        with self.connected() as wire:
            for _ in range(count):
                began = time.perf_counter()
                wire.sendall(post())
                answer = Answer(b"", wire)
                seconds.append(time.perf_counter() - began)
                assert answer.status == 200, answer.body
        return statistics.median(seconds)


@contextlib.contextmanager
def serving(folder, *arguments, config=CONFIG, environment=None, app=(), **settings):
    """Yield a server; it ends by itself when told to, and its log has no failure in it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    kept = {name: text for name, text in os.environ.items() if not name.startswith("LOOMWRIGHT_")}
    kept["PYTHONPATH"] = f"{Path(__file__).parent}:{kept.get('PYTHONPATH', '')}"
    stated = {"bind": f"127.0.0.1:{port}", "workers": "1", **settings}
    stated = {f"LOOMWRIGHT_{name.upper()}": str(value) for name, value in stated.items()}
    log = folder / "log"
    with log.open("w") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "gunicorn", "--config", str(config), *arguments, *app],
            env={**kept, **stated, **(environment or {})},
            cwd=folder,
            stdout=output,
            stderr=output,
        )
    served = Served(port, process, log)

    def is_up():
        assert process.poll() is None, log.read_text("utf-8")
        with contextlib.suppress(OSError):
            return served.ask(HEALTH).status == 200
        return False

    try:
        wait_for(is_up, "no start")
        yield served
    finally:
        process.terminate()
        process.wait(timeout=LONGEST_S)
    said = log.read_text("utf-8")
    assert "Traceback" not in said, said
    assert "TIMEOUT" not in said, said


class Crowd:
    """Connections that each send a byte each second of what they have to send."""

    def __init__(self, served, count, first=b"", dripped=b"", receive_bytes=0):
        self.wires = []
        self._dripped = dripped
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._drip)
        for _ in range(count):
            wire = served.connected(receive_bytes)
            self.wires.append(wire)
            wire.sendall(first)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stop.set()
        self._thread.join()
        for wire in self.wires:
            wire.close()

    def _drip(self):
        for at in range(len(self._dripped)):
            if self._stop.wait(1.0):
                return
            for wire in self.wires:
                with contextlib.suppress(OSError):
                    wire.send(self._dripped[at : at + 1])

    def heard(self):
        """Return how many were answered or closed."""
        poll = select.poll()
        for wire in self.wires:
            poll.register(wire, select.POLLIN)
        return len(poll.poll(0))


def allow_descriptors(count):
    """Let this process, and those that it starts, have so many open files."""
    _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    most = hard if hard == resource.RLIM_INFINITY else max(hard, count)
    # More than the hard limit only a privileged user may have; else this says so and fails.
    resource.setrlimit(resource.RLIMIT_NOFILE, (count, most))
