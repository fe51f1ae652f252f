"""Worker processes whose work cannot be done, or ends them."""

import pickle
import signal
from collections.abc import Callable
from typing import Any

import pytest

from loomwright.batch.runs.partition import Work, partitions
from loomwright.batch.runs.run_error import RunError
from loomwright.batch.runs.software import software
from loomwright.batch.runs.workers import WorkerProcesses


class Called:
    """Becomes a call in the process that reads it."""

    def __init__(self, function: Callable[..., Any], *arguments: Any) -> None:
        self._call = (function, arguments)

    def __reduce__(self) -> tuple[Callable[..., Any], tuple[Any, ...]]:
        return self._call


def outcome(called: Called) -> str:
    """What two partitions of a batch that becomes a call fail with."""
    work = Work("a work", pickle.dumps(called), software(), False)
    with WorkerProcesses(work, 1) as workers, pytest.raises(RunError) as failed:
        list(workers.results(partitions(2, 1, None)))
    return str(failed.value)


def test_a_partition_that_ends_every_process_ends_the_run() -> None:
    assert outcome(Called(signal.raise_signal, signal.SIGKILL)) == (
        "Partition 0 ended 3 worker processes one after the other, the last with exit code -9; "
        "perhaps memory is short."
    )


def test_an_error_of_a_worker_is_told_as_that_of_its_partition() -> None:
    told = outcome(Called(int, "no number"))
    assert told.startswith("Partition 0 failed: ValueError: invalid literal")


def test_a_worker_of_other_software_ends_the_run() -> None:
    work = Work("a work", b"", {**software(), "numpy": "1.0"}, False)
    with (
        WorkerProcesses(work, 1) as workers,
        pytest.raises(RunError, match=r"Partition 0 failed: .*numpy was 1\.0 and is"),
    ):
        list(workers.results(partitions(1, 1, None)))
