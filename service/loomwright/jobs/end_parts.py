"""Parts at the ends of a circuit's conductors: terminals, joints, markers, boots, ground point."""

from collections.abc import Iterator
from decimal import Decimal

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.circuit_layout import RING
from loomwright.jobs.part_texts import plain_text
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.requirements import Requirement


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


def _terminals(build: CircuitBuild) -> Iterator[Requirement]:
    size: dict[str, Attribute] = {"series": build.conductor.series, "size": build.conductor.key}
    for end, count in build.made_off.terminals:
        needed = {**size, "stud": end.connection} if end.part == RING else size
        reason = f"{count} {end.words}"
        yield build.needs(end.part, needed, count, "EA", reason, "conductor_end")


def _heat_shrink(build: CircuitBuild) -> Iterator[Requirement]:
    rules, texts, ends = build.rules, build.texts, build.made_off
    for count, each_m, each_text, words, rule in (
        (
            ends.crimped,
            rules.heat_shrink_per_end_m,
            texts.heat_shrink_per_end,
            "crimped ends",
            "heat_shrink",
        ),
        (
            ends.solder_joints,
            rules.heat_shrink_per_solder_joint_m,
            texts.heat_shrink_per_solder_joint,
            "soldered joints",
            "heat_shrink_over_solder",
        ),
    ):
        if count and each_m:
            reason = f"{each_text} over each of {count} {words}"
            needed = build.bundle.tube_needed
            yield build.needs("heat_shrink", needed, count * each_m, "MTR", reason, rule)


def _solder(build: CircuitBuild) -> Iterator[Requirement]:
    count, cross_section_mm2 = build.solder_joints, build.bundle.cross_section_mm2
    each_g = build.rules.solder_g(cross_section_mm2)
    if count and each_g:
        reason = (
            f"{count} joints of {plain_text(cross_section_mm2)} mm2 x {build.texts.solder_per_mm2}"
        )
        yield build.needs("solder", {"flux": "rosin"}, count * each_g, "GRM", reason, "solder")


def _markers(build: CircuitBuild) -> Iterator[Requirement]:
    each, conductors = build.rules.markers_per_end, build.layout.conductors
    if each:
        needed: dict[str, Attribute] = {"cable_diameter_mm": build.bundle.diameter_mm}
        reason = f"{build.texts.markers_per_end} at both ends of each of {conductors} conductors"
        count = each * (2 * conductors)
        yield build.needs("cable_marker", needed, count, "EA", reason, "cable_marker")


def _boots(build: CircuitBuild) -> Iterator[Requirement]:
    each = build.rules.boots_per_stud
    if not each:
        return
    for end, count in build.made_off.booted:
        needed: dict[str, Attribute] = {
            "stud": end.connection,
            "cable_diameter_mm": build.bundle.diameter_mm,
        }
        boots = each * count
        reason = f"{plain_text(boots)} over the positive stud {end.words}"
        yield build.needs("terminal_boot", needed, boots, "EA", reason, "terminal_boot")


def _ground_point(build: CircuitBuild) -> Iterator[Requirement]:
    if build.by_chassis:
        stud: dict[str, Attribute] = {"stud": build.circuit.return_path.stud}
        reason = "fixes the ground lead to bare metal"
        yield build.needs("ground_hardware", stud, 1, "SET", reason, "ground_hardware")
    each_g = build.rules.paste_per_contact_g
    count = build.source_contacts + build.ground_contacts
    if count and each_g:
        reason = (
            f"{build.texts.paste_per_contact} on each of {count} bolted contacts to source or"
            " ground"
        )
        needed: dict[str, Attribute] = {"use": "bolted contacts"}
        yield build.needs(
            "contact_paste", needed, Decimal(count) * each_g, "GRM", reason, "contact_paste"
        )
