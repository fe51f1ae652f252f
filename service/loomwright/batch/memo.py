"""A bounded memo that its owner holds without a circle, so that both go at once."""

from collections.abc import Callable, Hashable, Iterable
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class Memo(Generic[Key, Value]):
    """The values that were made last, by key.

    ``lru_cache`` around a method of its owner makes a circle that only the garbage collector
    undoes, and what an engine keeps is too much to wait for it.

    Parameters
    ----------
    greatest
        How many are kept; the oldest goes first.
    """

    def __init__(self, greatest: int) -> None:
        self._greatest = greatest
        self._known: dict[Key, Value] = {}

    def of(self, key: Key, make: Callable[[Key], Value]) -> Value:
        """Return the value of a key, made if it is not known.

        Parameters
        ----------
        key
            The key.
        make
            Makes the value of a key.

        Returns
        -------
        Value
            The same object as long as it is kept.
        """
        try:
            return self._known[key]
        except KeyError:
            pass
        value = make(key)
        if len(self._known) >= self._greatest:
            self._known.pop(next(iter(self._known)))
        self._known[key] = value
        return value

    def values(self) -> Iterable[Value]:
        """Return the values that are kept."""
        return self._known.values()
