"""Metrics of one process: what is counted, under which labels, and that no caller can add one."""

import json
import re
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from prometheus_client import CollectorRegistry, Histogram, generate_latest

from loomwright.jobs.demo_library import demo_job, demo_price_book
from loomwright.web import file_state, probes
from loomwright.web.app import create_app
from loomwright.web.examples import EXAMPLES
from loomwright.web.operations import OPERATIONS
from loomwright.web.problem_codes import CODES
from loomwright.web.schemas.batch import batch_examples
from loomwright.web.serving.admission import Paths
from loomwright.web.signals.exchange import Exchange
from loomwright.web.signals.metrics import (
    BUCKETS_S,
    Durations,
    Metrics,
    MetricsWatcher,
    flush,
    memo_counts,
    metrics,
)
from scraped import Samples, samples_of, total
from set_up import create_with

CONDUCTOR = EXAMPLES["size-conductor"]["bass_unit_under_the_seat"]
# What a registry of one process adds to each metric: when it was made.
MADE = "_created"
Count = Callable[..., float]


def counted_now() -> Samples:
    flush()
    text = generate_latest(metrics().registry).decode()
    return {key: value for key, value in samples_of(text).items() if not key[0].endswith(MADE)}


@pytest.fixture
def client() -> FlaskClient:
    return create_with(metrics_bind="127.0.0.1:9464").test_client()


@pytest.fixture
def more(client: FlaskClient) -> Count:
    """How much more is counted than when the test began; the counts of a process are one."""
    del client
    before = counted_now()

    def difference(name: str, **labels: str) -> float:
        return total(counted_now(), name, **labels) - total(before, name, **labels)

    return difference


def test_requests_are_counted_by_operation_method_and_class_of_status(
    client: FlaskClient, more: Count
) -> None:
    for _ in range(3):
        client.post("/v1/size-conductor", json=CONDUCTOR)
    client.post("/v1/size-conductor", json={})
    client.get("/v1/size-conductor")
    client.open("/v1/size-conductor", method="PUT")
    client.get("/v1/live")
    client.get("/v1/openapi.json")
    client.get("/reference")
    client.get("/v1/size-nothing")
    name = "loomwright_requests_total"
    assert more(name, operation="size-conductor", method="POST", status="2xx") == 3
    assert more(name, operation="size-conductor", method="POST", status="4xx") == 1
    assert more(name, operation="size-conductor", method="GET", status="4xx") == 1
    assert more(name, operation="size-conductor", method="PUT", status="4xx") == 1
    for operation in ("live", "openapi", "pages", "unknown"):
        assert more(name, operation=operation) == 1
    assert more(name) == 10
    count = "loomwright_request_duration_seconds_count"
    assert more(count, operation="size-conductor") == 6
    assert more(count) == 10
    assert more("loomwright_request_duration_seconds_bucket", le="+Inf") == 10
    assert more("loomwright_request_duration_seconds_sum", operation="size-conductor") > 0


def test_verdicts_are_counted_by_operation(client: FlaskClient, more: Count) -> None:
    client.post("/v1/size-conductor", json=CONDUCTOR)
    client.post("/v1/size-conductor", json=CONDUCTOR | {"given_size": "20 AWG"})
    client.post("/v1/build-bill-of-materials", json={"job": demo_job("truck_24v")})
    name = "loomwright_verdicts_total"
    assert more(name, operation="size-conductor", verdict="conductor_found") == 1
    assert more(name, operation="size-conductor", verdict="given_size_fails") == 1
    assert more(name, operation="build-bill-of-materials", verdict="complete") == 1


def test_verdicts_of_rows_are_those_of_the_summary(client: FlaskClient, more: Count) -> None:
    body = batch_examples()["every_package_for_every_vehicle"]
    response = client.post("/v1/price-packages", json=body)
    summary = json.loads(response.text.splitlines()[-1])["summary"]
    response.close()
    name = "loomwright_verdicts_total"
    for verdict, count in summary["verdicts"].items():
        assert more(name, operation="price-packages", verdict=verdict) == count > 0
    assert more("loomwright_requests_total", operation="price-packages", status="2xx") == 1


def test_problems_are_counted_by_code(client: FlaskClient, more: Count) -> None:
    client.post("/v1/size-conductor", json={})
    client.post("/v1/size-conductor", data="{", content_type="application/json")
    client.get("/nothing")
    name = "loomwright_problems_total"
    assert more(name, operation="size-conductor", code="invalid_request") == 1
    assert more(name, operation="size-conductor", code="malformed_body") == 1
    assert more(name, operation="unknown", code="not_found") == 1
    assert more(name) == 3


def test_what_a_limit_refuses_is_counted() -> None:
    client = create_with(metrics_bind="127.0.0.1:9464", rate_limit="2/hour").test_client()
    before = counted_now()
    for _ in range(5):
        client.get("/v1/price-books")
        client.head("/v1/price-books")
    labels = {"operation": "price-books", "code": "too_many_requests"}
    name = "loomwright_problems_total"
    assert total(counted_now(), name, **labels) - total(before, name, **labels) == 3 + 3


def test_what_is_kept_between_requests_is_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: Count
) -> None:
    monkeypatch.setattr(file_state, "SETTLED_NS", 0)
    (tmp_path / "spring.json").write_text(json.dumps(demo_price_book()), "utf-8")
    mounted = create_with(metrics_bind="127.0.0.1:9464", price_books=tmp_path).test_client()
    body = {"job": demo_job("truck_24v"), "price_book_name": "spring"}
    for _ in range(4):
        assert mounted.post("/v1/build-bill-of-materials", json=body).status_code == 200
    name = "loomwright_memo_lookups_total"
    assert more(name, memo="mounted_book", outcome="miss") == 1
    assert more(name, memo="mounted_book", outcome="hit") == 3
    batch = batch_examples()["every_package_for_every_vehicle"]
    batch = {**batch, "price_book_name": "spring"}
    for _ in range(2):
        response = mounted.post("/v1/price-packages", json=batch)
        assert response.status_code == 200
        response.close()
    assert more(name, memo="batch_met_before") == 2


def test_readiness_is_told_by_check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(probes, "KEPT_FOR_S", 0.0)
    client = create_with(metrics_bind="127.0.0.1:9464", price_books=tmp_path).test_client()
    assert client.get("/v1/ready").status_code == 200
    assert {total(counted_now(), "loomwright_ready", check=each) for each in probes.CHECKS} == {1}
    (tmp_path / "spring.json").write_text("{", "utf-8")
    assert client.get("/v1/ready").status_code == 503
    found = {each: total(counted_now(), "loomwright_ready", check=each) for each in probes.CHECKS}
    assert found == {**dict.fromkeys(probes.CHECKS, 1), "price_books": 0}


def test_requests_in_flight_are_those_that_are_being_answered() -> None:
    app = create_with(metrics_bind="127.0.0.1:9464")
    begun, go_on = threading.Event(), threading.Event()

    @app.get("/waits")
    def waits() -> str:
        begun.set()
        go_on.wait(10)
        return ""

    request = threading.Thread(target=lambda: app.test_client().get("/waits"))
    request.start()
    begun.wait(10)
    assert in_flight(app) == 1
    go_on.set()
    request.join()
    assert in_flight(app) == 0


@pytest.mark.parametrize(
    ("path", "environ", "weight"),
    [
        ("/v1/health", {}, "state"),
        ("/v1/size-fuse", {"CONTENT_LENGTH": "200"}, "quick"),
        ("/v1/size-fuse", {"CONTENT_LENGTH": "20000"}, "heavy"),
        ("/v1/size-fuse", {"HTTP_ACCEPT": "application/pdf", "CONTENT_LENGTH": ""}, "heavy"),
        ("/v1/plan-installation", {"CONTENT_LENGTH": "no number"}, "heavy"),
        ("/v1/price-packages", {"QUERY_STRING": "as=csv"}, "batch"),
    ],
)
def test_requests_in_flight_are_told_apart_by_weight(
    path: str, environ: dict[str, str], weight: str
) -> None:
    counted = Metrics(CollectorRegistry())
    watcher = MetricsWatcher(counted, frozenset(), memo_counts(), Paths(OPERATIONS))
    exchange = Exchange({"PATH_INFO": path, "REQUEST_METHOD": "POST", **environ}, "unknown")

    def in_flight_now(**labels: str) -> float:
        watcher.flush()
        samples = samples_of(generate_latest(counted.registry).decode())
        return total(samples, "loomwright_requests_in_flight", **labels)

    watcher.begin(exchange)
    assert in_flight_now() == in_flight_now(weight=weight) == 1
    watcher.end(exchange)
    assert in_flight_now() == 0


def in_flight(app: Any) -> float:
    # Each application of a process sets the one gauge; under the server there is one.
    app.wsgi_app._begin[0].__self__.flush()
    text = generate_latest(metrics().registry).decode()
    return total(samples_of(text), "loomwright_requests_in_flight")


def test_a_failure_outside_the_views_is_counted(more: Count) -> None:
    app = create_with(metrics_bind="127.0.0.1:9464")
    app.testing = True

    @app.get("/fails")
    def fails() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        app.test_client().get("/fails")
    assert more("loomwright_requests_total", operation="unknown", status="5xx") == 1
    assert in_flight(app) == 0


# What a caller can write, each time another text.
MADE_UP: list[tuple[str, str, dict[str, Any]]] = [
    ("GET", "/v1/<>", {}),
    ("GET", "/v1/size-conductor/<>", {}),
    ("GET", "/<>", {}),
    ("GET", "/v1/size-conductor?<>=1", {}),
    ("<>", "/v1/size-conductor", {}),
    ("POST", "/v1/build-bill-of-materials", {"json": {"price_book_name": "<>", "job": {}}}),
    ("GET", "/v1/price-books", {"headers": {"X-Request-Id": "<>", "Host": "<>"}}),
]


def test_no_caller_can_add_a_label(client: FlaskClient) -> None:
    def ask(made_up: str) -> set[Any]:
        for each in MADE_UP:
            method, path, rest = json.loads(json.dumps(each).replace("<>", made_up))
            client.open(path, method=method, **rest)
        return set(counted_now())

    first = ask("MADEUP0")
    assert ask("MADEUP1") == ask("MADEUP2") == first
    operations = {each.name for each in OPERATIONS} | {"openapi", "pages", "unknown"}
    verdicts = {
        verdict
        for each in OPERATIONS
        if "verdict" in each.answer().fields
        for verdict in each.answer().fields["verdict"].metadata["enum"]
    }
    for _, labels in first:
        for name, value in labels:
            known = {"operation": operations, "code": set(CODES), "verdict": verdicts}
            assert value in known.get(name, {value})
            assert "MADEUP" not in value


def test_many_observations_at_once_are_the_same_as_one_by_one() -> None:
    amounts = [0.0, *BUCKETS_S, *(bound * 1.01 for bound in BUCKETS_S), 0.003, 0.003]
    texts = []
    for kind in (Histogram, Durations):
        registry = CollectorRegistry()
        histogram = kind("x", "x", ("a",), buckets=BUCKETS_S, registry=registry).labels("b")
        if isinstance(histogram, Durations):
            histogram.observe_all(amounts)
        else:
            for amount in amounts:
                histogram.observe(amount)
        text = generate_latest(registry).decode()
        texts.append(re.sub(r"^x_created.*|^x_sum.*", "", text, flags=re.MULTILINE))
    assert texts[0] == texts[1]
    assert f'x_count{{a="b"}} {len(amounts):.1f}' in texts[1]


def test_without_the_setting_nothing_watches() -> None:
    app = create_app()
    assert app.wsgi_app.__func__ is type(app).wsgi_app  # type: ignore[attr-defined]
    assert app.test_client().get("/metrics").status_code == 404
