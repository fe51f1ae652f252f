"""Parts along a circuit's route: grommets, loom, cloth tape and ties."""

from collections.abc import Iterator
from functools import partial

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.part_texts import metres_text
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.requirements import (
    LOOMED,
    ROUTE,
    TAPED,
    Measured,
    Requirement,
    Stretch,
)


def cover_parts(build: CircuitBuild) -> Iterator[Requirement]:
    """Yield the parts along a circuit's route.

    Parameters
    ----------
    build
        The circuit as it is built.

    Yields
    ------
    Requirement
        Grommets, loom, cloth tape, ties.
    """
    bundle_mm, crossings = build.bundle.bundle_mm, build.layout.crossings
    if crossings:
        cable: dict[str, Attribute] = {"cable_diameter_mm": bundle_mm}
        reason = f"{crossings} x a panel passed by a bundle of {bundle_mm} mm"
        yield build.needs("grommet", cable, crossings, "EA", reason, "grommet")
    if build.layout.loomed_m:
        yield _loom(build)
    yield from _tape(build)
    yield _ties(build)


def _loom(build: CircuitBuild) -> Requirement:
    loomed_m, texts = build.layout.loomed_m, build.texts
    reason = (
        f"covers {metres_text(loomed_m)} + {texts.loom_waste} of"
        f" a bundle of {build.bundle.bundle_mm} mm + {texts.loom_room} room"
    )
    rule = build.rules.loom_length_m
    measured = Measured(Stretch(LOOMED), rule)
    needed = build.bundle.loom_needed
    return build.needs("split_loom", needed, rule(loomed_m), "MTR", reason, "split_loom", measured)


def _tape(build: CircuitBuild) -> Iterator[Requirement]:
    rules, texts, bundle = build.rules, build.texts, build.bundle
    loom_ends = 2 * build.layout.loom_stretches
    tape: dict[str, Attribute] = {"tape_width_mm": texts.tape_width_mm}
    for covered_m, stretch, diameter_m, diameter_mm, words, rule in (
        (
            build.layout.taped_m,
            Stretch(TAPED),
            bundle.diameter_m,
            bundle.bundle_mm,
            "run without loom",
            "cloth_tape_run",
        ),
        (
            loom_ends * rules.tape_per_loom_end_m,
            None,
            bundle.over_loom_m,
            bundle.over_loom_mm,
            f"{loom_ends} ends of loom, {texts.tape_per_loom_end} each",
            "cloth_tape_loom_end",
        ),
    ):
        if covered_m:
            reason = (
                f"{words}: pi x {diameter_mm} mm x {metres_text(covered_m)} / {texts.tape_turns}"
            )
            wrapped = partial(rules.tape_length_m, diameter_m=diameter_m)
            measured = None if stretch is None else Measured(stretch, wrapped)
            length_m = wrapped(covered_m)
            yield build.needs("cloth_tape", tape, length_m, "MTR", reason, rule, measured)


def _ties(build: CircuitBuild) -> Requirement:
    layout, bundle = build.layout, build.bundle
    around_mm = bundle.bundle_mm
    if layout.loomed_m and bundle.over_loom_m > bundle.diameter_m:
        around_mm = bundle.over_loom_mm
    reason = (
        f"one and one every {build.texts.tie_spacing} along"
        f" {metres_text(layout.route_m)}, around {around_mm} mm"
    )
    needed: dict[str, Attribute] = {"bundle_diameter_mm": around_mm}
    rule = build.rules.tie_count
    measured = Measured(Stretch(ROUTE), rule)
    count = rule(layout.route_m)
    return build.needs("cable_tie", needed, count, "EA", reason, "cable_tie", measured)
