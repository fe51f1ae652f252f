"""Choice of a fuse for the currents of one circuit in a known setting.

For each type the smallest standard rating inside its window is the candidate: a larger one opens
later at every current, so it protects, clears and selects worse.
"""

import math
from bisect import bisect_left

from loomwright.engineering.protection import fuse_answer as answers
from loomwright.engineering.protection import fuse_bounds as bounds
from loomwright.engineering.protection.fuse_answer import Bound, FuseWindow
from loomwright.engineering.protection.fuse_coordination import (
    margin_line,
    protection_with_damage,
)
from loomwright.engineering.protection.fuse_setting import FuseSetting, TypeSetting
from loomwright.engineering.protection.rating_rules import (
    BREAKING_TOO_LOW,
    NOT_STANDARD,
    RatingBounds,
    failures_of_rating,
    first_that_fits,
    lacks_breaking_capacity,
    least_listed_a,
    rating_to_carry_a,
    rating_to_open_a,
)
from loomwright.engineering.protection.selectivity import FuseInCircuit, selective_up_to_a
from loomwright.engineering.record import record
from loomwright.tables.records import FuseType


@record
class CircuitCurrents:
    """The currents of a circuit that its fuse is chosen by.

    Parameters
    ----------
    continuous_current_a
        Current while the load is on [A], above 0.
    inrush_current_a
        Greatest starting current [A]; none without one.
    near_source_fault_a, far_end_fault_a
        Steady current into a dead fault right behind the fuse, and at the far end [A].
    required_breaking_capacity_a
        What the fuse must break [A].
    """

    continuous_current_a: float
    inrush_current_a: float | None
    near_source_fault_a: float
    far_end_fault_a: float
    required_breaking_capacity_a: float


@record
class TypeChoice:
    """One type with its window, the rating that is looked at and what speaks against it.

    ``rating_a`` is the smallest standard one not below the window, or the given one; none where the
    type has none. ``failing`` are digits, one for each of ``TYPE_FAILURES``. ``beyond`` is
    ``beyond_published_curve`` of ``Coordination``; none without rating or curve.
    """

    setting: TypeSetting
    window: FuseWindow
    rating_a: float | None
    far_end_bound: Bound | None
    failing: int
    beyond: str | None

    @property
    def fuse_type(self) -> FuseType:
        """The type."""
        return self.setting.fuse_type


@record
class FuseChoice:
    """Every wanted type, and the first that fits.

    ``chosen`` is none where no type fits; ``failure`` is then the place in ``TYPE_FAILURES`` of the
    most telling failure, else -1.
    """

    types: tuple[TypeChoice, ...]
    chosen: TypeChoice | None
    failure: int


def fuse_choice(
    setting: FuseSetting,
    currents: CircuitCurrents,
    upstream: FuseInCircuit | None = None,
    given_rating_a: float | None = None,
) -> FuseChoice:
    """Return the candidate of every wanted type, and the first type that fits.

    Parameters
    ----------
    setting
        What the currents leave as it is.
    currents
        Load and faults.
    upstream
        Fuse before this one, if any; it decides only where the setting asks for selectivity.
    given_rating_a
        Rating to be checked instead of chosen [A], if any.

    Returns
    -------
    FuseChoice
        Types in the order of the setting.
    """
    lower = common_lower_bounds(setting, currents.continuous_current_a)
    types = tuple(
        [
            _type_choice(setting, kind, currents, lower, upstream, given_rating_a)
            for kind in setting.types
        ]
    )
    place, failure = first_that_fits(
        [choice.failing for choice in types],
        given_rating_a is None
        and max([bound.rated_current_a for bound in lower]) > setting.conductor_a,
    )
    return FuseChoice(types, types[place] if place >= 0 else None, failure)


def verdict_of(failure: int, position_is_met: bool | None) -> str:
    """Return the verdict on a circuit.

    Parameters
    ----------
    failure
        Of the choice.
    position_is_met
        Whether the fuse is as near to the source as it must be; none where no rule binds.

    Returns
    -------
    str
        One of ``VERDICTS``.
    """
    if failure >= 0:
        return answers.TYPE_FAILURES[failure]
    return answers.POSITION_EXCEEDED if position_is_met is False else answers.FUSE_FOUND


def common_lower_bounds(setting: FuseSetting, continuous_current_a: float) -> tuple[Bound, ...]:
    """Return the lower bounds that all types share.

    Parameters
    ----------
    setting
        Duty of the load, factors and the fuse in the equipment.
    continuous_current_a
        Current while the load is on [A].

    Returns
    -------
    tuple of Bound
        ``continuous_load`` and, where there is one, ``equipment_fuse``.
    """
    load = bounds.load_bound(
        continuous_current_a * setting.continuous_share,
        setting.tables,
        setting.loading_factor,
        setting.ambient_factor,
    )
    equipment = setting.equipment_bound
    return (load,) if equipment is None else (load, equipment)


def lower_bounds_of_type(
    setting: FuseSetting, kind: TypeSetting, currents: CircuitCurrents
) -> list[Bound]:
    """Return the lower bounds that rest on a type's own curve.

    The least opening time at the peak must not lie below the length of the peak.

    Parameters
    ----------
    setting
        Factor of the ambient; a cold fuse is not loaded higher.
    kind
        A type with a published curve.
    currents
        Load.

    Returns
    -------
    list of Bound
        ``inrush`` and ``cyclic_load``, where the load has them.
    """
    found = []
    for rule, multiple in kind.carried:
        current_a = (
            currents.inrush_current_a if rule == bounds.INRUSH else currents.continuous_current_a
        )
        if current_a is not None:
            assert kind.curve_provenance is not None  # its curve is published
            rating_a = rating_to_carry_a(current_a, multiple, setting.ambient_factor)
            found.append(Bound(rule, rating_a, kind.curve_provenance))
    return found


def far_end_bound(setting: FuseSetting, kind: TypeSetting, far_end_fault_a: float) -> Bound | None:
    """Return the greatest rating of a type that surely clears the fault at the far end.

    Parameters
    ----------
    setting
        Factor of the ambient; a cold fuse opens later.
    kind
        A type with a published curve.
    far_end_fault_a
        Smallest fault [A].

    Returns
    -------
    Bound or None
        ``None`` where the clearing time is shorter than any published one.
    """
    if kind.far_end_multiple is None:
        return None
    assert kind.curve_provenance is not None  # its curve is published
    return Bound(
        bounds.FAR_END_FAULT,
        rating_to_open_a(far_end_fault_a, kind.far_end_multiple, setting.ambient_factor),
        kind.curve_provenance,
    )


def _type_choice(
    setting: FuseSetting,
    kind: TypeSetting,
    currents: CircuitCurrents,
    lower: tuple[Bound, ...],
    upstream: FuseInCircuit | None,
    given_rating_a: float | None,
) -> TypeChoice:
    upper = setting.upper_bounds
    far_end, far_end_a, upstream_a = None, math.inf, math.inf
    if kind.is_published:
        lower = (*lower, *lower_bounds_of_type(setting, kind, currents))
        far_end = far_end_bound(setting, kind, currents.far_end_fault_a)
        far_end_a = math.nan
        if far_end is not None:
            far_end_a, upper = far_end.rated_current_a, (*upper, far_end)
        if upstream is not None and setting.options.selectivity_required:
            of_upstream = _selectivity_bound(setting, kind, upstream, currents.near_source_fault_a)
            upstream_a, upper = of_upstream.rated_current_a, (*upper, of_upstream)
    window = bounds.window_of(lower, upper)
    rating_a = given_rating_a
    if rating_a is None:
        ratings = kind.fuse_type.ratings_a
        index = bisect_left(ratings, least_listed_a(window.lower_a))
        rating_a = ratings[index] if index < len(ratings) else None
    is_protected, beyond = False, None
    if kind.is_published and rating_a is not None:
        runs = setting.parallel_conductors
        line = margin_line(kind.fuse_type, rating_a, setting.curve, runs)
        is_protected, beyond = protection_with_damage(
            line, setting.curve, runs, currents.near_source_fault_a
        )
    failing = failures_of_rating(
        _failing_of_type(setting, kind, currents, given_rating_a),
        math.nan if rating_a is None else rating_a,
        RatingBounds(window.lower_a, setting.conductor_a, far_end_a, upstream_a),
        given_rating_a is not None,
        is_protected,
    )
    return TypeChoice(kind, window, rating_a, far_end, failing, beyond)


def _failing_of_type(
    setting: FuseSetting,
    kind: TypeSetting,
    currents: CircuitCurrents,
    given_rating_a: float | None,
) -> int:
    """Return what speaks against a type whatever its bounds are, as digits."""
    failing, fuse_type = kind.failing, kind.fuse_type
    required_a = currents.required_breaking_capacity_a
    if lacks_breaking_capacity(fuse_type.breaking_capacity_a, required_a) and not (
        setting.options.breaking_capacity_may_be_exceeded
    ):
        failing |= BREAKING_TOO_LOW
    if given_rating_a is not None and given_rating_a not in fuse_type.ratings_a:
        failing |= NOT_STANDARD
    return failing


def _selectivity_bound(
    setting: FuseSetting, kind: TypeSetting, upstream: FuseInCircuit, near_source_fault_a: float
) -> Bound:
    def is_selective(rating_a: float) -> bool:
        found = selective_up_to_a(upstream, FuseInCircuit(kind.fuse_type, rating_a))
        return found is not None and found[0] >= near_source_fault_a

    return bounds.selectivity_bound(
        setting.tables, kind.fuse_type, upstream.rated_current_a, is_selective
    )
