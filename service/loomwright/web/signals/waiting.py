"""Waiting for a condition, up to a time."""

import time
from collections.abc import Callable

_PAUSE_S = 0.05


def held_within(condition: Callable[[], bool], longest_s: float) -> bool:
    """Return whether a condition holds now, or does so before a time is over.

    Parameters
    ----------
    condition
        Asked again and again.
    longest_s
        How long to wait at most [s].

    Returns
    -------
    bool
        False where it did not hold in all that time.
    """
    deadline = time.monotonic() + longest_s
    while not condition():
        if time.monotonic() >= deadline:
            return False
        time.sleep(_PAUSE_S)
    return True
