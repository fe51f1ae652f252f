"""One circuit to be fused: its setting, its faults and its neighbours."""

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.damage import DamageCurve
from loomwright.engineering.protection.faults import WARM_RESISTANCE_SHARE, fault_current_a
from loomwright.engineering.protection.fuse_answer import (
    FaultAnswer,
    PositionAnswer,
    PositionRule,
)
from loomwright.engineering.protection.fuse_coordination import fuse_type_of
from loomwright.engineering.protection.fuse_request import (
    BOAT_RULES,
    PLACEMENT_RULES,
    FuseRequest,
    FuseSite,
    GivenFuse,
    ProtectedConductor,
    site_of,
)
from loomwright.engineering.protection.fuse_setting import FuseSetting, fuse_setting
from loomwright.engineering.protection.fuses import (
    interrupting_capacity,
    position_limits,
)
from loomwright.engineering.protection.selectivity import FuseInCircuit
from loomwright.engineering.record import record
from loomwright.tables.fuse_records import FuseTables


@record
class Circuit:
    """What all types share in one request."""

    request: FuseRequest
    setting: FuseSetting
    faults: FaultAnswer
    upstream: FuseInCircuit | None
    equipment: FuseInCircuit | None

    @property
    def curve(self) -> DamageCurve:
        """Damage curve of one conductor."""
        return self.setting.curve


def circuit_of(request: FuseRequest, tables: FuseTables) -> Circuit:
    """Return what all types share in one request.

    Parameters
    ----------
    request
        The circuit as asked.
    tables
        Fuse types and rules.

    Returns
    -------
    Circuit
        With its setting and faults.

    Raises
    ------
    EngineeringError
        ``value_out_of_range``, ``incomplete_pair``, ``unknown_fuse_type``,
        ``unknown_placement_rule``, ``ambient_outside_model``,
        ``no_resistance_in_fault_circuit``.
    """
    setting = fuse_setting(checked_site(request), tables)
    return Circuit(
        request=request,
        setting=setting,
        faults=_faults(request, setting),
        upstream=_in_circuit(request.upstream_fuse, tables),
        equipment=_in_circuit(request.equipment_fuse, tables),
    )


def checked_site(request: FuseRequest) -> FuseSite:
    """Return what of a request no current and no resistance belongs to, once it is checked.

    Parameters
    ----------
    request
        The circuit as asked.

    Returns
    -------
    FuseSite
        As ``site_of`` returns it.

    Raises
    ------
    EngineeringError
        ``value_out_of_range``, ``incomplete_pair``, ``unknown_fuse_type``,
        ``unknown_placement_rule``.
    """
    _check(request)
    return site_of(request)


def _check(request: FuseRequest) -> None:
    load, conductor = request.load, request.conductor
    checked = request.checked_fuse
    for field, value in (
        ("continuous_current_a", load.continuous_current_a),
        ("ampacity_a", conductor.ampacity_a),
        ("system_voltage_v", request.system_voltage_v),
        ("emf_v", request.source.emf_v),
        ("inrush_current_a", load.inrush_current_a),
        ("inrush_duration_s", load.inrush_duration_s),
        ("on_time_s", load.on_time_s),
        ("rated_current_a", None if checked is None else checked.rated_current_a),
    ):
        if value is not None and not value > 0.0:
            raise EngineeringError(
                "value_out_of_range", f"{field} must be above 0.", field=field, value=value, limit=0
            )
    for field, first, second in (
        ("inrush_duration_s", load.inrush_current_a, load.inrush_duration_s),
        ("off_time_s", load.on_time_s, load.off_time_s),
    ):
        if (first is None) != (second is None):
            raise EngineeringError(
                "incomplete_pair", f"{field} and its partner are due together.", field=field
            )
    if checked is not None and checked.fuse_type is None:
        raise EngineeringError(
            "unknown_fuse_type", "A fuse to be checked needs its type.", field="checked_fuse"
        )
    if request.placement.rules not in PLACEMENT_RULES:
        raise EngineeringError(
            "unknown_placement_rule",
            f"Placement rule {request.placement.rules!r} is not one of {PLACEMENT_RULES}.",
            field="rules",
            value=request.placement.rules,
        )


def _in_circuit(fuse: GivenFuse | None, tables: FuseTables) -> FuseInCircuit | None:
    if fuse is None:
        return None
    fuse_type = None if fuse.fuse_type is None else fuse_type_of(tables, fuse.fuse_type)
    return FuseInCircuit(fuse_type, fuse.rated_current_a)


def feed_resistance_ohm(conductor: ProtectedConductor, distance_from_source_m: float) -> float:
    """Return the cold resistance of the conductor between source and fuse.

    Parameters
    ----------
    conductor
        The conductor, the same before the fuse as behind it.
    distance_from_source_m
        Its length between the source and the fuse [m].

    Returns
    -------
    float
        Resistance of all runs in parallel, one way, at 20 C [ohm].
    """
    return (
        conductor.thermal.resistance_20c_ohm_per_m
        * distance_from_source_m
        / conductor.parallel_conductors
    )


def _faults(request: FuseRequest, setting: FuseSetting) -> FaultAnswer:
    source, conductor, placement = request.source, request.conductor, request.placement
    feed = feed_resistance_ohm(conductor, placement.distance_from_source_m)
    near = fault_current_a(source, feed)
    required, warm, row = near, None, None
    if source.internal_resistance_is_cold:
        spared = (1.0 - WARM_RESISTANCE_SHARE) * source.internal_resistance_ohm
        warm = fault_current_a(source, feed - spared)
    if source.cold_cranking_a is not None:
        row = interrupting_capacity(source.cold_cranking_a, setting.tables)
        if BOAT_RULES.get(placement.rules) == row.provenance.source:
            required = max(near, row.main_a if placement.is_main else row.branch_a)
    return FaultAnswer(
        near_source_fault_a=near,
        warm_near_source_fault_a=warm,
        far_end_fault_a=fault_current_a(source, conductor.there_and_back_resistance_ohm),
        required_breaking_capacity_a=required,
        interrupting_capacity_main_a=row.main_a if row else None,
        interrupting_capacity_branch_a=row.branch_a if row else None,
        clearing_time_s=setting.clearing_time_s,
    )


def position_of(request: FuseRequest, tables: FuseTables) -> PositionAnswer:
    """Return the distance of the fuse from its source beside each position limit.

    Parameters
    ----------
    request
        The circuit as asked.
    tables
        Position limits.

    Returns
    -------
    PositionAnswer
        With the binding rules of the placement, if any.
    """
    placement = request.placement
    governing = BOAT_RULES.get(placement.rules)
    distance_m = placement.distance_from_source_m
    # In the order of the fields; by name they would take twice as long.
    rules = tuple(
        [
            PositionRule(
                limit.rule,
                limit.greatest_distance_m,
                distance_m <= limit.greatest_distance_m * (1.0 + 1e-12),
                limit.provenance.source == governing,
                limit.provenance,
            )
            for limit in position_limits(placement.sheathed, placement.on_battery_terminal, tables)
        ]
    )
    met = all(rule.is_met for rule in rules if rule.is_binding) if governing else None
    return PositionAnswer(distance_m, rules, met)
