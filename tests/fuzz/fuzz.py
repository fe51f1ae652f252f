"""Fuzz one target, guided by coverage, and keep the inputs that reach what no other reaches.

    python tests/fuzz/fuzz.py TARGET SECONDS

Inputs that find something stay in the folder that is told at the end, and the status is not 0.
"""

import argparse
import os
import random
import subprocess
import sys
import tempfile
from pathlib import Path

import corpora

# Machine code is made of plain byte code only, so the core itself goes unmarked.
MARKED = ("web", "pricing", "batch/forms", "units.py", "decimal_comma.py", "jobs")
UNMARKED = ("jobs/circuit_fuses.py",)
# One input takes a plan of an installation at most, some 0.3 s on a machine that is busy.
LONGEST_S = 20
GREATEST_MIB = 3000
# Set in the process that fuzzes: which target.
TARGET = "FUZZ_TARGET"


def _unmarked() -> list[str]:
    """Return the modules that the fuzzer shall not follow."""
    package = Path(__file__).parents[2] / "service" / "loomwright"
    names = []
    for path in package.rglob("*.py"):
        place = path.relative_to(package)
        if str(place) in UNMARKED or not any(place.is_relative_to(each) for each in MARKED):
            parts = place.with_suffix("").parts
            names.append(".".join(("loomwright", *parts)).removesuffix(".__init__"))
    return [name for name in names if name != "loomwright"]


def fuzz(target: str, arguments: list[str]) -> None:
    """Run the fuzzer in this process, which ends with it."""
    import atheris  # noqa: PLC0415 - it marks what is imported behind it

    with atheris.instrument_imports(include=["loomwright"], exclude=_unmarked()):
        import fuzz_targets  # noqa: PLC0415
        from json_mutation import changed  # noqa: PLC0415

    # The service is made, and its first answers, before anything is measured.
    fuzz_targets.TARGETS[target](b"\0{}")
    tag = 0 if target == "quantities" else 1

    def mutated(data: bytes, most: int, seed: int) -> bytes:
        # Now one and now the other: the fuzzer's own changes break JSON, these never do.
        if random.Random(seed).random() < 0.5:
            found = data[:tag] + changed(data[tag:], seed)
            if found != data and len(found) <= most:
                return found
        return bytes(atheris.Mutate(data, most))

    # Processes that merge are started by this command, through a shell.
    again = f"{sys.executable} {__file__}"
    atheris.Setup([again, *arguments], fuzz_targets.TARGETS[target], custom_mutator=mutated)
    atheris.Fuzz()


def seeds(target: str) -> list[bytes]:
    """Return the kept inputs of a target, and those to begin with where none are kept."""
    if corpora.archive_of(target).exists():
        return [data for _, data in corpora.kept(target)]
    import seeds as made  # noqa: PLC0415 - loads the service

    return made.seeds_of(target)


def run(target: str, seconds: int) -> int:
    """Fuzz a target in processes of their own, then keep the least set of inputs."""
    folder = Path(tempfile.mkdtemp(prefix=f"fuzz-{target}-"))
    work = folder / "work"
    work.mkdir()
    for number, data in enumerate(seeds(target)):
        (work / f"seed-{number}").write_bytes(data)
    words = f"-dict={Path(__file__).parent / 'words.dict'}"
    code = inside(target, words, f"-max_total_time={seconds}", str(work), folder=folder)
    return max(code, keep_least(target, work))


def inside(target: str, *arguments: str, folder: Path) -> int:
    """Run the fuzzer in a process of its own, which starts others like it to merge."""
    limits = (f"-rss_limit_mb={GREATEST_MIB}", f"-timeout={LONGEST_S}")
    place = f"-artifact_prefix={folder}/found-"
    return subprocess.run(
        [sys.executable, __file__, *limits, place, *arguments],
        env={**os.environ, TARGET: target},
        check=False,
    ).returncode


def keep_least(target: str, work: Path) -> int:
    """Keep the fewest of the inputs in a folder that reach all that they reach together."""
    least = work.parent / "least"
    least.mkdir(exist_ok=True)
    code = inside(target, "-merge=1", str(least), str(work), folder=work.parent)
    count = corpora.keep(target, [each.read_bytes() for each in least.iterdir()])
    size = corpora.archive_of(target).stat().st_size
    # One that was slow once, as machine code was made or the machine was busy, is none.
    found = [each for each in work.parent.glob("found-*") if "slow-unit" not in each.name]
    print(f"{target}: {count} inputs kept in {size} bytes; {len(found)} found in {work.parent}")
    return max(code, int(bool(found)), int(not count))


def main() -> int:
    """Read the command line."""
    if TARGET in os.environ:
        fuzz(os.environ[TARGET], sys.argv[1:])
        return 0
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("target")
    parser.add_argument("seconds", type=int)
    stated = parser.parse_args()
    return run(stated.target, stated.seconds)


if __name__ == "__main__":
    sys.exit(main())
