"""Voltage drop of some candidates along routes of other lengths."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.conductors.loaded_route import Route, solved_candidate
from loomwright.engineering.conductors.sizing import refuse_hot_ambient, route_through
from loomwright.engineering.conductors.surroundings import surroundings
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]


def voltage_drop_along_length_v(
    request: ConductorRequest, candidates: Sequence[int], lengths_m: Array, tables: Tables
) -> Array:
    """Return the drop that candidates would have if the route had other lengths.

    What ``size_conductor`` finds for each length: the conductors are as warm as their current then
    makes them, and a constant-power load takes the current that it needs there. All segments are
    longer or shorter by the same factor; joints, fuse and chassis stay.

    Parameters
    ----------
    request
        Load, source, route and conductor family.
    candidates
        Indices into its candidates.
    lengths_m
        One-way lengths of the whole route [m], above 0.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    ndarray
        Drop [V], candidates by lengths; NaN where no operating point exists.

    Raises
    ------
    EngineeringError
        ``ambient_not_below_rating``.
    """
    refuse_hot_ambient(request)
    current, power = request.load_current_a, request.load_power_w
    return _drops_v(
        np.nan if current is None else current,
        np.nan if power is None else power,
        request.supply_voltage_v,
        request.source_resistance_ohm,
        request.wiring_fixed_resistance_ohm,
        np.array(candidates, np.int64),
        np.asarray(lengths_m / request.route_length_m),
        route_through(request, surroundings(request, tables)),
    )


@compiled
def _drops_v(
    load_current_a: float,
    load_power_w: float,
    emf_v: float,
    source_resistance_ohm: float,
    fixed_wiring_resistance_ohm: float,
    candidates: npt.NDArray[np.int64],
    factors: Array,
    route: Route,
) -> Array:
    """Return drops, candidates by factors of the length of each segment."""
    drops = np.empty((candidates.size, factors.size))
    own_m = route.length_m.copy()
    for place in range(factors.size):
        for segment in range(own_m.size):
            # In place, as a route for each length costs more.
            route.length_m[segment] = own_m[segment] * factors[place]
        for row in range(candidates.size):
            _, drop, _, _, _, exists, _, _ = solved_candidate(
                load_current_a,
                load_power_w,
                emf_v,
                source_resistance_ohm,
                fixed_wiring_resistance_ohm,
                candidates[row],
                route,
            )
            drops[row, place] = drop if exists else np.nan
    return drops
