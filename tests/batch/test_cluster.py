"""Runs on a cluster: the rows of a run without one, whatever dies, and nothing beyond the loopback.

Scheduler and workers are real ones of Dask, as their own command lines start them.
"""

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from distributed.comm.core import CommClosedError

from batch_commands import (
    children,
    finished_parts,
    has_finished,
    members,
    process_of_its_own,
    running,
    wait_until,
)
from batch_inputs import write_inputs
from loomwright.batch.runs.cluster import ClusterWorkers
from loomwright.batch.runs.run_error import RunError
from loomwright.cli import main

PACKAGES, VEHICLES = 3, 40
LISTENING = "0A"


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The command for some hundred pairs, each a partition, without its output."""
    words = write_inputs(tmp_path_factory.mktemp("inputs"), PACKAGES, VEHICLES)
    return ["price-packages", *words, "--partition-pairs", "1"]


@pytest.fixture(scope="module")
def undisturbed(inputs: list[str], tmp_path_factory: pytest.TempPathFactory) -> pa.Table:
    """The rows of a run without a cluster."""
    out = tmp_path_factory.mktemp("undisturbed") / "quotes.parquet"
    assert main([*inputs, "--out", str(out)]) == 0
    return pq.read_table(out)


def python(*words: str) -> list[str]:
    """A Python program as the words of a command."""
    return [sys.executable, *words]


@contextmanager
def scheduler(folder: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """A scheduler on the loopback, its address and its process."""
    log = folder / "scheduler.log"
    words = python("-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0")
    words += ["--dashboard-address", "127.0.0.1:0", "--no-dashboard"]
    with process_of_its_own(words, log) as process:
        address = partial(re.search, r"Scheduler at:\s+(tcp://127\.0\.0\.1:\d+)")
        wait_until(lambda: address(log.read_text("utf-8")) is not None, "an address")
        found = address(log.read_text("utf-8"))
        assert found is not None
        yield found[1], process


@contextmanager
def workers(address: str, count: int, folder: Path) -> Iterator[list[subprocess.Popen[str]]]:
    """Workers of a scheduler, which nothing starts again when they die."""
    with ExitStack() as stack:
        started = []
        for number in range(count):
            log = folder / f"worker-{number}.log"
            words = python("-m", "distributed.cli.dask_worker", address, "--no-nanny")
            words += ["--nthreads", "1", "--host", "127.0.0.1", "--no-dashboard"]
            words += ["--dashboard-address", "127.0.0.1:0", "--local-directory", str(folder)]
            started.append(stack.enter_context(process_of_its_own(words, log)))
        yield started


def test_workers_runs_and_the_scheduler_of_a_cluster_die_and_the_rows_are_the_same(
    inputs: list[str], undisturbed: pa.Table, tmp_path: Path
) -> None:
    with (
        scheduler(tmp_path) as (address, process_of_scheduler),
        workers(address, 2, tmp_path) as (first, second),
    ):
        out = tmp_path / "quotes.parquet"
        with running([*inputs, "--cluster", address, "--out", str(out)]) as process:
            wait_until(partial(has_finished, out, 30), "thirty parts")
            first.kill()
            page, told = process.communicate()
        assert process.returncode == 0, told
        assert "were finished before" not in page
        assert pq.read_table(out).equals(undisturbed)
        # What is left of the cluster serves the next run, which is stopped.
        folder = tmp_path / "quotes"
        words = [*inputs, "--cluster", address, "--out", str(folder)]
        with running(words) as process:
            wait_until(partial(has_finished, folder, 20), "twenty parts")
            os.killpg(process.pid, signal.SIGINT)
            page, told = process.communicate()
        assert (process.returncode, page) == (130, ""), told
        assert told.count("\n") == 1, told
        assert second.poll() is None
        # It goes on, until the scheduler itself dies.
        with running(words) as process:
            wait_until(partial(has_finished, folder, 60), "sixty parts")
            process_of_scheduler.kill()
            page, told = process.communicate()
    assert (process.returncode, page) == (2, ""), told
    going_on, gone = told.splitlines()
    assert "going on:" in going_on
    assert f"The scheduler at {address} is gone" in gone
    assert main([*inputs, "--out", str(folder)]) == 0
    assert pq.read_table(folder).equals(undisturbed)


def test_a_local_cluster_listens_on_the_loopback_outlives_a_worker_and_ends_at_ctrl_c(
    inputs: list[str], undisturbed: pa.Table, tmp_path: Path
) -> None:
    out = tmp_path / "quotes.parquet"
    words = [*inputs, "--cluster", "local", "--workers", "2", "--out", str(out)]
    with running(words) as process:
        wait_until(partial(has_finished, out, 10), "ten parts")
        addresses = listened_addresses(members(process.pid))
        os.kill(children(process.pid)[0], signal.SIGKILL)
        wait_until(partial(has_finished, out, finished_parts(out) + 40), "forty more parts")
        os.killpg(process.pid, signal.SIGINT)
        page, told = process.communicate()
        wait_until(lambda: not members(process.pid), "the end of its processes")
    assert addresses == {"127.0.0.1"}
    assert (process.returncode, page) == (130, ""), told
    assert told.count("\n") == 1, told
    with running(words) as process:
        page, told = process.communicate()
        wait_until(lambda: not members(process.pid), "the end of its processes")
    assert process.returncode == 0, told
    assert pq.read_table(out).equals(undisturbed)


def listened_addresses(pids: list[int]) -> set[str]:
    """The addresses at which processes listen."""
    nodes = set()
    for pid in pids:
        for entry in Path(f"/proc/{pid}/fd").iterdir():
            try:
                target = os.readlink(entry)
            except FileNotFoundError:
                continue
            if target.startswith("socket:["):
                nodes.add(target[len("socket:[") : -1])
    found = set()
    for name, family in (("tcp", socket.AF_INET), ("tcp6", socket.AF_INET6)):
        for line in Path(f"/proc/net/{name}").read_text("ascii").splitlines()[1:]:
            fields = line.split()
            if fields[3] == LISTENING and fields[9] in nodes:
                words = bytes.fromhex(fields[1].partition(":")[0])
                # Each four bytes are a number in the order of the machine.
                packed = b"".join(words[i : i + 4][::-1] for i in range(0, len(words), 4))
                found.add(socket.inet_ntop(family, packed))
    return found


@pytest.mark.parametrize(
    ("scheme", "reason"),
    [("tcp", "No scheduler answers at {address}"), ("tls", "{address} needs certificates")],
)
def test_an_address_that_is_of_no_use_is_told_in_one_line(
    inputs: list[str], tmp_path: Path, scheme: str, reason: str
) -> None:
    with socket.socket() as taken:
        # Bound and not listening: whoever connects is refused.
        taken.bind(("127.0.0.1", 0))
        address = f"{scheme}://127.0.0.1:{taken.getsockname()[1]}"
        out = tmp_path / "quotes.parquet"
        with running([*inputs, "--cluster", address, "--out", str(out)]) as process:
            page, told = process.communicate()
    assert (process.returncode, page) == (2, "")
    assert told.count("\n") == 1, told
    assert reason.format(address=address) in told


def test_a_way_to_the_scheduler_that_breaks_off_is_told_as_its_end() -> None:
    class Broken:
        status = "finished"

        def result(self) -> bytes:
            raise CommClosedError("Connection reset by peer")

    class OfNoPartition:
        def packed(self) -> None:
            return None

    workers = ClusterWorkers(OfNoPartition(), "tcp://127.0.0.1:8786", 1)  # type: ignore[arg-type]
    with pytest.raises(RunError, match=r"The scheduler at tcp://127\.0\.0\.1:8786 is gone"):
        workers._content(Broken(), None)  # type: ignore[arg-type]


def test_without_the_extra_the_command_says_what_to_install(
    inputs: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    monkeypatch.delitem(sys.modules, "loomwright.batch.runs.cluster", raising=False)
    words = [*inputs, "--cluster", "local", "--out", str(tmp_path / "quotes.parquet")]
    assert main(words) == 2
    assert capsys.readouterr().err == (
        "loomwright: --cluster needs distributed, which is not installed; it comes with the extra "
        "'cluster' of this package: pip install 'loomwright[cluster]'.\n"
    )


@pytest.mark.parametrize("module", ["loomwright.web.app", "loomwright.batch.runs.command"])
def test_neither_the_service_nor_the_command_alone_loads_the_cluster(module: str) -> None:
    # A library of units looks for Dask by itself; the scheduler and its workers are another thing.
    program = f"import sys, {module}; sys.exit('distributed' in sys.modules)"
    assert subprocess.run(python("-c", program), check=False).returncode == 0
