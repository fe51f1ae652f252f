"""Fuse of one circuit in many rows that differ in numbers only.

The choice of ``size_fuse`` hangs on the numbers of a row through three figures alone: the current
of the load, the fault at the fuse and the fault at the far end; the first decides the listed rating
that each type comes to. All else belongs to the circuit, to the conductor behind the fuse, or to
the conductor with one type and rating: the other bounds, the damage curve, and the near-source
faults up to which that fuse protects that conductor. This is worked out by the functions of the
single call, once for each case that comes up in any row (``fuse_terms``); what is left is
arithmetic that both share (``rating_rules``, ``faults``, ``is_protected``). The upstream fuse
decides only where selectivity is required, and drop and temperature decide nothing.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compilable, compiled
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.damage import DamageCurve
from loomwright.engineering.protection.faults import limited_current_a
from loomwright.engineering.protection.fuse_answer import TYPE_FAILURES, VERDICTS
from loomwright.engineering.protection.fuse_coordination import (
    ProtectionLimits,
    fuse_set,
    is_protected,
)
from loomwright.engineering.protection.fuse_request import FuseRequest
from loomwright.engineering.protection.fuse_terms import (
    KNOWN,
    LEFT_TO_SINGLE_CALL,
    NOT_LOOKED_UP,
    WANTED,
    FuseTerms,
    look_up_candidate,
    look_up_margins,
    no_terms,
)
from loomwright.engineering.protection.rating_rules import (
    BREAKING_TOO_LOW,
    CURVE_NOT_PUBLISHED,
    RatingBounds,
    failures_of_rating,
    first_that_fits,
    lacks_breaking_capacity,
    least_listed_a,
    rating_to_carry_a,
    rating_to_open_a,
    starting_current_a,
)
from loomwright.engineering.record import record
from loomwright.tables.fuse_records import FuseTables

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]
Digits = npt.NDArray[np.int64]
Indices = npt.NDArray[np.int64]

# In place of an index where there is none.
NONE = -1
# In place of a verdict where the single call has to answer, and where a margin is not known yet.
UNUSUAL, WAITING = -1, -2
FIRST_FAILURE = VERDICTS.index(TYPE_FAILURES[0])


class FuseNumbers(NamedTuple):
    """Numbers of every row of one circuit.

    Parameters
    ----------
    current_a, loop_resistance_ohm
        Current of the load [A], and resistance of the wiring there and back at working temperature
        [ohm], rows by candidates.
    starting_current_a
        Of what starts together [A], at least the current of the load counts; NaN without.
    emf_v, internal_resistance_ohm, resistance_before_fuse_ohm, current_limit_a
        Of the source as ``FaultSource`` has them; the limit is infinite without one.
    """

    current_a: Array
    loop_resistance_ohm: Array
    starting_current_a: Array
    emf_v: Array
    internal_resistance_ohm: Array
    resistance_before_fuse_ohm: Array
    current_limit_a: Array


@record
class FusedRows:
    """Fuse of some rows.

    Parameters
    ----------
    verdict
        Index into ``VERDICTS``; ``UNUSUAL`` where the single call has to answer.
    fuse_type
        Place in the wanted types, ``NONE`` without a fuse.
    rated_current_a
        Rating [A], NaN without a fuse.
    """

    verdict: Codes
    fuse_type: Codes
    rated_current_a: Array


class CircuitFuses:
    """Chooses the fuses of one circuit, row by row, before any candidate conductor.

    Parameters
    ----------
    request_of
        Circuit with one of the candidate conductors; the load's current, the source and the
        resistance of the loop in it do not count, as each row has its own.
    candidates
        How many conductors there are.
    fuse_types
        Wanted types, as the requests have them.
    tables
        Fuse types and rules.

    Raises
    ------
    EngineeringError
        ``unknown_fuse_type``.
    """

    def __init__(
        self,
        request_of: Callable[[int], FuseRequest],
        candidates: int,
        fuse_types: tuple[str, ...],
        tables: FuseTables,
    ) -> None:
        self._request_of = request_of
        self._fuses = fuse_set(tables, fuse_types)
        self._terms = no_terms(self._fuses, candidates)
        self._curves: dict[int, DamageCurve] = {}

    def of_rows(self, rows: Indices, candidate: Indices, numbers: FuseNumbers) -> FusedRows:
        """Return the fuse of some rows.

        Parameters
        ----------
        rows
            Indices of the rows.
        candidate
            Index of the conductor of each of them.
        numbers
            Numbers of every row.

        Returns
        -------
        FusedRows
            As ``size_fuse`` chooses them, in the order of ``rows``.
        """
        self._look_up(candidate)
        found = FusedRows(
            np.full(rows.size, WAITING, np.int16),
            np.full(rows.size, NONE, np.int16),
            np.full(rows.size, np.nan),
        )
        waiting = np.arange(rows.size)
        while True:
            _judge(
                waiting,
                rows,
                candidate,
                numbers,
                self._terms,
                found.verdict,
                found.fuse_type,
                found.rated_current_a,
            )
            waiting = waiting[found.verdict[waiting] == WAITING]
            if waiting.size == 0:
                return found
            look_up_margins(self._terms, self._curves, self._fuses)

    def _look_up(self, candidate: Indices) -> None:
        asked = np.bincount(candidate, minlength=self._terms.state.size) > 0
        for index in np.flatnonzero(asked & (self._terms.state == NOT_LOOKED_UP)).tolist():
            try:
                request = self._request_of(index)
                curve = look_up_candidate(self._terms, index, request, self._fuses)
            except EngineeringError:
                # The single call states what is wrong, in each row that comes to this conductor.
                self._terms.state[index] = LEFT_TO_SINGLE_CALL
                continue
            if curve is not None:
                self._curves[index] = curve


@compilable
def _bounds(
    terms: FuseTerms,
    candidate: int,
    place: int,
    current_a: float,
    starting_a: float,
    common_lower_a: float,
    far_end_fault_a: float,
) -> RatingBounds:
    """Return the bounds on the rating of one type."""
    if terms.of_type[candidate, place] & CURVE_NOT_PUBLISHED:
        return RatingBounds(common_lower_a, terms.conductor_a[candidate], math.inf, math.inf)
    factor, lower_a = terms.ambient_factor[candidate], common_lower_a
    carried = terms.inrush_multiple[candidate, place]
    if not math.isnan(starting_a) and not math.isnan(carried):
        lower_a = max(lower_a, rating_to_carry_a(starting_a, carried, factor))
    carried = terms.cyclic_multiple[candidate, place]
    if not math.isnan(carried):
        lower_a = max(lower_a, rating_to_carry_a(current_a, carried, factor))
    multiple = terms.far_end_multiple[candidate, place]
    far_end_a = rating_to_open_a(far_end_fault_a, multiple, factor)
    return RatingBounds(lower_a, terms.conductor_a[candidate], far_end_a, math.inf)


@compilable
def _holds(terms: FuseTerms, candidate: int, place: int, rating: int, near_a: float) -> bool:
    """Return whether a fuse protects the conductor."""
    margin = terms.margin[candidate, place, rating]
    return is_protected(
        ProtectionLimits(margin[0], margin[1], margin[2], margin[3]),
        near_a,
        terms.parallel_conductors[candidate],
        terms.threshold_current_a[candidate],
        terms.log_excess[candidate],
        terms.log_time[candidate],
    )


@compilable
def _failures(
    terms: FuseTerms,
    candidate: int,
    place: int,
    rating: int,
    bounds: RatingBounds,
    near_a: float,
) -> int:
    """Return what speaks against a type with a listed rating, or ``WAITING`` for its margin."""
    rating_a = terms.rating_a[place, rating]
    of_type = terms.of_type[candidate, place]
    if lacks_breaking_capacity(terms.breaking_capacity_a[candidate, place], near_a):
        of_type |= BREAKING_TOO_LOW
    if math.isinf(rating_a):
        rating_a = math.nan
    failures = failures_of_rating(of_type, rating_a, bounds, False, True)
    if failures != 0:
        # Protection is the last of the failures: it matters where nothing else fails.
        return failures
    if terms.margin_state[candidate, place, rating] != KNOWN:
        return WAITING
    holds = _holds(terms, candidate, place, rating, near_a)
    return failures_of_rating(of_type, rating_a, bounds, False, holds)


@compilable
def _common_lower_a(terms: FuseTerms, candidate: int, current_a: float) -> float:
    """Return the greatest of the lower bounds that all types share."""
    load_a = rating_to_carry_a(
        current_a * terms.continuous_share[candidate],
        terms.loading_factor[candidate],
        terms.ambient_factor[candidate],
    )
    equipment_a: float = terms.equipment_a[candidate]
    return max(load_a, equipment_a)


@compilable
def _faults_a(
    terms: FuseTerms, candidate: int, numbers: FuseNumbers, row: int
) -> tuple[float, float]:
    """Return the fault at the fuse and the one at the far end."""
    source = (
        numbers.emf_v[row],
        numbers.internal_resistance_ohm[row],
        numbers.resistance_before_fuse_ohm[row],
    )
    limit_a = numbers.current_limit_a[row]
    loop_ohm = numbers.loop_resistance_ohm[row, candidate]
    return (
        limited_current_a(*source, terms.feed_resistance_ohm[candidate], limit_a),
        limited_current_a(*source, loop_ohm, limit_a),
    )


@compiled
def _judge(
    waiting: Indices,
    rows: Indices,
    candidates: Indices,
    numbers: FuseNumbers,
    terms: FuseTerms,
    verdict: Codes,
    fuse_type: Codes,
    rated_current_a: Array,
) -> None:
    """Enter verdict, type and rating of the rows that are waiting, or what they wait for."""
    types = terms.rating_a.shape[0]
    failing, ratings = np.empty(types, np.int64), np.empty(types, np.int64)
    for index in waiting:
        row, candidate = rows[index], candidates[index]
        current_a = numbers.current_a[row, candidate]
        near_a, far_a = _faults_a(terms, candidate, numbers, row)
        if terms.state[candidate] != KNOWN or not (
            current_a > 0.0 and numbers.emf_v[row] > 0.0 and near_a < math.inf and far_a < math.inf
        ):
            verdict[index] = UNUSUAL
            continue
        starting_a = starting_current_a(numbers.starting_current_a[row], current_a)
        lower_a = _common_lower_a(terms, candidate, current_a)
        place = 0
        while place < types:
            bounds = _bounds(terms, candidate, place, current_a, starting_a, lower_a, far_a)
            # The last listed rating is followed by an infinite one.
            rating = int(np.searchsorted(terms.rating_a[place], least_listed_a(bounds.lower_a)))
            failing[place] = _failures(terms, candidate, place, rating, bounds, near_a)
            ratings[place] = rating
            if failing[place] <= 0:
                break
            place += 1
        if place < types and failing[place] == WAITING:
            terms.margin_state[candidate, place, ratings[place]] = WANTED
            continue
        chosen, failure = first_that_fits(
            failing[: place + 1], lower_a > terms.conductor_a[candidate]
        )
        if chosen == NONE:
            verdict[index] = FIRST_FAILURE + failure
        else:
            verdict[index] = terms.verdict_found[candidate]
            fuse_type[index] = chosen
            rated_current_a[index] = terms.rating_a[chosen, ratings[chosen]]
