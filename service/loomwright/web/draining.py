"""Ending without losing who is connected already.

The kernel takes connections for a listening socket and keeps them until a worker accepts them. When
the last process closes the socket, those that are still kept are reset, although their clients have
been told that they are connected and may have sent their requests. The server closes its sockets
first and lets the workers go on with what they have accepted: each end under load lost some.

So the end begins with a socket that takes nobody new: it drops what opens a connection (SYN), which
the client's kernel sends again a second later and then finds the port closed. Once nobody is kept
any more, the server may end as it always does.
"""

import ctypes
import socket
import struct
import time
from collections.abc import Callable
from typing import Any

from gunicorn.workers.gthread import ThreadWorker

# [s] for connections that are just being opened: some round trips of a local network.
OPENING_S = 0.02
# [s] that workers get to accept who waits; with the 30 s for requests under way it stays within the
# 40 s that deployments grant.
LONGEST_WAIT_S = 5.0
_PAUSE_S = 0.002
# Of Linux, asm-generic/socket.h and linux/filter.h: load the byte of the flags of the TCP header
# (RFC 9293, 3.1), drop the packet if SYN is among them, else keep it whole.
_SO_ATTACH_FILTER = 26
_FLAGS_BYTE, _SYN = 13, 0x02
_KEEP_OPENING_OUT = (
    (0x30, 0, 0, _FLAGS_BYTE),
    (0x45, 0, 1, _SYN),
    (0x06, 0, 0, 0),
    (0x06, 0, 0, 0xFFFFFFFF),
)


def drain_before_the_end(server: Any) -> None:
    """Make a server end, and its threaded workers stop listening, without losing a connection.

    Parameters
    ----------
    server
        Gunicorn's arbiter, before it has workers. Its unix sockets are closed as before.
    """
    stop: Callable[[bool], None] = server.stop

    def stop_drained(graceful: bool = True) -> None:
        if graceful:
            _drain([each for each in server.LISTENERS if each.FAMILY != socket.AF_UNIX], server.log)
        stop(graceful)

    server.stop = stop_drained
    ThreadWorker.set_accept_enabled = _set_accept_enabled


def _drain(listeners: list[Any], log: Any) -> None:
    """Take nobody new, and wait until the workers have accepted who is connected."""
    try:
        for listener in listeners:
            _keep_opening_out(listener)
    except OSError as error:
        # Some sandboxes know no filters; fewer are lost even so.
        log.warning("New connections are taken to the end: %s", error.strerror)
    now = time.monotonic()
    opened, deadline = now + OPENING_S, now + LONGEST_WAIT_S
    while now < opened or any(each.get_backlog() > 0 for each in listeners):
        if now > deadline:
            log.warning("Connections are lost that no worker has accepted in time.")
            return
        time.sleep(_PAUSE_S)
        now = time.monotonic()


def _keep_opening_out(listener: Any) -> None:
    steps = b"".join(struct.pack("HBBI", *step) for step in _KEEP_OPENING_OUT)
    held = ctypes.create_string_buffer(steps)
    program = struct.pack("HL", len(_KEEP_OPENING_OUT), ctypes.addressof(held))
    listener.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, program)


_plainly_set = ThreadWorker.set_accept_enabled


def _set_accept_enabled(worker: Any, enabled: bool) -> None:
    """Take connections or not; a worker that ends closes its sockets at once.

    It would hold them open until the last of its requests is answered. Whoever connected meanwhile
    would be kept by the kernel and reset in the end.
    """
    _plainly_set(worker, enabled)
    if not enabled and not worker.alive:
        for listener in worker.sockets:
            listener.close()
