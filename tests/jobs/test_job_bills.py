"""What sizings of one job share changes none of their bills, work orders and conductors."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from hypothesis import HealthCheck, given, settings

from drawn_jobs import jobs
from loomwright.jobs.bill_answer import bill_document
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.circuit_sources import source_loads
from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.job_bills import JobBills
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.plan.alternatives import PLAN_NAMES, USUAL, planned_job
from loomwright.jobs.priced_job import JobGround, priced_circuits
from loomwright.jobs.requirements_of_job import requirements_of_job
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.jobs.work_order.document import work_order_document
from loomwright.jobs.work_order.job_tasks import tasks_of_outline
from loomwright.jobs.work_order.steps import Task, WorkOrder
from loomwright.jobs.work_order.work_order import JobOrders, work_order
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
    orders = JobOrders(job, tables(), fuse_tables(), shared.builds)
    for sized in sizings(job):
        # A copy of the book knows nothing of any bill before.
        new_book = replace(book)
        parts, labour = requirements_of_job(job, sized, new_book)
        bill_alone = bill_of_materials(parts, labour, new_book, NO_OPTIONS, job.vehicle.difficulty)
        bill = shared.of(sized)
        assert bill == bill_alone
        assert repr(bill_document(bill)) == repr(bill_document(bill_alone))
        priced = priced_circuits(
            JobGround.of(job, tables()), sized, source_loads(job, sized), bill, ()
        )
        together = orders.of(priced)
        # With nothing kept of the orders before.
        tasks_of_outline.cache_clear()
        alone = work_order(priced, book, tables(), fuse_tables())
        assert together == alone
        # Decimals that are equal may print otherwise.
        assert repr(work_order_document(together, priced)) == repr(
            work_order_document(alone, priced)
        )


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


def orders_of(job: Job, wanted: Iterable[tuple[SizedCircuit, ...]]) -> list[WorkOrder]:
    shared = JobBills(job, demo_book(), NO_OPTIONS)
    orders = JobOrders(job, tables(), fuse_tables(), shared.builds)
    return [
        orders.of(
            priced_circuits(
                JobGround.of(job, tables()),
                sized,
                source_loads(job, sized),
                shared.of(sized),
                (),
            )
        )
        for sized in wanted
    ]


def tasks_by_key(order: WorkOrder) -> dict[str, Task]:
    return {step.task.key: step.task for step in order.steps}


def test_an_order_takes_over_the_tasks_that_no_size_of_it_changes() -> None:
    job = demo("van_second_battery")
    leanest, recommended, *_ = sizings(job)
    one, other = (tasks_by_key(order) for order in orders_of(job, (leanest, recommended)))
    assert list(one) == list(other)
    kept = {key for key, task in one.items() if other[key] is task}
    of_the_job = {"make_safe", "prove_dead", "uncover", "mount", "clear", "reconnect", "cover"}
    assert {key for key, task in one.items() if task.kind in of_the_job} <= kept
    for before, after in zip(leanest, recommended, strict=True):
        key = before.circuit.key
        same = before.built()[0] is after.built()[0]
        assert (f"cut/{key}" in kept) == (f"lay/{key}/1" in kept) == same
        assert (f"fuse/{key}" in kept) == (before.built()[1:] == after.built()[1:])
        assert f"test_dead/{key}" in kept
        # What is expected of a meter is another figure even where the conductor is the same.
        assert f"test_load/{key}" not in kept


def test_an_order_made_again_at_once_is_made_of_the_same_objects() -> None:
    job = demo("van_second_battery")
    leanest, *_ = sizings(job)
    one, other = orders_of(job, (leanest, leanest))
    again = [task is before for task, before in zip(other.tasks, one.tasks, strict=True)]
    # Only the tests under load are made anew for each sizing.
    assert [task.kind for task, same in zip(one.tasks, again, strict=True) if not same] == [
        "test_load"
    ] * len(job.circuits)
    assert all(after is before for after, before in zip(other.labour, one.labour, strict=True))


def test_orders_of_other_built_circuits_are_made_anew() -> None:
    job = demo("van_second_battery")
    leanest, *_ = sizings(job)
    last = replace(leanest[-1], verdict="no_fuse", fuse_verdict="no_fuse")
    whole, short, again = orders_of(job, (leanest, (*leanest[:-1], last), leanest))
    key = last.circuit.key
    assert short.not_built == {key: "no_fuse"}
    assert f"cut/{key}" in tasks_by_key(whole)
    assert f"cut/{key}" not in tasks_by_key(short)
    made, kept = tasks_by_key(whole), tasks_by_key(again)
    assert made["clear"] is kept["clear"]
    assert made["clear"] is not tasks_by_key(short)["clear"]


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
