"""The plans of an installation as plain JSON values, in a fixed order."""

from collections.abc import Callable, Mapping, Sequence
from operator import attrgetter
from typing import Any

from loomwright.engineering.network.collapse import collapse_of_all_loads
from loomwright.engineering.network.solver import NO_OPERATING_POINT, SOLVED
from loomwright.figures import KELVIN_AT_0_C, six_digits
from loomwright.jobs.answer import circuit_document, source_load_document, vehicle_document
from loomwright.jobs.bill_answer import margin_document
from loomwright.jobs.measurement_answer import readings_document
from loomwright.jobs.plan.alternatives import PURPOSES
from loomwright.jobs.plan.bill_summary import plan_bill_document
from loomwright.jobs.plan.changes import changes_document
from loomwright.jobs.plan.outputs import outputs_document
from loomwright.jobs.plan.plan import InstallationPlans, Plan
from loomwright.jobs.plan.work_summary import StepSummaries, Summary, work_summary
from loomwright.jobs.signal_answer import signal_document
from loomwright.jobs.solved_installation import (
    STATES,
    CircuitState,
    SolvedInstallation,
    SourceState,
    power_imbalance_w,
)
from loomwright.jobs.supply_answer import supply_document


def plans_document(plans: InstallationPlans, *, show_cost: bool = False) -> dict[str, Any]:
    """Return the plans of a job as plain JSON values.

    Parameters
    ----------
    plans
        The plans.
    show_cost
        Whether each bill has what it costs the shop.

    Returns
    -------
    dict
        The document; cautions and publications are not in it.
    """
    bill = plans.recommended.priced.bill
    steps = StepSummaries(plans.recommended.order)
    given = {
        plan.name: steps.all if plan is plans.recommended else steps.other_than(plan.order)
        for plan in plans.plans
    }
    ends = [plan.priced.bill.valid_until for plan in plans.plans]
    known = [end for end in ends if end is not None]
    return {
        "verdict": plans.recommended.verdict,
        "title": plans.job.title,
        "vehicle": vehicle_document(plans.job.vehicle),
        "price_book": {"name": bill.price_book, "digest": bill.price_book_digest},
        "currency": bill.currency,
        "prices_include_tax": bill.prices_include_tax,
        "as_of": None if bill.as_of is None else bill.as_of.isoformat(),
        "valid_until": min(known).isoformat() if known else None,
        "plans": _plans(plans.plans, given, show_cost=show_cost),
        "changes": [changes_document(changes) for changes in plans.changes],
    }


def _plans(
    plans: Sequence[Plan],
    steps: Mapping[str, list[Summary]],
    *,
    show_cost: bool,
) -> list[dict[str, Any]]:
    """Return plans as plain JSON values, each member for all of them: see ``made_in_step``."""

    def bill(plan: Plan) -> dict[str, Any]:
        document = plan_bill_document(plan.priced.bill)
        if show_cost:
            document["cost"] = margin_document(plan.priced.bill)
        return document

    members: dict[str, Callable[[Plan], object]] = {
        "name": attrgetter("name"),
        "purpose": lambda plan: PURPOSES[plan.name],
        "verdict": attrgetter("verdict"),
        "sizing_rounds": attrgetter("consistent.rounds"),
        "power_sources": lambda plan: list(map(source_load_document, plan.priced.power_sources)),
        "circuits": lambda plan: list(map(circuit_document, plan.priced.circuits)),
        "network": _network,
        "real_output": lambda plan: outputs_document(plan.outputs),
        "supply": lambda plan: None if plan.supply is None else supply_document(plan.supply),
        "signal": lambda plan: None if plan.signal is None else signal_document(plan.signal),
        "bill": bill,
        "work_order": lambda plan: work_summary(plan.order, steps[plan.name]),
        "expected_measurements": lambda plan: readings_document(plan.measurements),
    }
    documents: list[dict[str, Any]] = [{} for _ in plans]
    for name, document_of in members.items():
        for document, plan in zip(documents, plans, strict=True):
            document[name] = document_of(plan)
    return documents


def _network(plan: Plan) -> dict[str, Any]:
    solved = plan.solved
    systems = {entry.circuit.key: entry.system_voltage_v for entry in plan.priced.circuits}
    return {
        "state": solved.state,
        "circuits": [_circuit_state(state, systems[key]) for key, state in solved.circuits.items()],
        "sources": [_source_state(state) for state in solved.sources.values()],
        **_balance(solved),
        "greatest_power_factor": _greatest_power_factor(solved),
        "iterations": solved.iterations,
        "residual_a": solved.residual_a,
    }


def _greatest_power_factor(solved: SolvedInstallation) -> float | None:
    """Return the factor on all constant powers that can just be had, where they cannot all be."""
    if solved.state != STATES[NO_OPERATING_POINT]:
        return None
    collapse = collapse_of_all_loads(solved.network.shape, solved.network.elements)
    found = collapse.state[0] == SOLVED
    return six_digits(float(collapse.greatest_factor[0])) if found else 0.0


def _balance(solved: SolvedInstallation) -> dict[str, Any]:
    if not solved.sources:
        return dict.fromkeys(("source_power_w", "load_power_w", "loss_w", "imbalance_w"))
    return {
        "source_power_w": six_digits(solved.source_power_w),
        "load_power_w": six_digits(solved.load_power_w),
        "loss_w": six_digits(solved.loss_w),
        "imbalance_w": six_digits(power_imbalance_w(solved)),
    }


def _circuit_state(state: CircuitState, system_voltage_v: float) -> dict[str, Any]:
    return {
        "circuit": state.circuit,
        "current_a": six_digits(state.current_a),
        "feeding_voltage_v": six_digits(state.feeding_voltage_v),
        "load_voltage_v": six_digits(state.load_voltage_v),
        "voltage_drop_v": six_digits(state.voltage_drop_v),
        "voltage_drop_percent": six_digits(100.0 * state.voltage_drop_v / system_voltage_v),
        "ground_potential_mv": six_digits(1e3 * state.ground_potential_v),
        "conductor_temperature_c": six_digits(state.conductor_temperature_k - KELVIN_AT_0_C),
        "loss_w": six_digits(state.loss_w),
    }


def _source_state(state: SourceState) -> dict[str, Any]:
    return {
        "source": state.source,
        "current_a": six_digits(state.current_a),
        "terminal_voltage_v": six_digits(state.terminal_voltage_v),
    }
