"""Priced jobs: counts done by hand, verdicts that travel, and the laws of a whole job."""

import copy
import json
import os
import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.errors import EngineeringError
from loomwright.jobs.answer import answer_document
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import PricedJob, priced_job
from loomwright.pricing.book_document import price_book_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
Price = Callable[..., PricedJob]


def quantities(priced: PricedJob) -> dict[str, Decimal]:
    return {line.key: line.quantity for line in priced.bill.lines}


def test_parts_and_hours_of_a_small_job_are_those_counted_by_hand(
    small_job: Document, priced: Price
) -> None:
    # Counted by hand from the job and the rules of the demo book. 6 A over 4.5 m of 12 V, 3 %:
    # 0.36 V. 2.5 mm2 (7.98 mohm/m at 20 C): 6 x (4.5 x 7.98e-3 x 1.24 + 0.002) = 0.279 V at 80 C.
    # 1.5 mm2 (13.3 mohm/m): above 6 x (4.5 x 13.3e-3 x 1.08 + 0.002) = 0.40 V even at 40 C.
    answer = priced(small_job)
    assert answer.verdict == "complete"
    assert quantities(answer) == {
        "DEMO-LIGHT-12": Decimal(2),
        # The holder parts the feed, which so has four ends: 4.0 m + 10 % + 0.6 m;
        # 0.5 m + 10 % + 0.3 m = 0.85 m, by 0.1 m.
        "WIRE-2.5-R": Decimal("5.0"),
        "WIRE-2.5-B": Decimal("0.9"),
        # 6 A / 0.75 asks for 8 A and, for the heat of the engine compartment, a little more.
        "FUSE-C-10": Decimal(1),
        "HOLD-C-20": Decimal(1),
        "RING-2.5-M8": Decimal(1),
        "RING-2.5-M6": Decimal(1),
        # Two at the holder; one for each of two lamps, there and back.
        "SPLICE-2.5": Decimal(6),
        # On the positive stud at the battery; the holder has a cover.
        "BOOT-M8-5": Decimal(1),
        "GND-M6": Decimal(1),
        # 2 g at the battery and at the ground point.
        "PASTE": Decimal(4),
        "GROM-4": Decimal(1),
        # 1 m + 5 %, by 0.5 m.
        "LOOM-5": Decimal("1.5"),
        # pi x 3.6 mm x 3 m / 9.5 mm = 3.571 m of run, and around 8 mm of loom (5 mm with a wall of
        # 1.5 mm) pi x 8 mm x 0.1 m / 9.5 mm = 0.265 m at its two ends; + 10 % 4.220 m, by 0.5 m.
        "TAPE-19": Decimal("4.5"),
        # Both ends of two pieces of feed and of the ground lead.
        "MARK-5.5": Decimal(6),
        "LABEL-HOLDER": Decimal(1),
        # Two rings and six splices, 0.04 m each, by 0.1 m.
        "SHRINK-4.8": Decimal("0.4"),
        # 1 + ceil(4 / 0.3).
        "TIE-16": Decimal(15),
        "isolate_source": Decimal("0.25"),
        # 4 m x 0.10 h.
        "run_conductor": Decimal("0.40"),
        "pass_bulkhead": Decimal("0.35"),
        "fit_fuse_holder": Decimal("0.15"),
        # 8 x 0.07 h = 0.56 h, by 0.05 h.
        "make_off_end": Decimal("0.60"),
        # 3 m x 0.05 h.
        "wrap_tape": Decimal("0.15"),
        "make_ground_point": Decimal("0.25"),
        "fit_lights": Decimal("0.60"),
        "test_circuit": Decimal("0.10"),
        "test_and_hand_over": Decimal("0.40"),
    }


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_a_demo_job_is_complete_and_its_totals_are_the_sum_of_its_lines(
    priced: Price, name: str
) -> None:
    answer = priced(demo_job(name))
    bill = answer.bill
    assert answer.verdict == "complete"
    assert bill.unpriced == ()
    assert sum(line.total.minor_units for line in bill.lines) == bill.totals.lines_total.minor_units
    assert bill.totals.total == bill.totals.net_total + bill.totals.taxes[0].amount
    assert all(line.reason for line in bill.lines)


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_no_fuse_on_a_demo_bill_is_above_its_conductor(priced: Price, name: str) -> None:
    for entry in priced(demo_job(name)).circuits:
        assert entry.conductor_answer is not None
        assert entry.candidate is not None
        ampacity = float(entry.conductor_answer.candidates.ampacity_a[entry.candidate])
        assert entry.load_current_a is not None
        assert entry.rated_current_a is not None
        assert entry.load_current_a <= entry.rated_current_a <= ampacity


def test_the_conductor_is_the_one_that_the_engineering_answers(priced: Price) -> None:
    listed = tables()
    zones = listed.zones
    request = ConductorRequest(
        sizes=listed.series["awg"],
        material=listed.materials["copper"],
        insulation=listed.insulations["pvc_105"],
        supply_voltage_v=12.6,
        allowed_voltage_drop_v=0.36,
        segments=(
            Segment(1.2, zones["engine_compartment"].ambient_temperature_k, engine_space=True),
            Segment(2.6, zones["passenger_compartment"].ambient_temperature_k),
            # The ground lead is a last stretch of the same conductor.
            Segment(0.5, zones["passenger_compartment"].ambient_temperature_k),
        ),
        load_current_a=20.0,
        # EN cranking test: (12.6 V - 7.5 V) / 540 A cold, half of it warm.
        source_resistance_ohm=0.5 * (12.6 - 7.5) / 540.0,
        return_by_conductor=False,
        chassis_resistance_ohm=0.001,
        fixed_resistance_ohm=0.001,
        smallest_size=listed.conductors["12 AWG"],
    )
    expected = size_conductor(request, listed)
    (entry,) = priced(demo_job("combustion_car")).circuits
    assert expected.chosen is not None
    assert entry.conductor == expected.candidates.sizes[expected.chosen]
    assert entry.voltage_drop_v == pytest.approx(
        float(expected.candidates.voltage_drop_v[expected.chosen]), rel=1e-12
    )
    # Common practice, no source: 8 AWG feeds such an amplifier from bonnet to seat.
    assert entry.conductor.key == "8 AWG"


def test_a_part_that_the_book_lacks_is_named_and_the_bill_still_comes(priced: Price) -> None:
    document = {**demo_price_book(), "kits": []}
    full = priced(demo_job("combustion_car"), price_book_from_document(document))
    document["parts"] = [part for part in document["parts"] if part["kind"] != "fuse_holder"]
    answer = priced(demo_job("combustion_car"), price_book_from_document(document))
    assert answer.verdict == "incomplete"
    assert {entry.kind for entry in answer.bill.unpriced} == {"fuse_holder", "ring_terminal"}
    terminal = next(entry for entry in answer.bill.unpriced if entry.kind == "ring_terminal")
    # The stud of a holder that is not known is not guessed.
    assert terminal.attributes["stud"] == "as the fuse holder"
    assert terminal.quantity == 2
    gone = {"HOLD-SF30", "RING-8AWG-M5"}
    assert quantities(answer) == {
        key: quantity for key, quantity in quantities(full).items() if key not in gone
    }


def test_an_operation_that_the_book_lacks_is_named(small_job: Document, priced: Price) -> None:
    small_job["labour"] = [{"operation": "paint", "quantity": 3, "reason": "customer's wish"}]
    (missing,) = priced(small_job).bill.unpriced
    assert (missing.kind, missing.quantity) == ("labour", 3)
    assert missing.attributes == {"operation": "paint"}


def test_nothing_is_invented_for_a_circuit_without_a_conductor(
    small_job: Document, priced: Price
) -> None:
    small_job["equipment"][0]["load_current"] = 900
    answer = priced(small_job)
    (entry,) = answer.circuits
    assert (entry.verdict, entry.conductor_verdict) == (
        "no_conductor",
        entry.conductor_answer.verdict if entry.conductor_answer else "",
    )
    assert entry.conductor_verdict in ("no_conductor_meets_criteria", "no_operating_point")
    assert answer.verdict == "incomplete"
    kinds = {line.kind for line in answer.bill.lines}
    assert kinds == {"equipment", "labour"}
    assert not set(quantities(answer)) & {"run_conductor", "make_off_end", "fit_fuse_holder"}
    with pytest.raises(ValueError, match="not sized"):
        entry.built()


def test_nothing_is_invented_for_a_circuit_without_a_fuse(
    small_job: Document, priced: Price
) -> None:
    # 40 A is the greatest rating of the type; 70 A asks for more than 90 A.
    small_job["equipment"][0]["load_current"] = 35
    answer = priced(small_job)
    (entry,) = answer.circuits
    assert (entry.verdict, entry.conductor_verdict) == ("no_fuse", "conductor_found")
    assert entry.fuse_verdict == "no_rating_fits"
    assert entry.fuse_type is None
    assert entry.rated_current_a is None
    assert {line.kind for line in answer.bill.lines} == {"equipment", "labour"}


def test_nothing_is_built_behind_a_feeder_that_is_not_sized(priced: Price) -> None:
    document = demo_job("truck_24v")
    # 0.1 % of 24 V is 0.024 V; the joints alone drop more.
    document["circuits"][0].update(allowed_voltage_drop_percent=0.1, joint_resistance=0.01)
    answer = priced(document)
    verdicts = {entry.circuit.key: entry.verdict for entry in answer.circuits}
    assert verdicts.pop("cab_main") == "no_conductor"
    assert set(verdicts.values()) == {"no_feeder"}
    assert "conductor" not in {line.kind for line in answer.bill.lines}


def test_a_converter_makes_its_own_system_voltage_and_limits_its_fault(
    small_job: Document, priced: Price
) -> None:
    small_job["vehicle"]["system_voltage"] = 24
    small_job["power_sources"][0].update(
        tap_point="converter_output", system_voltage=12, source_voltage=13.2, greatest_current=30
    )
    (entry,) = priced(small_job).circuits
    assert entry.system_voltage_v == 12.0
    assert entry.fuse_answer is not None
    # The resistance alone would let 13.2 V / 14 mohm = 943 A pass; the converter gives 30 A.
    assert entry.fuse_answer.near_source_fault_a == 30.0
    assert entry.fuse_answer.far_end_fault_a == 30.0


def test_a_conductor_is_thickened_until_a_fuse_protects_it(
    small_job: Document, priced: Price
) -> None:
    # Drop and heat are content with thin metal; the 25 A fuse in the equipment is not.
    small_job["equipment"][0].update(load_current=1.5, fuse_rating=25)
    (entry,) = priced(small_job).circuits
    assert entry.verdict == "sized"
    assert entry.thickened_for is not None
    assert entry.conductor_answer is not None
    assert entry.candidate is not None
    candidates = entry.conductor_answer.candidates
    assert entry.candidate > (entry.conductor_answer.chosen or 0)
    assert float(candidates.ampacity_a[entry.candidate]) >= 25.0
    assert float(candidates.ampacity_a[entry.candidate - 1]) < 25.0
    assert entry.thickened_for.replace("_", " ") in entry.decision


def test_a_source_asked_for_too_much_is_named(priced: Price) -> None:
    document = demo_job("hybrid_jump_start")
    document["power_sources"][0]["greatest_current"] = 10
    answer = priced(document)
    assert answer.verdict == "source_overloaded"
    assert [load.verdict for load in answer.power_sources] == ["above_limit"]


def test_a_circuit_that_charges_its_source_takes_nothing_from_it(priced: Price) -> None:
    answer = priced(demo_job("van_second_battery"))
    by_key = {entry.circuit.key: entry for entry in answer.circuits}
    service = next(load for load in answer.power_sources if load.source.key == "service_battery")
    taken = [by_key[key].load_current_a or 0.0 for key in ("inverter_feed", "service_main")]
    assert service.load_current_a == pytest.approx(sum(taken), rel=1e-12)


def test_a_main_carries_the_sum_of_its_branches(priced: Price) -> None:
    answer = priced(demo_job("truck_24v"))
    main, *branches = answer.circuits
    assert main.circuit.key == "cab_main"
    carried = sum(branch.load_current_a or 0.0 for branch in branches)
    assert main.load_current_a == pytest.approx(carried, rel=1e-12)
    assert len(main.branch_fuses) == len(branches) == 3
    # The branches sit in one block and have no holder of their own.
    assert quantities(answer)["HOLD-SF30"] == 1
    assert quantities(answer)["BLOCK-C-6"] == 1


def test_equipment_that_is_not_fitted_has_no_price_and_no_hours(
    small_job: Document, priced: Price
) -> None:
    small_job["equipment"][0]["fitted"] = False
    kept = quantities(priced(small_job))
    assert "DEMO-LIGHT-12" not in kept
    assert "fit_lights" not in kept
    assert "WIRE-2.5-R" in kept


def test_an_error_of_the_engineering_names_the_circuit(small_job: Document, priced: Price) -> None:
    small_job["conductors"]["insulation"] = "pvc_70"
    with pytest.raises(EngineeringError, match="lamp_feed") as caught:
        priced(small_job)
    assert caught.value.field == "circuits/0"


@pytest.mark.parametrize(
    ("name", "called_for", "not_called_for"),
    [
        ("combustion_car", {"hearing", "chassis_return", "engine_bay_heat"}, {"high_voltage"}),
        ("hybrid_jump_start", {"high_voltage", "jump_start_post", "hearing"}, {"two_sources"}),
        (
            "van_second_battery",
            {"two_sources", "mains_output", "battery_in_living_space"},
            {"hearing", "high_voltage", "chassis_return"},
        ),
        ("truck_24v", {"battery_in_series", "combustion_heater"}, {"hearing", "mains_output"}),
    ],
)
def test_cautions_follow_the_facts_of_the_job(
    priced: Price, name: str, called_for: set[str], not_called_for: set[str]
) -> None:
    keys = priced(demo_job(name)).cautions
    assert len(keys) == len(set(keys))
    assert called_for <= set(keys)
    assert not not_called_for & set(keys)
    assert {"isolate_battery", "airbag", "fuse_at_source", "defer_to_maker"} <= set(keys)


def test_figures_that_rest_on_memory_say_so(priced: Price) -> None:
    provenances = priced(demo_job("combustion_car")).provenances
    assert {"memory", "practice"} <= {row.checked for row in provenances}


BYTES_PROGRAM = """
import json, sys
from loomwright.jobs.answer import answer_document
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job, demo_price_book
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.priced_job import priced_job
from loomwright.pricing.book_document import price_book_from_document
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
book = price_book_from_document(demo_price_book())
for name in DEMO_JOBS:
    job = job_from_document(demo_job(name), tables(), fuse_tables().types)
    answer = answer_document(priced_job(job, book, tables(), fuse_tables()))
    sys.stdout.write(json.dumps(answer))
"""


def test_the_same_job_and_book_give_the_same_bytes_in_every_process() -> None:
    def output(seed: str) -> bytes:
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        run = subprocess.run(
            [sys.executable, "-c", BYTES_PROGRAM], env=environment, capture_output=True, check=True
        )
        return run.stdout

    first = output("1")
    assert len(json.loads(b"[" + first.replace(b"}{", b"},{") + b"]")) == len(DEMO_JOBS)
    assert output("2") == first


BOOK = price_book_from_document(demo_price_book())


@settings(max_examples=25)
@given(
    st.integers(10, 600),
    st.integers(1, 300),
    st.floats(0.5, 12.0),
)
def test_a_longer_run_never_means_a_thinner_conductor_or_less_of_it(
    centimetres: int, more_centimetres: int, current_a: float
) -> None:
    def answered(length_m: float) -> PricedJob:
        document = demo_job("hybrid_jump_start")
        document["equipment"][0]["load_current"] = current_a
        document["circuits"][0]["route"][1]["length"] = length_m
        job = job_from_document(document, tables(), fuse_tables().types)
        return priced_job(job, BOOK, tables(), fuse_tables())

    short = answered(centimetres / 100)
    long = answered((centimetres + more_centimetres) / 100)
    (first,), (second,) = short.circuits, long.circuits
    if first.conductor is not None and second.conductor is not None:
        assert second.conductor.rank >= first.conductor.rank
    if first.verdict == second.verdict == "sized":
        cut = [
            sum(line.quantity for line in answer.bill.lines if line.kind == "conductor")
            for answer in (short, long)
        ]
        assert cut[1] >= cut[0]
    for answer in (short, long):
        total = sum(line.total.minor_units for line in answer.bill.lines)
        assert total == answer.bill.totals.net_total.minor_units


def test_an_answer_is_plain_json_with_money_as_text(priced: Price) -> None:
    document = answer_document(priced(demo_job("van_second_battery")))
    again = json.loads(json.dumps(document, allow_nan=False))
    assert again == document
    assert all(isinstance(line["total"], str) for line in document["lines"])
    assert document["price_book"]["digest"] == BOOK.digest
    assert [line["number"] for line in document["lines"]] == list(
        range(1, len(document["lines"]) + 1)
    )


def test_an_answer_states_what_is_missing_as_plain_json(small_job: Document, priced: Price) -> None:
    document = copy.deepcopy(small_job)
    document["circuits"][0]["taps"] = [{"use": "moonlight", "quantity": 2}]
    (missing,) = answer_document(priced(document))["unpriced"]
    assert missing["attributes"] == {"use": "moonlight"}
    assert (missing["quantity"], missing["unit"], missing["unit_word"]) == ("2", "EA", "each")
