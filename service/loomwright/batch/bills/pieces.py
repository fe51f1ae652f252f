"""What circuits need, worked out by the single bill once for each case that rows may be of.

A *piece* of a job is its equipment, the wiring of one circuit, or the leads of one circuit. What a
piece needs is the same in all rows of one *case* of it, but for lengths: the wiring of a circuit is
a case for each conductor, fuse and branch fuses, its leads for each choice of ready-made ones.
Labour is a piece beside each of them, since it also differs by the difficulty of the vehicle.
"""

from collections.abc import Hashable, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import Any, NamedTuple

from loomwright.batch.bills.growth import Stepped, in_steps
from loomwright.batch.bills.lengths import CircuitStretch
from loomwright.engineering.record import record
from loomwright.jobs.circuit_labour import lead_labour
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.requirements_of_job import JobRequirements, lead_parts
from loomwright.jobs.sized_circuit import SIZED
from loomwright.pricing.growing import Growing
from loomwright.pricing.labour_lines import difficulty_factor, hours_of
from loomwright.pricing.part_lines import in_unit
from loomwright.pricing.price_book import LabourOperation, Part, PriceBook
from loomwright.pricing.requirements import LabourRequirement, LengthRule, Requirement
from loomwright.tables.records import ConductorSize

# Distinct part needs that are kept; each takes some 1 kB.
GREATEST_KNOWN_NEEDS = 50_000
# The difficulty of the vehicle is told as the case of a piece of its own.
DIFFICULTY = -1

_NO_GROWTH = Fraction(0)


class WiringCase(NamedTuple):
    """What the wiring of a circuit is built with."""

    conductor: ConductorSize
    fuse_type: str
    rated_current_a: float
    branch_fuses: tuple[tuple[str, float], ...]


@record
class CodedCircuit:
    """A circuit of a case, as the single bill takes a sized one; its reasons are not told."""

    circuit: Circuit
    case: WiringCase
    verdict: str = SIZED
    decision: str = ""
    fuse_reason: str = ""

    @property
    def branch_fuses(self) -> tuple[tuple[str, float], ...]:
        """Type and rating of the fused branches that it feeds."""
        return self.case.branch_fuses

    def built(self) -> tuple[ConductorSize, str, float]:
        """Return conductor, fuse type and rating."""
        return self.case[:3]


@record
class PartNeed:
    """A part that is needed, with the law of its quantity in the unit of each part that serves.

    ``stepped`` has each of the laws in the increments of its part, ``at`` is the length that they
    are of, none where the quantity is the same in all rows. ``is_plain`` where one part serves it,
    with which nothing competes.
    """

    requirement: Requirement
    parts: tuple[Part, ...]
    laws: tuple[Growing, ...]
    stepped: tuple[Stepped, ...]
    is_plain: bool
    at: CircuitStretch | None

    def for_length(self, length_m: Decimal | None) -> Requirement:
        """Return the requirement of a row in which its length is this [m]."""
        measured = self.requirement.measured
        if length_m is None or measured is None or measured.rule is None:
            return self.requirement
        return replace(self.requirement, quantity=measured.rule(length_m))


@record
class WorkNeed:
    """An operation that is needed, with its increments of labour, none where no book has it."""

    operation: str
    stepped: Stepped | None
    at: CircuitStretch | None


@record
class Case:
    """What a piece of a job needs in one case, whatever the difficulty of the vehicle."""

    parts: tuple[PartNeed, ...]
    labour: Sequence[LabourRequirement]


NOTHING = Case((), ())


class _Served(NamedTuple):
    """What a part need comes to that is the same wherever as much of the same is needed."""

    parts: tuple[Part, ...]
    laws: tuple[Growing, ...]
    stepped: tuple[Stepped, ...]
    is_plain: bool


class PartNeeds:
    """Parts that jobs of a price book need.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    """

    def __init__(self, book: PriceBook) -> None:
        self._book = book
        self._known: dict[Hashable, _Served] = {}
        self._increments: dict[str, Fraction] = {}

    def of(self, asked: Requirement) -> PartNeed:
        """Return a part that is needed, with the parts that serve it."""
        measured, at = asked.measured, None
        rule = None if measured is None else measured.rule
        if rule is not None:
            assert measured is not None
            at = CircuitStretch(asked.circuit, measured.stretch)
        quantity = asked.quantity if rule is None else self._key_of_rule(rule)
        if quantity is None:
            return PartNeed(asked, *self._served(asked), at)
        key = asked.what, asked.unit, quantity, *asked.attributes.items()
        served = self._known.get(key)
        if served is None:
            if len(self._known) >= GREATEST_KNOWN_NEEDS:
                self._known.clear()
            served = self._known[key] = self._served(asked)
        return PartNeed(asked, *served, at)

    def _key_of_rule(self, rule: LengthRule) -> Hashable:
        """Return what tells a quantity rule of the book from others, none for any other rule."""
        function, stated = rule, dict[str, Any]()
        if isinstance(rule, partial) and not rule.args:
            function, stated = rule.func, rule.keywords
        if getattr(function, "__self__", None) is not self._book.rules:
            return None
        return function.__name__, *stated.items()  # type: ignore[attr-defined]

    def _served(self, asked: Requirement) -> _Served:
        parts = self._book.parts_for(asked.what, asked.attributes)
        if asked.measured is None or asked.measured.rule is None:
            # Rounded up as they are, and not by a law of nothing.
            quantities = [in_unit(asked.quantity, asked.unit, part.unit) for part in parts]
            laws = tuple(map(constant, quantities))
        else:
            law = asked.measured.rule(Growing())
            laws = tuple(in_unit(law, asked.unit, part.unit) for part in parts)
        stepped = tuple(
            in_steps(law, self._increment(part)) for law, part in zip(laws, parts, strict=True)
        )
        is_plain = len(parts) == 1 and parts[0].key in self._book.without_choice
        return _Served(parts, laws, stepped, is_plain)

    def _increment(self, part: Part) -> Fraction:
        found = self._increments.get(part.key)
        if found is None:
            found = self._increments[part.key] = Fraction(part.sale_increment)
        return found


class JobNeeds:
    """What the circuits of a job need, whatever the difficulty of its vehicle.

    Parameters
    ----------
    job
        The job; none of what it states of lengths comes into any case.
    book
        Price book, with what holds on the day.
    parts
        Parts that jobs of the book need.
    """

    def __init__(self, job: Job, book: PriceBook, parts: PartNeeds) -> None:
        self.job, self._book, self._parts = job, book, parts
        self._requirements = JobRequirements(job, book)

    def of_job(self) -> Case:
        """Return what the job needs whatever its circuits are."""
        return self._case(*self._requirements.of_job())

    def of_wiring(self, circuit: str, case: WiringCase) -> Case:
        """Return what the wiring of a circuit needs."""
        coded = CodedCircuit(self.job.circuit_by_key[circuit], case)
        return self._case(*self._requirements.of_wiring(coded))

    def of_leads(self, circuit: Circuit) -> Case:
        """Return what the leads and taps of a circuit need, with the lengths that it states."""
        return self._case(lead_parts(circuit, self._book.rules), lead_labour(circuit))

    def _case(self, parts: Sequence[Requirement], labour: Sequence[LabourRequirement]) -> Case:
        return Case(tuple([self._parts.of(each) for each in parts]), labour)


class Works:
    """Labour of cases by the difficulty of the vehicle.

    Parameters
    ----------
    book
        Price book, with what holds on the day.
    """

    def __init__(self, book: PriceBook) -> None:
        self._book = book
        self._increment_h = Fraction(book.rules.labour_increment_h)
        self._known: dict[Hashable, tuple[Stepped, bool]] = {}

    def of(self, asked: LabourRequirement, difficulty: str | None) -> WorkNeed:
        """Return labour for a vehicle.

        Parameters
        ----------
        asked
            The operation.
        difficulty
            Key of a difficulty factor of the price book, if any.

        Returns
        -------
        WorkNeed
            In increments of labour.
        """
        operation = self._book.labour.get(asked.operation)
        if operation is None:
            return WorkNeed(asked.operation, None, None)
        is_measured = asked.stretch is not None
        key = operation.key, asked.pieces, None if is_measured else asked.length_m, difficulty
        if key not in self._known:
            self._known[key] = self._stepped(operation, asked, difficulty)
        stepped, grows = self._known[key]
        at = None
        if grows:
            assert asked.stretch is not None
            at = CircuitStretch(asked.circuit, asked.stretch)
        return WorkNeed(asked.operation, stepped, at)

    def _stepped(
        self, operation: LabourOperation, asked: LabourRequirement, difficulty: str | None
    ) -> tuple[Stepped, bool]:
        """Return the increments of labour, and whether they grow with a length."""
        factor = difficulty_factor(self._book, difficulty)
        if asked.stretch is not None:
            law = hours_of(operation, asked.pieces, Growing(), factor)
            if isinstance(law, Growing):
                return in_steps(law, self._increment_h), True
        hours = hours_of(operation, asked.pieces, asked.length_m, factor)
        return in_steps(constant(hours), self._increment_h), False


def constant(quantity: Decimal) -> Growing:
    """Return a quantity that grows with nothing as a law."""
    return Growing(_NO_GROWTH, Fraction(quantity))
