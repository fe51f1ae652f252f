"""Conductors of a route as the stretches of a network's branch."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.conductors.surroundings import surroundings
from loomwright.engineering.network.draft import Stretch
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]


def conductor_stretches(
    request: ConductorRequest, candidate: int, tables: Tables
) -> tuple[Stretch, ...]:
    """Return a candidate's conductors along a route, one way, as stretches of a branch.

    Steady or cyclic direct current in still air, as ``surroundings`` has it. A return by conductor
    is a branch of its own with the same stretches; ``return_by_conductor`` of the request only says
    whether it lies in the same bundle, where each run beyond the first then brings two conductors.

    Parameters
    ----------
    request
        Conductor family, segments, duty and greatest number of parallel runs.
    candidate
        Index into its candidates: by parallel runs, then by size.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    tuple of Stretch
        One for each segment, all runs together, in order of the route.
    """
    rows, curves = route_stretches(request, tables).of(candidate)
    return tuple(
        [
            Stretch(cold, slope, share, curve)
            for (cold, slope, share), curve in zip(rows.T.tolist(), curves, strict=True)
        ]
    )


class RouteStretches(NamedTuple):
    """The stretches of every candidate along a route, as the elements of a network have them.

    Parameters
    ----------
    rows
        Ambient resistance [ohm], its slope by temperature [ohm/K] and share of the cap current that
        one ampere is [1/A]; each segments by candidates.
    curves
        Rise above ambient on that share [K], segments by candidates by ``curve_table``.
    """

    rows: Array
    curves: Array

    def of(self, candidate: int) -> tuple[Array, Array]:
        """Return the stretches of one candidate.

        Parameters
        ----------
        candidate
            Index into the candidates of the request.

        Returns
        -------
        tuple of ndarray
            ``rows`` by segments, and ``curves`` of the segments.
        """
        return self.rows[:, :, candidate], self.curves[:, candidate]


def route_stretches(request: ConductorRequest, tables: Tables) -> RouteStretches:
    """Return the conductors along a route, one way, of every candidate of a request.

    Parameters
    ----------
    request
        As ``conductor_stretches`` takes it.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    RouteStretches
        Segments in order of the route.
    """
    around = surroundings(request, tables)
    ways = 2.0 if request.return_by_conductor else 1.0
    length_m = np.array([[segment.length_m] for segment in request.segments])
    rows = np.empty((3, *around.share_per_ampere.shape))
    rows[0] = length_m * (around.ambient_resistance_ohm_per_m / ways)
    rows[1] = length_m * (around.resistance_slope_ohm_per_mk / ways)
    rows[2] = around.share_per_ampere
    return RouteStretches(rows, around.curves)


def candidate_of(request: ConductorRequest) -> int:
    """Return the index of the given size with its parallel runs among the candidates.

    Parameters
    ----------
    request
        With ``given_size`` out of ``sizes``.

    Returns
    -------
    int
        As ``conductor_stretches`` takes it.

    Raises
    ------
    ValueError
        No size is given, or it is not of the series.
    """
    if request.given_size is None:
        raise ValueError("the request gives no size")
    place = request.sizes.index(request.given_size)
    return place + len(request.sizes) * (request.given_parallel_runs - 1)
