"""What the server refuses before the application sees it, for those who watch."""

from collections.abc import Callable

_watchers: list[Callable[[int], None]] = []


def watch_refusals(watcher: Callable[[int], None]) -> None:
    """Tell somebody of each refusal from now on.

    Parameters
    ----------
    watcher
        Called with the status.
    """
    _watchers.append(watcher)


def note_refusal(status: int) -> None:
    """Tell whoever watches of a refusal that is about to be sent.

    Parameters
    ----------
    status
        HTTP status.
    """
    for watcher in _watchers:
        watcher(status)
