"""Sensitivity of conductor sizing: the outcome of one sizing, and cable of other resistance."""

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from types import MappingProxyType

from loomwright.engineering.conductors.choice import ConductorAnswer
from loomwright.engineering.conductors.resistance import resistance_20c_ohm_per_m
from loomwright.engineering.sensitivity.bands import Outcome
from loomwright.tables.records import Material, Tables
from loomwright.tables.tolerance_records import Tolerance

CONDUCTOR_RESISTANCE = "conductor_resistance"


def conductor_outcome(answer: ConductorAnswer, watched: int | None) -> Outcome:
    """Return the outcome of one sizing.

    Parameters
    ----------
    answer
        Of ``size_conductor``.
    watched
        The candidate whose drop and temperature are results: the one that is installed whatever
        the inputs turn out to be. None where nothing was chosen.

    Returns
    -------
    Outcome
        Results: voltage drop [V] and conductor temperature [K], neither without an operating point.
        Choice: verdict, size and number of runs of the chosen or checked candidate. Strain:
        utilisation of the criteria, greatest first.
    """
    found = answer.candidates
    index = chosen_candidate(answer)
    results = (math.nan, math.nan)
    if watched is not None and found.operating_point_exists[watched]:
        results = (
            float(found.voltage_drop_v[watched]),
            float(found.conductor_temperature_k[watched]),
        )
    strained = int(found.loop_resistance_ohm.argmin()) if watched is None else watched
    return Outcome(
        results=results,
        choice=(answer.verdict, None, None)
        if index is None
        else (answer.verdict, found.sizes[index].key, int(found.parallel_runs[index])),
        strain=tuple(sorted(found.utilisation[:, strained].tolist(), reverse=True)),
    )


def chosen_candidate(answer: ConductorAnswer) -> int | None:
    """Return the candidate that an answer is about: the checked one, or else the chosen one."""
    return answer.chosen if answer.checked is None else answer.checked


def conductor_resistance_tolerance(
    series: str, material: Material, known: Mapping[str, Tolerance]
) -> Tolerance:
    """Return the tolerance of the resistance of listed cable, as a share of it.

    Parameters
    ----------
    series
        Of the conductor.
    material
        Its metal.
    known
        Tolerances by key.

    Returns
    -------
    Tolerance
        That of the series, and for a clad metal that of its copper content on top; the provenance
        is then that of the content, which is the greater part.
    """
    by_size = known[f"{CONDUCTOR_RESISTANCE}_{series}"]
    by_metal = known.get(f"{CONDUCTOR_RESISTANCE}_{material.key}")
    if by_metal is None:
        return by_size
    return Tolerance(
        key=by_metal.key,
        is_share=True,
        below=1.0 - (1.0 - by_size.below) * (1.0 - by_metal.below),
        above=(1.0 + by_size.above) * (1.0 + by_metal.above) - 1.0,
        provenance=by_metal.provenance,
    )


@lru_cache(maxsize=64)
def tables_with_resistance(
    tables: Tables, series: str, material: Material, resistance_share: float
) -> Tables:
    """Return the tables with cable of one series in one metal of another resistance.

    Few factors serve all requests, as they come from the table of tolerances; the memos behind the
    sizing know a table by its identity.

    Parameters
    ----------
    tables
        All tables.
    series
        Of the cable.
    material
        Its metal.
    resistance_share
        Resistance at 20 C over that of the tables [1], above 0.

    Returns
    -------
    Tables
        With that series changed and all else as it was.
    """
    copper = tables.materials["copper"]
    changed = tuple(
        replace(
            size,
            resistance_20c_ohm_per_m=MappingProxyType(
                {material.key: resistance_share * resistance_20c_ohm_per_m(size, material, copper)}
            ),
        )
        for size in tables.series[series]
    )
    return replace(
        tables,
        conductors=MappingProxyType({**tables.conductors, **{size.key: size for size in changed}}),
        series=MappingProxyType({**tables.series, series: changed}),
    )
