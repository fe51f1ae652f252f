"""What of a circuit is the same whatever conductor it is built with: its route, pieces and ends."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from loomwright.jobs.job import BARE_END, END_PARTS, SOLDER, Circuit, Job, Segment
from loomwright.pricing.requirements import LOOMED, ROUTE, TAPED, exact_length_m

RING = "ring_terminal"
SPLICE = "splice"
AT_SOURCE, AT_HOLDER, AT_LOAD, AT_GROUND = "source", "holder", "load", "ground"
_BUILT_IN = "built_in"
_NOTHING = Decimal(0)
# Shops make circuits off in the same few ways; each takes some 1 kB, unless it has many loads.
_GREATEST_KNOWN_ENDS = 512
_MOST_LOADS_KEPT = 16


class End(NamedTuple):
    """One end of a conductor: what it is made off with, in words where, and at which place.

    ``part`` is the kind of part that makes it off.
    """

    connection: str
    words: str
    place: str
    positive: bool
    part: str


@dataclass(frozen=True, slots=True)
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


class MakingOff(NamedTuple):
    """What decides the ends of a circuit, beside what a conductor ends in at the fuse holder.

    Parameters
    ----------
    source_end, load_end, stud
        What a conductor ends in at the feeding point, at the load and at the chassis; ``stud`` is
        empty where the return goes back.
    joining
        How splices are made.
    loads
        How many the circuit feeds, at least 1.
    from_source
        Whether a source feeds it, and not a block.
    holder_at_source
        Whether the holder is bolted to the source, with no conductor before it.
    to_block
        Whether it ends in a block, which has a cover.
    """

    source_end: str
    load_end: str
    stud: str
    joining: str
    loads: int
    from_source: bool
    holder_at_source: bool
    to_block: bool

    @property
    def feed_pieces(self) -> int:
        """Pieces that the feed is cut into: the fuse holder parts it."""
        return 2 if self.from_source and not self.holder_at_source else 1


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
        #: Whether the holder is bolted to the source, with no conductor before it.
        self.holder_at_source = self.from_source and circuit.distance_from_source_m == 0.0
        self.making_off = MakingOff(
            circuit.source_end,
            circuit.load_end,
            circuit.return_path.stud if self.by_chassis else "",
            circuit.joining,
            max(1, sum([item.quantity for item in job.equipment_on(circuit.key)])),
            self.from_source,
            self.holder_at_source,
            self.to_block,
        )
        self.feed_pieces = self.making_off.feed_pieces
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

    def ends(self, holder_connection: str) -> CircuitEnds:
        """Return the ends of the circuit, for what a conductor ends in at the fuse holder."""
        is_kept = self.making_off.loads <= _MOST_LOADS_KEPT
        find = _known_ends if is_kept else _circuit_ends
        return find(self.making_off, holder_connection)


def _circuit_ends(making_off: MakingOff, holder_connection: str) -> CircuitEnds:
    ends = _every_end(making_off, holder_connection)
    splices = sum([end.part == SPLICE for end in ends])
    rings = [end for end in ends if end.part == RING]
    soldered = splices if making_off.joining == SOLDER else 0
    # A block has a cover.
    open_places = {AT_SOURCE: making_off.from_source, AT_LOAD: not making_off.to_block}
    at_source = sum([end.place == AT_SOURCE for end in rings])
    return CircuitEnds(
        ends=ends,
        terminals=_alike([end for end in ends if end.part != SPLICE or not soldered]),
        booted=_alike([end for end in rings if end.positive and open_places.get(end.place)]),
        crimped=len(rings) + splices - soldered,
        solder_joints=soldered,
        source_contacts=at_source if making_off.from_source else 0,
        ground_contacts=sum([end.place == AT_GROUND for end in rings]),
    )


_known_ends = lru_cache(maxsize=_GREATEST_KNOWN_ENDS)(_circuit_ends)


def _every_end(making_off: MakingOff, holder_connection: str) -> tuple[End, ...]:
    source_end, load_end, count = making_off.source_end, making_off.load_end, making_off.loads
    loads = "the load" if count == 1 else "the loads"
    ends: list[End] = []
    if not making_off.holder_at_source:
        ends.append(_end(source_end, "at the feeding point", AT_SOURCE, positive=True))
    if making_off.feed_pieces > 1:
        ends.append(_end(holder_connection, "into the fuse holder", AT_HOLDER, positive=True))
    ends.append(_end(holder_connection, "out of the fuse holder", AT_HOLDER, positive=True))
    ends += [_end(load_end, f"at {loads}", AT_LOAD, positive=True)] * count
    if making_off.stud:
        ends.append(_end(making_off.stud, "at the ground point", AT_GROUND, positive=False))
    else:
        words = "of the return, at the feeding point"
        ends.append(_end(source_end, words, AT_SOURCE, positive=False))
    ends += [_end(load_end, f"of the return, at {loads}", AT_LOAD, positive=False)] * count
    return tuple([end for end in ends if end.connection not in (BARE_END, _BUILT_IN)])


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
