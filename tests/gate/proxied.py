"""Instances of the service behind the real proxy: on the loopback, in a folder of their own."""

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from left_out import nginx_command

ROOT = Path(__file__).parents[2]
CONFIGURATION = ROOT / "deploy" / "nginx"
LONGEST_S = 60.0
# After an answer that leaves the connection open; one to a hidden request would follow at once.
SILENT_S = 0.5


def free_ports(count: int) -> list[int]:
    """Return ports that were free a moment ago, all different."""
    probes = [socket.socket() for _ in range(count)]
    try:
        for probe in probes:
            probe.bind(("127.0.0.1", 0))
        return [probe.getsockname()[1] for probe in probes]
    finally:
        for probe in probes:
            probe.close()


class Instance:
    """One service under its own server, which can be killed, reloaded and started again."""

    def __init__(self, port: int, log: Path, workers: int = 1) -> None:
        self.port = port
        self.log = log
        self._workers = workers
        self._server: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        kept = {name: text for name, text in os.environ.items() if "LOOMWRIGHT_" not in name}
        own = {
            "LOOMWRIGHT_BIND": f"127.0.0.1:{self.port}",
            "LOOMWRIGHT_WORKERS": str(self._workers),
            # What is refused under load is no loss; here only what is lost is counted.
            "LOOMWRIGHT_QUEUE": "1000",
            "LOOMWRIGHT_BURST": "1000",
        }
        with self.log.open("ab") as output:
            self._server = subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    "gunicorn",
                    "--config",
                    ROOT / "deploy" / "gunicorn.conf.py",
                ],
                env=kept | own,
                start_new_session=True,
                stdout=output,
                stderr=output,
            )

    @property
    def running(self) -> subprocess.Popen[bytes]:
        assert self._server is not None
        return self._server

    def wait_until_ready(self) -> None:
        deadline = time.monotonic() + LONGEST_S
        while health_status(self.port) != 200:
            assert self.running.poll() is None, self.log.read_text("utf-8")
            assert time.monotonic() < deadline, "no start"
            time.sleep(0.05)

    def workers(self) -> set[int]:
        """Return the process ids of the workers."""
        children = Path(f"/proc/{self.running.pid}/task/{self.running.pid}/children")
        return {int(each) for each in children.read_text().split()}

    def kill(self) -> None:
        """End all of its processes at once, as a machine that fails does."""
        os.killpg(self.running.pid, signal.SIGKILL)
        self.running.wait()

    def reload(self) -> None:
        """Exchange its workers for new ones, and wait until no old one is left."""
        before = self.workers()
        self.running.send_signal(signal.SIGHUP)
        deadline = time.monotonic() + LONGEST_S
        while not self.workers() or self.workers() & before:
            assert time.monotonic() < deadline, "the old workers stay"
            time.sleep(0.05)

    def stop(self) -> None:
        if self._server is None or self._server.poll() is not None:
            return
        self._server.terminate()
        try:
            self._server.wait(timeout=35)
        except subprocess.TimeoutExpired:
            self.kill()
            raise


def health_status(port: int) -> int:
    """Return the status of the health of whoever listens at a port, 0 if nobody does."""
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=LONGEST_S)) as connection:
        try:
            connection.request("GET", "/v1/health")
            return connection.getresponse().status
        except ConnectionError:
            return 0


def accepts(port: int) -> bool:
    """Tell whether anybody takes connections at a port."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def _replaced(text: str, changes: Mapping[str, str]) -> str:
    for found, put in changes.items():
        assert found in text, found
        text = text.replace(found, put)
    return text


def configure(folder: Path, port: int, upstream: list[int]) -> Path:
    """Copy the deployed configuration to a folder; only addresses and places are others."""
    changes: dict[str, dict[str, str]] = {
        "nginx.conf": {"/tmp/": f"{folder}/", "error_log stderr": f"error_log {folder}/error.log"},
        "loomwright.conf": {
            "listen 8080 ": f"listen 127.0.0.1:{port} ",
            "access_log /dev/stdout": f"access_log {folder}/access.log",
        },
        "upstream.conf": {
            f"service-{number}:8080": f"127.0.0.1:{each}"
            for number, each in enumerate(upstream, start=1)
        },
    }
    for file in CONFIGURATION.glob("*.conf"):
        text = _replaced(file.read_text("utf-8"), changes.get(file.name, {}))
        (folder / file.name).write_text(text, "utf-8")
    return folder / "nginx.conf"


def nginx(configuration: Path, *arguments: str) -> list[str]:
    """Return the command that runs the proxy."""
    command = nginx_command()
    assert command is not None, "nginx is not installed"
    # As root its workers would be another user, whom a test's folder is closed to.
    user = "user root; " if os.geteuid() == 0 else ""
    folder = configuration.parent
    places = ["-p", str(folder), "-c", str(configuration), "-e", str(folder / "error.log")]
    return [command, *places, "-g", f"{user}daemon off;", *arguments]


class Proxy:
    """The proxy, and what it notes."""

    def __init__(self, port: int, folder: Path) -> None:
        self.port = port
        self.folder = folder

    def accesses(self) -> list[str]:
        """Return the lines of its log of requests."""
        return (self.folder / "access.log").read_text("utf-8").splitlines()

    def connected(self) -> http.client.HTTPConnection:
        return http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONGEST_S)

    def exchange(self, request: bytes) -> bytes:
        """Send bytes, and return all that comes until the proxy closes or says no more for long."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=LONGEST_S) as wire:
            wire.sendall(request)
            received = b""
            with suppress(TimeoutError):
                while piece := wire.recv(65536):
                    received += piece
                    wire.settimeout(SILENT_S)
            return received


@contextmanager
def proxy_before(
    folder: Path, upstream: list[int], is_up: Callable[[int], object] = health_status
) -> Iterator[Proxy]:
    """Yield a proxy in front of two ports; afterwards none of its processes is left."""
    folder.mkdir()
    (port,) = free_ports(1)
    configuration = configure(folder, port, upstream)
    with (folder / "output").open("wb") as output:
        process = subprocess.Popen(
            nginx(configuration), stdout=output, stderr=output, start_new_session=True
        )
    try:
        deadline = time.monotonic() + LONGEST_S
        while not is_up(port):
            assert process.poll() is None, (folder / "output").read_text("utf-8")
            assert time.monotonic() < deadline
            time.sleep(0.05)
        yield Proxy(port, folder)
    finally:
        process.send_signal(signal.SIGQUIT)
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            raise
    complaints = (folder / "error.log").read_text("utf-8")
    assert complaints == "", complaints
