"""The parts and hours of a bill shared out over the tasks that use them, to the last digit."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import ROUND_DOWN, Decimal
from typing import NamedTuple

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.job import Job
from loomwright.jobs.work_order.facts import WorkFacts, of
from loomwright.jobs.work_order.job_tasks import TRIM_OPERATION
from loomwright.jobs.work_order.steps import MOUNT, OTHER, StepLabour, StepPart
from loomwright.jobs.work_order.targets import targets_of
from loomwright.pricing.bill import Bill
from loomwright.pricing.kinds import LABOUR_UNIT
from loomwright.pricing.lines import LABOUR, Line, Need, Unpriced

_ONE = Decimal(1)
_MILLI = Decimal("0.001")
_OF_EQUIPMENT = {"equipment": "reference", "fixing_set": "use"}
# A task, with what it takes of a need.
Share = tuple[str, Decimal]


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
        # By identity, as lines are great to compare; each share holds its line, so that no other
        # line comes to have its id.
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
        mountings = _Mountings(self._job)
        for line in bill.lines:
            if line.kind != LABOUR:
                for key, part in self._line_parts(line, mountings):
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
                for key, part in self._unpriced_parts(entry, mountings):
                    parts[key].append(part)
        return BillShares(parts, labour)

    def _line_parts(self, line: Line, mountings: "_Mountings") -> list[tuple[str, StepPart]]:
        # The lines before one of equipment decide which pieces are left for it.
        mounted = tuple(
            mountings.next_for(need, str(need.part.attributes[_OF_EQUIPMENT[need.rule]]))
            for need in line.needs
            if need.rule in _OF_EQUIPMENT and need.part is not None
        )
        known = self._parts.get((id(line), mounted))
        if known is None:
            known = self._parts[id(line), mounted] = list(self._new_parts(line, mounted))
        return known

    def _new_parts(self, line: Line, mounted: Iterable[str]) -> Iterator[tuple[str, StepPart]]:
        pieces = iter(mounted)
        for need in line.needs:
            part = need.part
            assert part is not None  # every need on a line of parts is served by one
            for key, quantity in self._shared(need, pieces):
                yield (
                    key,
                    StepPart(
                        line,
                        part.kind,
                        part.key,
                        part.description,
                        quantity,
                        part.unit,
                        need.rule,
                        need.reason,
                    ),
                )

    def _unpriced_parts(
        self, entry: Unpriced, mountings: "_Mountings"
    ) -> Iterator[tuple[str, StepPart]]:
        pieces = (
            mountings.next_for(need, str(entry.attributes[_OF_EQUIPMENT[need.rule]]))
            for need in entry.needs
            if need.rule in _OF_EQUIPMENT
        )
        for need in entry.needs:
            for key, quantity in self._shared(need, pieces):
                yield (
                    key,
                    StepPart(
                        None,
                        entry.kind,
                        None,
                        entry.description,
                        quantity,
                        entry.unit,
                        need.rule,
                        need.reason,
                    ),
                )

    def _line_labour(self, line: Line) -> list[tuple[str, StepLabour]]:
        known = self._labour.get(id(line))
        if known is None:
            known = self._labour[id(line)] = self._new_labour(line)
        return known

    def _new_labour(self, line: Line) -> list[tuple[str, StepLabour]]:
        """Share the hours of a line; the last need takes what the line is rounded up by."""
        hours: dict[str, Decimal] = {}
        rest = line.quantity
        for key, share in self._labour_shares(line.key, line.needs):
            hours[key] = hours.pop(key, Decimal(0)) + share
            rest -= share
        last = next(reversed(hours))
        hours[last] += rest
        return [
            (key, StepLabour(line, line.key, line.description, share))
            for key, share in hours.items()
        ]

    def _labour_shares(self, operation: str, needs: Sequence[Need]) -> Iterator[Share]:
        """Yield the tasks of an operation, with the hours or pieces of each."""
        fitted = (
            of(MOUNT, item.key)
            for item in self._job.equipment
            if item.fitted and item.operation == operation
        )
        for need in needs:
            if need.rule == "fit_equipment":
                yield next(fitted), need.quantity
            elif need.rule == "wanted_labour" and operation != TRIM_OPERATION:
                yield of(OTHER, operation), need.quantity
            else:
                yield from self._shared(need, iter(()))

    def _shared(self, need: Need, pieces: Iterator[str]) -> Sequence[Share]:
        """Return the tasks that a need serves, with what each takes of it."""
        if need.rule in _OF_EQUIPMENT:
            return ((next(pieces), need.quantity),)
        targets = self._targets[need.rule, need.circuit]
        if len(targets) == 1:
            return ((targets[0][0], need.quantity),)
        shares = split(need.quantity, [weight for _, weight in targets])
        return [(key, share) for (key, _), share in zip(targets, shares, strict=True) if share]


class _Mountings:
    """Tasks that mount equipment, handed out for one bill: each piece once for each rule.

    Parameters
    ----------
    job
        The job.
    """

    def __init__(self, job: Job) -> None:
        self._keys: dict[tuple[str, str, str], list[str]] = defaultdict(list)
        for item in job.equipment:
            if item.fitted:
                for rule, wanted in (("equipment", item.reference), ("fixing_set", item.fixings)):
                    if wanted is not None:
                        self._keys[rule, item.circuit or "", wanted].append(of(MOUNT, item.key))
        self._given: Counter[tuple[str, str, str]] = Counter()

    def next_for(self, need: Need, wanted: str) -> str:
        """Return the task that mounts the equipment that a need is about."""
        place = need.rule, need.circuit, wanted
        given = self._given[place]
        self._given[place] = given + 1
        keys = self._keys.get(place, ())
        if given == len(keys):
            raise LookupError(
                f"no equipment of the job needs {wanted} for {need.circuit or 'the job'}"
            )
        return keys[given]
