"""What candidates share that a request does not change: sizes, surroundings and their limits.

Kept in bounded memos, because the same few places and conductor families serve most requests.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.ampacity import (
    PUBLISHED_TABLE_BY_SERIES,
    ambient_limits,
    bundling_factor,
    series_properties,
)
from loomwright.engineering.conductors.choice import CandidateFrame, ConductorRequest
from loomwright.engineering.conductors.duty import heating_ratio_of_duty
from loomwright.engineering.conductors.resistance import REFERENCE_TEMPERATURE_K
from loomwright.engineering.conductors.temperature_curve import curve_table
from loomwright.tables.records import ConductorSize, Insulation, Material, Tables

Array = npt.NDArray[np.float64]

LEAST_SINGLE_SECTION_M2 = 1.0e-6


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """Arrays over segments (rows) and candidates (columns), and the frame of the candidates.

    Parameters
    ----------
    ambient_temperature_k
        Of each segment [K].
    ambient_resistance_ohm_per_m
        Of all runs together, and of their return, at the segment's ambient [ohm/m].
    resistance_slope_ohm_per_mk
        Of that resistance by temperature [ohm/(m K)].
    share_per_ampere
        Share of the cap current that one ampere of load current is to one run [1/A].
    curves
        Rise above ambient on that share.
    time_constant_s, heat_ampacity_a, published_ampacity_a
        Thermal time constant [s]; continuous currents of all runs [A].
    frame
        What each candidate is and can carry.
    mechanical_utilisation, no_utilisation
        The usual mechanical least over each cross-section [1], and zeros.
    ranks
        Of the size of each candidate, see ``ConductorSize``.
    """

    ambient_temperature_k: Array
    ambient_resistance_ohm_per_m: Array
    resistance_slope_ohm_per_mk: Array
    share_per_ampere: Array
    curves: Array
    time_constant_s: Array
    heat_ampacity_a: Array
    published_ampacity_a: Array
    frame: CandidateFrame
    mechanical_utilisation: Array
    no_utilisation: Array
    ranks: Array


def surroundings(request: ConductorRequest, tables: Tables) -> Surroundings:
    """Return the surroundings of all candidates of a request.

    Parameters
    ----------
    request
        Conductor family, segments, return path and duty.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    Surroundings
        The same object for the same places and duty.
    """
    places = tuple(
        [
            (segment.ambient_temperature_k, segment.bundled_conductors, segment.engine_space)
            for segment in request.segments
        ]
    )
    family = (request.sizes, request.material, request.insulation)
    runs = max(request.greatest_parallel_runs, request.given_parallel_runs)
    back = request.return_by_conductor
    if request.on_time_s is None:
        return _steady_surroundings(*family, runs, places, back, tables)
    off_time_s = request.off_time_s or 0.0
    return _cyclic_surroundings(*family, runs, places, back, tables, request.on_time_s, off_time_s)


def _frame(
    sizes: tuple[ConductorSize, ...],
    runs: npt.NDArray[np.int64],
    cross_section_m2: Array,
    heat_ampacity_a: Array,
    published_ampacity_a: Array,
) -> CandidateFrame:
    """Return the frame with the ampacities of the least favourable segment."""
    heat = np.minimum.reduce(heat_ampacity_a)
    published = np.minimum.reduce(published_ampacity_a)
    return CandidateFrame(
        sizes=sizes,
        parallel_runs=runs,
        cross_section_m2=cross_section_m2,
        heat_ampacity_a=heat,
        published_ampacity_a=published,
        ampacity_a=np.fmin(heat, published),
        ampacity_is_published=published < heat,
    )


@lru_cache(maxsize=1024)
def _cyclic_surroundings(
    sizes: tuple[ConductorSize, ...],
    material: Material,
    insulation: Insulation,
    greatest_runs: int,
    places: tuple[tuple[float, int, bool], ...],
    return_by_conductor: bool,
    tables: Tables,
    on_time_s: float,
    off_time_s: float,
) -> Surroundings:
    """Return the surroundings of a cyclic load; the rest as for a continuous one."""
    steady = _steady_surroundings(
        sizes, material, insulation, greatest_runs, places, return_by_conductor, tables
    )
    heating = np.sqrt(heating_ratio_of_duty(on_time_s, off_time_s, steady.time_constant_s))
    frame = _frame(
        steady.frame.sizes,
        steady.frame.parallel_runs,
        steady.frame.cross_section_m2,
        steady.heat_ampacity_a / heating,
        steady.published_ampacity_a / heating,
    )
    return replace(
        steady,
        share_per_ampere=steady.share_per_ampere * heating,
        frame=frame,
    )


@lru_cache(maxsize=1024)
def _steady_surroundings(
    sizes: tuple[ConductorSize, ...],
    material: Material,
    insulation: Insulation,
    greatest_runs: int,
    places: tuple[tuple[float, int, bool], ...],
    return_by_conductor: bool,
    tables: Tables,
) -> Surroundings:
    """Return the surroundings of a continuous load; places are ambient, bundle, engine space."""
    properties = series_properties(sizes, material, insulation, tables.materials["copper"])
    table = PUBLISHED_TABLE_BY_SERIES[sizes[0].series]
    runs = np.repeat(np.arange(1, greatest_runs + 1), len(sizes))
    limits = [
        ambient_limits(properties, ambient, engine_space, tables)
        for ambient, _, engine_space in places
    ]

    def stacked(name: str) -> Array:
        return np.stack([np.concatenate([getattr(row, name)] * greatest_runs) for row in limits])

    def tiled(values: object) -> Array:
        return np.tile(np.asarray(values, float), greatest_runs)

    # Each run beyond the first adds itself to the bundle, and its return if that lies beside it.
    added = 2 if return_by_conductor else 1
    bundling = np.array(
        [
            [bundling_factor(tables, table, bundled + added * (int(count) - 1)) for count in runs]
            for _, bundled, _ in places
        ]
    )
    # The share of the load current that one run feels, as a steady current in free air.
    share = 1.0 / (runs * bundling)
    ambient = np.array([place[0] for place in places])
    ways = 2.0 if return_by_conductor else 1.0
    at_20c = tiled(properties.conductor.resistance_20c_ohm_per_m) * (ways / runs)
    slope = at_20c * tiled(properties.conductor.temperature_coefficient_20c_per_k)
    heat_ampacity = stacked("ampacity_a") / share
    published = stacked("published_ampacity_a") / share
    section = tiled(properties.cross_section_m2)
    frame = _frame(sizes * greatest_runs, runs, section, heat_ampacity, published)
    return Surroundings(
        ambient_temperature_k=ambient,
        ambient_resistance_ohm_per_m=at_20c + slope * (ambient[:, None] - REFERENCE_TEMPERATURE_K),
        resistance_slope_ohm_per_mk=slope,
        share_per_ampere=share / stacked("cap_current_a"),
        curves=curve_table(stacked("temperature_curve")),
        time_constant_s=stacked("time_constant_s"),
        heat_ampacity_a=heat_ampacity,
        published_ampacity_a=published,
        frame=frame,
        mechanical_utilisation=LEAST_SINGLE_SECTION_M2 / section,
        no_utilisation=np.zeros(section.size),
        ranks=np.array([size.rank for size in frame.sizes]),
    )
