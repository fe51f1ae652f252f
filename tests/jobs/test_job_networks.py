"""What sizings of one job share changes none of their networks, readings and conductors."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings

from drawn_installations import jobs
from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.circuit_conductors import CircuitConductor, circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.installation_network import (
    FittedCircuit,
    InstallationNetwork,
    drawn_circuits,
    installation_network,
)
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.job_networks import JobNetworks
from loomwright.jobs.measurements import JobReadings
from loomwright.jobs.plan.alternatives import PLAN_NAMES, USUAL, planned_job
from loomwright.jobs.solved_installation import JobSolutions, SolvedInstallation
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
ReadJob = Callable[[object], Job]
Sizing = tuple[Job, tuple[FittedCircuit, ...], Mapping[str, CircuitConductor]]


def sizings(job: Job) -> Iterator[Sizing]:
    """Yield the three plans of a job and the first again, each before and after its fuses."""
    for name in (*PLAN_NAMES, PLAN_NAMES[0]):
        planned = planned_job(job, name, USUAL)
        conductors = circuit_conductors(planned, tables())
        yield planned, tuple(conductors.values()), conductors
        yield planned, sized_circuits(planned, conductors, tables(), fuse_tables()), conductors


def assert_same(one: InstallationNetwork, other: InstallationNetwork) -> None:
    for field in fields(InstallationNetwork):
        this, that = getattr(one, field.name), getattr(other, field.name)
        if field.name in ("shape", "elements"):
            for name, values in this._asdict().items():
                # To the last digit; bounds of currents may be infinite.
                assert np.array_equal(values, that._asdict()[name]), name
        else:
            assert this == that, field.name


def readings(kept: JobReadings, sizing: Sizing, drawn: InstallationNetwork) -> object:
    """Return what is expected on a network, or the code of the error that it raises."""
    job, _, conductors = sizing
    try:
        return kept.of(job, drawn, conductors).each
    except EngineeringError as error:
        return error.code


def assert_sharing_changes_nothing(job: Job) -> None:
    networks, shared = JobNetworks(tables()), JobReadings()
    for sizing in sizings(job):
        alone = installation_network(*sizing, tables())
        drawn = networks.of(*sizing, drawn_circuits(*sizing[1:]))
        assert_same(drawn, alone)
        assert readings(shared, sizing, drawn) == readings(JobReadings(), sizing, alone)


@settings(max_examples=60, deadline=None)
@given(jobs())
def test_networks_and_readings_are_those_of_each_sizing_alone(document: Document) -> None:
    assert_sharing_changes_nothing(job_from_document(document, tables(), fuse_tables().types))


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_networks_and_readings_of_the_demo_jobs_are_those_of_each_sizing_alone(
    name: str, read_job: ReadJob
) -> None:
    assert_sharing_changes_nothing(read_job(demo_job(name)))


def test_a_network_without_one_of_the_circuits_is_drawn_by_itself(read_job: ReadJob) -> None:
    job = read_job(demo_job("van_second_battery"))
    networks = JobNetworks(tables())
    _, sized, conductors = next(sizings(job))
    whole = networks.of(job, sized, conductors, drawn_circuits(sized, conductors))
    last = job.circuits[-1].key
    lacking = {**conductors, last: CircuitConductor(job.circuits[-1], None, None)}
    bare = tuple(lacking.values())
    part = networks.of(job, bare, lacking, drawn_circuits(bare, lacking))
    assert part.left_out == (last,)
    assert set(whole.supply_nodes) - set(part.supply_nodes) == {last}
    assert_same(networks.of(job, sized, conductors, drawn_circuits(sized, conductors)), whole)


def test_what_lies_between_which_nodes_is_drawn_once(read_job: ReadJob) -> None:
    networks = JobNetworks(tables())
    drawn = [
        networks.of(*each, drawn_circuits(*each[1:]))
        for each in sizings(read_job(demo_job("van_second_battery")))
    ]
    assert len({id(network.shape) for network in drawn}) == 1
    assert len({id(network.parts) for network in drawn}) == 1


def test_the_same_conductors_and_loads_are_solved_once(read_job: ReadJob) -> None:
    solutions = JobSolutions(tables())
    found: dict[tuple[object, ...], list[SolvedInstallation]] = {}
    for job, sized, conductors in sizings(read_job(demo_job("van_second_battery"))):
        case = (tuple(drawn_circuits(sized, conductors).items()), job.equipment)
        solved = solutions.of(job, sized, conductors)
        found.setdefault(case, []).append(solved)
        alone = JobSolutions(tables()).of(job, sized, conductors)
        assert (solved.circuits, solved.sources) == (alone.circuits, alone.sources)
    assert max(len(same) for same in found.values()) > 1
    for same in found.values():
        assert len({id(solved) for solved in same}) == 1


def test_a_conductor_is_asked_for_again_where_voltage_drop_or_load_differ(
    small_job: Document, read_job: ReadJob
) -> None:
    job = read_job(small_job)
    (key,) = [circuit.key for circuit in job.circuits]
    first = circuit_conductors(job, tables())
    again = circuit_conductors(job, tables(), {}, first)
    assert again[key].answer is first[key].answer
    for changed, voltages_v in (
        (job, {key: 12.0}),
        (planned_job(job, "leanest", USUAL), {}),
        (planned_job(job, "headroom", USUAL), {}),
    ):
        after = circuit_conductors(changed, tables(), voltages_v, first)
        alone = circuit_conductors(changed, tables(), voltages_v)
        assert after[key].answer is not first[key].answer
        assert after[key].request == alone[key].request
