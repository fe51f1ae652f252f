"""Listed pairs by their keys, held in few bytes each."""

from array import array
from collections.abc import Iterator
from typing import NamedTuple

from loomwright.batch.forms.items import MOST_FAULTS, Item
from loomwright.pricing.faults import Fault
from loomwright.pricing.members import Record, Text
from loomwright.pricing.reading import ObjectReader

PAIR_RECORD = Record(
    "PairOfBatch",
    {
        "package": Text(about="Key of a package of the batch."),
        "vehicle": Text(about="Key of a vehicle of the batch."),
    },
)


class ListedPair(NamedTuple):
    """A pair by its keys, which are empty where it has none; ``faults`` where it is none."""

    package: str
    vehicle: str
    faults: tuple[Fault, ...]


class PairList:
    """Pairs in the order in which they are listed."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}
        self._packages = array("i")
        self._vehicles = array("i")
        self._faults: dict[int, tuple[Fault, ...]] = {}

    def __len__(self) -> int:
        return len(self._packages)

    def __iter__(self) -> Iterator[ListedPair]:
        keys = list(self._numbers)
        for index, (package, vehicle) in enumerate(
            zip(self._packages, self._vehicles, strict=True)
        ):
            yield ListedPair(keys[package], keys[vehicle], self._faults.get(index, ()))

    def add(self, item: Item) -> None:
        """Add a pair.

        Parameters
        ----------
        item
            An object of two keys, or what ought to be one.
        """
        faults = [Fault("", message) for message in item.messages]
        reader = ObjectReader(item.document, "", faults, PAIR_RECORD.members)
        keys = []
        for name in PAIR_RECORD.members:
            before = len(faults)
            key = reader.text(name)
            keys.append(key if len(faults) == before else "")
        if faults:
            at = f"/pairs/{len(self)}"
            self._faults[len(self)] = tuple(
                Fault(at + fault.pointer, f"{item.place}: {fault.message}")
                for fault in faults[:MOST_FAULTS]
            )
        numbers = [self._numbers.setdefault(key, len(self._numbers)) for key in keys]
        self._packages.append(numbers[0])
        self._vehicles.append(numbers[1])
