"""Serves the sums over all processes at ``/metrics``, in a thread of the first process."""

import socket
import threading
from collections.abc import Iterable
from pathlib import Path
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

from prometheus_client import CollectorRegistry, ProcessCollector, make_wsgi_app
from prometheus_client.multiprocess import MultiProcessCollector

PATH = "/metrics"
# A scraper that neither asks nor takes for so long is dropped.
_STALLED_S = 10
_PLAIN = [("Content-Type", "text/plain; charset=utf-8")]


class _Handler(WSGIRequestHandler):
    timeout = _STALLED_S

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
        MultiProcessCollector(registry, str(folder))  # type: ignore[no-untyped-call]
        # Of the first process alone: since when it runs, and its memory.
        ProcessCollector(registry=registry)
        application = _only_metrics(make_wsgi_app(registry))
        self._server: WSGIServer = make_server(
            str(place[0]), int(place[1]), application, server, _Handler
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


def _only_metrics(application: Any) -> Any:
    def answer(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        if environ["PATH_INFO"] != PATH:
            start_response("404 Not Found", _PLAIN)
            return [b"There is /metrics only.\n"]
        if environ["REQUEST_METHOD"] != "GET":
            start_response("405 Method Not Allowed", [*_PLAIN, ("Allow", "GET")])
            return [b"Use GET.\n"]
        answered: Iterable[bytes] = application(environ, start_response)
        return answered

    return answer
