"""Which requests are let in, by the queue alone and its clock: bursts, standing queues, weights."""

import random

import pytest

from loomwright.web.operations import OPERATIONS
from loomwright.web.serving.admission import (
    BATCH_NAMES,
    HEAVY_NAMES,
    OVERLOAD_S,
    PAUSE_S,
    QUICK_BYTES,
    STALE_S,
    STANDING_BURSTS,
    STATE_NAMES,
    Bound,
    Line,
    Paths,
    Weight,
    bounds_of,
)
from loomwright.web.settings import Settings

QUICK = Bound(threads=1, waiting=2, burst=5)


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


def test_a_burst_waits_as_a_whole_and_is_answered_in_turn(clock):
    line = Line(QUICK, clock)
    assert [line.enter(number) for number in range(5)] == [[]] * 5
    order = []
    while (request := line.begin()) is not None:
        # One at a time.
        assert line.begin() is None
        order.append(request)
        line.end()
        assert line.stale() == []
    assert order == [0, 1, 2, 3, 4]


def test_beyond_a_burst_those_are_turned_away_that_have_waited_longest(clock):
    line = Line(QUICK, clock)
    assert [line.enter(number) for number in range(7)] == [[]] * 5 + [[0, 1, 2, 3], [6]]
    # It is an overload from now on: two may wait, in turn.
    assert line.enter(7) == [7]
    assert line.begin() == 4


def test_a_queue_that_stands_is_cut(clock):
    line = Line(QUICK, clock)
    for number in range(4):
        assert line.enter(number) == []
    # As many come as are answered; those that fill the first bound are not counted.
    most = QUICK.waiting + STANDING_BURSTS * QUICK.burst
    for number in range(4, most):
        assert line.begin() == number - 4
        line.end()
        assert line.enter(number) == []
    assert line.begin() == most - 4
    line.end()
    newest = most
    assert line.enter(newest) == [newest - 3, newest - 2]
    assert line.begin() == newest - 1
    assert line.enter(newest + 1) == []
    assert line.enter(newest + 2) == [newest + 2]
    # What has waited under overload for longer than others take is not answered any more.
    clock.now += STALE_S * 1.01
    line.end()
    assert line.begin() == newest
    assert line.stale() == [newest + 1]


def burst(line):
    """Let one in, and answer all of it."""
    assert [line.enter(number) for number in range(QUICK.burst)] == [[]] * QUICK.burst
    for number in range(QUICK.burst):
        assert line.begin() == number
        line.end()


@pytest.mark.parametrize(("pause_s", "calls"), [(PAUSE_S * 1.01, 0), (0.0, QUICK.burst)])
def test_bursts_with_a_pause_or_with_single_calls_between_are_none_that_stands(
    clock, pause_s, calls
):
    line = Line(QUICK, clock)
    for _ in range(10 * STANDING_BURSTS):
        burst(line)
        clock.now += pause_s
        for number in range(calls):
            assert line.enter(number) == []
            line.begin()
            line.end()


def test_bursts_without_a_pause_stand_although_each_is_worked_off(clock):
    """Callers who all wait for the slowest of them before they ask again."""
    line = Line(QUICK, clock)
    # Of each, three find a long queue and two a short one, who count for nothing at the first.
    for _ in range(STANDING_BURSTS * QUICK.burst - QUICK.waiting):
        burst(line)
    found = [line.enter(number) for number in range(QUICK.burst)]
    assert found == [[], [], [], [], [0, 1, 2]]


def test_an_overload_ends_some_time_after_the_last_that_was_turned_away(clock):
    line = Line(QUICK, clock)
    assert [number for request in range(6) for number in line.enter(request)] == [0, 1, 2, 3]
    while line.begin() is not None:
        line.end()
    clock.now += OVERLOAD_S * 0.99
    assert [line.enter(number) for number in range(3)] == [[], [], [2]]
    while line.begin() is not None:
        line.end()
    clock.now += OVERLOAD_S * 1.01
    assert [line.enter(number) for number in range(5)] == [[]] * 5
    assert line.begin() == 0


def served_at_random(clock, line, share, calls, seed):
    """Let calls come at random that take the process so much of its time; count the refused."""
    draw, answer_s = random.Random(seed), 3e-4
    comes = clock.now
    ends = None
    refused = 0
    for _ in range(calls):
        comes += draw.expovariate(share / answer_s)
        while ends is not None and ends <= comes:
            clock.now = ends
            line.end()
            refused += len(line.stale())
            ends = None if line.begin() is None else clock.now + answer_s
        clock.now = comes
        refused += len(line.enter(comes))
        if ends is None:
            assert line.begin() is not None
            ends = clock.now + answer_s
    while ends is not None:
        line.end()
        ends = line.begin()
    return refused


@pytest.mark.parametrize("seed", range(3))
def test_calls_at_random_that_leave_room_to_spare_are_let_in(clock, seed):
    line = Line(bounds_of(Settings())[Weight.QUICK], clock)
    assert served_at_random(clock, line, 0.7, 20_000, seed) == 0
    assert served_at_random(clock, line, 0.8, 20_000, seed) < 20_000 / 200


def test_an_overload_ends_as_soon_as_there_is_room_to_spare(clock):
    line = Line(bounds_of(Settings())[Weight.QUICK], clock)
    assert sum(len(line.enter(number)) for number in range(100)) > 0
    while line.begin() is not None:
        line.end()
    # Far less than it would last for, and with no pause.
    began = clock.now
    served_at_random(clock, line, 0.7, 1000, seed=4)
    assert clock.now - began < OVERLOAD_S / 3
    burst_of = bounds_of(Settings())[Weight.QUICK].burst
    assert [line.enter(number) for number in range(burst_of)] == [[]] * burst_of


def test_heavy_calls_wait_in_turn_and_the_last_is_turned_away(clock):
    line = Line(Bound(threads=2, waiting=1), clock)
    seen = []
    for number in range(4):
        assert line.has_room() is (number < 3)
        seen.append(line.enter(number))
        line.begin()
    assert seen == [[], [], [], [3]]
    assert not line.has_room()
    line.end()
    assert line.begin() == 2
    assert line.has_room()


def test_what_tells_the_state_is_never_turned_away(clock):
    line = Line(Bound(threads=1), clock)
    assert [line.enter(number) for number in range(10_000)] == [[]] * 10_000
    assert line.has_room()


def test_each_weight_is_of_operations_that_there_are():
    names = {operation.name for operation in OPERATIONS}
    assert names >= HEAVY_NAMES | BATCH_NAMES
    assert STATE_NAMES & names


@pytest.mark.parametrize(
    ("method", "path", "query", "accept", "body_bytes", "weight"),
    [
        ("GET", "/v1/health", "", "", 0, Weight.STATE),
        ("POST", "/v1/size-conductor", "", "application/json", 200, Weight.QUICK),
        ("POST", "/v1/size-conductor", "", "", QUICK_BYTES + 1, Weight.HEAVY),
        ("POST", "/v1/nowhere", "", "", 0, Weight.QUICK),
        ("POST", "/v1/plan-installation", "", "", 0, Weight.HEAVY),
        ("POST", "/v1/size-fuse", "", "application/pdf", 0, Weight.HEAVY),
        ("POST", "/v1/size-fuse", "x=1&as=pdf", "", 0, Weight.HEAVY),
        ("POST", "/v1/price-packages", "as=csv", "", 10**6, Weight.BATCH),
        ("OPTIONS", "/v1/price-packages", "", "", 0, Weight.STATE),
        ("OPTIONS", "/v1/plan-installation", "as=pdf", "", 10**6, Weight.STATE),
    ],
)
def test_the_weight_of_a_request(method, path, query, accept, body_bytes, weight):
    assert Paths(OPERATIONS).weight(method, path, query, accept, body_bytes) is weight


def test_calls_that_may_wait_for_another_service_are_told_apart():
    assert not Settings(jwt_keys="/keys.json").asks_others
    assert Settings(jwt_keys="https://issuer.example/keys").asks_others
    assert Settings(rate_limit_storage="redis://127.0.0.1:6379/0").asks_others
