"""Tasks of the wiring of one circuit that was sized, from its cutting to its test under load."""

from collections.abc import Iterator
from typing import NamedTuple

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.circuit_layout import AT_GROUND, AT_HOLDER, AT_LOAD, AT_SOURCE, End
from loomwright.jobs.job import Circuit
from loomwright.jobs.part_texts import metres_text
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.jobs.work_order.conductor_tasks import conductor_tasks
from loomwright.jobs.work_order.facts import (
    CLEARED,
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
    FIT_BLOCK,
    FIT_HOLDER,
    FUSE,
    GROUND,
    TERMINATE,
    TEST_DEAD,
    TEST_LOAD,
    Task,
    Tool,
)
from loomwright.jobs.work_order.task_cautions import (
    connect_feed_cautions,
    fuse_cautions,
    ground_cautions,
    hearing,
)
from loomwright.jobs.work_order.torque import torque_tools, torques_of
from loomwright.pricing.requirements import exact_length_m

_METER = Tool("multimeter", "continuity, polarity and voltage")
_CLAMP_METER = Tool("clamp_meter", "current under load")


class _EndedTasks(NamedTuple):
    """Tasks of one circuit whose conductors end in the same."""

    connections: tuple[Task, ...]
    by_conductor: dict[str, tuple[Task, ...]]
    by_fuse: dict[tuple[str, float, tuple[str, ...]], Task]


class WiringTasks:
    """Tasks of the wiring of the circuits of a job, each made once for all that has it alike.

    Parameters
    ----------
    facts
        What is known of the job.
    """

    def __init__(self, facts: WorkFacts) -> None:
        self._facts = facts
        self._by_ends: dict[tuple[str, tuple[End, ...]], _EndedTasks] = {}

    def of(self, build: CircuitBuild, entry: SizedCircuit) -> tuple[Task, ...]:
        """Return the tasks of the wiring of a circuit.

        Parameters
        ----------
        build
            A circuit that was sized, as it is built.
        entry
            The same circuit as the engineering found it.

        Returns
        -------
        tuple of Task
            In the order in which this circuit alone would be built.
        """
        facts = self._facts
        # The holder of the fuse decides what some ends are made off with.
        ended = build.circuit.key, build.ends
        alike = self._by_ends.get(ended)
        if alike is None:
            connections = tuple(_connections(facts, build))
            alike = self._by_ends[ended] = _EndedTasks(connections, {}, {})
        drawn = build.conductor.key
        if drawn not in alike.by_conductor:
            alike.by_conductor[drawn] = tuple(conductor_tasks(facts, build))
        cautions = fuse_cautions(facts, entry)
        fitted = build.fuse_type, build.rating_a, cautions
        if fitted not in alike.by_fuse:
            alike.by_fuse[fitted] = _fuse(facts, build, cautions)
        return (
            *alike.by_conductor[drawn],
            *alike.connections,
            alike.by_fuse[fitted],
            _test_load(facts, entry),
        )


def _connections(facts: WorkFacts, build: CircuitBuild) -> Iterator[Task]:
    """Yield the tasks that connect a circuit, which its ends decide beside the facts."""
    circuit = build.circuit
    if build.by_chassis:
        yield _ground(facts, build)
    if build.from_source:
        yield _fit_holder(facts, build)
    if circuit.key in facts.blocks:
        yield _fit_block(facts, circuit)
    yield _connect_load(facts, build)
    yield _connect_feed(facts, build)
    yield _test_dead(facts, circuit)


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
        cautions=ground_cautions(facts),
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


def _fit_block(facts: WorkFacts, circuit: Circuit) -> Task:
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
    if key in facts.blocks:
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
        cautions=connect_feed_cautions(facts, circuit),
        torques=torques,
        tools=(Tool("insulated_spanner", "feeding point"), *torque_tools(torques)),
    )


def _test_dead(facts: WorkFacts, circuit: Circuit) -> Task:
    key = circuit.key
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


def _fuse(facts: WorkFacts, build: CircuitBuild, cautions: tuple[str, ...]) -> Task:
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
        cautions=cautions,
        torques=torques,
        tools=tools,
    )


def _test_load(facts: WorkFacts, entry: SizedCircuit) -> Task:
    circuit, key = entry.circuit, entry.circuit.key
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
        tools=(_METER, _CLAMP_METER),
    )
