"""Parts at the ends of a circuit's conductors: terminals, joints, markers, boots, ground point."""

from collections import Counter
from collections.abc import Iterator
from decimal import Decimal

from loomwright.jobs.circuit_build import (
    AT_LOAD,
    AT_SOURCE,
    RING,
    SPLICE,
    CircuitBuild,
    End,
    metres_text,
    millimetres,
    plain_text,
)
from loomwright.jobs.job import SOLDER
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.requirements import Requirement

# A tube slides over the crimped barrel and still grips the insulation; common practice, no source.
_TUBE_OVER = 1.2
_TUBE_GRIP = 0.8


def end_parts(build: CircuitBuild) -> Iterator[Requirement]:
    """Yield the parts at the ends of a circuit's conductors.

    Parameters
    ----------
    build
        The circuit as it is built.

    Yields
    ------
    Requirement
        Terminals and splices, heat shrink, solder, markers, boots, ground hardware, paste.
    """
    yield from _terminals(build)
    yield from _heat_shrink(build)
    yield from _solder(build)
    yield from _markers(build)
    yield from _boots(build)
    yield from _ground_point(build)


def _is_soldered(build: CircuitBuild, end: End) -> bool:
    return end.part == SPLICE and build.circuit.joining == SOLDER


def _terminals(build: CircuitBuild) -> Iterator[Requirement]:
    size: dict[str, Attribute] = {"series": build.conductor.series, "size": build.conductor.key}
    for end, count in Counter(build.ends).items():
        if not _is_soldered(build, end):
            stud = {"stud": end.connection} if end.part == RING else {}
            reason = f"{count} {end.words}"
            yield build.needs(end.part, {**size, **stud}, count, "EA", reason, "conductor_end")


def _heat_shrink(build: CircuitBuild) -> Iterator[Requirement]:
    diameter_m = build.conductor.outside_diameter_m
    tube: dict[str, Attribute] = {
        "slides_over_mm": millimetres(diameter_m * _TUBE_OVER),
        "grips_mm": millimetres(diameter_m * _TUBE_GRIP),
    }
    rules, soldered = build.rules, build.solder_joints
    crimped = sum(end.part in (RING, SPLICE) for end in build.ends) - soldered
    for count, each_m, words, rule in (
        (crimped, rules.heat_shrink_per_end_m, "crimped ends", "heat_shrink"),
        (
            soldered,
            rules.heat_shrink_per_solder_joint_m,
            "soldered joints",
            "heat_shrink_over_solder",
        ),
    ):
        if count and each_m:
            reason = f"{metres_text(each_m)} over each of {count} {words}"
            yield build.needs("heat_shrink", tube, count * each_m, "MTR", reason, rule)


def _solder(build: CircuitBuild) -> Iterator[Requirement]:
    count, rules = build.solder_joints, build.rules
    each_g = rules.solder_g(build.cross_section_mm2)
    if count and each_g:
        reason = (
            f"{count} joints of {plain_text(build.cross_section_mm2)} mm2"
            f" x {plain_text(rules.solder_g_per_mm2)} g"
        )
        yield build.needs("solder", {"flux": "rosin"}, count * each_g, "GRM", reason, "solder")


def _markers(build: CircuitBuild) -> Iterator[Requirement]:
    each, ends = build.rules.markers_per_end, 2 * build.conductors
    if each:
        needed: dict[str, Attribute] = {"cable_diameter_mm": build.diameter_mm}
        reason = f"{plain_text(each)} at both ends of each of {build.conductors} conductors"
        yield build.needs("cable_marker", needed, each * ends, "EA", reason, "cable_marker")


def _boots(build: CircuitBuild) -> Iterator[Requirement]:
    each = build.rules.boots_per_stud
    bare = [end for end in build.ends if end.positive and end.part == RING]
    open_places = {
        AT_SOURCE: build.from_source,
        # A block has a cover.
        AT_LOAD: not build.to_block,
    }
    counted = Counter(end for end in bare if open_places.get(end.place))
    for end, count in counted.items():
        if each:
            needed: dict[str, Attribute] = {
                "stud": end.connection,
                "cable_diameter_mm": build.diameter_mm,
            }
            reason = f"{plain_text(each * count)} over the positive stud {end.words}"
            yield build.needs("terminal_boot", needed, each * count, "EA", reason, "terminal_boot")


def _ground_point(build: CircuitBuild) -> Iterator[Requirement]:
    if build.by_chassis:
        stud: dict[str, Attribute] = {"stud": build.circuit.return_path.stud}
        reason = "fixes the ground lead to bare metal"
        yield build.needs("ground_hardware", stud, 1, "SET", reason, "ground_hardware")
    each_g = build.rules.paste_per_contact_g
    count = build.source_contacts + build.ground_contacts
    if count and each_g:
        reason = f"{plain_text(each_g)} g on each of {count} bolted contacts to source or ground"
        needed: dict[str, Attribute] = {"use": "bolted contacts"}
        yield build.needs(
            "contact_paste", needed, Decimal(count) * each_g, "GRM", reason, "contact_paste"
        )
