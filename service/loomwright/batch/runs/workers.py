"""Who works partitions out: this process, or worker processes of this machine."""

import multiprocessing
import os
import signal
import threading
import traceback
from collections import Counter, deque
from collections.abc import Generator, Iterable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import Protocol, Self

from loomwright.batch.runs.partition import (
    Partition,
    Progress,
    Work,
    forget,
    keep,
    priced_partition,
)
from loomwright.batch.runs.run_error import RunError

# A partition that ended a process as many times will end the next one, too.
MOST_DEATHS = 3
_END_S = 5.0

# With another start a process would share what the first one has open, and its locks.
_SPAWN = multiprocessing.get_context("spawn")


class Workers(Protocol):
    """Work partitions out, each as ``priced_partition`` does, between entry and exit."""

    def __enter__(self) -> Self:
        """Make ready."""

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End everything that was started, whatever the reason."""

    def results(
        self, partitions: Iterable[Partition]
    ) -> Generator[tuple[Partition, bytes], None, None]:
        """Yield each partition with its finished file, in any order."""


class ThisProcess:
    """Works partitions out one after the other, here.

    Parameters
    ----------
    work
        What they are of.
    progress
        Called with the number of rows each time that some are worked out.
    """

    def __init__(self, work: Work, progress: Progress) -> None:
        self._work = work
        self._progress = progress

    def __enter__(self) -> Self:
        """Let this process know the work."""
        keep(self._work)
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of it."""
        forget(self._work.name)

    def results(
        self, partitions: Iterable[Partition]
    ) -> Generator[tuple[Partition, bytes], None, None]:
        """Yield each partition with its finished file, in order."""
        for partition in partitions:
            yield partition, priced_partition(self._work.name, partition, self._progress)


class WorkerProcesses:
    """Works partitions out in processes of this machine.

    A process that dies is replaced, and what it was at goes to another one.

    Parameters
    ----------
    work
        What the partitions are of.
    count
        Processes, at least 1.
    """

    def __init__(self, work: Work, count: int) -> None:
        self._work = work.packed()
        self._count = count
        self._processes: dict[Connection, BaseProcess] = {}

    def __enter__(self) -> Self:
        """Start nothing yet; the first partitions do."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the processes at once: what they are at is not finished, and is not needed."""
        for process in self._processes.values():
            process.kill()
        for connection, process in self._processes.items():
            process.join(_END_S)
            connection.close()
        self._processes.clear()

    def results(
        self, partitions: Iterable[Partition]
    ) -> Generator[tuple[Partition, bytes], None, None]:
        """Yield each partition with its finished file, as they are finished.

        Parameters
        ----------
        partitions
            The partitions; no more of them are taken than there are processes.

        Yields
        ------
        tuple[Partition, bytes]
            Partition and file.

        Raises
        ------
        RunError
            A partition ends process after process, or cannot be worked out.
        """
        coming, again = iter(partitions), deque[Partition]()
        under_way: dict[Connection, Partition] = {}
        deaths: Counter[int] = Counter()
        self._hand_out(coming, again, under_way)
        while under_way:
            for connection in wait(list(under_way)):
                assert isinstance(connection, Connection)
                partition = under_way.pop(connection)
                content = self._answer(connection)
                if content is None:
                    deaths[partition.number] += 1
                    self._bury(connection, partition, deaths[partition.number])
                    again.append(partition)
                else:
                    # The process goes on while its file is written.
                    self._hand_out(coming, again, under_way)
                    yield partition, content
            self._hand_out(coming, again, under_way)

    def _hand_out(
        self,
        coming: Iterator[Partition],
        again: deque[Partition],
        under_way: dict[Connection, Partition],
    ) -> None:
        while len(under_way) < self._count:
            wanted = again.popleft() if again else next(coming, None)
            if wanted is None:
                break
            under_way[self._given(wanted, under_way)] = wanted

    def _given(self, partition: Partition, under_way: Iterable[Connection]) -> Connection:
        """Return the connection of an idle process that was given the partition."""
        busy = set(under_way)
        for connection in [each for each in self._processes if each not in busy]:
            try:
                connection.send(partition)
            except OSError:
                self._bury(connection, partition, 0)
            else:
                return connection
        connection = self._started()
        connection.send(partition)
        return connection

    def _started(self) -> Connection:
        ours, theirs = _SPAWN.Pipe()
        process = _SPAWN.Process(target=_serve, args=(theirs, self._work), daemon=True)
        with deaf_to_ctrl_c():
            process.start()
        # Only the process may have its end open, or its death would not close it.
        theirs.close()
        self._processes[ours] = process
        return ours

    @staticmethod
    def _answer(connection: Connection) -> bytes | None:
        try:
            failure: str | None = connection.recv()
            if failure is None:
                return connection.recv_bytes()
        except (EOFError, OSError):
            return None
        raise RunError(failure)

    def _bury(self, connection: Connection, partition: Partition, deaths: int) -> None:
        process = self._processes.pop(connection)
        connection.close()
        process.join(_END_S)
        if deaths >= MOST_DEATHS:
            raise RunError(
                f"Partition {partition.number} ended {deaths} worker processes one after the "
                f"other, the last with exit code {process.exitcode}; perhaps memory is short."
            )


@contextmanager
def deaf_to_ctrl_c() -> Iterator[None]:
    """Let threads that are started meanwhile, and their processes, never hear of Ctrl-C.

    It reaches the whole group of processes, workers that are just started again included; what it
    means is for this thread to decide, which hears of it as soon as the others are there.
    """
    # Whichever thread starts the tracker hears of Ctrl-C again after that; so it is started before.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(connection: Connection, work: Work) -> None:
    """Answer partitions until nobody asks any more."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    keep(work)
    with suppress(EOFError, OSError):
        while True:
            partition: Partition = connection.recv()
            try:
                content = priced_partition(work.name, partition)
            except Exception as error:
                # All of it goes to whoever started the run; nobody sees a worker's own output.
                told = traceback.format_exception_only(error)[-1].strip()
                connection.send(f"Partition {partition.number} failed: {told}")
            else:
                connection.send(None)
                connection.send_bytes(content)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)
