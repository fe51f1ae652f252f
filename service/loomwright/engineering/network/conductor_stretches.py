"""Conductors of a route as the stretches of a network's branch."""

from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.conductors.surroundings import surroundings
from loomwright.engineering.network.draft import Stretch
from loomwright.tables.records import Tables


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
    around = surroundings(request, tables)
    ways = 2.0 if request.return_by_conductor else 1.0
    cold = around.ambient_resistance_ohm_per_m[:, candidate] / ways
    slope = float(around.resistance_slope_ohm_per_mk[candidate]) / ways
    return tuple(
        [
            Stretch(
                ambient_resistance_ohm=segment.length_m * float(cold[place]),
                resistance_slope_ohm_per_k=segment.length_m * slope,
                share_per_ampere=float(around.share_per_ampere[place, candidate]),
                curve=around.curves[place, candidate],
            )
            for place, segment in enumerate(request.segments)
        ]
    )


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
