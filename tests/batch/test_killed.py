"""Runs that are killed, stopped or lose a worker, and what the same command makes of them.

The outcome is compared with that of an undisturbed run, byte by byte of all its rows.
"""

import os
import shutil
import signal
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from batch_commands import children, finished_parts, has_finished, members, running, wait_until
from batch_inputs import write_inputs
from loomwright.cli import main

# Partitions of one pair: to finish one takes some time however fast the engine is.
PACKAGES, VEHICLES, SIZE = 3, 40, 1
PARTITIONS = PACKAGES * VEHICLES // SIZE


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The command for some hundred pairs, without its output."""
    folder = tmp_path_factory.mktemp("inputs")
    words = write_inputs(folder, PACKAGES, VEHICLES)
    return ["price-packages", *words, "--partition-pairs", str(SIZE)]


@pytest.fixture(scope="module")
def undisturbed(inputs: list[str], tmp_path_factory: pytest.TempPathFactory) -> pa.Table:
    """The rows of a run that nothing happens to."""
    out = tmp_path_factory.mktemp("undisturbed") / "quotes.parquet"
    assert main([*inputs, "--out", str(out)]) == 0
    return pq.read_table(out)


@pytest.mark.parametrize("parts", [0, PARTITIONS - 1])
def test_a_killed_run_goes_on_without_a_lost_or_doubled_row(
    inputs: list[str], undisturbed: pa.Table, tmp_path: Path, parts: int
) -> None:
    out = tmp_path / "quotes.parquet"
    words = [*inputs, "--out", str(out)]
    manifest = tmp_path / "quotes.parquet.parts" / "manifest.json"
    with running(words) as process:
        wait_until(lambda: manifest.exists() and finished_parts(out) >= parts, f"{parts} parts")
        process.kill()
        assert process.wait() == -signal.SIGKILL
    kept = finished_parts(out)
    assert parts <= kept
    assert main(words) == 0
    assert pq.read_table(out).equals(undisturbed)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["quotes.parquet"]


def test_a_run_that_is_killed_again_and_again_ends_all_the_same(
    inputs: list[str], undisturbed: pa.Table, tmp_path: Path
) -> None:
    out = tmp_path / "quotes"
    words = [*inputs, "--out", str(out)]
    for wanted in (20, 60, 100):
        with running(words) as process:
            wait_until(partial(has_finished, out, wanted), f"{wanted} parts")
            process.kill()
            process.wait()
    assert main(words) == 0
    assert pq.read_table(out).equals(undisturbed)


@pytest.mark.parametrize("name", ["quotes.parquet", "quotes.csv", "quotes"])
def test_a_run_that_is_killed_at_any_step_to_the_disk_goes_on(tmp_path: Path, name: str) -> None:
    # Three partitions have few steps, so that each of them can be the last one of a process.
    folder = tmp_path / "inputs"
    folder.mkdir()
    words = ["price-packages", *write_inputs(folder, 3, 2), "--partition-pairs", "2"]
    words += ["--out", str(tmp_path / name)]
    reference = tmp_path / "reference" / name
    reference.parent.mkdir()
    assert main([*words[:-1], str(reference)]) == 0
    step = 0
    while killed_at_step(words, step):
        assert main([*words, "--overwrite"] if (tmp_path / name).exists() else words) == 0
        assert contents(tmp_path / name) == contents(reference), step
        assert not (tmp_path / f"{name}.parts").exists(), step
        remove(tmp_path / name)
        step += 1
    # Manifest, partitions and ending: each is forced to the disk and renamed; and more around them.
    assert step > 5 * 2


def contents(path: Path) -> dict[str, bytes]:
    """The bytes of a file or of the files of a folder."""
    files = path.iterdir() if path.is_dir() else [path]
    return {file.name: file.read_bytes() for file in files}


def remove(path: Path) -> None:
    """Remove a file or folder."""
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink()


def killed_at_step(words: list[str], last: int) -> bool:
    """Run the command in a copy of this process that kills itself before a step to the disk."""
    child = os.fork()
    if child == 0:
        _count_down(last)
        os.close(1)
        main(words)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        assert os.WTERMSIG(status) == signal.SIGKILL
        return True
    assert os.WEXITSTATUS(status) == 0
    return False


def _count_down(last: int) -> None:
    left = [last]

    def counted(step: Callable[..., Any]) -> Callable[..., Any]:
        def stepped(*arguments: Any, **named: Any) -> Any:
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            left[0] -= 1
            return step(*arguments, **named)

        return stepped

    os.fsync = counted(os.fsync)
    for name in ("replace", "rename", "unlink", "touch", "mkdir"):
        setattr(Path, name, counted(getattr(Path, name)))
    shutil.rmtree = counted(shutil.rmtree)


@pytest.mark.parametrize(
    ("more", "number", "status"),
    [([], signal.SIGTERM, 143), (["--workers", "2"], signal.SIGINT, 130)],
    ids=["SIGTERM", "Ctrl-C with workers"],
)
def test_a_stopped_run_leaves_no_process_and_goes_on(
    inputs: list[str],
    undisturbed: pa.Table,
    tmp_path: Path,
    more: list[str],
    number: signal.Signals,
    status: int,
) -> None:
    out = tmp_path / "quotes.parquet"
    words = [*inputs, *more, "--out", str(out)]
    with running(words) as process:
        wait_until(lambda: finished_parts(out) >= 20, "twenty parts")
        # As a terminal does: to the whole group.
        os.killpg(process.pid, number)
        page, told = process.communicate()
        wait_until(lambda: not members(process.pid), "the end of its processes")
    assert process.returncode == status, told
    assert page == ""
    assert told.count("\n") == 1
    assert "finished partitions are kept" in told
    assert main([*inputs, "--out", str(out)]) == 0
    assert pq.read_table(out).equals(undisturbed)


def test_a_killed_worker_is_replaced_and_the_rows_are_the_same(
    inputs: list[str], undisturbed: pa.Table, tmp_path: Path
) -> None:
    out = tmp_path / "quotes.parquet"
    with running([*inputs, "--workers", "2", "--out", str(out)]) as process:
        wait_until(lambda: finished_parts(out) >= 20, "twenty parts")
        victim = children(process.pid)[0]
        os.kill(victim, signal.SIGKILL)
        page, told = process.communicate()
    assert process.returncode == 0, told
    assert told == ""
    assert "were finished before" not in page
    assert pq.read_table(out).equals(undisturbed)


def test_workers_end_when_the_run_that_started_them_is_killed(
    inputs: list[str], tmp_path: Path
) -> None:
    out = tmp_path / "quotes.parquet"
    with running([*inputs, "--workers", "2", "--out", str(out)]) as process:
        wait_until(lambda: finished_parts(out) >= 1, "a part")
        assert len(children(process.pid)) == 2
        process.kill()
        process.wait()
        wait_until(lambda: not members(process.pid), "the end of the workers")
