"""Fuses of many rows: what the single call chooses in each of them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from drawn_fuse_rows import FUSES, KEYS, conductor, drawn_numbers, drawn_requests, fused
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection import fuse_rows
from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_answer import (
    FUSE_FOUND,
    NO_RATING,
    NOT_PROTECTED,
    VERDICTS,
)
from loomwright.engineering.protection.fuse_bounds import CYCLIC_LOAD
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FuseOptions,
    FusePlacement,
    FuseRequest,
    GivenFuse,
)
from loomwright.engineering.protection.fuse_rows import (
    NONE,
    UNUSUAL,
    WAITING,
    CircuitFuses,
    FuseNumbers,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.fuse_terms import KNOWN, WANTED

ROWS = 500


def of_row(asked, numbers, row, candidate):
    """One row as a request of its own."""
    current = float(numbers.current_a[row, candidate])
    starting, limit = numbers.starting_current_a[row], numbers.current_limit_a[row]
    return replace(
        asked[candidate],
        load=replace(
            asked[candidate].load,
            continuous_current_a=current,
            inrush_current_a=None if math.isnan(starting) else max(float(starting), current),
        ),
        conductor=replace(
            asked[candidate].conductor,
            there_and_back_resistance_ohm=float(numbers.loop_resistance_ohm[row, candidate]),
        ),
        source=FaultSource(
            float(numbers.emf_v[row]),
            float(numbers.internal_resistance_ohm[row]),
            float(numbers.resistance_before_fuse_ohm[row]),
            None if math.isinf(limit) else float(limit),
        ),
    )


@pytest.mark.parametrize("seed", range(32))
def test_every_row_has_the_fuse_of_the_single_call(seed):
    rng = np.random.default_rng(seed)
    asked = drawn_requests(rng)
    numbers, candidate = drawn_numbers(rng, asked[0], ROWS), rng.integers(0, 3, ROWS)
    found = fused(asked, numbers, candidate)
    types = asked[0].fuse_types or KEYS
    for row in range(ROWS):
        answer = size_fuse(of_row(asked, numbers, row, int(candidate[row])), FUSES)
        assert VERDICTS[found.verdict[row]] == answer.verdict
        if answer.chosen_type is None:
            assert found.fuse_type[row] == NONE
            assert math.isnan(found.rated_current_a[row])
        else:
            assert types[found.fuse_type[row]] == answer.chosen_type
            assert found.rated_current_a[row] == answer.rated_current_a


def test_drawn_rows_meet_every_verdict_but_those_on_given_fuses():
    met = set()
    for seed in range(32):
        rng = np.random.default_rng(seed)
        asked = drawn_requests(rng)
        numbers, candidate = drawn_numbers(rng, asked[0], ROWS), rng.integers(0, 3, ROWS)
        met |= set(fused(asked, numbers, candidate).verdict.tolist())
    given_or_boats = {
        "position_limit_exceeded",
        "not_a_standard_rating",
        "rating_too_low_for_load",
        "not_selective",
    }
    assert {VERDICTS[code] for code in met} == set(VERDICTS) - given_or_boats


def usual(count=4):
    """A request, and rows of it that have a fuse."""
    wire = conductor(4, "pvc_105", 1, 1.0)
    asked = FuseRequest(FuseLoad(1.0), wire, FaultSource(12.6, 0.02), 12.0, 313.15)
    numbers = FuseNumbers(
        current_a=np.full((count, 1), 9.0),
        loop_resistance_ohm=np.full((count, 1), 0.02),
        starting_current_a=np.full(count, math.nan),
        emf_v=np.full(count, 12.6),
        internal_resistance_ohm=np.full(count, 0.02),
        resistance_before_fuse_ohm=np.zeros(count),
        current_limit_a=np.full(count, math.inf),
    )
    return asked, numbers


def test_rows_are_taken_by_their_index():
    asked, numbers = usual()
    # 9 A on 80 % of the rating, warm, calls for another rating than 15 A do.
    numbers.current_a[2, 0] = 15.0
    chosen = fused([asked], numbers, np.zeros(2, np.int64), np.array([2, 0]))
    each = [size_fuse(of_row([asked], numbers, row, 0), FUSES) for row in (2, 0)]
    assert chosen.rated_current_a.tolist() == [answer.rated_current_a for answer in each]
    assert chosen.rated_current_a[0] > chosen.rated_current_a[1]
    assert VERDICTS[chosen.verdict[0]] == FUSE_FOUND


@pytest.mark.parametrize(
    ("field", "value"),
    [("current_a", 0.0), ("current_a", math.nan), ("emf_v", 0.0), ("emf_v", -1.0)],
)
def test_a_row_outside_the_range_spoils_no_other(field, value):
    asked, numbers = usual()
    getattr(numbers, field)[1] = value
    found = fused([asked], numbers, np.zeros(4, np.int64))
    assert found.verdict.tolist() == [0, UNUSUAL, 0, 0]
    assert found.fuse_type[1] == NONE
    if not math.isnan(value):
        with pytest.raises(EngineeringError):
            size_fuse(of_row([asked], numbers, 1, 0), FUSES)


def test_a_row_without_any_resistance_is_left_to_the_single_call_unless_its_source_has_a_limit():
    asked, numbers = usual()
    numbers.internal_resistance_ohm[:3] = 0.0
    numbers.current_limit_a[1] = 60.0
    # A loop of copper limits the fault at the far end, not the one at the fuse.
    found = fused([asked], numbers, np.zeros(4, np.int64))
    assert found.verdict.tolist() == [UNUSUAL, 0, UNUSUAL, 0]
    with pytest.raises(EngineeringError, match="no limit"):
        size_fuse(of_row([asked], numbers, 0, 0), FUSES)


@pytest.mark.parametrize(
    "change",
    [
        {"checked_fuse": GivenFuse(10.0, KEYS[0])},
        {"options": FuseOptions(selectivity_required=True)},
        {"placement": FusePlacement(rules="boat_abyc_e11")},
        # Refused by the single call as well: no model holds at such an ambient.
        {"ambient_temperature_k": 500.0},
    ],
)
def test_what_rows_are_not_judged_by_is_left_to_the_single_call(change):
    asked, numbers = usual()
    found = fused([replace(asked, **change)], numbers, np.zeros(4, np.int64))
    assert found.verdict.tolist() == [UNUSUAL] * 4


def test_an_unknown_type_is_refused():
    asked, numbers = usual()
    with pytest.raises(EngineeringError, match="not listed"):
        fused([replace(asked, fuse_types=("glass_tube",))], numbers, np.zeros(4, np.int64))


def test_no_row_is_no_work():
    asked, numbers = usual()
    found = fused([asked], numbers, np.zeros(0, np.int64))
    assert found.verdict.size == 0


def test_what_stands_for_no_index_is_none():
    assert max(NONE, UNUSUAL, WAITING) < 0
    assert UNUSUAL != WAITING


def over_conductors(numbers, count):
    """The same rows for each of several conductors."""
    return numbers._replace(
        current_a=np.repeat(numbers.current_a, count, axis=1),
        loop_resistance_ohm=np.repeat(numbers.loop_resistance_ohm, count, axis=1),
    )


def test_a_conductor_is_looked_up_once_as_the_first_row_comes_to_it():
    asked, numbers = usual(1)
    looked_up = []

    def request_of(candidate):
        looked_up.append(candidate)
        return asked

    fuses = CircuitFuses(request_of, 3, (), FUSES)
    numbers = over_conductors(numbers, 3)
    answer = size_fuse(of_row([asked] * 3, numbers, 0, 0), FUSES)
    for candidates, expected in (([2], [2]), ([2, 0], [2, 0]), ([0, 0, 2], [2, 0])):
        rows = np.zeros(len(candidates), np.int64)
        found = fuses.of_rows(rows, np.array(candidates), numbers)
        assert looked_up == expected
        assert found.rated_current_a.tolist() == [answer.rated_current_a] * len(candidates)


def test_a_conductor_that_is_refused_keeps_no_other_from_being_looked_up():
    asked, numbers = usual(2)
    hot = replace(asked, ambient_temperature_k=500.0)
    found = fused([hot, asked], over_conductors(numbers, 2), np.array([0, 1]))
    assert found.verdict.tolist() == [UNUSUAL, VERDICTS.index(FUSE_FOUND)]


def test_a_source_of_less_than_a_volt_is_answered():
    asked, numbers = usual(1)
    numbers.emf_v[0], numbers.current_a[0] = 0.6, 0.5
    answer = size_fuse(of_row([asked], numbers, 0, 0), FUSES)
    found = fused([asked], numbers, np.zeros(1, np.int64))
    assert VERDICTS[found.verdict[0]] == answer.verdict


@pytest.mark.parametrize("on_time_s", [0.2, 1.0, 5.0])
def test_the_peak_of_a_short_cycle_is_carried(on_time_s):
    asked, numbers = usual(4)
    load = replace(asked.load, on_time_s=on_time_s, off_time_s=300.0)
    asked = replace(asked, load=load, fuse_types=("iso_8820_3_c",))
    numbers.current_a[:, 0] = [9.0, 15.0, 20.0, 25.0]
    found = fused([asked], numbers, np.zeros(4, np.int64))
    for row in range(4):
        answer = size_fuse(of_row([asked], numbers, row, 0), FUSES)
        # A fifth of the current at most in the mean, so that its peak decides.
        assert answer.types[0].window.lower_rule == CYCLIC_LOAD
        assert VERDICTS[found.verdict[row]] == answer.verdict
        if answer.rated_current_a is not None:
            assert found.rated_current_a[row] == answer.rated_current_a
    assert (found.fuse_type == 0).any()


def test_a_far_end_without_any_resistance_is_left_to_the_single_call():
    asked, numbers = usual(2)
    asked = replace(asked, placement=FusePlacement(distance_from_source_m=1.0))
    # A metre of copper limits the fault at the fuse.
    numbers.internal_resistance_ohm[:] = 0.0
    numbers.loop_resistance_ohm[0] = 0.0
    assert fused([asked], numbers, np.zeros(2, np.int64)).verdict[0] == UNUSUAL
    with pytest.raises(EngineeringError, match="no limit"):
        size_fuse(of_row([asked], numbers, 0, 0), FUSES)


def is_found_within(monkeypatch, limits, fault_a, runs):
    """Whether there is a fuse for a fault, given the limits that every fuse protects within."""

    def look_up_margins(terms, _curves, _fuses):
        terms.margin[terms.margin_state == WANTED] = limits
        terms.margin_state[terms.margin_state == WANTED] = KNOWN

    monkeypatch.setattr(fuse_rows, "look_up_margins", look_up_margins)
    asked, numbers = usual(1)
    # At the source itself, so that nothing but its own resistance limits the fault.
    numbers.emf_v[0], numbers.internal_resistance_ohm[0] = 12.0, 12.0 / fault_a
    wire = conductor(4, "pvc_105", runs, 1.0)
    asked = replace(asked, conductor=wire, fuse_types=("iso_8820_3_c",))
    verdict = VERDICTS[fused([asked], numbers, np.zeros(1, np.int64)).verdict[0]]
    assert verdict in {FUSE_FOUND, NOT_PROTECTED}
    return verdict == FUSE_FOUND


@pytest.mark.parametrize(
    ("limits", "fault_a", "is_protected"),
    # Fails from, curve ends at [A], unproven from [A], last opening time [s].
    [
        ((100.0, 60.0, 80.0, 1e9), 55.0, True),
        ((100.0, 60.0, 80.0, 1e9), 75.0, True),
        ((100.0, 60.0, 80.0, 1e9), 90.0, False),
        ((100.0, 60.0, 80.0, 1e-9), 90.0, True),
        ((100.0, 60.0, 80.0, 1e-9), 110.0, False),
        # No conductor has such an order; it tells which figure is which.
        ((100.0, 80.0, 60.0, 1e9), 75.0, True),
    ],
)
def test_a_row_is_protected_as_far_as_its_limits_say(monkeypatch, limits, fault_a, is_protected):
    assert is_found_within(monkeypatch, limits, fault_a, 1) is is_protected


def test_parallel_conductors_share_the_fault_that_has_to_be_opened_in_time(monkeypatch):
    # Each bears 45 A for ever, and 90 A for less than a fuse takes that hardly opens at all.
    limits = (100.0, 60.0, 80.0, 1e9)
    assert conductor(4, "pvc_105", 1, 1.0).ampacity_a > 45.0
    assert is_found_within(monkeypatch, limits, 90.0, 2)
    assert not is_found_within(monkeypatch, limits, 90.0, 1)


def test_a_window_of_a_single_rating_is_not_empty():
    asked, numbers = usual(1)
    upper_a = size_fuse(of_row([asked], numbers, 0, 0), FUSES).window.upper_a
    # No fuse of these types has just this rating, which the one in the equipment calls for.
    asked = replace(asked, equipment_fuse=GivenFuse(upper_a), fuse_types=("iso_8820_3_c",))
    answer = size_fuse(of_row([asked], numbers, 0, 0), FUSES)
    assert answer.window.lower_a == answer.window.upper_a == upper_a
    assert answer.verdict == NO_RATING
    verdict = fused([asked], numbers, np.zeros(1, np.int64)).verdict[0]
    assert VERDICTS[verdict] == NO_RATING
