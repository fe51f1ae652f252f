"""Consumables: counted by hand, each by a documented rule, and their laws."""

import copy
from collections.abc import Callable
from decimal import Decimal
from math import ceil, pi
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import PricedJob, priced_job
from loomwright.jobs.requirement_rules import REQUIREMENT_RULES
from loomwright.jobs.requirements_of_job import requirements_of_job
from loomwright.pricing.kinds import UNIT_WORDS
from loomwright.pricing.requirements import QuantityRules, Requirement
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
Price = Callable[..., PricedJob]


def needs_of(document: Document) -> list[Requirement]:
    """Everything that a job needs of the demo book, before it is bought."""
    job = job_from_document(document, tables(), fuse_tables().types)
    priced = priced_job(job, demo_book(), tables(), fuse_tables())
    return requirements_of_job(job, priced.circuits, demo_book())[0]


def total(needs: list[Requirement], kind: str) -> Decimal:
    return sum((need.quantity for need in needs if need.what == kind), Decimal(0))


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_every_need_names_a_documented_rule_a_reason_and_a_unit(name: str) -> None:
    for need in needs_of(demo_job(name)):
        assert need.rule in REQUIREMENT_RULES
        assert need.reason
        assert need.unit in UNIT_WORDS
        assert need.quantity > 0


def test_soldered_splices_need_solder_and_shrink_and_terminals_stay_crimped(
    small_job: Document, priced: Price
) -> None:
    crimped = needs_of(small_job)
    soldered_job = copy.deepcopy(small_job)
    soldered_job["circuits"][0]["joining"] = "solder"
    soldered = needs_of(soldered_job)
    # Six splices of 2.5 mm2 at 0.1 g for each mm2, each under 0.06 m; two ring terminals as before.
    assert (total(crimped, "splice"), total(soldered, "splice")) == (6, 0)
    assert (total(crimped, "solder"), total(soldered, "solder")) == (0, Decimal("1.5"))
    assert total(soldered, "ring_terminal") == total(crimped, "ring_terminal") == 2
    assert total(crimped, "heat_shrink") == 8 * Decimal("0.04")
    assert total(soldered, "heat_shrink") == 2 * Decimal("0.04") + 6 * Decimal("0.06")
    hours = {line.key: line.quantity for line in priced(soldered_job).bill.lines}
    # 6 x 0.10 h; 2 x 0.07 h, by 0.05 h.
    assert hours["solder_joint"] == Decimal("0.60")
    assert hours["make_off_end"] == Decimal("0.15")


def test_a_holder_bolted_to_the_source_spares_a_piece_of_feed(small_job: Document) -> None:
    small_job["circuits"][0]["distance_from_source"] = 0
    needs = needs_of(small_job)
    # Feed in one piece and ground lead: two conductors, and no terminal at the feeding point.
    assert total(needs, "cable_marker") == 4
    assert total(needs, "terminal_boot") == 0
    feed = next(need for need in needs if need.rule == "power_conductor")
    # 4.0 m + 10 % + 2 x 0.15 m.
    assert feed.quantity == Decimal("4.7")


def test_each_way_of_a_block_is_labelled_spare_or_not() -> None:
    needs = needs_of(demo_job("truck_24v"))
    labels = [
        (need.attributes["place"], need.quantity) for need in needs if need.what == "fuse_label"
    ]
    # One holder before the block of six ways.
    assert sorted(labels) == [("distribution_block", 6), ("fuse_holder", 1)]


def test_loom_leaves_room_and_ties_go_around_it(small_job: Document) -> None:
    needs = needs_of(small_job)
    loom = next(need for need in needs if need.what == "split_loom")
    tie = next(need for need in needs if need.what == "cable_tie")
    # 3.6 mm over the insulation of 2.5 mm2 and 10 % room; 5 mm of loom with walls of 1.5 mm.
    assert loom.attributes["least_inner_diameter_mm"] == Decimal("4.0")
    assert tie.attributes["bundle_diameter_mm"] == Decimal("8.0")


@given(
    st.decimals(0, 20, places=3),
    st.decimals(Decimal("0.001"), Decimal("0.05"), places=4),
    st.sampled_from(("0", "25", "50", "66.6")),
)
def test_tape_covers_the_surface_of_the_run(
    length_m: Decimal, diameter_m: Decimal, overlap: str
) -> None:
    rules = QuantityRules(tape_overlap_percent=Decimal(overlap), tape_waste_percent=Decimal(0))
    tape_m = rules.tape_length_m(length_m, diameter_m)
    # The strip laid flat: its fresh area is the surface of the cylinder, up to the next millimetre.
    fresh_m = float(rules.tape_width_m) * (1.0 - float(overlap) / 100.0)
    surface_m2 = pi * float(diameter_m) * float(length_m)
    assert surface_m2 <= float(tape_m) * fresh_m + 1e-9
    assert float(tape_m) <= ceil(1000.0 * surface_m2 / fresh_m + 1e-6) / 1000.0 + 1e-9


@settings(max_examples=25)
@given(st.integers(50, 400), st.integers(1, 300), st.booleans(), st.booleans())
def test_a_longer_run_needs_no_less_of_anything_of_its_own(
    centimetres: int, more: int, loomed: bool, soldered: bool
) -> None:
    def needed(length_m: float) -> list[Requirement]:
        document = demo_job("hybrid_jump_start")
        # A size that both lengths take, so that the length alone differs.
        document["conductors"]["smallest_size"] = "10 mm2"
        circuit = document["circuits"][0]
        circuit["route"][1].update(length=length_m, loomed=loomed)
        circuit["joining"] = "solder" if soldered else "crimp"
        return needs_of(document)

    short, long = needed(centimetres / 100), needed((centimetres + more) / 100)
    kinds = {need.what for need in short}
    assert {"cable_marker", "fuse_label", "cloth_tape", "cable_tie"} <= kinds
    for kind in kinds:
        assert total(long, kind) >= total(short, kind), kind
    # Two ends for each of three pieces: two of feed and the ground lead.
    assert total(short, "cable_marker") == total(long, "cable_marker") == 6
