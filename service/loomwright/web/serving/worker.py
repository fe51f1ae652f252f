"""A worker whose threads are handed whole requests only, so that slow clients hold none of them.

Gunicorn's threaded worker gives a connection to a thread as soon as its first byte is there; the
thread then waits for the rest of the head and of the body, and for the client to take the answer.
Here its main thread, which watches idle connections anyway, does all of that waiting for as many
connections as there are; what a request says is still read by gunicorn's parser, and answered by
gunicorn's way of handling a request.
"""

import io
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import timedelta
from http import HTTPStatus
from time import monotonic
from typing import Any

from gunicorn.http.errors import NoMoreData
from gunicorn.http.wsgi import Response, default_environ

from loomwright.web.operations import OPERATIONS
from loomwright.web.refusing import Refusing
from loomwright.web.serving.admission import RETRY_AFTER_S, SAID, Line, Paths, Weight, bounds_of
from loomwright.web.serving.arrival import head_can_be_judged
from loomwright.web.serving.clients import Patience, PatientWorker
from loomwright.web.serving.connection import Connection
from loomwright.web.serving.refusals import Refusals
from loomwright.web.serving.watch import Watch
from loomwright.web.settings import Settings

# [s] until a thread of a plan or of a batch lets this one go on; ten times as often as usual.
_SWITCH_S = 0.0005
# Sockets that are looked at before the next call is answered.
_IN_A_TURN = 8
# What chunks may take beside what is in them, and beside half as much.
_CHUNKED_BEYOND_BYTES = 65536


class Worker(PatientWorker):
    """The worker; settings and patience are given by a subclass, since gunicorn makes it."""

    settings = Settings()

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._lines: dict[Weight, Line[Connection]] = {
            weight: Line(bound) for weight, bound in bounds_of(self.settings).items()
        }
        # To hand a quick call to another thread and back takes a sixth of its time.
        is_alone = self.settings.threads == 1 and not self.settings.asks_others
        self._own = (Weight.STATE, Weight.QUICK) if is_alone else (Weight.STATE,)
        self._is_answering = False
        self.turned_away = dict.fromkeys(Weight, 0)
        self._refusals = Refusals()
        self._refusing = Refusing(self.settings)
        self._paths = Paths(OPERATIONS)
        line, field = self.cfg.limit_request_line, self.cfg.limit_request_field_size
        self._line = line
        self._head = line + self.cfg.limit_request_fields * (field + 2) + 4

    @classmethod
    def check_config(cls, cfg: Any, log: Any) -> None:
        """Refuse what this worker does not speak."""
        del log
        if cfg.is_ssl or cfg.protocol != "http" or "h2" in cfg.http_protocols:
            raise RuntimeError("this worker speaks plain HTTP/1; TLS and HTTP/2 are the proxy's")

    # Threads for each weight, but for what this one does by itself.

    def get_thread_pool(self) -> ThreadPoolExecutor:
        """Make the threads of all weights, and return those that gunicorn asks for."""
        self._pools = {
            weight: ThreadPoolExecutor(bound.threads, weight.value)
            for weight, bound in bounds_of(self.settings).items()
            if weight not in self._own
        }
        return self._pools[Weight.HEAVY]

    def handle_quit(self, sig: int, frame: Any) -> None:
        """End at once, or behind the call that this thread is answering."""
        if self._is_answering:
            # The end is an exception, which would break off the call and be taken for its failure.
            self.handle_exit(sig, frame)
            return
        self._end_threads()
        super().handle_quit(sig, frame)

    def run(self) -> None:
        """Serve until told to stop."""
        self.hold_connections(self.settings.connections)
        sys.setswitchinterval(_SWITCH_S)
        self.poller.close()
        self.poller: Watch = Watch()
        super().run()
        self._end_threads()

    def _end_threads(self) -> None:
        for pool in self._pools.values():
            pool.shutdown(wait=False)

    def wait_for_and_dispatch_events(self, timeout: float) -> None:
        """Look at some clients, then answer one call that this thread answers by itself."""
        some_wait = any(self._lines[weight] for weight in self._own)
        if not self.poller.wait(0.0, _IN_A_TURN) and not some_wait:
            for weight in self._own:
                self._lines[weight].note_idle()
            if self._resting:
                timeout = max(0.0, min(timeout, self._seconds_of_rest()))
            self.poller.wait(timeout, _IN_A_TURN)
        self._tell_rested(_IN_A_TURN)
        self.taken_at_once = 1
        for weight in self._own:
            connection = self._lines[weight].begin()
            if connection is not None:
                self.taken_at_once = _IN_A_TURN
                self._is_answering = True
                keeps = self.handle(connection)
                self._is_answering = False
                self._lines[weight].end()
                self._leave(connection, keeps=keeps)
                for other in self._lines[weight].stale():
                    self._turn_away(other)

    def _judge(self, connection: Connection) -> None:
        """Do what has to be done with what has arrived by now."""
        if connection.request is None:
            received, seen = connection.received, connection.looked_at
            if not head_can_be_judged(received, seen, self._line, self._head):
                connection.looked_at = len(received)
                self._refuse_hoarding(connection)
                return
            if not self._parsed(connection) or not self._is_welcome(connection):
                return
        if connection.body_is_there():
            self._stop_waiting(connection)
            if self._closed_request(connection):
                self._hand_on(connection)
            return
        greatest = self._paths.greatest_bytes(connection.request.path)
        if connection.is_chunked:
            greatest += greatest // 2 + _CHUNKED_BEYOND_BYTES
        if connection.stated_bytes() > greatest:
            # The service says so itself where it is stated; of chunks it would have to read them.
            self._stop_waiting(connection)
            if connection.is_chunked:
                self._refuse(connection, HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
            else:
                # Where the next request begins is not known without all of the body.
                connection.request.force_close()
                self._hand_on(connection)
            return
        seconds = connection.stated_bytes() / self.patience.least_rate
        connection.until = min(connection.latest + seconds, monotonic() + self.patience.arriving_s)
        self._refuse_hoarding(connection)

    def _parsed(self, connection: Connection) -> bool:
        """Read a head; whoever sent it is told at once where nothing can come of the request."""
        before = len(connection.received)
        try:
            connection.parse()
        except NoMoreData:
            # There is more than a head can have, or nothing in it.
            is_long = len(connection.received) > self._head
            status = (
                HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE if is_long else HTTPStatus.BAD_REQUEST
            )
            self._stop_waiting(connection)
            self._refuse(connection, status)
            return False
        except StopIteration:
            self._end(connection)
            return False
        except Exception as error:
            self._stop_waiting(connection)
            self.handle_error(None, connection.sock, connection.client, error)
            self._leave(connection, keeps=False)
            return False
        self._held += len(connection.received) - before
        connection.weight = self._weight(connection, connection.stated_bytes())
        return True

    def _weight(self, connection: Connection, body_bytes: int) -> Weight:
        request, accept = connection.request, ""
        for name, value in request.headers:
            if name == "ACCEPT":
                accept = value
        return self._paths.weight(request.method, request.path, request.query, accept, body_bytes)

    def _is_welcome(self, connection: Connection) -> bool:
        """Turn a request away before its body comes where it would be then; else ask for that."""
        request = connection.request
        expects, request._expected_100_continue = request._expected_100_continue, False
        if connection.body_is_there():
            return True
        if not self._lines[connection.weight].has_room():
            self._stop_waiting(connection)
            self._turn_away(connection)
            return False
        if expects and connection.stated_bytes() <= self._paths.greatest_bytes(request.path):
            try:
                connection.sock.sendall(b"HTTP/1.1 100 Continue\r\n\r\n")
            except OSError:
                self._end(connection)
                return False
        connection.latest = monotonic() + self.patience.arriving_s
        return True

    def _closed_request(self, connection: Connection) -> bool:
        try:
            body_bytes = connection.close_request()
        except Exception as error:
            request = connection.request
            self.handle_error(request, connection.sock, connection.client, error)
            self._leave(connection, keeps=False)
            return False
        if connection.is_chunked:
            connection.weight = self._weight(connection, body_bytes)
        return True

    def _refuse_hoarding(self, connection: Connection) -> None:
        """Turn away what has not arrived in full where all of that together is too much."""
        if self._held > self.patience.held_bytes:
            self._stop_waiting(connection)
            self.turned_away[connection.weight] += 1
            self._tell(connection)

    # Requests that are there.

    def _hand_on(self, connection: Connection) -> None:
        """Let a request wait to be answered, and turn away whichever is one too many."""
        for other in self._lines[connection.weight].enter(connection):
            self._turn_away(other)
        self._begin(connection.weight)

    def _begin(self, weight: Weight) -> None:
        """Give requests that wait to threads that are free."""
        if weight in self._own:
            return
        while (connection := self._lines[weight].begin()) is not None:
            self.enqueue_req(connection)
        for other in self._lines[weight].stale():
            self._turn_away(other)

    def enqueue_req(self, conn: Connection) -> None:
        """Give a request to a thread; ``finish_request`` is called once it is answered."""
        conn.sock.wait(conn.weight is Weight.BATCH)
        future = self._pools[conn.weight].submit(self.handle, conn)
        future.add_done_callback(
            lambda done: self.method_queue.defer(self.finish_request, conn, done)
        )

    def _turn_away(self, connection: Connection) -> None:
        weight = connection.weight
        self.turned_away[weight] += 1
        who = connection.address, weight
        until = self._refusals.tell_at(who, RETRY_AFTER_S[weight])
        # What it was about is not looked at any more.
        connection.request.body = io.BytesIO()
        if until > monotonic():
            if self._rest(connection, until):
                return
            # What it has sent behind would be turned away as soon, one request within the other.
            connection.request.force_close()
        self._tell(connection)

    def _tell(self, connection: Connection) -> None:
        request, weight = connection.request, connection.weight
        keeps = connection.is_whole and not request.should_close() and self.alive
        seconds = RETRY_AFTER_S[weight]
        message = self._refusing.overloaded(SAID[weight], seconds, request, keeps=keeps)
        self._answer_at_once(connection, message, keeps=keeps)

    def _refuse(self, connection: Connection, status: HTTPStatus) -> None:
        message = self._refusing.unread(status, status.phrase, connection.request)
        self._answer_at_once(connection, message, keeps=False)

    def _answer_at_once(self, connection: Connection, message: bytes, *, keeps: bool) -> None:
        request = connection.request
        if request is not None and self.cfg.accesslog:
            environ = default_environ(request, connection.sock, self.cfg)
            environ["REMOTE_ADDR"] = connection.address
            response = Response(request, connection.sock, self.cfg)
            response.status = message.partition(b"\r\n")[0].partition(b" ")[2].decode("ascii")
            response.sent = len(message)
            self.log.access(response, request, environ, timedelta())
        try:
            connection.sock.sendall(message)
        except OSError:
            self._close(connection)
            return
        self._leave(connection, keeps=keeps)

    # Answers that leave.

    def finish_request(self, conn: Connection, fs: "Future[bool]") -> None:
        """Send the rest of an answer, and wait for the next request."""
        conn.sock.wait(False)
        self._lines[conn.weight].end()
        self._begin(conn.weight)
        self._leave(conn, keeps=not fs.cancelled() and fs.exception() is None and fs.result())


def worker_with(settings: Settings, patience: Patience) -> type[Worker]:
    """Return the worker class for these settings, which gunicorn makes its workers of.

    Parameters
    ----------
    settings
        The operator's.
    patience
        With clients.

    Returns
    -------
    type of Worker
        Of the same name.
    """
    return type("Worker", (Worker,), {"settings": settings, "patience": patience})
