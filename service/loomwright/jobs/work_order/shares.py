"""The parts and hours of a bill shared out over the tasks that use them, to the last digit."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import ROUND_DOWN, Decimal

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.job import Circuit, Equipment
from loomwright.jobs.work_order.facts import WorkFacts, of, source_reconnected, uncovered
from loomwright.jobs.work_order.job_tasks import TRIM_OPERATION
from loomwright.jobs.work_order.steps import (
    CONNECT_FEED,
    COVER,
    CUT,
    FIT_BLOCK,
    FIT_HOLDER,
    FUSE,
    GROUND,
    HAND_OVER,
    ISOLATE,
    LAY,
    MOUNT,
    OTHER,
    PROTECT,
    REMOTE,
    SIGNAL,
    TAP,
    TERMINATE,
    TEST_DEAD,
    TEST_LOAD,
    StepLabour,
    StepPart,
)
from loomwright.pricing.bill import Bill
from loomwright.pricing.kinds import LABOUR_UNIT
from loomwright.pricing.lines import LABOUR, Line, Need, Unpriced
from loomwright.pricing.requirements import exact_length_m

# Tasks with the weight of each.
Targets = Sequence[tuple[str, Decimal]]
_ONE = Decimal(1)
_MILLI = Decimal("0.001")
_OF_EQUIPMENT = {"equipment": "reference", "fixing_set": "use"}
# Rules whose parts and hours all go to one task of their circuit, with the kind of the task.
_OF_ONE_TASK = {
    rule: kind
    for kind, rules in {
        CUT: "power_conductor return_conductor ground_lead",
        TERMINATE: (
            "conductor_end heat_shrink heat_shrink_over_solder solder cable_marker terminal_boot"
            " make_off_end solder_joint"
        ),
        GROUND: "ground_hardware make_ground_point",
        FIT_HOLDER: "fuse_holder fuse_label fit_fuse_holder",
        FIT_BLOCK: "distribution_block way_label fit_distribution_block",
        FUSE: "fuse",
    }.items()
    for rule in rules.split()
}


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


class Shares:
    """Parts and labour of each task, from the lines of the bill.

    Parameters
    ----------
    facts
        What is known of the job.
    """

    def __init__(self, facts: WorkFacts) -> None:
        self.parts: dict[str, list[StepPart]] = {}
        self.labour: dict[str, list[StepLabour]] = {}
        self._facts = facts
        self._targets = targets_of(facts)
        self._taken: set[tuple[str, str]] = set()
        bill: Bill = facts.priced.bill
        for number, line in enumerate(bill.lines, 1):
            if line.kind != LABOUR:
                self._share_parts(number, line)
            elif line.unit == LABOUR_UNIT:
                self._share_hours(number, line)
        for entry in bill.unpriced:
            self._share_unpriced(entry)

    def _share_parts(self, number: int, line: Line) -> None:
        for need in line.needs:
            part = need.part
            assert part is not None  # every need on a line of parts is served by one
            attribute = _OF_EQUIPMENT.get(need.rule)
            wanted = str(part.attributes[attribute]) if attribute else ""
            for key, quantity in self._shared(need, wanted):
                share = StepPart(
                    number,
                    part.kind,
                    part.key,
                    part.description,
                    quantity,
                    part.unit,
                    need.rule,
                    need.reason,
                )
                self.parts.setdefault(key, []).append(share)

    def _share_hours(self, number: int, line: Line) -> None:
        """Share the hours of a line; the last need takes what the line is rounded up by."""
        hours: dict[str, Decimal] = {}
        rest = line.quantity
        for key, share in self._labour_shares(line.key, line.needs):
            hours[key] = hours.pop(key, Decimal(0)) + share
            rest -= share
        last = next(reversed(hours))
        hours[last] += rest
        for key, share in hours.items():
            labour = StepLabour(number, line.key, line.description, share)
            self.labour.setdefault(key, []).append(labour)

    def _labour_shares(
        self, operation: str, needs: Sequence[Need]
    ) -> Iterator[tuple[str, Decimal]]:
        """Yield the tasks of an operation, with the hours or pieces of each."""
        fitted = iter(self._fitted_by(operation))
        for need in needs:
            if need.rule == "fit_equipment":
                yield of(MOUNT, next(fitted).key), need.quantity
            elif need.rule == "wanted_labour" and operation != TRIM_OPERATION:
                yield of(OTHER, operation), need.quantity
            else:
                yield from self._shared(need, "")

    def _fitted_by(self, operation: str) -> list[Equipment]:
        """Return the equipment that an operation fits, in the order of its needs on the line."""
        return [
            item
            for item in self._facts.job.equipment
            if item.fitted and item.operation == operation
        ]

    def _share_unpriced(self, entry: Unpriced) -> None:
        if entry.kind == LABOUR:
            operation = str(entry.attributes["operation"])
            found = dict.fromkeys(key for key, _ in self._labour_shares(operation, entry.needs))
            for key in found:
                labour = StepLabour(None, operation, entry.description, None)
                self.labour.setdefault(key, []).append(labour)
            return
        for need in entry.needs:
            attribute = _OF_EQUIPMENT.get(need.rule)
            wanted = str(entry.attributes[attribute]) if attribute else ""
            for key, quantity in self._shared(need, wanted):
                share = StepPart(
                    None,
                    entry.kind,
                    None,
                    entry.description,
                    quantity,
                    entry.unit,
                    need.rule,
                    need.reason,
                )
                self.parts.setdefault(key, []).append(share)

    def _shared(self, need: Need, wanted: str) -> Iterator[tuple[str, Decimal]]:
        """Yield the tasks that a need serves, with what each takes of it."""
        if need.rule in _OF_EQUIPMENT:
            yield self._mounting(need, wanted), need.quantity
            return
        targets = self._targets[need.rule, need.circuit]
        if len(targets) == 1:
            yield targets[0][0], need.quantity
            return
        shares = split(need.quantity, [weight for _, weight in targets])
        for (key, _), share in zip(targets, shares, strict=True):
            if share:
                yield key, share

    def _mounting(self, need: Need, wanted: str) -> str:
        """Return the task that mounts the equipment that a need is about, each piece once."""
        member = _OF_EQUIPMENT[need.rule]
        for item in self._facts.job.equipment:
            stated = item.reference if member == "reference" else item.fixings
            if (
                item.fitted
                and (item.circuit or "") == need.circuit
                and stated == wanted
                and (need.rule, item.key) not in self._taken
            ):
                self._taken.add((need.rule, item.key))
                return of(MOUNT, item.key)
        raise LookupError(f"no equipment of the job needs {wanted} for {need.circuit or 'the job'}")


def targets_of(facts: WorkFacts) -> Mapping[tuple[str, str], Targets]:
    """Return the tasks that what a rule brings goes to, with weights, by rule and circuit.

    Rules of equipment and of other labour that the job asks for are left out: their needs are told
    apart by the line that they stand on.

    Parameters
    ----------
    facts
        What is known of the job.

    Returns
    -------
    dict
        For every rule of ``REQUIREMENT_RULES`` that the job can call for.
    """
    sources = facts.job.power_sources
    zones = [(key, _ONE) for zone in facts.trimmed for key in (uncovered(zone), of(COVER, zone))]
    found: dict[tuple[str, str], Targets] = {
        ("isolate_source", ""): [
            *((of(ISOLATE, key), _ONE) for key in sources),
            *((source_reconnected(key), _ONE) for key in sources),
        ],
        ("test_and_hand_over", ""): [(of(HAND_OVER), _ONE)],
        ("wanted_labour", ""): zones,
    }
    for circuit in facts.job.circuits:
        rules = _lead_targets(circuit)
        build = facts.builds.get(circuit.key)
        if build is not None:
            rules |= _wiring_targets(build)
        found |= {(rule, circuit.key): targets for rule, targets in rules.items()}
    return found


def _lead_targets(circuit: Circuit) -> dict[str, Targets]:
    signal, remote = of(SIGNAL, circuit.key), of(REMOTE, circuit.key)
    return {
        "signal_lead": [(signal, _ONE)],
        "remote_lead": [(remote, _ONE)],
        "remote_lead_ends": [(remote, _ONE)],
        "lead_tie": [(signal if circuit.signal_leads else remote, _ONE)],
        "tap": [(of(TAP, circuit.key), _ONE)],
    }


def _wiring_targets(build: CircuitBuild) -> dict[str, Targets]:
    circuit = build.circuit
    key = circuit.key
    found: dict[str, Targets] = {
        rule: [(of(kind, key), _ONE)] for rule, kind in _OF_ONE_TASK.items()
    }
    found["test_circuit"] = [(of(TEST_DEAD, key), _ONE), (of(TEST_LOAD, key), _ONE)]
    contacts = {
        of(CONNECT_FEED, key): build.source_contacts,
        of(GROUND, key): build.ground_contacts,
    }
    found["contact_paste"] = [(task, Decimal(count)) for task, count in contacts.items() if count]
    panels = [n for n, segment in enumerate(circuit.route, 1) if segment.through_bulkhead]
    found["grommet"] = found["pass_bulkhead"] = [(of(PROTECT, key, n), _ONE) for n in panels]
    stretches = [
        (of(LAY, key, number), exact_length_m(segment.length_m), segment)
        for number, segment in enumerate(circuit.route, 1)
    ]
    everywhere = [(task, length_m) for task, length_m, _ in stretches]
    found["cable_tie"] = found["run_conductor"] = everywhere
    found["split_loom"] = found["cloth_tape_loom_end"] = [
        (task, length_m) for task, length_m, segment in stretches if segment.loomed
    ]
    found["cloth_tape_run"] = found["wrap_tape"] = [
        (task, length_m)
        for task, length_m, segment in stretches
        if segment.taped and not segment.loomed
    ]
    return found
