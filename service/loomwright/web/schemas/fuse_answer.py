"""Answer of size-fuse."""

from marshmallow import fields

from loomwright.engineering.protection.fuse_answer import TYPE_FAILURES, VERDICTS
from loomwright.web.schemas.base import Answer, describe
from loomwright.web.schemas.common import AnswerBase
from loomwright.web.schemas.sensitivity import FuseSensitivityAnswer, sensitivity_member


class FuseBoundAnswer(Answer):
    """One bound on the rating."""

    rule = fields.String(required=True)
    rated_current_a = fields.Float(required=True)
    source = fields.String(required=True, metadata=describe("Key of a source of the answer."))
    locator = fields.String(required=True)


class FuseWindowAnswer(Answer):
    """Permitted ratings by the rules that all types share."""

    lower_a = fields.Float(required=True)
    upper_a = fields.Float(required=True)
    lower_rule = fields.String(required=True)
    upper_rule = fields.String(required=True)
    lower_bounds = fields.List(fields.Nested(FuseBoundAnswer), required=True)
    upper_bounds = fields.List(fields.Nested(FuseBoundAnswer), required=True)


class FarEndOpeningAnswer(Answer):
    """How the fuse opens on the fault at the far end."""

    current_multiple = fields.Float(required=True)
    least_opening_time_s = fields.Float(required=True, allow_none=True)
    greatest_opening_time_s = fields.Float(required=True, allow_none=True)
    opens_within_s = fields.Float(required=True, allow_none=True)
    state = fields.String(
        required=True,
        metadata={"enum": ["within_published_curve", "not_limited", "outside_published_curve"]},
    )
    is_cleared = fields.Boolean(required=True)


class CoordinationAnswer(Answer):
    """The greatest opening time against the conductor's time to damage."""

    holds = fields.Boolean(required=True)
    least_margin = fields.Float(
        required=True, allow_none=True, metadata=describe("Damage time over opening time, least.")
    )
    least_margin_current_a = fields.Float(required=True, allow_none=True)
    beyond_published_curve = fields.String(required=True)


class SelectivityAnswer(Answer):
    """Whether the downstream fuse alone opens, and up to which current."""

    state = fields.String(required=True)
    selective_up_to_a = fields.Float(required=True, allow_none=True)
    ended_by = fields.String(required=True, allow_none=True)


class FuseBandPointAnswer(Answer):
    """One published point of the opening-time band; null where the standard sets no limit."""

    current_multiple = fields.Float(required=True)
    current_a = fields.Float(required=True)
    least_opening_time_s = fields.Float(required=True, allow_none=True)
    greatest_opening_time_s = fields.Float(required=True, allow_none=True)


class FuseTypeAnswerSchema(Answer):
    """The answer for one fuse type."""

    fuse_type = fields.String(required=True)
    name = fields.String(required=True)
    mounting = fields.String(required=True)
    verdict = fields.String(required=True, metadata={"enum": ["fits", *TYPE_FAILURES]})
    failures = fields.List(fields.String(metadata={"enum": list(TYPE_FAILURES)}), required=True)
    rated_current_a = fields.Float(
        required=True, allow_none=True, metadata=describe("Null unless the type fits.")
    )
    candidate_rating_a = fields.Float(
        required=True,
        allow_none=True,
        metadata=describe("The rating that the figures belong to."),
    )
    lower_a = fields.Float(required=True)
    upper_a = fields.Float(required=True)
    lower_rule = fields.String(required=True)
    upper_rule = fields.String(required=True)
    own_bounds = fields.List(
        fields.Nested(FuseBoundAnswer),
        required=True,
        metadata=describe("Bounds of this type beyond the shared window."),
    )
    rated_voltage_v = fields.Float(
        required=True, allow_none=True, metadata=describe("Null where no variant is rated enough.")
    )
    is_higher_voltage_variant = fields.Boolean(required=True)
    breaking_capacity_a = fields.Float(required=True)
    lacking_resistance_before_fuse_ohm = fields.Float(required=True, allow_none=True)
    greatest_rating_by_33_cfr_183_455_a = fields.Float(required=True)
    far_end_opening = fields.Nested(FarEndOpeningAnswer, required=True, allow_none=True)
    coordination = fields.Nested(CoordinationAnswer, required=True, allow_none=True)
    upstream_selectivity = fields.Nested(SelectivityAnswer, required=True, allow_none=True)
    equipment_selectivity = fields.Nested(SelectivityAnswer, required=True, allow_none=True)
    opening_band = fields.List(
        fields.Nested(FuseBandPointAnswer),
        required=True,
        metadata=describe("Published points at the candidate rating, ready to plot."),
    )


class FaultsAnswer(Answer):
    """Fault currents and the breaking capacity that they ask for."""

    near_source_fault_a = fields.Float(required=True)
    warm_near_source_fault_a = fields.Float(required=True, allow_none=True)
    far_end_fault_a = fields.Float(required=True)
    required_breaking_capacity_a = fields.Float(required=True)
    interrupting_capacity_main_a = fields.Float(required=True, allow_none=True)
    interrupting_capacity_branch_a = fields.Float(required=True, allow_none=True)
    clearing_time_s = fields.Float(required=True)


class PositionRuleAnswer(Answer):
    """One limit on the length between source and fuse."""

    rule = fields.String(required=True)
    greatest_distance_from_source_m = fields.Float(required=True)
    is_met = fields.Boolean(required=True)
    is_binding = fields.Boolean(required=True)


class PositionAnswerSchema(Answer):
    """Where the fuse may sit; is_met is null where no length binds."""

    distance_from_source_m = fields.Float(required=True)
    is_met = fields.Boolean(required=True, allow_none=True)
    rules = fields.List(fields.Nested(PositionRuleAnswer), required=True)


class DamagePointAnswer(Answer):
    """One point of the conductor's damage curve."""

    current_a = fields.Float(required=True)
    damage_time_s = fields.Float(required=True)


class ProtectedConductorAnswer(Answer):
    """The conductor as the fuse sees it."""

    size = fields.String(required=True)
    parallel_runs = fields.Integer(required=True)
    cross_section_mm2 = fields.Float(required=True)
    ampacity_a = fields.Float(required=True)
    loop_resistance_ohm = fields.Float(required=True)
    damage_threshold_current_a = fields.Float(
        required=True, metadata=describe("Below it the overload temperature is never reached.")
    )
    initial_temperature_c = fields.Float(required=True)
    overload_temperature_c = fields.Float(required=True)
    short_circuit_temperature_c = fields.Float(required=True)


class SizeFuseAnswer(AnswerBase):
    """The fuse of a circuit in every wanted type, with its reasons."""

    verdict = fields.String(required=True, metadata={"enum": list(VERDICTS)})
    fuse_type = fields.String(required=True, allow_none=True)
    rated_current_a = fields.Float(required=True, allow_none=True)
    window = fields.Nested(FuseWindowAnswer, required=True)
    types = fields.List(fields.Nested(FuseTypeAnswerSchema), required=True)
    equivalent_continuous_current_a = fields.Float(required=True)
    loading_factor = fields.Float(required=True)
    ambient_rating_factor = fields.Float(required=True)
    fuse_ambient_temperature_c = fields.Float(required=True)
    required_rated_voltage_v = fields.Float(required=True)
    conductor = fields.Nested(ProtectedConductorAnswer, required=True)
    faults = fields.Nested(FaultsAnswer, required=True)
    position = fields.Nested(PositionAnswerSchema, required=True)
    damage_curve = fields.List(fields.Nested(DamagePointAnswer), required=True)
    sensitivity = sensitivity_member(FuseSensitivityAnswer)
