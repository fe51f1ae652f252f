"""Each request and its answer, as those see it who watch: by operation, never by its contents.

The middleware runs in every request where anything watches, so that its cost is kept small: some
2 us beside that of those who watch.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from time import perf_counter
from typing import Any, Protocol

from flask import has_request_context
from flask.globals import request_ctx

from loomwright.web.described_http import KNOWN_METHODS

# What the application leaves in the environment of a request.
RESPONSE = "loomwright.response"
VERDICT = "loomwright.verdict"
PROBLEM = "loomwright.problem"
STREAM = "loomwright.stream"
# In place of an operation: the OpenAPI document, pages with their files, and any other path.
OPENAPI, PAGES, UNKNOWN = "openapi", "pages", "unknown"
OTHER_METHOD = "other"

Environ = dict[str, Any]
StartResponse = Callable[..., Any]
Application = Callable[[Environ, StartResponse], Iterable[bytes]]


class Exchange:
    """One request, and its answer once it has ended.

    Parameters
    ----------
    environ
        The request's WSGI environment.
    operation
        Name of the operation, or what stands in its place.
    """

    # Of the class until there is something to tell, which spares a request what it never sets.
    #: Time from the request's head to the answer, of a stream to its end [s].
    elapsed_s = 0.0
    #: Until an answer is made.
    status = 500
    #: None where the answer is no stream.
    streamed_bytes: int | None = None
    is_complete = True
    span: Any = None

    def __init__(self, environ: Environ, operation: str) -> None:
        self.environ = environ
        self.operation = operation
        self.begun_s = perf_counter()

    @property
    def method(self) -> str:
        """The method, or ``other`` for one that nobody has heard of."""
        method: str = self.environ["REQUEST_METHOD"]
        return method if method in KNOWN_METHODS else OTHER_METHOD


class Watcher(Protocol):
    """Who is told of exchanges; both calls come from the thread that serves the request."""

    def begin(self, exchange: Exchange) -> None:
        """Take note of a request."""

    def end(self, exchange: Exchange) -> None:
        """Take note of its answer: before it is sent, or once a stream has ended."""


class Watched:
    """An application whose exchanges are watched.

    Parameters
    ----------
    application
        WSGI application.
    operations
        Names by path; any other path is ``unknown``.
    watchers
        Told of each exchange, in this order.
    """

    def __init__(
        self,
        application: Application,
        operations: Mapping[str, str],
        watchers: Sequence[Watcher],
    ) -> None:
        self._application = application
        self._operations = operations
        self._begin = tuple(watcher.begin for watcher in watchers)
        self._ends = tuple(watcher.end for watcher in watchers)

    def __call__(self, environ: Environ, start_response: StartResponse) -> Iterable[bytes]:
        """Answer a request."""
        operation = self._operations.get(environ["PATH_INFO"], UNKNOWN)
        exchange = Exchange(environ, operation)
        for begin in self._begin:
            begin(exchange)
        try:
            answer = self._application(environ, start_response)
        except BaseException:
            exchange.is_complete = False
            self._end(exchange)
            raise
        response = environ.get(RESPONSE)
        if response is not None:
            exchange.status = response.status_code
        if STREAM in environ:
            return _WatchedStream(answer, exchange, self._end)
        self._end(exchange)
        return answer

    def _end(self, exchange: Exchange) -> None:
        exchange.elapsed_s = perf_counter() - exchange.begun_s
        for end in self._ends:
            end(exchange)


class _WatchedStream:
    """An answer that is sent while it is made; it has ended when the server closes it."""

    def __init__(
        self, answer: Iterable[bytes], exchange: Exchange, ended: Callable[[Exchange], None]
    ) -> None:
        self._answer = answer
        self._exchange = exchange
        self._ended = ended
        exchange.streamed_bytes = 0
        exchange.is_complete = False

    def __iter__(self) -> Iterator[bytes]:
        exchange = self._exchange
        count = 0
        for piece in self._answer:
            count += len(piece)
            exchange.streamed_bytes = count
            yield piece
        exchange.is_complete = True

    def close(self) -> None:
        """Let the answer go."""
        try:
            close = getattr(self._answer, "close", None)
            if close is not None:
                close()
        finally:
            ended, self._ended = self._ended, _nobody
            ended(self._exchange)


def _nobody(_: Exchange) -> None:
    """Be told of nothing: a stream ends once."""


def note_verdict(verdict: str) -> None:
    """Leave the verdict of the answer to the current request for those who watch."""
    request_ctx.request.environ[VERDICT] = verdict


def note_problem(code: str) -> None:
    """Leave the problem code of the answer to those who watch, where there is a request."""
    if has_request_context():
        request_ctx.request.environ[PROBLEM] = code
