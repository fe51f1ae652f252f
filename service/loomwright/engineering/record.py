"""Named values of one request, which nobody changes."""

from dataclasses import dataclass
from typing import TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True)
def record(values: type[T]) -> type[T]:
    """Make a class a record of named values.

    Frozen for the type checker, which refuses each assignment, and not at run time: there the guard
    is paid for each value of each record, a tenth of the time that a request takes. What is kept
    between requests is a frozen dataclass, but for what bills are made of by the hundred (money,
    needs, covers), which a price book keeps.

    Parameters
    ----------
    values
        Class with annotated fields.

    Returns
    -------
    type
        The same class with its ``__init__``, as ``dataclass`` makes it.
    """
    return dataclass(slots=True)(values)
