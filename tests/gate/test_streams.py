"""Streams of the real server: the first rows come at once, and who hangs up ends the work."""

import contextlib
import http.client
import json
import os
import re
import socket
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

from loomwright.web.schemas.batch import batch_examples

ROOT = Path(__file__).parents[2]
CONFIG = ROOT / "deploy" / "gunicorn.conf.py"
TEXT = CONFIG.read_text("utf-8")
PATH = "/v1/price-packages"
LONGEST_S = 60.0
PACKAGES, VEHICLES = 400, 3


def batch(packages=PACKAGES, vehicles=VEHICLES):
    example = batch_examples()["every_package_for_every_vehicle"]
    (package,), (vehicle, _) = example["packages"], example["vehicles"]
    return json.dumps(
        {
            "packages": [package | {"key": f"p{number}"} for number in range(packages)],
            "vehicles": [vehicle | {"key": f"v{number}"} for number in range(vehicles)],
        }
    ).encode()


def wait_for(happened, what):
    deadline = time.monotonic() + LONGEST_S
    while not happened():
        assert time.monotonic() < deadline, what
        time.sleep(0.02)


class Service:
    """A served service and the folder of its notes."""

    def __init__(self, port, folder):
        self.port = port
        self.folder = folder

    def asked(self):
        """Return the packages that the engine was asked for so far."""
        note = self.folder / "asked"
        return [int(line) for line in note.read_text().splitlines()] if note.exists() else []

    def closed(self):
        note = self.folder / "closed"
        return len(note.read_text().splitlines()) if note.exists() else 0

    def connected(self):
        return socket.create_connection(("127.0.0.1", self.port), timeout=LONGEST_S)

    def health(self):
        """Ask something else, which is answered once a thread is free."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONGEST_S)
        with contextlib.closing(connection):
            connection.request("GET", "/v1/health")
            return connection.getresponse().status

    def wait(self):
        """Keep the engine from the second package on until ``go_on``."""
        (self.folder / "wait").touch()

    def go_on(self):
        (self.folder / "wait").unlink()


@contextlib.contextmanager
def served(folder, *arguments, config=CONFIG, complaint=""):
    """Yield the service; its log must say nothing but a complaint that is expected."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "gunicorn", "--config", str(config), *arguments]
    kept = {name: text for name, text in os.environ.items() if not name.startswith("LOOMWRIGHT_")}
    log = folder / "log"
    with log.open("w") as output:
        process = subprocess.Popen(
            [*command, "watched_service:watched()"],
            env={
                **kept,
                "LOOMWRIGHT_BIND": f"127.0.0.1:{port}",
                "LOOMWRIGHT_WORKERS": "1",
                "PYTHONPATH": f"{Path(__file__).parent}:{os.environ.get('PYTHONPATH', '')}",
            },
            cwd=folder,
            stdout=output,
            stderr=output,
        )
    service = Service(port, folder)

    def is_up():
        assert process.poll() is None, log.read_text("utf-8")
        with contextlib.suppress(OSError):
            return service.health() == 200
        return False

    try:
        wait_for(is_up, "no start")
        yield service
    finally:
        process.terminate()
        process.wait(timeout=30)
    said = log.read_text("utf-8")
    assert complaint in said
    assert complaint or "Traceback" not in said, said
    assert "TIMEOUT" not in said, said


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with served(tmp_path_factory.mktemp("watched")) as service:
        yield service


def sent(wire, body, accept="application/x-ndjson"):
    head = (
        f"POST {PATH} HTTP/1.1\r\nHost: x\r\nAccept: {accept}\r\nAccept-Encoding: gzip\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    wire.sendall(head.encode() + body)


def received_until(wire, enough):
    received = b""
    while enough not in received:
        piece = wire.recv(65536)
        assert piece, received
        received += piece
    return received


@pytest.mark.parametrize("abruptly", [True, False], ids=["reset", "closed"])
def test_who_hangs_up_ends_the_work(service, abruptly):
    before, closed = len(service.asked()), service.closed()
    service.wait()
    wire = service.connected()
    sent(wire, batch())
    # The rows of the first package come while the second is not worked on yet.
    assert b'"vehicle":"v2"' in received_until(wire, b'"vehicle":"v2"')
    if abruptly:
        wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    wire.close()
    service.go_on()
    wait_for(lambda: service.closed() > closed, "the answer goes on")
    asked = service.asked()[before:]
    # What is under way is done, and what is sent into the closed connection before the answer to
    # it comes back; of 400 packages nothing more.
    assert asked[:2] == [0, 1]
    assert len(asked) < PACKAGES // 4
    # One thread serves, and is free again: nothing goes on behind the scenes.
    assert service.health() == 200
    assert service.asked()[before:] == asked


def test_rows_come_before_the_rest_is_worked_on_and_are_not_compressed(service):
    before = len(service.asked())
    service.wait()
    connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=LONGEST_S)
    with contextlib.closing(connection):
        headers = {"Content-Type": "application/json", "Accept-Encoding": "gzip"}
        connection.request("POST", PATH, batch(packages=5), headers)
        response = connection.getresponse()
        assert response.status == 200
        assert response.headers["Content-Type"] == "application/x-ndjson"
        assert response.headers["Transfer-Encoding"] == "chunked"
        assert response.headers["Content-Encoding"] is None
        assert response.headers["Content-Length"] is None
        first = [json.loads(response.readline()) for _ in range(VEHICLES)]
        assert service.asked()[before:] in ([0], [0, 1])
        service.go_on()
        others = [json.loads(line) for line in response]
    rows, (last,) = [*first, *others[:-1]], others[-1:]
    assert [(row["package"], row["vehicle"]) for row in rows] == [
        (f"p{package}", f"v{vehicle}") for package in range(5) for vehicle in range(VEHICLES)
    ]
    assert last["summary"]["rows"] == 15
    assert service.asked()[before:] == [0, 1, 2, 3, 4]


def test_a_connection_serves_again_after_a_stream(service):
    connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=LONGEST_S)
    with contextlib.closing(connection):
        seen = []
        for _ in range(2):
            headers = {"Content-Type": "application/json"}
            connection.request("POST", PATH, batch(packages=2), headers)
            seen.append(connection.getresponse().read())
        assert seen[0] == seen[1]
        assert seen[0].count(b"\n") == 2 * VEHICLES + 1


def test_a_stream_may_last_longer_than_a_worker_may_be_silent(tmp_path):
    """The thread of the requests is another than the one that says that the worker lives."""
    # The server says that it lives once a second.
    timeout_s = 2
    with served(tmp_path, "--timeout", str(timeout_s)) as service:
        service.wait()
        with contextlib.closing(service.connected()) as wire:
            sent(wire, batch(packages=3))
            received = received_until(wire, b'"vehicle":"v2"')
            # The duration itself is what is tried: three times what the server would stand.
            time.sleep(3 * timeout_s)
            service.go_on()
            received += received_until(wire, b"\r\n0\r\n\r\n")
    assert received.count(b'"code":null') == 3 * VEHICLES
    assert b'"summary":{"rows":9,' in received


def test_who_takes_nothing_of_an_answer_does_not_hold_a_thread_for_good(tmp_path):
    text, count = re.subn("^STALLED_READER_S = [0-9]+$", "STALLED_READER_S = 1", TEXT, flags=re.M)
    assert count == 1
    config = tmp_path / "impatient.conf.py"
    config.write_text(text, "utf-8")
    # Told once, as any other failure of a connection is.
    with (
        served(tmp_path, config=config, complaint="Socket error processing request") as service,
        contextlib.closing(service.connected()) as wire,
    ):
        # Some 0.7 KB a row, more than the buffers of both ends hold.
        sent(wire, batch(packages=100, vehicles=150))
        wait_for(lambda: service.closed() == 1, "the answer is held up for good")
        assert len(service.asked()) < 100 * 3
        assert service.health() == 200
