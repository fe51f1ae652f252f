"""Choice of the smallest conductor that meets every criterion.

All candidates (every size, once per number of parallel runs) are solved together as arrays; the
route's segments are the other axis.
"""

import math

import numpy as np

from loomwright.engineering.conductors.choice import (
    CRITERIA,
    CandidateFrame,
    Candidates,
    ConductorAnswer,
    ConductorRequest,
)
from loomwright.engineering.conductors.criteria import (
    judged_candidates,
    mechanical_utilisations,
    short_circuit_utilisations,
)
from loomwright.engineering.conductors.loaded_route import (
    GREATEST_ITERATIONS,
    Route,
    heated_resistance_ohm,
    solved_candidates,
)
from loomwright.engineering.conductors.surroundings import Surroundings, surroundings
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network.operating_point import power_current_a
from loomwright.tables.records import Tables


def size_conductor(request: ConductorRequest, tables: Tables) -> ConductorAnswer:
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
    refuse_hot_ambient(request)
    around = surroundings(request, tables)
    current, power = request.load_current_a, request.load_power_w
    if power is None:
        assert current is not None
        limit_current, limit_resistance = current, request.allowed_voltage_drop_v / current
    else:
        limit_current, limit_resistance = limit_of_power_load(request)
    state, exists, iterations, residual = solved_candidates(
        math.nan if current is None else current,
        math.nan if power is None else power,
        request.supply_voltage_v,
        request.source_resistance_ohm,
        request.wiring_fixed_resistance_ohm,
        limit_current,
        limit_resistance,
        route_through(request, around),
        around.frame.ampacity_a,
    )
    if iterations > GREATEST_ITERATIONS:
        raise _not_converged(residual)
    utilisation, failing = judged_candidates(
        state,
        exists,
        request.allowed_voltage_drop_v,
        around.frame.heat_ampacity_a,
        around.frame.published_ampacity_a,
        mechanical_utilisations(request, around),
        short_circuit_utilisations(request, around),
    )
    return _answer(
        request,
        Candidates(around.frame, exists, state, utilisation, failing),
        iterations,
        residual,
    )


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


def _answer(
    request: ConductorRequest, candidates: Candidates, iterations: int, residual: float
) -> ConductorAnswer:
    failing = candidates.failing.tolist()
    least_resistance = min(candidates.loop_resistance_ohm.tolist()) + request.source_resistance_ohm
    count = len(request.sizes)
    checked: int | None = None
    choice = failing[: count * request.greatest_parallel_runs]
    chosen = choice.index(0) if 0 in choice else None
    if request.given_size is not None:
        checked = request.sizes.index(request.given_size) + count * (
            request.given_parallel_runs - 1
        )
        verdict = "given_size_fails" if failing[checked] else "given_size_passes"
    elif chosen is not None:
        verdict = "conductor_found"
    elif not any(candidates.operating_point_exists.tolist()):
        verdict = "no_operating_point"
    else:
        verdict = "no_conductor_meets_criteria"
    return ConductorAnswer(
        verdict=verdict,
        chosen=chosen,
        checked=checked,
        deciding_criterion=_deciding_criterion(candidates, chosen, checked, count, failing),
        candidates=candidates,
        greatest_power_w=request.supply_voltage_v**2 / (4.0 * least_resistance),
        iterations=iterations,
        residual=residual,
    )


def _deciding_criterion(
    candidates: Candidates, chosen: int | None, checked: int | None, count: int, failing: list[int]
) -> str | None:
    """Return the criterion that the next thinner candidate misses by most.

    For a checked size that fails, the criterion that it misses by most itself; where none is
    chosen, that of the candidate with the least resistance. Where the chosen size is the thinnest
    listed, ``smallest_listed_size``.
    """
    if checked is not None and failing[checked]:
        thinner = checked
    else:
        index = chosen if checked is None else checked
        if index is None:
            # Not by the drop: without any operating point it is half the EMF for all of them.
            thinner = int(candidates.loop_resistance_ohm.argmin())
        elif index % count == 0:
            return "smallest_listed_size"
        else:
            thinner = index - 1
    utilisation = candidates.utilisation[:, thinner].tolist()
    missed = [place for place in range(len(CRITERIA)) if failing[thinner] >> place & 1]
    return CRITERIA[max(missed, key=utilisation.__getitem__)] if missed else None
