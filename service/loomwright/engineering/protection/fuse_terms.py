"""What the fuse of a circuit hangs on whatever the numbers of a row are, as arrays to be looked up.

Worked out by the functions of the single call, for each candidate conductor and each rating as they
first come up.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.protection.damage import LOG_EXCESS, DamageCurve
from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_answer import VERDICTS
from loomwright.engineering.protection.fuse_bounds import INRUSH
from loomwright.engineering.protection.fuse_choice import verdict_of
from loomwright.engineering.protection.fuse_circuit import (
    Circuit,
    circuit_of,
    feed_resistance_ohm,
    position_of,
)
from loomwright.engineering.protection.fuse_coordination import FuseSet, margin_line
from loomwright.engineering.protection.fuse_request import ROAD_VEHICLE, FuseRequest
from loomwright.engineering.protection.fuse_setting import FuseSetting, TypeSetting

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]

# States of what is looked up.
NOT_LOOKED_UP, WANTED, KNOWN, LEFT_TO_SINGLE_CALL = 0, 1, 2, 3

POINTS_OF_DAMAGE_CURVE = LOG_EXCESS.size + 2
# Stand for those of a row, of which nothing here depends.
ANY_SOURCE = FaultSource(emf_v=1.0, internal_resistance_ohm=1.0)
ANY_CURRENT_A = 1.0


class FuseTerms(NamedTuple):
    """Figures of one circuit; the first axis is the candidate, the second one the fuse type.

    Parameters
    ----------
    state
        Of each candidate: ``NOT_LOOKED_UP``, ``KNOWN`` or ``LEFT_TO_SINGLE_CALL``.
    verdict_found
        Verdict where a fuse is found, as index into ``VERDICTS``.
    continuous_share
        Steady current that loads a fuse like the load, over the load's current [1].
    loading_factor, ambient_factor
        Greatest load over rating at 23 C [1]; capacity at the ambient over that at 23 C [1].
    equipment_a
        Rating of the fuse in the equipment [A], 0 without.
    conductor_a
        Least bound on the rating by the conductor [A].
    feed_resistance_ohm, parallel_conductors
        Of the conductor up to the fuse, cold [ohm]; equal conductors [1].
    threshold_current_a, log_excess, log_time
        Damage curve of one conductor.
    of_type
        What speaks against each type whatever its rating is, as digits.
    breaking_capacity_a
        Greatest fault of each type [A], infinite where it may be exceeded.
    inrush_multiple, cyclic_multiple
        Of the rating that is carried for the length of the peak [1], NaN without.
    far_end_multiple
        Of the rating that opens in time [1], NaN where none is known to.
    rating_a
        Listed ratings of each type [A], types by ratings, infinite behind
        the last.
    margin_state
        Of each candidate, type and rating.
    margin
        Their ``ProtectionLimits``.
    """

    state: Codes
    verdict_found: Codes
    continuous_share: Array
    loading_factor: Array
    ambient_factor: Array
    equipment_a: Array
    conductor_a: Array
    feed_resistance_ohm: Array
    parallel_conductors: Array
    threshold_current_a: Array
    log_excess: Array
    log_time: Array
    of_type: Codes
    breaking_capacity_a: Array
    inrush_multiple: Array
    cyclic_multiple: Array
    far_end_multiple: Array
    rating_a: Array
    margin_state: npt.NDArray[np.uint8]
    margin: Array


def no_terms(fuses: FuseSet, candidates: int) -> FuseTerms:
    """Return terms of which none is looked up yet.

    Parameters
    ----------
    fuses
        Wanted types.
    candidates
        How many conductors there are to choose from.

    Returns
    -------
    FuseTerms
        With the ratings alone.
    """
    types = len(fuses.types)
    ratings = np.full((types, 1 + max(len(kind.ratings_a) for kind in fuses.types)), np.inf)
    for place, kind in enumerate(fuses.types):
        ratings[place, : len(kind.ratings_a)] = kind.ratings_a
    cases = (candidates, types, ratings.shape[1])

    def figures(*shape: int) -> Array:
        return np.full((candidates, *shape), np.nan)

    return FuseTerms(
        state=np.full(candidates, NOT_LOOKED_UP),
        verdict_found=np.zeros(candidates, np.int64),
        continuous_share=figures(),
        loading_factor=figures(),
        ambient_factor=figures(),
        equipment_a=figures(),
        conductor_a=figures(),
        feed_resistance_ohm=figures(),
        parallel_conductors=figures(),
        threshold_current_a=figures(),
        log_excess=figures(POINTS_OF_DAMAGE_CURVE),
        log_time=figures(POINTS_OF_DAMAGE_CURVE),
        of_type=np.zeros((candidates, types), np.int64),
        breaking_capacity_a=figures(types),
        inrush_multiple=figures(types),
        cyclic_multiple=figures(types),
        far_end_multiple=figures(types),
        rating_a=ratings,
        margin_state=np.full(cases, NOT_LOOKED_UP, np.uint8),
        margin=np.full((*cases, 4), np.nan),
    )


def look_up_candidate(
    terms: FuseTerms, candidate: int, request: FuseRequest, fuses: FuseSet
) -> DamageCurve | None:
    """Enter the figures of one candidate conductor.

    Parameters
    ----------
    terms
        Where they are entered.
    candidate
        Which one.
    request
        Circuit with this conductor; the current of the load, the source and the resistance of the
        loop in it do not count.
    fuses
        Wanted types.

    Returns
    -------
    DamageCurve or None
        Of one conductor; none where the circuit is left to the single call.

    Raises
    ------
    EngineeringError
        As ``size_fuse``, where no row can be answered.
    """
    circuit = circuit_of(
        replace(
            request,
            load=replace(request.load, continuous_current_a=ANY_CURRENT_A),
            source=ANY_SOURCE,
        ),
        fuses.tables,
    )
    if not _is_regular(request):
        terms.state[candidate] = LEFT_TO_SINGLE_CALL
        return None
    _enter_conductor(terms, candidate, circuit)
    for place, kind in enumerate(circuit.setting.types):
        _enter_type(terms, candidate, place, circuit.setting, kind)
    terms.state[candidate] = KNOWN
    return circuit.curve


def _is_regular(request: FuseRequest) -> bool:
    """Return whether the fuse is chosen, by the bounds and rules that rows are judged by."""
    return (
        request.checked_fuse is None
        and not request.options.selectivity_required
        and request.placement.rules == ROAD_VEHICLE
    )


def _enter_conductor(terms: FuseTerms, candidate: int, circuit: Circuit) -> None:
    request, setting, curve = circuit.request, circuit.setting, circuit.curve
    equipment = setting.equipment_bound
    found = verdict_of(-1, position_of(request, setting.tables).is_met)
    terms.verdict_found[candidate] = VERDICTS.index(found)
    terms.continuous_share[candidate] = setting.continuous_share
    terms.loading_factor[candidate] = setting.loading_factor
    terms.ambient_factor[candidate] = setting.ambient_factor
    terms.equipment_a[candidate] = 0.0 if equipment is None else equipment.rated_current_a
    terms.conductor_a[candidate] = setting.conductor_a
    terms.feed_resistance_ohm[candidate] = feed_resistance_ohm(
        request.conductor, request.placement.distance_from_source_m
    )
    terms.parallel_conductors[candidate] = setting.parallel_conductors
    terms.threshold_current_a[candidate] = curve.threshold_current_a
    terms.log_excess[candidate] = curve.log_excess
    terms.log_time[candidate] = curve.log_time


def _enter_type(
    terms: FuseTerms, candidate: int, place: int, setting: FuseSetting, kind: TypeSetting
) -> None:
    terms.of_type[candidate, place] = kind.failing
    may_be_exceeded = setting.options.breaking_capacity_may_be_exceeded
    terms.breaking_capacity_a[candidate, place] = (
        np.inf if may_be_exceeded else kind.fuse_type.breaking_capacity_a
    )
    multiple = kind.far_end_multiple
    terms.far_end_multiple[candidate, place] = np.nan if multiple is None else multiple
    for rule, carried in kind.carried:
        entered = terms.inrush_multiple if rule == INRUSH else terms.cyclic_multiple
        entered[candidate, place] = carried


def look_up_margins(terms: FuseTerms, curves: dict[int, DamageCurve], fuses: FuseSet) -> None:
    """Enter up to which fault each wanted fuse protects its conductor.

    Parameters
    ----------
    terms
        Where ``margin_state`` says ``WANTED``, and where the limits are entered.
    curves
        Damage curve of each candidate.
    fuses
        Wanted types.
    """
    for candidate, place, rating in np.argwhere(terms.margin_state == WANTED).tolist():
        line = margin_line(
            fuses.types[place],
            float(terms.rating_a[place, rating]),
            curves[candidate],
            int(terms.parallel_conductors[candidate]),
        )
        terms.margin[candidate, place, rating] = line.limits
        terms.margin_state[candidate, place, rating] = KNOWN
