"""Symbols of a diagram: each drawn once in a process, when the first diagram asks for it."""

from functools import cache
from threading import Lock
from typing import NamedTuple

# schemdraw keeps what it draws on in globals; two threads may ask at once.
_DRAWING = Lock()


class Symbol(NamedTuple):
    """A symbol as SVG elements in px, its upper terminal at (0, 0).

    ``height`` is that between its terminals [px], 0 where it has one.
    """

    name: str
    shapes: str
    height: float


@cache
def symbols() -> dict[str, Symbol]:
    """Return the symbols by name: fuse, battery, chassis and so on."""
    with _DRAWING:
        return _drawn()


@cache
def _drawn() -> dict[str, Symbol]:
    # Its import takes a tenth of a second, which the start of the service need not wait for.
    from loomwright.drawings.drawn_symbols import drawn_symbols  # noqa: PLC0415

    return {name: Symbol(name, *drawn) for name, drawn in drawn_symbols().items()}
