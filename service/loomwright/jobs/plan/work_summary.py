"""The work order of a plan, whose parts and labour are named by their keys in the price book."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from operator import is_, itemgetter
from typing import Any

from loomwright.jobs.bill_answer import iso_duration
from loomwright.jobs.work_order.document import not_built_documents
from loomwright.jobs.work_order.steps import PartShare, Task, TaskLabour, WorkOrder

Summary = Mapping[str, Any]
# A step of a work order, and it as plain JSON values.
_Known = tuple[Task, Sequence[PartShare], TaskLabour, Summary]
_NEED = itemgetter(2)


class StepSummaries:
    """The steps of the plan that has all of them, which those of other plans are held against.

    Parameters
    ----------
    order
        Work order of that plan.
    """

    def __init__(self, order: WorkOrder) -> None:
        steps = zip(order.tasks, order.parts, order.labour, strict=True)
        self._known: Mapping[str, _Known] = {
            task.key: (task, parts, labour, _step(task, parts, labour))
            for task, parts, labour in steps
        }

    @property
    def all(self) -> list[Summary]:
        """Every step in its order."""
        return [summary for *_, summary in self._known.values()]

    def other_than(self, order: WorkOrder) -> list[Summary]:
        """Return the steps of another plan that differ from these, or are not among them.

        Parameters
        ----------
        order
            Work order of the other plan.

        Returns
        -------
        list of dict
            In their order.
        """
        found = []
        for task, parts, labour in zip(order.tasks, order.parts, order.labour, strict=True):
            known = self._known.get(task.key)
            if known is not None and known[0] is task and known[2] is labour:
                before = known[1]
                # Most are made of the same objects, which is quickly told.
                if before is parts or (
                    len(before) == len(parts)
                    and all(map(is_, map(_NEED, before), map(_NEED, parts)))
                ):
                    continue
                if known[3]["parts"] == _parts(parts):
                    continue
            summary = _step(task, parts, labour)
            if known is None or known[3] != summary:
                found.append(summary)
        return found


def work_summary(order: WorkOrder, steps: list[Summary]) -> dict[str, Any]:
    """Return the work order of a plan.

    Parameters
    ----------
    order
        Of the plan.
    steps
        Its steps that are given in full.

    Returns
    -------
    dict
        Keys of all steps in order, and the steps that are given.
    """
    hours = order.hours
    return {
        "zones": list(order.zones),
        "not_built": not_built_documents(order),
        "order": [task.key for task in order.tasks],
        "steps": steps,
        "labour_hours": f"{hours:f}",
        "labour_duration": iso_duration(hours),
    }


def _step(task: Task, parts: Sequence[PartShare], labour: TaskLabour) -> Summary:
    """Return a step with parts and labour by key in the price book, ``None`` for what it lacks."""
    if not parts and not labour.entries:
        return task.summary
    summary = task.summary.copy()
    if parts:
        summary["parts"] = _parts(parts)
    if labour.entries:
        summary["labour"] = [operation for _, operation, *_ in labour.entries]
        summary["hours"] = f"{labour.hours:f}"
    return summary


def _parts(parts: Sequence[PartShare]) -> list[Summary]:
    """Return each part once, by its key in the price book, whatever line of the bill it is on."""
    quantities: dict[tuple[str, str | None], Decimal] = {}
    for _, unpriced, need, quantity in parts:
        served = unpriced or need.part
        assert served is not None  # every need on a line of parts is served by one
        place = served.kind, None if need.part is None else need.part.key
        if place in quantities:
            quantities[place] += quantity
        else:
            quantities[place] = quantity
    return [
        {"kind": kind, "key": key, "quantity": f"{quantity:f}"}
        for (kind, key), quantity in quantities.items()
    ]
