"""Choice of the smallest conductor that meets every criterion.

All candidates (every size, once per number of parallel runs) are solved together as arrays; the
route's segments are the other axis.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.ampacity import (
    PUBLISHED_TABLE_BY_SERIES,
    SeriesProperties,
    ambient_limits,
    bundling_factor,
    series_properties,
)
from loomwright.engineering.conductor_choice import (
    CRITERIA,
    Candidates,
    ConductorAnswer,
    ConductorRequest,
)
from loomwright.engineering.duty import heating_ratio_of_duty
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.heat import InsulatedConductor
from loomwright.engineering.loaded_route import (
    LoadedRoute,
    LoadedRouteState,
    resistance_at_current_ohm,
    solved_route,
)
from loomwright.engineering.network import constant_power_current_a
from loomwright.engineering.short_circuit import (
    adiabatic_constant,
    adiabatic_k,
    least_section_m2,
)
from loomwright.engineering.temperature_curve import CurveTable, curve_table
from loomwright.tables.records import ConductorSize, Insulation, Material, Tables

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

LEAST_SINGLE_SECTION_M2 = 1.0e-6
# Rounding of a limit must not decide: a drop that equals its limit passes.
ROUNDING = 1.0 + 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class _Layout:
    """Arrays over candidates that depend on series and number of runs only."""

    sizes: tuple[ConductorSize, ...]
    conductor: InsulatedConductor
    cross_section_m2: Array
    rank: Array
    runs: npt.NDArray[np.int64]
    properties: SeriesProperties


@dataclass(frozen=True, slots=True, eq=False)
class _Surroundings:
    """Arrays over segments (rows) and candidates (columns); the least ones over candidates."""

    ambient_temperature_k: Array
    share_per_ampere: Array
    curves: CurveTable
    time_constant_s: Array
    heat_ampacity_a: Array
    published_ampacity_a: Array
    least_heat_ampacity_a: Array
    least_published_ampacity_a: Array


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
        ``heat_balance_not_converged``.
    """
    _refuse_hot_ambient(request)
    layout = _layout(
        request.sizes,
        request.material,
        request.insulation,
        tables.materials["copper"],
        max(request.greatest_parallel_runs, request.given_parallel_runs),
    )
    around = _surroundings(request, layout, tables)
    route = _route(request, layout, around)
    solved = solved_route(route)
    candidates = _candidates(request, layout, around, route, solved)
    return _answer(request, candidates, solved)


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


@lru_cache(maxsize=256)
def _layout(
    sizes: tuple[ConductorSize, ...],
    material: Material,
    insulation: Insulation,
    copper: Material,
    greatest_runs: int,
) -> _Layout:
    properties = series_properties(sizes, material, insulation, copper)
    base = properties.conductor
    count = greatest_runs

    def tiled(values: Array) -> Array:
        return np.tile(values, count)

    return _Layout(
        sizes=sizes * count,
        conductor=InsulatedConductor(
            outside_diameter_m=tiled(np.asarray(base.outside_diameter_m)),
            insulation_resistance_km_per_w=tiled(np.asarray(base.insulation_resistance_km_per_w)),
            emissivity=base.emissivity,
            resistance_20c_ohm_per_m=tiled(np.asarray(base.resistance_20c_ohm_per_m)),
            temperature_coefficient_20c_per_k=tiled(
                np.asarray(base.temperature_coefficient_20c_per_k)
            ),
        ),
        cross_section_m2=tiled(properties.cross_section_m2),
        rank=tiled(np.array([float(size.rank) for size in sizes])),
        runs=np.repeat(np.arange(1, count + 1), len(sizes)),
        properties=properties,
    )


def _surroundings(request: ConductorRequest, layout: _Layout, tables: Tables) -> _Surroundings:
    places = tuple(
        (segment.ambient_temperature_k, segment.bundled_conductors, segment.engine_space)
        for segment in request.segments
    )
    steady = _steady_surroundings(layout, places, request.return_by_conductor, tables)
    if request.on_time_s is None:
        return steady
    heating = np.sqrt(
        heating_ratio_of_duty(request.on_time_s, request.off_time_s or 0.0, steady.time_constant_s)
    )
    heat_ampacity = steady.heat_ampacity_a / heating
    published = steady.published_ampacity_a / heating
    return replace(
        steady,
        share_per_ampere=steady.share_per_ampere * heating,
        least_heat_ampacity_a=heat_ampacity.min(axis=0),
        least_published_ampacity_a=published.min(axis=0),
    )


@lru_cache(maxsize=1024)
def _steady_surroundings(
    layout: _Layout,
    places: tuple[tuple[float, int, bool], ...],
    return_by_conductor: bool,
    tables: Tables,
) -> _Surroundings:
    """Return the surroundings of a continuous load; places are ambient, bundle, engine space."""
    # Each run beyond the first adds itself, and its return if that lies beside it.
    added = 2 if return_by_conductor else 1
    properties = layout.properties
    series = properties.sizes[0].series
    table = PUBLISHED_TABLE_BY_SERIES[series]
    runs = layout.runs
    columns = int(runs[-1])
    limits = [
        ambient_limits(properties, ambient, engine_space, tables)
        for ambient, _, engine_space in places
    ]

    def stacked(name: str) -> Array:
        rows = [np.concatenate([getattr(row, name)] * columns) for row in limits]
        return np.stack(rows)

    bundling = np.array(
        [
            [bundling_factor(tables, table, bundled + added * (int(count) - 1)) for count in runs]
            for _, bundled, _ in places
        ]
    )
    # The share of the load current that one run feels, as a steady current in free air.
    share = 1.0 / (runs * bundling)
    heat_ampacity = stacked("ampacity_a") / share
    published = stacked("published_ampacity_a") / share
    return _Surroundings(
        ambient_temperature_k=np.array([[ambient] for ambient, _, _ in places]),
        share_per_ampere=share / stacked("cap_current_a"),
        curves=curve_table(stacked("temperature_curve")),
        time_constant_s=stacked("time_constant_s"),
        heat_ampacity_a=heat_ampacity,
        published_ampacity_a=published,
        least_heat_ampacity_a=heat_ampacity.min(axis=0),
        least_published_ampacity_a=published.min(axis=0),
    )


def _route(request: ConductorRequest, layout: _Layout, around: _Surroundings) -> LoadedRoute:
    ways = 2.0 if request.return_by_conductor else 1.0
    return LoadedRoute(
        supply_voltage_v=request.supply_voltage_v,
        load_current_a=request.load_current_a,
        load_power_w=request.load_power_w,
        fixed_resistance_ohm=request.source_resistance_ohm + request.wiring_fixed_resistance_ohm,
        conductor=layout.conductor,
        weighted_length_m=np.array([[ways * segment.length_m] for segment in request.segments])
        / layout.runs,
        ambient_temperature_k=around.ambient_temperature_k,
        share_per_ampere=around.share_per_ampere,
        curves=around.curves,
    )


def _candidates(
    request: ConductorRequest,
    layout: _Layout,
    around: _Surroundings,
    route: LoadedRoute,
    solved: LoadedRouteState,
) -> Candidates:
    current = solved.load_current_a
    loop = solved.resistance_ohm + request.wiring_fixed_resistance_ohm
    drop = current * loop
    load_voltage = request.supply_voltage_v - current * (loop + request.source_resistance_ohm)
    temperature = np.maximum.reduce(solved.conductor_temperature_k)
    hottest_ampacity = around.least_heat_ampacity_a
    published = around.least_published_ampacity_a
    utilisation = np.empty((len(CRITERIA), current.size))
    utilisation[0] = drop / request.allowed_voltage_drop_v
    utilisation[1] = current / hottest_ampacity
    # fmax: a size that no table covers cannot fail the table.
    utilisation[2] = np.fmax(current / published, 0.0)
    utilisation[3] = _mechanical_utilisation(request, layout)
    utilisation[4] = _short_circuit_utilisation(request, layout)
    passes = utilisation <= ROUNDING
    passes[0] &= solved.exists
    return Candidates(
        sizes=layout.sizes,
        parallel_runs=layout.runs,
        cross_section_m2=layout.cross_section_m2,
        operating_point_exists=solved.exists,
        load_current_a=current,
        load_voltage_v=load_voltage,
        voltage_drop_v=drop,
        wiring_loss_w=drop * current,
        loop_resistance_ohm=loop,
        conductor_temperature_k=np.where(solved.capped | ~solved.exists, np.nan, temperature),
        heat_ampacity_a=hottest_ampacity,
        published_ampacity_a=published,
        greatest_length_m=_greatest_length_m(request, route, solved),
        passes=passes,
        utilisation=utilisation,
    )


def _mechanical_utilisation(request: ConductorRequest, layout: _Layout) -> Array:
    if request.smallest_size is None:
        return LEAST_SINGLE_SECTION_M2 / layout.cross_section_m2
    return request.smallest_size.rank / layout.rank


def _short_circuit_utilisation(request: ConductorRequest, layout: _Layout) -> Array:
    """Return the adiabatic section over the section, 0 where no fault is stated."""
    if request.fault_current_a is None or request.clearing_time_s is None:
        return np.zeros(1)
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
    return np.asarray(least / (layout.cross_section_m2 * layout.runs))


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
    resistance = candidates.loop_resistance_ohm + request.source_resistance_ohm
    greatest_power = request.supply_voltage_v**2 / (4.0 * float(resistance.min()))
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
        greatest_power_w=greatest_power,
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
    missed = np.where(candidates.passes[:, thinner], -1.0, candidates.utilisation[:, thinner])
    worst = int(missed.argmax())
    return None if missed[worst] < 0.0 else CRITERIA[worst]
