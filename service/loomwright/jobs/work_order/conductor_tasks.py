"""Tasks of the conductors of one circuit, from the panels that they pass to their made-off ends."""

from collections.abc import Iterator

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.circuit_layout import RING, SPLICE
from loomwright.jobs.job import SOLDER, Segment
from loomwright.jobs.part_texts import metres_text, millimetres, plain_text
from loomwright.jobs.work_order.facts import SAFE, WorkFacts, of, uncovered
from loomwright.jobs.work_order.steps import CUT, LAY, PROTECT, TERMINATE, Task, Tool
from loomwright.jobs.work_order.task_cautions import terminate_cautions, zone_cautions
from loomwright.pricing.requirements import exact_length_m


def conductor_tasks(facts: WorkFacts, build: CircuitBuild) -> Iterator[Task]:
    """Yield the tasks of the conductors of a circuit, which its conductor and its ends decide.

    Parameters
    ----------
    facts
        What is known of the job.
    build
        A circuit that was sized.

    Yields
    ------
    Task
        In the order in which this circuit alone would be built.
    """
    yield from _protect(facts, build)
    yield _cut(facts, build)
    yield from _lay(facts, build)
    yield _terminate(facts, build)


def _metres(segment: Segment) -> str:
    return metres_text(exact_length_m(segment.length_m))


def _protect(facts: WorkFacts, build: CircuitBuild) -> Iterator[Task]:
    circuit = build.circuit
    for number, segment in enumerate(circuit.route, 1):
        if not segment.through_bulkhead:
            continue
        beyond = circuit.route[number].zone if number < len(circuit.route) else segment.zone
        sides = dict.fromkeys((segment.zone, beyond))
        names = " and ".join(facts.place_name(zone) for zone in sides)
        panel = f"the panel between {names}" if len(sides) > 1 else f"the panel within {names}"
        bundle = plain_text(millimetres(build.bundle_m))
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


def _cut(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit, key = build.circuit, build.circuit.key
    back = "ground lead" if build.by_chassis else "return"
    pieces = "one piece" if build.feed_pieces == 1 else f"{build.feed_pieces} pieces"
    return Task(
        key=of(CUT, key),
        kind=CUT,
        text=(
            f"{circuit.description}: cut {build.conductor.key} for the feed in {pieces}"
            f" ({circuit.conductor.colour}) and for the {back}"
            f" ({circuit.conductor.return_colour}), slack included; mark them."
        ),
        needs=(SAFE,),
        rank=facts.rank(CUT, None, facts.ranks[key]),
        circuit=key,
        tools=(Tool("cable_cutter", build.conductor.key),),
    )


def _lay(facts: WorkFacts, build: CircuitBuild) -> Iterator[Task]:
    circuit = build.circuit
    for number, segment in enumerate(circuit.route, 1):
        # A conductor passes the panels at both ends of the stretch; both are protected before.
        panels = tuple(
            of(PROTECT, circuit.key, place)
            for place in (number - 1, number)
            if place and circuit.route[place - 1].through_bulkhead
        )
        cover = "in loom" if segment.loomed else "wrapped in tape" if segment.taped else "open"
        yield Task(
            key=of(LAY, circuit.key, number),
            kind=LAY,
            text=(
                f"{circuit.description}: lay {_metres(segment)} of {build.conductor.key}, {cover},"
                f" tied: {facts.place_name(segment.zone)}."
            ),
            needs=(of(CUT, circuit.key), uncovered(segment.zone), *panels),
            rank=facts.rank(LAY, segment.zone, facts.ranks[circuit.key]),
            circuit=circuit.key,
            zone=segment.zone,
            checks=("Clear of moving, hot and sharp parts; nothing pulls at it.",),
            cautions=("moving_and_hot_parts", *zone_cautions(facts, segment.zone)),
        )


def _terminate(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit, conductor = build.circuit, build.conductor
    counted: dict[str, int] = {}
    crimped: dict[str, None] = {}
    for end in build.ends:
        part = end.part.replace("_", " ")
        if _is_soldered(build, end.part):
            part = "soldered splice"
        else:
            crimped[part] = None
        counted[f"{part} {end.words}"] = counted.get(f"{part} {end.words}", 0) + 1
    ends = "; ".join(f"{count} x {words}" for words, count in counted.items())
    tools = [Tool("wire_stripper", conductor.key)]
    tools += [Tool("crimping_tool", f"{part}, {conductor.key}") for part in crimped]
    if build.solder_joints:
        tools.append(Tool("soldering_iron", f"splice, {conductor.key}"))
    if any(end.part in (RING, SPLICE) for end in build.ends):
        tools.append(Tool("heat_gun", "heat shrink"))
    stretches = range(1, len(circuit.route) + 1)
    return Task(
        key=of(TERMINATE, circuit.key),
        kind=TERMINATE,
        text=(
            f"{circuit.description}: make off the ends of {conductor.key}: {ends}."
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


def _is_soldered(build: CircuitBuild, part: str) -> bool:
    return part == SPLICE and build.circuit.joining == SOLDER
