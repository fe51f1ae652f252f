"""From packages and vehicles to batches of rows, whichever way a quote is worked out."""

from collections.abc import Iterator, Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt

from loomwright.batch.pair import Package, Vehicle
from loomwright.batch.quote import Pricing, reference_quote, refusal_of_faults
from loomwright.batch.rows import Rows, refused_rows, rows_in_order, rows_of_quotes
from loomwright.engineering.record import record

Indices = npt.NDArray[np.int64]


class Engine(Protocol):
    """Works out the quotes of one package for some vehicles of a batch."""

    def rows(self, package: int, vehicles: Indices) -> Rows:
        """Return the rows of a package, one for each vehicle, in the order of their indices."""


@record
class Batch:
    """What is priced by what.

    Parameters
    ----------
    packages
        Packages with unlike keys.
    vehicles
        Vehicles with unlike keys.
    pricing
        Price book and options.
    """

    packages: Sequence[Package]
    vehicles: Sequence[Vehicle]
    pricing: Pricing


class ReferenceEngine:
    """Asks the single call for each pair: slow, and the measure of any other engine.

    Parameters
    ----------
    batch
        Packages, vehicles and pricing.
    """

    def __init__(self, batch: Batch) -> None:
        self._batch = batch

    def rows(self, package: int, vehicles: Indices) -> Rows:
        """Return the rows of a package for some vehicles.

        Parameters
        ----------
        package
            Index of the package.
        vehicles
            Indices of the vehicles.

        Returns
        -------
        Rows
            One for each vehicle, in that order.
        """
        batch = self._batch
        wanted = batch.packages[package]
        asked = [batch.vehicles[index] for index in vehicles.tolist()]
        quotes = [reference_quote(wanted, vehicle, batch.pricing) for vehicle in asked]
        return rows_of_quotes(
            [wanted.key] * len(asked),
            [vehicle.key for vehicle in asked],
            quotes,
            batch.pricing.book.currency,
        )


def engine_of(batch: Batch) -> Engine:
    """Return the engine that works out the quotes of a batch, wherever one is needed."""
    return ReferenceEngine(batch)


@record
class Pairs:
    """Listed pairs, as indices of packages and of vehicles of the same length."""

    packages: Indices
    vehicles: Indices


def batches(engine: Engine, batch: Batch, pairs: Pairs | None, rows_at_once: int) -> Iterator[Rows]:
    """Yield the rows of all pairs, so many at once that memory stays bounded.

    Parameters
    ----------
    engine
        Works the quotes out; it is not asked for pairs whose package or vehicle is at fault.
    batch
        What is priced.
    pairs
        Listed pairs; every package with every vehicle for none, packages first.
    rows_at_once
        Greatest number of rows that are yielded together.

    Yields
    ------
    Rows
        Every pair once, in the order of the pairs.
    """
    at_fault = np.array([bool(vehicle.faults) for vehicle in batch.vehicles], dtype=np.bool_)
    if pairs is None:
        for package in range(len(batch.packages)):
            for first in range(0, len(batch.vehicles), rows_at_once):
                last = min(first + rows_at_once, len(batch.vehicles))
                yield _rows(engine, batch, package, np.arange(first, last), at_fault)
        return
    # Listed pairs go together as long as the package stays the same.
    starts = np.flatnonzero(np.diff(pairs.packages, prepend=-1))
    for start, end in zip(starts, [*starts[1:], pairs.packages.size], strict=True):
        for first in range(int(start), int(end), rows_at_once):
            last = min(first + rows_at_once, int(end))
            package = int(pairs.packages[first])
            yield _rows(engine, batch, package, pairs.vehicles[first:last], at_fault)


def _rows(
    engine: Engine,
    batch: Batch,
    package: int,
    vehicles: Indices,
    at_fault: npt.NDArray[np.bool_],
) -> Rows:
    if batch.packages[package].faults:
        return _refused(batch, package, vehicles)
    refused = at_fault[vehicles]
    if not refused.any():
        return engine.rows(package, vehicles)
    if refused.all():
        return _refused(batch, package, vehicles)
    order = np.empty(vehicles.size, np.int64)
    count = int(np.count_nonzero(~refused))
    order[~refused] = np.arange(count)
    order[refused] = np.arange(count, vehicles.size)
    return rows_in_order(
        engine.rows(package, vehicles[~refused]),
        _refused(batch, package, vehicles[refused]),
        order,
    )


def _refused(batch: Batch, package: int, vehicles: Indices) -> Rows:
    wanted = batch.packages[package]
    asked = [batch.vehicles[index] for index in vehicles.tolist()]
    return refused_rows(
        [wanted.key] * len(asked),
        [vehicle.key for vehicle in asked],
        [refusal_of_faults((*wanted.faults, *vehicle.faults)).detail for vehicle in asked],
        batch.pricing.book.currency,
    )
