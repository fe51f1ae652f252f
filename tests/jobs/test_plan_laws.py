"""Laws of plans over drawn jobs."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drawn_installations import jobs
from loomwright.jobs.demo_library import demo_book
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.plan.alternatives import PlanOptions
from loomwright.jobs.plan.consistent import GREATEST_ROUNDS, consistent_circuits
from loomwright.jobs.plan.plan import InstallationPlans, Plan, installation_plans
from loomwright.jobs.priced_job import COMPLETE
from loomwright.jobs.sized_circuit import SIZED
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables


def plans_of(document: dict[str, object], growth: float = 0.3) -> InstallationPlans:
    job = job_from_document(document, tables(), fuse_tables().types)
    options = PlanOptions(headroom_fraction=growth)
    return installation_plans(job, demo_book(), tables(), fuse_tables(), plan_options=options)


def sections_m2(plan: Plan) -> dict[str, float]:
    return {
        entry.circuit.key: entry.conductor.cross_section_m2
        for entry in plan.priced.circuits
        if entry.verdict == SIZED and entry.conductor is not None
    }


@settings(max_examples=60)
@given(jobs())
def test_the_network_asks_no_more_than_each_circuit_was_sized_for(
    document: dict[str, object],
) -> None:
    job = job_from_document(document, tables(), fuse_tables().types)
    found = consistent_circuits(job, tables(), fuse_tables())
    assert found.rounds < GREATEST_ROUNDS
    assert found.exceeded == ()
    for entry in found.sized:
        state = found.solved.circuits.get(entry.circuit.key)
        if state is None or entry.load_current_a is None or entry.conductor_answer is None:
            continue
        assert state.current_a <= entry.load_current_a * 1.0011
        allowed_v = entry.circuit.allowed_drop_fraction * entry.system_voltage_v
        assert state.voltage_drop_v <= allowed_v * 1.003
        if entry.rated_current_a is not None:
            assert state.current_a <= entry.rated_current_a


@settings(max_examples=60)
@given(jobs())
def test_currents_and_powers_of_each_plan_add_up(document: dict[str, object]) -> None:
    for plan in plans_of(document).plans:
        solved = plan.solved
        if not solved.sources:
            continue
        fed = {
            key: sum(
                solved.circuits[entry.circuit.key].current_a
                for entry in plan.priced.circuits
                if entry.circuit.fed_from == key and entry.circuit.key in solved.circuits
            )
            for key in ("battery", "main")
        }
        assert solved.sources["battery"].current_a == pytest.approx(fed["battery"], rel=1e-9)
        if "main" in solved.circuits:
            assert solved.circuits["main"].current_a == pytest.approx(fed["main"], rel=1e-9)
        total = solved.load_power_w + solved.loss_w
        assert solved.source_power_w == pytest.approx(total, rel=1e-9)


@settings(max_examples=60)
@given(jobs(powers=False), st.floats(0.0, 1.0))
def test_a_plan_with_more_room_is_nowhere_thinner(
    document: dict[str, object], growth: float
) -> None:
    lean, recommended, headroom = (sections_m2(plan) for plan in plans_of(document, growth).plans)
    for thinner, thicker in ((lean, recommended), (recommended, headroom)):
        for key in thinner.keys() & thicker.keys():
            assert thinner[key] <= thicker[key] * (1.0 + 1e-12)


@settings(max_examples=20)
@given(jobs())
def test_the_same_job_has_the_same_plans(document: dict[str, object]) -> None:
    assert repr(plans_of(document).changes) == repr(plans_of(document).changes)


@settings(max_examples=60)
@given(jobs())
def test_the_leanest_plan_never_costs_more_than_the_recommended(
    document: dict[str, object],
) -> None:
    lean, recommended, _ = plans_of(document).plans
    if lean.verdict == recommended.verdict == COMPLETE:
        assert lean.priced.bill.totals.total.amount <= recommended.priced.bill.totals.total.amount
