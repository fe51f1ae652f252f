"""The work order of a plan, whose parts and labour are named by their keys in the price book."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from loomwright.jobs.bill_answer import iso_duration
from loomwright.jobs.work_order.document import not_built_documents, torque_document
from loomwright.jobs.work_order.steps import Step, WorkOrder

Summary = dict[str, Any]


def step_summaries(orders: Sequence[WorkOrder]) -> list[dict[str, Summary]]:
    """Return the steps of work orders as plain JSON values, by key in their order.

    Parameters
    ----------
    orders
        Of the plans of a job, which have steps in common.

    Returns
    -------
    list of dict
        Parts and labour by key in the price book, ``None`` for a part that it lacks. One step of
        several orders has one summary.
    """
    made: dict[int, Summary] = {}
    found = []
    for order in orders:
        for step in order.steps:
            if id(step) not in made:
                made[id(step)] = _step(step)
        found.append({step.task.key: made[id(step)] for step in order.steps})
    return found


def work_summary(
    order: WorkOrder, steps: Mapping[str, Summary], base: Mapping[str, Summary]
) -> Summary:
    """Return the work order of a plan, with the steps that are not those of another plan.

    Parameters
    ----------
    order
        Of the plan.
    steps
        Its ``step_summaries``.
    base
        Those of the plan that has all steps; empty for that plan itself.

    Returns
    -------
    dict
        Keys of all steps in order; in full those that differ from ``base`` or are not in it.
    """
    hours = order.hours
    return {
        "zones": list(order.zones),
        "not_built": not_built_documents(order),
        "order": list(steps),
        "steps": [step for key, step in steps.items() if not _same(step, base.get(key))],
        "labour_hours": format(hours, "f"),
        "labour_duration": iso_duration(hours),
    }


def _same(step: Summary, other: Summary | None) -> bool:
    # Most are the same object, which two dictionaries do not ask before they compare.
    return step is other or step == other


def _step(step: Step) -> Summary:
    task = step.task
    return {
        "key": task.key,
        "kind": task.kind,
        "text": task.text,
        "circuit": task.circuit,
        "equipment": task.equipment,
        "zone": task.zone,
        "needs": list(task.needs),
        "parts": _parts(step),
        "labour": [entry.operation for entry in step.labour],
        "hours": format(step.hours, "f"),
        "tools": [tool.tool for tool in task.tools],
        "torques": [torque_document(torque) for torque in task.torques],
        "checks": list(task.checks),
        "cautions": list(task.cautions),
    }


def _parts(step: Step) -> list[Summary]:
    """Return each part once, by its key in the price book, whatever line of the bill it is on."""
    quantities: dict[tuple[str, str | None], Decimal] = {}
    for part in step.parts:
        place = (part.served_by.kind, part.key)
        before = quantities.get(place)
        quantities[place] = part.quantity if before is None else before + part.quantity
    return [
        {"kind": kind, "key": key, "quantity": format(quantity, "f")}
        for (kind, key), quantity in quantities.items()
    ]
