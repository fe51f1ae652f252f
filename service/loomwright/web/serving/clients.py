"""The clients of a worker: who is waited for, for how long, and how a connection ends."""

import errno
import math
import resource
import sys
from functools import partial
from http import HTTPStatus
from itertools import islice
from selectors import EVENT_READ, EVENT_WRITE
from socket import SHUT_WR
from time import monotonic
from typing import Any

from gunicorn.workers.gthread import ThreadWorker

from loomwright.engineering.record import record
from loomwright.web.serving.connection import Connection

# Beside connections, for files, logs, libraries and pools of connections to other services.
_OTHER_DESCRIPTORS = 256
_OUT_OF_DESCRIPTORS = frozenset({errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM})
_NOBODY = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.ECONNABORTED})
# Connections that are given up in one turn, so that others are looked at between.
_GIVEN_UP_AT_ONCE = 100
_LOOK_EVERY_S = 1.0


@record
class Patience:
    """How long clients are waited for.

    Parameters
    ----------
    arriving_s
        For a head as a whole, and between two pieces of a body [s].
    taking_s
        For a client that takes nothing of its answer [s].
    least_rate
        Below it a body or an answer that is sent has been waited for long enough [byte/s].
    closing_s
        For a client to close, too, after the last answer [s].
    held_bytes
        Of all requests of a process that have not arrived in full, together.
    """

    arriving_s: float = 10.0
    taking_s: float = 60.0
    least_rate: float = 4096.0
    closing_s: float = 2.0
    held_bytes: int = 256 * 1024 * 1024


class PatientWorker(ThreadWorker):  # type: ignore[misc]
    """Takes in what clients send and sends what they take, without waiting for any of them."""

    patience = Patience()

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        # Where there are more, one that waits is given up instead of letting the next one wait.
        self.worker_connections = sys.maxsize
        self._most = sys.maxsize
        self.taken_at_once = 1
        # Connections by what they wait for, in the order in which they began to.
        self._idle: dict[Connection, None] = {}
        self._arriving: dict[Connection, None] = {}
        self._leaving: dict[Connection, None] = {}
        # In the order in which they are to be told.
        self._resting: dict[Connection, None] = {}
        self._held = 0
        self._overdue: list[Connection] = []
        self._next_look = 0.0
        self._addresses: dict[int, Any] = {}

    def hold_connections(self, wanted: int) -> None:
        """Hold so many connections at most, or as many as the process can."""
        self._most = _most_connections(wanted)

    def _judge(self, connection: Connection) -> None:
        """Do what has to be done with what has arrived by now."""
        raise NotImplementedError

    def _refuse(self, connection: Connection, status: HTTPStatus) -> None:
        """Answer what does not become a request."""
        raise NotImplementedError

    def _tell(self, connection: Connection) -> None:
        """Answer a request that was turned away."""
        raise NotImplementedError

    # Connections that come.

    def accept(self, listener: Any) -> None:
        """Take a connection, or several where others have been kept waiting for a call.

        Where one is taken for each that is answered, the queue is in the kernel, where none can be
        turned away. Otherwise another process may have time for the next.
        """
        for _ in range(self.taken_at_once):
            if not self._accept_one(listener):
                return

    def _accept_one(self, listener: Any) -> bool:
        try:
            sock, client = listener.accept()
        except OSError as error:
            if error.errno in _OUT_OF_DESCRIPTORS:
                self._give_one_up()
            elif error.errno not in _NOBODY:
                raise
            return False
        number = listener.fileno()
        if number not in self._addresses:
            self._addresses[number] = listener.getsockname()
        server, stalled_s = self._addresses[number], self.patience.taking_s
        connection = Connection(self.cfg, sock, client, server, stalled_s)
        self.nr_conns += 1
        if self.nr_conns > self._most:
            self._give_one_up()
        self._wait_for_head(connection, self.patience.arriving_s)
        return True

    def _give_one_up(self) -> None:
        """Close the connection that has waited longest, one between requests before any other."""
        for waiting in (self._idle, self._arriving, self._leaving):
            for connection in waiting:
                self._end(connection)
                return

    # Requests that arrive.

    def _wait_for_head(self, connection: Connection, seconds: float) -> None:
        connection.until = monotonic() + seconds
        self._idle[connection] = None
        self.poller.register(connection.sock, EVENT_READ, partial(self._arrives, connection))

    def _arrives(self, connection: Connection, _wire: Any) -> None:
        """Take in what a client sends, and hand on what is whole."""
        was_idle = connection in self._idle
        # One that was given up in the same turn may have an event left.
        if not was_idle and connection not in self._arriving:
            return
        before = len(connection.received)
        try:
            goes_on = connection.take_in()
        except BlockingIOError:
            return
        except OSError:
            goes_on = False
        if not goes_on:
            self._end(connection)
            return
        if was_idle:
            del self._idle[connection]
            self._arriving[connection] = None
            connection.latest = monotonic() + self.patience.arriving_s
            connection.until = connection.latest
        self._held += len(connection.received) - before
        self._judge(connection)

    # Refusals that are held.

    def _rest(self, connection: Connection, until: float) -> bool:
        """Neither answer nor read for a while; return False where too many rest already."""
        # Those that can be given up for others are among the rest.
        if len(self._resting) >= self._most // 2 or self._held > self.patience.held_bytes:
            return False
        connection.until = until
        self._held += len(connection.received)
        self._resting[connection] = None
        return True

    def _seconds_of_rest(self) -> float:
        """Return how long nobody is to be told."""
        for connection in self._resting:
            return connection.until - monotonic() if self.alive else 0.0
        return math.inf

    def _tell_rested(self, most: int) -> None:
        """Answer some whose rest is over; all of them where the worker ends."""
        now = monotonic()
        for connection in list(islice(self._resting, most)):
            if self.alive and connection.until > now:
                return
            del self._resting[connection]
            self._held -= len(connection.received)
            self._tell(connection)

    # Answers that leave.

    def _leave(self, connection: Connection, *, keeps: bool) -> None:
        connection.keeps = keeps
        if connection.sock.unsent:
            now, rest = monotonic(), sum(map(len, connection.sock.unsent))
            connection.latest = now + self.patience.taking_s + rest / self.patience.least_rate
            connection.until = min(connection.latest, now + self.patience.taking_s)
            self._leaving[connection] = None
            self.poller.register(connection.sock, EVENT_WRITE, partial(self._leaves, connection))
        else:
            self._has_left(connection)

    def _leaves(self, connection: Connection, _wire: Any) -> None:
        if connection not in self._leaving:
            return
        try:
            is_all = connection.sock.flush()
        except OSError:
            self._end(connection)
            return
        if is_all:
            self._stop_waiting(connection)
            self._has_left(connection)
        else:
            connection.until = min(connection.latest, monotonic() + self.patience.taking_s)

    def _has_left(self, connection: Connection) -> None:
        if not connection.keeps:
            self._close_in_peace(connection)
            return
        connection.begin_anew()
        self._wait_for_head(connection, self.cfg.keepalive)
        if not self.alive:
            deadline = monotonic() + self.patience.closing_s
            connection.until = min(connection.until, deadline)
        if connection.received:
            # Requests that a client sends without waiting for answers are here already.
            self._held += len(connection.received)
            del self._idle[connection]
            self._arriving[connection] = None
            connection.latest = connection.until = monotonic() + self.patience.arriving_s
            self._judge(connection)

    # Connections that end.

    def _close_in_peace(self, connection: Connection) -> None:
        """Say that nothing follows, and wait for the client to close (RFC 9112, 9.6).

        What it sends meanwhile is thrown away. If the connection was closed with that unread, the
        client would see a failure in place of the answer.
        """
        try:
            connection.sock.sock.shutdown(SHUT_WR)
        except OSError:
            self._close(connection)
            return
        connection.received = bytearray()
        connection.until = monotonic() + self.patience.closing_s
        self._leaving[connection] = None
        self.poller.register(connection.sock, EVENT_READ, partial(self._drains, connection))

    def _drains(self, connection: Connection, _wire: Any) -> None:
        if connection not in self._leaving:
            return
        try:
            goes_on = connection.take_in()
        except BlockingIOError:
            return
        except OSError:
            goes_on = False
        connection.received = bytearray()
        if not goes_on:
            self._end(connection)

    def _end(self, connection: Connection) -> None:
        """Close a connection that is waited for."""
        self._stop_waiting(connection)
        self._close(connection)

    def _stop_waiting(self, connection: Connection) -> None:
        self.poller.unregister(connection.sock)
        if connection in self._arriving:
            self._held -= len(connection.received)
            del self._arriving[connection]
        else:
            self._idle.pop(connection, None)
            self._leaving.pop(connection, None)

    def _close(self, connection: Connection) -> None:
        self.nr_conns -= 1
        connection.sock.sock.close()

    # Clients that are waited for no longer; gunicorn calls these in each turn of its loop.

    def murder_pending(self) -> None:
        """Give up whoever has been waited for long enough."""
        now = monotonic()
        if now >= self._next_look:
            self._next_look = now + _LOOK_EVERY_S
            self._overdue = [
                connection
                for waiting in (self._idle, self._arriving, self._leaving)
                for connection in waiting
                if connection.until <= now
            ]
        for connection in self._overdue[-_GIVEN_UP_AT_ONCE:]:
            if connection.until <= now:
                self._give_up(connection)
        del self._overdue[-_GIVEN_UP_AT_ONCE:]

    def _give_up(self, connection: Connection) -> None:
        if connection in self._arriving:
            self._stop_waiting(connection)
            self._refuse(connection, HTTPStatus.REQUEST_TIMEOUT)
        elif connection in self._idle or connection in self._leaving:
            self._end(connection)

    def murder_keepalived(self, force: bool = False) -> None:
        """Close all connections where the worker ends."""
        if force:
            for waiting in (self._idle, self._arriving, self._leaving):
                for connection in list(waiting):
                    self._end(connection)
            while self._resting:
                self._close(self._resting.popitem()[0])

    def _cap_keepalive(self, deadline: float) -> None:
        """Wait no longer for requests where the worker is to end; those under way may arrive."""
        for connection in (*self._idle, *self._leaving):
            if not connection.sock.unsent:
                connection.until = min(connection.until, deadline)


def _most_connections(wanted: int) -> int:
    """Return how many connections a process can hold, for which it takes descriptors as it may."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    needed = wanted + _OTHER_DESCRIPTORS
    if soft == resource.RLIM_INFINITY or soft >= needed:
        return wanted
    soft = needed if hard == resource.RLIM_INFINITY else min(needed, hard)
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    return max(1, soft - _OTHER_DESCRIPTORS)
