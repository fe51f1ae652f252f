"""Steps of small jobs counted by hand: order, shares, torques, tools and cautions."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.jobs.demo_library import demo_book, demo_job, demo_price_book
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.work_order.order import OrderError, safe_order
from loomwright.jobs.work_order.shares import split
from loomwright.jobs.work_order.steps import Step, Task, Tool, Torque
from loomwright.jobs.work_order.torque import torque_tools
from loomwright.jobs.work_order.work_order import work_order
from loomwright.pricing.book_document import price_book_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
Price = Callable[..., PricedJob]


def steps(priced: PricedJob) -> dict[str, Step]:
    order = work_order(priced, demo_book(), tables(), fuse_tables())
    return {step.task.key: step for step in order.steps}


def task(key: str, *needs: str, rank: int = 0) -> Task:
    return Task(key, "other", key, needs, (rank, 0, 0, 0))


def test_of_the_tasks_that_are_ready_the_lowest_rank_comes_next() -> None:
    tasks = [task("c", "b"), task("b", rank=2), task("a", rank=1), task("d", rank=1)]
    # a and d are ready and of equal rank: the earlier one first; c waits for b whatever its rank.
    assert [tasks[place].key for place in safe_order(tasks)] == ["a", "d", "b", "c"]


@pytest.mark.parametrize(
    ("tasks", "said"),
    [
        ([task("a", "b"), task("b", "a"), task("c")], "wait for one another: a, b"),
        ([task("a", "x")], "a needs x"),
        ([task("a"), task("a")], "same key"),
    ],
)
def test_tasks_without_an_order_are_named(tasks: list[Task], said: str) -> None:
    with pytest.raises(OrderError, match=said):
        safe_order(tasks)


def test_a_quantity_is_split_by_weight_and_the_last_takes_the_rest() -> None:
    whole = split(Decimal(10), [Decimal(1), Decimal(1), Decimal(1)])
    # 10/3 = 3.33 and 20/3 = 6.67, rounded down to 3 and 6.
    assert whole == [3, 3, 4]
    part = split(Decimal("0.25"), [Decimal(1), Decimal(2)])
    # 0.0833.. rounded down to thousandths.
    assert part == [Decimal("0.083"), Decimal("0.167")]
    assert split(Decimal("0.0004"), [Decimal(1)]) == [Decimal("0.0004")]


@given(
    st.decimals(0, 1000, places=4),
    st.lists(st.decimals(0, 100, places=2), min_size=1, max_size=6).filter(any),
)
def test_shares_add_up_exactly_and_none_falls_below_nought(
    quantity: Decimal, weights: list[Decimal]
) -> None:
    shares = split(quantity, weights)
    assert sum(shares) == quantity
    assert min(shares) >= 0
    assert len(shares) == len(weights)


def test_steps_of_a_small_job_take_what_was_counted_by_hand(
    small_job: Document, priced: Price
) -> None:
    small_job["labour"] = [{"operation": "remove_trim", "quantity": 1}]
    found = steps(priced(small_job))
    quantities = {
        (key, part.rule): part.quantity for key, step in found.items() for part in step.parts
    }
    # 1 + ceil(4 m / 0.3 m) = 15 ties over 1 m and 3 m: 15/4 rounded down, and the rest.
    assert quantities["lay/lamp_feed/1", "cable_tie"] == 3
    assert quantities["lay/lamp_feed/2", "cable_tie"] == 12
    # Loom on the first metre with 5 % waste; the rest is taped.
    assert quantities["lay/lamp_feed/1", "split_loom"] == Decimal("1.05")
    assert ("lay/lamp_feed/2", "split_loom") not in quantities
    assert ("lay/lamp_feed/1", "cloth_tape_run") not in quantities
    assert quantities["protect/lamp_feed/1", "grommet"] == 1
    # 2 g on the M8 at the battery and 2 g on the ground point.
    assert quantities["connect_feed/lamp_feed", "contact_paste"] == 2
    assert quantities["ground/lamp_feed", "contact_paste"] == 2
    # 0.25 h to isolate and to reconnect, 0.10 h to test dead and live, 0.10 h/m over 1 m and 3 m.
    assert found["isolate/battery"].hours == found["reconnect/battery"].hours == Decimal("0.125")
    assert found["test_dead/lamp_feed"].hours == found["test_load/lamp_feed"].hours
    assert found["test_load/lamp_feed"].hours == Decimal("0.05")
    # 0.40 h for trim, half off and half on, none of it in the engine compartment.
    assert found["uncover/passenger_compartment"].hours == Decimal("0.2")
    assert found["cover/passenger_compartment"].hours == Decimal("0.2")
    assert found["uncover/engine_compartment"].hours == 0


@pytest.mark.parametrize("reference", ["DEMO-LIGHT-12", "not in the book"])
def test_each_piece_of_equipment_of_one_reference_is_used_where_it_is_mounted(
    small_job: Document, priced: Price, reference: str
) -> None:
    lamps = small_job["equipment"][0] | {"reference": reference}
    there = {"key": "old", "fitted": False, "quantity": 4}
    small_job["equipment"] = [
        lamps,
        lamps | there,
        lamps | {"key": "one", "quantity": 1},
        lamps | {"key": "three", "quantity": 3},
    ]
    found = steps(priced(small_job))
    used = {
        key: [part.quantity for part in step.parts if part.rule == "equipment"]
        for key, step in found.items()
        if step.task.kind == "mount"
    }
    # What is there already is neither bought nor mounted.
    assert used == {"mount/lamps": [2], "mount/one": [1], "mount/three": [3]}
    in_book = reference != "not in the book"
    parts = [part for part in found["mount/one"].parts if part.rule == "equipment"]
    assert [(part.key is not None, part.line is not None) for part in parts] == [(in_book, in_book)]


def test_torques_are_published_ones_but_at_a_source(small_job: Document, priced: Price) -> None:
    small_job["circuits"][0]["load_end"] = "M5"
    found = steps(priced(small_job))
    (ground,) = found["ground/lamp_feed"].task.torques
    # M6: 3.0 N m for a terminal (IEC 60947-1 Table 4), 10.1 N m for a bolt 8.8 (VDI 2230).
    assert (ground.stud, ground.torque_n_m, ground.greatest_torque_n_m) == ("M6", 3.0, 10.1)
    load, *_ = found["connect_load/lamp_feed"].task.torques
    assert (load.stud, load.torque_n_m, load.greatest_torque_n_m) == ("M5", 2.0, None)
    assert {each.basis for each in found["connect_load/lamp_feed"].task.torques} == {"published"}
    published = tables().torques
    assert found["ground/lamp_feed"].task.provenances == (
        published["terminal", "M6"].provenance,
        published["bolt", "M6"].provenance,
    )
    assert set(found["connect_load/lamp_feed"].task.provenances) == {
        published["terminal", "M5"].provenance
    }
    assert found["connect_feed/lamp_feed"].task.provenances == ()
    source = found["connect_feed/lamp_feed"].task.torques[0]
    assert (source.stud, source.torque_n_m, source.basis) == ("M8", None, "maker")


def test_a_bolted_fuse_is_tightened_with_the_nuts_of_its_holder(priced: Price) -> None:
    found = steps(priced(demo_job("combustion_car")))
    fuse = found["fuse/amplifier_feed"].task
    assert [(each.stud, each.torque_n_m) for each in fuse.torques] == [("M5", 2.0), ("M5", 2.0)]
    places = {each.place for each in found["connect_feed/amplifier_feed"].task.torques}
    assert places == {"at the feeding point"}
    plugged = steps(priced(demo_job("hybrid_jump_start")))["fuse/bass_feed"].task
    assert not plugged.torques
    assert [tool.tool for tool in plugged.tools] == ["fuse_puller"]


def test_of_a_holder_that_the_book_lacks_nobody_knows_the_studs(priced: Price) -> None:
    document = demo_price_book()
    document["parts"] = [part for part in document["parts"] if part["kind"] != "fuse_holder"]
    del document["kits"]
    book = price_book_from_document(document)
    job = priced(demo_job("combustion_car"), book)
    order = work_order(job, book, tables(), fuse_tables())
    (fuse,) = (task for task in order.tasks if task.kind == "fuse")
    assert [(each.stud, each.torque_n_m, each.basis) for each in fuse.torques] == [
        ("", None, "maker"),
        ("", None, "maker"),
    ]
    assert [tool.purpose for tool in fuse.tools] == ["for the torque that the maker states"]


def torque(stated: float | None, greatest: float | None = None) -> Torque:
    return Torque("place", "M5", stated, greatest, "published")


@pytest.mark.parametrize(
    ("torques", "span"),
    [
        ([torque(2.0)], "2 N m"),
        ([torque(2.0), torque(6.0, 24.6)], "2 to 24.6 N m"),
        ([torque(None)], "for the torque that the maker states"),
    ],
)
def test_the_wrench_spans_all_torques(torques: list[Torque], span: str) -> None:
    assert torque_tools(torques) == (Tool("torque_wrench", span),)
    assert torque_tools([]) == ()


def test_a_torque_names_its_stud_where_that_is_known() -> None:
    known, unknown = Torque("at the load", "M5", 2.0, None, "published"), torque(None)
    assert known.document == {
        "place": "at the load",
        "stud": "M5",
        "torque_n_m": 2.0,
        "greatest_torque_n_m": None,
        "basis": "published",
    }
    assert replace(unknown, stud="").document["stud"] is None


def test_tools_follow_from_what_is_done(small_job: Document, priced: Price) -> None:
    small_job["circuits"][0]["joining"] = "solder"
    found = steps(priced(small_job))
    tools = {(tool.tool, tool.purpose) for tool in found["terminate/lamp_feed"].task.tools}
    assert ("soldering_iron", "splice, 2.5 mm2") in tools
    assert ("crimping_tool", "ring terminal, 2.5 mm2") in tools
    (cutter, _) = found["protect/lamp_feed/1"].task.tools
    # One conductor of 2.5 mm2 measures 3.6 mm over its insulation.
    assert cutter == Tool("hole_cutter", "hole that the grommet asks for, bundle of 3.6 mm")
    assert "soldered_joint" in found["terminate/lamp_feed"].task.cautions
