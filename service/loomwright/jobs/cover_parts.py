"""Parts along a circuit's route: grommets, loom, cloth tape and ties."""

from collections.abc import Iterator
from decimal import Decimal

from loomwright.jobs.circuit_build import CircuitBuild, metres_text, millimetres, plain_text
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.requirements import Requirement


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
    bundle = millimetres(build.bundle_m)
    crossings = sum(segment.through_bulkhead for segment in build.circuit.route)
    if crossings:
        cable: dict[str, Attribute] = {"cable_diameter_mm": bundle}
        reason = f"{crossings} x a panel passed by a bundle of {bundle} mm"
        yield build.needs("grommet", cable, crossings, "EA", reason, "grommet")
    yield from _loom(build, bundle)
    yield from _tape(build)
    yield _ties(build)


def _loom(build: CircuitBuild, bundle: Decimal) -> Iterator[Requirement]:
    if build.loomed_m:
        rules = build.rules
        reason = (
            f"covers {metres_text(build.loomed_m)} + {plain_text(rules.loom_waste_percent)} % of"
            f" a bundle of {bundle} mm + {plain_text(rules.loom_room_percent)} % room"
        )
        length_m = rules.loom_length_m(build.loomed_m)
        yield build.needs("split_loom", build.loom_needed, length_m, "MTR", reason, "split_loom")


def _tape(build: CircuitBuild) -> Iterator[Requirement]:
    rules = build.rules
    loom_ends = 2 * build.loom_stretches
    each_m = rules.tape_per_loom_end_m
    tape: dict[str, Attribute] = {"tape_width_mm": millimetres(rules.tape_width_m)}
    for covered_m, diameter_m, words, rule in (
        (build.taped_m, build.bundle_m, "run without loom", "cloth_tape_run"),
        (
            loom_ends * each_m,
            build.over_loom_m,
            f"{loom_ends} ends of loom, {metres_text(each_m)} each",
            "cloth_tape_loom_end",
        ),
    ):
        if covered_m:
            reason = (
                f"{words}: pi x {millimetres(diameter_m)} mm x {metres_text(covered_m)}"
                f" / ({plain_text(rules.tape_width_m * 1000)} mm x"
                f" {plain_text(100 - rules.tape_overlap_percent)} %)"
                f" + {plain_text(rules.tape_waste_percent)} %"
            )
            length_m = rules.tape_length_m(covered_m, diameter_m)
            yield build.needs("cloth_tape", tape, length_m, "MTR", reason, rule)


def _ties(build: CircuitBuild) -> Requirement:
    rules = build.rules
    around_m = max(build.bundle_m, build.over_loom_m) if build.loomed_m else build.bundle_m
    around = millimetres(around_m)
    reason = (
        f"one and one every {metres_text(rules.tie_spacing_m)} along"
        f" {metres_text(build.route_m)}, around {around} mm"
    )
    needed: dict[str, Attribute] = {"bundle_diameter_mm": around}
    count = rules.tie_count(build.route_m)
    return build.needs("cable_tie", needed, count, "EA", reason, "cable_tie")
