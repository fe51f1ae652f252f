"""A stated batch as one that can be priced: its packages, vehicles and pairs."""

from collections.abc import Sequence

import numpy as np

from loomwright.batch.engine import Batch, Pairs
from loomwright.batch.forms.batch_document import PACKAGE, VEHICLE, BatchDocument
from loomwright.batch.forms.collector import collector_paused
from loomwright.batch.forms.items import (
    packages_of_items,
    refused_package,
    refused_vehicle,
    vehicles_of_items,
)
from loomwright.batch.forms.pair_list import PairList
from loomwright.batch.pair import Package, Vehicle
from loomwright.batch.quote import Pricing
from loomwright.pricing.faults import Fault


def batch_of_document(document: BatchDocument, pricing: Pricing) -> tuple[Batch, Pairs | None]:
    """Return a stated batch as one that can be priced.

    Parameters
    ----------
    document
        The batch as it is stated.
    pricing
        Price book and options that its settings choose.

    Returns
    -------
    tuple of Batch and Pairs
        The batch, and its pairs if it lists any. What a pair names that is not there stands
        behind the others as a package or vehicle at fault. Of items with the same key a pair means
        the first.
    """
    with collector_paused():
        packages = list(packages_of_items(document.packages))
        vehicles = list(vehicles_of_items(document.vehicles))
    if document.pairs is None:
        return Batch(packages, vehicles, pricing), None
    pairs = paired(packages, vehicles, document.pairs)
    return Batch(packages, vehicles, pricing), pairs


def paired(packages: list[Package], vehicles: list[Vehicle], listed: PairList) -> Pairs:
    """Return listed pairs as indices of packages and vehicles.

    Parameters
    ----------
    packages
        Of the batch; those that a pair names and that are not there are added to them, at fault.
    vehicles
        Of the batch, likewise.
    listed
        The pairs.

    Returns
    -------
    Pairs
        In their order.
    """
    of_packages, of_vehicles = _first_by_key(packages), _first_by_key(vehicles)
    found = np.empty((2, len(listed)), np.int64)
    for number, pair in enumerate(listed):
        if pair.faults:
            # Only this pair is at fault, not all of its package.
            packages.append(refused_package(pair.package, pair.faults))
            found[0, number] = len(packages) - 1
        else:
            if pair.package not in of_packages:
                packages.append(refused_package(pair.package, _unknown(PACKAGE, pair.package)))
                of_packages[pair.package] = len(packages) - 1
            found[0, number] = of_packages[pair.package]
        if pair.vehicle not in of_vehicles:
            faults = _unknown(VEHICLE, pair.vehicle) if pair.vehicle else ()
            vehicles.append(refused_vehicle(pair.vehicle, faults))
            of_vehicles[pair.vehicle] = len(vehicles) - 1
        found[1, number] = of_vehicles[pair.vehicle]
    return Pairs(found[0], found[1])


def _first_by_key(stated: Sequence[Package | Vehicle]) -> dict[str, int]:
    found: dict[str, int] = {}
    for index, each in enumerate(stated):
        if each.key:
            found.setdefault(each.key, index)
    return found


def _unknown(what: str, key: str) -> tuple[Fault, ...]:
    return (Fault("/pairs", f"No {what} of the batch has the key {key}."),)
