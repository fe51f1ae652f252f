"""Choose, or check, the fuse of one circuit in every wanted fuse type.

For each type the smallest standard rating inside its window is the candidate: a larger one opens
later at every current, so it protects, clears and selects worse.
"""

import math
from bisect import bisect_left
from functools import lru_cache

from loomwright.engineering.protection import fuse_answer as answers
from loomwright.engineering.protection import fuse_bounds as bounds
from loomwright.engineering.protection.fuse_answer import (
    Bound,
    Coordination,
    FarEndOpening,
    FuseAnswer,
    FuseProvenances,
    FuseTypeAnswer,
    FuseWindow,
    PositionAnswer,
)
from loomwright.engineering.protection.fuse_cautions import fuse_cautions
from loomwright.engineering.protection.fuse_circuit import Circuit, circuit_of, position_of
from loomwright.engineering.protection.fuse_coordination import (
    FuseSet,
    band_points,
    coordination_with_damage,
)
from loomwright.engineering.protection.fuse_request import FuseRequest
from loomwright.engineering.protection.fuses import (
    NOT_LIMITED,
    OUTSIDE,
    WITHIN,
    fuse_curve,
    greatest_rating_by_ampacity_rule_a,
    opening_time_on_line_s,
    rated_voltage_at_least_v,
)
from loomwright.engineering.protection.rating_rules import (
    BREAKING_TOO_LOW,
    CURVE_NOT_PUBLISHED,
    NOT_STANDARD,
    VOLTAGE_TOO_LOW,
    RatingBounds,
    failures_of_digits,
    failures_of_rating,
    first_that_fits,
    is_at_most,
    lacks_breaking_capacity,
    least_listed_a,
)
from loomwright.engineering.protection.selectivity import (
    FuseInCircuit,
    Selectivity,
    selective_up_to_a,
    selectivity,
)
from loomwright.engineering.record import record
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import FuseType, Provenance


@record
class _Candidate:
    """One type with its window and the rating that is looked at."""

    fuse_type: FuseType
    window: FuseWindow
    rating_a: float | None
    far_end_bound: Bound | None
    upstream_bound: Bound | None
    is_published: bool


def size_fuse(request: FuseRequest, tables: FuseTables) -> FuseAnswer:
    """Return the permitted window of ratings and the fuse of every wanted type.

    Direct current; steady source with internal resistance; fuse curves at 23 C from cold with the
    ambient's factor on the rating; the conductor at its rating when the overcurrent begins, unless
    stated.

    Parameters
    ----------
    request
        The circuit, or a fuse to be checked in it.
    tables
        Fuse types and rules.

    Returns
    -------
    FuseAnswer
        Verdict, window, one answer for each type, faults, position, points to plot, cautions.

    Raises
    ------
    EngineeringError
        ``unknown_fuse_type``, ``unknown_placement_rule``, ``value_out_of_range``,
        ``ambient_outside_model``, ``no_resistance_in_fault_circuit``.

    References
    ----------
    IEC 60364-4-43:2008, 433.1 and 434.5.2, for the coordination of a conductor with its protective
    device; 33 CFR 183.455; the tables of ISO 8820 and SAE for the fuses.
    """
    circuit = circuit_of(request, tables)
    found, failing = [], []
    for fuse_type in circuit.fuses.types:
        answer, digits = _type_answer(circuit, _candidate(circuit, fuse_type))
        found.append(answer)
        failing.append(digits)
    types = tuple(found)
    position = position_of(request, tables)
    place, failure = first_that_fits(
        failing, request.checked_fuse is None and circuit.window.is_empty
    )
    chosen = types[place] if place >= 0 else None
    conductor = circuit.curve.conductor
    return FuseAnswer(
        verdict=verdict_of(failure, position),
        chosen_type=chosen.fuse_type if chosen else None,
        rated_current_a=chosen.rated_current_a if chosen else None,
        window=circuit.window,
        types=types,
        equivalent_continuous_current_a=bounds.equivalent_continuous_current_a(
            request.load, tables
        ),
        loading_factor=circuit.loading_factor,
        ambient_rating_factor=circuit.ambient_factor,
        required_rated_voltage_v=circuit.required_voltage_v,
        faults=circuit.faults,
        position=position,
        damage_curve=circuit.curve.points,
        damage_threshold_current_a=circuit.curve.threshold_current_a
        * request.conductor.parallel_conductors,
        damage_initial_temperature_k=circuit.curve.initial_temperature_k,
        overload_temperature_k=conductor.overload_temperature_k,
        short_circuit_temperature_k=conductor.short_circuit_temperature_k,
        cautions=fuse_cautions(request, types, circuit.ambient_factor),
        provenances=_provenances(
            circuit.fuses,
            request.conductor.ampacity_provenance,
            tuple(bound.provenance for bound in circuit.window.lower_bounds),
        ),
    )


def _candidate(circuit: Circuit, fuse_type: FuseType) -> _Candidate:
    request, tables, common = circuit.request, circuit.tables, circuit.window
    published = fuse_curve(fuse_type).is_published
    window, far_end, upstream = common, None, None
    if published:
        lower = bounds.lower_bounds_of_type(request, tables, fuse_type, circuit.ambient_factor)
        far_end = bounds.far_end_bound(
            tables,
            fuse_type,
            circuit.faults.far_end_fault_a,
            circuit.faults.clearing_time_s,
            circuit.ambient_factor,
        )
        upper = [] if far_end is None else [far_end]
        if request.options.selectivity_required and request.upstream_fuse is not None:
            upstream = bounds.selectivity_bound(
                tables,
                fuse_type,
                request.upstream_fuse,
                lambda rating: _is_selective(circuit, fuse_type, rating),
            )
            upper.append(upstream)
        window = bounds.window_of((*common.lower_bounds, *lower), (*common.upper_bounds, *upper))
    return _Candidate(
        fuse_type=fuse_type,
        window=window,
        rating_a=_rating_a(request, fuse_type, window),
        far_end_bound=far_end,
        upstream_bound=upstream,
        is_published=published,
    )


def _rating_a(request: FuseRequest, fuse_type: FuseType, window: FuseWindow) -> float | None:
    if request.checked_fuse is not None:
        return request.checked_fuse.rated_current_a
    ratings = fuse_type.ratings_a
    index = bisect_left(ratings, least_listed_a(window.lower_a))
    return ratings[index] if index < len(ratings) else None


def _is_selective(circuit: Circuit, fuse_type: FuseType, rating_a: float) -> bool:
    assert circuit.upstream is not None
    found = selective_up_to_a(circuit.upstream, FuseInCircuit(fuse_type, rating_a))
    return found is not None and found[0] >= circuit.faults.near_source_fault_a


def _coordination(circuit: Circuit, candidate: _Candidate) -> Coordination | None:
    if candidate.rating_a is None or not candidate.is_published:
        return None
    return coordination_with_damage(
        candidate.fuse_type,
        candidate.rating_a,
        circuit.curve,
        circuit.request.conductor.parallel_conductors,
        circuit.faults.near_source_fault_a,
    )


def _type_answer(circuit: Circuit, candidate: _Candidate) -> tuple[FuseTypeAnswer, int]:
    """Return the answer for one type, with its failures as digits."""
    fuse_type, rating, tables = candidate.fuse_type, candidate.rating_a, circuit.tables
    coordination = _coordination(circuit, candidate)
    voltage = rated_voltage_at_least_v(fuse_type, circuit.required_voltage_v)
    far_end = _far_end_opening(circuit, candidate)
    digits = _failures(circuit, candidate, voltage, coordination)
    failures = failures_of_digits(digits)
    this = None if rating is None else FuseInCircuit(fuse_type, rating)
    answer = FuseTypeAnswer(
        fuse_type=fuse_type.key,
        verdict=failures[0] if failures else answers.FITS,
        failures=failures,
        rated_current_a=None if failures else rating,
        candidate_rating_a=rating,
        window=candidate.window,
        rated_voltage_v=voltage,
        is_higher_voltage_variant=voltage is not None and voltage > fuse_type.rated_voltages_v[0],
        breaking_capacity_a=fuse_type.breaking_capacity_a,
        lacking_resistance_before_fuse_ohm=_lacking_resistance_ohm(circuit, fuse_type),
        greatest_rating_by_33_cfr_183_455_a=greatest_rating_by_ampacity_rule_a(
            circuit.request.conductor.ampacity_a,
            circuit.request.system_voltage_v,
            fuse_type.ratings_a,
            tables,
        ),
        far_end_opening=far_end,
        coordination=coordination,
        upstream_selectivity=_selectivity(circuit, circuit.upstream, this),
        equipment_selectivity=_selectivity(circuit, this, circuit.equipment),
        band=() if rating is None else band_points(fuse_type, rating),
        provenance=fuse_type.provenance,
        curve_provenance=tables.curve_provenance.get(fuse_type.key),
    )
    return answer, digits


def _selectivity(
    circuit: Circuit, upstream: FuseInCircuit | None, downstream: FuseInCircuit | None
) -> Selectivity | None:
    if upstream is None or downstream is None:
        return None
    return selectivity(upstream, downstream, circuit.faults.near_source_fault_a)


def _far_end_opening(circuit: Circuit, candidate: _Candidate) -> FarEndOpening | None:
    if candidate.rating_a is None or not candidate.is_published:
        return None
    curve = fuse_curve(candidate.fuse_type)
    # A cold fuse has the higher effective rating; a warm one is not credited with opening sooner.
    effective = candidate.rating_a * max(1.0, circuit.ambient_factor)
    multiple = circuit.faults.far_end_fault_a / effective
    least = opening_time_on_line_s(curve.least_points, multiple)
    greatest = opening_time_on_line_s(curve.greatest_points, multiple)
    within: float | None = greatest
    state = WITHIN
    if greatest is None:
        is_beyond = multiple > curve.last_multiple
        within = curve.last_greatest_s if is_beyond else None
        is_listed = not is_beyond and multiple >= curve.first_multiple
        state = NOT_LIMITED if is_listed else OUTSIDE
    bound = candidate.far_end_bound
    cleared = bound is not None and is_at_most(candidate.rating_a, bound.rated_current_a)
    return FarEndOpening(multiple, least, greatest, within, state, cleared)


def _failures(
    circuit: Circuit,
    candidate: _Candidate,
    rated_voltage_v: float | None,
    coordination: Coordination | None,
) -> int:
    """Return what speaks against a candidate, as digits."""
    rating, given = candidate.rating_a, circuit.request.checked_fuse is not None
    of_type = failures_of_type(rated_voltage_v, candidate.is_published)
    capacity, required = (
        candidate.fuse_type.breaking_capacity_a,
        circuit.faults.required_breaking_capacity_a,
    )
    if lacks_breaking_capacity(capacity, required) and not (
        circuit.request.options.breaking_capacity_may_be_exceeded
    ):
        of_type |= BREAKING_TOO_LOW
    if given and rating not in candidate.fuse_type.ratings_a:
        of_type |= NOT_STANDARD
    return failures_of_rating(
        of_type,
        math.nan if rating is None else rating,
        _rating_bounds(circuit, candidate),
        given,
        coordination is not None and coordination.holds,
    )


def failures_of_type(rated_voltage_v: float | None, is_published: bool) -> int:
    """Return what speaks against a fuse type whatever its rating is, as digits.

    Parameters
    ----------
    rated_voltage_v
        Lowest rated voltage that serves [V]; none if none does.
    is_published
        Whether its curve is.

    Returns
    -------
    int
        Binary digits.
    """
    of_type = 0
    if rated_voltage_v is None:
        of_type |= VOLTAGE_TOO_LOW
    if not is_published:
        of_type |= CURVE_NOT_PUBLISHED
    return of_type


def _rating_bounds(circuit: Circuit, candidate: _Candidate) -> RatingBounds:
    far_end, upstream = candidate.far_end_bound, candidate.upstream_bound
    if far_end is not None:
        far_end_a = far_end.rated_current_a
    else:
        far_end_a = math.nan if candidate.is_published else math.inf
    return RatingBounds(
        candidate.window.lower_a,
        circuit.window.upper_a,
        far_end_a,
        math.inf if upstream is None else upstream.rated_current_a,
    )


def _lacking_resistance_ohm(circuit: Circuit, fuse_type: FuseType) -> float | None:
    """Return what must be added before the fuse for the fault to fall to its breaking capacity."""
    near, capacity = circuit.faults.near_source_fault_a, fuse_type.breaking_capacity_a
    if near <= capacity:
        return None
    emf = circuit.request.source.emf_v
    return emf / capacity - emf / near


def verdict_of(failure: int, position: PositionAnswer) -> str:
    """Return the verdict on a circuit.

    Parameters
    ----------
    failure
        Place in ``TYPE_FAILURES``, -1 where a type is chosen.
    position
        Of the fuse.

    Returns
    -------
    str
        One of ``VERDICTS``.
    """
    if failure >= 0:
        return answers.TYPE_FAILURES[failure]
    return answers.POSITION_EXCEEDED if position.is_met is False else answers.FUSE_FOUND


@lru_cache(maxsize=1024)
def _provenances(
    fuses: FuseSet, ampacity: Provenance, lower: tuple[Provenance, ...]
) -> FuseProvenances:
    tables = fuses.tables
    rows = [factor.provenance for factor in tables.factors.values()]
    rows += [limit.provenance for limit in tables.position_limits]
    rows += [row.provenance for row in tables.interrupting_capacities]
    rows += [row.provenance for row in tables.system_voltages]
    for fuse_type in fuses.types:
        rows += [fuse_type.provenance, tables.rating_provenance[fuse_type.key]]
        rows += [tables.curve_provenance[fuse_type.key]] if fuse_type.opening_times else []
    return FuseProvenances(tuple(dict.fromkeys([ampacity, *lower, *rows])))
