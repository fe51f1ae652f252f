"""Providers over HTTP that are slow, huge, elsewhere, or wrong: refused, and not waited for."""

import gzip
import socket
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from hostile import Answer, answering, dripping, endless, json_answer, plainly, silent

from loomwright.providers.configuration import HttpSettings
from loomwright.providers.connection import RefusedError, received
from loomwright.providers.over_http import HttpProvider
from loomwright.providers.provider import FaultyError, UnavailableError

TIMEOUT_S = 0.5
GREATEST = 100_000
HEAD = b"HTTP/1.1 200 OK\r\n"


def settings(address: str, **changes: Any) -> HttpSettings:
    values = {
        "address": address,
        "allowed_hosts": ("127.0.0.1",),
        "private_addresses": True,
        "token_file": None,
        "timeout_s": TIMEOUT_S,
        "greatest_bytes": GREATEST,
        **changes,
    }
    return HttpSettings(**values)


def raw(content: bytes) -> Answer:
    """Return bytes as they are, and the end of the connection."""
    return lambda connection: connection.sendall(content)


def asked(answer: Answer, **changes: Any) -> Any:
    with answering(answer) as (address, _):
        return HttpProvider("shop", settings(address, **changes)).capabilities()


def test_a_document_is_read() -> None:
    assert asked(json_answer(b'{"name": "Wren"}')) == {"name": "Wren"}


@pytest.mark.parametrize(
    "answer",
    [
        silent,
        dripping(HEAD + b"X-Slow:"),
        dripping(HEAD + b"Content-Type: application/json\r\n\r\n{"),
    ],
    ids=["silent", "header drips", "body drips"],
)
def test_who_is_slow_is_given_up_in_time(answer: Answer) -> None:
    started = time.monotonic()
    with pytest.raises(UnavailableError, match="does not answer in time"):
        asked(answer)
    # Far from what the answer would take, on however slow a machine.
    assert time.monotonic() - started < 10 * TIMEOUT_S


def test_a_name_that_nobody_answers_for_is_given_up_in_time() -> None:
    ended = threading.Event()

    def silent_resolver(_host: str, _port: int) -> list[str]:
        ended.wait(10 * TIMEOUT_S)
        return ["127.0.0.1"]

    started = time.monotonic()
    try:
        with pytest.raises(UnavailableError, match="does not answer in time"):
            HttpProvider("shop", settings("http://127.0.0.1:9"), silent_resolver).capabilities()
        assert time.monotonic() - started < 5 * TIMEOUT_S
    finally:
        ended.set()


def test_who_sends_too_much_is_not_read_on() -> None:
    with pytest.raises(FaultyError) as caught:
        asked(endless, timeout_s=10.0)
    assert f"more than {GREATEST} bytes" in caught.value.faults[0].message


def test_what_is_compressed_is_not_unpacked() -> None:
    bomb = gzip.compress(b"0" * 10_000_000)
    with pytest.raises(FaultyError) as caught:
        asked(json_answer(bomb, "Content-Encoding: gzip"))
    assert "compresses" in caught.value.faults[0].message


@pytest.mark.parametrize("status", ["301 Moved", "302 Found", "307 Temporary", "308 Permanent"])
def test_a_redirect_is_not_followed(status: str) -> None:
    with answering(json_answer(b"{}")) as (elsewhere, requests):
        with pytest.raises(UnavailableError, match=f"answers {status[:3]}"):
            asked(plainly(b"", status, f"Location: {elsewhere}/capabilities"))
        assert requests == []


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (plainly(b"{}", "200 OK", "Content-Type: text/html"), "application/json is needed"),
        (plainly(b"{}"), "application/json is needed, not no media type"),
        (json_answer(b"{"), "Not JSON"),
        (json_answer(b"[]"), "An object is needed"),
        (json_answer(b'{"a": NaN}'), "Not JSON"),
        (json_answer(b"\xff{}"), "Not JSON"),
        (json_answer(b'{"a": {"b": 1, "\\u0062": 2}}'), "stated twice in one object: /a/b"),
    ],
)
def test_what_is_no_document_is_faulty(answer: Answer, words: str) -> None:
    with pytest.raises(FaultyError) as caught:
        asked(answer)
    (fault,) = caught.value.faults
    assert fault.pointer == "/capabilities"
    assert words in fault.message


@pytest.mark.parametrize(
    ("status", "headers", "retry_after_s"),
    [
        ("503 Busy", ["Retry-After: 7"], 7),
        ("429 Slow", ["Retry-After: 0"], 1),
        ("503 Busy", ["Retry-After: 999999"], 3600),
        ("503 Busy", ["Retry-After: Fri, 31 Dec 1999 23:59:59 GMT"], 30),
        ("500 Broken", ["Retry-After: 7"], 30),
        ("401 Who", [], 30),
        ("204 Nothing", [], 30),
        ("304 Same", [], 30),
    ],
)
def test_another_status_is_no_document(status: str, headers: list[str], retry_after_s: int) -> None:
    with pytest.raises(UnavailableError) as caught:
        asked(plainly(b"", status, *headers))
    assert caught.value.retry_after_s == retry_after_s


def test_what_is_not_there_is_none() -> None:
    assert asked(plainly(b"", "404 Not Found")) is None


def test_nobody_listens() -> None:
    with answering(silent) as (address, _):
        pass
    with pytest.raises(UnavailableError, match="is not reached") as caught:
        HttpProvider("shop", settings(address)).capabilities()
    # The operator's network is nobody's business.
    assert "127.0.0.1" not in str(caught.value)


PUBLIC = "93.184.215.14"


@pytest.mark.parametrize(
    "addresses",
    [
        ["127.0.0.1"],
        ["10.0.0.7"],
        ["192.168.1.1"],
        ["169.254.169.254"],
        ["100.64.0.1"],
        ["0.0.0.0"],
        ["224.0.0.1"],
        ["::1"],
        ["fe80::1%eth0"],
        ["fd00::1"],
        ["::ffff:127.0.0.1"],
        # One private address among public ones.
        [PUBLIC, "127.0.0.1"],
        [],
    ],
)
def test_a_name_that_leads_inside_is_refused(addresses: list[str]) -> None:
    provider = HttpProvider(
        "shop",
        settings("https://shop.example", allowed_hosts=("shop.example",), private_addresses=False),
        lambda *_: addresses,
    )
    with pytest.raises(FaultyError) as caught:
        provider.capabilities()
    assert "not allowed" in caught.value.faults[0].message


def test_the_address_that_is_checked_is_the_one_connected_to() -> None:
    """A name that leads to another place at the second look is looked up once only."""
    looked_up: list[str] = []

    def resolve(host: str, _port: int) -> list[str]:
        looked_up.append(host)
        return ["127.0.0.1"]

    with answering(json_answer(b"{}")) as (address, requests):
        port = address.rpartition(":")[2]
        reached = settings(f"http://shop.example:{port}", allowed_hosts=("shop.example",))
        assert HttpProvider("shop", reached, resolve).capabilities() == {}
    assert looked_up == ["shop.example"]
    assert f"Host: shop.example:{port}".encode() in requests[0]


def test_a_host_that_is_not_listed_is_never_asked() -> None:
    with pytest.raises(RefusedError, match="host is not allowed"):
        received(settings("http://elsewhere.example"), "/", {}, lambda *_: pytest.fail("looked up"))


def test_the_token_is_sent_and_read_anew(tmp_path: Path) -> None:
    token = tmp_path / "token"
    with answering(json_answer(b"{}")) as (address, requests):
        provider = HttpProvider("shop", settings(address, token_file=token))
        for text in ("first", "second\n"):
            token.write_text(text)
            provider.capabilities()
        token.unlink()
        with pytest.raises(UnavailableError, match="token that cannot be read"):
            provider.capabilities()
    assert [b"Authorization: Bearer first" in requests[0], b"Bearer second" in requests[1]] == [
        True,
        True,
    ]
    assert len(requests) == 2


def test_an_unchanged_document_is_not_sent_again() -> None:
    answers = [
        json_answer(b'{"a": 1}', 'ETag: "one"'),
        plainly(b"", "304 Not Modified", 'ETag: "one"'),
        json_answer(b'{"a": 2}', 'ETag: "two"'),
        plainly(b"", "304 Not Modified", 'ETag: "two"'),
    ]

    def in_turn(connection: socket.socket) -> None:
        answers.pop(0)(connection)

    with answering(in_turn) as (address, requests):
        provider = HttpProvider("shop", settings(address))
        found = [provider.capabilities() for _ in range(4)]
    assert found == [{"a": 1}, {"a": 1}, {"a": 2}, {"a": 2}]
    asked_with = [b"If-None-Match" in request for request in requests]
    assert asked_with == [False, True, True, True]
    assert b'If-None-Match: "two"' in requests[3]


def test_a_tag_that_lies_never_makes_one_document_of_two() -> None:
    same = 'ETag: "same"'
    answers = [
        json_answer(b'{"a": 1}', same),
        # Changed under the tag that it had: what is sent goes before what is kept.
        json_answer(b'{"a": 2}', same),
        plainly(b"", "304 Not Modified", same),
        # The tag of another document: told that it is unchanged, without having been asked so.
        plainly(b"", "304 Not Modified", same),
        # Unchanged, it says, and names another tag: what is kept was valid by what was asked.
        plainly(b"", "304 Not Modified", 'ETag: "other"'),
        # What cannot be used takes the place of nothing.
        json_answer(b'{"a": 3', same),
        plainly(b"", "304 Not Modified", same),
    ]

    def in_turn(connection: socket.socket) -> None:
        answers.pop(0)(connection)

    with answering(in_turn) as (address, requests):
        provider = HttpProvider("shop", settings(address))
        assert [provider.capabilities() for _ in range(3)] == [{"a": 1}, {"a": 2}, {"a": 2}]
        with pytest.raises(UnavailableError, match="answers 304"):
            provider.price_book("spring")
        assert provider.capabilities() == {"a": 2}
        with pytest.raises(FaultyError, match="1 fault"):
            provider.capabilities()
        assert provider.capabilities() == {"a": 2}
    assert [b"If-None-Match" in each for each in requests] == [False, True, True, False] + [
        True
    ] * 3


@pytest.mark.parametrize(
    ("answer", "error"),
    [
        (json_answer(gzip.compress(b"{}")), FaultyError),
        (json_answer(b'{"a":' * 100_000), FaultyError),
        (json_answer(b'{"a":' * 600 + b"1" + b"}" * 600), FaultyError),
        (json_answer(b'{"a": 1e999999}'), FaultyError),
        (json_answer(b'{"a": "\\ud800"}'), FaultyError),
        (plainly(b"{}", "200 OK", "Content-Type: application/json; charset=utf-16"), None),
        (raw(HEAD + b"Content-Length: 99\r\n\r\n{"), UnavailableError),
        (raw(HEAD + b"Content-Length: -1\r\n\r\n{}"), FaultyError),
        (raw(HEAD + b"Transfer-Encoding: chunked\r\n\r\nffffffffff\r\n{"), UnavailableError),
        (raw(HEAD + b"" + b"X-Many: x\r\n" * 1000), UnavailableError),
        (raw(HEAD + b"X-Long: " + b"x" * 200_000), UnavailableError),
        (raw(b"\x16\x03\x01\x02"), UnavailableError),
        (raw(b""), UnavailableError),
    ],
    ids=[
        "gzip unsaid",
        "deep and open",
        "deep",
        "huge number",
        "surrogate",
        "charset",
        "half a body",
        "negative length",
        "half a chunk",
        "many fields",
        "long field",
        "TLS",
        "nothing",
    ],
)
def test_whatever_comes_is_a_document_or_a_failure_of_the_provider(
    answer: Answer, error: type[Exception] | None
) -> None:
    if error is None:
        assert asked(answer) == {}
        return
    with pytest.raises(error):
        asked(answer)


@pytest.mark.parametrize("tag", ['W/"weak"', "bare", ""])
def test_a_document_without_strong_tag_is_asked_for_each_time(tag: str) -> None:
    with answering(json_answer(b"{}", f"ETag: {tag}")) as (address, requests):
        provider = HttpProvider("shop", settings(address))
        provider.capabilities()
        provider.capabilities()
    assert [b"If-None-Match" in request for request in requests] == [False, False]


def test_documents_are_asked_for_by_their_paths() -> None:
    with answering(json_answer(b"{}")) as (address, requests):
        provider = HttpProvider("shop", settings(f"{address}/base"))
        for kind in ("price_book", "labour_rates", "tax_rules", "stock", "mapping"):
            assert getattr(provider, kind)("spring") == {}
    paths = [request.split(b" ")[1].decode() for request in requests]
    start = "/base/price-books/spring"
    assert paths == [
        start,
        f"{start}/labour-rates",
        f"{start}/tax-rules",
        f"{start}/stock",
        f"{start}/mapping",
    ]
