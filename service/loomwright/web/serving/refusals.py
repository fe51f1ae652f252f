"""When somebody who is turned away is told so: at once, or later who asks again too soon.

A refusal costs a fifth of a call. Callers who ask again as soon as they are refused, whatever
``Retry-After`` says, take more of the process by refusals than all others by answers, and what is
answered waits in the socket behind them. So who was told to wait, comes before that, and is turned
away again is told so a little later. Until then he waits for his answer and asks nothing; his
connection rests, and costs neither a look nor a thread.

What is answered is never held, nor is the refusal of whoever came as he was told to. It is the
answer that waits, not the connection that is left unread behind the answer: what is sent on that
meanwhile would be old once it is read, and who opens a connection for each try would not be held
at all. For the same reason it goes by the address of the client. Behind a proxy, or a router, all
are one: a neighbour who is turned away hears of it as late, which is sooner than he is to come
again. Nor are new connections left to the kernel for a while: a probe of the state would wait
among them, and how long a call has waited there nobody can tell.
"""

from collections.abc import Callable, Hashable
from time import monotonic

# [s] from turning somebody away to telling him.
LEAST_REST_S = 0.1
# [s] No more than the least that anybody is told to wait, so that whoever waits is never held.
GREATEST_REST_S = 1.0
# [s] from one that is told to the next one, so that as many come again in each moment.
APART_S = 0.002
# The one that was told longest ago is forgotten beyond; 1 MB.
_MOST_KNOWN = 4096


class Refusals:
    """Knows who was told to wait, and until when; used by one thread alone.

    Parameters
    ----------
    clock
        Seconds that go on evenly.
    """

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self._clock = clock
        self._told: dict[Hashable, float] = {}
        self._last = clock()

    def tell_at(self, who: Hashable, retry_after_s: float) -> float:
        """Return when somebody who is turned away now is to be told.

        Parameters
        ----------
        who
            That is turned away.
        retry_after_s
            What he will be told to wait [s].

        Returns
        -------
        float
            By the clock; the present for at once, and never sooner than for the call before.
        """
        now = self._clock()
        at = now
        if self._told.pop(who, now) > now:
            at = max(self._last + APART_S, now + LEAST_REST_S)
            self._last = at = min(at, now + GREATEST_REST_S)
        self._told[who] = at + retry_after_s
        if len(self._told) > _MOST_KNOWN:
            del self._told[next(iter(self._told))]
        return at
