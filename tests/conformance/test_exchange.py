"""One request over HTTP: no redirect is followed, what breaks is said, nothing waits for ever."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from loomwright import exchange
from loomwright.exchange import Seen, UsageError, address_of


@contextmanager
def answering(content: bytes, *, endless: int = 0, pause_s: float = 0.0) -> Iterator[str]:
    """A server that answers one request with raw bytes, and then so many last bytes at a time."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            connection, _ = listener.accept()
            with connection:
                connection.recv(65536)
                connection.sendall(content)
                try:
                    while endless:
                        connection.sendall(content[-1:] * endless)
                        time.sleep(pause_s)
                except OSError:
                    return

        thread = threading.Thread(target=serve)
        thread.start()
        yield f"http://127.0.0.1:{listener.getsockname()[1]}/base/"
        thread.join()


def seen(url: str) -> Seen:
    return address_of(url).send("GET", "/path", {})


def test_redirect_is_returned() -> None:
    with answering(
        b"HTTP/1.1 307 Go\r\nLocation: http://127.0.0.1:1/\r\nContent-Length: 0\r\n\r\n"
    ) as url:
        answer = seen(url)
    assert answer.status == 307
    assert answer.headers["location"] == "http://127.0.0.1:1/"
    assert answer.error == ""


@pytest.mark.parametrize(
    "content", [b"", b"no HTTP\r\n\r\n", b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nshort"]
)
def test_broken_answer_is_no_answer(content: bytes) -> None:
    with answering(content) as url:
        answer = seen(url)
    assert answer.status == 0
    assert answer.error.startswith("no answer: ")
    assert answer.summary == answer.error


def test_endless_body_is_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exchange, "GREATEST_BYTES", 100_000)
    with answering(b"HTTP/1.1 200 OK\r\n\r\n-", endless=4096) as url:
        answer = seen(url)
    assert answer.status == 200
    assert 100_000 < len(answer.body) < 200_000


def test_trickling_body_is_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exchange, "TIMEOUT_S", 0.2)
    with answering(b"HTTP/1.1 200 OK\r\n\r\n-", endless=1, pause_s=0.02) as url:
        assert seen(url).error == "no answer: the body did not end in time"


def test_nobody_there_is_no_answer() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    assert "no answer" in seen(f"http://127.0.0.1:{port}").error


def test_address_is_taken_apart() -> None:
    address = address_of("https://shop.example:8443/loomwright/", "token")
    assert (address.scheme, address.host, address.port) == ("https", "shop.example", 8443)
    assert (address.path, address.token) == ("/loomwright", "token")


@pytest.mark.parametrize(
    "url",
    [
        "",
        "shop.example",
        "ftp://shop.example",
        "http://",
        "http://a/?b=1",
        "http://a/#b",
        "http://a:x",
    ],
)
def test_wrong_address_is_refused(url: str) -> None:
    with pytest.raises(UsageError):
        address_of(url)


def test_document_is_read_leniently_and_summed_up() -> None:
    answer = Seen(
        404, {"content-type": "Application/JSON; charset=x"}, b'\xef\xbb\xbf{"title":"T"}'
    )
    assert answer.media_type == "application/json"
    assert answer.summary == "status 404 (T)"
    assert Seen(200, {}, b"\xff").document is None
    assert Seen(200, {}, b"[1]").member("title") is None
