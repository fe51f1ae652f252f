"""Tasks of the wiring of one circuit that was sized, from its cutting to its test under load."""

from collections.abc import Iterator

from loomwright.jobs.circuit_build import (
    AT_GROUND,
    AT_HOLDER,
    AT_LOAD,
    AT_SOURCE,
    RING,
    SPLICE,
    CircuitBuild,
    metres_text,
    millimetres,
    plain_text,
)
from loomwright.jobs.job import SOLDER, Segment
from loomwright.jobs.work_order.facts import (
    CLEARED,
    SAFE,
    WorkFacts,
    fused,
    load_connected,
    mounted,
    of,
    source_reconnected,
    uncovered,
)
from loomwright.jobs.work_order.steps import (
    CONNECT_FEED,
    CONNECT_LOAD,
    CUT,
    FIT_BLOCK,
    FIT_HOLDER,
    FUSE,
    GROUND,
    LAY,
    PROTECT,
    TERMINATE,
    TEST_DEAD,
    TEST_LOAD,
    Task,
    Tool,
)
from loomwright.jobs.work_order.task_cautions import circuit_cautions, hearing, zone_cautions
from loomwright.jobs.work_order.torque import torque_tools, torques_of
from loomwright.pricing.requirements import exact_length_m

_METER = Tool("multimeter", "continuity, polarity and voltage")


def wiring_tasks(facts: WorkFacts, build: CircuitBuild) -> Iterator[Task]:
    """Yield the tasks of the wiring of a circuit.

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
    if build.by_chassis:
        yield _ground(facts, build)
    if build.from_source:
        yield _fit_holder(facts, build)
    if build.branch_fuses:
        yield _fit_block(facts, build)
    yield _connect_load(facts, build)
    yield _connect_feed(facts, build)
    yield _test_dead(facts, build)
    yield _fuse(facts, build)
    yield _test_load(facts, build)


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
        cautions=circuit_cautions(facts, circuit, TERMINATE),
        tools=tuple(tools),
    )


def _is_soldered(build: CircuitBuild, part: str) -> bool:
    return part == SPLICE and build.circuit.joining == SOLDER


def _ground(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit = build.circuit
    zone = facts.load_zone(circuit)
    torques = torques_of(build, (AT_GROUND,), facts.tables)
    return Task(
        key=of(GROUND, circuit.key),
        kind=GROUND,
        text=(
            f"{circuit.description}: make the ground point {circuit.return_path.stud} on bare,"
            " clean metal, bolt the ground lead down, seal it."
        ),
        needs=(of(TERMINATE, circuit.key), uncovered(zone)),
        rank=facts.rank(GROUND, zone, facts.ranks[circuit.key]),
        circuit=circuit.key,
        zone=zone,
        checks=("From the free end of the lead to the body there is no resistance to speak of.",),
        cautions=circuit_cautions(facts, circuit, GROUND),
        torques=torques,
        tools=(Tool("wire_brush", "bare metal of the ground point"), *torque_tools(torques)),
    )


def _fit_holder(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit = build.circuit
    zone = circuit.route[0].zone
    distance = metres_text(exact_length_m(circuit.distance_from_source_m))
    where = "on the feeding point itself" if build.holder_at_source else f"{distance} of it away"
    source = facts.job.power_sources[circuit.fed_from]
    return Task(
        key=of(FIT_HOLDER, circuit.key),
        kind=FIT_HOLDER,
        text=(
            f"{circuit.description}: fix the empty fuse holder near {source.description},"
            f" {where}; label it."
        ),
        needs=(uncovered(zone),),
        rank=facts.rank(FIT_HOLDER, zone, facts.ranks[circuit.key]),
        circuit=circuit.key,
        zone=zone,
        checks=("The holder is empty.",),
        cautions=("fuse_at_source",),
    )


def _fit_block(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit = build.circuit
    zone = facts.load_zone(circuit)
    return Task(
        key=of(FIT_BLOCK, circuit.key),
        kind=FIT_BLOCK,
        text=f"{circuit.description}: fix the distribution block, empty; label its ways.",
        needs=(uncovered(zone),),
        rank=facts.rank(FIT_BLOCK, zone, facts.ranks[circuit.key]),
        circuit=circuit.key,
        zone=zone,
        checks=("No way holds a fuse.",),
    )


def _connect_load(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit, key = build.circuit, build.circuit.key
    zone = facts.load_zone(circuit)
    needs = [of(TERMINATE, key), *mounted(facts, circuit)]
    if build.by_chassis:
        needs.append(of(GROUND, key))
    if build.branch_fuses:
        needs.append(of(FIT_BLOCK, key))
        load = "the distribution block"
    elif build.to_block:
        load = ""
    else:
        load = ", ".join(item.description for item in facts.job.equipment_on(key))
    torques = torques_of(build, (AT_LOAD,), facts.tables)
    return Task(
        key=load_connected(key),
        kind=CONNECT_LOAD,
        text=(
            f"{circuit.description}: connect {load}, return first."
            if load
            else f"{circuit.description}: insulate and fix the free end; no branch of it is built."
        ),
        needs=tuple(needs),
        rank=facts.rank(CONNECT_LOAD, zone, facts.ranks[key]),
        circuit=key,
        zone=zone,
        checks=("Feed on the positive, return on the negative terminal.",),
        torques=torques,
        tools=torque_tools(torques),
    )


def _connect_feed(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit, key = build.circuit, build.circuit.key
    zone, feeder = circuit.route[0].zone, facts.feeder(circuit)
    needs = [load_connected(key), *(of(CONNECT_FEED, k) for k in facts.built_branches(circuit))]
    if feeder is None:
        needs.append(of(FIT_HOLDER, key))
        point = facts.job.power_sources[circuit.fed_from].description
    else:
        needs.append(of(FIT_BLOCK, feeder))
        point = "its way of the distribution block"
    # A bolted fuse sits under the nuts of its holder, which are tightened with it.
    places = (AT_SOURCE,) if key in facts.bolted else (AT_SOURCE, AT_HOLDER)
    torques = torques_of(build, places, facts.tables)
    return Task(
        key=of(CONNECT_FEED, key),
        kind=CONNECT_FEED,
        text=f"{circuit.description}: with no fuse in place, connect the feed at {point}.",
        needs=tuple(needs),
        rank=facts.rank(CONNECT_FEED, None, facts.ranks[key]),
        circuit=key,
        zone=zone,
        checks=("The holder is still empty." if feeder is None else "The way is still empty.",),
        cautions=circuit_cautions(facts, circuit, CONNECT_FEED),
        torques=torques,
        tools=(Tool("insulated_spanner", "feeding point"), *torque_tools(torques)),
    )


def _test_dead(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit, key = build.circuit, build.circuit.key
    return Task(
        key=of(TEST_DEAD, key),
        kind=TEST_DEAD,
        text=f"{circuit.description}: test the dead circuit with its fuse out.",
        needs=(of(CONNECT_FEED, key),),
        rank=facts.rank(TEST_DEAD, None, facts.ranks[key]),
        circuit=key,
        checks=(
            "Continuity of feed and return from end to end.",
            "Polarity at the equipment: feed to positive, return to negative.",
            "Insulation: behind the empty fuse the feed has no short to the body or the return.",
        ),
        cautions=("airbag",),
        tools=(_METER,),
    )


def _fuse(facts: WorkFacts, build: CircuitBuild) -> Task:
    circuit, key = build.circuit, build.circuit.key
    dead, feeder = key in facts.fused_dead, facts.feeder(circuit)
    needs = [CLEARED]
    if feeder is not None:
        needs.append(fused(feeder))
    if not dead:
        needs += map(source_reconnected, facts.live_sources(key))
    bolted = key in facts.bolted
    torques = torques_of(build, (AT_HOLDER,), facts.tables) if bolted else ()
    state = "while the source is still isolated" if dead else "as the last connection"
    tools = torque_tools(torques) if bolted else (Tool("fuse_puller", build.fuse_type),)
    # What joins two sources is fused behind all that does not.
    entry = facts.ranks[key] + (len(facts.ranks) if key in facts.linked else 0)
    return Task(
        key=fused(key),
        kind=FUSE,
        text=(
            f"{circuit.description}: fit the fuse of {build.rating_a:g} A"
            f" ({build.fuse_type}), {state}."
        ),
        needs=tuple(needs),
        rank=facts.rank(FUSE, None, entry),
        circuit=key,
        zone=circuit.route[0].zone,
        checks=(f"The fuse says {build.rating_a:g} A and the equipment is switched off.",),
        cautions=circuit_cautions(facts, circuit, FUSE),
        torques=torques,
        tools=tools,
    )


def _test_load(facts: WorkFacts, build: CircuitBuild) -> Task:
    key = build.circuit.key
    entry = facts.entries[key]
    circuit = entry.circuit
    allowed_v = circuit.allowed_drop_fraction * entry.system_voltage_v
    return Task(
        key=of(TEST_LOAD, key),
        kind=TEST_LOAD,
        text=f"{circuit.description}: test under load; note voltage, current and drop.",
        needs=(fused(key), *map(source_reconnected, facts.live_sources(key))),
        rank=facts.rank(TEST_LOAD, None, facts.ranks[key]),
        circuit=key,
        checks=(
            f"Current under full load: {entry.load_current_a or 0.0:.1f} A expected.",
            f"Drop of the wiring there and back: {entry.voltage_drop_v or 0.0:.2f} V expected,"
            f" no more than {allowed_v:.2f} V.",
            "No connection grows warmer than its conductor.",
        ),
        cautions=hearing(facts.job.equipment_on(key)),
        tools=(_METER, Tool("clamp_meter", "current under load")),
    )
