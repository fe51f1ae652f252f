"""Slow, idle and vanished clients of the real server hold no quick call up, and leave nothing."""

import contextlib
import re
import resource
import socket
import struct
import time

import pytest
from crowds import (
    BODY,
    CONFIG,
    HEALTH,
    LONGEST_S,
    Answer,
    Crowd,
    allow_descriptors,
    get,
    post,
    serving,
    wait_for,
)
from test_streams import batch

MANY = 200
# As a ratio of two medians on one machine in one minute; the worst of it is other processes.
MOST_TIMES_SLOWER = 5.0
ATTEMPTS = 3
LARGE = get("/v1/openapi.json")
HEAD = b"POST /v1/size-conductor HTTP/1.1\r\nHost: x\r\nX-Slow: "
BODY_BEGINS = post().replace(BODY, b"")
CROWDS = {
    "silent": {},
    "slow heads": {"first": HEAD, "dripped": b"x" * 60},
    "slow bodies": {"first": BODY_BEGINS, "dripped": BODY},
    # More than the buffers of the kernel take.
    "slow readers": {"count": 50, "first": LARGE * 10, "receive_bytes": 4096},
}


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    with serving(tmp_path_factory.mktemp("served")) as served:
        # What is made once, threads and pools among it, is there before anything is counted.
        served.seconds_of_calls()
        assert served.ask(LARGE).status == 200
        yield served


@pytest.fixture(scope="module")
def impatient(tmp_path_factory):
    folder = tmp_path_factory.mktemp("impatient")
    text = CONFIG.read_text("utf-8")
    for name in ("STALLED_CLIENT_S", "STALLED_READER_S"):
        text, count = re.subn(f"^{name} = [0-9]+$", f"{name} = 1", text, flags=re.M)
        assert count == 1
    config = folder / "impatient.conf.py"
    config.write_text(text, "utf-8")
    with serving(folder, "--keep-alive", "1", config=config, connections=50) as served:
        yield served


def is_closed(wire):
    """Tell whether the server closed a connection without a word."""
    try:
        return wire.recv(1) == b""
    except ConnectionResetError:
        return True


def assert_quick_calls_go_on(served, alone):
    """Calls are answered, and about as soon as without the crowd at one time at least."""
    ratios = []
    for _ in range(ATTEMPTS):
        ratios.append(served.seconds_of_calls() / alone)
        if ratios[-1] < MOST_TIMES_SLOWER:
            return
    pytest.fail(f"quick calls took {ratios} times as long")


@pytest.mark.parametrize("kind", CROWDS)
def test_a_crowd_of_slow_clients_holds_no_quick_call_up(served, kind):
    alone = served.seconds_of_calls()
    with Crowd(served, **{"count": MANY, **CROWDS[kind]}) as crowd:
        count = len(crowd.wires)
        wait_for(lambda: served.sockets() > count, "not all are connected")
        # Asking for so much at once is load of its own until all of it stands still.
        wait_for(lambda: all(served.ask(post()).status == 200 for _ in range(20)), "no rest")
        assert_quick_calls_go_on(served, alone)
        # Each of them still has its connection: none was refused to serve others.
        assert served.sockets() > count
        if kind != "slow readers":
            assert crowd.heard() == 0


def test_idle_connections_hold_no_quick_call_up(served):
    alone = served.seconds_of_calls()
    with Crowd(served, MANY, first=HEALTH) as crowd:
        wait_for(lambda: crowd.heard() == MANY, "not all are answered")
        for wire in crowd.wires:
            assert Answer(b"", wire).fields["connection"] == "keep-alive"
        assert_quick_calls_go_on(served, alone)
        assert crowd.heard() == 0


def test_ten_thousand_connections_hold_no_quick_call_up(tmp_path, record_property):
    half = 5000
    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    allow_descriptors(2 * half + 1000)
    try:
        with serving(tmp_path, "--keep-alive", "60", connections=2 * half + 500) as served:
            alone = served.seconds_of_calls()
            with Crowd(served, half, first=HEALTH) as idle:
                for wire in idle.wires:
                    assert Answer(b"", wire).status == 200
                with Crowd(served, half, first=HEAD, dripped=b"x" * 60) as slow:
                    wait_for(lambda: served.sockets() > 2 * half, "not all are connected")
                    assert_quick_calls_go_on(served, alone)
                    count = served.sockets()
                    assert idle.heard() == slow.heard() == 0
                    assert served.ask(HEALTH).status == 200
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, before)
    assert count > 2 * half
    record_property("summary", f"Quick calls were answered beside {count} connections.")


@pytest.mark.parametrize(
    "request_", [post(), LARGE, post(batch(packages=30), "/v1/price-packages")], ids=len
)
def test_who_says_that_nothing_follows_gets_the_whole_answer(served, request_):
    whole = b""
    with served.connected() as wire:
        wire.sendall(request_)
        wire.shutdown(socket.SHUT_WR)
        while piece := wire.recv(65536):
            whole += piece
    head, _, body = whole.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 200 ")
    if b"Transfer-Encoding: chunked" in head:
        assert body.endswith(b"\r\n0\r\n\r\n")
        assert b'"summary":{"rows":90,' in body
    else:
        assert f"Content-Length: {len(body)}".encode() in head


VANISH = {
    "before a word": b"",
    "in the head": HEAD,
    "in the body": BODY_BEGINS + BODY[:20],
    "in chunks": BODY_BEGINS.replace(b"Content-Length", b"Transfer-Encoding: chunked\r\nX")
    + b"5\r\n{",
    "in the answer": LARGE,
    "in rows": post(batch(packages=60), "/v1/price-packages"),
}


@pytest.mark.parametrize("abruptly", [True, False], ids=["reset", "closed"])
def test_who_vanishes_leaves_neither_descriptors_nor_threads(served, abruptly):
    # The threads of the rows are made with the first of them.
    for _ in range(3):
        with served.connected() as wire:
            wire.sendall(VANISH["in rows"])
            assert wire.recv(1) == b"H"
    wait_for(lambda: served.ask(HEALTH).status == 200, "no health")
    time.sleep(0.5)
    descriptors, threads = served.held()
    gone = 0
    for request in VANISH.values():
        for _ in range(2 if b"price-packages" in request else 25):
            wire = served.connected(receive_bytes=4096)
            wire.sendall(request)
            if abruptly:
                wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            wire.close()
            gone += 1
    assert gone > 100
    wait_for(lambda: served.held()[0] <= descriptors, f"{served.held()}, {descriptors} before")
    assert served.held()[1] <= threads + 1  # a pool makes its threads as they are needed
    assert served.ask(post()).status == 200


def test_a_head_that_drips_is_refused_when_its_time_is_up(impatient):
    began = time.monotonic()
    with impatient.connected() as wire:
        wire.sendall(HEAD)
        wire.settimeout(0.2)
        while time.monotonic() - began < LONGEST_S:
            wire.sendall(b"x")
            with contextlib.suppress(TimeoutError):
                received = wire.recv(65536)
                break
        wire.settimeout(LONGEST_S)
        answer = Answer(received, wire)
        assert answer.status == 408
        assert answer.problem()["code"] == "request_timeout"
        assert answer.fields["connection"] == "close"


def test_a_body_that_stalls_is_refused(impatient):
    answer = impatient.ask(BODY_BEGINS + BODY[:10])
    assert (answer.status, answer.problem()["code"]) == (408, "request_timeout")


@pytest.mark.parametrize("first", [b"", HEALTH], ids=["new", "kept"])
def test_who_asks_nothing_is_let_go_without_a_word(impatient, first):
    with impatient.connected() as wire:
        if first:
            wire.sendall(first)
            assert Answer(b"", wire).status == 200
        assert is_closed(wire)


def test_who_takes_nothing_of_an_answer_is_let_go(impatient):
    before = impatient.sockets()
    with impatient.connected(receive_bytes=4096) as wire:
        wire.sendall(LARGE * 40)
        wait_for(lambda: impatient.sockets() > before, "not connected")
        wait_for(lambda: impatient.sockets() <= before, "the connection is kept for good")


def test_beyond_the_bound_the_one_that_waited_longest_is_let_go(impatient):
    with contextlib.ExitStack() as stack:
        wires = [stack.enter_context(impatient.connected()) for _ in range(60)]
        for wire in wires[50:]:
            wire.sendall(HEALTH)
            assert Answer(b"", wire).status == 200
        assert all(is_closed(wire) for wire in wires[:10])


def test_who_waits_to_be_told_to_go_on_is_told(served):
    head, _, body = post(fields="Expect: 100-continue\r\n").partition(b"\r\n\r\n")
    with served.connected() as wire:
        wire.sendall(head + b"\r\n\r\n")
        told = b""
        while not told.endswith(b"\r\n\r\n"):
            told += wire.recv(1)
        assert told == b"HTTP/1.1 100 Continue\r\n\r\n"
        wire.sendall(body)
        assert Answer(b"", wire).status == 200


def in_chunks(body, size):
    pieces = [body[at : at + size] for at in range(0, len(body), size)]
    chunks = b"".join(b"%x;a=b\r\n%b\r\n" % (len(piece), piece) for piece in pieces)
    return CHUNKED_HEAD + chunks + b"0\r\nX-Trailer: y\r\n\r\n"


CHUNKED_HEAD = (
    b"POST /v1/size-conductor HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n"
)


def test_requests_in_a_row_are_answered_in_turn(served):
    row = [post(), HEALTH, in_chunks(BODY, 7), get("/v1/nowhere"), post()]
    with served.connected() as wire:
        wire.sendall(b"".join(row))
        rest, statuses, bodies = b"", [], []
        for _ in row:
            answer = Answer(rest, wire)
            statuses.append(answer.status)
            bodies.append(answer.body)
            rest = answer.rest
    assert statuses == [200, 200, 200, 404, 200]
    assert bodies[0] == bodies[2] == bodies[4]


@pytest.mark.parametrize("size", [1, 3, 1000])
def test_a_request_that_comes_byte_by_byte_is_one_request(served, size):
    with served.connected() as wire:
        for byte in in_chunks(BODY, size):
            wire.send(bytes([byte]))
        assert Answer(b"", wire).status == 200


REFUSED = {
    "no size": (CHUNKED_HEAD + b"zz\r\n", 400, "bad_request"),
    "no end of a chunk": (CHUNKED_HEAD + b"2\r\n{}{}", 400, "bad_request"),
    "a bare line feed": (b"GET / HTTP/1.1\nHost: x\n\n", 400, "bad_request"),
    "no end of a line": (b"GET /" + b"x" * 9000, 414, "uri_too_long"),
    "no end of a field": (b"GET / HTTP/1.1\r\nX: " + b"x" * 900_000, 431, "headers_too_large"),
    "chunks without end": (
        CHUNKED_HEAD + b"8000\r\n%b\r\n" % (b" " * 0x8000) * 60,
        413,
        "body_too_large",
    ),
    "a length beyond all": (
        BODY_BEGINS.replace(b"Content-Length: ", b"Content-Length: 999999"),
        413,
        "body_too_large",
    ),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_what_cannot_become_a_request_is_refused_at_once(served, kind):
    request, status, code = REFUSED[kind]
    answer = served.ask(request)
    assert (answer.status, answer.problem()["code"]) == (status, code)
    assert answer.fields["connection"] == "close"
