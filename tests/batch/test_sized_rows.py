"""Sizes of many rows: those of the single call for the job of each row, to the last digit."""

from collections import Counter
from typing import Any

import numpy as np
import pytest
from drawn_variations import drawn_variation
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drawn_jobs import jobs
from loomwright.batch.sizing.known_fuses import KnownFuses
from loomwright.batch.sizing.sized_rows import sized_rows
from loomwright.batch.sizing.sizes import NONE, CircuitSizes, SizedRows
from loomwright.batch.variation import SOURCE_RESISTANCE, Place, Variation
from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.sized_circuit import VERDICTS, SizedCircuit
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from varied_jobs import changed, extremes, vehicles

TABLES, FUSES = tables(), fuse_tables()


def job_of(document: dict[str, Any]) -> Job:
    return job_from_document(document, TABLES, FUSES.types)


def single_call(job: Job) -> tuple[SizedCircuit, ...] | None:
    """Sizes of a job, or none where the engineering refuses it."""
    try:
        return sized_circuits(job, circuit_conductors(job, TABLES), TABLES, FUSES)
    except EngineeringError:
        return None


def entries_of_row(sizes: CircuitSizes, row: int) -> tuple[object, ...]:
    figures = (
        sizes.rated_current_a,
        sizes.load_current_a,
        sizes.voltage_drop_v,
        sizes.conductor_temperature_k,
    )
    return (
        VERDICTS[sizes.verdict[row]],
        int(sizes.size[row]),
        int(sizes.fuse_type[row]),
        *[None if np.isnan(figure[row]) else float(figure[row]) for figure in figures],
    )


def entries_of_single_call(sized: SizedCircuit) -> tuple[object, ...]:
    series = TABLES.series[sized.circuit.conductor.series]
    types = sized.circuit.fuse_types or tuple(FUSES.types)
    return (
        sized.verdict,
        NONE if sized.conductor is None else series.index(sized.conductor),
        NONE if sized.fuse_type is None else types.index(sized.fuse_type),
        sized.rated_current_a,
        sized.load_current_a,
        sized.voltage_drop_v,
        sized.conductor_temperature_k,
    )


def compared(variation: Variation, found: SizedRows) -> Counter[str]:
    """Hold every row to the single call; return how often each outcome came up."""
    outcomes: Counter[str] = Counter()
    assert found.unusual.shape == (variation.count,)
    assert list(found.circuits) == [circuit.key for circuit in variation.job.circuits]
    for row in range(variation.count):
        alone = single_call(variation.job_of(row))
        if found.unusual[row]:
            outcomes["refused" if alone is None else "unusual"] += 1
            continue
        assert alone is not None
        for sized in alone:
            rows = entries_of_row(found.circuits[sized.circuit.key], row)
            assert rows == entries_of_single_call(sized), (row, sized.circuit.key)
            outcomes["circuits"] += 1
            outcomes[sized.verdict] += 1
            outcomes["thickened"] += sized.thickened_for is not None
    return outcomes


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_jobs_in_like_vehicles_are_sized_as_by_the_single_call(name: str) -> None:
    variation = vehicles(job_of(demo_job(name)), 700, seed=11)
    outcomes = compared(variation, sized_rows(variation))
    assert outcomes["circuits"] == 700 * len(variation.job.circuits)
    assert outcomes["sized"] > 0


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_jobs_between_extremes_are_sized_as_by_the_single_call(name: str) -> None:
    variation = extremes(job_of(demo_job(name)), 500, seed=12)
    outcomes = compared(variation, sized_rows(variation))
    assert outcomes["circuits"] > 450 * len(variation.job.circuits)


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_demo_jobs_up_to_a_hundred_metres_are_sized_as_by_the_single_call(name: str) -> None:
    job = job_of(demo_job(name))
    outcomes: Counter[str] = Counter()
    for seed in range(10):
        variation = drawn_variation(job, 20, seed)
        outcomes += compared(variation, sized_rows(variation))
    assert outcomes["circuits"] + outcomes["refused"] > 100


def test_changed_jobs_are_sized_as_by_the_single_call() -> None:
    outcomes: Counter[str] = Counter()
    # Fuses that were looked up for one of them serve the others.
    known = KnownFuses()
    for seed in range(48):
        job = job_of(changed(demo_job(DEMO_JOBS[seed % 4]), seed))
        for drawn in (vehicles(job, 50, seed), extremes(job, 50, seed)):
            outcomes += compared(drawn, sized_rows(drawn, known))
    # With the two tests above there are more than 20,000 circuit rows.
    assert outcomes["circuits"] > 9000
    assert all(outcomes[verdict] > 50 for verdict in VERDICTS)
    assert outcomes["thickened"] > 50
    assert outcomes["refused"] > 0
    assert outcomes["unusual"] < 0.01 * outcomes["circuits"]


@settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(jobs(), st.integers(0, 2**32 - 1))
def test_drawn_jobs_are_sized_as_by_the_single_call(document: dict[str, Any], seed: int) -> None:
    variation = extremes(job_of(document), 12, seed)
    compared(variation, sized_rows(variation))


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_hardly_any_row_of_like_vehicles_is_unusual(name: str) -> None:
    found = sized_rows(vehicles(job_of(demo_job(name)), 20000, seed=13))
    assert found.unusual.mean() < 0.001


def test_known_fuses_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loomwright.batch.sizing.known_fuses.GREATEST_KNOWN_CIRCUITS", 2)
    variation, known = vehicles(job_of(demo_job("truck_24v")), 20, seed=14), KnownFuses()
    for _ in range(3):
        compared(variation, sized_rows(variation, known))
    assert sum(len(own.known) for own in known._known.values()) <= 2


def test_rows_that_are_alike_have_the_sizes_of_the_job() -> None:
    job = job_of(demo_job("truck_24v"))
    found = sized_rows(Variation(job, 3, {}))
    alone = single_call(job)
    assert alone is not None
    for sized in alone:
        for row in range(3):
            rows = entries_of_row(found.circuits[sized.circuit.key], row)
            assert rows == entries_of_single_call(sized)


def test_a_row_that_is_refused_spoils_no_other() -> None:
    document = demo_job("combustion_car")
    document["circuits"][0]["distance_from_source"] = 0
    job = job_of(document)
    # Nothing limits the fault at the fuse in the second row.
    resistances = {
        Place(SOURCE_RESISTANCE, key): np.array([0.01, 0.0, 0.02]) for key in job.power_sources
    }
    variation = Variation(job, 3, resistances)
    assert single_call(variation.job_of(1)) is None
    found = sized_rows(variation)
    assert found.unusual.tolist() == [False, True, False]
    assert compared(variation, found)["circuits"] == 2 * len(job.circuits)
