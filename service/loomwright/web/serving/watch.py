"""What a process waits for: sockets, each with what is to be done once it is ready."""

import select
from collections.abc import Callable
from selectors import EVENT_READ
from typing import Any

# What has a number, or a number.
_Watched = Any
_Done = Callable[[_Watched], None]


class Watch:
    """The part of ``selectors`` that gunicorn's threaded worker asks for, with a bound.

    Of ten thousand connections a few are taken in one turn, and what is due is done between. The
    kernel hands them out in the order in which they became ready.
    """

    def __init__(self) -> None:
        self._epoll = select.epoll()
        self._done: dict[int, tuple[_Watched, _Done]] = {}

    def register(self, watched: _Watched, event: int, done: _Done) -> None:
        """Call a function with what is watched, each time that it is ready."""
        number = watched if isinstance(watched, int) else watched.fileno()
        self._done[number] = watched, done
        self._epoll.register(number, select.EPOLLIN if event == EVENT_READ else select.EPOLLOUT)

    def unregister(self, watched: _Watched) -> None:
        """Watch something no longer."""
        number = watched if isinstance(watched, int) else watched.fileno()
        del self._done[number]
        self._epoll.unregister(number)

    def wait(self, seconds: float, most: int) -> bool:
        """Wait until something is ready, and do what is then to be done.

        Parameters
        ----------
        seconds
            For nothing longer than that.
        most
            Do no more than so many things.

        Returns
        -------
        bool
            Whether there was anything.
        """
        ready = self._epoll.poll(seconds, most)
        for number, _ in ready:
            # Another one of this turn may have ended it, and its number may be one of another by
            # now, which then finds that it is not ready.
            found = self._done.get(number)
            if found is not None:
                watched, done = found
                done(watched)
        return bool(ready)

    def close(self) -> None:
        """Watch nothing any more."""
        self._epoll.close()
