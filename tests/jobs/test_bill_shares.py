"""Shares of bills that follow one another in one job, as those of its plans do."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from loomwright.jobs.circuit_build import CircuitBuilds
from loomwright.jobs.demo_library import demo_book, demo_job
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.work_order.facts import Layout
from loomwright.jobs.work_order.job_tasks import tasks_of_outline
from loomwright.jobs.work_order.outline import JobOutline
from loomwright.jobs.work_order.shares import Shares
from loomwright.jobs.work_order.work_order import work_order
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
Price = Callable[..., PricedJob]


def shares_of(priced: PricedJob) -> tuple[Shares, list[str]]:
    """Return what shares out bills of a job, which has seen none yet, and the keys of its tasks."""
    book = demo_book()
    builds = CircuitBuilds(priced.job, book.on_day(priced.bill.as_of))
    built = {entry.circuit.key: builds.of(entry) for entry in priced.circuits}
    tasks = tasks_of_outline(JobOutline.of(priced.job), Layout.of(built, fuse_tables()), tables())
    lengths_m = {key: build.layout.lengths_m for key, build in built.items()}
    order = work_order(priced, book, tables(), fuse_tables())
    return Shares(tasks.targets, lengths_m), [task.key for task in order.tasks]


@pytest.fixture
def unknown_work(small_job: Document, priced: Price) -> PricedJob:
    """The small job with work that the price book does not have."""
    small_job["labour"] = [{"operation": "polish_wheels", "quantity": 2}]
    return priced(small_job)


def test_the_same_lines_give_the_same_labour_again(small_job: Document, priced: Price) -> None:
    found = priced(small_job)
    shares, keys = shares_of(found)
    first, again = (shares.of(found.bill, keys) for _ in range(2))
    assert again.labour is first.labour
    assert again == first
    assert first.hours > 0


def test_work_without_a_price_is_told_whatever_bill_came_before(unknown_work: PricedJob) -> None:
    bill = unknown_work.bill
    shares, keys = shares_of(unknown_work)
    place = keys.index("other/polish_wheels")
    priced_only = replace(bill, unpriced=())
    for each, told in ((priced_only, False), (bill, True), (priced_only, False), (bill, True)):
        found = shares.of(each, keys)
        entries = [(operation, hours) for _, operation, _, hours in found.labour[place].entries]
        assert entries == ([("polish_wheels", None)] if told else [])
        # Nobody knows how long it takes.
        assert found.labour[place].hours == 0
        assert found.hours == sum((each.hours for each in found.labour), Decimal(0))


def test_a_line_that_differs_is_shared_out_anew(small_job: Document, priced: Price) -> None:
    found = priced(small_job)
    shares, keys = shares_of(found)
    before = shares.of(found.bill, keys)
    (line,) = (line for line in found.bill.lines if line.key == "fit_lights")
    longer = replace(line, quantity=line.quantity + 1)
    lines = tuple(longer if each is line else each for each in found.bill.lines)
    after = shares.of(replace(found.bill, lines=lines), keys)
    place = keys.index("mount/lamps")
    assert after.labour[place].hours == before.labour[place].hours + 1
    assert after.hours == before.hours + 1


def test_fewer_lines_are_not_taken_for_those_before(small_job: Document, priced: Price) -> None:
    found = priced(small_job)
    shares, keys = shares_of(found)
    whole = shares.of(found.bill, keys)
    # The lines of labour stand last.
    fewer = shares.of(replace(found.bill, lines=found.bill.lines[:-1]), keys)
    assert fewer.hours < whole.hours


def test_a_part_that_no_equipment_asks_for_is_named(small_job: Document, priced: Price) -> None:
    other = priced(small_job)
    small_job["equipment"][0]["reference"] = "another lamp"
    shares, keys = shares_of(priced(small_job))
    with pytest.raises(LookupError, match="needs DEMO-LIGHT-12 for lamp_feed"):
        shares.of(other.bill, keys)


def test_a_part_of_no_circuit_is_named_as_one_of_the_job(
    small_job: Document, priced: Price
) -> None:
    eye = {"key": "eye", "description": "eye", "what": "camera", "reference": "EYE"}
    small_job["equipment"].append(eye)
    other = priced(small_job)
    eye["reference"] = "another"
    shares, keys = shares_of(priced(small_job))
    with pytest.raises(LookupError, match="needs EYE for the job"):
        shares.of(other.bill, keys)


def test_a_piece_is_not_mounted_twice(priced: Price) -> None:
    """Each bill starts with all pieces anew."""
    found = priced(demo_job("van_second_battery"))
    shares, keys = shares_of(found)
    assert shares.of(found.bill, keys).parts == shares.of(found.bill, keys).parts
    twice = replace(found.bill, lines=(*found.bill.lines, *found.bill.lines))
    with pytest.raises(LookupError, match="no equipment of the job needs"):
        shares.of(twice, keys)
