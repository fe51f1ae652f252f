"""A bounded memo of what follows from a price book alone, kept with the book from bill to bill."""

from collections.abc import Hashable
from typing import TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class Kept(dict[Key, Value]):
    """What was made before, by all that decides it.

    Looked up as any ``dict`` and without a lock: two threads that make the same value keep either.

    Parameters
    ----------
    greatest
        How many values are kept at most.
    """

    __slots__ = ("_greatest",)

    def __init__(self, greatest: int) -> None:
        super().__init__()
        self._greatest = greatest

    def keep(self, key: Key, value: Value) -> Value:
        """Keep a value and return it.

        A full memo is emptied first: unlike the removal of the oldest, no other thread can meet
        that half done.
        """
        if len(self) >= self._greatest:
            self.clear()
        self[key] = value
        return value
