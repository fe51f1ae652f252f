"""Tasks of the wiring of one circuit that was sized, from its cutting to its test under load."""

from collections.abc import Iterator
from functools import lru_cache, partial

from loomwright.jobs.circuit_layout import AT_GROUND, AT_HOLDER, AT_LOAD, AT_SOURCE
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
from loomwright.jobs.work_order.outline import CircuitOutline, EndedCircuit
from loomwright.jobs.work_order.steps import (
    CONNECT_FEED,
    CONNECT_LOAD,
    FIT_BLOCK,
    FIT_HOLDER,
    FUSE,
    GROUND,
    METER,
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
from loomwright.jobs.work_order.torque import torque_rows, torque_tools, torques_of
from loomwright.pricing.requirements import exact_length_m
from loomwright.tables.fuse_words import FUSE_TYPE_TEXTS

_CLAMP_METER = Tool("clamp_meter", "current under load")
_WARMTH = ("No connection grows warmer than its conductor.",)
# Of each kind of tasks for one layout: some sizes for each of a dozen circuits.
_KEPT = 64


class WiringTasks:
    """Tasks of the wiring of the circuits of a job, each made once for all that has it alike.

    ``conductor``, ``connections`` and ``fuse`` return the tasks that conductor and ends, ends
    alone, and fuse and ends decide.

    Parameters
    ----------
    facts
        What is known of the job.
    """

    def __init__(self, facts: WorkFacts) -> None:
        self.conductor = lru_cache(_KEPT)(partial(conductor_tasks, facts))
        self.connections = lru_cache(_KEPT)(partial(_connections, facts))
        self.fuse = lru_cache(_KEPT)(partial(_fuse, facts))
        self._tests = {key: _test_load(facts, circuit) for key, circuit in facts.built.items()}
        self._free = frozenset([key for key in facts.built if facts.ends_free(key)])

    def test_load(self, entry: SizedCircuit) -> Task:
        """Return the test under load of a circuit, with what it was sized for to be read.

        Nothing loads one whose branches are not built: it is proven live up to its free end.
        """
        circuit = entry.circuit
        allowed_v = circuit.allowed_drop_fraction * entry.system_voltage_v
        load_a, drop_v = entry.load_current_a, entry.voltage_drop_v
        # Both are known of a circuit that was sized.
        assert load_a is not None
        assert drop_v is not None
        task = self._tests[circuit.key]
        if circuit.key in self._free:
            return task
        checks = (
            f"Current under full load: {load_a:.1f} A expected.",
            f"Drop of the wiring there and back: {drop_v:.2f} V expected,"
            f" no more than {allowed_v:.2f} V.",
            *task.checks,
        )
        return task.stating(task.text, checks)


def _connections(facts: WorkFacts, ended: EndedCircuit) -> tuple[Task, ...]:
    """Return the tasks that connect a circuit, which its ends decide beside the facts."""
    return tuple(_connecting(facts, ended))


def _connecting(facts: WorkFacts, ended: EndedCircuit) -> Iterator[Task]:
    circuit = facts.circuits[ended.circuit]
    if ended.by_chassis:
        yield _ground(facts, ended)
    if ended.from_source:
        yield _fit_holder(facts, ended)
    if circuit.key in facts.blocks:
        yield _fit_block(facts, circuit)
    yield _connect_load(facts, ended)
    yield _connect_feed(facts, ended)
    yield _test_dead(facts, circuit)


def _ground(facts: WorkFacts, ended: EndedCircuit) -> Task:
    circuit = facts.circuits[ended.circuit]
    zone = facts.load_zone(circuit)
    torques = torques_of(ended, (AT_GROUND,), facts.tables)
    return Task(
        key=of(GROUND, circuit.key),
        kind=GROUND,
        text=(
            f"{circuit.description}: make the ground point {circuit.stud} on bare,"
            " clean metal, bolt the ground lead down, seal it."
        ),
        needs=(of(TERMINATE, circuit.key), uncovered(zone)),
        rank=facts.rank(GROUND, zone, facts.ranks[circuit.key]),
        circuit=circuit.key,
        zone=zone,
        checks=("From the free end of the lead to the body there is no resistance to speak of.",),
        cautions=ground_cautions(facts),
        torques=torques,
        provenances=torque_rows(torques, facts.tables),
        tools=(Tool("wire_brush", "bare metal of the ground point"), *torque_tools(torques)),
    )


def _fit_holder(facts: WorkFacts, ended: EndedCircuit) -> Task:
    circuit = facts.circuits[ended.circuit]
    zone = circuit.route[0].zone
    distance = metres_text(exact_length_m(circuit.distance_from_source_m))
    where = "on the feeding point itself" if ended.holder_at_source else f"{distance} of it away"
    source = facts.power_sources[circuit.fed_from]
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


def _fit_block(facts: WorkFacts, circuit: CircuitOutline) -> Task:
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


def _connect_load(facts: WorkFacts, ended: EndedCircuit) -> Task:
    circuit, key = facts.circuits[ended.circuit], ended.circuit
    zone = facts.load_zone(circuit)
    needs = [of(TERMINATE, key), *mounted(facts, circuit)]
    if ended.by_chassis:
        needs.append(of(GROUND, key))
    if key in facts.blocks:
        needs.append(of(FIT_BLOCK, key))
        load = "the distribution block"
    elif facts.ends_free(key):
        load = ""
    else:
        load = ", ".join(item.description for item in facts.equipment_on(key))
    torques = torques_of(ended, (AT_LOAD,), facts.tables)
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
        checks=(
            "Feed on the positive, return on the negative terminal."
            if load
            else "No bare metal is left at the free end.",
        ),
        torques=torques,
        provenances=torque_rows(torques, facts.tables),
        tools=torque_tools(torques),
    )


def _connect_feed(facts: WorkFacts, ended: EndedCircuit) -> Task:
    circuit, key = facts.circuits[ended.circuit], ended.circuit
    zone, feeder = circuit.route[0].zone, facts.feeder(circuit)
    needs = [load_connected(key), *(of(CONNECT_FEED, k) for k in facts.built_branches(circuit))]
    if feeder is None:
        needs.append(of(FIT_HOLDER, key))
        point = facts.power_sources[circuit.fed_from].description
    else:
        needs.append(of(FIT_BLOCK, feeder))
        point = "its way of the distribution block"
    # A bolted fuse sits under the nuts of its holder, which are tightened with it.
    places = (AT_SOURCE,) if key in facts.bolted else (AT_SOURCE, AT_HOLDER)
    torques = torques_of(ended, places, facts.tables)
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
        provenances=torque_rows(torques, facts.tables),
        tools=(Tool("insulated_spanner", "feeding point"), *torque_tools(torques)),
    )


def _test_dead(facts: WorkFacts, circuit: CircuitOutline) -> Task:
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
        tools=(METER,),
    )


def _fuse(
    facts: WorkFacts,
    ended: EndedCircuit,
    fuse_type: str,
    rating_a: float,
    higher_voltage: bool,
) -> Task:
    circuit, key = facts.circuits[ended.circuit], ended.circuit
    dead, feeder = key in facts.fused_dead, facts.feeder(circuit)
    needs = [CLEARED]
    if feeder is not None:
        needs.append(fused(feeder))
    if not dead:
        needs += map(source_reconnected, facts.live_sources(key))
    bolted = key in facts.bolted
    torques = torques_of(ended, (AT_HOLDER,), facts.tables) if bolted else ()
    state = "while the source is still isolated" if dead else "as the last connection"
    tools = torque_tools(torques) if bolted else (Tool("fuse_puller", FUSE_TYPE_TEXTS[fuse_type]),)
    entry = facts.ranks[key]
    if key in facts.linked:
        # What joins two sources is fused behind all that does not.
        entry += len(facts.ranks)
    return Task(
        key=fused(key),
        kind=FUSE,
        text=(
            f"{circuit.description}: fit the fuse of {rating_a:g} A"
            f" ({FUSE_TYPE_TEXTS[fuse_type]}), {state}."
        ),
        needs=tuple(needs),
        rank=facts.rank(FUSE, None, entry),
        circuit=key,
        zone=circuit.route[0].zone,
        checks=(f"The fuse says {rating_a:g} A and the equipment is switched off.",),
        cautions=fuse_cautions(facts, key, higher_voltage=higher_voltage),
        torques=torques,
        provenances=torque_rows(torques, facts.tables),
        tools=tools,
    )


def _test_load(facts: WorkFacts, circuit: CircuitOutline) -> Task:
    """Return the test under load, without the checks whose figures follow from the size."""
    key = circuit.key
    text, checks = "test under load; note voltage, current and drop.", _WARMTH
    if facts.ends_free(key):
        text = "no load hangs on it yet; note the voltage at its free end."
        checks = ("The voltage at the free end is that of the source.",)
    return Task(
        key=of(TEST_LOAD, key),
        kind=TEST_LOAD,
        text=f"{circuit.description}: {text}",
        needs=(fused(key), *map(source_reconnected, facts.live_sources(key))),
        rank=facts.rank(TEST_LOAD, None, facts.ranks[key]),
        circuit=key,
        checks=checks,
        cautions=hearing(facts.equipment_on(key)),
        tools=(METER, _CLAMP_METER),
    )
