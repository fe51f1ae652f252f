"""Settings of the server process; read by gunicorn with ``--config``.

Requests per second of one worker, a bare Flask view of 6 kB answers to POST over keep-alive, on
two cores with the client on the other (``tests/bench/calls.py``, floor column, medians of 5 runs):

    sync, a connection per request      3925
    gthread, 1 thread                   4403
    gthread, 2 threads                  2975
    gthread, 4 threads                  2565
    gthread, 4 threads, no keep-alive   2166
    compiled parser for Python's        -4 to +7 %, within the spread of the runs

So: one thread per worker, as more contend for the interpreter lock while each request is pure
arithmetic; one worker per core; and no compiled parser.
"""

import functools
import gc
import os
import socket
import struct
from typing import Any

# One thread per worker does the arithmetic; more would only contend for the same cores.
for _library in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_library, "1")

# Below the lines above, which have to come before any library that reads them.
from gunicorn.http.wsgi import Response  # noqa: E402

from loomwright.web.draining import drain_before_the_end  # noqa: E402
from loomwright.web.server import (  # noqa: E402
    checked_settings,
    refuse_exposure,
    use_problem_documents,
)
from loomwright.web.signals import hooks  # noqa: E402
from loomwright.web.signals.logs import server_logger  # noqa: E402

wsgi_app = "loomwright.web.app:create_app()"
settings = checked_settings()
hooks.prepare(settings)
bind = settings.listens_on
workers = settings.worker_count
worker_class = "gthread"
threads = settings.threads
http_parser = "python"

# Loading before the fork makes a faulty table stop the start instead of each worker in turn.
preload_app = True

# Nothing is kept between requests, so there is nothing to manage while running.
control_socket_disable = True

# A key may stand in an address, so the logs, this one too where it is wanted, leave it out.
logger_class = server_logger(settings)
accesslog = None
errorlog = "-"
loglevel = settings.log_level

# [s] between two pieces of one request, then the connection is dropped.
STALLED_CLIENT_S = 10
# [s] that a client may take nothing of an answer, then the connection is dropped. A stream is
# worked out as it is taken, so whoever holds it up holds a thread. A worker that streams for long
# is not taken for dead: its main thread says that it lives, and requests run in others.
STALLED_READER_S = 60


class _Held:
    """Keeps what would be sent."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []

    def sendall(self, piece: bytes) -> None:
        self.pieces.append(piece)


# This file is read again at each reload.
_write = getattr(Response.write, "__wrapped__", Response.write)


@functools.wraps(_write)
def write_with_head(response: Any, piece: bytes) -> None:
    """Send the head of an answer together with the first piece of its body.

    The server sends the head by itself. A process that is killed between the two leaves a proxy
    with a head that it has passed on already, so that it can ask no other instance.
    """
    if response.headers_sent:
        _write(response, piece)
        return
    wire, response.sock = response.sock, _Held()
    try:
        _write(response, piece)
    finally:
        held, response.sock = response.sock, wire
        wire.sendall(b"".join(held.pieces))


Response.write = write_with_head


def on_starting(server: Any) -> None:
    """Look at where the server really listens; the command line may say otherwise than here."""
    refuse_exposure(settings, server.cfg.address)
    use_problem_documents()
    drain_before_the_end(server)
    hooks.on_starting(server, settings)


# What the processes count, and the spans that they send: loomwright/web/signals/hooks.py.
pre_fork, post_fork, child_exit, on_exit = (
    hooks.pre_fork,
    hooks.post_fork,
    hooks.child_exit,
    hooks.on_exit,
)


def worker_exit(server: Any, worker: Any) -> None:
    """Let a process that ends send and tell what it has yet to."""
    hooks.worker_exit(server, worker, settings)


def when_ready(server: Any) -> None:
    """Bound the wait for a client that stalls, and set aside what is loaded.

    A threaded worker reads and writes without a time limit, so that a silent client would hold its
    thread for good. Connections inherit the limits from the listening socket (Linux).
    """
    # Tables and modules stay: the collector need not walk them again and again in each worker.
    gc.collect()
    gc.freeze()
    # A plan makes and drops tens of thousands of objects and few cycles (tests/bench/calls.py).
    gc.set_threshold(50_000)
    limits = {socket.SO_RCVTIMEO: STALLED_CLIENT_S, socket.SO_SNDTIMEO: STALLED_READER_S}
    for listener in server.LISTENERS:
        for option, seconds in limits.items():
            listener.sock.setsockopt(socket.SOL_SOCKET, option, struct.pack("ll", seconds, 0))
