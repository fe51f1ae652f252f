"""The deployed proxy, a real nginx, in front of two real instances of the service."""

import contextlib
import http.client
import json
import re
import runpy
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from gunicorn.config import Config
from gunicorn.http.wsgi import Response
from proxied import (
    CONFIGURATION,
    ROOT,
    Instance,
    Proxy,
    accepts,
    configure,
    free_ports,
    nginx,
    proxy_before,
)
from smuggled import ATTACKS, NEXT
from test_streams import VEHICLES, batch, wait_for
from test_streams import served as watched

MIB = 1024 * 1024
BODY = json.dumps(
    {
        "series": "awg",
        "load_current": 20,
        "supply_voltage": 12.6,
        "route": [{"length": 4.5}],
    }
).encode()
QUERY = "/v1/size-conductor?series=awg&load_current=20&supply_voltage=12.6&length=4.5"
CLIENTS = 6
# Bounds the loop of each client whatever the machine does.
MOST_REQUESTS = 20_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("proxied")


@pytest.fixture(scope="module")
def instances(folder: Path) -> Iterator[list[Instance]]:
    found = [
        Instance(port, folder / f"instance-{number}.log")
        for number, port in enumerate(free_ports(2))
    ]
    try:
        for instance in found:
            instance.start()
        for instance in found:
            instance.wait_until_ready()
        yield found
    finally:
        for instance in found:
            instance.stop()


@pytest.fixture(scope="module")
def proxy(folder: Path, instances: list[Instance]) -> Iterator[Proxy]:
    with proxy_before(folder / "proxy", [each.port for each in instances]) as proxy:
        yield proxy


class Client(threading.Thread):
    """Asks the same over and over through one connection, and notes what is not as the first."""

    def __init__(self, proxy: Proxy, stop: threading.Event, expected: dict[str, bytes]) -> None:
        super().__init__()
        self.proxy = proxy
        self.stop = stop
        self.expected = expected
        self.answered = 0
        self.lost: list[str] = []

    def run(self) -> None:
        with contextlib.closing(self.proxy.connected()) as connection:
            for number in range(MOST_REQUESTS):
                if self.stop.is_set():
                    return
                method = "POST" if number % 2 else "GET"
                try:
                    found = asked(connection, method)
                except (OSError, http.client.HTTPException) as error:
                    self.lost.append(f"{method}: {error!r}")
                    connection.close()
                    continue
                if found == self.expected[method]:
                    self.answered += 1
                else:
                    self.lost.append(f"{method}: {found[:200]!r}")


def asked(connection: http.client.HTTPConnection, method: str) -> bytes:
    """Return the body of an answer, behind its status where that is not 200."""
    if method == "POST":
        path = QUERY.partition("?")[0]
        connection.request("POST", path, BODY, {"Content-Type": "application/json"})
    else:
        connection.request("GET", QUERY)
    response = connection.getresponse()
    body = response.read()
    return body if response.status == 200 else f"{response.status} ".encode() + body


def test_no_request_is_lost_while_instances_fail_and_change(
    proxy: Proxy, instances: list[Instance], record_property: Callable[[str, object], None]
) -> None:
    first, second = instances
    with contextlib.closing(proxy.connected()) as connection:
        expected = {method: asked(connection, method) for method in ("GET", "POST")}
    assert all(body.startswith(b"{") for body in expected.values()), expected
    stop = threading.Event()
    clients = [Client(proxy, stop, expected) for _ in range(CLIENTS)]
    before = len(proxy.accesses())
    for client in clients:
        client.start()
    try:
        time.sleep(1.0)
        first.kill()
        time.sleep(1.0)
        # No other instance is there meanwhile.
        second.reload()
        time.sleep(0.5)
        back = len(proxy.accesses())
        first.start()
        first.wait_until_ready()
        time.sleep(1.0)
    finally:
        stop.set()
        for client in clients:
            client.join()
    answered = sum(each.answered for each in clients)
    lost = [each for client in clients for each in client.lost]
    lines = proxy.accesses()[before:]
    again = sum("," in line.partition("upstream=")[2] for line in lines)
    record_property(
        "summary",
        f"Behind the proxy: {answered} answers while an instance was killed and another reloaded, "
        f"{again} asked again, {len(lost)} lost.",
    )
    assert lost == []
    assert answered > 100
    # Both were asked before and after, and requests had to be asked again.
    for part in (lines[: back - before], lines[back - before :]):
        assert all(f"127.0.0.1:{each.port} 200" in "\n".join(part) for each in instances)
    assert again > 0


class Wire:
    """Notes each piece that is sent."""

    def __init__(self) -> None:
        self.sent: list[bytes] = []

    def sendall(self, piece: bytes) -> None:
        self.sent.append(piece)


@pytest.mark.parametrize("length", ["3", ""], ids=["whole", "stream"])
def test_an_answer_does_not_end_behind_its_head(
    length: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = Response.write
    monkeypatch.setattr(Response, "write", plain)
    for _ in range(2):  # as a reload reads it
        runpy.run_path(str(ROOT / "deploy" / "gunicorn.conf.py"))
    assert Response.write is not plain
    assert vars(Response.write)["__wrapped__"] is plain
    wire = Wire()
    config = Config()
    request = SimpleNamespace(method="GET", version=(1, 1), should_close=lambda: False)
    response = Response(request, wire, config)
    response.start_response("200 OK", [("Content-Length", length)] if length else [])
    response.write(b"abc")
    response.write(b"")
    response.close()
    (first, *last) = wire.sent
    assert first.startswith(b"HTTP/1.1 200 OK\r\n")
    assert first.endswith(b"\r\n\r\nabc" if length else b"\r\n\r\n3\r\nabc\r\n")
    assert b"".join(last) == (b"" if length else b"0\r\n\r\n")


def test_rows_come_before_the_rest_is_worked_on_and_who_hangs_up_ends_the_work(
    tmp_path: Path,
) -> None:
    with contextlib.ExitStack() as served:
        service = served.enter_context(watched(tmp_path))
        upstream = [service.port, service.port]
        proxy = served.enter_context(proxy_before(tmp_path / "proxy", upstream))
        service.wait()
        with contextlib.closing(proxy.connected()) as connection:
            headers = {"Content-Type": "application/json"}
            connection.request("POST", "/v1/price-packages", batch(packages=5), headers)
            response = connection.getresponse()
            first = [json.loads(response.readline()) for _ in range(VEHICLES)]
            assert service.asked() in ([0], [0, 1])
            service.go_on()
            others = [json.loads(line) for line in response]
        assert [row["package"] for row in first] == ["p0"] * VEHICLES
        assert others[-1]["summary"]["rows"] == 5 * VEHICLES

        before, closed = len(service.asked()), service.closed()
        service.wait()
        with contextlib.closing(proxy.connected()) as connection:
            connection.request("POST", "/v1/price-packages", batch(), headers)
            connection.getresponse().readline()
        service.go_on()
        wait_for(lambda: service.closed() > closed, "the answer goes on")
        assert len(service.asked()) - before < 100


def answer_to(
    proxy: Proxy,
    method: str,
    path: str,
    body: bytes | None = None,
    headers: dict[str, str] | None = None,
) -> tuple[http.client.HTTPResponse, bytes]:
    with contextlib.closing(proxy.connected()) as connection:
        connection.request(method, path, body, headers or {})
        response = connection.getresponse()
        return response, response.read()


def noted(proxy: Proxy, text: str) -> bool:
    """Tell whether a line of the log has a text; it is written after the answer."""
    return any(text in line for line in proxy.accesses())


def test_the_name_of_a_request_goes_through(proxy: Proxy) -> None:
    own = "till-7/4711"
    response, _ = answer_to(proxy, "GET", "/v1/health", headers={"X-Request-Id": own})
    assert response.headers.get_all("X-Request-Id") == [own]
    wait_for(lambda: noted(proxy, f" {own} GET /v1/health 200 "), "not in the log")
    for unusable in (None, "two words", "x" * 129):
        headers = {"X-Request-Id": unusable} if unusable else {}
        response, _ = answer_to(proxy, "GET", "/v1/health", headers=headers)
        (made,) = response.headers.get_all("X-Request-Id") or []
        assert re.fullmatch(r"[0-9a-f]{32}", made)
        wait_for(lambda made=made: noted(proxy, f" {made} "), "not in the log")


def test_neither_log_holds_a_key_of_an_address(proxy: Proxy) -> None:
    secret = "S3cretKey"
    headers = {"Referer": f"http://x/?key={secret}"}
    answer_to(proxy, "GET", f"{QUERY}&key={secret}", headers=headers)
    answer_to(proxy, "TRACE", f"/v1/health?key={secret}", headers=headers)
    wait_for(lambda: noted(proxy, " TRACE /v1/health 405 "), "not in the log")
    for log in ("access.log", "error.log", "output"):
        assert secret not in (proxy.folder / log).read_text("utf-8")


LONG = "x" * 9000
REFUSALS = [
    ("POST", "/v1/size-fuse", MIB + 1, {}, 413, "body_too_large"),
    ("POST", "/v1/price-packages", 16 * MIB + 1, {}, 413, "body_too_large"),
    ("GET", "/v1/health?" + "x" * 4100, 0, {}, 414, "uri_too_long"),
    ("GET", "/v1/health?" + LONG, 0, {}, 414, "uri_too_long"),
    ("GET", "/v1/health", 0, {"X-Long": LONG}, 431, "headers_too_large"),
    ("GET", "/v1/health", 0, {f"X-{n}": "x" for n in range(101)}, 431, "headers_too_large"),
    ("TRACE", "/v1/health", 0, {}, 405, "method_not_allowed"),
    ("GET", "/v1/nowhere", 0, {}, 404, "not_found"),
    ("GET", "/_refused/413", 0, {}, 404, "not_found"),
]


@pytest.mark.parametrize(
    ("method", "path", "size", "headers", "status", "code"),
    REFUSALS,
    ids=[f"{each[5]}-{number}" for number, each in enumerate(REFUSALS)],
)
def test_what_is_refused_is_a_problem_document(
    proxy: Proxy, method: str, path: str, size: int, headers: dict[str, str], status: int, code: str
) -> None:
    kind = {"Content-Type": "application/json"}
    response, body = answer_to(proxy, method, path, b" " * size or None, kind | headers)
    assert_is_problem(response, body, status, code)


def assert_is_problem(
    response: http.client.HTTPResponse, body: bytes, status: int, code: str
) -> None:
    problem = json.loads(body)
    assert (response.status, problem["status"], problem["code"]) == (status, status, code)
    assert response.headers.get_all("Content-Type") == ["application/problem+json"]
    assert response.headers.get_all("Cache-Control") == ["no-store"]
    assert not re.search(r"nginx/|gunicorn", str(response.headers))


@pytest.mark.parametrize(
    ("path", "size"), [("/v1/size-fuse", MIB), ("/v1/price-packages", 2 * MIB)]
)
def test_what_the_service_takes_is_not_refused_by_the_proxy(
    proxy: Proxy, path: str, size: int
) -> None:
    headers = {"Content-Type": "application/json", "X-Long": "x" * 8000}
    response, body = answer_to(proxy, "POST", path, b" " * size, headers)
    assert_is_problem(response, body, 400, "malformed_body")


ANSWER = b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{}"


def answer_once_by_each_connection(listener: socket.socket, asked: list[bytes]) -> None:
    """Answer the first request of each connection, and close it as the second one comes."""
    listener.settimeout(10)
    while len(asked) < 3:
        wire, _ = listener.accept()
        with wire:
            asked.append(wire.recv(65536))
            wire.sendall(ANSWER)
            if len(asked) < 3:
                asked.append(wire.recv(65536))


@pytest.mark.parametrize("path", ["/v1/size-fuse", "/v1/price-packages"])
def test_who_closes_a_kept_connection_is_asked_again_while_no_other_is_there(
    tmp_path: Path, path: str
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        asked: list[bytes] = []
        arguments = (listener, asked)
        instance = threading.Thread(target=answer_once_by_each_connection, args=arguments)
        instance.start()
        upstream = [*free_ports(1), listener.getsockname()[1]]
        # The proxy is up once its port is taken: nothing may be asked for before the test does.
        with (
            proxy_before(tmp_path / "proxy", upstream, is_up=accepts) as proxy,
            contextlib.closing(proxy.connected()) as connection,
        ):
            for _ in range(2):
                connection.request("POST", path, BODY)
                response = connection.getresponse()
                assert (response.status, response.read()) == (200, b"{}")
        instance.join()
    assert len(asked) == 3
    assert all(each.endswith(BODY) for each in asked)


def test_a_proxy_without_instances_says_so(tmp_path: Path) -> None:
    with proxy_before(tmp_path / "proxy", free_ports(2)) as proxy:
        for method, path in (("GET", "/v1/health"), ("POST", "/v1/price-packages")):
            response, body = answer_to(proxy, method, path, headers={"X-Request-Id": "a"})
            assert_is_problem(response, body, 502, "internal_error")
            assert response.headers.get_all("X-Request-Id") == ["a"]


@pytest.mark.parametrize("name", ATTACKS)
def test_a_request_within_a_request_is_never_answered(proxy: Proxy, name: str) -> None:
    before = len(proxy.accesses())
    received = proxy.exchange(ATTACKS[name])
    statuses = [int(each) for each in re.findall(rb"HTTP/1\.[01] (\d{3}) ", received)]
    assert len(statuses) == 1, received
    # The body, where one was read at all, is not JSON.
    assert statuses[0] in (400, 422, 501), received
    assert received.count(b"application/problem+json") == 1
    # Who asks next is answered what was asked, whichever kept connection it takes.
    for number in range(8):
        own = f"canary-{number}"
        response, body = answer_to(proxy, "GET", "/v1/health", headers={"X-Request-Id": own})
        assert (response.status, response.headers["X-Request-Id"]) == (200, own), body
    assert not any("/v1/smuggled" in line for line in proxy.accesses()[before:])


@pytest.mark.parametrize("line", [b"GET /v1/health\r\n", b"GET /v1/health HTTP/0.9\r\n\r\n"])
def test_a_request_of_the_first_http_hides_nothing(proxy: Proxy, line: bytes) -> None:
    """It has no head, and whatever follows on the connection is nobody's request."""
    before = len(proxy.accesses())
    received = proxy.exchange(line + NEXT)
    assert b"not_found" not in received
    assert not any("/v1/smuggled" in each for each in proxy.accesses()[before:])


def test_requests_in_a_row_are_answered_in_turn(proxy: Proxy) -> None:
    received = proxy.exchange(NEXT + NEXT.replace(b"smuggled", b"health"))
    assert re.findall(rb"HTTP/1\.1 (\d{3}) ", received) == [b"404", b"200"]


def test_the_files_of_the_proxys_refusals_are_as_made(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.syspath_prepend(str(CONFIGURATION))
    problems = __import__("problems")
    monkeypatch.delitem(sys.modules, "problems")
    for name, text in problems.texts().items():
        assert (CONFIGURATION / name).read_text("utf-8") == text


def test_the_deployed_configuration_is_one(tmp_path: Path) -> None:
    configuration = configure(tmp_path, *free_ports(1), free_ports(2))
    done = subprocess.run(
        nginx(configuration, "-t"), capture_output=True, text=True, timeout=30, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "[warn]" not in done.stderr
