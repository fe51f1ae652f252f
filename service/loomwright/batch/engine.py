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


@record
class Pairs:
    """Listed pairs, as indices of packages and of vehicles of the same length."""

    packages: Indices
    vehicles: Indices


def batches(
    engine: Engine,
    batch: Batch,
    pairs: Pairs | None,
    rows_at_once: int,
    rows_at_first: int | None = None,
) -> Iterator[Rows]:
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
    rows_at_first
        Greatest number that is yielded first, and twice as many each time up to ``rows_at_once``,
        so that a reader has something soon; ``rows_at_once`` for none.

    Yields
    ------
    Rows
        Every pair once, in the order of the pairs.
    """
    rows = _PairRows(engine, batch)
    most = rows_at_once if rows_at_first is None else min(rows_at_first, rows_at_once)
    for packages, vehicles in _stretches(batch, pairs):
        done = 0
        while done < vehicles.size:
            part = slice(done, done + most)
            yield rows.of(packages[part], vehicles[part])
            done += most
            most = min(2 * most, rows_at_once)


def _stretches(batch: Batch, pairs: Pairs | None) -> Iterator[tuple[Indices, Indices]]:
    """Yield packages and vehicles of pairs that may go together."""
    if pairs is not None:
        yield pairs.packages, pairs.vehicles
        return
    every = np.arange(len(batch.vehicles))
    for package in range(len(batch.packages)):
        yield np.full(every.size, package), every


class _PairRows:
    """Rows of any pairs, each package asked for once among those that come together."""

    def __init__(self, engine: Engine, batch: Batch) -> None:
        self._engine = engine
        self._batch = batch
        self._packages_at_fault = _at_fault(batch.packages)
        self._vehicles_at_fault = _at_fault(batch.vehicles)

    def of(self, packages: Indices, vehicles: Indices) -> Rows:
        """Return the rows of pairs, at least one, in their order."""
        refused = self._packages_at_fault[packages] | self._vehicles_at_fault[vehicles]
        places = [np.flatnonzero(refused)] if refused.any() else []
        parts = [self._refused(packages[each], vehicles[each]) for each in places]
        for each in _by_package(packages, np.flatnonzero(~refused)):
            parts.append(self._engine.rows(int(packages[each[0]]), vehicles[each]))
            places.append(each)
        if len(parts) == 1:
            return parts[0]
        return rows_in_order(parts, np.argsort(np.concatenate(places)))

    def _refused(self, packages: Indices, vehicles: Indices) -> Rows:
        wanted = [self._batch.packages[index] for index in packages.tolist()]
        asked = [self._batch.vehicles[index] for index in vehicles.tolist()]
        both = zip(wanted, asked, strict=True)
        return refused_rows(
            [package.key for package in wanted],
            [vehicle.key for vehicle in asked],
            [refusal_of_faults((*one.faults, *other.faults)).detail for one, other in both],
            self._batch.pricing.book.currency,
        )


def _at_fault(stated: Sequence[Package | Vehicle]) -> npt.NDArray[np.bool_]:
    return np.array([bool(each.faults) for each in stated], dtype=np.bool_)


def _by_package(packages: Indices, places: Indices) -> list[Indices]:
    """Return places in lists of the same package each."""
    if not places.size:
        return []
    sorted_places = places[np.argsort(packages[places], kind="stable")]
    return np.split(sorted_places, np.flatnonzero(np.diff(packages[sorted_places])) + 1)
