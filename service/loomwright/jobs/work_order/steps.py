"""Records of a work order, and the kinds of its tasks in the order of safety."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from loomwright.engineering.record import record
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


@record
class Task:
    """What is to be done, before parts and hours are shared out.

    ``needs`` are keys of the tasks that come before it; ``rank`` is its place among those that are
    ready: phase, zone, stage and entry, compared in this order.
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


class StepPart(NamedTuple):
    """A share of one need of the bill.

    ``line``, and ``key`` in the price book, are none where the book lacks the part; ``served_by``
    is then what is lacking.
    """

    line: Line | None
    key: str | None
    served_by: Part | Unpriced
    need: Need
    quantity: Decimal

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


@record
class StepLabour:
    """A share of one labour line; line and hours are none where the book lacks the operation."""

    line: Line | None
    operation: str
    description: str
    hours: Decimal | None


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


@dataclass(frozen=True, slots=True)
class WorkOrder:
    """The steps of a job in a safe order.

    ``zones`` are in the order in which they are walked. ``not_built`` are circuits that were not
    sized, with the verdict on each: nothing of their wiring is in the steps. ``cautions`` are keys
    of ``CAUTIONS``, those of the job first.
    """

    steps: tuple[Step, ...]
    zones: tuple[str, ...]
    not_built: Mapping[str, str]
    cautions: tuple[str, ...]
    provenances: frozenset[Provenance]

    @property
    def tools(self) -> list[Tool]:
        """Tools of all steps, each once for each purpose, by name and then by purpose."""
        found = {(tool.tool, tool.purpose): tool for step in self.steps for tool in step.task.tools}
        return [found[key] for key in sorted(found)]

    @property
    def hours(self) -> Decimal:
        """Working hours of all steps [h]."""
        return sum([step.hours for step in self.steps], NO_HOURS)
