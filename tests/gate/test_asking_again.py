"""Who asks again too soon hears of the refusal later; what is answered is answered soon."""

import contextlib
import heapq
import select
import socket
import threading
import time

import pytest
from crowds import LONGEST_S, Answer, get, post, serving, wait_for
from test_streams import batch

from loomwright.web.serving.admission import RETRY_AFTER_S, Line, Weight, bounds_of
from loomwright.web.serving.refusals import APART_S, GREATEST_REST_S, LEAST_REST_S, Refusals
from loomwright.web.settings import Settings

# [s] of the worker, about as measured: to read a call, to answer it, to refuse it; and of a caller
# from an answer to his next call.
READ_S, ANSWER_S, REFUSE_S, AGAIN_S = 70e-6, 220e-6, 45e-6, 60e-6
IN_A_TURN = 8
# Wanted of whatever crowd: the 99th percentile to that of one caller, calls answered to those of
# one caller.
MOST_TIMES, LEAST_SHARE = 5.0, 0.8
ORIGIN = "https://till.example"
ROWS = post(batch(packages=1), "/v1/price-packages")


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


def test_no_refusal_is_told_later_than_whoever_was_told_may_come(clock):
    assert min(RETRY_AFTER_S.values()) >= GREATEST_REST_S
    refusals = Refusals(clock)
    for _ in range(3):
        assert refusals.tell_at("obeys", 2) == clock.now
        clock.now += 2


def test_who_comes_too_soon_is_told_later_and_each_at_another_time(clock):
    refusals = Refusals(clock)
    assert [refusals.tell_at(number, 1) for number in range(20)] == [clock.now] * 20
    clock.now += 0.5
    found = [refusals.tell_at(number, 1) - clock.now for number in range(20)]
    assert found == pytest.approx([LEAST_REST_S + number * APART_S for number in range(20)])
    # From when he is told on, not from when he asked.
    clock.now += 1.0 + LEAST_REST_S / 2
    assert refusals.tell_at(0, 1) > clock.now
    clock.now += 2.0
    assert refusals.tell_at(0, 1) == clock.now


def test_no_crowd_however_large_is_held_for_longer_than_it_is_told_to_wait(clock):
    refusals = Refusals(clock)
    refusals.tell_at("crowd", 1)
    found = [refusals.tell_at("crowd", 1) for _ in range(5000)]
    assert found == sorted(found)
    assert found[-1] == clock.now + GREATEST_REST_S


def test_of_many_addresses_the_oldest_is_forgotten(clock):
    refusals = Refusals(clock)
    for number in range(100_000):
        refusals.tell_at(number, 10)
    assert refusals.tell_at(0, 10) == clock.now
    assert refusals.tell_at(99_999, 10) > clock.now


class Model:
    """Callers who ask again at once, and a worker of the deployed bounds, without a machine."""

    def __init__(self, callers, seconds):
        self.clock = Clock()
        self.line = Line(bounds_of(Settings())[Weight.QUICK], self.clock)
        self.refusals = Refusals(self.clock)
        self.coming = [(self.clock.now, number) for number in range(callers)]
        self.asked = dict.fromkeys(range(callers), self.clock.now)
        self.resting = []
        self.waits = []
        self.answered = set()
        self.refused = 0
        self.end = self.clock.now + seconds

    def again(self, caller):
        self.asked[caller] = self.clock.now + AGAIN_S
        heapq.heappush(self.coming, (self.asked[caller], caller))

    def tell(self, caller):
        self.refused += 1
        self.clock.now += REFUSE_S
        self.again(caller)

    def turn_away(self, callers):
        for caller in callers:
            until = self.refusals.tell_at("all of one address", 1)
            if until > self.clock.now:
                self.resting.append((until, caller))
            else:
                self.tell(caller)

    def turn(self):
        clock, line = self.clock, self.line
        while self.resting and self.resting[0][0] <= clock.now:
            self.tell(self.resting.pop(0)[1])
        for _ in range(IN_A_TURN):
            if self.coming and self.coming[0][0] <= clock.now:
                clock.now += READ_S
                self.turn_away(line.enter(heapq.heappop(self.coming)[1]))
        caller = line.begin()
        if caller is None:
            clock.now = max(clock.now, min(self.coming[:1] + self.resting[:1])[0])
            return
        clock.now += ANSWER_S
        self.waits.append(clock.now - self.asked[caller])
        line.end()
        self.answered.add(caller)
        self.again(caller)
        self.turn_away(line.stale())

    def run(self):
        while self.clock.now < self.end:
            self.turn()
        return self

    def percentile_99(self):
        return sorted(self.waits)[int(len(self.waits) * 0.99)]


@pytest.mark.parametrize("callers", [4, 6, 8, 16, 32, 64, 128])
def test_in_any_crowd_what_is_answered_is_answered_soon_as_callers_see_it(callers):
    seconds = 5.0
    alone, crowd = Model(1, seconds).run(), Model(callers, seconds).run()
    assert alone.refused == 0
    assert (crowd.refused == 0) is (callers <= Settings().queue + 1)
    # Who finds room is a matter of luck, and of no more than that.
    assert len(crowd.answered) >= 0.75 * callers
    assert crowd.percentile_99() <= MOST_TIMES * alone.percentile_99()
    assert len(crowd.waits) >= LEAST_SHARE * seconds / (READ_S + ANSWER_S)


def test_the_sheet_of_a_caller_is_answered_as_a_whole_beside_others():
    sheet, rounds = 60, 5
    model = Model(3, 0.0)
    for _ in range(rounds):
        for number in range(sheet):
            cell = 1000 + number
            model.asked[cell] = model.clock.now
            heapq.heappush(model.coming, (model.clock.now, cell))
        model.end = model.clock.now + 2.0
        # A cell asks no second time.
        again = model.again
        model.again = lambda caller, again=again: None if caller >= 1000 else again(caller)
        model.run()
        model.again = again
    assert model.refused == 0


class Hammer(threading.Thread):
    """Asks all the time, on one connection or on a new one for each call."""

    def __init__(self, served, until, keeps):
        super().__init__()
        self.served = served
        self.until = until
        self.keeps = keeps
        self.statuses = []

    def run(self):
        while time.monotonic() < self.until:
            with self.served.connected() as wire:
                keeps = True
                while keeps and time.monotonic() < self.until:
                    wire.sendall(post(fields="" if self.keeps else "Connection: close\r\n"))
                    self.statuses.append(Answer(b"", wire).status)
                    keeps = self.keeps


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("served")
    with serving(folder, queue=1, burst=1, batches=1, cors_origins=ORIGIN) as served:
        yield served


@pytest.mark.parametrize("keeps", [True, False], ids=["kept", "new connections"])
def test_who_asks_all_the_time_is_not_refused_all_the_time(served, keeps):
    seconds = 1.5
    began = time.monotonic()
    hammers = [Hammer(served, began + seconds, keeps) for _ in range(8)]
    for hammer in hammers:
        hammer.start()
    for hammer in hammers:
        hammer.join()
    took = time.monotonic() - began
    for hammer in hammers:
        assert set(hammer.statuses) <= {200, 503}
        # But for the first one, whoever of that address it is told.
        assert hammer.statuses.count(503) <= took / LEAST_REST_S + 1
    statuses = [status for hammer in hammers for status in hammer.statuses]
    assert statuses.count(200) > statuses.count(503)


@contextlib.contextmanager
def one_batch_at_work(served):
    """Hold the place of the only batch by taking nothing of it."""
    with served.connected(receive_bytes=4096) as wire:
        wire.sendall(post(batch(packages=1000, vehicles=300), "/v1/price-packages"))
        assert wire.recv(1) == b"H"
        yield


def seconds_until_refused(served, address):
    with socket.socket() as wire:
        wire.settimeout(LONGEST_S)
        wire.bind((address, 0))
        wire.connect(("127.0.0.1", served.port))
        began = time.monotonic()
        wire.sendall(ROWS)
        assert Answer(b"", wire).status == 503
        return time.monotonic() - began


def test_a_refusal_is_held_from_who_was_told_and_from_nobody_else(served):
    with one_batch_at_work(served):
        assert seconds_until_refused(served, "127.0.0.2") > 0
        for _ in range(3):
            assert seconds_until_refused(served, "127.0.0.2") >= LEAST_REST_S * 0.99
        others = [seconds_until_refused(served, f"127.0.0.{number}") for number in range(3, 12)]
        assert min(others) < LEAST_REST_S
        # What is not refused is not held.
        assert min(served.seconds_of_kept_calls(10) for _ in range(3)) < LEAST_REST_S


def test_a_refusal_may_be_read_by_pages_and_is_a_line_in_sheets(served):
    fields = f"Origin: {ORIGIN}\r\n"
    with one_batch_at_work(served):
        answer = served.ask(get("/v1/price-packages?errors=text", fields))
        assert answer.status == 200
        assert answer.body.startswith(b"Error: As many batches are under way")
        assert answer.fields["access-control-allow-origin"] == ORIGIN
        answer = served.ask(post(batch(packages=1), "/v1/price-packages", fields))
        assert (answer.status, answer.problem()["code"]) == (503, "overloaded")
        assert answer.fields["access-control-allow-origin"] == ORIGIN
        assert answer.fields["retry-after"] == "10"


def test_who_vanishes_while_the_refusal_is_held_leaves_nothing(served):
    with one_batch_at_work(served):
        seconds_until_refused(served, "127.0.0.1")
        before = served.held()[0]
        wires = []
        for _ in range(100):
            wires.append(served.connected())
            # The second request is there by the time that the first one is refused.
            wires[-1].sendall(ROWS * 2)
        wait_for(lambda: served.held()[0] > before + 50, "nobody is connected")
        for wire in wires:
            wire.close()
        wait_for(lambda: served.held()[0] <= before, "descriptors are left")
    wait_for(lambda: served.ask(ROWS).status == 200, "no room for another one")


def test_requests_in_a_row_are_refused_one_after_another(served):
    with one_batch_at_work(served), served.connected() as wire:
        seconds_until_refused(served, "127.0.0.1")
        began = time.monotonic()
        wire.sendall(ROWS * 3)
        rest = b""
        for _ in range(3):
            answer = Answer(rest, wire)
            assert (answer.status, answer.fields["connection"]) == (503, "keep-alive")
            rest = answer.rest
        assert time.monotonic() - began >= 3 * LEAST_REST_S * 0.99


def test_half_of_all_connections_are_held_at_most_and_are_told_as_the_server_ends(tmp_path):
    with contextlib.ExitStack() as stack:
        served = stack.enter_context(serving(tmp_path, batches=1, connections=300))
        wires = [stack.enter_context(served.connected()) for _ in range(200)]
        wait_for(lambda: served.sockets() > 200, "not all are connected")
        with one_batch_at_work(served):
            for wire in wires:
                wire.sendall(ROWS)
            answers = []

            def hear():
                heard, _, _ = select.select(wires, [], [], 0)
                for wire in heard:
                    answers.append(Answer(b"", wire))
                    wires.remove(wire)
                return "close" in [answer.fields["connection"] for answer in answers]

            # The first one, and those beyond the half, which need not come again on theirs.
            wait_for(hear, "all are held")
            served.process.terminate()
            answers += [Answer(b"", wire) for wire in wires]
        assert [answer.status for answer in answers] == [503] * 200
        # Those told last would else have waited for half a second.
        assert {answer.fields["connection"] for answer in answers[-10:]} == {"close"}
        assert served.process.wait(timeout=LONGEST_S) == 0
