"""Which requests are let in: a bounded number of each weight, so that none waits for long.

What is let in and not answered yet is bounded for each weight by itself, and each weight is worked
on apart: a batch that takes minutes and a plan that takes as long as a hundred quick calls let
those go on.

Quick calls have two bounds. A burst that is soon worked off, such as a sheet that calculates all of
its cells anew, waits as a whole and in turn. Where more than the first bound go on waiting while
others come, as many come in as are answered, and in turn each would wait for as long as the queue
is: a crowd of sixteen, each of whom asks again once answered, is never more than a burst, and waits
sixteen times as long as one caller, for good. So calls that find a long queue are counted, those
that find a short one are taken off, and beyond two bursts it is none. Then a few may wait, and
the others are turned away: what is answered at all is answered soon. So B. Maurer, "Fail at Scale",
ACM Queue 13 (2015) 8, under "Controlled delay", but by a count in place of a time, so that a slow
machine lets the same bursts through. The newest does not go first, as it does there under "Adaptive
LIFO": the newest would each time be the one caller who asks again at once.

Under that rule some are turned away also of calls that come at random and leave room to spare, and
would keep it up by themselves. So it ends where calls find nothing before them often enough.
"""

from collections import deque
from collections.abc import Callable, Iterable
from enum import Enum
from time import monotonic
from typing import Generic, TypeVar

from loomwright.engineering.record import record
from loomwright.web.openapi import Operation
from loomwright.web.requests import GREATEST_BODY_BYTES
from loomwright.web.settings import Settings

T = TypeVar("T")

# So many bursts more have found a long queue than have found a short one; then it is no burst.
STANDING_BURSTS = 2
# Under overload, one call that comes to an idle process outweighs so many that do not. Callers who
# ask again at once leave it idle for hardly any.
IDLE_OUTWEIGHS = 9
# So much more weight of those ends it; so many calls that find a long queue begin it anew.
SPARE, SOON_SEEN = 512, 8
# [s] without a call; then what was before is over.
PAUSE_S = 0.1
# [s] that a call may have waited under overload when another is answered; some six times what
# a quick call takes.
STALE_S = 0.002
# [s] for which it is still an overload after the last call that was turned away; longer than those
# are told to wait, or else all who come again as told would be let in as a burst each time.
OVERLOAD_S = 1.5


class Weight(Enum):
    """How much work a request is."""

    # What tells the state of the service, and what may be asked of it; never refused.
    STATE = "state"
    QUICK = "quick"
    # From about ten times size-conductor on (tests/bench/calls.py).
    HEAVY = "heavy"
    # Rows that are worked out as they are taken, for minutes.
    BATCH = "batch"


# [s] for Retry-After, and what is said.
RETRY_AFTER_S = {Weight.STATE: 1, Weight.QUICK: 1, Weight.HEAVY: 2, Weight.BATCH: 10}
SAID = {
    # Before it is known what a request is.
    Weight.STATE: "More requests are arriving already than can be kept until they are whole.",
    Weight.QUICK: "More calls are waiting already than are answered in time.",
    Weight.HEAVY: "More plans, bills and documents are waiting already than are made in time.",
    Weight.BATCH: "As many batches are under way already as may be at once.",
}
STATE_NAMES = frozenset({"health", "live", "ready", "metrics"})
HEAVY_NAMES = frozenset(
    {
        "build-bill-of-materials",
        "build-work-order",
        "check-measurements",
        "check-price-book",
        "draw-installation",
        "draw-voltage-path",
        "plan-installation",
    }
)
BATCH_NAMES = frozenset({"price-packages"})
# Longer bodies of quick calls are no quick calls.
QUICK_BYTES = 16 * 1024


@record
class Bound:
    """How many requests of one weight a process works on.

    Parameters
    ----------
    threads
        At once.
    waiting
        Those that may wait beside; None for any number.
    burst
        Those that may wait for a moment; None where the last to come is the one that is turned
        away.
    """

    threads: int
    waiting: int | None = None
    burst: int | None = None


def bounds_of(settings: Settings) -> dict[Weight, Bound]:
    """Return the bounds that the operator set."""
    return {
        Weight.STATE: Bound(threads=1),
        Weight.QUICK: Bound(settings.threads, settings.queue, max(settings.queue, settings.burst)),
        Weight.HEAVY: Bound(threads=1, waiting=settings.heavy_queue),
        Weight.BATCH: Bound(threads=settings.batches, waiting=0),
    }


class Paths:
    """What is known of a request by its path.

    Parameters
    ----------
    operations
        All operations.
    """

    def __init__(self, operations: Iterable[Operation]) -> None:
        self._weights: dict[str, Weight] = {}
        self._bytes: dict[str, int] = {}
        for operation in operations:
            self._weights[operation.url] = _weight_of_name(operation.name)
            self._bytes[operation.url] = operation.greatest_body_bytes

    def weight(self, method: str, path: str, query: str, accept: str, body_bytes: int) -> Weight:
        """Return how much work a request is.

        Parameters
        ----------
        method
            As it is sent.
        path
            Of the address.
        query
            Of the address.
        accept
            The header field; empty for none.
        body_bytes
            Length of the body as far as it is known.

        Returns
        -------
        Weight
            That of the operation, whose work OPTIONS does not ask for. Documents for print are
            heavy whatever they are of, as is what comes with a long body: a network of thousands
            of branches takes seconds.
        """
        if method == "OPTIONS":
            # A page takes a refusal of it for one of its origin, and does not see Retry-After.
            return Weight.STATE
        weight = self._weights.get(path, Weight.QUICK)
        if weight is not Weight.QUICK:
            return weight
        is_heavy = body_bytes > QUICK_BYTES or "pdf" in accept or "as=pdf" in query
        return Weight.HEAVY if is_heavy else weight

    def greatest_bytes(self, path: str) -> int:
        """Return the length of the longest body that is taken at a path."""
        return self._bytes.get(path, GREATEST_BODY_BYTES)


def _weight_of_name(name: str) -> Weight:
    if name in STATE_NAMES:
        return Weight.STATE
    if name in BATCH_NAMES:
        return Weight.BATCH
    return Weight.HEAVY if name in HEAVY_NAMES else Weight.QUICK


class Line(Generic[T]):
    """Requests of one weight that wait, and how many are worked on; used by one thread alone.

    Parameters
    ----------
    bound
        Of both.
    clock
        Seconds that go on evenly.
    """

    def __init__(self, bound: Bound, clock: Callable[[], float] = monotonic) -> None:
        self._bound = bound
        self._clock = clock
        self._waiting: deque[tuple[float, T]] = deque()
        self._at_work = 0
        # Calls that found a long queue, less those that found a short one.
        self._crowded = 0
        # Calls that came to a process at work, less what those outweigh that came to an idle one.
        self._pressure = 0
        self._was_idle = True
        self._latest = self._overloaded_until = clock()

    def __bool__(self) -> bool:
        """Tell whether any wait."""
        return bool(self._waiting)

    def has_room(self) -> bool:
        """Tell whether one more would be let in, whoever is turned away for it."""
        bound = self._bound
        if bound.waiting is None or bound.burst is not None or self._at_work < bound.threads:
            return True
        return len(self._waiting) < bound.waiting

    def enter(self, request: T) -> list[T]:
        """Let a request wait.

        Parameters
        ----------
        request
            The one that has come.

        Returns
        -------
        list
            Those that are turned away now, this one or others.
        """
        if not self.has_room():
            return [request]
        waiting, bound, now = self._waiting, self._bound, self._clock()
        waiting.append((now, request))
        if bound.burst is None or bound.waiting is None:
            return []
        self._weigh(now)
        if len(waiting) <= bound.waiting:
            self._crowded = max(0, self._crowded - 1)
            return []
        self._crowded += 1
        if self._is_overloaded(now):
            turned_away = [waiting.pop()[1]]
        elif len(waiting) > bound.burst or self._crowded > STANDING_BURSTS * bound.burst:
            # Of a burst that is none the newest are kept: the others have waited for long already.
            turned_away = [waiting.popleft()[1] for _ in range(len(waiting) - bound.waiting)]
            self._pressure = SPARE
        else:
            return []
        self._overloaded_until = now + OVERLOAD_S
        return turned_away

    def _weigh(self, now: float) -> None:
        """Count a call, and forget what was before a pause, or once there is room to spare."""
        if now - self._latest > PAUSE_S:
            self._crowded = 0
        change = -IDLE_OUTWEIGHS if self._was_idle else 1
        self._pressure = min(max(0, self._pressure + change), SPARE)
        if self._pressure == 0 and self._is_overloaded(now):
            self._overloaded_until = now
            # If the queue gets long again it is soon seen.
            self._crowded = STANDING_BURSTS * (self._bound.burst or 0) - SOON_SEEN
        self._latest, self._was_idle = now, False

    def _is_overloaded(self, now: float) -> bool:
        return now < self._overloaded_until

    def note_idle(self) -> None:
        """Take note of a moment in which there is no such request to work on."""
        self._was_idle = True

    def begin(self) -> T | None:
        """Return the next request to be worked on; None where none waits or enough are."""
        if self._at_work >= self._bound.threads:
            return None
        if not self._waiting:
            self.note_idle()
            return None
        self._at_work += 1
        return self._waiting.popleft()[1]

    def stale(self) -> list[T]:
        """Return those that are turned away since they have waited for too long under overload."""
        now = self._clock()
        if not self._is_overloaded(now):
            return []
        found = []
        while self._waiting and self._waiting[0][0] < now - STALE_S:
            found.append(self._waiting.popleft()[1])
        if found:
            self._overloaded_until = now + OVERLOAD_S
        return found

    def end(self) -> None:
        """Count that one is worked on no longer."""
        self._at_work -= 1
