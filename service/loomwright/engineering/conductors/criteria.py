"""Criteria that a candidate has to meet, for one candidate and for all of a request."""

import math

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.conductors.loaded_route import (
    CURRENT,
    DROP,
    LOOP_RESISTANCE,
    Route,
    solved_candidates,
)
from loomwright.engineering.conductors.surroundings import Surroundings
from loomwright.engineering.protection.short_circuit import (
    adiabatic_constant,
    adiabatic_k,
    least_section_m2,
)

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# Rounding of a limit must not decide: a drop that equals its limit passes.
ROUNDING = 1.0 + 1e-12
# In place of a candidate and of a criterion: there is none, or nothing thinner is listed.
NONE, SMALLEST_LISTED = -1, -2


@compiled
def utilisations(
    drop_v: float,
    allowed_voltage_drop_v: float,
    current_a: float,
    heat_ampacity_a: float,
    published_ampacity_a: float,
    mechanical: float,
    short_circuit: float,
) -> tuple[float, float, float, float, float]:
    """Return what is asked of a candidate over what is allowed.

    Parameters
    ----------
    drop_v
        Of the wiring [V].
    allowed_voltage_drop_v
        Greatest drop [V], above 0.
    current_a
        Of the load [A].
    heat_ampacity_a
        Ampacity by the heat balance [A].
    published_ampacity_a
        Ampacity by the published table [A], NaN where none covers the size.
    mechanical
        Least size by strength over the size [1].
    short_circuit
        Least size by a fault over the size [1].

    Returns
    -------
    tuple of float
        One for each of ``CRITERIA`` [1].
    """
    # A size that no table covers cannot fail it.
    published = 0.0 if math.isnan(published_ampacity_a) else current_a / published_ampacity_a
    return (
        drop_v / allowed_voltage_drop_v,
        current_a / heat_ampacity_a,
        published,
        mechanical,
        short_circuit,
    )


@compiled
def missed_criteria(exists: bool, used: tuple[float, float, float, float, float]) -> int:
    """Return the criteria that a candidate misses.

    Parameters
    ----------
    exists
        Whether it has an operating point; without one it misses the drop.
    used
        Its ``utilisations`` [1].

    Returns
    -------
    int
        Binary digits as ``Candidates.failing`` has them.
    """
    missed = 0 if exists else 1
    for place in range(5):
        if used[place] > ROUNDING:
            missed |= 1 << place
    return missed


@compiled
def judged_candidates(
    state: Array,
    exists: Mask,
    allowed_voltage_drop_v: float,
    heat_ampacity_a: Array,
    published_ampacity_a: Array,
    mechanical: Array,
    short_circuit: Array,
) -> tuple[Array, npt.NDArray[np.uint8]]:
    """Return the utilisation of each criterion, and which criteria each candidate misses.

    Parameters
    ----------
    state
        Of the candidates, as ``solved_candidates`` has it.
    exists
        Whether each has an operating point.
    allowed_voltage_drop_v
        Greatest drop [V], above 0.
    heat_ampacity_a
        Of each by the heat balance [A].
    published_ampacity_a
        Of each by the published table [A].
    mechanical
        Of each, see ``utilisations`` [1].
    short_circuit
        Of each, see ``utilisations`` [1].

    Returns
    -------
    tuple of ndarray
        ``utilisation`` and ``failing`` of ``Candidates``.
    """
    count = exists.size
    utilisation = np.empty((5, count))
    failing = np.zeros(count, np.uint8)
    for candidate in range(count):
        used = utilisations(
            state[DROP, candidate],
            allowed_voltage_drop_v,
            state[CURRENT, candidate],
            heat_ampacity_a[candidate],
            published_ampacity_a[candidate],
            mechanical[candidate],
            short_circuit[candidate],
        )
        for place in range(5):
            utilisation[place, candidate] = used[place]
        failing[candidate] = missed_criteria(exists[candidate], used)
    return utilisation, failing


@compiled
def _decision(
    state: Array,
    exists: Mask,
    utilisation: Array,
    failing: npt.NDArray[np.uint8],
    sizes: int,
    greatest_runs: int,
    given: int,
) -> tuple[int, int, bool, bool, float]:
    """Return what ``judged_route`` decides."""
    chosen, any_exists, least = NONE, False, 0
    for candidate in range(failing.size):
        if chosen == NONE and candidate < sizes * greatest_runs and failing[candidate] == 0:
            chosen = candidate
        any_exists = any_exists or exists[candidate]
        if state[LOOP_RESISTANCE, candidate] < state[LOOP_RESISTANCE, least]:
            least = candidate
    looked_at = chosen if given == NONE else given
    fails = given != NONE and failing[given] > 0
    deciding = NONE
    if looked_at != NONE and looked_at % sizes == 0 and not fails:
        deciding = SMALLEST_LISTED
    else:
        thinner = looked_at if fails else looked_at - 1
        if looked_at == NONE:
            # Not by the drop: without any operating point it is half the EMF for all of them.
            thinner = least
        for place in range(5):
            if failing[thinner] >> place & 1 and (
                deciding == NONE or utilisation[place, thinner] > utilisation[deciding, thinner]
            ):
                deciding = place
    return chosen, deciding, fails, any_exists, state[LOOP_RESISTANCE, least]


@compiled
def judged_route(
    load_current_a: float,
    load_power_w: float,
    emf_v: float,
    source_resistance_ohm: float,
    fixed_wiring_resistance_ohm: float,
    allowed_voltage_drop_v: float,
    limit_current_a: float,
    limit_resistance_ohm: float,
    sizes: int,
    greatest_runs: int,
    given: int,
    route: Route,
    ampacity_a: Array,
    heat_ampacity_a: Array,
    published_ampacity_a: Array,
    mechanical: Array,
    short_circuit: Array,
) -> tuple[
    tuple[Array, Mask, Array, npt.NDArray[np.uint8]],
    int,
    float,
    tuple[int, int, bool, bool, float],
]:
    """Solve and judge all candidates of a route, and choose among them.

    In one call, as each call of machine code takes longer than most of what it does here.

    Parameters
    ----------
    load_current_a
        Of the load [A]; NaN where its power is given.
    load_power_w
        Of a constant-power load [W]; NaN where its current is given.
    emf_v
        Open-circuit voltage of the source [V].
    source_resistance_ohm
        Of the source [ohm].
    fixed_wiring_resistance_ohm
        Chassis, joints and fuse together [ohm].
    allowed_voltage_drop_v
        Greatest drop [V], above 0.
    limit_current_a
        Current at the greatest length [A].
    limit_resistance_ohm
        Resistance of the whole wiring at the greatest length [ohm].
    sizes
        Sizes of the series [1].
    greatest_runs
        Parallel runs up to which a candidate is chosen [1].
    given
        Candidate to be checked, ``NONE`` without one.
    route
        The route.
    ampacity_a
        Of each candidate [A].
    heat_ampacity_a
        Of each by the heat balance [A].
    published_ampacity_a
        Of each by the published table [A].
    mechanical
        Of each, see ``utilisations`` [1].
    short_circuit
        Of each, see ``utilisations`` [1].

    Returns
    -------
    tuple
        State, existence, utilisation and failing of all candidates; iterations and last step as
        ``solved_candidates`` has them; and the decision: the chosen candidate or ``NONE``; the
        deciding criterion; whether the given candidate fails; whether any has an operating point;
        and the least resistance of the wiring [ohm]. The deciding criterion is the place in
        ``CRITERIA`` that the next thinner candidate misses by most, or that the given one itself
        does where it fails; where none is chosen, that of the candidate with the least resistance;
        ``NONE`` where nothing is missed, and ``SMALLEST_LISTED`` where there is nothing thinner.
    """
    state, exists, iterations, residual = solved_candidates(
        load_current_a,
        load_power_w,
        emf_v,
        source_resistance_ohm,
        fixed_wiring_resistance_ohm,
        limit_current_a,
        limit_resistance_ohm,
        route,
        ampacity_a,
    )
    utilisation, failing = judged_candidates(
        state,
        exists,
        allowed_voltage_drop_v,
        heat_ampacity_a,
        published_ampacity_a,
        mechanical,
        short_circuit,
    )
    decision = _decision(state, exists, utilisation, failing, sizes, greatest_runs, given)
    return (state, exists, utilisation, failing), iterations, residual, decision


def mechanical_utilisations(request: ConductorRequest, around: Surroundings) -> Array:
    """Return the least mechanical size over each size.

    Parameters
    ----------
    request
        Smallest size, if one is stated.
    around
        Its surroundings.

    Returns
    -------
    ndarray
        Of each candidate [1].
    """
    if request.smallest_size is None:
        return around.mechanical_utilisation
    return np.asarray(request.smallest_size.rank / around.ranks)


def short_circuit_utilisations(request: ConductorRequest, around: Surroundings) -> Array:
    """Return the adiabatic section over the section of all runs.

    Parameters
    ----------
    request
        Fault current and clearing time, if they are stated.
    around
        Its surroundings.

    Returns
    -------
    ndarray
        Of each candidate [1], 0 without a fault.
    """
    if request.fault_current_a is None:
        return around.no_utilisation
    assert request.clearing_time_s is not None
    material, insulation, frame = request.material, request.insulation, around.frame
    constant = adiabatic_constant(
        material.resistivity_20c_ohm_m,
        material.volumetric_heat_capacity_j_per_m3k,
        material.adiabatic_beta_k,
    )
    k = adiabatic_k(
        constant,
        material.adiabatic_beta_k,
        insulation.temperature_rating_k,
        insulation.short_circuit_temperature_k,
    )
    least = least_section_m2(request.fault_current_a, request.clearing_time_s, k)
    return np.asarray(least / (frame.cross_section_m2 * frame.parallel_runs))
