"""What becomes of a pair on which the service itself fails: a row that says so, and no more."""

from collections.abc import Callable

import numpy as np

from loomwright.batch.engine import Batch, Engine, Indices
from loomwright.batch.quote import Refusal
from loomwright.batch.rows import Rows, rows_in_order, rows_of_quotes

# Code of a row on whose pair the service failed.
INTERNAL_ERROR = "internal_error"
_FAILED = Refusal(INTERNAL_ERROR, "The service failed on this pair.")

# Told key of package, key of vehicle and what was raised.
Failed = Callable[[str, str, Exception], None]


class GuardedEngine:
    """Keeps the rows of all other pairs where the engine below fails on one.

    Where some rows fail together their halves are asked for, down to the single pair, so that an
    engine that works by the array is asked as seldom as may be.

    Parameters
    ----------
    engine
        Works the quotes out.
    batch
        What it prices.
    failed
        Told of each pair that fails by itself.
    """

    def __init__(self, engine: Engine, batch: Batch, failed: Failed) -> None:
        self._engine = engine
        self._batch = batch
        self._failed = failed

    def rows(self, package: int, vehicles: Indices) -> Rows:
        """Return the rows of a package for some vehicles, whatever the engine raises.

        Parameters
        ----------
        package
            Index of the package.
        vehicles
            Indices of the vehicles.

        Returns
        -------
        Rows
            One for each vehicle, in that order; ``internal_error`` where the engine fails.
        """
        try:
            return self._engine.rows(package, vehicles)
        except Exception as error:
            # Whatever it is, it must not end the rows of the others.
            if vehicles.size > 1:
                halves = [self.rows(package, half) for half in np.array_split(vehicles, 2)]
                return rows_in_order(halves, np.arange(vehicles.size))
            return self._failure(package, int(vehicles[0]), error)

    def _failure(self, package: int, vehicle: int, error: Exception) -> Rows:
        keys = self._batch.packages[package].key, self._batch.vehicles[vehicle].key
        self._failed(*keys, error)
        currency = self._batch.pricing.book.currency
        return rows_of_quotes([keys[0]], [keys[1]], [_FAILED], currency)
