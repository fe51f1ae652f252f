"""Choose, or check, the fuse of one circuit in every wanted fuse type.

The choice itself is that of ``fuse_choice``; here it gets every figure that explains it.
"""

from loomwright.engineering.protection import fuse_answer as answers
from loomwright.engineering.protection import fuse_bounds as bounds
from loomwright.engineering.protection.fuse_answer import (
    Coordination,
    FarEndOpening,
    FuseAnswer,
    FuseTypeAnswer,
)
from loomwright.engineering.protection.fuse_cautions import fuse_cautions
from loomwright.engineering.protection.fuse_choice import (
    CircuitCurrents,
    TypeChoice,
    common_lower_bounds,
    fuse_choice,
    verdict_of,
)
from loomwright.engineering.protection.fuse_circuit import Circuit, circuit_of, position_of
from loomwright.engineering.protection.fuse_coordination import (
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
)
from loomwright.engineering.protection.rating_rules import failures_of_digits, is_at_most
from loomwright.engineering.protection.selectivity import FuseInCircuit, Selectivity, selectivity
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import FuseType


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
    setting, faults, load = circuit.setting, circuit.faults, request.load
    given = request.checked_fuse
    choice = fuse_choice(
        setting,
        CircuitCurrents(
            load.continuous_current_a,
            load.inrush_current_a,
            faults.near_source_fault_a,
            faults.far_end_fault_a,
            faults.required_breaking_capacity_a,
        ),
        circuit.upstream,
        None if given is None else given.rated_current_a,
    )
    chosen, position = choice.chosen, position_of(request, tables)
    conductor = setting.curve.conductor
    near_a = faults.near_source_fault_a
    return FuseAnswer(
        verdict=verdict_of(choice.failure, position.is_met),
        chosen_type=chosen.fuse_type.key if chosen else None,
        rated_current_a=chosen.rating_a if chosen else None,
        window=bounds.window_of(
            common_lower_bounds(setting, load.continuous_current_a), setting.upper_bounds
        ),
        types=tuple([_type_answer(circuit, found) for found in choice.types]),
        equivalent_continuous_current_a=load.continuous_current_a * setting.continuous_share,
        loading_factor=setting.loading_factor,
        ambient_rating_factor=setting.ambient_factor,
        required_rated_voltage_v=setting.required_voltage_v,
        faults=faults,
        position=position,
        damage_curve=setting.curve.points,
        damage_threshold_current_a=setting.curve.threshold_current_a
        * request.conductor.parallel_conductors,
        damage_initial_temperature_k=setting.curve.initial_temperature_k,
        overload_temperature_k=conductor.overload_temperature_k,
        short_circuit_temperature_k=conductor.short_circuit_temperature_k,
        cautions=fuse_cautions(
            setting,
            choice.types,
            near_a,
            request.source.internal_resistance_is_cold,
            request.placement.rules,
        ),
        provenances=setting.provenances,
    )


def _type_answer(circuit: Circuit, found: TypeChoice) -> FuseTypeAnswer:
    fuse_type, rating = found.fuse_type, found.rating_a
    failures = failures_of_digits(found.failing)
    this = None if rating is None else FuseInCircuit(fuse_type, rating)
    return FuseTypeAnswer(
        fuse_type=fuse_type.key,
        verdict=failures[0] if failures else answers.FITS,
        failures=failures,
        rated_current_a=None if failures else rating,
        candidate_rating_a=rating,
        window=found.window,
        rated_voltage_v=found.setting.rated_voltage_v,
        is_higher_voltage_variant=found.setting.is_higher_voltage_variant,
        breaking_capacity_a=fuse_type.breaking_capacity_a,
        lacking_resistance_before_fuse_ohm=_lacking_resistance_ohm(circuit, fuse_type),
        greatest_rating_by_33_cfr_183_455_a=greatest_rating_by_ampacity_rule_a(
            circuit.request.conductor.ampacity_a,
            circuit.request.system_voltage_v,
            fuse_type.ratings_a,
            circuit.setting.tables,
        ),
        far_end_opening=_far_end_opening(circuit, found),
        coordination=_coordination(circuit, found),
        upstream_selectivity=_selectivity(circuit, circuit.upstream, this),
        equipment_selectivity=_selectivity(circuit, this, circuit.equipment),
        band=() if rating is None else band_points(fuse_type, rating),
        provenance=fuse_type.provenance,
        curve_provenance=found.setting.curve_provenance,
    )


def _coordination(circuit: Circuit, found: TypeChoice) -> Coordination | None:
    if found.rating_a is None or not found.setting.is_published:
        return None
    return coordination_with_damage(
        found.fuse_type,
        found.rating_a,
        circuit.setting.curve,
        circuit.setting.parallel_conductors,
        circuit.faults.near_source_fault_a,
    )


def _selectivity(
    circuit: Circuit, upstream: FuseInCircuit | None, downstream: FuseInCircuit | None
) -> Selectivity | None:
    if upstream is None or downstream is None:
        return None
    return selectivity(upstream, downstream, circuit.faults.near_source_fault_a)


def _far_end_opening(circuit: Circuit, found: TypeChoice) -> FarEndOpening | None:
    if found.rating_a is None or not found.setting.is_published:
        return None
    curve = fuse_curve(found.fuse_type)
    # A cold fuse has the higher effective rating; a warm one is not credited with opening sooner.
    effective = found.rating_a * max(1.0, circuit.setting.ambient_factor)
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
    bound = found.far_end_bound
    cleared = bound is not None and is_at_most(found.rating_a, bound.rated_current_a)
    return FarEndOpening(multiple, least, greatest, within, state, cleared)


def _lacking_resistance_ohm(circuit: Circuit, fuse_type: FuseType) -> float | None:
    """Return what must be added before the fuse for the fault to fall to its breaking capacity."""
    near, capacity = circuit.faults.near_source_fault_a, fuse_type.breaking_capacity_a
    if near <= capacity:
        return None
    emf = circuit.request.source.emf_v
    return emf / capacity - emf / near
