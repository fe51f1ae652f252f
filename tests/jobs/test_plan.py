"""Plans of an installation: sized until the network agrees, each priced, with what changes."""

from collections.abc import Callable
from typing import Any

import pytest

from drawn_installations import circuit_document, job_document, load_document
from loomwright.jobs.answer import circuit_document as circuit_document_of
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job import Job
from loomwright.jobs.plan.alternatives import (
    HEADROOM,
    LEANEST,
    RECOMMENDED,
    PlanOptions,
    planned_job,
)
from loomwright.jobs.plan.consistent import consistent_circuits
from loomwright.jobs.plan.plan import (
    NO_OPERATING_POINT,
    VOLTAGE_TOO_LOW,
    InstallationPlans,
    installation_plans,
)
from loomwright.jobs.priced_job import COMPLETE, INCOMPLETE, SOURCE_OVERLOADED, PricedJob
from loomwright.jobs.solved_installation import power_imbalance_w
from loomwright.pricing.price_book import PriceBook
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
ReadJob = Callable[[object], Job]
Plans = Callable[..., InstallationPlans]


@pytest.fixture
def plans_of(demo_book: PriceBook, read_job: ReadJob) -> Plans:
    def plan(document: Document, growth: float = 0.3) -> InstallationPlans:
        options = PlanOptions(headroom_fraction=growth)
        return installation_plans(
            read_job(document), demo_book, tables(), fuse_tables(), plan_options=options
        )

    return plan


def described(priced: PricedJob) -> list[Document]:
    return [circuit_document_of(entry) for entry in priced.circuits]


def two_heavy_loads(**more: Any) -> Document:
    """Two 500 W loads on one source of 12.6 V behind 20 mohm."""
    return job_document(
        [circuit_document("one", "battery", 2.0), circuit_document("two", "battery", 2.0)],
        [load_document("one", load_power=500, **more), load_document("two", load_power=500)],
        source_resistance=0.02,
    )


def test_the_recommended_plan_is_the_bill_where_circuits_alone_were_enough(
    plans_of: Plans, priced: Callable[..., PricedJob]
) -> None:
    for name in ("combustion_car", "hybrid_jump_start"):
        plan, bill = plans_of(demo_job(name)).recommended, priced(demo_job(name))
        assert described(plan.priced) == described(bill)
        assert plan.priced.bill == bill.bill
        assert plan.verdict == bill.verdict == COMPLETE


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_every_demo_job_has_three_complete_plans(name: str, plans_of: Plans) -> None:
    plans = plans_of(demo_job(name))
    assert [plan.name for plan in plans.plans] == [LEANEST, RECOMMENDED, HEADROOM]
    assert {plan.verdict for plan in plans.plans} == {COMPLETE}
    assert all(not plan.priced.bill.unpriced for plan in plans.plans)


def test_one_circuit_is_solved_as_by_hand(plans_of: Plans) -> None:
    # One current load: the drops are those of Ohm's law over source and loop.
    document = job_document(
        [circuit_document("one", "battery", 2.0)], [load_document("one", load_current=10)]
    )
    plan = plans_of(document).recommended
    state, sized = plan.solved.circuits["one"], plan.priced.circuits[0]
    assert sized.loop_resistance_ohm is not None
    assert state.current_a == pytest.approx(10.0, rel=1e-12)
    assert state.feeding_voltage_v == pytest.approx(12.6 - 10.0 * 0.01, rel=1e-12)
    assert state.voltage_drop_v == pytest.approx(10.0 * sized.loop_resistance_ohm, rel=1e-9)
    assert state.load_voltage_v == pytest.approx(12.5 - state.voltage_drop_v, rel=1e-12)
    assert state.conductor_temperature_k == pytest.approx(sized.conductor_temperature_k, rel=1e-9)
    # A return conductor loses what the feed loses, but for the joints: 1 mohm, 8 of 10 in the feed.
    lug_difference_v = 10.0 * (0.8 - 0.2) * 1e-3
    feed_v = state.voltage_drop_v - state.ground_potential_v
    assert feed_v - state.ground_potential_v == pytest.approx(lug_difference_v, rel=1e-6)
    assert state.loss_w == pytest.approx(10.0 * state.voltage_drop_v, rel=1e-9)
    assert plan.solved.sources["battery"].current_a == pytest.approx(10.0, rel=1e-12)


def test_circuits_are_sized_again_when_others_pull_the_source_down(
    read_job: ReadJob, plans_of: Plans
) -> None:
    alone = two_heavy_loads()
    alone["equipment"][1] = load_document("two", load_current=0.001)
    single = consistent_circuits(read_job(alone), tables(), fuse_tables())
    assert single.rounds == 1
    both = consistent_circuits(read_job(two_heavy_loads()), tables(), fuse_tables())
    assert both.rounds > 1
    for entry in both.sized:
        state = both.solved.circuits[entry.circuit.key]
        assert entry.load_current_a is not None
        assert state.current_a <= entry.load_current_a * 1.001
        # The drop that is allowed, 3 % of 12 V, holds in the network and not only alone.
        assert state.voltage_drop_v <= 0.36 * 1.002
    one_alone = single.sized[0].load_current_a
    assert one_alone is not None
    # 1000 W instead of 500 W behind 20 mohm: each draws more than it did alone.
    assert both.solved.circuits["one"].current_a > 1.02 * one_alone
    assert plans_of(two_heavy_loads()).recommended.consistent.exceeded == ()


def test_more_power_than_the_source_has_is_a_verdict(plans_of: Plans) -> None:
    # 12.6 V behind 20 mohm deliver 12.6^2 / 0.08 = 1984.5 W at the most; either half can be had.
    document = two_heavy_loads()
    for load in document["equipment"]:
        load["load_power"] = 1000
    plans = plans_of(document)
    assert {plan.verdict for plan in plans.plans} == {NO_OPERATING_POINT}
    assert plans.recommended.solved.state == "no_operating_point"
    assert plans.recommended.solved.circuits == {}
    assert plans.recommended.outputs == ()
    # What can be priced is priced all the same.
    assert len(plans.recommended.priced.bill.lines) > 0


def test_less_drop_is_allowed_until_the_least_voltage_is_met(plans_of: Plans) -> None:
    def document(least_v: float) -> Document:
        return job_document(
            [circuit_document("main", "battery", 2.0), circuit_document("one", "main", 4.0)],
            [load_document("one", load_current=10, least_voltage=least_v)],
        )

    free = plans_of(document(8.0)).recommended
    voltage = free.solved.circuits["one"].load_voltage_v
    wanted = voltage + 0.1
    bound = plans_of(document(wanted))
    for plan in bound.plans:
        assert plan.verdict == COMPLETE
        assert plan.solved.circuits["one"].load_voltage_v >= wanted
    assert bound.recommended.consistent.rounds > 1
    thicker = zip(bound.recommended.priced.circuits, free.priced.circuits, strict=True)
    assert any(one.conductor != other.conductor for one, other in thicker)


def test_a_least_voltage_that_the_source_itself_misses_is_a_verdict(plans_of: Plans) -> None:
    document = job_document(
        [circuit_document("one", "battery", 2.0)],
        # 12.6 V less 10 A over 10 mohm leave 12.5 V before any conductor.
        [load_document("one", load_current=10, least_voltage=12.55)],
    )
    plans = plans_of(document)
    assert plans.recommended.verdict == VOLTAGE_TOO_LOW
    assert [plan.consistent.short_of_voltage for plan in plans.plans] == [("one",)] * 3


def test_sources_are_judged_by_the_current_of_the_network(plans_of: Plans) -> None:
    document = two_heavy_loads()
    document["power_sources"][0]["greatest_current"] = 85
    alone = [entry.load_current_a for entry in plans_of(document).recommended.priced.circuits]
    plan = plans_of(document).recommended
    (load,) = plan.priced.power_sources
    # The two together draw more than the limit allows, by the law of the solved network.
    assert load.load_current_a == pytest.approx(
        sum(state.current_a for state in plan.solved.circuits.values()), rel=1e-9
    )
    assert load.load_current_a > 85
    assert plan.verdict == SOURCE_OVERLOADED
    assert None not in alone


def test_what_is_not_priced_makes_a_plan_incomplete(plans_of: Plans) -> None:
    document = job_document(
        [circuit_document("one", "battery", 2.0)],
        [load_document("one", load_current=10, fitted=True, reference="UNKNOWN-1")],
    )
    assert plans_of(document).recommended.verdict == INCOMPLETE


def test_the_leanest_plan_widens_each_path_to_ten_percent_and_no_further(read_job: ReadJob) -> None:
    job = read_job(
        job_document(
            [
                circuit_document("main", "battery", 2.0, allowed_voltage_drop_percent=1),
                circuit_document("short", "main", 2.0, allowed_voltage_drop_percent=3),
                circuit_document("long", "main", 2.0, allowed_voltage_drop_percent=4),
                circuit_document("loose", "battery", 2.0, allowed_voltage_drop_percent=12),
            ],
            [load_document(key, load_current=5) for key in ("short", "long", "loose")],
        )
    )
    lean = {item.key: item for item in planned_job(job, LEANEST, PlanOptions()).circuits}
    # The longest path of main has 1 + 4 %: both double, and short goes from 1 + 3 % by 10 / 4.
    assert lean["main"].allowed_drop_fraction == pytest.approx(0.02, rel=1e-12)
    assert lean["long"].allowed_drop_fraction == pytest.approx(0.08, rel=1e-12)
    assert lean["short"].allowed_drop_fraction == pytest.approx(0.075, rel=1e-12)
    # More than 10 % stays as it is stated.
    assert lean["loose"].allowed_drop_fraction == 0.12
    for end in ("short", "long"):
        path = lean["main"].allowed_drop_fraction + lean[end].allowed_drop_fraction
        assert path <= 0.10 * (1.0 + 1e-12)


def test_headroom_grows_loads_and_starting_currents_but_nothing_else(read_job: ReadJob) -> None:
    document = job_document(
        [circuit_document("one", "battery", 2.0), circuit_document("two", "battery", 2.0)],
        [
            load_document("one", load_current=10, inrush_current=30, inrush_time=0.5),
            load_document("two", load_power=100, fuse_rating=20),
        ],
    )
    job = read_job(document)
    grown = planned_job(job, HEADROOM, PlanOptions(headroom_fraction=0.5))
    one, two = grown.equipment
    assert (one.current_a, one.inrush_current_a, one.inrush_duration_s) == (15.0, 45.0, 0.5)
    assert (two.power_w, two.current_a, two.fuse_rating_a) == (150.0, None, 20.0)
    assert grown.circuits == job.circuits
    assert planned_job(job, RECOMMENDED, PlanOptions()) is job


def test_no_growth_is_the_recommended_plan(plans_of: Plans) -> None:
    plans = plans_of(demo_job("van_second_battery"), growth=0.0)
    assert described(plans.plans[1].priced) == described(plans.plans[2].priced)
    assert plans.changes[1].circuits == ()
    assert plans.changes[1].total_difference.amount == 0


def test_changes_name_what_each_circuit_gets_instead(plans_of: Plans) -> None:
    plans = plans_of(demo_job("hybrid_jump_start"))
    for changes, (before, after) in zip(plans.changes, ((0, 1), (1, 2)), strict=True):
        one, other = plans.plans[before].priced, plans.plans[after].priced
        assert (changes.before, changes.after) == (
            plans.plans[before].name,
            plans.plans[after].name,
        )
        assert one.bill.totals.total + changes.total_difference == other.bill.totals.total
        sizes = [entry for entry in changes.circuits if entry.what == "conductor"]
        assert one.circuits[0].conductor is not None
        assert other.circuits[0].conductor is not None
        assert [(entry.before, entry.after) for entry in sizes] == [
            (one.circuits[0].conductor.key, other.circuits[0].conductor.key)
        ]
        fuses = [entry for entry in changes.circuits if entry.what == "fuse"]
        rated = [
            f"{each.fuse_type} {each.rated_current_a:g} A"
            for each in (one.circuits[0], other.circuits[0])
        ]
        assert [(entry.before, entry.after) for entry in fuses] == (
            [] if rated[0] == rated[1] else [tuple(rated)]
        )


def test_outputs_are_estimated_at_the_voltage_of_the_network(plans_of: Plans) -> None:
    plans = plans_of(demo_job("combustion_car"))
    for plan in plans.plans:
        (output,) = plan.outputs
        voltage = plan.solved.circuits["amplifier_feed"].load_voltage_v
        assert output.estimate.supply_voltage_v == pytest.approx(voltage, rel=1e-12)
        assert output.estimate.claim_verdict == "impossible"
    # Less drop, more output: the leanest plan puts out least.
    likely = [plan.outputs[0].estimate.output_likely_w for plan in plans.plans]
    assert likely[0] < likely[1] <= likely[2]


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_powers_balance_in_every_demo_plan(name: str, plans_of: Plans) -> None:
    for plan in plans_of(demo_job(name)).plans:
        assert abs(power_imbalance_w(plan.solved)) < 1e-9 * plan.solved.source_power_w
        losses = sum(state.loss_w for state in plan.solved.circuits.values())
        assert losses == pytest.approx(plan.solved.loss_w, rel=1e-9)
