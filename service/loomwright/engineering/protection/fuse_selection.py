"""Choose, or check, the fuse of one circuit in every wanted fuse type.

For each type the smallest standard rating inside its window is the candidate: a larger one opens
later at every current, so it protects, clears and selects worse.
"""

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
from loomwright.engineering.protection.selectivity import (
    FuseInCircuit,
    Selectivity,
    selective_up_to_a,
    selectivity,
)
from loomwright.engineering.record import record
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import FuseType, Provenance

# Bounds are compared with ratings after some divisions; ten digits are kept.
RELATIVE_TOLERANCE = 1e-10


@record
class _Candidate:
    """One type with its window and the rating that is looked at."""

    fuse_type: FuseType
    window: FuseWindow
    rating_a: float | None
    far_end_bound: Bound | None
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
    types = tuple(
        [_type_answer(circuit, _candidate(circuit, kind)) for kind in circuit.fuses.types]
    )
    position = position_of(request, tables)
    chosen = next((answer for answer in types if answer.verdict == answers.FITS), None)
    conductor = circuit.curve.conductor
    return FuseAnswer(
        verdict=_verdict(circuit, types, chosen, position),
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
    window, far_end = common, None
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
            upper.append(
                bounds.selectivity_bound(
                    tables,
                    fuse_type,
                    request.upstream_fuse,
                    lambda rating: _is_selective(circuit, fuse_type, rating),
                )
            )
        window = bounds.window_of((*common.lower_bounds, *lower), (*common.upper_bounds, *upper))
    return _Candidate(
        fuse_type=fuse_type,
        window=window,
        rating_a=_rating_a(request, fuse_type, window),
        far_end_bound=far_end,
        is_published=published,
    )


def _rating_a(request: FuseRequest, fuse_type: FuseType, window: FuseWindow) -> float | None:
    if request.checked_fuse is not None:
        return request.checked_fuse.rated_current_a
    ratings = fuse_type.ratings_a
    index = bisect_left(ratings, window.lower_a * (1.0 - RELATIVE_TOLERANCE))
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


def _type_answer(circuit: Circuit, candidate: _Candidate) -> FuseTypeAnswer:
    fuse_type, rating, tables = candidate.fuse_type, candidate.rating_a, circuit.tables
    coordination = _coordination(circuit, candidate)
    voltage = rated_voltage_at_least_v(fuse_type, circuit.required_voltage_v)
    far_end = _far_end_opening(circuit, candidate)
    failures = _failures(circuit, candidate, voltage, far_end, coordination)
    this = None if rating is None else FuseInCircuit(fuse_type, rating)
    return FuseTypeAnswer(
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
    cleared = bound is not None and _at_most(candidate.rating_a, bound.rated_current_a)
    return FarEndOpening(multiple, least, greatest, within, state, cleared)


def _at_most(value: float, limit: float) -> bool:
    return value <= limit * (1.0 + RELATIVE_TOLERANCE)


def _failures(
    circuit: Circuit,
    candidate: _Candidate,
    rated_voltage_v: float | None,
    far_end: FarEndOpening | None,
    coordination: Coordination | None,
) -> tuple[str, ...]:
    """Return what speaks against a candidate, in the order of ``TYPE_FAILURES``."""
    fuse_type, rating = candidate.fuse_type, candidate.rating_a
    failed = set()
    if rated_voltage_v is None:
        failed.add(answers.VOLTAGE_TOO_LOW)
    if _lacks_breaking_capacity(circuit, fuse_type) and not (
        circuit.request.options.breaking_capacity_may_be_exceeded
    ):
        failed.add(answers.BREAKING_TOO_LOW)
    if not candidate.is_published:
        failed.add(answers.CURVE_NOT_PUBLISHED)
    if rating is None:
        failed.add(answers.NO_RATING)
    else:
        failed |= _failures_of_rating(circuit, candidate, rating)
        if coordination is not None and not coordination.holds:
            failed.add(answers.NOT_PROTECTED)
        if far_end is not None and not far_end.is_cleared:
            failed.add(answers.NOT_CLEARED)
    if not failed:
        return ()
    return tuple(failure for failure in answers.TYPE_FAILURES if failure in failed)


def _lacks_breaking_capacity(circuit: Circuit, fuse_type: FuseType) -> bool:
    return fuse_type.breaking_capacity_a < circuit.faults.required_breaking_capacity_a


def _lacking_resistance_ohm(circuit: Circuit, fuse_type: FuseType) -> float | None:
    """Return what must be added before the fuse for the fault to fall to its breaking capacity."""
    near, capacity = circuit.faults.near_source_fault_a, fuse_type.breaking_capacity_a
    if near <= capacity:
        return None
    emf = circuit.request.source.emf_v
    return emf / capacity - emf / near


def _failures_of_rating(circuit: Circuit, candidate: _Candidate, rating_a: float) -> set[str]:
    failed = set()
    window = candidate.window
    if circuit.request.checked_fuse is not None:
        if rating_a not in candidate.fuse_type.ratings_a:
            failed.add(answers.NOT_STANDARD)
        if not _at_most(window.lower_a, rating_a):
            failed.add(answers.RATING_TOO_LOW)
    for bound in window.upper_bounds:
        if not _at_most(rating_a, bound.rated_current_a):
            failed.add(_FAILURE_OF_RULE[bound.rule])
    if failed and not window.is_empty and circuit.request.checked_fuse is None:
        # The window is open, yet no standard rating of this type falls into it.
        return {answers.NO_RATING}
    return failed


_FAILURE_OF_RULE = {
    bounds.AMPACITY: answers.NOT_PROTECTED,
    bounds.AMPACITY_RULE: answers.NOT_PROTECTED,
    bounds.CONVENTIONAL_FUSING: answers.NOT_PROTECTED,
    bounds.FAR_END_FAULT: answers.NOT_CLEARED,
    bounds.UPSTREAM: answers.NOT_SELECTIVE,
}


def _verdict(
    circuit: Circuit,
    types: tuple[FuseTypeAnswer, ...],
    chosen: FuseTypeAnswer | None,
    position: PositionAnswer,
) -> str:
    if chosen is not None:
        exceeded = position.is_met is False
        return answers.POSITION_EXCEEDED if exceeded else answers.FUSE_FOUND
    if circuit.request.checked_fuse is None and circuit.window.is_empty:
        return answers.NOT_PROTECTED
    return max((answer.verdict for answer in types), key=answers.TYPE_FAILURES.index)


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
