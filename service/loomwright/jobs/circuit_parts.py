"""Parts that one sized circuit needs, each with the rule and the reason that produced it."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from functools import partial

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.cover_parts import cover_parts
from loomwright.jobs.end_parts import end_parts
from loomwright.jobs.part_texts import exact_number, metres_text
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.requirements import (
    GROUND_LEAD,
    ROUTE,
    Measured,
    Requirement,
    Stretch,
    exact_length_m,
)


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
    return (
        _return_conductor(build),
        *_fuse_holder(build),
        *_distribution_blocks(build),
        *end_parts(build),
        *cover_parts(build),
    )


def _conductor_attributes(build: CircuitBuild, colour: str) -> dict[str, Attribute]:
    choice = build.circuit.conductor
    return {
        "series": build.conductor.series,
        "size": build.conductor.key,
        "material": choice.material,
        "insulation": choice.insulation,
        "colour": colour,
    }


def _cut(
    build: CircuitBuild, stretch: str, length_m: Decimal, pieces: int
) -> tuple[Measured, Decimal, str]:
    texts = build.texts
    how = (
        f"{metres_text(length_m)} + {texts.conductor_slack}"
        f" + {2 * pieces} x {texts.conductor_slack_per_end} for the ends"
    )
    rule = partial(build.rules.conductor_length_m, pieces=pieces)
    return Measured(Stretch(stretch), rule), rule(length_m), how


def _power_conductor(build: CircuitBuild, decision: str) -> Requirement:
    measured, cut_m, how = _cut(build, ROUTE, build.layout.route_m, build.feed_pieces)
    attributes = _conductor_attributes(build, build.circuit.conductor.colour)
    reason = f"feed of {how}; {build.conductor.key}: {decision}"
    return build.needs("conductor", attributes, cut_m, "MTR", reason, "power_conductor", measured)


def _return_conductor(build: CircuitBuild) -> Requirement:
    attributes = _conductor_attributes(build, build.circuit.conductor.return_colour)
    length_m, stretch, words, rule = build.layout.route_m, ROUTE, "return", "return_conductor"
    if build.by_chassis:
        length_m = exact_length_m(build.circuit.return_path.ground_lead_length_m)
        stretch, words, rule = GROUND_LEAD, "ground lead", "ground_lead"
    measured, cut_m, how = _cut(build, stretch, length_m, 1)
    reason = f"{words} of {how}; as thick as the feed"
    return build.needs("conductor", attributes, cut_m, "MTR", reason, rule, measured)


def _fuse(build: CircuitBuild, reason: str) -> Requirement:
    fuse: dict[str, Attribute] = {
        "fuse_type": build.fuse_type,
        "rating_a": build.exact_rating_a,
    }
    return build.needs("fuse", fuse, 1, "EA", reason, "fuse")


def _fuse_holder(build: CircuitBuild) -> Iterator[Requirement]:
    if not build.from_source:
        return
    distance = metres_text(exact_length_m(build.circuit.distance_from_source_m))
    reason = f"holds the fuse {distance} from the feeding point"
    yield build.needs("fuse_holder", build.holder_needed, 1, "EA", reason, "fuse_holder")
    yield from _labels(build, "fuse_holder", 1, "at the fuse holder", "fuse_label")


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
