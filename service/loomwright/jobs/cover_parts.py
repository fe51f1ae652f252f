"""Parts along a circuit's route: grommets, loom, cloth tape and ties."""

from collections.abc import Iterator
from decimal import Decimal
from functools import partial

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.circuit_lengths import Run
from loomwright.jobs.part_texts import metres_text
from loomwright.pricing.kinds import Attribute
from loomwright.pricing.requirements import ALONG_TAPE, Measured, Requirement


def grommets(build: CircuitBuild) -> Iterator[Requirement]:
    """Yield the grommets of the panels that a circuit passes."""
    bundle_mm, crossings = build.bundle.bundle_mm, build.layout.crossings
    if crossings:
        cable: dict[str, Attribute] = {"cable_diameter_mm": bundle_mm}
        reason = f"{crossings} x a panel passed by a bundle of {bundle_mm} mm"
        yield build.needs("grommet", cable, crossings, "EA", reason, "grommet")


def loom(build: CircuitBuild) -> Iterator[Requirement]:
    """Yield the loom of a circuit, if it has any."""
    if build.layout.loomed_m:
        run, bundle = build.lengths.loom, build.bundle
        reason = f"{run.words} a bundle of {bundle.bundle_mm} mm + {build.texts.loom_room} room"
        yield build.measured("split_loom", bundle.loom_needed, run, "MTR", reason, "split_loom")


def run_tape(build: CircuitBuild) -> Iterator[Requirement]:
    """Yield the cloth tape along what is wrapped instead of loomed, if anything is."""
    taped_m, bundle = build.layout.taped_m, build.bundle
    if taped_m:
        wrapped = partial(build.rules.tape_length_m, diameter_m=bundle.diameter_m)
        words = _wrapping(build, "run without loom", taped_m, bundle.bundle_mm)
        run = Run(Measured(ALONG_TAPE, wrapped), wrapped(taped_m), words)
        tape: dict[str, Attribute] = {"tape_width_mm": build.texts.tape_width_mm}
        yield build.measured("cloth_tape", tape, run, "MTR", run.words, "cloth_tape_run")


def loom_end_tape(build: CircuitBuild) -> Iterator[Requirement]:
    """Yield the cloth tape over the ends of each piece of loom, if there is any."""
    rules, bundle, count = build.rules, build.bundle, 2 * build.layout.loom_stretches
    covered_m = count * rules.tape_per_loom_end_m
    if covered_m:
        what = f"{count} ends of loom, {build.texts.tape_per_loom_end} each"
        reason = _wrapping(build, what, covered_m, bundle.over_loom_mm)
        tape: dict[str, Attribute] = {"tape_width_mm": build.texts.tape_width_mm}
        length_m = rules.tape_length_m(covered_m, bundle.over_loom_m)
        yield build.needs("cloth_tape", tape, length_m, "MTR", reason, "cloth_tape_loom_end")


def ties(build: CircuitBuild) -> Requirement:
    """Return the ties along the route of a circuit."""
    bundle, run = build.bundle, build.lengths.ties
    around_mm = bundle.bundle_mm
    if build.layout.loomed_m and bundle.over_loom_m > bundle.diameter_m:
        around_mm = bundle.over_loom_mm
    needed: dict[str, Attribute] = {"bundle_diameter_mm": around_mm}
    reason = f"{run.words}, around {around_mm} mm"
    return build.measured("cable_tie", needed, run, "EA", reason, "cable_tie")


def _wrapping(build: CircuitBuild, what: str, covered_m: Decimal, diameter_mm: Decimal) -> str:
    turns = build.texts.tape_turns
    return f"{what}: pi x {diameter_mm} mm x {metres_text(covered_m)} / {turns}"
