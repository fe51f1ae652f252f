"""Tasks of a job as a whole: make safe, open and close zones, mount, lay leads, bring back."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from operator import itemgetter

from loomwright.jobs.work_order.circuit_tasks import WiringTasks
from loomwright.jobs.work_order.facts import (
    CLEARED,
    SAFE,
    UNDERBODY,
    Layout,
    WorkFacts,
    fused,
    of,
    source_reconnected,
    uncovered,
)
from loomwright.jobs.work_order.lead_tasks import lead_tasks
from loomwright.jobs.work_order.order import safe_order
from loomwright.jobs.work_order.outline import JobOutline
from loomwright.jobs.work_order.steps import (
    CLEAR,
    COVER,
    HAND_OVER,
    ISOLATE,
    MAKE_SAFE,
    METER,
    MOUNT,
    OTHER,
    PROVE_DEAD,
    RECONNECT,
    TEST_LOAD,
    UNCOVER,
    MeasuredTask,
    Task,
    Tool,
)
from loomwright.jobs.work_order.targets import Targets
from loomwright.jobs.work_order.task_cautions import (
    hearing,
    isolate_cautions,
    make_safe_cautions,
    mount_cautions,
    prove_dead_cautions,
    reconnect_cautions,
    zone_cautions,
)
from loomwright.pricing.attribute_words import in_words
from loomwright.tables.records import Tables

# The operation of a price book that takes off trim and puts it back.
TRIM_OPERATION = "remove_trim"
_ISOLATED = {
    "battery": "Disconnect {}, negative first, and cover its terminals.",
    "remote_battery": (
        "Disconnect {}, negative first, and cover its terminals; if it is not fitted yet, leave it"
        " unconnected."
    ),
    "jump_start_post": "Isolate {} at the battery behind it, negative first, and cover the post.",
    "converter_output": "Isolate {}: switch the converter off and isolate what feeds it.",
    "distribution": "Isolate {} at the battery or isolator behind it, and cover it.",
}
_RECONNECTED = {
    "battery": "Reconnect {}, negative last.",
    "remote_battery": "Connect {}, negative last.",
    "jump_start_post": "Reconnect the battery behind {}, negative last, and close the post.",
    "converter_output": "Reconnect what feeds {}, then switch the converter on.",
    "distribution": "Bring {} back at the battery or isolator behind it.",
}


class JobTasks:
    """Tasks of jobs of one outline and layout, with their order.

    Kept between requests: what jobs of the outline may differ in is in no task here. ``keys`` are
    those of all tasks in their order, once it is known.

    Parameters
    ----------
    facts
        What is known of the jobs.
    """

    def __init__(self, facts: WorkFacts) -> None:
        self.facts = facts
        self.targets = Targets.of(facts)
        self.wiring = WiringTasks(facts)
        self.make_safe = _make_safe(facts)
        self.leads = {
            circuit.key: tuple(lead_tasks(facts, circuit)) for circuit in facts.outline.circuits
        }
        self._first = (*_isolated(facts), *_uncovered(facts))
        self._fitted = (*_mounted(facts), *_other(facts))
        self._last: tuple[Task, ...] = ()
        self.keys: tuple[str, ...] = ()
        self._places: Callable[[Sequence[Task]], tuple[Task, ...]] | None = None

    def in_order(
        self,
        make_safe: Task,
        wiring: Mapping[str, Sequence[Task]],
        leads: Mapping[str, Sequence[Task]],
    ) -> tuple[Task, ...]:
        """Return every task of a job in a safe order.

        Parameters
        ----------
        make_safe
            The first task, with the vehicle of the job.
        wiring
            Tasks of the circuits that were sized, by key; of the layout of the facts.
        leads
            Tasks of the leads of all circuits, by key.

        Returns
        -------
        tuple of Task
            Keys, needs and ranks are those of the layout at the same places, whatever the sizes.

        Raises
        ------
        OrderError
            The tasks wait for one another, which no job can bring about.
        """
        tasks = [make_safe, *self._first]
        for key, found in leads.items():
            tasks += wiring.get(key, ())
            tasks += found
        tasks += self._fitted
        if self._places is None:
            self._last = tuple(_last(self.facts, tasks))
            # A job has more than one task, so that all of them are taken in one call.
            places = itemgetter(*safe_order([*tasks, *self._last]))
            self.keys = tuple([task.key for task in places([*tasks, *self._last])])
            self._places = places
        return self._places([*tasks, *self._last])


@lru_cache(maxsize=16)
def tasks_of_outline(outline: JobOutline, layout: Layout, tables: Tables) -> JobTasks:
    """Return the tasks of jobs of an outline whose circuits are built by a layout.

    Parameters
    ----------
    outline
        Of a job.
    layout
        Of its circuits that were sized.
    tables
        Zones and torques.

    Returns
    -------
    JobTasks
        The same for the outlines that a shop plans by again and again.
    """
    return JobTasks(WorkFacts(outline, tables, layout))


def _last(facts: WorkFacts, before: Sequence[Task]) -> Iterator[Task]:
    yield _clear(facts, before)
    yield from _reconnected(facts)
    yield from _covered(facts)
    yield _hand_over(facts)


def _make_safe(facts: WorkFacts) -> MeasuredTask:
    off = "not ready, unplugged" if facts.outline.has_high_voltage else "engine and ignition off"
    task = Task(
        key=of(MAKE_SAFE),
        kind=MAKE_SAFE,
        text="Park ",
        needs=(),
        rank=facts.rank(MAKE_SAFE),
        checks=("Keys are put away from the vehicle.", "The data bus is at rest."),
        cautions=make_safe_cautions(facts),
    )
    return MeasuredTask(
        task,
        f": secured against rolling, {off}; note faults that show and settings that isolating"
        " will clear.",
    )


def _isolated(facts: WorkFacts) -> Iterator[Task]:
    for place, source in enumerate(facts.power_sources.values()):
        yield Task(
            key=of(ISOLATE, source.key),
            kind=ISOLATE,
            text=_ISOLATED[source.tap_point].format(source.description),
            needs=(of(MAKE_SAFE),),
            rank=facts.rank(ISOLATE, None, place),
            power_source=source.key,
            cautions=isolate_cautions(facts, source),
            tools=(Tool("insulated_spanner", source.description),),
        )
    yield Task(
        key=SAFE,
        kind=PROVE_DEAD,
        text="Prove that every feeding point is dead, with a meter proven on a live source.",
        needs=tuple(of(ISOLATE, key) for key in facts.power_sources),
        rank=facts.rank(PROVE_DEAD),
        checks=tuple(
            f"No voltage between {source.description} and the body."
            for source in facts.power_sources.values()
        ),
        cautions=prove_dead_cautions(facts),
        tools=(METER,),
    )


def _uncovered(facts: WorkFacts) -> Iterator[Task]:
    for zone in facts.walk:
        tools = [Tool("trim_lever", "trim and covers")]
        text = (
            f"Take off trim and covers along the routes, and keep their fixings together:"
            f" {facts.place_name(zone)}."
        )
        if zone == UNDERBODY:
            tools.append(Tool("axle_stands", "vehicle raised"))
            text = f"Raise the vehicle and support it. {text}"
        yield Task(
            key=uncovered(zone),
            kind=UNCOVER,
            text=text,
            needs=(SAFE,),
            rank=facts.rank(UNCOVER, zone),
            zone=zone,
            cautions=zone_cautions(facts, zone),
            tools=tuple(tools),
        )


def _mounted(facts: WorkFacts) -> Iterator[Task]:
    for place, item in enumerate(facts.outline.equipment):
        if not item.fitted:
            continue
        zone = None if item.circuit is None else facts.load_zone(facts.circuits[item.circuit])
        pieces = "" if item.quantity == 1 else f"{item.quantity} x "
        yield Task(
            key=of(MOUNT, item.key),
            kind=MOUNT,
            text=f"Mount {pieces}{item.description}, so that it holds in a crash.",
            needs=(SAFE if zone is None else uncovered(zone),),
            rank=facts.rank(MOUNT, zone, place),
            circuit=item.circuit,
            equipment=item.key,
            zone=zone,
            checks=("It does not move, and nothing lies pinched beneath it.",),
            cautions=mount_cautions(facts, item),
        )


def _other(facts: WorkFacts) -> Iterator[Task]:
    reasons: dict[str, dict[str, None]] = {}
    for item in facts.outline.labour:
        if item.operation != TRIM_OPERATION:
            reasons.setdefault(item.operation, {})[item.reason] = None
    for place, (operation, why) in enumerate(reasons.items()):
        yield Task(
            key=of(OTHER, operation),
            kind=OTHER,
            text=f"{in_words(operation).capitalize()}: {', '.join(why)}.",
            needs=(SAFE,),
            rank=facts.rank(OTHER, None, place),
        )


def _clear(facts: WorkFacts, before: Sequence[Task]) -> Task:
    """Return the task that all work on the dead vehicle comes before, and all live work after."""
    needed = {key for task in before for key in task.needs}
    # A fuse and a test under load come after it.
    live = {fused(key) for key in facts.built} | {of(TEST_LOAD, key) for key in facts.built}
    ends = [task.key for task in before if task.key not in needed and task.key not in live]
    return Task(
        key=CLEARED,
        kind=CLEAR,
        text="Count the tools, clear the vehicle and tell all who are near that it becomes live.",
        needs=tuple(ends),
        rank=facts.rank(CLEAR),
        checks=("Every holder and every way is empty, every load is switched off.",),
    )


def _reconnected(facts: WorkFacts) -> Iterator[Task]:
    joined = {facts.sources_by_circuit[key] for key in facts.linked}
    for place, source in enumerate(facts.power_sources.values()):
        first = [
            fused(key)
            for key in facts.built
            if key in facts.fused_dead
            and (
                facts.sources_by_circuit[key] == source.key
                # Neither of two sources comes alive before both ends of their link are fused.
                or (source.key in joined and key in facts.linked)
            )
        ]
        yield Task(
            key=source_reconnected(source.key),
            kind=RECONNECT,
            text=_RECONNECTED[source.tap_point].format(source.description),
            needs=(CLEARED, *first),
            rank=facts.rank(RECONNECT, None, place),
            power_source=source.key,
            checks=(f"{source.emf_v:g} V and the right polarity at every fuse that it feeds.",),
            cautions=reconnect_cautions(facts),
            tools=(Tool("insulated_spanner", source.description), METER),
        )


def _covered(facts: WorkFacts) -> Iterator[Task]:
    tested: dict[str, list[str]] = {}
    for key, circuit in facts.built.items():
        for zone in dict.fromkeys(segment.zone for segment in circuit.route):
            tested.setdefault(zone, []).append(of(TEST_LOAD, key))
    for zone in facts.walk:
        place = facts.place_name(zone)
        lowered = " Lower the vehicle." if zone == UNDERBODY else ""
        yield Task(
            key=of(COVER, zone),
            kind=COVER,
            text=f"Refit trim and covers, with all their fixings: {place}.{lowered}",
            needs=tuple(tested.get(zone, (CLEARED,))),
            rank=facts.rank(COVER, zone),
            zone=zone,
            checks=("Nothing is pinched, and no clip pierces a conductor.",),
            cautions=("airbag",),
            tools=(Tool("trim_lever", "trim and covers"),),
        )


def _hand_over(facts: WorkFacts) -> Task:
    tests = (of(TEST_LOAD, key) for key in facts.built)
    covers = (of(COVER, zone) for zone in facts.walk)
    sources = (source_reconnected(key) for key in facts.power_sources)
    return Task(
        key=of(HAND_OVER),
        kind=HAND_OVER,
        text=(
            "Test every function old and new, read out the faults, enter the readings and hand"
            " the vehicle over with the equipment's manuals."
        ),
        needs=(*tests, *covers, *sources),
        rank=facts.rank(HAND_OVER),
        checks=("No warning lamp stays on.", "The customer was shown where the fuses are."),
        cautions=hearing(facts.outline.equipment),
    )
