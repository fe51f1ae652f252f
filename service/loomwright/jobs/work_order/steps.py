"""Records of a work order, and the kinds of its tasks in the order of safety."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any, NamedTuple

from loomwright.engineering.record import record
from loomwright.figures import six_digits
from loomwright.pricing.lines import Line, Need, Unpriced
from loomwright.pricing.price_book import Part
from loomwright.tables.records import Provenance

MAKE_SAFE, ISOLATE, PROVE_DEAD = "make_safe", "isolate", "prove_dead"
UNCOVER, PROTECT, CUT, LAY = "uncover", "protect", "cut", "lay"
TERMINATE, GROUND, FIT_HOLDER, FIT_BLOCK = "terminate", "ground", "fit_holder", "fit_block"
MOUNT, CONNECT_LOAD, SIGNAL, REMOTE, TAP = "mount", "connect_load", "signal", "remote", "tap"
OTHER, CONNECT_FEED, TEST_DEAD, CLEAR = "other", "connect_feed", "test_dead", "clear"
FUSE, RECONNECT, TEST_LOAD = "fuse", "reconnect", "test_load"
COVER, HAND_OVER = "cover", "hand_over"

# Phase by kind. Within a phase tasks stand zone by zone, within a zone in the order given here.
# No task waits for one of a later phase, so that phases never mix.
PHASES: Mapping[str, int] = {
    MAKE_SAFE: 0,
    ISOLATE: 1,
    PROVE_DEAD: 2,
    UNCOVER: 3,
    # Every hole is drilled and clean before a conductor lies near it.
    PROTECT: 4,
    CUT: 5,
    LAY: 6,
    TERMINATE: 7,
    GROUND: 7,
    FIT_HOLDER: 7,
    FIT_BLOCK: 7,
    MOUNT: 7,
    CONNECT_LOAD: 7,
    SIGNAL: 7,
    REMOTE: 7,
    TAP: 7,
    OTHER: 7,
    # From the loads towards the sources.
    CONNECT_FEED: 8,
    TEST_DEAD: 9,
    CLEAR: 10,
    FUSE: 11,
    RECONNECT: 11,
    TEST_LOAD: 12,
    COVER: 13,
    HAND_OVER: 14,
}
KINDS = tuple(PHASES)
STAGES: Mapping[str, int] = {kind: place for place, kind in enumerate(KINDS)}

NO_HOURS = Decimal(0)

TOOLS = (
    "axle_stands",
    "cable_cutter",
    "clamp_meter",
    "crimping_tool",
    "deburring_tool",
    "fuse_puller",
    "heat_gun",
    "hole_cutter",
    "insulated_spanner",
    "multimeter",
    "soldering_iron",
    "torque_wrench",
    "trim_lever",
    "wire_brush",
    "wire_stripper",
)

# Where a torque comes from: a published figure that serves where the maker states none, or the
# maker alone.
PUBLISHED, MAKER = "published", "maker"
BASES = (PUBLISHED, MAKER)


@record
class Tool:
    """A tool and what for."""

    tool: str
    purpose: str


METER = Tool("multimeter", "continuity, polarity and voltage")


@record
class Torque:
    """How tight one connection is made.

    ``torque_n_m`` is a published figure for the size, none where only the maker can say.
    ``greatest_torque_n_m`` is what a steel bolt bears, stated where the bolt is one of the job's
    own. ``stud`` is empty where it is not known.
    """

    place: str
    stud: str
    torque_n_m: float | None
    greatest_torque_n_m: float | None
    basis: str

    @property
    def document(self) -> dict[str, Any]:
        """It as plain JSON values."""
        return {
            "place": self.place,
            "stud": self.stud or None,
            "torque_n_m": six_digits(self.torque_n_m),
            "greatest_torque_n_m": six_digits(self.greatest_torque_n_m),
            "basis": self.basis,
        }


@dataclass
class Task:
    """What is to be done, before parts and hours are shared out; nobody changes it.

    ``needs`` are keys of the tasks that come before it; ``rank`` is its place among those that are
    ready: phase, zone, stage and entry, compared in this order. ``provenances`` are those of its
    torques.
    """

    key: str
    kind: str
    text: str
    needs: tuple[str, ...]
    rank: tuple[int, int, int, int]
    circuit: str | None = None
    equipment: str | None = None
    power_source: str | None = None
    zone: str | None = None
    checks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    torques: tuple[Torque, ...] = ()
    tools: tuple[Tool, ...] = ()
    provenances: tuple[Provenance, ...] = ()

    @cached_property
    def summary(self) -> dict[str, Any]:
        """Its step in a plan as plain JSON values, with room for what it takes of a bill.

        Made once, as most tasks are those of many plans. To be copied, not to be changed.
        """
        return {
            "key": self.key,
            "kind": self.kind,
            "text": self.text,
            "circuit": self.circuit,
            "equipment": self.equipment,
            "zone": self.zone,
            "needs": self.needs,
            "parts": (),
            "labour": (),
            "hours": f"{NO_HOURS:f}",
            "tools": tuple([tool.tool for tool in self.tools]),
            "torques": tuple([torque.document for torque in self.torques]),
            "checks": self.checks,
            "cautions": self.cautions,
        }

    def stating(self, text: str, checks: tuple[str, ...]) -> "Task":
        """Return the task with a text and checks that state figures of one job."""
        # All else is taken over as it is, the summary too: each request states some dozens.
        summary = self.summary.copy()
        members = self.__dict__.copy()
        summary["text"] = members["text"] = text
        summary["checks"] = members["checks"] = checks
        stated = object.__new__(Task)
        members["summary"] = summary
        stated.__dict__ = members
        return stated


class MeasuredTask(NamedTuple):
    """A task whose text states a figure that each job has anew, such as a length.

    The text of ``task`` ends before the figure; ``after`` follows it.
    """

    task: Task
    after: str

    def stating(self, figure: str) -> Task:
        """Return the task for a figure, as it is read."""
        return self.task.stating(f"{self.task.text}{figure}{self.after}", self.task.checks)


# A share of a need of a bill: the line that the need stands on, or what the book lacks for it, and
# what a task takes of it. Each order has hundreds, of which a plan tells only what and how much.
PartShare = tuple[Line | None, Unpriced | None, Need, Decimal]


class StepPart(NamedTuple):
    """A share of one need of the bill.

    ``line`` is none where the book lacks the part; ``unpriced`` is then what is lacking, and none
    otherwise.
    """

    line: Line | None
    unpriced: Unpriced | None
    need: Need
    quantity: Decimal

    @property
    def key(self) -> str | None:
        """Key in the price book, none where it lacks the part."""
        return None if self.need.part is None else self.need.part.key

    @property
    def served_by(self) -> Part | Unpriced:
        """What serves the need, or what is lacking for it."""
        served = self.unpriced or self.need.part
        assert served is not None  # every need on a line of parts is served by one
        return served

    @property
    def description(self) -> str:
        """What it is."""
        return self.served_by.description

    @property
    def unit(self) -> str:
        """UN/CEFACT Recommendation 20 code of the quantity."""
        return self.served_by.unit

    @property
    def rule(self) -> str:
        """Key of the rule that asks for it."""
        return self.need.rule


# A share of a line of labour, or of what the book lacks of it, as ``StepLabour`` names it.
LabourShare = tuple[Line | None, str, str, Decimal | None]


class StepLabour(NamedTuple):
    """A share of one labour line; line and hours are none where the book lacks the operation."""

    line: Line | None
    operation: str
    description: str
    hours: Decimal | None


class TaskLabour(NamedTuple):
    """The labour of one task, with its working hours [h]."""

    entries: Sequence[LabourShare]
    hours: Decimal


NO_LABOUR = TaskLabour((), NO_HOURS)


@record
class Step:
    """One step: a task at its place in the order, with its shares of the bill.

    ``hours`` are the working hours of its labour [h].
    """

    number: int
    task: Task
    parts: tuple[StepPart, ...]
    labour: tuple[StepLabour, ...]
    hours: Decimal


@dataclass(frozen=True)
class WorkOrder:
    """The steps of a job in a safe order.

    ``tasks`` are in that order, ``parts`` and ``labour`` what each of them takes of the bill,
    ``hours`` the working hours of all [h].
    ``zones`` are in the order in which they are walked. ``not_built`` are circuits that were not
    sized, with the verdict on each: nothing of their wiring is in the steps. ``cautions`` are keys
    of ``CAUTIONS``, those of the job first.
    """

    tasks: tuple[Task, ...]
    parts: Sequence[Sequence[PartShare]]
    labour: Sequence[TaskLabour]
    hours: Decimal
    zones: tuple[str, ...]
    not_built: Mapping[str, str]
    cautions: tuple[str, ...]
    provenances: frozenset[Provenance]

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """Each task with its shares, from step 1; made when asked for, as plans need none."""
        return tuple(
            Step(
                number,
                task,
                tuple(map(StepPart._make, parts)),
                tuple(map(StepLabour._make, labour.entries)),
                labour.hours,
            )
            for number, (task, parts, labour) in enumerate(
                zip(self.tasks, self.parts, self.labour, strict=True), 1
            )
        )

    @property
    def tools(self) -> list[Tool]:
        """Tools of all steps, each once for each purpose, by name and then by purpose."""
        found = {(tool.tool, tool.purpose): tool for task in self.tasks for tool in task.tools}
        return [found[key] for key in sorted(found)]
