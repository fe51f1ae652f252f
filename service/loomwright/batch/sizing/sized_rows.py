"""Conductor and fuse of every circuit in many rows of one job, from the source outwards."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.sizing.conductor_columns import NONE, NOT_SOLVED, ConductorRows
from loomwright.batch.sizing.conductor_rows import conductor_rows
from loomwright.batch.sizing.known_fuses import KnownFuses
from loomwright.batch.sizing.sizes import CircuitSizes, SizedRows
from loomwright.batch.sizing.source_rows import SourceRows, fault_source_rows
from loomwright.batch.variation import Variation
from loomwright.engineering.compiled import compiled
from loomwright.engineering.protection.fuse_answer import FUSE_FOUND, VERDICTS
from loomwright.engineering.protection.fuse_rows import (
    UNUSUAL,
    CircuitFuses,
    FuseNumbers,
)
from loomwright.engineering.record import record
from loomwright.jobs import sized_circuit
from loomwright.jobs.circuit_conductors import feeding_source
from loomwright.jobs.circuit_fuses import CURED_BY_THICKNESS, next_passing
from loomwright.jobs.fuse_requests import stated_starting_current_a
from loomwright.jobs.job import Circuit, Job
from loomwright.tables.load import tables

Array = npt.NDArray[np.float64]
Digits = npt.NDArray[np.uint8]
Indices = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

SIZED = sized_circuit.VERDICTS.index(sized_circuit.SIZED)
NO_CONDUCTOR = sized_circuit.VERDICTS.index(sized_circuit.NO_CONDUCTOR)
NO_FUSE = sized_circuit.VERDICTS.index(sized_circuit.NO_FUSE)
NO_FEEDER = sized_circuit.VERDICTS.index(sized_circuit.NO_FEEDER)
IS_FOUND = np.array([verdict == FUSE_FOUND for verdict in VERDICTS])
IS_CURED_BY_THICKNESS = np.array([verdict in CURED_BY_THICKNESS for verdict in VERDICTS])


@record
class _Sized:
    """A circuit in every row, and what circuits behind it need of it."""

    sizes: CircuitSizes
    resistance_to_end_ohm: Array
    unusual: Mask


def sized_rows(variation: Variation, known: KnownFuses | None = None) -> SizedRows:
    """Return conductor and fuse of every circuit in every row of one job.

    Parameters
    ----------
    variation
        Rows of one job.
    known
        Fuses looked up for jobs before, if any; those that are looked up now join them.

    Returns
    -------
    SizedRows
        Each row as ``sized_circuits`` has it of the job of that row.
    """
    job = variation.job
    conductors = conductor_rows(variation, tables())
    sources = {key: fault_source_rows(variation, key) for key in job.power_sources}
    unusual = np.zeros(variation.count, np.bool_)
    found: dict[str, _Sized] = {}
    fuses = known or KnownFuses()
    for circuit in job.circuits:
        source = sources[feeding_source(job, circuit).key]
        feeder = found.get(circuit.fed_from)
        sized = _sized(job, circuit, conductors[circuit.key], source, feeder, fuses)
        found[circuit.key] = sized
        unusual |= sized.unusual
    return SizedRows({key: sized.sizes for key, sized in found.items()}, unusual)


def _sized(
    job: Job,
    circuit: Circuit,
    conductors: ConductorRows,
    source: SourceRows,
    feeder: _Sized | None,
    known: KnownFuses,
) -> _Sized:
    """Return one circuit; that before it, if any, is sized already."""
    count = conductors.chosen.size
    before_ohm = np.zeros(count) if feeder is None else feeder.resistance_to_end_ohm
    choice = _Choice(
        np.full(count, NO_CONDUCTOR, np.int16),
        np.full(count, NONE, np.int64),
        np.full(count, NONE, np.int16),
        np.full(count, np.nan),
        conductors.unusual.copy(),
    )
    has_conductor = conductors.known & (conductors.chosen != NONE)
    choice.verdict[has_conductor] = NO_FEEDER
    if feeder is not None:
        has_conductor &= feeder.sizes.verdict == SIZED
    rows = np.flatnonzero(has_conductor & ~conductors.unusual)
    if rows.size:
        # A row has a conductor.
        assert conductors.request is not None
        assert conductors.frame is not None
        _choose(
            choice,
            rows,
            conductors,
            known.of(job, circuit, conductors.request, conductors.frame),
            FuseNumbers(
                conductors.current_a,
                conductors.loop_resistance_ohm,
                np.full(count, stated_starting_current_a(job, circuit)),
                source.emf_v,
                source.internal_resistance_ohm,
                before_ohm,
                source.current_limit_a,
            ),
        )
    loop_ohm = _of_candidates(conductors.loop_resistance_ohm, choice.candidate)
    return _Sized(
        CircuitSizes(
            verdict=choice.verdict,
            size=_size_indices(circuit, conductors)[choice.candidate],
            fuse_type=choice.fuse_type,
            rated_current_a=choice.rated_current_a,
            load_current_a=_of_candidates(conductors.current_a, choice.candidate),
            voltage_drop_v=_of_candidates(conductors.drop_v, choice.candidate),
            conductor_temperature_k=_of_candidates(conductors.temperature_k, choice.candidate),
        ),
        before_ohm + loop_ohm,
        choice.unusual,
    )


class _Choice(NamedTuple):
    """What is chosen in every row."""

    verdict: npt.NDArray[np.int16]
    candidate: Indices
    fuse_type: npt.NDArray[np.int16]
    rated_current_a: Array
    unusual: Mask


def _choose(
    choice: _Choice,
    rows: Indices,
    conductors: ConductorRows,
    fuses: CircuitFuses,
    numbers: FuseNumbers,
) -> None:
    """Enter fuse and conductor of some rows, thicker ones where the fuse calls for them."""
    candidate = conductors.chosen[rows].astype(np.int64)
    choice.verdict[rows] = NO_FUSE
    choice.candidate[rows] = candidate
    is_thickened = False
    while rows.size:
        fused = fuses.of_rows(rows, candidate, numbers)
        columns = _Fused(fused.verdict, fused.fuse_type, fused.rated_current_a)
        goes_on = _enter(choice, rows, candidate, columns)
        rows, candidate = rows[goes_on], candidate[goes_on]
        if rows.size and not is_thickened:
            conductors.solve_thicker(rows)
            is_thickened = True
        candidate, is_solved = _next_candidates(conductors.failing, rows, candidate)
        choice.unusual[rows[~is_solved]] = True
        goes_on = is_solved & (candidate != NONE)
        rows, candidate = rows[goes_on], candidate[goes_on]


class _Fused(NamedTuple):
    """Columns of ``FusedRows``."""

    verdict: npt.NDArray[np.int16]
    fuse_type: npt.NDArray[np.int16]
    rated_current_a: Array


@compiled
def _enter(choice: _Choice, rows: Indices, candidate: Indices, fused: _Fused) -> Mask:
    """Enter the fuses that are found, and return which rows go on to a thicker conductor."""
    verdict, chosen, fuse_type, rated_current_a, unusual = choice
    code, fused_type, fused_rating = fused
    goes_on = np.zeros(rows.size, np.bool_)
    for place in range(rows.size):
        row = rows[place]
        if code[place] == UNUSUAL:
            unusual[row] = True
        elif IS_FOUND[code[place]]:
            verdict[row], chosen[row] = SIZED, candidate[place]
            fuse_type[row], rated_current_a[row] = fused_type[place], fused_rating[place]
        else:
            goes_on[place] = IS_CURED_BY_THICKNESS[code[place]]
    return goes_on


@compiled
def _next_candidates(failing: Digits, rows: Indices, candidate: Indices) -> tuple[Indices, Mask]:
    """Return the next conductor of each row, and whether those up to it are known."""
    following = np.empty(rows.size, np.int64)
    is_solved = np.ones(rows.size, np.bool_)
    for place in range(rows.size):
        of_row = failing[rows[place]]
        following[place] = next_passing(of_row, candidate[place])
        last = following[place] if following[place] != NONE else of_row.size - 1
        for index in range(candidate[place] + 1, last + 1):
            is_solved[place] &= of_row[index] != NOT_SOLVED
    return following, is_solved


@compiled
def _of_candidates(figures: Array, candidate: Indices) -> Array:
    """Return a figure of the candidate of each row, NaN where there is none."""
    found = np.full(candidate.size, np.nan)
    for row in range(candidate.size):
        if candidate[row] != NONE:
            found[row] = figures[row, candidate[row]]
    return found


def _size_indices(circuit: Circuit, conductors: ConductorRows) -> npt.NDArray[np.int16]:
    """Return the place of each candidate in its series; the last is of no candidate."""
    series = tables().series[circuit.conductor.series]
    places = {id(size): place for place, size in enumerate(series)}
    return np.array([*[places[id(size)] for size in conductors.sizes], NONE], np.int16)
