"""Conductor sizing of many rows that differ in numbers only.

The same compiled formulas as the single call runs, row by row. Of each row only the candidates up
to the chosen one are solved, of which the chosen one is kept, and thicker ones on demand.
"""

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled, compiled_in_place, compiled_loop
from loomwright.engineering.conductors.choice import CandidateFrame, ConductorRequest
from loomwright.engineering.conductors.criteria import (
    mechanical_utilisations,
    missed_criteria,
    short_circuit_utilisations,
    utilisations,
)
from loomwright.engineering.conductors.loaded_route import (
    GREATEST_ITERATIONS,
    Route,
    solved_candidate,
)
from loomwright.engineering.conductors.sizing import refuse_hot_ambient, route_through
from loomwright.engineering.conductors.surroundings import surroundings
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.record import record
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]
Digits = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]

VERDICTS = ("conductor_found", "no_conductor_meets_criteria", "no_operating_point")
FOUND, MISSED, NO_POINT = range(3)
# In place of the index of a candidate where none is chosen.
NONE = -1
# In place of the criteria that a candidate misses where it was not solved; no sum of them.
NOT_SOLVED = 255
# Outside them squares and quotients leave the range of floats, where the single call fails.
LEAST_NUMBER, GREATEST_NUMBER = 1e-100, 1e100


@record
class RequestRows:
    """What is asked in every row: one request, but for its numbers.

    Parameters
    ----------
    request
        All that is the same in every row; of what the arrays below state, its numbers do not count.
        A choice is asked for, not a check of a given size.
    tables
        Published ampacities, factors and air.
    segment_lengths_m
        Of each segment in each row, one way [m], rows by segments.
    supply_voltage_v, allowed_voltage_drop_v, source_resistance_ohm
        As the request has them, of each row [V], [V], [ohm].
    load_current_a, load_power_w
        Load of each row [A], [W]; NaN for the one that is not given.
    wiring_fixed_resistance_ohm
        Chassis, joints and fuse of each row [ohm].
    """

    request: ConductorRequest
    tables: Tables
    segment_lengths_m: Array
    supply_voltage_v: Array
    allowed_voltage_drop_v: Array
    load_current_a: Array
    load_power_w: Array
    source_resistance_ohm: Array
    wiring_fixed_resistance_ohm: Array


class CandidateColumns(NamedTuple):
    """Candidates of every row, rows by candidates, as compiled formulas fill them.

    Parameters
    ----------
    failing
        Criteria that are missed as ``Candidates.failing`` has them, or ``NOT_SOLVED``, where the
        others mean nothing.
    load_current_a, voltage_drop_v, conductor_temperature_k, loop_resistance_ohm
        As ``Candidates`` has them [A], [V], [K], [ohm].
    """

    failing: Digits
    load_current_a: Array
    voltage_drop_v: Array
    conductor_temperature_k: Array
    loop_resistance_ohm: Array


@record
class SizedRequestRows:
    """Answer to every row.

    Parameters
    ----------
    verdict
        Index into ``VERDICTS``.
    chosen
        Index of the candidate, ``NONE`` without one.
    candidates
        Of each row the chosen one, if any.
    unusual
        Rows that the single call has to answer, whose entries mean nothing.
    frame
        Candidates, the same in every row; none where the single call refuses all rows.
    """

    verdict: Codes
    chosen: Codes
    candidates: CandidateColumns
    unusual: Mask
    frame: CandidateFrame | None


# Rows of the numbers of a request, after which its segment lengths follow.
SUPPLY, ALLOWED, LOAD_CURRENT, LOAD_POWER, SOURCE, FIXED, LENGTHS = range(7)
# Rows of the limits of the candidates; the last is the most that an ampere is to any segment.
HEAT, PUBLISHED, MECHANICAL, SHORT_CIRCUIT, SHARE_PER_AMPERE = range(5)


@compiled_in_place
def _judged_candidate(
    numbers: Array, row: int, candidate: int, route: Route, limits: Array
) -> tuple[int, bool, bool, float, float, float, float]:
    """Return what a candidate misses, whether it has a point and settled, and its four columns.

    The route's lengths are those of the row.
    """
    current, drop, temperature, _, loop, exists, steps, _ = solved_candidate(
        numbers[row, LOAD_CURRENT],
        numbers[row, LOAD_POWER],
        numbers[row, SUPPLY],
        numbers[row, SOURCE],
        numbers[row, FIXED],
        candidate,
        route,
    )
    used = utilisations(
        drop,
        numbers[row, ALLOWED],
        current,
        limits[HEAT, candidate],
        limits[PUBLISHED, candidate],
        limits[MECHANICAL, candidate],
        limits[SHORT_CIRCUIT, candidate],
    )
    missed = missed_criteria(exists, used)
    return missed, exists, steps <= GREATEST_ITERATIONS, current, drop, temperature, loop


@compiled
def may_pass_cap(power_w: float, emf_v: float, share_per_ampere: float) -> bool:
    """Return whether the current of a constant-power load may heat a segment to the cap.

    No stable current is above that of the collapse, ``2 P / E``. As long as that heats no segment
    to the cap of the model, the power balance is concave in the current, and Newton's method
    settles from the cold circuit: a candidate that need not be solved to know that it does.

    Parameters
    ----------
    power_w
        Of the load [W]; NaN where its current is given.
    emf_v
        Open-circuit voltage of the source [V].
    share_per_ampere
        Greatest share of the cap current that one ampere of the load is [1/A].

    Returns
    -------
    bool
        False for a load whose current is given.
    """
    return bool(2.0 * power_w / emf_v * share_per_ampere > 1.0)


@compiled_in_place
def _take_lengths(numbers: Array, row: int, route: Route) -> None:
    """Give the route the lengths of a row: in place, as one for each row costs more."""
    for segment in range(route.length_m.size):
        route.length_m[segment] = numbers[row, LENGTHS + segment]


@compiled
def _is_within(least: float, value: float) -> bool:
    return least <= value < GREATEST_NUMBER


@compiled_in_place
def _is_ordinary(numbers: Array, row: int) -> bool:
    """Return whether the single call divides by nothing that is 0 and squares nothing too large."""
    power = numbers[row, LOAD_POWER]
    load = numbers[row, LOAD_CURRENT] if math.isnan(power) else power
    ordinary = _is_within(LEAST_NUMBER, load)
    for place in (SUPPLY, ALLOWED):
        ordinary = ordinary and _is_within(LEAST_NUMBER, numbers[row, place])
    for place in (SOURCE, FIXED):
        ordinary = ordinary and _is_within(0.0, numbers[row, place])
    for place in range(LENGTHS, numbers.shape[1]):
        ordinary = ordinary and _is_within(LEAST_NUMBER, numbers[row, place])
    return ordinary


@compiled_loop
def _size_rows(
    numbers: Array,
    route: Route,
    limits: Array,
    chosen: Codes,
    verdict: Codes,
    unusual: Mask,
    columns: CandidateColumns,
) -> None:
    """Choose the first candidate of every row that misses nothing."""
    count = limits.shape[1]
    for row in range(chosen.size):
        if not _is_ordinary(numbers, row):
            unusual[row] = True
            continue
        _take_lengths(numbers, row, route)
        found, any_exists, all_settled = NONE, False, True
        for candidate in range(count):
            if found >= 0 and not may_pass_cap(
                numbers[row, LOAD_POWER], numbers[row, SUPPLY], limits[SHARE_PER_AMPERE, candidate]
            ):
                continue
            missed, exists, settled, current, drop, temperature, loop = _judged_candidate(
                numbers, row, candidate, route, limits
            )
            all_settled = all_settled and settled
            any_exists = any_exists or exists
            if found < 0 and missed == 0:
                found = candidate
                columns.failing[candidate, row] = missed
                columns.load_current_a[candidate, row] = current
                columns.voltage_drop_v[candidate, row] = drop
                columns.conductor_temperature_k[candidate, row] = temperature
                columns.loop_resistance_ohm[candidate, row] = loop
        chosen[row] = found
        if found >= 0:
            verdict[row] = FOUND
        else:
            verdict[row] = MISSED if any_exists else NO_POINT
        unusual[row] = not all_settled


@compiled_loop
def _solve_thicker(
    numbers: Array,
    route: Route,
    limits: Array,
    chosen: Codes,
    rows: Indices,
    columns: CandidateColumns,
) -> None:
    """Solve in some rows, whose numbers these are, what is thicker than the chosen candidate."""
    for place in range(rows.size):
        row = rows[place]
        if chosen[row] >= 0:
            _take_lengths(numbers, place, route)
            for candidate in range(chosen[row] + 1, limits.shape[1]):
                missed, _, _, current, drop, temperature, loop = _judged_candidate(
                    numbers, place, candidate, route, limits
                )
                columns.failing[candidate, row] = missed
                columns.load_current_a[candidate, row] = current
                columns.voltage_drop_v[candidate, row] = drop
                columns.conductor_temperature_k[candidate, row] = temperature
                columns.loop_resistance_ohm[candidate, row] = loop


def size_rows(asked: RequestRows) -> SizedRequestRows:
    """Return the smallest conductor that meets every criterion in every row.

    What ``size_conductor`` answers for each row, to the last digit.

    Parameters
    ----------
    asked
        What is asked in every row.

    Returns
    -------
    SizedRequestRows
        Choice and candidates of every row.
    """
    rows = asked.supply_voltage_v.size
    chosen, verdict = np.full(rows, NONE, np.int16), np.zeros(rows, np.int16)
    unusual = np.zeros(rows, np.bool_)
    try:
        frame, route, limits = _shared(asked)
    except EngineeringError:
        # As it lies in what all rows have in common, the single call raises it for each of them.
        return SizedRequestRows(verdict, chosen, _columns(rows, 0), ~unusual, None)
    columns = _columns(rows, limits.shape[1])
    numbers = _numbers(asked, np.arange(rows))
    _size_rows(numbers, route, limits, chosen, verdict, unusual, _across(columns))
    return SizedRequestRows(verdict, chosen, columns, unusual, frame)


def solve_thicker(
    asked: RequestRows, chosen: Codes, rows: Indices, candidates: CandidateColumns
) -> None:
    """Solve in some rows the candidates that are thicker than the chosen one.

    Parameters
    ----------
    asked
        What is asked in every row; it was answered by ``size_rows`` before.
    chosen
        Index of the chosen candidate of every row.
    rows
        Indices of the rows to solve, none of them unusual.
    candidates
        Columns that are filled in.
    """
    if rows.size:
        _, route, limits = _shared(asked)
        _solve_thicker(_numbers(asked, rows), route, limits, chosen, rows, _across(candidates))


def _numbers(asked: RequestRows, rows: Indices) -> Array:
    """Return the numbers that some rows ask, those of one row together."""
    lengths_m = asked.segment_lengths_m
    numbers = np.empty((rows.size, LENGTHS + lengths_m.shape[1]))
    numbers[:, SUPPLY] = asked.supply_voltage_v[rows]
    numbers[:, ALLOWED] = asked.allowed_voltage_drop_v[rows]
    numbers[:, LOAD_CURRENT] = asked.load_current_a[rows]
    numbers[:, LOAD_POWER] = asked.load_power_w[rows]
    numbers[:, SOURCE] = asked.source_resistance_ohm[rows]
    numbers[:, FIXED] = asked.wiring_fixed_resistance_ohm[rows]
    numbers[:, LENGTHS:] = lengths_m[rows]
    return numbers


def _shared(asked: RequestRows) -> tuple[CandidateFrame, Route, Array]:
    """Return what all rows have in common."""
    request = asked.request
    refuse_hot_ambient(request)
    around = surroundings(request, asked.tables)
    limits = [
        around.frame.heat_ampacity_a,
        around.frame.published_ampacity_a,
        mechanical_utilisations(request, around),
        short_circuit_utilisations(request, around),
        np.maximum.reduce(around.share_per_ampere),
    ]
    return around.frame, route_through(request, around), np.stack(limits)


def _across(columns: CandidateColumns) -> CandidateColumns:
    """Return the columns by candidates and rows, as they lie in memory."""
    failing, *others = columns
    return CandidateColumns(failing.T, *[column.T for column in others])


def _columns(rows: int, candidates: int) -> CandidateColumns:
    """Return columns to fill: by candidate, so that those that nobody solves take no memory."""

    def zeros() -> Array:
        return np.zeros((candidates, rows)).T

    failing = np.full((candidates, rows), NOT_SOLVED, np.uint8).T
    return CandidateColumns(failing, zeros(), zeros(), zeros(), zeros())
