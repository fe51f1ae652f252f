"""What of a circuit is the same whatever conductor it is built with: its route, pieces and ends."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import NamedTuple

from loomwright.engineering.record import record
from loomwright.jobs.job import BARE_END, END_PARTS, SOLDER, Circuit, Job, Segment
from loomwright.pricing.requirements import LOOMED, ROUTE, TAPED, exact_length_m

RING = "ring_terminal"
SPLICE = "splice"
AT_SOURCE, AT_HOLDER, AT_LOAD, AT_GROUND = "source", "holder", "load", "ground"
_BUILT_IN = "built_in"
_NOTHING = Decimal(0)


class End(NamedTuple):
    """One end of a conductor: what it is made off with, in words where, and at which place.

    ``part`` is the kind of part that makes it off.
    """

    connection: str
    words: str
    place: str
    positive: bool
    part: str


@record
class CircuitEnds:
    """The ends of a circuit that a part makes off, and how many of them want which other part.

    ``terminals`` are ends alike with their number, without those that are soldered; ``booted``
    are positive studs that no cover protects. ``crimped`` are ring terminals and crimped splices,
    ``solder_joints`` splices that are soldered; terminals are crimped in any case.
    ``source_contacts`` and ``ground_contacts`` are ring terminals that are bolted to a source or to
    a ground point; those at a block are no contacts to paste.
    """

    ends: tuple[End, ...]
    terminals: tuple[tuple[End, int], ...]
    booted: tuple[tuple[End, int], ...]
    crimped: int
    solder_joints: int
    source_contacts: int
    ground_contacts: int


class CircuitLayout:
    """A circuit of a job before its conductor is known.

    Parameters
    ----------
    job
        The job.
    circuit
        One of its circuits.
    """

    def __init__(self, job: Job, circuit: Circuit) -> None:
        self.circuit = circuit
        self.by_chassis = circuit.return_path.path == "chassis"
        self.from_source = circuit.fed_from in job.power_sources
        self.to_block = bool(job.branches(circuit.key))
        self.loads = max(1, sum([item.quantity for item in job.equipment_on(circuit.key)]))
        #: Whether the holder is bolted to the source, with no conductor before it.
        self.holder_at_source = self.from_source and circuit.distance_from_source_m == 0.0
        #: Pieces that the feed is cut into: the fuse holder parts it.
        self.feed_pieces = 2 if self.from_source and not self.holder_at_source else 1
        #: Pieces of conductor: those of the feed, and the return or ground lead.
        self.conductors = self.feed_pieces + 1
        route = circuit.route
        #: Length of each segment of the route [m].
        self.lengths_m = [exact_length_m(segment.length_m) for segment in route]
        self.route_m = sum(self.lengths_m, _NOTHING)
        #: Length along the route that is covered with loom [m].
        self.loomed_m = _along(circuit, LOOMED, self.lengths_m)
        #: Length along the route that is wrapped in cloth tape instead of loom [m].
        self.taped_m = _along(circuit, TAPED, self.lengths_m)
        #: Panels that the route passes.
        self.crossings = sum([segment.through_bulkhead for segment in route])
        self.loom_stretches = _loom_stretches(route)
        self._ends: dict[str, CircuitEnds] = {}

    def ends(self, holder_connection: str) -> CircuitEnds:
        """Return the ends of the circuit, for what a conductor ends in at the fuse holder."""
        if holder_connection not in self._ends:
            self._ends[holder_connection] = self._counted(self._every_end(holder_connection))
        return self._ends[holder_connection]

    def _every_end(self, holder_connection: str) -> tuple[End, ...]:
        circuit = self.circuit
        loads = "the load" if self.loads == 1 else "the loads"
        ends: list[End] = []
        if not self.holder_at_source:
            ends.append(_end(circuit.source_end, "at the feeding point", AT_SOURCE, positive=True))
        if self.feed_pieces > 1:
            words = "into the fuse holder"
            ends.append(_end(holder_connection, words, AT_HOLDER, positive=True))
        words = "out of the fuse holder"
        ends.append(_end(holder_connection, words, AT_HOLDER, positive=True))
        ends += [_end(circuit.load_end, f"at {loads}", AT_LOAD, positive=True)] * self.loads
        if self.by_chassis:
            stud = circuit.return_path.stud
            ends.append(_end(stud, "at the ground point", AT_GROUND, positive=False))
        else:
            words = "of the return, at the feeding point"
            ends.append(_end(circuit.source_end, words, AT_SOURCE, positive=False))
        words = f"of the return, at {loads}"
        ends += [_end(circuit.load_end, words, AT_LOAD, positive=False)] * self.loads
        return tuple([end for end in ends if end.connection not in (BARE_END, _BUILT_IN)])

    def _counted(self, ends: tuple[End, ...]) -> CircuitEnds:
        splices = sum([end.part == SPLICE for end in ends])
        rings = [end for end in ends if end.part == RING]
        soldered = splices if self.circuit.joining == SOLDER else 0
        # A block has a cover.
        open_places = {AT_SOURCE: self.from_source, AT_LOAD: not self.to_block}
        at_source = sum([end.place == AT_SOURCE for end in rings])
        return CircuitEnds(
            ends=ends,
            terminals=_alike([end for end in ends if end.part != SPLICE or not soldered]),
            booted=_alike([end for end in rings if end.positive and open_places.get(end.place)]),
            crimped=len(rings) + splices - soldered,
            solder_joints=soldered,
            source_contacts=at_source if self.from_source else 0,
            ground_contacts=sum([end.place == AT_GROUND for end in rings]),
        )


def _end(connection: str, words: str, place: str, *, positive: bool) -> End:
    return End(connection, words, place, positive, END_PARTS.get(connection, RING))


def _alike(ends: Iterable[End]) -> tuple[tuple[End, int], ...]:
    """Return each end once with its number, in the order of the first of them."""
    counts: dict[End, int] = {}
    for end in ends:
        counts[end] = counts.get(end, 0) + 1
    return tuple(counts.items())


def _loom_stretches(route: Iterable[Segment]) -> int:
    """Return the pieces of loom: a panel, and a stretch without loom, end one."""
    count, open_before = 0, False
    for segment in route:
        count += segment.loomed and not open_before
        open_before = segment.loomed and not segment.through_bulkhead
    return count


def stretch_segments(circuit: Circuit, what: str) -> list[int]:
    """Return the segments of a route that a length of it goes over.

    Parameters
    ----------
    circuit
        The circuit.
    what
        ``ROUTE``, ``LOOMED`` or ``TAPED``.

    Returns
    -------
    list of int
        From 0, in the order of the route.
    """
    return [
        index
        for index, segment in enumerate(circuit.route)
        if what == ROUTE
        or (segment.loomed if what == LOOMED else segment.taped and not segment.loomed)
    ]


def _along(circuit: Circuit, what: str, lengths_m: Sequence[Decimal]) -> Decimal:
    return sum([lengths_m[index] for index in stretch_segments(circuit, what)], _NOTHING)
