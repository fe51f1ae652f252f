"""Tasks of the conductors of one circuit, from the panels that they pass to their made-off ends."""

from collections.abc import Iterator
from decimal import Decimal
from typing import NamedTuple

from loomwright.jobs.circuit_layout import RING, SPLICE
from loomwright.jobs.job import SOLDER
from loomwright.jobs.part_texts import millimetres, plain_text
from loomwright.jobs.work_order.facts import SAFE, WorkFacts, of, uncovered
from loomwright.jobs.work_order.outline import EndedCircuit
from loomwright.jobs.work_order.steps import CUT, LAY, PROTECT, TERMINATE, MeasuredTask, Task, Tool
from loomwright.jobs.work_order.task_cautions import terminate_cautions, zone_cautions
from loomwright.pricing.attribute_words import in_words


class ConductorTasks(NamedTuple):
    """Tasks of the conductors of a circuit, in the order in which it alone would be built.

    ``lay`` has one for each stretch of the route, which states its length.
    """

    first: tuple[Task, ...]
    lay: tuple[MeasuredTask, ...]
    terminate: Task


def conductor_tasks(
    facts: WorkFacts, ended: EndedCircuit, conductor: str, bundle_m: str
) -> ConductorTasks:
    """Return the tasks of the conductors of a circuit, which its conductor and its ends decide.

    Parameters
    ----------
    facts
        What is known of the job.
    ended
        A circuit that was sized.
    conductor
        Key of its conductor.
    bundle_m
        Diameter of its conductors side by side [m], a decimal as text: those are slow to hash.

    Returns
    -------
    ConductorTasks
        All of them.
    """
    return ConductorTasks(
        (*_protect(facts, ended, bundle_m), _cut(facts, ended, conductor)),
        tuple(_lay(facts, ended, conductor)),
        _terminate(facts, ended, conductor),
    )


def _protect(facts: WorkFacts, ended: EndedCircuit, bundle_m: str) -> Iterator[Task]:
    circuit = facts.circuits[ended.circuit]
    for number, segment in enumerate(circuit.route, 1):
        if not segment.through_bulkhead:
            continue
        beyond = circuit.route[number].zone if number < len(circuit.route) else segment.zone
        sides = dict.fromkeys((segment.zone, beyond))
        names = " and ".join(facts.place_name(zone) for zone in sides)
        panel = f"the panel between {names}" if len(sides) > 1 else f"the panel within {names}"
        bundle = plain_text(millimetres(Decimal(bundle_m)))
        yield Task(
            key=of(PROTECT, circuit.key, number),
            kind=PROTECT,
            text=(
                f"{circuit.description}: open {panel}, where both sides are seen,"
                f" deburr and coat the edge, fit the grommet for a bundle of {bundle} mm."
            ),
            needs=tuple(uncovered(zone) for zone in sides),
            rank=facts.rank(PROTECT, segment.zone, facts.ranks[circuit.key]),
            circuit=circuit.key,
            zone=segment.zone,
            checks=(
                "Both sides of the panel are seen before it is opened.",
                "No bare edge is left and no chip lies behind it.",
            ),
            cautions=("behind_the_panel", *zone_cautions(facts, *sides)),
            tools=(
                Tool("hole_cutter", f"hole that the grommet asks for, bundle of {bundle} mm"),
                Tool("deburring_tool", "edge of the hole"),
            ),
        )


def _cut(facts: WorkFacts, ended: EndedCircuit, conductor: str) -> Task:
    circuit, key = facts.circuits[ended.circuit], ended.circuit
    back = "ground lead" if ended.by_chassis else "return"
    pieces = "one piece" if ended.feed_pieces == 1 else f"{ended.feed_pieces} pieces"
    return Task(
        key=of(CUT, key),
        kind=CUT,
        text=(
            f"{circuit.description}: cut {conductor} for the feed in {pieces}"
            f" ({circuit.colour}) and for the {back}"
            f" ({circuit.return_colour}), slack included; mark them."
        ),
        needs=(SAFE,),
        rank=facts.rank(CUT, None, facts.ranks[key]),
        circuit=key,
        tools=(Tool("cable_cutter", conductor),),
    )


def _lay(facts: WorkFacts, ended: EndedCircuit, conductor: str) -> Iterator[MeasuredTask]:
    circuit = facts.circuits[ended.circuit]
    for number, segment in enumerate(circuit.route, 1):
        # A conductor passes the panels at both ends of the stretch; both are protected before.
        panels = tuple(
            of(PROTECT, circuit.key, place)
            for place in (number - 1, number)
            if place and circuit.route[place - 1].through_bulkhead
        )
        cover = "in loom" if segment.loomed else "wrapped in tape" if segment.taped else "open"
        task = Task(
            key=of(LAY, circuit.key, number),
            kind=LAY,
            text=f"{circuit.description}: lay ",
            needs=(of(CUT, circuit.key), uncovered(segment.zone), *panels),
            rank=facts.rank(LAY, segment.zone, facts.ranks[circuit.key]),
            circuit=circuit.key,
            zone=segment.zone,
            checks=("Clear of moving, hot and sharp parts; nothing pulls at it.",),
            cautions=("moving_and_hot_parts", *zone_cautions(facts, segment.zone)),
        )
        place = facts.place_name(segment.zone)
        yield MeasuredTask(task, f" of {conductor}, {cover}, tied: {place}.")


def _terminate(facts: WorkFacts, ended: EndedCircuit, conductor: str) -> Task:
    circuit = facts.circuits[ended.circuit]
    counted: dict[str, int] = {}
    crimped: dict[str, None] = {}
    for end in ended.ends:
        part = in_words(end.part)
        if end.part == SPLICE and circuit.joining == SOLDER:
            part = "soldered splice"
        else:
            crimped[part] = None
        counted[f"{part} {end.words}"] = counted.get(f"{part} {end.words}", 0) + 1
    ends = "; ".join(f"{count} x {words}" for words, count in counted.items())
    tools = [Tool("wire_stripper", conductor)]
    tools += [Tool("crimping_tool", f"{part}, {conductor}") for part in crimped]
    if ended.solder_joints:
        tools.append(Tool("soldering_iron", f"splice, {conductor}"))
    if any(end.part in (RING, SPLICE) for end in ended.ends):
        tools.append(Tool("heat_gun", "heat shrink"))
    stretches = range(1, len(circuit.route) + 1)
    return Task(
        key=of(TERMINATE, circuit.key),
        kind=TERMINATE,
        text=(
            f"{circuit.description}: make off the ends of {conductor}: {ends}."
            if ends
            else f"{circuit.description}: strip and mark the ends; the equipment takes them bare."
        ),
        needs=tuple(of(LAY, circuit.key, number) for number in stretches),
        rank=facts.rank(TERMINATE, facts.load_zone(circuit), facts.ranks[circuit.key]),
        circuit=circuit.key,
        zone=facts.load_zone(circuit),
        checks=(
            "Each end holds when it is pulled.",
            "Unconnected, the feed has no contact with the body or with the return.",
        ),
        cautions=terminate_cautions(circuit),
        tools=tuple(tools),
    )
