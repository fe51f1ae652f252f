"""Serves the sums over all processes at ``/metrics``, in a thread of the first process."""

import socket
import threading
from collections.abc import Iterable
from pathlib import Path
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

from prometheus_client import CollectorRegistry, Metric, ProcessCollector, make_wsgi_app
from prometheus_client.multiprocess import MultiProcessCollector

PATH = "/metrics"
# A scraper that neither asks nor takes for so long is dropped.
_STALLED_S = 10
# [bytes] More than the head of an answer, which would go out line by line. Where the process ends
# in between, half a head without the length would make an empty answer of it.
_SENT_AT_ONCE = 1 << 16
_PLAIN = [("Content-Type", "text/plain; charset=utf-8")]


class _Counts:
    """Adds up what all processes have counted, also while some of them begin or go."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def collect(self) -> Iterable[Metric]:
        """Return the sums over all files that hold counts."""
        files = [str(file) for file in self._folder.glob("*.db") if _holds_counts(file)]
        merged: Iterable[Metric] = MultiProcessCollector.merge(files)  # type: ignore[no-untyped-call]
        return merged


def _holds_counts(file: Path) -> bool:
    # The library gives a file its length after it has made it, and cannot read one without; a
    # process that is killed in between leaves it so. That of a process that is gone is taken away.
    try:
        return file.stat().st_size > 0
    except FileNotFoundError:
        return False


class _Handler(WSGIRequestHandler):
    timeout = _STALLED_S
    wbufsize = _SENT_AT_ONCE

    def log_message(self, format: str, *args: Any) -> None:
        """Log nothing: each scrape would be a line."""


class _Server(ThreadingMixIn, WSGIServer):
    daemon_threads = True

    def server_bind(self) -> None:
        """Listen, without asking a name server for the name of this machine."""
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.socket.bind(self.server_address)
        host, port, *_ = self.socket.getsockname()
        self.server_name, self.server_port = str(host), int(port)
        self.setup_environ()


class MetricsListener:
    """Listens from when it is made, and answers once it is started.

    Parameters
    ----------
    address
        ``host:port`` or ``[address]:port``.
    folder
        In which all processes count.

    Raises
    ------
    OSError
        Nothing can be served there.
    """

    def __init__(self, address: str, folder: Path) -> None:
        host, _, port = address.rpartition(":")
        (family, _, _, _, place), *_ = socket.getaddrinfo(
            host.strip("[]"), int(port), type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
        server = type("_FamilyServer", (_Server,), {"address_family": family})
        registry = CollectorRegistry()
        registry.register(_Counts(folder))
        # Of the first process alone: since when it runs, and its memory.
        ProcessCollector(registry=registry)
        self._metrics: Any = make_wsgi_app(registry)
        # Held while files are read; no process that is forked meanwhile asks for it.
        self._reading = threading.Lock()
        self._is_over = False
        self._server: WSGIServer = make_server(
            str(place[0]), int(place[1]), self._answer, server, _Handler
        )

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self._server.server_port)

    def start(self) -> None:
        """Answer from now on, until the process ends."""
        serve = self._server.serve_forever
        threading.Thread(target=serve, name="metrics", daemon=True).start()

    def close_socket(self) -> None:
        """Listen no more in this process; others that share the socket go on."""
        self._server.socket.close()

    def stop(self) -> None:
        """Read no more counts: whoever asks from now on is told that the server ends.

        It waits for those who are being answered, so that the folder may go afterwards.
        """
        with self._reading:
            self._is_over = True

    def _answer(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        if environ["PATH_INFO"] != PATH:
            start_response("404 Not Found", _PLAIN)
            return [b"There is /metrics only.\n"]
        if environ["REQUEST_METHOD"] != "GET":
            start_response("405 Method Not Allowed", [*_PLAIN, ("Allow", "GET")])
            return [b"Use GET.\n"]
        with self._reading:
            if not self._is_over:
                answered: Iterable[bytes] = self._metrics(environ, start_response)
                return answered
        start_response("503 Service Unavailable", _PLAIN)
        return [b"The server ends.\n"]
