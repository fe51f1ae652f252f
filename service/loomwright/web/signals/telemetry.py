"""Spans of requests for OpenTelemetry, where the extra ``telemetry`` is installed and turned on.

A span is named by its operation and continues the ``traceparent`` of its request (W3C Trace
Context). What the caller sent stands in no attribute, which is why the instrumentation that comes
with the library is not used: it tells path, query, address and program of the caller.
``tracestate`` and baggage are the caller's own text, and are left alone.

Where to send is said by the variables of the OpenTelemetry specification
(``OTEL_EXPORTER_OTLP_ENDPOINT``, ``OTEL_TRACES_SAMPLER``, ``OTEL_RESOURCE_ATTRIBUTES`` and so on).
The sender is a thread, so that each process makes its own when the first request comes in, after
it was forked.
"""

import os
import threading
from collections.abc import Mapping

from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.sdk.resources import SERVICE_NAME, SERVICE_VERSION, Resource
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor
from opentelemetry.trace import SpanKind, Status, StatusCode, Tracer
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

from loomwright import __version__
from loomwright.web.signals.exchange import PROBLEM, VERDICT, Exchange

_NAME = "loomwright"
_TRACES = TraceContextTextMapPropagator()


class _Process:
    """What this process sends spans by; another process after a fork has nothing yet."""

    lock = threading.Lock()
    pid = 0
    provider: TracerProvider | None = None
    tracer: Tracer | None = None


os.register_at_fork(after_in_child=lambda: setattr(_Process, "lock", threading.Lock()))


def new_provider() -> TracerProvider:
    """Return a provider that sends spans in the background, as the ``OTEL_`` variables say."""
    named = os.environ.get("OTEL_SERVICE_NAME") or _NAME
    resource = Resource.create({SERVICE_NAME: named, SERVICE_VERSION: __version__})
    provider = TracerProvider(resource=resource, shutdown_on_exit=False)
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    return provider


def use(provider: TracerProvider) -> None:
    """Send the spans of this process by a provider from now on.

    Parameters
    ----------
    provider
        Takes the place of the one before, which is not shut down.
    """
    _Process.pid = os.getpid()
    _Process.provider = provider
    _Process.tracer = provider.get_tracer(_NAME, __version__)


def _tracer() -> Tracer:
    tracer = _Process.tracer
    if tracer is not None and _Process.pid == os.getpid():
        return tracer
    with _Process.lock:
        if _Process.tracer is None or _Process.pid != os.getpid():
            use(new_provider())
        tracer = _Process.tracer
    assert tracer is not None
    return tracer


def shut_down() -> None:
    """Send what has not been sent yet, and stop; nothing where this process has sent nothing."""
    if _Process.provider is not None and _Process.pid == os.getpid():
        _Process.provider.shutdown()


class SpanWatcher:
    """Makes a span of each exchange.

    Parameters
    ----------
    routes
        Paths by name of the operation.
    """

    def __init__(self, routes: Mapping[str, str]) -> None:
        self._routes = dict(routes)

    def begin(self, exchange: Exchange) -> None:
        """Begin a span, within the caller's trace where there is one."""
        stated = exchange.environ.get("HTTP_TRACEPARENT")
        context = _TRACES.extract({"traceparent": stated}) if stated else None
        attributes = {"http.request.method": _method(exchange)}
        route = self._routes.get(exchange.operation)
        if route is not None:
            attributes["http.route"] = route
        exchange.span = _tracer().start_span(
            exchange.operation, context, kind=SpanKind.SERVER, attributes=attributes
        )

    def end(self, exchange: Exchange) -> None:
        """End the span with how it went."""
        span, environ = exchange.span, exchange.environ
        span.set_attribute("http.response.status_code", exchange.status)
        if VERDICT in environ:
            span.set_attribute("loomwright.verdict", environ[VERDICT])
        if PROBLEM in environ:
            span.set_attribute("loomwright.problem", environ[PROBLEM])
        # Semantic conventions for HTTP spans: of a server, 4xx is no error.
        if exchange.status >= 500 or not exchange.is_complete:
            span.set_attribute("error.type", str(exchange.status))
            span.set_status(Status(StatusCode.ERROR))
        span.end()


def _method(exchange: Exchange) -> str:
    # As the semantic conventions name a method that is not known.
    return exchange.method if exchange.method != "other" else "_OTHER"
