"""Conductors of many rows: those of the single call for the job of each row, to the last digit."""

import copy
import math
from collections import Counter
from typing import Any

import numpy as np
import pytest
from drawn_variations import drawn_variation
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drawn_jobs import jobs
from loomwright.batch.sizing.conductor_columns import (
    CONDUCTOR_VERDICTS,
    NONE,
    NOT_SOLVED,
    ConductorRows,
)
from loomwright.batch.sizing.conductor_rows import conductor_rows
from loomwright.batch.variation import (
    COLD_CRANKING_CURRENT,
    SEGMENT_LENGTH,
    SOURCE_RESISTANCE,
    SOURCE_VOLTAGE,
    Place,
    Variation,
)
from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.circuit_conductors import CircuitConductor, circuit_conductors
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

TABLES = tables()


def job_of(document: dict[str, Any]) -> Job:
    return job_from_document(document, TABLES, fuse_tables().types)


def same(first: float, second: float) -> bool:
    return first == second or (math.isnan(first) and math.isnan(second))


def differing_candidates(rows: ConductorRows, row: int, single: CircuitConductor) -> list[str]:
    """Names of columns in which a candidate from the chosen one up differs from the single call."""
    assert single.answer is not None
    found, chosen = single.answer.candidates, single.answer.chosen
    if chosen is None:
        return []
    pairs = {
        "failing": (rows.failing, found.failing),
        "current": (rows.current_a, found.load_current_a),
        "drop": (rows.drop_v, found.voltage_drop_v),
        "temperature": (rows.temperature_k, found.conductor_temperature_k),
        "loop": (rows.loop_resistance_ohm, found.loop_resistance_ohm),
    }
    return [
        name
        for name, (columns, alone) in pairs.items()
        if not np.array_equal(columns[row, chosen:], alone[chosen:], equal_nan=name != "failing")
    ]


def differences(rows: ConductorRows, row: int, single: CircuitConductor) -> list[str]:
    """Names of all that differs from the single call in one row."""
    request, answer = single.request, single.answer
    wrong = []
    if CONDUCTOR_VERDICTS[rows.verdict[row]] != single.verdict:
        wrong.append("verdict")
    if rows.load_current_a[row] != single.load_current_a:
        wrong.append("load current")
    if request is None or answer is None:
        if rows.known[row] or rows.chosen[row] != NONE:
            wrong.append("known")
        return wrong
    assert rows.request is not None
    if not rows.known[row]:
        wrong.append("known")
    if rows.chosen[row] != (NONE if answer.chosen is None else answer.chosen):
        wrong.append("chosen")
    if rows.supply_voltage_v[row] != request.supply_voltage_v:
        wrong.append("supply")
    if not same(rows.source_resistance_ohm[row], request.source_resistance_ohm):
        wrong.append("source")
    if rows.sizes != answer.candidates.sizes:
        wrong.append("sizes")
    return wrong + differing_candidates(rows, row, single)


def compared(variation: Variation) -> Counter[str]:
    """Compare every circuit in every row; return how often each verdict came, and errors."""
    found = conductor_rows(variation, TABLES)
    assert list(found) == [circuit.key for circuit in variation.job.circuits]
    for each in found.values():
        each.solve_thicker(np.arange(variation.count))
    seen: Counter[str] = Counter()
    for row in range(variation.count):
        unusual = {bool(each.unusual[row]) for each in found.values()}
        try:
            alone = circuit_conductors(variation.job_of(row), TABLES)
        except EngineeringError as error:
            seen[error.code if unusual == {True} else "missed"] += 1
            continue
        if unusual == {True}:
            # The circuits before it may drop more than there is, which the single call answers.
            assert any(each.supply_voltage_v[row] <= 0.0 for each in found.values()), row
            seen["unusual"] += 1
            continue
        assert unusual == {False}
        for key, single in alone.items():
            assert differences(found[key], row, single) == [], (row, key)
            seen[single.verdict] += 1
    assert not seen["missed"]
    return seen


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_jobs_have_the_conductors_of_the_single_call(name: str) -> None:
    seen = compared(drawn_variation(job_of(demo_job(name)), 1200, 5))
    assert seen["conductor_found"] > 100
    assert seen["no_conductor_meets_criteria"] > 0


def with_power_loads(document: dict[str, Any], circuits: set[str]) -> dict[str, Any]:
    """The job with constant powers on some circuits."""
    changed = copy.deepcopy(document)
    for item in changed["equipment"]:
        if item.get("circuit") in circuits:
            item["load_power"] = 12.0 * item.pop("load_current")
    return changed


@st.composite
def varied_jobs(draw: st.DrawFn) -> dict[str, Any]:
    """Drawn jobs with loads of either kind, sources of either kind, and any family."""
    document = draw(jobs())
    keys = [circuit["key"] for circuit in document["circuits"]]
    document = with_power_loads(document, draw(st.sets(st.sampled_from(keys))))
    document["conductors"]["series"] = draw(st.sampled_from(sorted(TABLES.series)))
    document["conductors"]["insulation"] = draw(st.sampled_from(("pvc_105", "pvc_70")))
    for source in document["power_sources"]:
        if draw(st.booleans()):
            del source["source_resistance"]
            source["cold_cranking_current"] = 500
    for circuit in document["circuits"]:
        circuit["allowed_voltage_drop_percent"] = draw(st.sampled_from((1, 3, 6)))
        for stretch in circuit["route"]:
            stretch["bundled_conductors"] = draw(st.sampled_from((1, 4)))
    return document


@settings(max_examples=80, suppress_health_check=list(HealthCheck))
@given(document=varied_jobs(), seed=st.integers(0, 2**32 - 1))
def test_drawn_jobs_have_the_conductors_of_the_single_call(
    document: dict[str, Any], seed: int
) -> None:
    seen = compared(drawn_variation(job_of(document), 100, seed))
    assert seen.total() >= 100


def van(values: dict[Place, float]) -> Variation:
    """Two rows of a demo job, of which the second has other numbers."""
    job = job_of(demo_job("van_second_battery"))
    first = Variation(job, 1, {})
    arrays = {}
    for place, number in values.items():
        stated = first.numbers(place)
        assert stated is not None
        arrays[place] = np.array([float(stated), number])
    return Variation(job, 2, arrays)


def test_source_that_cannot_deliver_the_power_leaves_no_operating_point() -> None:
    variation = van({Place(SOURCE_RESISTANCE, "service_battery"): 0.1})
    source = variation.job.power_sources["service_battery"]
    # At most E**2 / 4 R, through no wiring at all: 12.6**2 / 0.4 = 397 W of the 890 W wanted.
    assert source.emf_v**2 / (4.0 * 0.1) < 890.0
    inverter = conductor_rows(variation, TABLES)["inverter_feed"]
    words = [CONDUCTOR_VERDICTS[code] for code in inverter.verdict]
    assert words == ["conductor_found", "no_operating_point"]
    assert inverter.chosen[1] == NONE
    assert inverter.load_current_a[1] == 0.0


def test_feeder_whose_branches_have_no_conductor_knows_no_load() -> None:
    job = job_of(demo_job("van_second_battery"))
    feeder = next(circuit for circuit in job.circuits if job.branches(circuit.key))
    # A kilometre in each stretch is beyond every size.
    values = {
        Place(SEGMENT_LENGTH, branch.key, index): 1000.0
        for branch in job.branches(feeder.key)
        for index in range(len(branch.route))
    }
    found = conductor_rows(van(values), TABLES)
    assert found[feeder.key].known.tolist() == [True, False]
    assert CONDUCTOR_VERDICTS[found[feeder.key].verdict[1]] == "no_sized_branch"
    everywhere = {place: np.full(3, number) for place, number in values.items()}
    alone = conductor_rows(Variation(job, 3, everywhere), TABLES)[feeder.key]
    assert alone.request is None
    assert alone.sizes == ()
    assert not alone.known.any()
    assert alone.load_current_a.tolist() == [0.0] * 3
    alone.solve_thicker(np.arange(3))
    assert alone.failing.shape == (3, 0)


def test_thicker_candidates_are_solved_where_they_are_asked_for() -> None:
    variation = drawn_variation(job_of(demo_job("combustion_car")), 40, 3)
    (feed,) = conductor_rows(variation, TABLES).values()
    chosen = feed.chosen != NONE
    assert (feed.failing != NOT_SOLVED).sum(axis=1).tolist() == chosen.astype(int).tolist()
    rows = np.flatnonzero(chosen)[::2]
    feed.solve_thicker(rows)
    solved = (feed.failing != NOT_SOLVED).sum(axis=1)
    assert solved[rows].tolist() == (len(feed.sizes) - feed.chosen[rows]).tolist()
    others = np.setdiff1d(np.flatnonzero(chosen), rows)
    assert solved[others].tolist() == [1] * others.size


def test_row_of_a_source_that_is_refused_is_left_to_the_single_call() -> None:
    job = job_of(demo_job("combustion_car"))
    # Six cells of a cranked battery hold 7.5 V; it must have more at rest.
    emf = np.array([12.6, 7.5, 7.6])
    cranking = np.array([540.0, 540.0, 50.0])
    variation = Variation(
        job,
        3,
        {Place(SOURCE_VOLTAGE, "battery"): emf, Place(COLD_CRANKING_CURRENT, "battery"): cranking},
    )
    (feed,) = conductor_rows(variation, TABLES).values()
    assert feed.unusual.tolist() == [False, True, False]
    # Half of (12.6 V - 7.5 V) / 540 A, as it is warm.
    assert feed.source_resistance_ohm[0] == pytest.approx(5.1 / 1080.0, rel=1e-12)
    with pytest.raises(EngineeringError, match="cold-cranking"):
        circuit_conductors(variation.job_of(1), TABLES)


def test_rows_are_all_left_to_the_single_call_where_the_place_is_too_hot() -> None:
    document = demo_job("combustion_car")
    document["conductors"]["insulation"] = "pvc_70"
    document["circuits"][0]["route"][0]["zone"] = "engine_compartment"
    found = conductor_rows(Variation(job_of(document), 4, {}), TABLES)
    assert all(each.unusual.all() and each.frame is None for each in found.values())


def test_no_rows_are_no_rows() -> None:
    found = conductor_rows(Variation(job_of(demo_job("truck_24v")), 0, {}), TABLES)
    assert all(each.chosen.size == each.unusual.size == 0 for each in found.values())
