"""Which tasks the parts and hours of each rule of a bill go to."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.job import Circuit
from loomwright.jobs.work_order.facts import WorkFacts, of, source_reconnected, uncovered
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
    PROTECT,
    REMOTE,
    SIGNAL,
    TAP,
    TERMINATE,
    TEST_DEAD,
    TEST_LOAD,
)
from loomwright.pricing.requirements import exact_length_m

# Tasks with the weight of each.
Targets = Sequence[tuple[str, Decimal]]
_ONE = Decimal(1)
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


def targets_of(
    facts: WorkFacts, builds: Mapping[str, CircuitBuild]
) -> Mapping[str, Mapping[str, Targets]]:
    """Return the tasks that what a rule brings goes to, with weights, by circuit and rule.

    Rules of equipment and of other labour that the job asks for are left out: their needs are told
    apart by the line that they stand on.

    Parameters
    ----------
    facts
        What is known of the job.
    builds
        Circuits that were sized, by key; what counts is their routes and their contacts at sources
        and ground points, which their sizes do not change.

    Returns
    -------
    dict
        For every rule of ``REQUIREMENT_RULES`` that the job can call for; those of no circuit
        stand under the empty key.
    """
    sources = facts.job.power_sources
    zones = [(key, _ONE) for zone in facts.trimmed for key in (uncovered(zone), of(COVER, zone))]
    found: dict[str, dict[str, Targets]] = {
        "": {
            "isolate_source": [
                *((of(ISOLATE, key), _ONE) for key in sources),
                *((source_reconnected(key), _ONE) for key in sources),
            ],
            "test_and_hand_over": [(of(HAND_OVER), _ONE)],
            "wanted_labour": zones,
        }
    }
    for circuit in facts.job.circuits:
        rules = found[circuit.key] = _lead_targets(circuit)
        if circuit.key in builds:
            rules |= _wiring_targets(builds[circuit.key])
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
    found: dict[str, Targets] = {}
    for kind, rules in _OF_ONE_TASK.items():
        found |= dict.fromkeys(rules, ((of(kind, key), _ONE),))
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
