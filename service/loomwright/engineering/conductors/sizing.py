"""Choice of the smallest conductor that meets every criterion.

All candidates (every size, once per number of parallel runs) are solved together as arrays; the
route's segments are the other axis.
"""

import math
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.choice import (
    CRITERIA,
    CandidateFrame,
    Candidates,
    ConductorAnswer,
    ConductorRequest,
)
from loomwright.engineering.conductors.criteria import (
    NONE,
    SMALLEST_LISTED,
    judged_route,
    mechanical_utilisations,
    short_circuit_utilisations,
)
from loomwright.engineering.conductors.loaded_route import (
    GREATEST_ITERATIONS,
    Route,
    heated_resistance_ohm,
)
from loomwright.engineering.conductors.surroundings import Surroundings, surroundings
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network.operating_point import power_current_a
from loomwright.engineering.record import record
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]

_CRITERION_BY_PLACE: Mapping[int, str | None] = {
    **dict(enumerate(CRITERIA)),
    SMALLEST_LISTED: "smallest_listed_size",
    NONE: None,
}


@record
class LaidRoute:
    """A route with its candidates, which loads, voltages and limits of a request leave as it is.

    ``mechanical`` and ``short_circuit`` are utilisations of each candidate [1].
    """

    frame: CandidateFrame
    route: Route
    mechanical: Array
    short_circuit: Array


def laid_route(request: ConductorRequest, tables: Tables) -> LaidRoute:
    """Return the route of a request with its candidates.

    Parameters
    ----------
    request
        Route, conductor family, duty, fault and least size; its load, its source and its limits
        take no part.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    LaidRoute
        For ``size_conductor`` with any request that differs in those alone.

    Raises
    ------
    EngineeringError
        ``ambient_not_below_rating``.
    """
    refuse_hot_ambient(request)
    around = surroundings(request, tables)
    return LaidRoute(
        around.frame,
        route_through(request, around),
        mechanical_utilisations(request, around),
        short_circuit_utilisations(request, around),
    )


def size_conductor(
    request: ConductorRequest, tables: Tables, laid: LaidRoute | None = None
) -> ConductorAnswer:
    """Return the smallest conductor that meets every criterion, with all candidates.

    Steady direct current, or a cyclic load by its heating-equivalent current. The voltage drop is
    that of the wiring from the source's terminal to the load's and back: route, return, joints and
    fuse, at the conductor temperature that the heat balance gives. The resistance of the source
    itself takes part in the operating point but not in the drop.

    Parameters
    ----------
    request
        Load, source, route, conductor family and limits.
    tables
        Published ampacities, factors and air.
    laid
        ``laid_route`` of the request, where it is known already.

    Returns
    -------
    ConductorAnswer
        Verdict, choice, deciding criterion and candidates.

    Raises
    ------
    EngineeringError
        ``ambient_not_below_rating`` where a segment is as hot as the insulation's rating;
        ``heat_balance_not_converged``; ``operating_point_not_converged``.
    """
    laid = laid or laid_route(request, tables)
    current, power = request.load_current_a, request.load_power_w
    if power is None:
        assert current is not None
        limit_current, limit_resistance = current, request.allowed_voltage_drop_v / current
    else:
        limit_current, limit_resistance = limit_of_power_load(request)
    frame, given = laid.frame, _given_candidate(request)
    candidates, iterations, residual, decision = judged_route(
        math.nan if current is None else current,
        math.nan if power is None else power,
        request.supply_voltage_v,
        request.source_resistance_ohm,
        request.wiring_fixed_resistance_ohm,
        request.allowed_voltage_drop_v,
        limit_current,
        limit_resistance,
        len(request.sizes),
        request.greatest_parallel_runs,
        NONE if given is None else given,
        laid.route,
        frame.ampacity_a,
        frame.heat_ampacity_a,
        frame.published_ampacity_a,
        laid.mechanical,
        laid.short_circuit,
    )
    if iterations > GREATEST_ITERATIONS:
        raise _not_converged(residual)
    chosen, deciding, fails, any_exists, least_resistance_ohm = decision
    if given is not None:
        verdict = "given_size_fails" if fails else "given_size_passes"
    elif chosen != NONE:
        verdict = "conductor_found"
    elif any_exists:
        verdict = "no_conductor_meets_criteria"
    else:
        verdict = "no_operating_point"
    state, exists, utilisation, failing = candidates
    least_resistance_ohm += request.source_resistance_ohm
    return ConductorAnswer(
        verdict=verdict,
        chosen=None if chosen == NONE else chosen,
        checked=given,
        deciding_criterion=_CRITERION_BY_PLACE[deciding],
        candidates=Candidates(frame, exists, state, utilisation, failing),
        greatest_power_w=request.supply_voltage_v**2 / (4.0 * least_resistance_ohm),
        iterations=iterations,
        residual=residual,
    )


def _given_candidate(request: ConductorRequest) -> int | None:
    if request.given_size is None:
        return None
    place = request.sizes.index(request.given_size)
    return place + len(request.sizes) * (request.given_parallel_runs - 1)


def loop_resistance_at_current_ohm(
    request: ConductorRequest, candidate: int, tables: Tables
) -> tuple[CandidateFrame, float]:
    """Return the candidates with the loop resistance of one at the load current, and judge none.

    What ``size_conductor`` finds for a load current, without its criteria.

    Parameters
    ----------
    request
        With a load current.
    candidate
        Which one.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    tuple
        The candidates, and the resistance of that one's wiring without the source's [ohm].

    Raises
    ------
    EngineeringError
        As ``size_conductor``.
    """
    assert request.load_current_a is not None
    refuse_hot_ambient(request)
    around = surroundings(request, tables)
    resistance = heated_resistance_ohm(
        request.load_current_a,
        candidate,
        route_through(request, around),
    )[0]
    return around.frame, resistance + request.wiring_fixed_resistance_ohm


def refuse_hot_ambient(request: ConductorRequest) -> None:
    """Refuse a route that leaves no current to carry.

    Parameters
    ----------
    request
        Segments and insulation.

    Raises
    ------
    EngineeringError
        ``ambient_not_below_rating``.
    """
    rating = request.insulation.temperature_rating_k
    for index, segment in enumerate(request.segments):
        if segment.ambient_temperature_k >= rating:
            raise EngineeringError(
                "ambient_not_below_rating",
                f"segment {index} is at {segment.ambient_temperature_k - 273.15:g} C and the "
                f"insulation is rated {rating - 273.15:g} C, so no current is left to carry; "
                "choose an insulation with a higher rating or another route",
                field=f"segments/{index}/ambient_temperature",
                value=segment.ambient_temperature_k,
                limit=rating,
            )


def route_through(request: ConductorRequest, around: Surroundings) -> Route:
    """Return the route of a request as compiled formulas take it.

    Parameters
    ----------
    request
        Segments.
    around
        Their surroundings.

    Returns
    -------
    Route
        With all candidates.
    """
    return Route(
        length_m=np.array([segment.length_m for segment in request.segments]),
        ambient_temperature_k=around.ambient_temperature_k,
        ambient_resistance_ohm_per_m=around.ambient_resistance_ohm_per_m,
        resistance_slope_ohm_per_mk=around.resistance_slope_ohm_per_mk,
        share_per_ampere=around.share_per_ampere,
        curves=around.curves,
    )


def _not_converged(residual: float) -> EngineeringError:
    return EngineeringError(
        "operating_point_not_converged",
        f"current and temperature did not settle in {GREATEST_ITERATIONS} steps; "
        "the load is at the limit of what the circuit delivers: lower it",
        iterations=GREATEST_ITERATIONS,
        residual=residual,
    )


def limit_of_power_load(request: ConductorRequest) -> tuple[float, float]:
    """Return the current and the resistance of the wiring at the limit of a constant-power load.

    The limit is the allowed drop, or the collapse of the circuit where that comes first: beyond it
    the smaller root has a load voltage below half the source's.

    Parameters
    ----------
    request
        With a load power.

    Returns
    -------
    tuple of float
        Current [A] and resistance of the wiring without the source's [ohm].

    Notes
    -----
    ``(E - dU - I Rs) I = P`` at the allowed drop; ``I = 2 P / E`` and ``R = E**2 / 4 P`` at the
    collapse.
    """
    assert request.load_power_w is not None
    emf, drop = request.supply_voltage_v, request.allowed_voltage_drop_v
    source = request.source_resistance_ohm
    current, exists = power_current_a(request.load_power_w, emf - drop, source)
    if exists and emf - drop - current * source >= 0.5 * emf:
        return current, drop / current
    return 2.0 * request.load_power_w / emf, emf * emf / (4.0 * request.load_power_w) - source
