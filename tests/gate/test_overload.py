"""More requests than the server can answer: some are refused at once, and the others go on."""

import contextlib
import json
import os
import re
import signal
import threading
import time
from pathlib import Path

import pytest
from crowds import HEALTH, LONGEST_S, Answer, get, post, serving, wait_for
from test_streams import batch

from drawn_requests import document, validator
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.web.operations import OPERATIONS
from loomwright.web.serving.admission import OVERLOAD_S

ATTEMPTS = 4
# Of the 99th percentile under overload to that of one call after another.
GREATEST_RATIO = 5.0
# As many answers as make a 99th percentile.
LEAST_ANSWERS = 400


def check_overloaded(answer, retry_after_s):
    assert answer.status == 503
    problem = answer.problem()
    assert problem["code"] == "overloaded"
    validator("Problem").validate(problem)
    assert answer.fields["retry-after"] == str(retry_after_s)
    assert re.fullmatch(r"[0-9a-f]{32}", answer.fields["x-request-id"])


def test_the_interface_tells_of_overload():
    described = document()
    assert described["x-problem-codes"]["overloaded"]["status"] == 503
    for operation in OPERATIONS:
        if operation.tag == "service":
            continue
        for method in described["paths"][operation.url].values():
            refused = method["responses"]["503"]
            assert "`overloaded`" in refused["description"]
            assert "Retry-After" in refused["headers"]


class Caller(threading.Thread):
    """Sends the next call as soon as the last one is answered or refused, for some time."""

    def __init__(self, served, until):
        super().__init__()
        self.served = served
        self.until = until
        self.answers = []

    def run(self):
        with self.served.connected() as wire:
            while time.monotonic() < self.until:
                wire.sendall(post())
                self.answers.append(Answer(b"", wire))


def crowd_of_callers(served, count, seconds):
    """Return all answers to callers who do not wait as they are told to."""
    until = time.monotonic() + seconds
    callers = [Caller(served, until) for _ in range(count)]
    for caller in callers:
        caller.start()
    health = []
    while time.monotonic() < until:
        health.append(served.ask(HEALTH).status)
    for caller in callers:
        caller.join()
    assert set(health) == {200}
    return [answer for caller in callers for answer in caller.answers]


def percentile_99(values):
    assert len(values) >= LEAST_ANSWERS
    return sorted(values)[int(len(values) * 0.99)]


def test_under_overload_what_is_answered_is_answered_soon(tmp_path, record_property):
    notes = tmp_path / "latencies"
    notes.touch()

    def since(lines):
        found = [line.split() for line in notes.read_text().splitlines()[lines:]]
        return [float(seconds) for status, seconds in found if status == "200"]

    config = Path(__file__).with_name("timed_server.py")
    with serving(tmp_path, config=config, environment={"LATENCIES": str(notes)}) as served:
        ratios = []
        for _ in range(ATTEMPTS):
            before = len(notes.read_text().splitlines())
            with served.connected() as wire:
                for _ in range(LEAST_ANSWERS):
                    wire.sendall(post())
                    assert Answer(b"", wire).status == 200
            wait_for(lambda start=before: len(since(start)) >= LEAST_ANSWERS, "not all noted")
            alone = percentile_99(since(before))
            # The first of them are let in as a burst.
            crowd_of_callers(served, 32, OVERLOAD_S / 5)
            before = len(notes.read_text().splitlines())
            answers = []
            while sum(answer.status == 200 for answer in answers) < LEAST_ANSWERS:
                answers += crowd_of_callers(served, 32, 1.0)
            refused = [answer for answer in answers if answer.status != 200]
            # Some are refused all the time, and each is told when to come again.
            assert len(refused) > 100
            for answer in refused[:50]:
                check_overloaded(answer, 1)
            assert {answer.fields["connection"] for answer in answers} == {"keep-alive"}
            ratios.append(percentile_99(since(before)) / alone)
            if ratios[-1] < GREATEST_RATIO:
                break
    record_property(
        "summary",
        f"Under overload, {len(refused)} of {len(answers)} calls refused, the 99th percentile was "
        f"{ratios[-1]:.1f} times that of one call after another.",
    )
    assert ratios[-1] < GREATEST_RATIO, ratios


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A server of ``watched_service.py``, in which batches can be held up."""
    folder = tmp_path_factory.mktemp("watched")
    with serving(folder, app=["watched_service:watched()"], heavy_queue=1, batches=2) as served:
        served.folder = folder
        yield served


PREFLIGHT = get("/v1/price-packages", method="OPTIONS")
PLAN = post(json.dumps({"job": demo_job(DEMO_JOBS[0])}).encode(), "/v1/plan-installation")


def test_plans_beyond_their_bound_are_refused_and_quick_calls_go_on(served):
    with contextlib.ExitStack() as stack:
        wires = [stack.enter_context(served.connected()) for _ in range(8)]
        for wire in wires:
            wire.sendall(PLAN)
        assert served.ask(post()).status == 200
        assert served.ask(HEALTH).status == 200
        answers = [Answer(b"", wire) for wire in wires]
    statuses = sorted(answer.status for answer in answers)
    # One at work and one that waits; a third where the first was done before the last came.
    assert set(statuses) == {200, 503}
    assert 2 <= statuses.count(200) < 8
    for answer in answers:
        if answer.status == 503:
            check_overloaded(answer, 2)
    assert served.ask(PLAN).status == 200


def test_batches_beyond_their_bound_are_refused_before_their_body_and_others_go_on(served):
    rows = post(batch(packages=5), "/v1/price-packages")
    hold = served.folder / "wait"
    hold.touch()
    with contextlib.ExitStack() as stack:
        wires = [stack.enter_context(served.connected()) for _ in range(2)]
        for wire in wires:
            wire.sendall(rows)
            assert wire.recv(1) == b"H"
        check_overloaded(served.ask(rows), 10)
        with served.connected() as late:
            late.sendall(rows.partition(b"\r\n\r\n")[0] + b"\r\n\r\n")
            answer = Answer(b"", late)
            check_overloaded(answer, 10)
            assert answer.fields["connection"] == "close"
        # A page asks so before it sends rows, and has to be told what they are told.
        assert served.ask(PREFLIGHT).status == 200
        # Held for as long as one likes, they hold up nothing else.
        for request in (post(), HEALTH, PLAN):
            assert served.ask(request).status == 200
        hold.unlink()
        for wire in wires:
            received = b""
            while not received.endswith(b"\r\n0\r\n\r\n"):
                received += wire.recv(65536)
            assert b'"summary":{"rows":15,' in received
        wait_for(lambda: served.ask(rows).status == 200, "no room for another one")


def test_batches_at_work_hold_no_quick_call_up(served):
    """Beside two streams that a client takes as fast as they come."""
    alone = served.seconds_of_kept_calls()
    stop = threading.Event()
    taken = [0, 0]

    def take(number):
        with served.connected() as wire:
            wire.sendall(post(batch(packages=1000, vehicles=300), "/v1/price-packages"))
            while not stop.is_set() and (piece := wire.recv(1 << 20)):
                taken[number] += len(piece)

    streams = [threading.Thread(target=take, args=(number,)) for number in range(2)]
    for stream in streams:
        stream.start()
    try:
        wait_for(lambda: all(taken), "no rows")
        ratios = []
        for _ in range(ATTEMPTS):
            before = list(taken)
            ratios.append(served.seconds_of_kept_calls() / alone)
            # They went on meanwhile: neither was through, nor waited for the calls.
            assert all(now > then for now, then in zip(taken, before, strict=True))
            if ratios[-1] < 2 * GREATEST_RATIO:
                break
    finally:
        stop.set()
        for stream in streams:
            stream.join()
    assert ratios[-1] < 2 * GREATEST_RATIO, ratios


def test_several_threads_answer_quick_calls_all_the_same(tmp_path):
    with serving(tmp_path, threads=3, queue=2, burst=2) as served:
        with contextlib.ExitStack() as stack:
            wires = [stack.enter_context(served.connected()) for _ in range(30)]
            for wire in wires:
                wire.sendall(post())
            answers = [Answer(b"", wire) for wire in wires]
        assert {answer.status for answer in answers} <= {200, 503}
        # One by each thread at least, whoever else waited for too long.
        assert sum(answer.status == 200 for answer in answers) >= 3
        for answer in answers:
            if answer.status == 503:
                check_overloaded(answer, 1)
        assert served.ask(post()).status == 200


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGQUIT], ids=["INT", "QUIT"])
def test_who_ends_the_server_breaks_no_call_off(tmp_path, number):
    """Each ends in one of its calls; ``serving`` sees that no failure is in the log."""
    with serving(tmp_path) as served:
        caller = Caller(served, time.monotonic() + LONGEST_S)
        worker = int(served.worker.name)
        stop = threading.Event()

        def call():
            with contextlib.suppress(AssertionError, OSError):
                caller.run()
            stop.set()

        thread = threading.Thread(target=call)
        thread.start()
        wait_for(lambda: len(caller.answers) > 50, "no answers")
        os.kill(worker, number)
        wait_for(stop.is_set, "the connection stays")
        thread.join()
        assert {answer.status for answer in caller.answers} == {200}
        wait_for(lambda: served.ask(HEALTH).status == 200, "no other worker")
