"""The parts and hours of a bill shared out over the tasks that use them, to the last digit."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_DOWN, Decimal
from typing import NamedTuple

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.job import Job
from loomwright.jobs.work_order.facts import WorkFacts, of
from loomwright.jobs.work_order.job_tasks import TRIM_OPERATION
from loomwright.jobs.work_order.steps import MOUNT, NO_HOURS, OTHER, StepLabour, StepPart
from loomwright.jobs.work_order.targets import targets_of
from loomwright.pricing.bill import Bill
from loomwright.pricing.kinds import LABOUR_UNIT
from loomwright.pricing.lines import KIT, LABOUR, Line, Need, Unpriced

_ONE = Decimal(1)
_MILLI = Decimal("0.001")
_OF_EQUIPMENT = {"equipment": "reference", "fixing_set": "use"}
# Kinds of lines with needs of these rules, whose parts have the name of the rule as their kind.
_MAY_MOUNT = frozenset({*_OF_EQUIPMENT, KIT})
# A task, with what it takes of a need.
Share = tuple[str, Decimal]
# Rule, circuit, and what the rule chooses the part by.
_Mounted = tuple[str, str, str]


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
    shares, weight, given = [], Decimal(0), Decimal(0)
    for each in weights[:-1]:
        weight += each
        # Rounded down, so that no later share falls below nought.
        reached = (quantity * weight / total).quantize(step, ROUND_DOWN)
        shares.append(reached - given)
        given = reached
    return [*shares, quantity - given]


class BillShares(NamedTuple):
    """Parts and labour of a bill by the key of the task that uses them."""

    parts: dict[str, list[StepPart]]
    labour: dict[str, list[StepLabour]]


class Shares:
    """Parts and labour of each task, from the lines of bills of one job.

    Bills have lines in common where their circuits have; the shares of such a line are made once.

    Parameters
    ----------
    facts
        What is known of the job.
    builds
        Its circuits for any sizing of the layout of the facts, by key.
    """

    def __init__(self, facts: WorkFacts, builds: Mapping[str, CircuitBuild]) -> None:
        self._job = facts.job
        self._targets = targets_of(facts, builds)
        self._mountings = _mountings(facts.job)
        # By identity, as lines are great to compare; they are held, so that none takes over the id
        # of one before.
        self._lines: list[Line] = []
        self._parts: dict[tuple[int, tuple[str, ...]], list[tuple[str, StepPart]]] = {}
        self._labour: dict[int, list[tuple[str, StepLabour]]] = {}

    def of(self, bill: Bill) -> BillShares:
        """Return the parts and labour of each task, from the lines of a bill.

        Parameters
        ----------
        bill
            Of the job, for a sizing whose layout is that of the facts.

        Returns
        -------
        BillShares
            In the order of the lines.
        """
        parts: dict[str, list[StepPart]] = defaultdict(list)
        labour: dict[str, list[StepLabour]] = defaultdict(list)
        mounted: Counter[_Mounted] = Counter()
        for line in bill.lines:
            if line.kind != LABOUR:
                for key, part in self._line_parts(line, mounted):
                    parts[key].append(part)
            elif line.unit == LABOUR_UNIT:
                for key, work in self._line_labour(line):
                    labour[key].append(work)
        for entry in bill.unpriced:
            if entry.kind == LABOUR:
                operation = str(entry.attributes["operation"])
                shares = self._labour_shares(operation, entry.needs)
                for key in dict.fromkeys(key for key, _ in shares):
                    labour[key].append(StepLabour(None, operation, entry.description, None))
            else:
                wanted = [
                    (need, str(entry.attributes[_OF_EQUIPMENT[need.rule]]))
                    for need in entry.needs
                    if need.rule in _OF_EQUIPMENT
                ]
                mounting = self._mounting(wanted, mounted)
                for key, part in self._part_shares(None, entry, entry.needs, mounting):
                    parts[key].append(part)
        return BillShares(parts, labour)

    def _line_parts(self, line: Line, mounted: Counter[_Mounted]) -> Sequence[tuple[str, StepPart]]:
        mounting: tuple[str, ...] = ()
        if line.kind in _MAY_MOUNT:
            # The lines before one of equipment decide which pieces are left for it.
            wanted = [
                (need, str(need.part.attributes[_OF_EQUIPMENT[need.rule]]))
                for need in line.needs
                if need.rule in _OF_EQUIPMENT and need.part is not None
            ]
            mounting = self._mounting(wanted, mounted)
        known = self._parts.get((id(line), mounting))
        if known is None:
            known = self._part_shares(line, None, line.needs, mounting)
            self._parts[id(line), mounting] = known
            self._lines.append(line)
        return known

    def _part_shares(
        self,
        line: Line | None,
        unpriced: Unpriced | None,
        needs: Sequence[Need],
        mounting: Sequence[str],
    ) -> list[tuple[str, StepPart]]:
        mountings = iter(mounting)
        found: list[tuple[str, StepPart]] = []
        for need in needs:
            served, key = unpriced or need.part, None if need.part is None else need.part.key
            assert served is not None  # every need on a line of parts is served by one
            shares = (
                ((next(mountings), need.quantity),)
                if need.rule in _OF_EQUIPMENT
                else self._shared(need)
            )
            for task, quantity in shares:
                found.append((task, StepPart(line, key, served, need, quantity)))
        return found

    def _line_labour(self, line: Line) -> list[tuple[str, StepLabour]]:
        known = self._labour.get(id(line))
        if known is None:
            known = self._labour[id(line)] = self._new_labour(line)
            self._lines.append(line)
        return known

    def _new_labour(self, line: Line) -> list[tuple[str, StepLabour]]:
        """Share the hours of a line; the last need takes what the line is rounded up by."""
        hours: dict[str, Decimal] = {}
        rest = line.quantity
        for key, share in self._labour_shares(line.key, line.needs):
            hours[key] = hours.pop(key, NO_HOURS) + share
            rest -= share
        last = next(reversed(hours))
        hours[last] += rest
        return [
            (key, StepLabour(line, line.key, line.description, share))
            for key, share in hours.items()
        ]

    def _labour_shares(self, operation: str, needs: Sequence[Need]) -> list[Share]:
        """Return the tasks of an operation, with the hours or pieces of each."""
        fitted = (
            of(MOUNT, item.key)
            for item in self._job.equipment
            if item.fitted and item.operation == operation
        )
        found: list[Share] = []
        for need in needs:
            if need.rule == "fit_equipment":
                found.append((next(fitted), need.quantity))
            elif need.rule == "wanted_labour" and operation != TRIM_OPERATION:
                found.append((of(OTHER, operation), need.quantity))
            else:
                found += self._shared(need)
        return found

    def _shared(self, need: Need) -> Sequence[Share]:
        """Return the tasks that a need serves, with what each takes of it."""
        targets = self._targets[need.circuit][need.rule]
        if len(targets) == 1:
            return ((targets[0][0], need.quantity),)
        shares = split(need.quantity, [weight for _, weight in targets])
        return [(key, share) for (key, _), share in zip(targets, shares, strict=True) if share]

    def _mounting(
        self, wanted: Iterable[tuple[Need, str]], mounted: Counter[_Mounted]
    ) -> tuple[str, ...]:
        """Return the tasks that mount the equipment that needs are about, each piece once."""
        found = []
        for need, what in wanted:
            place = need.rule, need.circuit, what
            tasks = self._mountings.get(place, ())
            if mounted[place] == len(tasks):
                circuit = need.circuit or "the job"
                raise LookupError(f"no equipment of the job needs {what} for {circuit}")
            found.append(tasks[mounted[place]])
            mounted[place] += 1
        return tuple(found)


def _mountings(job: Job) -> Mapping[_Mounted, Sequence[str]]:
    """Return the tasks that mount what is stated alike, in the order of the job."""
    found: dict[_Mounted, list[str]] = defaultdict(list)
    for item in job.equipment:
        if item.fitted:
            for rule, wanted in (("equipment", item.reference), ("fixing_set", item.fixings)):
                if wanted is not None:
                    found[rule, item.circuit or "", wanted].append(of(MOUNT, item.key))
    return found
