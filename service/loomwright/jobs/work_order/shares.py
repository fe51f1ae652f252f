"""The parts and hours of a bill shared out over the tasks that use them, to the last digit."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from decimal import ROUND_DOWN, Decimal
from itertools import repeat
from operator import is_
from typing import NamedTuple

from loomwright.jobs.work_order.facts import of
from loomwright.jobs.work_order.job_tasks import TRIM_OPERATION
from loomwright.jobs.work_order.steps import (
    NO_HOURS,
    NO_LABOUR,
    OTHER,
    LabourShare,
    PartShare,
    TaskLabour,
)
from loomwright.jobs.work_order.targets import AlongRoute, Evenly, OfEquipment, Target, Targets
from loomwright.pricing.bill import Bill
from loomwright.pricing.kinds import LABOUR_UNIT
from loomwright.pricing.lines import LABOUR, Line, Need, Unpriced
from loomwright.pricing.price_book import Part

_NOTHING, _ONE = Decimal(0), Decimal(1)
_MILLI = Decimal("0.001")
# A task, with what it takes of a need.
Share = tuple[str, Decimal]
# Rule, circuit, and what the rule chooses the part by.
_Mounted = tuple[str, str, str]
# Labour of each task, and the hours of all.
_Labour = tuple[list[TaskLabour], Decimal]


def split(quantity: Decimal, weights: Sequence[Decimal]) -> list[Decimal]:
    """Return a quantity in shares by weight that add up to it exactly.

    Parameters
    ----------
    quantity
        What is shared, 0 or more.
    weights
        Each 0 or more, at least one above 0.

    Returns
    -------
    list of Decimal
        Whole shares of a whole quantity, otherwise in thousandths; the last takes what remains.
    """
    if len(weights) == 1:
        return [quantity]
    total = sum(weights)
    step = _ONE if quantity == quantity.to_integral_value() else _MILLI
    shares = []
    weight = given = _NOTHING
    for each in weights[:-1]:
        weight += each
        # Rounded down, so that no later share falls below nought.
        reached = (quantity * weight / total).quantize(step, ROUND_DOWN)
        shares.append(reached - given)
        given = reached
    shares.append(quantity - given)
    return shares


class BillShares(NamedTuple):
    """Parts and labour of a bill, of each task in the order of the tasks.

    ``hours`` are the working hours of all tasks [h].
    """

    parts: Sequence[Sequence[PartShare]]
    labour: Sequence[TaskLabour]
    hours: Decimal


class Shares:
    """Parts and labour of each task, from the lines of bills of one job.

    Bills have labour in common where their circuits have; the shares of such a line are made once.

    Parameters
    ----------
    targets
        Tasks of the job.
    lengths_m
        Lengths of the segments of each circuit's route [m], by its key.
    """

    def __init__(self, targets: Targets, lengths_m: Mapping[str, Sequence[Decimal]]) -> None:
        self._targets, self._lengths_m = targets, lengths_m
        self._labour_before: tuple[Sequence[Line], _Labour] = (), ([], NO_HOURS)
        # By identity, as lines are great to compare; they are held, so that none takes over the id
        # of one before.
        self._known: dict[int, tuple[Line, list[tuple[str, LabourShare]]]] = {}

    def of(self, bill: Bill, tasks: Sequence[str]) -> BillShares:
        """Return the parts and labour of each task, from the lines of a bill.

        Parameters
        ----------
        bill
            Of the job, for a sizing whose layout is that of the targets.
        tasks
            Keys of all tasks, the same for all bills.

        Returns
        -------
        BillShares
            Those of each task in the order of the lines.
        """
        parts: dict[str, list[PartShare]] = defaultdict(list)
        mounted: dict[_Mounted, Iterator[str]] = {}
        labour: list[Line] = []
        by_rule = self._targets.by_rule
        for line in bill.lines:
            if line.kind == LABOUR:
                if line.unit == LABOUR_UNIT:
                    labour.append(line)
                continue
            for need in line.needs:
                target = by_rule[need.circuit][need.rule]
                # Nearly all: a plan has hundreds of needs, so that nothing is called for them.
                if target.__class__ is str:
                    parts[target].append((line, None, need, need.quantity))
                else:
                    for task, quantity in self._part_shares(need, need.part, target, mounted):
                        parts[task].append((line, None, need, quantity))
        unpriced_labour = []
        for entry in bill.unpriced:
            if entry.kind == LABOUR:
                unpriced_labour.append(entry)
                continue
            for need in entry.needs:
                target = by_rule[need.circuit][need.rule]
                for task, quantity in self._part_shares(need, entry, target, mounted):
                    parts[task].append((None, entry, need, quantity))
        return BillShares(
            list(map(parts.get, tasks, repeat(()))), *self._labour(labour, unpriced_labour, tasks)
        )

    def _part_shares(
        self,
        need: Need,
        served_by: Part | Unpriced | None,
        target: Target,
        mounted: dict[_Mounted, Iterator[str]],
    ) -> Sequence[Share]:
        """Return the tasks that a need of parts serves, with what each takes of it."""
        if not isinstance(target, OfEquipment):
            return self._shared(need, target)
        assert served_by is not None  # every need on a line of parts is served by one
        wanted = str(served_by.attributes[target.chosen_by])
        # The needs before one of equipment decide which pieces are left for it.
        place = need.rule, need.circuit, wanted
        left = mounted.get(place)
        if left is None:
            left = mounted[place] = iter(target.tasks.get(wanted, ()))
        task = next(left, None)
        if task is None:
            circuit = need.circuit or "the job"
            raise LookupError(f"no equipment of the job needs {wanted} for {circuit}")
        return ((task, need.quantity),)

    def _labour(
        self, lines: Sequence[Line], unpriced: Sequence[Unpriced], tasks: Sequence[str]
    ) -> _Labour:
        """Return the labour of each task; that of the bill before where it asks for the same."""
        before, known = self._labour_before
        if not unpriced and len(before) == len(lines) and all(map(is_, before, lines)):
            return known
        entries: dict[str, list[LabourShare]] = defaultdict(list)
        for line in lines:
            for key, work in self._line_labour(line):
                entries[key].append(work)
        for entry in unpriced:
            operation = str(entry.attributes["operation"])
            shares = self._labour_shares(operation, entry.needs)
            for key in dict.fromkeys([key for key, _ in shares]):
                entries[key].append((None, operation, entry.description, None))
        by_task = {key: TaskLabour(works, _hours(works)) for key, works in entries.items()}
        by_place = list(map(by_task.get, tasks, repeat(NO_LABOUR)))
        found = by_place, sum([labour.hours for labour in by_place], NO_HOURS)
        if not unpriced:
            self._labour_before = lines, found
        return found

    def _line_labour(self, line: Line) -> list[tuple[str, LabourShare]]:
        known = self._known.get(id(line))
        if known is None:
            known = self._known[id(line)] = line, self._new_labour(line)
        return known[1]

    def _new_labour(self, line: Line) -> list[tuple[str, LabourShare]]:
        """Share the hours of a line; the last need takes what the line is rounded up by."""
        hours: dict[str, Decimal] = {}
        rest = line.quantity
        for key, share in self._labour_shares(line.key, line.needs):
            # Put back behind those that came later.
            hours[key] = hours.pop(key) + share if key in hours else share
            rest -= share
        last = next(reversed(hours))
        hours[last] += rest
        operation, description = line.key, line.description
        return [(key, (line, operation, description, share)) for key, share in hours.items()]

    def _labour_shares(self, operation: str, needs: Sequence[Need]) -> list[Share]:
        """Return the tasks of an operation, with the hours or pieces of each."""
        fitted = iter(self._targets.fittings.get(operation, ()))
        by_rule = self._targets.by_rule
        found: list[Share] = []
        for need in needs:
            if need.rule == "fit_equipment":
                found.append((next(fitted), need.quantity))
            elif need.rule == "wanted_labour" and operation != TRIM_OPERATION:
                found.append((of(OTHER, operation), need.quantity))
            else:
                target = by_rule[need.circuit][need.rule]
                assert not isinstance(target, OfEquipment)  # no rule of labour has such
                found += self._shared(need, target)
        return found

    def _shared(self, need: Need, target: str | Evenly | AlongRoute) -> Sequence[Share]:
        """Return the tasks that a need serves, with what each takes of it."""
        if isinstance(target, str):
            return ((target, need.quantity),)
        weights: Sequence[Decimal]
        if isinstance(target, AlongRoute):
            lengths_m = self._lengths_m[need.circuit]
            weights = [lengths_m[segment] for segment in target.segments]
        else:
            weights = target.weights
        shares = split(need.quantity, weights)
        return [(key, share) for key, share in zip(target.tasks, shares, strict=True) if share]


def _hours(works: Sequence[LabourShare]) -> Decimal:
    """Return the working hours of shares of labour, none of what has no price."""
    hours = NO_HOURS
    for _, _, _, share in works:
        if share is not None:
            hours += share
    return hours
