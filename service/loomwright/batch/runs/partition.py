"""A partition of a batch: a stretch of its pairs, worked out by one function wherever it runs.

The function is given no more than the name of its work and which pairs are wanted, and answers with
the finished bytes of a Parquet file. It reads and writes no file, so that a machine that shares
nothing with the others can run it, and running it twice gives the same bytes.
"""

import gc
import logging
import pickle  # of the run itself, see _read  # nosec B403
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from loomwright.batch.array_engine import engine_of
from loomwright.batch.engine import Batch, Engine, Pairs, batches
from loomwright.batch.forms.writing import summary_metadata
from loomwright.batch.guarded import GuardedEngine
from loomwright.batch.runs.software import differences, software
from loomwright.batch.summary import Summary
from loomwright.engineering.record import record

# Rows that are worked out together within a partition.
ROWS_AT_ONCE = 65_536
# Works whose batch a process keeps; a cluster may be asked by two clients at a time.
_KEPT = 2
COMPRESSION = "zstd"

Progress = Callable[[int], object]

_LOG = logging.getLogger(__name__)


@record
class Partition:
    """Pairs that follow each other in the order of all pairs, packages first.

    Parameters
    ----------
    number
        From 0.
    first
        Index of its first pair.
    count
        Pairs.
    pairs
        Which pairs they are, where pairs are listed; none where every package meets every vehicle.
    """

    number: int
    first: int
    count: int
    pairs: Pairs | None


class Work(NamedTuple):
    """What a process needs to know once to work out any partition of a batch.

    Parameters
    ----------
    name
        Unlike for unlike works: a digest of inputs and software.
    batch
        The batch, or the pickled batch once it is to go to another process.
    software
        What is to work it out, as ``software()`` names it.
    tabular
        Whether circuits are text in the rows, as CSV needs them, and not lists.
    """

    name: str
    batch: Batch | bytes
    software: Mapping[str, str]
    tabular: bool

    def packed(self) -> "Work":
        """Return the work with its batch pickled once for all processes that it goes to."""
        if isinstance(self.batch, bytes):
            return self
        # A copy of the book leaves behind what a used one remembers, which is not to be pickled.
        pricing = replace(self.batch.pricing, book=replace(self.batch.pricing.book))
        fresh = replace(self.batch, pricing=pricing)
        return self._replace(batch=pickle.dumps(fresh, pickle.HIGHEST_PROTOCOL))


class UnfitWorkerError(RuntimeError):
    """A process that does not know the work, or would work it out by other software."""


_works: dict[str, Work] = {}
_batches: dict[str, tuple[Batch, Engine]] = {}
# An engine keeps what it worked out for the next rows; two threads would tread on each other.
_one_at_a_time = threading.Lock()


def keep(work: Work) -> None:
    """Let this process know a work; its batch is read when the first partition is asked for."""
    _works.pop(work.name, None)
    _works[work.name] = work
    for name in list(_works)[:-_KEPT]:
        forget(name)


def forget(name: str) -> None:
    """Let go of a work and its batch."""
    _works.pop(name, None)
    _batches.pop(name, None)


def priced_partition(name: str, partition: Partition, progress: Progress | None = None) -> bytes:
    """Return the finished file of a partition.

    Parameters
    ----------
    name
        Name of a work that this process knows.
    partition
        The pairs.
    progress
        Called with the number of rows each time that some are worked out.

    Returns
    -------
    bytes
        A Parquet file of as many rows as the partition has pairs, in their order.

    Raises
    ------
    UnfitWorkerError
        The process does not know the work, or has other software than the one that asks.
    """
    with _one_at_a_time:
        batch, engine = _read(name)
        summary = Summary(batch.pricing.book.currency)
        tabular, chunks = _works[name].tabular, []
        for rows in batches(engine, batch, _pairs(partition, batch), ROWS_AT_ONCE):
            summary.add(rows)
            chunks.append(rows.tabular() if tabular else rows.nested())
            if progress is not None:
                progress(rows.flat.num_rows)
        return parquet_bytes(pa.Table.from_batches(chunks), summary)


def parquet_bytes(table: pa.Table, summary: Summary) -> bytes:
    """Return rows as a Parquet file of one row group, with their summary in its metadata."""
    sink = pa.BufferOutputStream()
    with pq.ParquetWriter(sink, table.schema, compression=COMPRESSION) as writer:
        writer.write_table(table, row_group_size=max(1, table.num_rows))
        writer.add_key_value_metadata(summary_metadata(summary))
    content: bytes = sink.getvalue().to_pybytes()
    return content


def _read(name: str) -> tuple[Batch, Engine]:
    if name not in _works:
        raise UnfitWorkerError("This process was not told what to work out.")
    if name not in _batches:
        work = _works[name]
        unlike = differences(work.software, software())
        if unlike:
            raise UnfitWorkerError(f"Other software than where the run started: {unlike[0]}.")
        # The bytes are this run's own, from the process that started this one.
        stated = work.batch
        batch: Batch = pickle.loads(stated) if isinstance(stated, bytes) else stated  # nosec B301
        _batches[name] = batch, GuardedEngine(engine_of(batch), batch, _log_failure)
        # Millions of objects that live as long as the run: walking them takes a third of its time.
        gc.collect()
        gc.freeze()
    return _batches[name]


def _log_failure(package: str, vehicle: str, error: Exception) -> None:
    """Log what becomes a row with ``internal_error``, unless it may be another row next time."""
    if isinstance(error, MemoryError):
        raise error
    _LOG.error("package %s for vehicle %s failed", package, vehicle, exc_info=error)


def _pairs(partition: Partition, batch: Batch) -> Pairs:
    if partition.pairs is not None:
        return partition.pairs
    index = np.arange(partition.first, partition.first + partition.count)
    packages, vehicles = np.divmod(index, len(batch.vehicles))
    return Pairs(packages, vehicles)


def partitions(total: int, size: int, pairs: Pairs | None) -> Iterator[Partition]:
    """Yield the partitions of a batch.

    Parameters
    ----------
    total
        Pairs of the batch.
    size
        Pairs of each partition; the last may have fewer.
    pairs
        Listed pairs, if any.

    Yields
    ------
    Partition
        In order, each pair in one of them.
    """
    for number, first in enumerate(range(0, total, size)):
        count = min(size, total - first)
        listed = None
        if pairs is not None:
            # Copies: a view would be sent with all that it is a view of.
            stretch = slice(first, first + count)
            listed = Pairs(pairs.packages[stretch].copy(), pairs.vehicles[stretch].copy())
        yield Partition(number, first, count, listed)
