"""Spans: named by operation, within the caller's trace, without anything else that was sent."""

from collections.abc import Iterator
from typing import Any

import pytest
from flask.testing import FlaskClient
from opentelemetry.sdk.trace import ReadableSpan, TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.trace import SpanKind, StatusCode

from loomwright.web.examples import EXAMPLES
from loomwright.web.signals import telemetry
from set_up import create_with

CONDUCTOR = EXAMPLES["size-conductor"]["bass_unit_under_the_seat"]
SECRET = "S3cret"
# W3C Trace Context, 3.2: the example of the specification.
TRACE, PARENT = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
TRACEPARENT = f"00-{TRACE}-{PARENT}-01"


@pytest.fixture
def exporter() -> Iterator[InMemorySpanExporter]:
    """Where the spans of this process go."""
    kept = InMemorySpanExporter()
    provider = TracerProvider(shutdown_on_exit=False)
    provider.add_span_processor(SimpleSpanProcessor(kept))
    telemetry.use(provider)
    yield kept
    provider.shutdown()


@pytest.fixture
def client() -> FlaskClient:
    return create_with(telemetry="on").test_client()


def one(exporter: InMemorySpanExporter) -> ReadableSpan:
    (span,) = exporter.get_finished_spans()
    exporter.clear()
    return span


def test_a_span_tells_operation_and_outcome(
    client: FlaskClient, exporter: InMemorySpanExporter
) -> None:
    client.post("/v1/size-conductor", json=CONDUCTOR)
    span = one(exporter)
    assert (span.name, span.kind, span.parent) == ("size-conductor", SpanKind.SERVER, None)
    # OpenTelemetry semantic conventions, "HTTP spans", server.
    assert dict(span.attributes or {}) == {
        "http.request.method": "POST",
        "http.route": "/v1/size-conductor",
        "http.response.status_code": 200,
        "loomwright.verdict": "conductor_found",
    }
    assert span.status.status_code == StatusCode.UNSET
    assert span.end_time is not None
    assert span.start_time is not None
    assert span.end_time > span.start_time


def test_the_trace_of_the_caller_is_continued(
    client: FlaskClient, exporter: InMemorySpanExporter
) -> None:
    client.get("/v1/live", headers={"traceparent": TRACEPARENT, "tracestate": f"a={SECRET}"})
    span = one(exporter)
    context = span.get_span_context()
    assert context is not None
    assert f"{context.trace_id:032x}" == TRACE
    assert span.parent is not None
    assert f"{span.parent.span_id:016x}" == PARENT
    assert len(context.trace_state) == 0


# W3C Trace Context, 3.2.2: what is no traceparent is as if it were not there.
@pytest.mark.parametrize(
    "stated",
    [
        "",
        SECRET,
        f"ff-{TRACE}-{PARENT}-01",
        f"00-{'0' * 32}-{PARENT}-01",
        f"00-{TRACE}-{'0' * 16}-01",
        f"00-{TRACE}-{PARENT}-01-{SECRET}",
        f"00-{TRACE[:-1]}-{PARENT}-01",
    ],
)
def test_what_is_no_trace_begins_a_new_one(
    stated: str, client: FlaskClient, exporter: InMemorySpanExporter
) -> None:
    client.get("/v1/live", headers={"traceparent": stated})
    assert one(exporter).parent is None


def test_what_is_not_sampled_is_not_sent(
    client: FlaskClient, exporter: InMemorySpanExporter
) -> None:
    client.get("/v1/live", headers={"traceparent": TRACEPARENT[:-1] + "0"})
    assert exporter.get_finished_spans() == ()


@pytest.mark.parametrize(
    ("method", "path", "rest"),
    [
        ("GET", f"/v1/{SECRET}?{SECRET}={SECRET}", {}),
        ("GET", f"/v1/size-conductor?key={SECRET}", {}),
        ("POST", "/v1/size-conductor", {"json": {SECRET: SECRET}}),
        (SECRET, "/v1/live", {}),
        (
            "GET",
            "/v1/live",
            {
                "headers": {
                    "User-Agent": SECRET,
                    "X-Request-Id": SECRET,
                    "Authorization": f"Bearer {SECRET}",
                    "baggage": f"a={SECRET}",
                    "Host": SECRET,
                }
            },
        ),
    ],
)
def test_nothing_that_the_caller_sent_is_told(
    method: str,
    path: str,
    rest: dict[str, Any],
    client: FlaskClient,
    exporter: InMemorySpanExporter,
) -> None:
    client.open(path, method=method, **rest)
    span = one(exporter)
    assert SECRET.lower() not in span.to_json().lower()
    assert span.name in ("unknown", "size-conductor", "live")


def test_a_refusal_is_no_error_and_a_failure_is(exporter: InMemorySpanExporter) -> None:
    app = create_with(telemetry="on")

    @app.get("/fails")
    def fails() -> None:
        raise ValueError(SECRET)

    client = app.test_client()
    client.post("/v1/size-conductor", json={})
    refused = one(exporter)
    assert refused.status.status_code == StatusCode.UNSET
    assert dict(refused.attributes or {})["loomwright.problem"] == "invalid_request"
    client.get("/fails")
    failed = one(exporter)
    assert failed.status.status_code == StatusCode.ERROR
    assert dict(failed.attributes or {})["error.type"] == "500"
    assert SECRET not in failed.to_json()


def test_the_variables_of_the_specification_are_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OTEL_SERVICE_NAME", "till-service")
    monkeypatch.setenv("OTEL_RESOURCE_ATTRIBUTES", "deployment.environment.name=trial")
    monkeypatch.setenv("OTEL_TRACES_SAMPLER", "always_off")
    provider = telemetry.new_provider()
    told = provider.resource.attributes
    assert told["service.name"] == "till-service"
    assert told["deployment.environment.name"] == "trial"
    assert not provider.get_tracer("x").start_span("x").get_span_context().trace_flags.sampled
    provider.shutdown()
