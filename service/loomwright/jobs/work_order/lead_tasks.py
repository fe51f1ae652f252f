"""Tasks of the signal and remote leads of one circuit, and of its taps."""

from collections.abc import Callable, Iterator, Mapping, Sequence

from loomwright.jobs.job import Circuit, RemoteLead, SignalLead
from loomwright.jobs.part_texts import metres_text
from loomwright.jobs.work_order.facts import WorkFacts, of, uncovered
from loomwright.jobs.work_order.outline import CircuitOutline
from loomwright.jobs.work_order.steps import (
    LAY,
    METER,
    REMOTE,
    SIGNAL,
    TAP,
    MeasuredTask,
    Task,
)
from loomwright.pricing.requirements import exact_length_m

_WORDS = {
    SIGNAL: "lay and connect the signal leads, away from the power conductor",
    REMOTE: "lay and connect the remote leads",
    TAP: "connect to the vehicle's own wiring",
}
_CHECKS = {
    SIGNAL: ("Nowhere beside the power conductor; crossings at right angles.",),
    REMOTE: ("Continuity from end to end, and none to the body.",),
    TAP: ("The wire is the right one by the maker's diagram, and no airbag circuit.",),
}


def lead_tasks(facts: WorkFacts, circuit: CircuitOutline) -> Iterator[MeasuredTask]:
    """Yield the tasks of the leads of a circuit, and of its taps, without what they state of them.

    Parameters
    ----------
    facts
        What is known of the job.
    circuit
        One of its circuits, whether it is built or not.

    Yields
    ------
    MeasuredTask
        Each as far as the circuit has such.
    """
    zone = facts.load_zone(circuit)
    laid = (
        tuple(of(LAY, circuit.key, number) for number in range(1, len(circuit.route) + 1))
        if circuit.key in facts.built
        else ()
    )
    stated = {SIGNAL: circuit.signal_leads, REMOTE: circuit.remote_leads, TAP: circuit.taps}
    for kind, count in stated.items():
        if count:
            task = Task(
                key=of(kind, circuit.key),
                kind=kind,
                text=f"{circuit.description}: {_WORDS[kind]}: ",
                needs=(uncovered(zone), *laid),
                rank=facts.rank(kind, zone, facts.ranks[circuit.key]),
                circuit=circuit.key,
                zone=zone,
                checks=_CHECKS[kind],
                cautions=("airbag",),
                tools=(METER,) if kind == TAP else (),
            )
            yield MeasuredTask(task, ".")


def with_figures(leads: Sequence[MeasuredTask], circuit: Circuit) -> list[Task]:
    """Return tasks of the leads of a circuit with what they state of them.

    Parameters
    ----------
    leads
        Those of the outline of the circuit.
    circuit
        The circuit of one job.

    Returns
    -------
    list of Task
        Each of them, in the same order.
    """
    return [lead.stating(_FIGURES[lead.task.kind](circuit)) for lead in leads]


def _metres(lead: SignalLead | RemoteLead) -> str:
    return metres_text(exact_length_m(lead.length_m))


_FIGURES: Mapping[str, Callable[[Circuit], str]] = {
    SIGNAL: lambda circuit: "; ".join(
        [f"{lead.form}, {_metres(lead)}" for lead in circuit.signal_leads]
    ),
    REMOTE: lambda circuit: "; ".join(map(_metres, circuit.remote_leads)),
    TAP: lambda circuit: "; ".join([f"{tap.quantity} x {tap.use}" for tap in circuit.taps]),
}
