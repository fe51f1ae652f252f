"""The command of a batch as a process of its own, watched by the partitions that it finishes."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

PROGRAM = "import sys; from loomwright.cli import main; sys.exit(main())"
PATIENCE_S = 60.0


def wait_until(condition: Callable[[], bool], what: str) -> None:
    """Look until something is so, and fail if it never is."""
    end = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end, f"not within {PATIENCE_S} s: {what}"
        time.sleep(0.005)


def finished_parts(out: Path) -> int:
    """How many partitions of the run of an output are finished."""
    rows = out.with_name(out.name + ".parts") / "rows"
    return len(list(rows.glob("part-????????.parquet")))


def has_finished(out: Path, parts: int) -> bool:
    """Whether at least so many partitions are finished."""
    return finished_parts(out) >= parts


@contextmanager
def running(words: list[str]) -> Iterator[subprocess.Popen[str]]:
    """The command in a group of processes of its own, none of which is left at the end."""
    with process_of_its_own([sys.executable, "-c", PROGRAM, *words], None) as process:
        yield process


@contextmanager
def process_of_its_own(words: list[str], log: Path | None) -> Iterator[subprocess.Popen[str]]:
    """A process whose group is ended at the end, with what it says in a file or to be read."""
    with ExitStack() as stack:
        said = subprocess.PIPE if log is None else stack.enter_context(log.open("wb"))
        process = subprocess.Popen(
            words, stdout=said, stderr=said, text=True, start_new_session=True
        )
        try:
            yield process
        finally:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.communicate(timeout=PATIENCE_S)


def children(pid: int) -> list[int]:
    """The worker processes that a process started."""
    found = [each for each, (parent, _) in _living().items() if parent == pid]
    return [each for each in found if "spawn_main" in _command_line(each)]


def members(group: int) -> list[int]:
    """The processes of a group that still run."""
    return [each for each, (_, of_group) in _living().items() if of_group == group]


def _command_line(pid: int) -> str:
    """The words of a process, empty where it is gone."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_text("utf-8").replace("\0", " ")
    except (FileNotFoundError, ProcessLookupError):
        return ""


def _living() -> dict[int, tuple[int, int]]:
    """Parent and group of each process that has not ended."""
    found = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                text = (entry / "stat").read_text("utf-8")
            except (FileNotFoundError, ProcessLookupError):
                continue
            state, parent, group, *_ = text.rpartition(")")[2].split()
            if state not in "ZX":
                found[int(entry.name)] = int(parent), int(group)
    return found
