"""What sizings of one job share changes none of their bills, work orders and conductors."""

from typing import Any

from hypothesis import HealthCheck, given, settings

from drawn_jobs import jobs
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.circuit_sources import source_loads
from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.job_bills import JobBills
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.plan.alternatives import PLAN_NAMES, USUAL, planned_job
from loomwright.jobs.priced_job import priced_circuits
from loomwright.jobs.requirements_of_job import requirements_of_job
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.jobs.work_order.work_order import work_order
from loomwright.pricing.bill import NO_OPTIONS, bill_of_materials
from loomwright.pricing.faults import DocumentError
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
law = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def sizings(job: Job) -> list[tuple[SizedCircuit, ...]]:
    """The circuits of a job as its three plans size them before any network, the first again."""
    planned = [planned_job(job, name, USUAL) for name in (*PLAN_NAMES, PLAN_NAMES[0])]
    return [
        sized_circuits(each, circuit_conductors(each, tables()), tables(), fuse_tables())
        for each in planned
    ]


def assert_sharing_changes_nothing(job: Job) -> None:
    book = demo_book()
    shared = JobBills(job, book, NO_OPTIONS)
    for sized in sizings(job):
        parts, labour = requirements_of_job(job, sized, book)
        alone = bill_of_materials(parts, labour, book, NO_OPTIONS, job.vehicle.difficulty)
        bill = shared.of(sized)
        assert bill == alone
        priced = priced_circuits(job, sized, source_loads(job, sized), bill, (), tables())
        orders = [
            work_order(priced, book, tables(), fuse_tables(), builds)
            for builds in (shared.builds, None)
        ]
        assert orders[0] == orders[1]


@law
@given(jobs())
def test_bills_and_work_orders_are_those_of_each_sizing_alone(document: Document) -> None:
    try:
        job = job_from_document(document, tables(), fuse_tables().types)
    except DocumentError:
        return
    assert_sharing_changes_nothing(job)


def test_bills_and_work_orders_of_the_demo_jobs_are_those_of_each_sizing_alone() -> None:
    for name in DEMO_JOBS:
        assert_sharing_changes_nothing(
            job_from_document(demo_job(name), tables(), fuse_tables().types)
        )


def demo(name: str) -> Job:
    return job_from_document(demo_job(name), tables(), fuse_tables().types)


def test_what_is_built_alike_is_one_object_and_what_is_not_is_another() -> None:
    job = demo("van_second_battery")
    shared = JobBills(job, demo_book(), NO_OPTIONS)
    leanest, recommended, *_ = sizings(job)
    alike = []
    for one, other in zip(leanest, recommended, strict=True):
        same = shared.builds.of(one) is shared.builds.of(other)
        assert same == (one.built() == other.built() and one.branch_fuses == other.branch_fuses)
        alike.append(same)
    assert set(alike) == {True, False}


def test_builds_share_what_the_circuit_or_the_conductor_alone_decides() -> None:
    job = demo("van_second_battery")
    shared = JobBills(job, demo_book(), NO_OPTIONS)
    builds = [shared.builds.of(entry) for sized in sizings(job) for entry in sized]
    for one in builds:
        for other in builds:
            same = one.circuit.key == other.circuit.key
            assert (one.layout is other.layout) == same
            alike = (one.conductor.key, one.by_chassis) == (other.conductor.key, other.by_chassis)
            assert (one.bundle is other.bundle) == alike
    assert len({build.bundle for build in builds}) > 1


def test_a_bill_for_the_same_circuits_takes_over_lines_of_the_one_before() -> None:
    job = demo("van_second_battery")
    shared = JobBills(job, demo_book(), NO_OPTIONS)
    leanest, recommended, headroom, again = sizings(job)
    first = shared.of(leanest)
    shared.of(recommended)
    shared.of(headroom)
    assert all(one is other for one, other in zip(shared.of(again).lines, first.lines, strict=True))


def test_conductors_sized_before_are_kept_where_the_same_is_asked() -> None:
    job = demo("van_second_battery")
    before = circuit_conductors(job, tables())
    last = job.circuits[-1].key
    lower = {last: 11.0}
    again = circuit_conductors(job, tables(), lower, before)
    alone = circuit_conductors(job, tables(), lower)
    assert again[last].answer is not before[last].answer
    kept = [key for key in before if again[key].answer is before[key].answer]
    assert len(kept) >= 1
    for key, conductor in again.items():
        assert conductor.request == alone[key].request
        assert conductor.load_current_a == alone[key].load_current_a
        assert conductor.verdict == alone[key].verdict
