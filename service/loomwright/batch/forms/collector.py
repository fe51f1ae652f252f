"""The garbage collector, kept from walking what is being read."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_paused() -> Iterator[None]:
    """Keep the garbage collector from running.

    Documents hold no cycles, and there are millions of objects in those of a large batch: walking
    them again and again takes three quarters of the time of reading them. For the duration of a
    reading only, as it holds for the whole process; whatever else makes cycles meanwhile is
    collected afterwards.

    Yields
    ------
    None
        While it is paused.
    """
    # Whoever finds it paused leaves that to the one who paused it.
    is_ours = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if is_ours:
            gc.enable()
