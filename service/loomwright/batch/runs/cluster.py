"""Partitions on a cluster of the Dask distributed scheduler, local or at an address.

The only module that imports it; the command line loads it for ``--cluster`` alone. The batch goes
to the scheduler once, as a plugin for workers, and from there to each worker that is there or joins
later, so that no worker needs the files and any may die. Finished partitions come back to the one
process that commits them.
"""

import logging
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import suppress
from typing import Self

from distributed import (
    Client,
    Future,
    KilledWorker,
    LocalCluster,
    Security,
    Worker,
    WorkerPlugin,
    as_completed,
)
from distributed.comm.core import CommClosedError

from loomwright.batch.runs.partition import (
    Partition,
    Work,
    forget,
    keep,
    priced_partition,
)
from loomwright.batch.runs.run_error import RunError
from loomwright.batch.runs.workers import deaf_to_ctrl_c

LOCAL, _TLS = "local", "tls://"
_CONNECT_S, _JOIN_S, _CLOSE_S = 5.0, 60.0, 10.0
# Each worker has one partition under way and as many waiting, so that none waits for the next.
_AHEAD = 2


class _Known(WorkerPlugin):
    """Lets a worker know the work before it is given a partition of it."""

    def __init__(self, work: Work) -> None:
        self.name = _plugin_name(work)
        self._work = work

    def setup(self, worker: Worker) -> None:  # noqa: ARG002
        """Keep the work."""
        keep(self._work)

    def teardown(self, worker: Worker) -> None:  # noqa: ARG002
        """Let go of the work."""
        forget(self._work.name)


def _plugin_name(work: Work) -> str:
    return f"loomwright-{work.name}"


class ClusterWorkers:
    """Works partitions out on a cluster.

    Parameters
    ----------
    work
        What they are of.
    address
        ``local`` for a cluster of this machine that lasts as long as the run, else the address of
        a scheduler such as ``tcp://host:8786``.
    count
        Worker processes of a local cluster.
    """

    def __init__(self, work: Work, address: str, count: int) -> None:
        self._work = work.packed()
        self._address = address
        self._count = count
        self._cluster: LocalCluster | None = None
        self._client: Client | None = None

    def __enter__(self) -> Self:
        """Reach the scheduler and let its workers know the work.

        Returns
        -------
        ClusterWorkers
            Itself.

        Raises
        ------
        RunError
            No scheduler or no worker is there, or a worker cannot use what it is told.
        """
        try:
            self._reach()
        except BaseException:
            self.__exit__()
            raise
        return self

    def _reach(self) -> None:
        _silence()
        target: LocalCluster | str = self._address
        if self._address == LOCAL:
            with deaf_to_ctrl_c():
                target = self._cluster = _local_cluster(self._count)
        if self._address.startswith(_TLS) and not _has_certificates():
            raise RunError(
                f"{self._address} needs certificates: DASK_DISTRIBUTED__COMM__TLS__CA_FILE, "
                "DASK_DISTRIBUTED__COMM__TLS__CLIENT__CERT and ..__KEY name none."
            )
        try:
            self._client = Client(target, timeout=_CONNECT_S, set_as_default=False)
            self._client.wait_for_workers(1, timeout=_JOIN_S)
        except TimeoutError:
            raise RunError(f"No worker joined {self._address} within {_JOIN_S:g} s.") from None
        except (OSError, ValueError) as error:
            raise RunError(f"No scheduler answers at {self._address}: {error}") from None
        try:
            self._client.register_plugin(_Known(self._work))
        except Exception as error:
            # Whatever a worker without this package, or with another one, makes of the plugin.
            raise RunError(f"A worker cannot use what it is sent: {error}") from None

    def __exit__(self, *_: object) -> None:
        """Leave the scheduler as it was, or end it where it is of this run."""
        client, cluster = self._client, self._cluster
        self._client = self._cluster = None
        with suppress(Exception):
            if client is not None and cluster is None and client.status == "running":
                client.unregister_worker_plugin(_plugin_name(self._work))
        # What fails in closing fails for want of the other side, which is what closing is for.
        for each in (client, cluster):
            with suppress(Exception):
                if each is not None:
                    each.close(timeout=_CLOSE_S)

    def results(
        self, partitions: Iterable[Partition]
    ) -> Generator[tuple[Partition, bytes], None, None]:
        """Yield each partition with its finished file, as they are finished.

        Parameters
        ----------
        partitions
            The partitions; few more of them are taken than there are workers.

        Yields
        ------
        tuple[Partition, bytes]
            Partition and file.

        Raises
        ------
        RunError
            The scheduler is gone, or a partition cannot be worked out.
        """
        assert self._client is not None
        coming = iter(partitions)
        under_way: dict[Future[bytes], Partition] = {}
        finished = as_completed([], loop=self._client.loop, raise_errors=False)
        try:
            self._hand_out(coming, under_way, finished)
            while under_way:
                future = next(finished)
                partition = under_way.pop(future)
                content = self._content(future, partition)
                if content is None:
                    again = self._submitted(partition)
                    under_way[again] = partition
                    finished.add(again)
                # Let go of the result on the worker as soon as it is here.
                future.release()
                self._hand_out(coming, under_way, finished)
                if content is not None:
                    yield partition, content
        except (OSError, CancelledError):
            raise self._gone() from None
        finally:
            if under_way and self._client is not None and self._client.status == "running":
                self._client.cancel(list(under_way))

    def _hand_out(
        self,
        coming: Iterator[Partition],
        under_way: dict["Future[bytes]", Partition],
        finished: "as_completed",
    ) -> None:
        assert self._client is not None
        threads = sum(self._client.nthreads().values()) if self._is_connected() else 0
        while len(under_way) < max(1, _AHEAD * threads):
            partition = next(coming, None)
            if partition is None:
                return
            future = self._submitted(partition)
            under_way[future] = partition
            finished.add(future)

    def _submitted(self, partition: Partition) -> "Future[bytes]":
        assert self._client is not None
        self._check_connection()
        return self._client.submit(
            priced_partition, self._work.name, partition, pure=False, allow_other_workers=False
        )

    def _content(self, future: "Future[bytes]", partition: Partition) -> bytes | None:
        """Return the finished file, or none where the future was lost with what it depended on."""
        if future.status in ("cancelled", "lost"):
            self._check_connection()
            return None
        try:
            content: bytes = future.result()
        except KilledWorker as error:
            raise RunError(
                f"Partition {partition.number} ended one worker after the other; perhaps memory "
                f"is short. {error}"
            ) from None
        except CommClosedError:
            # The way to the scheduler broke off, of which the client may hear later only.
            raise self._gone() from None
        except Exception as error:
            # It comes from a worker and may be of any kind, or from the way to it.
            self._check_connection()
            raise RunError(
                f"Partition {partition.number} failed: {type(error).__name__}: {error}"
            ) from None
        return content

    def _is_connected(self) -> bool:
        return self._client is not None and self._client.status == "running"

    def _check_connection(self) -> None:
        if not self._is_connected():
            raise self._gone()

    def _gone(self) -> RunError:
        return RunError(
            f"The scheduler at {self._address} is gone; finished partitions are kept, the same "
            "command goes on."
        )


def _has_certificates() -> bool:
    return Security().get_connection_args("client")["ssl_context"] is not None


def _silence() -> None:
    """Leave it to the errors of a run to say what is wrong: each logger here has its own level."""
    for name in list(logging.root.manager.loggerDict):
        if name.partition(".")[0] in ("distributed", "tornado", "asyncio"):
            logging.getLogger(name).setLevel(logging.CRITICAL)


def _local_cluster(count: int) -> LocalCluster:
    # One thread each, as an engine works for one at a time; nothing listens beyond the loopback.
    return LocalCluster(
        n_workers=count,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
        scheduler_kwargs={"dashboard": False},
        silence_logs=logging.CRITICAL,
    )
