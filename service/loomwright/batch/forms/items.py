"""Items of a batch with their places, and the packages and vehicles that they state."""

from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple, TypeVar

from loomwright.batch.pair import (
    Package,
    Vehicle,
    package_from_document,
    package_record,
    vehicle_from_document,
)
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.reading import ObjectReader

KEY = "key"
# An item at fault says so in each of its rows; nobody reads more than that.
MOST_FAULTS = 20
_Stated = TypeVar("_Stated", Package, Vehicle)


class Item(NamedTuple):
    """A package, a vehicle or a pair as it came in.

    Parameters
    ----------
    place
        Where it stands, such as ``line 3``.
    document
        Plain JSON values.
    messages
        What is wrong with it before it is read as what it is.
    """

    place: str
    document: object
    messages: tuple[str, ...] = ()


def packages_of_items(items: Iterable[Item]) -> Iterator[Package]:
    """Return the packages that items state, one for each as they come.

    Parameters
    ----------
    items
        In the order of the batch.

    Returns
    -------
    iterator
        Packages, with faults where an item is none, or has the key of an earlier one. Its key
        is kept if it has one, and is empty otherwise.
    """
    return _stated(items, "packages", package_from_document, refused_package)


def vehicles_of_items(items: Iterable[Item]) -> Iterator[Vehicle]:
    """Return the vehicles that items state, one for each as they come.

    Parameters
    ----------
    items
        In the order of the batch.

    Returns
    -------
    iterator
        Vehicles, with faults where an item is none, or has the key of an earlier one. Its key
        is kept if it has one, and is empty otherwise.
    """
    return _stated(items, "vehicles", vehicle_from_document, refused_vehicle)


def refused_package(key: str, faults: tuple[Fault, ...]) -> Package:
    """Return a package that has no quotes."""
    return Package(key, {}, {}, faults)


def refused_vehicle(key: str, faults: tuple[Fault, ...]) -> Vehicle:
    """Return a vehicle that has no quotes."""
    return Vehicle(key, {}, {}, faults)


def key_of(document: object) -> str:
    """Return the key of a document that may be at fault, empty where it has none of right form."""
    faults: list[Fault] = []
    key = ObjectReader(document, "", faults, {KEY: package_record().members[KEY]}).text(KEY)
    return "" if any(fault.pointer in ("", "/key") for fault in faults) else key


def _stated(
    items: Iterable[Item],
    name: str,
    read: Callable[[object], _Stated],
    refused: Callable[[str, tuple[Fault, ...]], _Stated],
) -> Iterator[_Stated]:
    places: dict[str, str] = {}
    for index, item in enumerate(items):
        stated, faults = _read(item, read)
        key = key_of(item.document) if stated is None else stated.key
        if key and key in places:
            faults.append(Fault("/key", f"That of {places[key]} is the same; keys are unique."))
        elif key:
            places[key] = item.place
        if stated is None or faults:
            at = f"/{name}/{index}"
            yield refused(
                key,
                tuple(
                    Fault(at + fault.pointer, f"{item.place}: {fault.message}")
                    for fault in faults[:MOST_FAULTS]
                ),
            )
        else:
            yield stated


def _read(item: Item, read: Callable[[object], _Stated]) -> tuple[_Stated | None, list[Fault]]:
    faults = [Fault("", message) for message in item.messages]
    try:
        return read(item.document), faults
    except DocumentError as error:
        # What is missing may be what was at fault before.
        return None, faults or list(error.faults)
