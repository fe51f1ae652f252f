"""Signals of the real server with several processes: sums, restarts, logs and spans.

One server runs for all tests here; each looks at what comes on top of what was there before.
"""

import contextlib
import http.client
import json
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest

from asked_metrics import OF_SCRAPES, RULES, asked, grouped_by, panel_queries
from loomwright.web.examples import EXAMPLES
from loomwright.web.schemas.batch import batch_examples
from loomwright.web.serving.admission import bounds_of
from loomwright.web.settings import Settings
from loomwright.web.signals.metrics import FLUSHED_EVERY_S
from scraped import Samples, await_scrape, scraped, total
from served import served
from set_up import key_entry

WORKERS = 3
KEY = "S3cretKey"
REQUESTS = "loomwright_requests_total"
CONDUCTOR = EXAMPLES["size-conductor"]["bass_unit_under_the_seat"]
# W3C Trace Context, 3.2: the example of the specification.
TRACE, PARENT = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
Span = dict[str, Any]


class Receiver(BaseHTTPRequestHandler):
    """Takes spans as OTLP sends them over HTTP."""

    spans: list[tuple[int, Any]]

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        assert self.path == "/v1/traces"
        for resource in ExportTraceServiceRequest.FromString(body).resource_spans:
            for scope in resource.scope_spans:
                self.spans += [(self.client_address[1], span) for span in scope.spans]
        self.send_response(200)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Write nothing."""


@dataclass(frozen=True)
class Service:
    """A served service with everything on."""

    url: str
    metrics_url: str
    log: Path
    folder: Path
    spans: list[tuple[int, Any]]

    def ask(self, method: str = "GET", path: str = "/v1/live", **rest: Any) -> int:
        connection = http.client.HTTPConnection(urlsplit(self.url).netloc, timeout=30)
        with contextlib.closing(connection):
            connection.request(method, path, **rest)
            answer = connection.getresponse()
            answer.read()
            return answer.status

    def size(self, identifier: str = "x", **headers: str) -> int:
        sent = {
            "Content-Type": "application/json",
            "Authorization": f"Bearer {KEY}",
            "X-Request-Id": identifier,
            **headers,
        }
        return self.ask("POST", "/v1/size-conductor", body=json.dumps(CONDUCTOR), headers=sent)

    def lines(self) -> list[dict[str, Any]]:
        """Return what is in the log, all of it as JSON."""
        return [json.loads(line) for line in self.log.read_text("utf-8").splitlines()]

    def first_process(self) -> int:
        (found,) = (
            re.search(r"\((\d+)\)", line["message"])
            for line in self.lines()
            if line["message"].startswith("Listening at")
        )
        assert found is not None
        return int(found[1])

    def processes(self) -> set[int]:
        """Return the numbers of the processes that answer requests."""
        first = self.first_process()
        children = Path(f"/proc/{first}/task/{first}/children").read_text("ascii")
        return {int(number) for number in children.split()}

    def scrape(self, holds: Callable[[Samples], bool]) -> Samples:
        return await_scrape(self.metrics_url, holds)

    def settled(self) -> Samples:
        """Scrape once what was asked before is written down."""
        time.sleep(2.5 * FLUSHED_EVERY_S)
        return scraped(self.metrics_url)


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@contextlib.contextmanager
def service_in(folder: Path, **settings: str) -> Iterator[tuple[str, str]]:
    port = free_port()
    kept = folder / "counts"
    kept.mkdir(exist_ok=True)
    with served(
        folder / "log",
        LOOMWRIGHT_WORKERS=str(WORKERS),
        LOOMWRIGHT_METRICS_BIND=f"127.0.0.1:{port}",
        LOOMWRIGHT_METRICS_FOLDER=str(kept),
        **settings,
    ) as url:
        yield url, f"http://127.0.0.1:{port}/metrics"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("signals")


@pytest.fixture(scope="module")
def service(place: Path) -> Iterator[Service]:
    keys = place / "keys.toml"
    keys.write_text(key_entry(KEY, "calculate", "price", identifier="till"), "utf-8")
    Receiver.spans = []
    with HTTPServer(("127.0.0.1", 0), Receiver) as receiver:
        threading.Thread(target=receiver.serve_forever, daemon=True).start()
        with service_in(
            place,
            LOOMWRIGHT_KEYS_FILE=str(keys),
            # Nobody is refused, so that each status is known beforehand.
            LOOMWRIGHT_QUEUE="100",
            LOOMWRIGHT_ACCESS_LOG="on",
            LOOMWRIGHT_LOG_FORMAT="json",
            LOOMWRIGHT_LOG_LEVEL="info",
            LOOMWRIGHT_TELEMETRY="on",
            OTEL_EXPORTER_OTLP_ENDPOINT=f"http://127.0.0.1:{receiver.server_port}",
            OTEL_BSP_SCHEDULE_DELAY="100",
            PYTHONWARNINGS="ignore",
        ) as (url, metrics_url):
            yield Service(url, metrics_url, place / "log", place / "counts", Receiver.spans)
        receiver.shutdown()


def asked_at_once(asks: list[Callable[[], int]]) -> list[int]:
    with ThreadPoolExecutor(8) as pool:
        return [each.result() for each in [pool.submit(ask) for ask in asks]]


def test_sums_over_all_processes_are_what_was_asked(service: Service) -> None:
    before = service.settled()
    sizes, wrong, lost = 150, 30, 20
    asks = [
        *([service.size] * sizes),
        *([lambda: service.ask("POST", "/v1/size-fuse")] * wrong),
        *([lambda: service.ask("GET", "/v1/nothing")] * lost),
    ]
    statuses = asked_at_once(asks)
    assert [statuses.count(status) for status in (200, 401, 404)] == [sizes, wrong, lost]
    number = sizes + wrong + lost
    after = service.scrape(lambda now: total(now, REQUESTS) - total(before, REQUESTS) >= number)

    def more(name: str, **labels: str) -> float:
        return total(after, name, **labels) - total(before, name, **labels)

    assert more(REQUESTS) == number
    assert more(REQUESTS, operation="size-conductor", method="POST", status="2xx") == sizes
    assert more(REQUESTS, operation="size-fuse", method="POST", status="4xx") == wrong
    assert more(REQUESTS, operation="unknown", method="GET", status="4xx") == lost
    assert more("loomwright_request_duration_seconds_count") == number
    assert more("loomwright_request_duration_seconds_bucket", le="+Inf") == number
    assert more("loomwright_verdicts_total", verdict="conductor_found") == sizes
    assert more("loomwright_problems_total", code="key_required") == wrong
    assert total(after, "loomwright_requests_in_flight") == 0
    assert total(after, "loomwright_workers") == WORKERS
    slots = {weight: bound.threads * WORKERS for weight, bound in bounds_of(Settings()).items()}
    for weight, count in slots.items():
        assert total(after, "loomwright_request_slots", weight=weight.value) == count
    assert total(after, "loomwright_request_slots") == sum(slots.values())
    assert total(after, "loomwright_build_info") == 1
    # More than one of them answered.
    assert len({line["pid"] for line in service.lines() if line.get("status")}) > 1


def test_what_the_server_refuses_unread_is_counted(service: Service) -> None:
    name = "loomwright_refused_unread_total"
    before = service.settled()
    address = urlsplit(service.url)
    with socket.create_connection((address.hostname, address.port), timeout=10) as wire:
        wire.sendall(b"GET / HTTP/1.1 x\r\n\r\n")
        assert b" 400 " in wire.recv(65536)
    after = service.scrape(lambda now: total(now, name) > total(before, name))
    assert total(after, name, status="400") - total(before, name, status="400") == 1


def test_a_scrape_is_answered_while_every_process_is_busy(service: Service) -> None:
    example = batch_examples()["every_package_for_every_vehicle"]
    many = {
        name: [{**example[name][0], "key": f"{name[0]}{number}"} for number in range(200)]
        for name in ("packages", "vehicles")
    }
    body = json.dumps({**example, **many}).encode()
    head = (
        f"POST /v1/price-packages HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {KEY}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    address = urlsplit(service.url)

    def in_flight() -> float:
        name = "loomwright_requests_in_flight"
        return total(scraped(service.metrics_url), name, weight="batch")

    with contextlib.ExitStack() as wires:
        # Nobody takes the rows, so that each batch holds the one thread of a process. One that
        # comes to a process which is busy already waits, and another one is sent.
        for _ in range(10 * WORKERS):
            if in_flight() == WORKERS:
                break
            wire = wires.enter_context(socket.socket())
            wire.settimeout(10)
            wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            wire.connect((address.hostname, address.port))
            wire.sendall(head.encode() + body)
            time.sleep(3 * FLUSHED_EVERY_S)
        assert in_flight() == WORKERS
        begun_s = time.monotonic()
        assert in_flight() == WORKERS
        assert time.monotonic() - begun_s < 5
    idle = service.scrape(lambda now: total(now, "loomwright_requests_in_flight") == 0)
    assert total(idle, "loomwright_requests_in_flight") == 0


def test_a_killed_process_takes_no_counts_with_it(service: Service) -> None:
    asked_at_once([service.size] * 30)
    sizes = {"operation": "size-conductor", "status": "2xx"}
    before = service.settled()
    (victim, *others) = sorted(service.processes())
    os.kill(victim, signal.SIGKILL)
    exits = "loomwright_worker_exits_total"
    after = service.scrape(
        lambda now: (
            total(now, "loomwright_workers") == WORKERS and total(now, exits) > total(before, exits)
        )
    )
    assert total(after, exits, outcome="died") - total(before, exits, outcome="died") == 1
    assert total(after, exits, outcome="ended") == total(before, exits, outcome="ended")
    for key, value in before.items():
        if key[0].startswith("loomwright") and not key[0].endswith("in_flight"):
            assert after[key] >= value, key
    assert total(after, REQUESTS, **sizes) == total(before, REQUESTS, **sizes)
    # The one that takes its place goes on in the same files.
    files = {path.name for path in service.folder.glob("*.db")}
    assert asked_at_once([service.size] * 40) == [200] * 40
    wanted = total(before, REQUESTS, **sizes) + 40
    final = service.scrape(lambda now: total(now, REQUESTS, **sizes) >= wanted)
    assert total(final, REQUESTS, **sizes) == wanted
    assert {path.name for path in service.folder.glob("*.db")} == files
    assert set(others) < service.processes()


def test_a_reload_takes_no_counts_with_it(service: Service) -> None:
    before = service.settled()
    old = service.processes()
    exits = "loomwright_worker_exits_total"
    os.kill(service.first_process(), signal.SIGHUP)
    after = service.scrape(lambda now: total(now, exits) - total(before, exits) >= WORKERS)
    assert total(after, exits, outcome="ended") - total(before, exits, outcome="ended") == WORKERS
    assert total(after, REQUESTS) == total(before, REQUESTS)
    assert not old & service.processes()
    assert service.size() == 200
    final = service.scrape(lambda now: total(now, REQUESTS) > total(before, REQUESTS))
    assert total(final, REQUESTS) == total(before, REQUESTS) + 1


def test_only_metrics_are_served_there(service: Service) -> None:
    address = urlsplit(service.metrics_url)
    for method, path, wanted in (
        ("GET", "/", 404),
        ("GET", "/v1/live", 404),
        ("POST", "/metrics", 405),
        ("HEAD", "/metrics", 405),
    ):
        connection = http.client.HTTPConnection(address.netloc, timeout=10)
        with contextlib.closing(connection):
            connection.request(method, path)
            assert connection.getresponse().status == wanted
    # And none where the service is, not even with a key.
    sent = {"Authorization": f"Bearer {KEY}"}
    assert service.ask("GET", "/metrics", headers=sent) == 404


def test_spans_of_each_process_continue_their_traces(service: Service) -> None:
    number = 24
    headers = {"traceparent": f"00-{TRACE}-{PARENT}-01", "tracestate": "vendor=S3cret"}
    assert set(asked_at_once([lambda: service.size(**headers)] * number)) == {200}
    deadline = time.monotonic() + 10

    def found() -> list[tuple[int, Any]]:
        return [each for each in list(service.spans) if each[1].trace_id.hex() == TRACE]

    while len(found()) < number and time.monotonic() < deadline:
        time.sleep(0.05)
    spans = [span for _, span in found()]
    assert len(spans) == number
    assert {span.name for span in spans} == {"size-conductor"}
    assert {span.parent_span_id.hex() for span in spans} == {PARENT}
    assert len({span.span_id for span in spans}) == number
    assert {span.trace_state for span in spans} == {""}
    # Each process sends by itself, over a connection of its own.
    assert len({port for port, _ in found()}) > 1
    attributes = {each.key for span in spans for each in span.attributes}
    assert attributes == {
        "http.request.method",
        "http.response.status_code",
        "http.route",
        "loomwright.verdict",
    }
    lines = [line for line in service.lines() if line.get("trace") == TRACE]
    assert len(lines) == number


def test_every_line_is_an_object_without_a_key(service: Service) -> None:
    service.size("the-one")
    service.ask("GET", f"/v1/size-conductor?key={KEY}&{KEY}=1")
    time.sleep(0.3)
    lines = service.lines()
    for line in lines:
        assert {"time", "level", "logger", "pid", "message"} <= line.keys()
    assert {line["logger"] for line in lines} >= {"gunicorn.error", "loomwright.access"}
    (line,) = (line for line in lines if line.get("id") == "the-one")
    assert (line["operation"], line["status"], line["key"]) == ("size-conductor", 200, "till")
    (told,) = (line for line in lines if line["message"].startswith("settings: "))
    assert f"workers={WORKERS}" in told["message"]
    assert KEY not in service.log.read_text("utf-8")


def test_rules_and_dashboard_ask_for_what_is_exposed(service: Service) -> None:
    """Every metric and every label, by what a scrape of the running service holds."""
    # What is there only once it happened.
    service.ask("GET", "/v1/ready")
    service.ask("POST", "/v1/size-fuse")
    service.size()
    test_what_the_server_refuses_unread_is_counted(service)
    exposed: dict[str, set[str]] = {}
    for name, labels in service.settled():
        exposed.setdefault(name, set()).update(label for label, _ in labels)
    recorded = {
        rule["record"]: grouped_by(rule["expr"]) - {"le"} for rule in RULES if "record" in rule
    }
    known = exposed | recorded
    queries = [rule["expr"] for rule in RULES] + [query for _, query, _ in panel_queries()]
    used: set[str] = set()
    for query in queries:
        labels: set[str] = set(OF_SCRAPES)
        for name, matched in asked(query):
            assert name in known, query
            assert matched <= known[name] | OF_SCRAPES, query
            labels |= known[name]
            used.add(name)
        assert used
        assert grouped_by(query) <= labels, query
    # And nothing that is counted is shown nowhere.
    families = {re.sub(r"_(bucket|sum|count)$", "", name) for name in used}
    own = {name for name in exposed if name.startswith("loomwright_")}
    assert {re.sub(r"_(bucket|sum|count)$", "", name) for name in own} <= families


def test_a_restart_begins_anew(service: Service, tmp_path: Path) -> None:
    assert total(service.settled(), REQUESTS) > 0
    kept = tmp_path / "counts"
    kept.mkdir()
    for file in service.folder.glob("*.db"):
        (kept / file.name).write_bytes(file.read_bytes())
    (kept / "of-somebody-else").touch()
    with service_in(tmp_path) as (_, metrics_url):
        samples = await_scrape(
            metrics_url, lambda now: total(now, "loomwright_worker_starts_total") >= WORKERS
        )
        assert total(samples, REQUESTS, operation="size-conductor") == 0
        assert total(samples, "loomwright_worker_exits_total") == 0
        assert total(samples, "loomwright_worker_starts_total") == WORKERS
    assert (kept / "of-somebody-else").exists()
