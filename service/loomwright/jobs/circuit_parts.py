"""Parts that one sized circuit needs, each with the rule and the reason that produced it."""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from loomwright.jobs.book_circuits import SteadyParts
from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.cover_parts import grommets, loom, loom_end_tape, run_tape, ties
from loomwright.jobs.end_parts import end_parts
from loomwright.jobs.part_texts import exact_number
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.requirements import Requirement


def circuit_parts(
    build: CircuitBuild, decision: str, fuse_reason: str, others: Sequence[Requirement]
) -> tuple[Requirement, ...]:
    """Return all parts of a circuit, in the order in which it is built.

    Parameters
    ----------
    build
        The circuit as it is built.
    decision
        Why its conductor is as thick as it is.
    fuse_reason
        Why its fuse has its rating.
    others
        From ``other_parts`` of the same build.

    Returns
    -------
    tuple of Requirement
        Conductors, fuse and holder, block, ends, ground point, cover.
    """
    back, *rest = others
    return _power_conductor(build, decision), back, _fuse(build, fuse_reason), *rest


def other_parts(build: CircuitBuild) -> tuple[Requirement, ...]:
    """Return the parts of a circuit without feed and fuse: they follow from what is built alone.

    Parameters
    ----------
    build
        The circuit as it is built.

    Returns
    -------
    tuple of Requirement
        Return conductor or ground lead, fuse holder, block, ends, ground point, cover.
    """
    steady = _steady_parts(build)
    return (
        _return_conductor(build),
        *_fuse_holder(build),
        *steady.labels,
        *_distribution_blocks(build),
        *steady.ends,
        *steady.grommets,
        *loom(build),
        *run_tape(build),
        *steady.loom_ends,
        ties(build),
    )


def _steady_parts(build: CircuitBuild) -> SteadyParts:
    """Return the parts that are the same objects in all jobs that build the circuit alike."""
    layout = build.layout
    key = (
        build.circuit.key,
        layout.making_off,
        build.holder_connection,
        build.conductor,
        layout.crossings,
        layout.loom_stretches,
    )
    known = build.known.steady.get(key)
    if known is None:
        labels = _labels(build, "fuse_holder", 1, "at the fuse holder", "fuse_label")
        made = SteadyParts(
            labels=tuple(labels) if build.from_source else (),
            ends=tuple(end_parts(build)),
            grommets=tuple(grommets(build)),
            loom_ends=tuple(loom_end_tape(build)),
        )
        known = build.known.steady.keep(key, made)
    return known


def _conductor_attributes(build: CircuitBuild, colour: str) -> dict[str, Attribute]:
    choice = build.circuit.conductor
    return {
        "series": build.conductor.series,
        "size": build.conductor.key,
        "material": choice.material,
        "insulation": choice.insulation,
        "colour": colour,
    }


def _power_conductor(build: CircuitBuild, decision: str) -> Requirement:
    attributes = _conductor_attributes(build, build.circuit.conductor.colour)
    cut = build.lengths.feed
    reason = f"feed of {cut.words}; {build.conductor.key}: {decision}"
    return build.measured("conductor", attributes, cut, "MTR", reason, "power_conductor")


def _return_conductor(build: CircuitBuild) -> Requirement:
    attributes = _conductor_attributes(build, build.circuit.conductor.return_colour)
    words, rule = "return", "return_conductor"
    if build.by_chassis:
        words, rule = "ground lead", "ground_lead"
    cut = build.lengths.back
    reason = f"{words} of {cut.words}; as thick as the feed"
    return build.measured("conductor", attributes, cut, "MTR", reason, rule)


def _fuse(build: CircuitBuild, reason: str) -> Requirement:
    fuse: dict[str, Attribute] = {
        "fuse_type": build.fuse_type,
        "rating_a": build.exact_rating_a,
    }
    return build.needs("fuse", fuse, 1, "EA", reason, "fuse")


def _fuse_holder(build: CircuitBuild) -> Iterator[Requirement]:
    if not build.from_source:
        return
    reason = f"holds the fuse {build.lengths.distance} from the feeding point"
    yield build.needs("fuse_holder", build.holder_needed, 1, "EA", reason, "fuse_holder")


def _distribution_blocks(build: CircuitBuild) -> Iterator[Requirement]:
    for fuse_type in dict.fromkeys(key for key, _ in build.branch_fuses):
        ratings = [rating for key, rating in build.branch_fuses if key == fuse_type]
        needed: dict[str, Attribute] = {
            "fuse_type": fuse_type,
            "ways": Decimal(len(ratings)),
            "current_a": build.exact_rating_a,
            "way_rating_a": exact_number(max(ratings)),
        }
        reason = f"splits the feed into fused branches: {len(ratings)}"
        yield build.needs("distribution_block", needed, 1, "EA", reason, "distribution_block")
        block = build.book.part_for("distribution_block", needed)
        ways = len(ratings) if block is None else int(Decimal(block.attributes["ways"]))
        words = f"at each of {ways} ways of the block, spare or not"
        yield from _labels(build, "distribution_block", ways, words, "way_label")


def _labels(
    build: CircuitBuild, place: str, count: int, words: str, rule: str
) -> Iterator[Requirement]:
    each = build.rules.labels_per_fuse
    if each:
        reason = f"{build.texts.labels_per_fuse} {words}"
        yield build.needs("fuse_label", {"place": place}, each * count, "EA", reason, rule)
