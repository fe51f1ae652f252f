"""Metrics for Prometheus: what is counted, and the watcher that counts it.

Under the server each process counts in files of a folder of its own (``hooks.py``), and a scrape
adds them up; the library writes through a memory map, so that what a killed process counted stays.
Labels come from lists of ours: operations, weights, problem codes, verdicts, memos, checks. Loaded
only where metrics are on.
"""

import logging
import os
import threading
import time
import weakref
from bisect import bisect_left
from collections import Counter as Counts
from collections import defaultdict, deque
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram

from loomwright import __version__
from loomwright.web.described_http import KNOWN_METHODS
from loomwright.web.serving.admission import Paths, Weight
from loomwright.web.signals.exchange import OTHER_METHOD, PROBLEM, STREAM, VERDICT, Exchange
from loomwright.web.signals.memos import MEMOS

# [s]; sizing takes less than 1 ms, plans some 20 ms, documents 50 ms, batches minutes.
BUCKETS_S = (
    0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0,
    120.0,
)  # fmt: skip
ENDED, DIED = "ended", "died"
HIT, MISS = "hit", "miss"


class Durations(Histogram):
    """A histogram that takes many observations at once, which costs little more than one."""

    def observe_all(self, amounts: Sequence[float]) -> None:
        """Observe amounts.

        Parameters
        ----------
        amounts
            Each as ``observe`` takes it.
        """
        self._sum.inc(sum(amounts))
        places = Counts(bisect_left(self._upper_bounds, amount) for amount in amounts)
        for place, count in places.items():
            self._buckets[place].inc(count)


class Metrics:
    """All metrics of a process, which the files of the other processes have alike.

    Parameters
    ----------
    registry
        Of this process; a scrape under the server asks the files instead.
    """

    def __init__(self, registry: CollectorRegistry) -> None:
        self.registry = registry
        self.requests = Counter(
            "loomwright_requests",
            "Requests answered, by operation, method and class of status.",
            ("operation", "method", "status"),
            registry=registry,
        )
        self.durations = Durations(
            "loomwright_request_duration_seconds",
            "Time from the head of a request to its answer, of a stream to its end.",
            ("operation",),
            buckets=BUCKETS_S,
            registry=registry,
        )
        self.in_flight = Gauge(
            "loomwright_requests_in_flight",
            "Requests that are being answered, by weight of work.",
            ("weight",),
            multiprocess_mode="livesum",
            registry=registry,
        )
        self.verdicts = Counter(
            "loomwright_verdicts",
            "Verdicts of answers; of price-packages those of its rows.",
            ("operation", "verdict"),
            registry=registry,
        )
        self.problems = Counter(
            "loomwright_problems",
            "Refusals and failures by problem code; too_many_requests is what a limit refused.",
            ("operation", "code"),
            registry=registry,
        )
        self.refused_unread = Counter(
            "loomwright_refused_unread",
            "Requests that the server refused before it read them, by status.",
            ("status",),
            registry=registry,
        )
        self.memo_lookups = Counter(
            "loomwright_memo_lookups",
            "Lookups in what is kept between requests, by whether it was there.",
            ("memo", "outcome"),
            registry=registry,
        )
        self.ready = Gauge(
            "loomwright_ready",
            "Whether a check of readiness found nothing when it was last asked for: 1 or 0.",
            ("check",),
            multiprocess_mode="mostrecent",
            registry=registry,
        )
        self.slots = Gauge(
            "loomwright_request_slots",
            "Requests that can be answered at a time: threads of all processes, by weight of work.",
            ("weight",),
            multiprocess_mode="mostrecent",
            registry=registry,
        )
        self.workers = Gauge(
            "loomwright_workers",
            "Processes that answer requests.",
            multiprocess_mode="mostrecent",
            registry=registry,
        )
        self.worker_starts = Counter(
            "loomwright_worker_starts",
            "Processes started to answer requests.",
            registry=registry,
        )
        self.worker_exits = Counter(
            "loomwright_worker_exits",
            "Processes gone: ended as they were told to, or died.",
            ("outcome",),
            registry=registry,
        )
        self.build = Gauge(
            "loomwright_build_info",
            "Always 1; the version that serves.",
            ("version",),
            multiprocess_mode="max",
            registry=registry,
        )

    def told_ready(self, check: str, is_ready: bool) -> None:
        """Take note of what a check of readiness found."""
        self.ready.labels(check).set(float(is_ready))

    def of_process(self) -> None:
        """Take note that nothing is under way yet."""
        for weight in Weight:
            self.in_flight.labels(weight.value).set(0)

    def of_server(self, slots: Mapping[Weight, int]) -> None:
        """Take note of what the first process knows, so that it is there from the beginning.

        Parameters
        ----------
        slots
            Requests that can be answered at a time, of each weight beside the others.
        """
        self.build.labels(__version__).set(1)
        for weight, count in slots.items():
            self.slots.labels(weight.value).set(count)
        for outcome in (ENDED, DIED):
            self.worker_exits.labels(outcome)


@cache
def metrics() -> Metrics:
    """Return the metrics of this process, made once: each counts in one place."""
    return Metrics(CollectorRegistry())


# What was counted in the last so many seconds goes with a process that is killed.
FLUSHED_EVERY_S = 0.2
_GREATEST_PENDING = 10_000
# Operation, method as sent, class of status, verdict, problem code.
_Kind = tuple[str, str, int, str | None, str | None]


class MetricsWatcher:
    """Counts exchanges, in the background.

    A write to the shared files takes some 2 us in a request, which finds the caches cold, and a
    request would make six of them. So a request only notes that it ended; a thread writes the notes
    down five times a second.

    Parameters
    ----------
    counted
        Where it counts.
    operations
        Names of all operations and of what stands in their place.
    memos
        Counts of what is kept between requests.
    paths
        What tells the weight of a request.
    """

    def __init__(
        self,
        counted: Metrics,
        operations: frozenset[str],
        memos: "MemoCounts",
        paths: Paths,
    ) -> None:
        self._metrics = counted
        self._paths = paths
        # There from the beginning, so that each rate has a zero to rise from.
        for operation in sorted(operations):
            counted.durations.labels(operation)
        self._memos = memos
        self._lock = threading.Lock()
        self._open: set[Exchange] = set()
        # Counts that nobody writes down must not fill the memory.
        self._ended: deque[tuple[_Kind, float]] = deque(maxlen=_GREATEST_PENDING)
        self._flushed_by: threading.Thread | None = None
        _watchers.add(self)

    def begin(self, exchange: Exchange) -> None:
        """Take note of a request."""
        self._open.add(exchange)
        if self._flushed_by is None:
            self._flush_from_now_on()

    def end(self, exchange: Exchange) -> None:
        """Take note of its answer."""
        self._open.discard(exchange)
        environ = exchange.environ
        kind = (
            exchange.operation,
            environ["REQUEST_METHOD"],
            exchange.status // 100,
            environ.get(VERDICT),
            environ.get(PROBLEM),
        )
        # Members of sets and ends of queues come and go in one step, whatever the threads.
        self._ended.append((kind, exchange.elapsed_s))
        if STREAM in environ:
            self._count_rows(exchange.operation, environ[STREAM].verdicts)

    def _flush_from_now_on(self) -> None:
        with self._lock:
            if self._flushed_by is None:
                thread = threading.Thread(target=self._keep_flushing, name="counts", daemon=True)
                self._flushed_by = thread
                thread.start()

    def _keep_flushing(self) -> None:
        failed = False
        while True:
            time.sleep(FLUSHED_EVERY_S)
            try:
                self.flush()
            except Exception:
                # A full disk must not end the counting for good; it is told once.
                if not failed:
                    logging.getLogger("loomwright").exception("counts cannot be written down")
                failed = True
            else:
                failed = False

    def flush(self) -> None:
        """Write down what was noted since the last time."""
        with self._lock:
            ended: defaultdict[_Kind, list[float]] = defaultdict(list)
            while self._ended:
                kind, elapsed_s = self._ended.popleft()
                ended[kind].append(elapsed_s)
            for kind, times_s in ended.items():
                self._count(kind, times_s)
            open_ = Counts(self._weight(exchange.environ) for exchange in self._open.copy())
            for weight in Weight:
                self._metrics.in_flight.labels(weight.value).set(open_[weight])
            self._memos.publish()

    def _weight(self, environ: Mapping[str, Any]) -> Weight:
        length = environ.get("CONTENT_LENGTH", "")
        return self._paths.weight(
            environ["REQUEST_METHOD"],
            environ["PATH_INFO"],
            environ.get("QUERY_STRING", ""),
            environ.get("HTTP_ACCEPT", ""),
            # Of a body in chunks it is not known here.
            int(length) if length.isdecimal() else 0,
        )

    def _count(self, kind: _Kind, times_s: list[float]) -> None:
        operation, method, status, verdict, problem = kind
        known = method if method in KNOWN_METHODS else OTHER_METHOD
        count = len(times_s)
        self._metrics.requests.labels(operation, known, f"{status}xx").inc(count)
        self._metrics.durations.labels(operation).observe_all(times_s)
        if verdict is not None:
            self._metrics.verdicts.labels(operation, verdict).inc(count)
        if problem is not None:
            self._metrics.problems.labels(operation, problem).inc(count)

    def _count_rows(self, operation: str, verdicts: Mapping[str, int]) -> None:
        for verdict, count in verdicts.items():
            self._metrics.verdicts.labels(operation, verdict).inc(count)

    def forget(self) -> None:
        """Begin anew in a process that was just forked: what is under way is another's."""
        self._lock = threading.Lock()
        self._memos.forget()
        self._open.clear()
        self._ended.clear()
        self._flushed_by = None


_watchers: weakref.WeakSet[MetricsWatcher] = weakref.WeakSet()


def _forget() -> None:
    for watcher in _watchers:
        watcher.forget()


os.register_at_fork(after_in_child=_forget)


def flush() -> None:
    """Write down whatever is noted in this process."""
    for watcher in list(_watchers):
        watcher.flush()


class MemoCounts:
    """Takes what memos count themselves over into a counter, as often as it is told to.

    Parameters
    ----------
    lookups
        With the labels memo and outcome.
    memos
        Cumulative hits and misses of this process by memo.
    """

    def __init__(
        self, lookups: Counter, memos: Mapping[str, Callable[[], tuple[int, int]]]
    ) -> None:
        self._lock = threading.Lock()
        # From the fork on: what the first process looked up as it started is not counted again.
        self._memos = {
            name: (counts, [lookups.labels(name, HIT), lookups.labels(name, MISS)], list(counts()))
            for name, counts in memos.items()
        }

    def publish(self) -> None:
        """Count what was looked up since the last time."""
        with self._lock:
            for counts, children, taken in self._memos.values():
                for place, now in enumerate(counts()):
                    if now > taken[place]:
                        children[place].inc(now - taken[place])
                    taken[place] = now

    def forget(self) -> None:
        """Be usable in a process that was just forked, whoever held the lock."""
        self._lock = threading.Lock()


@cache
def memo_counts() -> MemoCounts:
    """Return the counts of the memos of this process, which all applications in it share."""
    return MemoCounts(metrics().memo_lookups, MEMOS)
