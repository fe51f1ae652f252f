"""Parts of one circuit: counts done by hand, each end one terminal, each need a known rule."""

import copy
import json
from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.jobs.job import ENDS, JOININGS
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import PricedJob, priced_job
from loomwright.jobs.requirement_rules import REQUIREMENT_RULES
from loomwright.pricing.book_document import price_book_from_document
from loomwright.pricing.kinds import UNIT_WORDS
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
Price = Callable[..., PricedJob]
CASES = Path(__file__).parent.parent / "cases" / "parts" / "circuits.json"
BOOK = price_book_from_document(demo_price_book())


def needed(priced: PricedJob) -> Counter[str]:
    """Quantities by rule, whether the book has a part for them or not."""
    found: Counter[str] = Counter()
    for entry in (*priced.bill.lines, *priced.bill.unpriced):
        for need in entry.needs:
            found[need.rule] += need.quantity  # type: ignore[assignment]
    return found


def parts_of(document: Document) -> PricedJob:
    job = job_from_document(document, tables(), fuse_tables().types)
    return priced_job(job, BOOK, tables(), fuse_tables())


@pytest.mark.parametrize(
    "case",
    [pytest.param(case, id=case["id"]) for case in json.loads(CASES.read_text(encoding="utf-8"))],
)
def test_a_circuit_needs_what_was_counted_by_hand(
    small_job: Document, case: dict[str, Any]
) -> None:
    small_job["circuits"][0].update(case["given"]["circuit"])
    # Another drop or heat must not change the size that the case was counted with.
    small_job["conductors"]["smallest_size"] = "2.5 mm2"
    small_job["equipment"][0]["load_current"] = 2
    found = needed(parts_of(small_job))
    for rule, quantity in case["expected"].items():
        assert found[rule] == Decimal(quantity), rule


@st.composite
def circuits(draw: st.DrawFn) -> tuple[Document, int]:
    """The hybrid job with one circuit drawn anew, and its number of loads."""
    document = demo_job("hybrid_jump_start")
    circuit = document["circuits"][0]
    loads = draw(st.integers(1, 4))
    document["equipment"][0].update(load_current=1, fuse_rating=5, quantity=loads)
    stretch = st.fixed_dictionaries(
        {
            "length": st.integers(1, 300).map(lambda centimetres: centimetres / 100),
            "zone": st.just("passenger_compartment"),
            "loomed": st.booleans(),
            "taped": st.booleans(),
            "through_bulkhead": st.booleans(),
        }
    )
    circuit.update(
        route=draw(st.lists(stretch, min_size=1, max_size=4)),
        source_end=draw(st.sampled_from(ENDS)),
        load_end=draw(st.sampled_from(ENDS)),
        joining=draw(st.sampled_from(JOININGS)),
        distance_from_source=draw(st.sampled_from((0, 0.15))),
        fuse_types=draw(st.sampled_from((["iso_8820_3_c"], ["iso_8820_5_sf30"]))),
    )
    if draw(st.booleans()):
        circuit["return_path"] = {"by": "conductor"}
    return document, loads


@settings(max_examples=40)
@given(circuits())
def test_each_end_has_one_terminal_or_joint_and_one_marker(drawn: tuple[Document, int]) -> None:
    document, loads = drawn
    answer = parts_of(document)
    found = needed(answer)
    (entry,) = answer.circuits
    assert entry.verdict == "sized"
    (circuit,) = document["circuits"]
    conductors = 2 if circuit["distance_from_source"] == 0 else 3
    by_conductor = circuit["return_path"]["by"] == "conductor"
    source_ends = int(conductors == 3) + by_conductor
    # The demo book's holders end in splices or studs; a ground lead ends in a stud.
    at_ends = (conductors - 1) + (not by_conductor)
    at_ends += source_ends * (circuit["source_end"] != "bare")
    at_ends += 2 * loads * (circuit["load_end"] != "bare")
    conductor = entry.conductor
    assert conductor is not None
    each_g = round(Decimal(conductor.cross_section_m2 * 1e6), 6) * BOOK.rules.solder_g_per_mm2
    joints = found["solder"] / each_g
    assert joints == int(joints)
    assert joints == 0 or circuit["joining"] == "solder"
    assert found["conductor_end"] + joints == at_ends
    assert found["cable_marker"] == 2 * conductors
    operations = {line.key: sum(need.quantity for need in line.needs) for line in answer.bill.lines}
    assert operations.get("solder_joint", 0) == joints * BOOK.labour["solder_joint"].standard_hours
    assert (
        operations.get("make_off_end", 0)
        == found["conductor_end"] * BOOK.labour["make_off_end"].standard_hours
    )


@settings(max_examples=40)
@given(circuits(), st.integers(0, 3), st.integers(1, 300))
def test_a_longer_run_never_needs_less_of_anything(
    drawn: tuple[Document, int], place: int, centimetres: int
) -> None:
    document, _ = drawn
    longer = copy.deepcopy(document)
    route = longer["circuits"][0]["route"]
    route[place % len(route)]["length"] += centimetres / 100
    for each in (document, longer):
        # The size of the conductor decides other parts; a law of lengths holds it.
        each["circuits"][0].update(allowed_voltage_drop_percent=20)
        each["conductors"]["smallest_size"] = "4 mm2"
    short, long = needed(parts_of(document)), needed(parts_of(longer))
    assert short.keys() == long.keys()
    for rule, quantity in short.items():
        assert 0 < quantity <= long[rule], rule


@pytest.mark.parametrize("name", DEMO_JOBS)
@pytest.mark.parametrize("joining", JOININGS)
def test_every_need_carries_a_known_rule_a_reason_and_a_unit(
    priced: Price, name: str, joining: str
) -> None:
    document = demo_job(name)
    for circuit in document["circuits"]:
        circuit["joining"] = joining
    answer = priced(document)
    assert answer.verdict == "complete"
    for line in answer.bill.lines:
        assert line.unit in UNIT_WORDS
        for need in line.needs:
            assert need.rule in REQUIREMENT_RULES
            assert need.reason
            assert need.quantity > 0


def test_every_known_rule_is_used_by_some_job(priced: Price) -> None:
    soldered = demo_job("truck_24v")
    soldered["circuits"][1]["joining"] = "solder"
    found = set(needed(priced(soldered)))
    for name in DEMO_JOBS:
        found |= set(needed(priced(demo_job(name))))
    assert found == set(REQUIREMENT_RULES)


def test_a_tie_reaches_around_the_loom(priced: Price) -> None:
    # Two cables of 6.5 mm: 13.0 mm, in a loom of 17 mm, 20 mm over its crests; a tie for 16 mm
    # would not close.
    answer = priced(demo_job("truck_24v"))
    (line,) = [line for line in answer.bill.lines if line.key == "TIE-35"]
    assert {need.circuit for need in line.needs} == {"cab_main"}


def test_a_shop_that_does_not_mark_label_or_boot_bills_none(small_job: Document) -> None:
    book = demo_price_book()
    none = ("markers_per_end", "labels_per_fuse", "boots_per_stud", "paste_per_contact_g")
    book["rules"].update(dict.fromkeys(none, "0"), tape_per_loom_end_m="0")
    job = job_from_document(small_job, tables(), fuse_tables().types)
    answer = priced_job(job, price_book_from_document(book), tables(), fuse_tables())
    assert answer.verdict == "complete"
    gone = {"cable_marker", "fuse_label", "terminal_boot", "contact_paste", "cloth_tape_loom_end"}
    assert not gone & set(needed(answer))


def test_equipment_that_is_there_already_needs_no_fixings(priced: Price) -> None:
    document = demo_job("hybrid_jump_start")
    assert needed(priced(document))["fixing_set"] == 1
    document["equipment"][0]["fitted"] = False
    assert needed(priced(document))["fixing_set"] == 0
