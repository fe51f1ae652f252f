"""Choice of the smallest conductor that meets every criterion.

All candidates (every size, once per number of parallel runs) are solved together as arrays; the
route's segments are the other axis.
"""

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.choice import (
    CRITERIA,
    CandidateFrame,
    Candidates,
    ConductorAnswer,
    ConductorRequest,
)
from loomwright.engineering.conductors.loaded_route import (
    LoadedRoute,
    LoadedRouteState,
    resistance_at_current_ohm,
    solved_route,
)
from loomwright.engineering.conductors.surroundings import Surroundings, surroundings
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network import constant_power_current_a
from loomwright.engineering.protection.short_circuit import (
    adiabatic_constant,
    adiabatic_k,
    least_section_m2,
)
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# Rounding of a limit must not decide: a drop that equals its limit passes.
ROUNDING = 1.0 + 1e-12


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
    _refuse_hot_ambient(request)
    around = surroundings(request, tables)
    route = _route(request, around)
    solved = solved_route(route)
    candidates = _candidates(request, around, route, solved)
    return _answer(request, candidates, solved)


def loop_resistance_at_current_ohm(
    request: ConductorRequest, tables: Tables
) -> tuple[CandidateFrame, Array]:
    """Return the candidates with their loop resistance at the load current, and judge none.

    What ``size_conductor`` finds for a load current, without its criteria.

    Parameters
    ----------
    request
        With a load current.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    tuple
        The candidates, and the resistance of each wiring without the source's [ohm].

    Raises
    ------
    EngineeringError
        As ``size_conductor``.
    """
    assert request.load_current_a is not None
    _refuse_hot_ambient(request)
    around = surroundings(request, tables)
    resistance = resistance_at_current_ohm(_route(request, around), request.load_current_a)
    return around.frame, resistance + request.wiring_fixed_resistance_ohm


def _refuse_hot_ambient(request: ConductorRequest) -> None:
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


def _route(request: ConductorRequest, around: Surroundings) -> LoadedRoute:
    length = np.array([[segment.length_m] for segment in request.segments])
    return LoadedRoute(
        supply_voltage_v=request.supply_voltage_v,
        load_current_a=request.load_current_a,
        load_power_w=request.load_power_w,
        fixed_resistance_ohm=request.source_resistance_ohm + request.wiring_fixed_resistance_ohm,
        cold_resistance_ohm=np.add.reduce(length * around.ambient_resistance_ohm_per_m),
        resistance_slope_ohm_per_k=length * around.resistance_slope_ohm_per_mk,
        ambient_temperature_k=around.ambient_temperature_k,
        share_per_ampere=around.share_per_ampere,
        curves=around.curves,
    )


def _candidates(
    request: ConductorRequest,
    around: Surroundings,
    route: LoadedRoute,
    solved: LoadedRouteState,
) -> Candidates:
    frame, current = around.frame, solved.load_current_a
    loop = solved.resistance_ohm + request.wiring_fixed_resistance_ohm
    drop = current * loop
    temperature = np.maximum.reduce(solved.conductor_temperature_k)
    temperature[solved.capped] = np.nan
    temperature[~solved.exists] = np.nan
    utilisation = current * around.utilisation_per_ampere
    utilisation += around.fixed_utilisation
    utilisation[0] = drop / request.allowed_voltage_drop_v
    if request.smallest_size is not None:
        ranks = np.array([size.rank for size in frame.sizes])
        utilisation[3] = request.smallest_size.rank / ranks
    if request.fault_current_a is not None:
        utilisation[4] = _short_circuit_utilisation(request, frame)
    passes = utilisation <= ROUNDING
    passes[0] &= solved.exists
    return Candidates(
        frame=frame,
        operating_point_exists=solved.exists,
        load_current_a=current,
        load_voltage_v=request.supply_voltage_v - drop - current * request.source_resistance_ohm,
        voltage_drop_v=drop,
        wiring_loss_w=drop * current,
        loop_resistance_ohm=loop,
        conductor_temperature_k=temperature,
        greatest_length_m=_greatest_length_m(request, route, solved),
        utilisation=utilisation,
        passes=passes,
    )


def _short_circuit_utilisation(request: ConductorRequest, frame: CandidateFrame) -> Array:
    """Return the adiabatic section over the section of all runs."""
    assert request.fault_current_a is not None
    assert request.clearing_time_s is not None
    material, insulation = request.material, request.insulation
    constant = adiabatic_constant(
        material.resistivity_20c_ohm_m,
        material.volumetric_heat_capacity_j_per_m3k,
        material.adiabatic_beta_k,
    )
    k = adiabatic_k(
        constant,
        material.adiabatic_beta_k,
        insulation.temperature_rating_k,
        insulation.short_circuit_temperature_k,
    )
    least = least_section_m2(request.fault_current_a, request.clearing_time_s, k)
    return np.asarray(least / (frame.cross_section_m2 * frame.parallel_runs))


def _greatest_length_m(
    request: ConductorRequest, route: LoadedRoute, solved: LoadedRouteState
) -> Array:
    """Return the one-way length at which the drop reaches its limit, or the circuit collapses.

    Same mix of surroundings; current and conductor temperature are those at the limit, so a
    constant-power load is taken at the lower voltage.
    """
    if request.load_power_w is None:
        assert request.load_current_a is not None
        wiring = request.allowed_voltage_drop_v / request.load_current_a
        resistance = solved.resistance_ohm
    else:
        current, wiring = limit_of_power_load(request)
        resistance = resistance_at_current_ohm(route, current)
    budget = max(wiring - request.wiring_fixed_resistance_ohm, 0.0)
    return np.asarray(budget * request.route_length_m / resistance)


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
    current, exists = constant_power_current_a(request.load_power_w, emf - drop, source)
    if exists and emf - drop - current * source >= 0.5 * emf:
        return float(current), drop / float(current)
    return 2.0 * request.load_power_w / emf, emf * emf / (4.0 * request.load_power_w) - source


def _answer(
    request: ConductorRequest, candidates: Candidates, solved: LoadedRouteState
) -> ConductorAnswer:
    passing: Mask = np.logical_and.reduce(candidates.passes)
    least_resistance = (
        float(np.minimum.reduce(candidates.loop_resistance_ohm)) + request.source_resistance_ohm
    )
    count = len(request.sizes)
    checked: int | None = None
    limit = count * request.greatest_parallel_runs
    first = int(passing[:limit].argmax())
    chosen = first if passing[first] else None
    if request.given_size is not None:
        checked = request.sizes.index(request.given_size) + count * (
            request.given_parallel_runs - 1
        )
        verdict = "given_size_passes" if passing[checked] else "given_size_fails"
    elif chosen is not None:
        verdict = "conductor_found"
    elif not candidates.operating_point_exists.any():
        verdict = "no_operating_point"
    else:
        verdict = "no_conductor_meets_criteria"
    return ConductorAnswer(
        verdict=verdict,
        chosen=chosen,
        checked=checked,
        deciding_criterion=_deciding_criterion(candidates, chosen, checked, count, passing),
        candidates=candidates,
        greatest_power_w=request.supply_voltage_v**2 / (4.0 * least_resistance),
        iterations=solved.iterations,
        residual=solved.residual,
    )


def _deciding_criterion(
    candidates: Candidates, chosen: int | None, checked: int | None, count: int, passing: Mask
) -> str | None:
    """Return the criterion that the next thinner candidate misses by most.

    For a checked size that fails, the criterion that it misses by most itself. Where the chosen
    size is the thinnest listed, ``smallest_listed_size``.
    """
    if checked is not None and not passing[checked]:
        thinner = checked
    else:
        index = chosen if checked is None else checked
        if index is None:
            thinner = int(candidates.utilisation[0].argmin())
        elif index % count == 0:
            return "smallest_listed_size"
        else:
            thinner = index - 1
    missed = [
        (utilisation, -place)
        for place, (utilisation, passes) in enumerate(
            zip(
                candidates.utilisation[:, thinner].tolist(),
                candidates.passes[:, thinner].tolist(),
                strict=True,
            )
        )
        if not passes
    ]
    return CRITERIA[-max(missed)[1]] if missed else None
