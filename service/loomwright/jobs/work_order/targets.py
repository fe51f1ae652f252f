"""Which tasks the parts and hours of each rule of a bill go to."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from loomwright.jobs.work_order.facts import Contacts, WorkFacts, of, source_reconnected, uncovered
from loomwright.jobs.work_order.outline import CircuitOutline
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
    PROTECT,
    REMOTE,
    SIGNAL,
    TAP,
    TERMINATE,
    TEST_DEAD,
    TEST_LOAD,
)

_ONE = Decimal(1)


class Evenly(NamedTuple):
    """Tasks that share what a rule brings by fixed weights."""

    tasks: tuple[str, ...]
    weights: tuple[Decimal, ...]


class AlongRoute(NamedTuple):
    """Tasks that share what a rule brings by the lengths of segments of the route, from 0."""

    tasks: tuple[str, ...]
    segments: tuple[int, ...]


class OfEquipment(NamedTuple):
    """Tasks that mount what is stated alike, each of which takes a need of its own.

    ``chosen_by`` is the attribute of the part by which the rule chooses it; ``tasks`` are those of
    each value of it, in the order of the job.
    """

    chosen_by: str
    tasks: Mapping[str, Sequence[str]]


# The one task that takes all that a rule brings, or those among which it is told apart.
Target = str | Evenly | AlongRoute | OfEquipment
# Rules whose parts and hours all go to one task of their circuit, by the kind of the task.
_OF_ONE_TASK: Mapping[str, tuple[str, ...]] = {
    kind: tuple(rules.split())
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
}


class Targets(NamedTuple):
    """Which tasks the needs of a bill go to.

    ``by_rule`` has them by circuit and rule of ``REQUIREMENT_RULES``, for every rule that the job
    can call for but those of other labour that it asks for; those of no circuit stand under the
    empty key. ``fittings`` are the tasks that mount equipment by an operation, in the order of the
    job.
    """

    by_rule: Mapping[str, Mapping[str, Target]]
    fittings: Mapping[str, Sequence[str]]

    @classmethod
    def of(cls, facts: WorkFacts) -> "Targets":
        """Return the tasks of jobs of which the facts are known."""
        fittings: dict[str, list[str]] = {}
        for item in facts.outline.equipment:
            if item.fitted:
                fittings.setdefault(item.operation, []).append(of(MOUNT, item.key))
        return cls(_by_rule(facts), fittings)


def _by_rule(facts: WorkFacts) -> Mapping[str, Mapping[str, Target]]:
    sources = facts.power_sources
    isolated = [of(ISOLATE, key) for key in sources]
    trimmed = [key for zone in facts.trimmed for key in (uncovered(zone), of(COVER, zone))]
    found: dict[str, dict[str, Target]] = {
        "": {
            "isolate_source": _evenly([*isolated, *map(source_reconnected, sources)]),
            "test_and_hand_over": of(HAND_OVER),
            "wanted_labour": _evenly(trimmed),
            **_mounted_targets(facts, None),
        }
    }
    for circuit in facts.outline.circuits:
        rules = found[circuit.key] = {**_lead_targets(circuit), **_mounted_targets(facts, circuit)}
        if circuit.key in facts.built:
            rules |= _wiring_targets(circuit, facts.contacts[circuit.key])
    return found


def _evenly(tasks: Sequence[str]) -> Target:
    return tasks[0] if len(tasks) == 1 else Evenly(tuple(tasks), (_ONE,) * len(tasks))


def _mounted_targets(facts: WorkFacts, circuit: CircuitOutline | None) -> dict[str, Target]:
    key = None if circuit is None else circuit.key
    references: dict[str, list[str]] = {}
    fixings: dict[str, list[str]] = {}
    for item in facts.outline.equipment:
        if item.fitted and item.circuit == key:
            for found, wanted in ((references, item.reference), (fixings, item.fixings)):
                if wanted is not None:
                    found.setdefault(wanted, []).append(of(MOUNT, item.key))
    return {
        "equipment": OfEquipment("reference", references),
        "fixing_set": OfEquipment("use", fixings),
    }


def _lead_targets(circuit: CircuitOutline) -> dict[str, Target]:
    signal, remote = of(SIGNAL, circuit.key), of(REMOTE, circuit.key)
    return {
        "signal_lead": signal,
        "remote_lead": remote,
        "remote_lead_ends": remote,
        "lead_tie": signal if circuit.signal_leads else remote,
        "tap": of(TAP, circuit.key),
    }


def _wiring_targets(circuit: CircuitOutline, contacts: Contacts) -> dict[str, Target]:
    key, route = circuit.key, circuit.route
    found: dict[str, Target] = {}
    for kind, rules in _OF_ONE_TASK.items():
        found |= dict.fromkeys(rules, of(kind, key))
    found["test_circuit"] = _evenly([of(TEST_DEAD, key), of(TEST_LOAD, key)])
    at_ends = {of(CONNECT_FEED, key): contacts.source, of(GROUND, key): contacts.ground}
    pasted = {task: Decimal(count) for task, count in at_ends.items() if count}
    if pasted:
        tasks = tuple(pasted)
        found["contact_paste"] = (
            tasks[0] if len(tasks) == 1 else Evenly(tasks, tuple(pasted.values()))
        )
    panels = [of(PROTECT, key, n) for n, each in enumerate(route, 1) if each.through_bulkhead]
    if panels:
        found["grommet"] = found["pass_bulkhead"] = _evenly(panels)
    covered = {
        ("cable_tie", "run_conductor"): range(len(route)),
        ("split_loom", "cloth_tape_loom_end"): [n for n, each in enumerate(route) if each.loomed],
        ("cloth_tape_run", "wrap_tape"): [
            n for n, each in enumerate(route) if each.taped and not each.loomed
        ],
    }
    for rules, segments in covered.items():
        laid = [of(LAY, key, n + 1) for n in segments]
        if laid:
            target = laid[0] if len(laid) == 1 else AlongRoute(tuple(laid), tuple(segments))
            found |= dict.fromkeys(rules, target)
    return found
