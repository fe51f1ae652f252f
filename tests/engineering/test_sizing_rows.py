"""Sizing of many rows: the answer of the single call to each, to the last digit."""

import math
from dataclasses import replace

import numpy as np
import pytest

from loomwright.engineering.conductors import sizing, sizing_rows
from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest, Segment
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.conductors.sizing_rows import (
    NONE,
    NOT_SOLVED,
    VERDICTS,
    RequestRows,
    SizedRequestRows,
    may_pass_cap,
    size_rows,
    solve_thicker,
)
from loomwright.engineering.conductors.surroundings import surroundings
from loomwright.engineering.conductors.temperature_curve import INTERVALS
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.load import tables

TABLES = tables()
PLACES = (Segment(1.0, 333.15, 2, engine_space=True), Segment(1.0, 308.15))


def request(series: str = "metric", segments: tuple[Segment, ...] = PLACES) -> ConductorRequest:
    """A request whose numbers the rows bring along."""
    return ConductorRequest(
        sizes=TABLES.series[series],
        material=TABLES.materials["copper"],
        insulation=TABLES.insulations["pvc_105"],
        supply_voltage_v=12.0,
        allowed_voltage_drop_v=0.36,
        segments=segments,
        load_current_a=10.0,
    )


def asked_rows(asked: ConductorRequest, count: int, seed: int = 0) -> RequestRows:
    """Rows from light to beyond every size, one in two of constant power."""
    rng = np.random.default_rng(seed)
    power = rng.random(count) < 0.5
    load_a = np.exp(rng.uniform(math.log(0.05), math.log(400.0), count))
    return RequestRows(
        request=asked,
        tables=TABLES,
        segment_lengths_m=rng.uniform(0.1, 6.0, (count, len(asked.segments))),
        supply_voltage_v=rng.uniform(9.0, 15.0, count),
        allowed_voltage_drop_v=rng.uniform(0.1, 1.2, count),
        load_current_a=np.where(power, np.nan, load_a),
        load_power_w=np.where(power, 12.0 * load_a, np.nan),
        source_resistance_ohm=rng.choice([0.0, 0.004, 0.05], count),
        wiring_fixed_resistance_ohm=rng.choice([0.0, 0.002, 0.02], count),
    )


def single(rows: RequestRows, row: int) -> ConductorAnswer:
    """What the single call answers for a row."""
    current_a, power_w = float(rows.load_current_a[row]), float(rows.load_power_w[row])
    segments = zip(rows.request.segments, rows.segment_lengths_m[row].tolist(), strict=True)
    asked = replace(
        rows.request,
        supply_voltage_v=float(rows.supply_voltage_v[row]),
        allowed_voltage_drop_v=float(rows.allowed_voltage_drop_v[row]),
        segments=tuple(replace(segment, length_m=length_m) for segment, length_m in segments),
        load_current_a=None if math.isnan(current_a) else current_a,
        load_power_w=None if math.isnan(power_w) else power_w,
        source_resistance_ohm=float(rows.source_resistance_ohm[row]),
        fixed_resistance_ohm=float(rows.wiring_fixed_resistance_ohm[row]),
    )
    return size_conductor(asked, TABLES)


def assert_same(sized: SizedRequestRows, row: int, answer: ConductorAnswer, first: int) -> None:
    """Compare the verdict and the candidates from one up."""
    chosen = NONE if answer.chosen is None else answer.chosen
    assert (VERDICTS[sized.verdict[row]], sized.chosen[row]) == (answer.verdict, chosen)
    found, rows = answer.candidates, sized.candidates
    np.testing.assert_array_equal(rows.failing[row, first:], found.failing[first:])
    for name in rows._fields[1:]:
        np.testing.assert_array_equal(
            getattr(rows, name)[row, first:], getattr(found, name)[first:], name
        )


REQUESTS = {
    "plain": request(),
    "mechanical": replace(request(), smallest_size=TABLES.conductors["6 mm2"]),
    # The thinnest of all may be chosen.
    "thinnest": replace(request(), smallest_size=TABLES.conductors["0.5 mm2"]),
    "fault": replace(request("awg"), fault_current_a=900.0, clearing_time_s=0.3),
    "cycle": replace(request("sae"), on_time_s=20.0, off_time_s=60.0),
    "parallel": replace(request(), greatest_parallel_runs=2),
    "chassis": replace(request("iso_6722", PLACES[:1]), return_by_conductor=False),
}


@pytest.mark.parametrize("name", REQUESTS)
def test_rows_are_answered_as_the_single_call_does(name: str) -> None:
    rows = asked_rows(REQUESTS[name], 60)
    sized = size_rows(rows)
    assert sized.frame is surroundings(rows.request, TABLES).frame
    assert not sized.unusual.any()
    solve_thicker(rows, sized.chosen, np.arange(60), sized.candidates)
    seen = set()
    for row in range(60):
        answer = single(rows, row)
        count = len(answer.candidates.sizes)
        assert_same(sized, row, answer, count if answer.chosen is None else answer.chosen)
        seen.add(answer.verdict)
    assert seen == set(VERDICTS)


def test_only_the_chosen_candidate_is_stated_until_others_are_asked_for() -> None:
    rows = asked_rows(REQUESTS["thinnest"], 40)
    sized = size_rows(rows)
    assert sized.frame is not None
    assert sorted(set(sized.chosen.tolist()))[:2] == [-1, 0]
    chosen = np.flatnonzero(sized.chosen != -1)
    stated = sized.candidates.failing != NOT_SOLVED
    assert stated.sum() == chosen.size
    assert stated[chosen, sized.chosen[chosen]].all()
    for row in chosen.tolist():
        answer = single(rows, row)
        place = sized.chosen[row]
        assert (
            sized.candidates.load_current_a[row, place] == answer.candidates.load_current_a[place]
        )
    asked = np.arange(1, 40, 3)
    # What is stated stays; a figure of no row shows it.
    sized.candidates.load_current_a[chosen, sized.chosen[chosen]] = -7.0
    solve_thicker(rows, sized.chosen, asked, sized.candidates)
    assert (sized.candidates.load_current_a[chosen, sized.chosen[chosen]] == -7.0).all()
    stated = sized.candidates.failing != 255
    for row in range(40):
        first = sized.chosen[row] + 1
        thinner = [] if first == 0 else [False] * (first - 1) + [True]
        thicker = [row in asked and first > 0] * (len(sized.frame.sizes) - len(thinner))
        assert stated[row].tolist() == thinner + thicker


def test_no_rows_are_asked_for_nothing() -> None:
    rows = asked_rows(request(), 3)
    sized = size_rows(rows)
    before = sized.candidates.failing.copy()
    solve_thicker(rows, sized.chosen, np.arange(0), sized.candidates)
    np.testing.assert_array_equal(sized.candidates.failing, before)


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("supply_voltage_v", [0.0, -1.0, math.nan, 1e101]),
        ("allowed_voltage_drop_v", [0.0, -0.1, math.nan, math.inf]),
        ("load_current_a", [0.0, math.nan, math.inf]),
        ("source_resistance_ohm", [-1e-3, math.nan, math.inf]),
        ("wiring_fixed_resistance_ohm", [-1e-3, math.nan, 1e100]),
        ("segment_lengths_m", [0.0, -1.0, math.nan]),
    ],
)
def test_numbers_out_of_the_ordinary_are_left_to_the_single_call(
    name: str, values: list[float]
) -> None:
    rows = asked_rows(request(), len(values) + 1)
    rows = replace(rows, load_current_a=np.full(len(values) + 1, 5.0))
    rows = replace(rows, load_power_w=np.full(len(values) + 1, np.nan))
    getattr(rows, name).T[..., 1:] = values
    assert size_rows(rows).unusual.tolist() == [False, *[True] * len(values)]


@pytest.mark.parametrize("power_w", [0.0, -5.0, math.inf])
def test_power_out_of_the_ordinary_is_left_to_the_single_call(power_w: float) -> None:
    rows = asked_rows(request(), 2)
    rows.load_power_w[:] = [60.0, power_w]
    assert size_rows(rows).unusual.tolist() == [False, True]


def test_place_as_hot_as_the_insulation_is_left_to_the_single_call() -> None:
    hot = request("metric", (Segment(1.0, 378.15),))
    rows = asked_rows(hot, 5)
    sized = size_rows(rows)
    assert sized.unusual.all()
    assert sized.frame is None
    assert sized.candidates.failing.shape == (5, 0)
    with pytest.raises(EngineeringError, match="rated 105 C"):
        single(rows, 0)


@pytest.mark.parametrize("candidate", [0, 12])
def test_rows_that_do_not_settle_are_left_to_the_single_call(
    monkeypatch: pytest.MonkeyPatch, candidate: int
) -> None:
    # A made-up conductor of 40 ohm below 75 mA, where 0.7 W take 79 mA, and of 30 ohm above, where
    # they take 71 mA: each step leads to the other side. 75 mA are 31 of 32 intervals.
    thinnest = TABLES.conductors["0.5 mm2"]
    rows = asked_rows(replace(request("metric", PLACES[:1]), smallest_size=thinnest), 3)
    rows.load_current_a[:], rows.load_power_w[:] = math.nan, [0.7, 0.1, 0.6]
    rows.supply_voltage_v[:], rows.segment_lengths_m[:] = 12.0, 1.0
    rows.allowed_voltage_drop_v[:] = 8.0
    rows.source_resistance_ohm[:] = rows.wiring_fixed_resistance_ohm[:] = 0.0
    around = surroundings(rows.request, TABLES)
    made_up = {
        name: getattr(around, name).copy()
        for name in (
            "ambient_resistance_ohm_per_m",
            "resistance_slope_ohm_per_mk",
            "share_per_ampere",
            "curves",
        )
    }
    made_up["ambient_resistance_ohm_per_m"][0, candidate] = 40.0
    made_up["resistance_slope_ohm_per_mk"][candidate] = 1.0
    made_up["share_per_ampere"][0, candidate] = 31.0 / INTERVALS / 0.075
    made_up["curves"][0, candidate] = 0.0
    made_up["curves"][0, candidate, 31:, 0] = -10.0
    for module in (sizing, sizing_rows):
        monkeypatch.setattr(module, "surroundings", lambda *_: replace(around, **made_up))
    sized = size_rows(rows)
    assert sized.unusual.tolist() == [True, False, False]
    with pytest.raises(EngineeringError, match="did not settle"):
        single(rows, 0)
    # 0.1 W and 0.6 W, 63 mA, stay below 75 mA. The collapse of 0.6 W, 100 mA, would not, so the
    # made-up conductor is solved and serves: the thinnest one is chosen all the same.
    assert [single(rows, row).chosen for row in (1, 2)] == [0, 0]
    assert sized.chosen[1:].tolist() == [0, 0]


def test_current_of_the_collapse_tells_whether_a_segment_may_pass_the_cap():
    # 120 W collapse a source of 12 V at 20 A, all of the cap at 0.05 for each ampere.
    assert not may_pass_cap(120.0, 12.0, 0.05)
    assert may_pass_cap(120.0, 12.0, 0.0501)
    assert not may_pass_cap(120.0, 12.0, 0.0499)
    assert not may_pass_cap(math.nan, 12.0, 1.0)


@pytest.mark.parametrize("series", sorted(TABLES.series))
def test_below_the_cap_the_drop_of_heat_is_convex(series: str) -> None:
    # The square of the current times the rise is what a constant power loses to heat beyond the
    # cold circuit. As long as it is convex Newton's method climbs to the root and settles: so
    # candidates that cannot pass the cap need not be solved to know that they do.
    places = tuple(Segment(1.0, 233.15 + 20.0 * step) for step in range(7))
    curves = surroundings(request(series, places), TABLES).curves
    inside = np.linspace(0.0, 1.0, 9)
    c0, c1, c2, c3 = (curves[..., :-1, power, None] for power in range(4))
    share = np.arange(INTERVALS)[:, None] + inside
    rise = ((c3 * inside + c2) * inside + c1) * inside + c0
    slope = (3.0 * c3 * inside + 2.0 * c2) * inside + c1
    curvature = 6.0 * c3 * inside + 2.0 * c2
    assert (2.0 * rise + 4.0 * share * slope + share**2 * curvature >= 0.0).all()
    # No kink from one interval to the next.
    ends, starts = slope[..., :-1, -1], slope[..., 1:, 0]
    np.testing.assert_allclose(ends, starts, rtol=1e-9, atol=1e-12)
