"""Fuse of one circuit in many rows that differ in numbers only.

The choice of ``size_fuse`` hangs on the numbers of a row through three figures alone: the current
of the load, the fault at the fuse and the fault at the far end; the first decides the listed rating
that each type comes to. All else belongs to the circuit, to the conductor behind the fuse, or to
the conductor with one type and rating: the other bounds, the damage curve, and the near-source
faults up to which that fuse protects that conductor. This is worked out by the functions of the
single call, once for each case that comes up in any row (``fuse_terms``); what is left is
arithmetic that both share (``rating_rules``, ``faults``, ``protection``). The upstream fuse
decides only where selectivity is required, and drop and temperature decide nothing.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compilable, compiled
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.damage import DamageCurve, time_on_line_s
from loomwright.engineering.protection.faults import limited_current_a
from loomwright.engineering.protection.fuse_answer import TYPE_FAILURES, VERDICTS
from loomwright.engineering.protection.fuse_coordination import (
    BY_TIME_AT_FAULT,
    NOT_PROTECTED,
    PROTECTED,
    ProtectionLimits,
    fuse_set,
    opens_in_time,
    protection,
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
FIRST_ROWS = 300
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
        entries = _Entries(found.verdict, found.fuse_type, found.rated_current_a)
        figures = _figures(rows, candidate, numbers, self._terms, found.verdict)
        waiting = np.flatnonzero(found.verdict == WAITING)
        # The first few rows come to most of the cases, so that the others hardly wait for any.
        for part in (waiting[:FIRST_ROWS], waiting[FIRST_ROWS:]):
            self._judge(part, candidate, figures, entries)
        return found

    def _judge(
        self, waiting: Indices, candidate: Indices, figures: "_Figures", entries: "_Entries"
    ) -> None:
        while waiting.size:
            _judge(waiting, candidate, figures, self._terms, entries)
            waiting = waiting[entries.verdict[waiting] == WAITING]
            if waiting.size:
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


class _Figures(NamedTuple):
    """What the fuse of each row is judged by."""

    current_a: Array
    starting_a: Array
    near_a: Array
    far_a: Array
    common_lower_a: Array


class _Entries(NamedTuple):
    """Columns of ``FusedRows`` as they are filled in."""

    verdict: Codes
    fuse_type: Codes
    rated_current_a: Array


# Records of arrays are taken apart before a loop: one that is handed on for each row would cost
# more than all arithmetic, as each of its arrays is counted as used and as released again.


@compiled
def _figures(
    rows: Indices, candidates: Indices, numbers: FuseNumbers, terms: FuseTerms, verdict: Codes
) -> _Figures:
    """Return load and faults of each row, and enter which rows the single call has to answer."""
    of_current, of_loop, of_start, of_emf, of_internal, of_before, of_limit = numbers
    state, share, loading = terms.state, terms.continuous_share, terms.loading_factor
    ambient, equipment, feed = terms.ambient_factor, terms.equipment_a, terms.feed_resistance_ohm
    current, starting, common = np.empty(rows.size), np.empty(rows.size), np.empty(rows.size)
    near, far = np.empty(rows.size), np.empty(rows.size)
    for index in range(rows.size):
        row, candidate = rows[index], candidates[index]
        emf_v, internal_ohm, before_ohm = of_emf[row], of_internal[row], of_before[row]
        feed_ohm, loop_ohm = feed[candidate], of_loop[row, candidate]
        near_a = limited_current_a(emf_v, internal_ohm, before_ohm, feed_ohm, of_limit[row])
        far_a = limited_current_a(emf_v, internal_ohm, before_ohm, loop_ohm, of_limit[row])
        current_a, factor = of_current[row, candidate], ambient[candidate]
        load_a = rating_to_carry_a(current_a * share[candidate], loading[candidate], factor)
        near[index], far[index], current[index] = near_a, far_a, current_a
        starting[index] = starting_current_a(of_start[row], current_a)
        common[index] = max(load_a, equipment[candidate])
        is_answered = state[candidate] == KNOWN and current_a > 0.0 and emf_v > 0.0
        # A fault may be NaN as well as infinite.
        if not (is_answered and near_a < math.inf and far_a < math.inf):
            verdict[index] = UNUSUAL
    return _Figures(current, starting, near, far, common)


@compilable
def _lower_a(
    common_a: float,
    current_a: float,
    starting_a: float,
    cyclic_multiple: float,
    inrush_multiple: float,
    ambient_factor: float,
) -> float:
    """Return the greatest lower bound of a type; a multiple is NaN where there is no such peak."""
    lower_a = common_a
    if not math.isnan(starting_a) and not math.isnan(inrush_multiple):
        lower_a = max(lower_a, rating_to_carry_a(starting_a, inrush_multiple, ambient_factor))
    if not math.isnan(cyclic_multiple):
        lower_a = max(lower_a, rating_to_carry_a(current_a, cyclic_multiple, ambient_factor))
    return lower_a


@compilable
def _place_of_rating(listed_a: Array, place: int, lower_a: float) -> int:
    """Return the least listed rating that serves; an infinite one follows the last."""
    rating, least_a = 0, least_listed_a(lower_a)
    while listed_a[place, rating] < least_a:
        rating += 1
    return rating


@compilable
def _limits(margin: Array, candidate: int, place: int, rating: int) -> ProtectionLimits:
    return ProtectionLimits(
        margin[candidate, place, rating, 0],
        margin[candidate, place, rating, 1],
        margin[candidate, place, rating, 2],
        margin[candidate, place, rating, 3],
    )


@compiled
def _judge(
    waiting: Indices,
    candidates: Indices,
    figures: _Figures,
    terms: FuseTerms,
    entries: _Entries,
) -> None:
    """Enter verdict, type and rating of the rows that are waiting, or what they wait for."""
    of_current, of_start, of_near, of_far, of_common = figures
    verdict, fuse_type, rated_current_a = entries
    ambient, conductor, parallel = (
        terms.ambient_factor,
        terms.conductor_a,
        terms.parallel_conductors,
    )
    threshold, log_excess, log_time = terms.threshold_current_a, terms.log_excess, terms.log_time
    of_types, breaking, listed = terms.of_type, terms.breaking_capacity_a, terms.rating_a
    cyclic, inrush, far_end = terms.cyclic_multiple, terms.inrush_multiple, terms.far_end_multiple
    margin_state, margin, verdict_found = terms.margin_state, terms.margin, terms.verdict_found
    types = listed.shape[0]
    failing, ratings = np.empty(types, np.int64), np.empty(types, np.int64)
    for index in waiting:
        candidate, near_a = candidates[index], of_near[index]
        factor, conductor_a = ambient[candidate], conductor[candidate]
        judged, failed = 0, 1
        while judged < types and failed > 0:
            place, judged = judged, judged + 1
            of_type = of_types[candidate, place]
            lower_a, far_end_a = of_common[index], math.inf
            if of_type & CURVE_NOT_PUBLISHED == 0:
                carried = cyclic[candidate, place], inrush[candidate, place]
                lower_a = _lower_a(lower_a, of_current[index], of_start[index], *carried, factor)
                far_end_a = rating_to_open_a(of_far[index], far_end[candidate, place], factor)
            bounds = RatingBounds(lower_a, conductor_a, far_end_a, math.inf)
            rating = _place_of_rating(listed, place, lower_a)
            rating_a = listed[place, rating] if listed[place, rating] < math.inf else math.nan
            if lacks_breaking_capacity(breaking[candidate, place], near_a):
                of_type |= BREAKING_TOO_LOW
            failed = failures_of_rating(of_type, rating_a, bounds, False, True)
            if failed == 0 and margin_state[candidate, place, rating] != KNOWN:
                margin_state[candidate, place, rating] = WANTED
                failed = WAITING
            elif failed == 0:
                # Protection is the last of the failures: it matters where nothing else fails.
                limits = _limits(margin, candidate, place, rating)
                found = protection(limits, near_a)
                if found == BY_TIME_AT_FAULT:
                    curve = threshold[candidate], log_excess[candidate], log_time[candidate]
                    at_fault_s = time_on_line_s(near_a / parallel[candidate], *curve)
                    in_time = opens_in_time(limits.last_greatest_s, at_fault_s)
                    found = PROTECTED if in_time else NOT_PROTECTED
                is_protected = found == PROTECTED
                failed = failures_of_rating(of_type, rating_a, bounds, False, is_protected)
            failing[place], ratings[place] = failed, rating
        if failed == WAITING:
            continue
        chosen, failure = first_that_fits(failing[:judged], of_common[index] > conductor_a)
        if chosen == NONE:
            verdict[index] = FIRST_FAILURE + failure
        else:
            verdict[index] = verdict_found[candidate]
            fuse_type[index] = chosen
            rated_current_a[index] = listed[chosen, ratings[chosen]]
