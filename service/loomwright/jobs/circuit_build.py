"""One sized circuit as it is built: its pieces of conductor, their ends, its bundle and cover."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from loomwright.jobs.bundles import bundle_diameter_m
from loomwright.jobs.job import BARE_END, END_PARTS, SOLDER, Circuit, Job, Segment
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.price_book import Part, PriceBook
from loomwright.pricing.requirements import Requirement, exact_length_m

UNKNOWN_CONNECTION = "as the fuse holder"
RING = "ring_terminal"
SPLICE = "splice"
AT_SOURCE, AT_HOLDER, AT_LOAD, AT_GROUND = "source", "holder", "load", "ground"
_BUILT_IN = "built_in"
# Crest of a corrugated loom over its inner wall, on each side; common practice, no source.
_LOOM_WALL_M = Decimal("0.0015")


class End(NamedTuple):
    """One end of a conductor: what it is made off with, in words where, and at which place.

    ``part`` is the kind of part that makes it off.
    """

    connection: str
    words: str
    place: str
    positive: bool
    part: str


def millimetres(length_m: float | Decimal) -> Decimal:
    """Return a length in millimetres to a tenth, as parts are sold by."""
    return (Decimal(str(length_m)) * 1000).quantize(Decimal("0.1"))


def exact_number(value: float) -> Decimal:
    """Return a catalogue number, such as a rating, without binary dust."""
    return Decimal(repr(float(value))).quantize(Decimal("0.000001")).normalize() + Decimal(0)


def metres_text(length_m: Decimal) -> str:
    """Return a length as it is read in a reason."""
    return f"{length_m:.2f} m"


def plain_text(number: Decimal) -> str:
    """Return a number as it is read in a reason, without zeros at its end."""
    return format(number.normalize(), "f")


class CircuitBuild:
    """What is known of one sized circuit before its parts are counted.

    Conductor, fuse and branch fuses decide it, beside job and book: currents, drops and what the
    circuit was chosen from are not looked at.

    Parameters
    ----------
    job
        The job.
    sized
        A circuit for which a conductor and a fuse were found.
    book
        Price book: its quantity rules, and the holder, block and loom that decide other parts.
    """

    def __init__(self, job: Job, sized: SizedCircuit, book: PriceBook) -> None:
        self.circuit: Circuit = sized.circuit
        self.branch_fuses = sized.branch_fuses
        self.book = book
        self.rules = book.rules
        self.conductor, self.fuse_type, self.rating_a = sized.built()
        self.by_chassis = self.circuit.return_path.path == "chassis"
        self.from_source = self.circuit.fed_from in job.power_sources
        self.to_block = bool(job.branches(self.circuit.key))
        self.loads = max(1, sum(item.quantity for item in job.equipment_on(self.circuit.key)))
        diameters = [self.conductor.outside_diameter_m]
        if not self.by_chassis:
            diameters *= 2
        self.bundle_m = exact_length_m(bundle_diameter_m(diameters))
        self.route_m = _length(self.circuit.route)

    def needs(
        self,
        what: str,
        attributes: Mapping[str, Attribute],
        quantity: Decimal | int,
        unit: str,
        reason: str,
        rule: str,
    ) -> Requirement:
        """Return a requirement of this circuit.

        Parameters
        ----------
        what
            Kind of part.
        attributes
            What it is chosen by.
        quantity
            Slack and waste included.
        unit
            UN/CEFACT Recommendation 20 code.
        reason
            Why, with the arithmetic.
        rule
            Key of ``REQUIREMENT_RULES``.

        Returns
        -------
        Requirement
            For this circuit.
        """
        return Requirement(
            what, attributes, Decimal(quantity), unit, reason, rule, self.circuit.key
        )

    @cached_property
    def holder_needed(self) -> dict[str, Attribute]:
        """What the fuse holder is chosen by."""
        return {
            "fuse_type": self.fuse_type,
            "rating_a": exact_number(self.rating_a),
            "cross_section_mm2": self.cross_section_mm2,
        }

    @property
    def cross_section_mm2(self) -> Decimal:
        """Nominal cross-section of the conductor [mm2]."""
        return exact_number(self.conductor.cross_section_m2 * 1e6)

    @property
    def diameter_mm(self) -> Decimal:
        """Over the insulation of one conductor [mm]."""
        return millimetres(self.conductor.outside_diameter_m)

    @cached_property
    def holder_connection(self) -> str:
        """What a conductor ends in at the fuse holder; the branches of a block have no holder."""
        if not self.from_source:
            return BARE_END
        holder = self.book.part_for("fuse_holder", self.holder_needed)
        return UNKNOWN_CONNECTION if holder is None else str(holder.attributes["connection"])

    @property
    def holder_at_source(self) -> bool:
        """Whether the holder is bolted to the source, with no conductor before it."""
        return self.from_source and self.circuit.distance_from_source_m == 0.0

    @property
    def feed_pieces(self) -> int:
        """Pieces that the feed is cut into: the fuse holder parts it."""
        return 2 if self.from_source and not self.holder_at_source else 1

    @property
    def conductors(self) -> int:
        """Pieces of conductor: those of the feed, and the return or ground lead."""
        return self.feed_pieces + 1

    @cached_property
    def ends(self) -> tuple[End, ...]:
        """Every end that a part makes off."""
        circuit = self.circuit
        loads = "the load" if self.loads == 1 else "the loads"
        ends: list[End] = []
        if not self.holder_at_source:
            ends.append(_end(circuit.source_end, "at the feeding point", AT_SOURCE, positive=True))
        if self.feed_pieces > 1:
            words = "into the fuse holder"
            ends.append(_end(self.holder_connection, words, AT_HOLDER, positive=True))
        words = "out of the fuse holder"
        ends.append(_end(self.holder_connection, words, AT_HOLDER, positive=True))
        ends += [_end(circuit.load_end, f"at {loads}", AT_LOAD, positive=True)] * self.loads
        if self.by_chassis:
            stud = circuit.return_path.stud
            ends.append(_end(stud, "at the ground point", AT_GROUND, positive=False))
        else:
            words = "of the return, at the feeding point"
            ends.append(_end(circuit.source_end, words, AT_SOURCE, positive=False))
        words = f"of the return, at {loads}"
        ends += [_end(circuit.load_end, words, AT_LOAD, positive=False)] * self.loads
        return tuple(end for end in ends if end.connection not in (BARE_END, _BUILT_IN))

    @property
    def source_contacts(self) -> int:
        """Ring terminals that are bolted to a source; those at a block are no contacts to paste."""
        return self._rings_at(AT_SOURCE) if self.from_source else 0

    @property
    def ground_contacts(self) -> int:
        """Ring terminals that are bolted to a ground point."""
        return self._rings_at(AT_GROUND)

    def _rings_at(self, place: str) -> int:
        return sum(end.part == RING and end.place == place for end in self.ends)

    @cached_property
    def solder_joints(self) -> int:
        """Splices that are soldered; terminals are crimped in any case."""
        if self.circuit.joining != SOLDER:
            return 0
        return sum(end.part == SPLICE for end in self.ends)

    @cached_property
    def loomed_m(self) -> Decimal:
        """Length along the route that is covered with loom [m]."""
        return _length(segment for segment in self.circuit.route if segment.loomed)

    @cached_property
    def taped_m(self) -> Decimal:
        """Length along the route that is wrapped in cloth tape instead of loom [m]."""
        return _length(
            segment for segment in self.circuit.route if segment.taped and not segment.loomed
        )

    @cached_property
    def loom_stretches(self) -> int:
        """Pieces of loom: a panel, and a stretch without loom, end one."""
        count, open_before = 0, False
        for segment in self.circuit.route:
            count += segment.loomed and not open_before
            open_before = segment.loomed and not segment.through_bulkhead
        return count

    @property
    def loom_needed(self) -> dict[str, Attribute]:
        """What the loom is chosen by."""
        return {
            "least_inner_diameter_mm": millimetres(self.rules.loom_inner_diameter_m(self.bundle_m))
        }

    @cached_property
    def over_loom_m(self) -> Decimal:
        """Diameter over the loom [m]; that of the least one where the book has none."""
        loom: Part | None = self.book.part_for("split_loom", self.loom_needed)
        if loom is None:
            inner_m = self.rules.loom_inner_diameter_m(self.bundle_m)
        else:
            inner_m = Decimal(loom.attributes["inner_diameter_mm"]) / 1000
        return inner_m + 2 * _LOOM_WALL_M


class CircuitBuilds:
    """Circuits of a job as they are built, each once for all sizings that build it alike.

    Parameters
    ----------
    job
        The job.
    book
        Price book, with what holds on the day.
    """

    def __init__(self, job: Job, book: PriceBook) -> None:
        self._job, self._book = job, book
        self._builds: dict[tuple[object, ...], CircuitBuild] = {}

    def of(self, sized: SizedCircuit) -> CircuitBuild:
        """Return a circuit as it is built.

        Parameters
        ----------
        sized
            A circuit of the job for which a conductor and a fuse were found, for whatever load and
            allowance.

        Returns
        -------
        CircuitBuild
            The same object for all that are built alike.
        """
        conductor, fuse_type, rating_a = sized.built()
        key = sized.circuit.key, conductor.key, fuse_type, rating_a, sized.branch_fuses
        build = self._builds.get(key)
        if build is None:
            build = self._builds[key] = CircuitBuild(self._job, sized, self._book)
        return build


def _end(connection: str, words: str, place: str, *, positive: bool) -> End:
    return End(connection, words, place, positive, END_PARTS.get(connection, RING))


def _length(segments: Iterable[Segment]) -> Decimal:
    return sum((exact_length_m(segment.length_m) for segment in segments), Decimal(0))
