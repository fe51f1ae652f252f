"""What is kept of work orders between requests changes no order of another job."""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import replace
from typing import Any

import pytest

from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.circuit_build import CircuitBuilds
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.circuit_sources import source_loads
from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job
from loomwright.jobs.job import (
    DRIVES,
    ENDS,
    EQUIPMENT,
    HAZARDS,
    JOININGS,
    STUDS,
    TAP_POINTS,
    Job,
)
from loomwright.jobs.job_bills import JobBills
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import JobGround, PricedJob, priced_circuits
from loomwright.jobs.work_order.job_tasks import tasks_of_outline
from loomwright.jobs.work_order.outline import JobOutline
from loomwright.jobs.work_order.steps import WorkOrder
from loomwright.jobs.work_order.work_order import work_order
from loomwright.pricing.bill import NO_OPTIONS
from loomwright.pricing.faults import DocumentError
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
# Of the texts of a job those that are keys are left as they are.
KEYS = ("key", "fed_from", "circuit")
CHOICES = {
    "drive": DRIVES,
    "hazards": HAZARDS,
    "joining": JOININGS,
    "load_end": ENDS,
    "source_end": ENDS,
    "stud": STUDS,
    "tap_point": tuple(TAP_POINTS),
    "what": EQUIPMENT,
    "zone": tuple(tables().zones),
}


def read(document: Document) -> Job:
    return job_from_document(document, tables(), fuse_tables().types)


def priced(job: Job) -> PricedJob:
    sized = sized_circuits(job, circuit_conductors(job, tables()), tables(), fuse_tables())
    bill = JobBills(job, demo_book(), NO_OPTIONS).of(sized)
    return priced_circuits(JobGround.of(job, tables()), sized, source_loads(job, sized), bill, ())


def order(found: PricedJob) -> WorkOrder:
    return work_order(found, demo_book(), tables(), fuse_tables())


def changed(document: Document) -> Iterator[Document]:
    """The document with one text, number, truth or list of it changed, each in turn."""

    def leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
        pairs: Any = ()
        if isinstance(value, dict):
            pairs = value.items()
        elif isinstance(value, list):
            pairs = enumerate(value)
        else:
            yield path, value
        for key, each in pairs:
            yield from leaves(each, (*path, key))

    for path, value in leaves(document):
        # An element of a list goes by the name of the list.
        name = path[-1] if isinstance(path[-1], str) else path[-2]
        if name in KEYS:
            continue
        other = deepcopy(document)
        place: Any = other
        for key in path[:-1]:
            place = place[key]
        if isinstance(value, bool):
            place[path[-1]] = not value
        elif name in CHOICES:
            choices = CHOICES[name]
            place[path[-1]] = choices[(choices.index(value) + 1) % len(choices)]
        elif isinstance(value, str):
            place[path[-1]] = f"{value} II"
        elif isinstance(value, int | float):
            place[path[-1]] = value + 1
        yield other


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_a_job_that_differs_in_anything_has_the_order_that_it_has_with_nothing_kept(
    name: str,
) -> None:
    document = demo_job(name)
    as_it_is = priced(read(document))
    base = order(as_it_is)
    differ = 0
    for other in changed(document):
        try:
            found = priced(read(other))
        except (DocumentError, EngineeringError):
            # What the job refers to is not there, or no circuit can be had with it.
            continue
        warm = order(found)
        tasks_of_outline.cache_clear()
        cold = order(found)
        assert warm == cold
        assert [task.summary for task in warm.tasks] == [task.summary for task in cold.tasks]
        differ += warm.tasks != base.tasks
        # Kept again for the next, so that it meets what its like has left.
        order(as_it_is)
    assert differ > 20


def test_lengths_loads_and_the_vehicle_s_description_are_no_part_of_what_is_kept() -> None:
    job = read(demo_job("van_second_battery"))
    longer = replace(
        job,
        title="another",
        vehicle=replace(job.vehicle, description="another van"),
        equipment=tuple(
            replace(item, power_w=None if item.power_w is None else 0.99 * item.power_w)
            for item in job.equipment
        ),
        circuits=tuple(
            replace(
                circuit,
                route=tuple(
                    replace(segment, length_m=1.01 * segment.length_m) for segment in circuit.route
                ),
            )
            for circuit in job.circuits
        ),
    )
    assert JobOutline.of(longer) == JobOutline.of(job)
    tasks_of_outline.cache_clear()
    one, other = order(priced(job)), order(priced(longer))
    assert tasks_of_outline.cache_info().currsize == 1
    assert [task.key for task in one.tasks] == [task.key for task in other.tasks]
    made_anew = {
        task.kind for task, before in zip(other.tasks, one.tasks, strict=True) if task is not before
    }
    assert {"make_safe", "lay", "test_load"} <= made_anew
    assert {"uncover", "mount", "connect_feed", "test_dead", "cover"}.isdisjoint(made_anew)
    assert other.tasks[0].text.startswith("Park another van: ")
    assert "another van" not in repr([task.text for task in one.tasks])


def test_no_more_is_kept_than_there_is_room_for() -> None:
    job = read(demo_job("van_second_battery"))
    found = priced(job)
    room = tasks_of_outline.cache_info().maxsize
    assert room is not None
    builds = CircuitBuilds(job, demo_book())
    assert {builds.of(entry).circuit.key for entry in found.circuits} == set(job.circuit_by_key)
    for number in range(room + 3):
        labels = tuple(
            replace(circuit, description=f"{circuit.description} {number}")
            for circuit in job.circuits
        )
        order(replace(found, job=replace(job, circuits=labels)))
    assert tasks_of_outline.cache_info().currsize == room
