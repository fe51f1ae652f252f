"""Metrics for Prometheus: what is counted, and the watcher that counts it.

Under the server each process counts in files of a folder of its own (``hooks.py``), and a scrape
adds them up; the library writes through a memory map, so that what a killed process counted stays.
Labels come from lists of ours: operations, problem codes, verdicts, memos, checks. Loaded only
where metrics are on.
"""

import threading
from collections.abc import Callable, Mapping
from functools import cache

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram

from loomwright import __version__
from loomwright.web.signals.exchange import PROBLEM, STREAM, VERDICT, Exchange

# [s]; sizing takes less than 1 ms, plans some 20 ms, documents 50 ms, batches minutes.
BUCKETS_S = (
    0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0,
    120.0,
)  # fmt: skip
ENDED, DIED = "ended", "died"
HIT, MISS = "hit", "miss"


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
        self.durations = Histogram(
            "loomwright_request_duration_seconds",
            "Time from the head of a request to its answer, of a stream to its end.",
            ("operation",),
            buckets=BUCKETS_S,
            registry=registry,
        )
        self.in_flight = Gauge(
            "loomwright_requests_in_flight",
            "Requests that are being answered.",
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
            "Requests that can be answered at a time: threads of all processes.",
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

    def of_server(self, slots: int) -> None:
        """Take note of what the first process knows, so that it is there from the beginning.

        Parameters
        ----------
        slots
            Requests that can be answered at a time.
        """
        self.build.labels(__version__).set(1)
        self.slots.set(slots)
        for outcome in (ENDED, DIED):
            self.worker_exits.labels(outcome)


@cache
def metrics() -> Metrics:
    """Return the metrics of this process, made once: each counts in one place."""
    return Metrics(CollectorRegistry())


class MetricsWatcher:
    """Counts exchanges. Children of labels are kept, as looking one up takes longer than counting.

    Parameters
    ----------
    counted
        Where it counts.
    operations
        Names of all operations and of what stands in their place.
    memos
        Cumulative hits and misses of this process by memo.
    with_memos
        Operations that look memos up.
    """

    def __init__(
        self,
        counted: Metrics,
        operations: frozenset[str],
        memos: Mapping[str, Callable[[], tuple[int, int]]],
        with_memos: frozenset[str],
    ) -> None:
        self._metrics = counted
        self._in_flight = counted.in_flight
        self._durations = {each: counted.durations.labels(each) for each in sorted(operations)}
        self._requests: dict[tuple[str, str, int], Counter] = {}
        self._verdicts: dict[tuple[str, str], Counter] = {}
        self._memos = MemoCounts(counted.memo_lookups, memos)
        self._with_memos = with_memos

    def begin(self, exchange: Exchange) -> None:
        """Count a request in."""
        del exchange
        self._in_flight.inc()

    def end(self, exchange: Exchange) -> None:
        """Count its answer."""
        self._in_flight.dec()
        operation, environ = exchange.operation, exchange.environ
        key = (operation, environ["REQUEST_METHOD"], exchange.status // 100)
        request = self._requests.get(key)
        if request is None:
            request = self._of_class(exchange)
        request.inc()
        self._durations[operation].observe(exchange.elapsed_s)
        verdict = environ.get(VERDICT)
        if verdict is not None:
            self._verdict(operation, verdict).inc()
        if PROBLEM in environ:
            self._metrics.problems.labels(operation, environ[PROBLEM]).inc()
        if STREAM in environ:
            for each, count in environ[STREAM].verdicts.items():
                self._verdict(operation, each).inc(count)
        if operation in self._with_memos:
            self._memos.publish()

    def _of_class(self, exchange: Exchange) -> Counter:
        method, status = exchange.method, exchange.status // 100
        child: Counter = self._metrics.requests.labels(exchange.operation, method, f"{status}xx")
        # Callers make up methods without end; those that are known are few.
        if method == exchange.environ["REQUEST_METHOD"]:
            self._requests[exchange.operation, method, status] = child
        return child

    def _verdict(self, operation: str, verdict: str) -> Counter:
        child = self._verdicts.get((operation, verdict))
        if child is None:
            child = self._metrics.verdicts.labels(operation, verdict)
            self._verdicts[operation, verdict] = child
        return child


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
