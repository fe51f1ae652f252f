"""What the fuse selection answers, in coherent SI; ``None`` means not applicable, never 0."""

from dataclasses import dataclass
from typing import NamedTuple

from loomwright.engineering.protection.damage import DamagePoint
from loomwright.engineering.protection.selectivity import Selectivity
from loomwright.engineering.record import record
from loomwright.tables.records import Provenance

FUSE_FOUND = "fuse_found"
FITS = "fits"
VOLTAGE_TOO_LOW = "voltage_rating_too_low"
BREAKING_TOO_LOW = "breaking_capacity_too_low"
CURVE_NOT_PUBLISHED = "curve_not_published"
NOT_STANDARD = "not_a_standard_rating"
RATING_TOO_LOW = "rating_too_low_for_load"
NO_RATING = "no_rating_fits"
NOT_PROTECTED = "conductor_not_protected"
NOT_CLEARED = "fault_not_cleared"
NOT_SELECTIVE = "not_selective"
POSITION_EXCEEDED = "position_limit_exceeded"

# In the order in which an installer would meet them: the one that a type fails last is the most
# telling when no type fits.
TYPE_FAILURES = (
    VOLTAGE_TOO_LOW,
    BREAKING_TOO_LOW,
    CURVE_NOT_PUBLISHED,
    NOT_STANDARD,
    RATING_TOO_LOW,
    NO_RATING,
    NOT_SELECTIVE,
    NOT_CLEARED,
    NOT_PROTECTED,
)
VERDICTS = (FUSE_FOUND, POSITION_EXCEEDED, *TYPE_FAILURES)


class Bound(NamedTuple):
    """One bound on the rating: which rule, its value [A] and where the rule comes from."""

    rule: str
    rated_current_a: float
    provenance: Provenance


@record
class FuseWindow:
    """Permitted ratings: the greatest lower and the least upper bound, with the rules that decide.

    The window is empty where ``lower_a`` lies above ``upper_a``.
    """

    lower_a: float
    upper_a: float
    lower_rule: str
    upper_rule: str
    lower_bounds: tuple[Bound, ...]
    upper_bounds: tuple[Bound, ...]

    @property
    def is_empty(self) -> bool:
        """Whether no rating at all is permitted."""
        return self.lower_a > self.upper_a


@dataclass(frozen=True, slots=True, eq=False)
class BandPoint:
    """One published point of a fuse's band at a rating, ready to plot; kept once for each rating.

    ``least_s`` or ``greatest_s`` is ``None`` where the standard sets no limit.
    """

    current_multiple: float
    current_a: float
    least_s: float | None
    greatest_s: float | None


@record
class FarEndOpening:
    """How the fuse opens on the smallest fault.

    ``opens_within_s`` is the greatest opening time or, beyond the last published point, that of
    the last point, since opening times only fall with current; ``None`` where the fuse need not
    open at all.
    """

    current_multiple: float
    least_s: float | None
    greatest_s: float | None
    opens_within_s: float | None
    state: str
    is_cleared: bool


@record
class Coordination:
    """The greatest opening time against the conductor's time to damage.

    ``least_margin`` is damage time over opening time, the least from the first limited multiple up
    to the last published point or the near-source fault; it must lie above 1.03. It is ``None``
    where no such current can damage the conductor. ``beyond_published_curve`` says what is known
    from the last point up to the near-source fault: ``not_reached``, ``bounded_by_last_time`` (the
    last time alone is short enough), ``bounded_by_constant_i2t`` (short enough if the let-through
    stays that of the last point, common practice) or ``not_shown``.
    """

    holds: bool
    least_margin: float | None
    least_margin_current_a: float | None
    beyond_published_curve: str


@record
class FuseTypeAnswer:
    """The answer for one fuse type.

    ``rated_current_a`` is ``None`` unless the verdict is ``fits``. ``candidate_rating_a`` is the
    rating that the figures belong to: the smallest standard one not below the window, or the given
    one; ``None`` where the type has none. ``verdict`` is the first of ``failures``.
    ``lacking_resistance_before_fuse_ohm`` would have to be added between source and fuse for the
    near-source fault to fall to the breaking capacity; ``None`` where nothing lacks.
    """

    fuse_type: str
    verdict: str
    failures: tuple[str, ...]
    rated_current_a: float | None
    candidate_rating_a: float | None
    window: FuseWindow
    rated_voltage_v: float | None
    is_higher_voltage_variant: bool
    breaking_capacity_a: float
    lacking_resistance_before_fuse_ohm: float | None
    greatest_rating_by_33_cfr_183_455_a: float
    far_end_opening: FarEndOpening | None
    coordination: Coordination | None
    upstream_selectivity: Selectivity | None
    equipment_selectivity: Selectivity | None
    band: tuple[BandPoint, ...]
    provenance: Provenance
    curve_provenance: Provenance | None


@record
class FaultAnswer:
    """Fault currents, and the breaking capacity that they ask for.

    ``warm_near_source_fault_a`` is given where the internal resistance is that of a battery at
    -18 C: a warm battery delivers about that much. The interrupting capacities are those of ABYC
    E-11 Table V-A for the bank; they bind under that rule only.
    """

    near_source_fault_a: float
    warm_near_source_fault_a: float | None
    far_end_fault_a: float
    required_breaking_capacity_a: float
    interrupting_capacity_main_a: float | None
    interrupting_capacity_branch_a: float | None
    clearing_time_s: float


@record
class PositionRule:
    """One position limit beside the distance at hand; ``binding`` under the chosen rules."""

    rule: str
    greatest_distance_m: float
    is_met: bool
    is_binding: bool
    provenance: Provenance


@record
class PositionAnswer:
    """Where the fuse may sit.

    For road vehicles no length binds: as near to the source as practicable (common practice, no
    source). ``is_met`` is ``None`` there.
    """

    distance_from_source_m: float
    rules: tuple[PositionRule, ...]
    is_met: bool | None


@dataclass(frozen=True, slots=True, eq=False)
class FuseProvenances:
    """The rows that an answer rests on; kept once for each set of types."""

    rows: tuple[Provenance, ...]


@record
class FuseAnswer:
    """The answer for one circuit.

    ``chosen_type`` and ``rated_current_a`` are those of the first wanted type that fits.
    ``window`` holds the bounds that all types share; each type adds its own. ``cautions`` are keys
    of ``CAUTIONS``.
    """

    verdict: str
    chosen_type: str | None
    rated_current_a: float | None
    window: FuseWindow
    types: tuple[FuseTypeAnswer, ...]
    equivalent_continuous_current_a: float
    loading_factor: float
    ambient_rating_factor: float
    required_rated_voltage_v: float
    faults: FaultAnswer
    position: PositionAnswer
    damage_curve: tuple[DamagePoint, ...]
    damage_threshold_current_a: float
    damage_initial_temperature_k: float
    overload_temperature_k: float
    short_circuit_temperature_k: float
    cautions: tuple[str, ...]
    provenances: FuseProvenances
