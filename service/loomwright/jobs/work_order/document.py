"""A work order as plain JSON values, in a fixed order."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from loomwright.jobs.answer import vehicle_document
from loomwright.jobs.bill_answer import iso_duration
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.work_order.steps import Step, StepLabour, StepPart, Tool, WorkOrder
from loomwright.pricing.kinds import UNIT_WORDS


def work_order_document(order: WorkOrder, priced: PricedJob) -> dict[str, Any]:
    """Return a work order as plain JSON values.

    Quantities and hours are decimal strings; every other number is a number whose name ends in its
    unit. Cautions are keys, as their texts stand once in the answer that the document is part of.

    Parameters
    ----------
    order
        The work order.
    priced
        The job that it is for.

    Returns
    -------
    dict
        The document; the publications that it rests on are not in it.
    """
    vehicle, hours = priced.job.vehicle, order.hours
    numbers = {id(line): number for number, line in enumerate(priced.bill.lines, 1)}
    return {
        "verdict": priced.verdict,
        "title": priced.job.title,
        "vehicle": {**vehicle_document(vehicle), "hazards": list(vehicle.hazards)},
        "zones": list(order.zones),
        "not_built": not_built_documents(order),
        "steps": [_step(step, numbers) for step in order.steps],
        "tools": [_tool(tool) for tool in order.tools],
        "labour_hours": _exact(hours),
        "labour_duration": iso_duration(hours),
    }


def not_built_documents(order: WorkOrder) -> list[dict[str, str]]:
    """Return the circuits that no step builds, each with its verdict."""
    return [{"circuit": key, "verdict": verdict} for key, verdict in order.not_built.items()]


def _exact(number: Decimal) -> str:
    return format(number, "f")


def _step(step: Step, numbers: Mapping[int, int]) -> dict[str, Any]:
    task, hours = step.task, step.hours
    return {
        "number": step.number,
        "key": task.key,
        "kind": task.kind,
        "text": task.text,
        "circuit": task.circuit,
        "equipment": task.equipment,
        "power_source": task.power_source,
        "zone": task.zone,
        "needs": list(task.needs),
        "parts": [_part(part, numbers) for part in step.parts],
        "labour": [_labour(entry, numbers) for entry in step.labour],
        "hours": _exact(hours),
        "duration": iso_duration(hours),
        "tools": [_tool(tool) for tool in task.tools],
        "torques": [torque.document for torque in task.torques],
        "checks": list(task.checks),
        "cautions": list(task.cautions),
    }


def _part(part: StepPart, numbers: Mapping[int, int]) -> dict[str, Any]:
    return {
        "line": None if part.line is None else numbers[id(part.line)],
        "kind": part.served_by.kind,
        "key": part.key,
        "description": part.description,
        "quantity": _exact(part.quantity),
        "unit": part.unit,
        "unit_word": UNIT_WORDS[part.unit],
        "rule": part.rule,
        "reason": part.need.reason,
    }


def _labour(entry: StepLabour, numbers: Mapping[int, int]) -> dict[str, Any]:
    return {
        "line": None if entry.line is None else numbers[id(entry.line)],
        "operation": entry.operation,
        "description": entry.description,
        "hours": None if entry.hours is None else _exact(entry.hours),
    }


def _tool(tool: Tool) -> dict[str, str]:
    return {"tool": tool.tool, "purpose": tool.purpose}
