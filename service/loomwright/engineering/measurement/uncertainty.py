"""How far an installation that is built right may differ from its plan, drawn at random.

Monte Carlo after JCGM 101:2008. The draws are stratified: of each input, every one of the equal
slices of its distribution is drawn once, in an order of its own (Latin hypercube). A thousand draws
then have the means that the distributions have, where JCGM 101, 7.2.2, asks for ten thousand and
more plain ones; a standard deviation is good to some 2 %, which the tolerances are not worth. The
seed is fixed, and the same request has the same draws.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.measured_network import MeasuredNetwork, Variants
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]

DRAWS = 1024
SEED = 20310430


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Half-widths and spreads of what is not known of an installation that is built right.

    Common practice, no source. Half-widths are of rectangular distributions, spreads of lognormal
    ones around the planned value.

    Parameters
    ----------
    conductor_resistance_share
        Half-width of the resistance of the conductor of a circuit, from its own nominal [1].
    route_length_share
        Half-width of the length of a feed or of a return [1].
    ambient_temperature_k
        Half-width of the temperature of the conductors before they carry current [K].
    joint_spread
        Standard deviation of the logarithm of the resistance of each joint and the chassis [1].
    emf_share
        Half-width of the open-circuit voltage of a source [1].
    source_resistance_spread
        Standard deviation of the logarithm of its internal resistance [1].
    load_share
        Half-width of what a load draws [1].
    """

    conductor_resistance_share: float = 0.04
    route_length_share: float = 0.05
    ambient_temperature_k: float = 5.0
    joint_spread: float = 0.35
    emf_share: float = 0.02
    source_resistance_spread: float = 0.25
    load_share: float = 0.1


USUAL = Tolerances()


@record
class Scores:
    """Draws of independent inputs, one column for each.

    Parameters
    ----------
    even
        Rectangular between -1 and 1 [1].
    normal
        Standard normal [1].
    """

    even: Array
    normal: Array


@lru_cache(maxsize=64)
def stratified_scores(draws: int, inputs: int, seed: int = SEED) -> Scores:
    """Return stratified draws of independent inputs.

    Parameters
    ----------
    draws
        Number of rows, 1 or more.
    inputs
        Number of columns; each is the same whatever stands beside it.
    seed
        Of the generator.

    Returns
    -------
    Scores
        Two independent sets of columns.

    References
    ----------
    McKay, Beckman and Conover, Technometrics 21 (1979) 239-245, from memory.
    """
    middles = (np.arange(draws) + 0.5) / draws
    even, normal = 2.0 * middles - 1.0, np.array([NormalDist().inv_cdf(p) for p in middles])

    def columns(values: Array, kind: int) -> Array:
        if not inputs:
            return np.empty((draws, 0))
        orders = (
            np.random.Generator(np.random.PCG64([seed, kind, column])).permutation(draws)
            for column in range(inputs)
        )
        return np.stack([values[order] for order in orders], axis=1)

    return Scores(columns(even, 0), columns(normal, 1))


def drawn_variants(
    network: MeasuredNetwork,
    tolerances: Tolerances,
    draws: int = DRAWS,
    *,
    seed: int = SEED,
) -> Variants:
    """Return variants of a planned network as they come out when it is built right.

    Resistances of the feed and of the return of a circuit, which is one reel, go together; their
    lengths do not.

    Parameters
    ----------
    network
        As planned.
    tolerances
        What is not known of it.
    draws
        How many variants.
    seed
        Of the draws.

    Returns
    -------
    Variants
        One row for each draw.
    """
    planned = network.planned
    parts, sources = planned.part_resistance_ohm.shape[1], planned.emf_v.shape[1]
    loads, circuits = planned.load_power_w.shape[1], len(network.circuits)
    scores = stratified_scores(draws, _rounded_up(3 * circuits + parts + 2 * sources + loads), seed)
    even, normal = _taken(scores.even), _taken(scores.normal)
    warmer = tolerances.ambient_temperature_k * even(1)
    of_stretch = np.ones((draws, planned.share_per_ampere.shape[1]))
    for places in network.circuits.values():
        of_reel = 1.0 + tolerances.conductor_resistance_share * even(1)
        for stretches in (places.feed_stretches, places.return_stretches):
            along = 1.0 + tolerances.route_length_share * even(1)
            of_stretch[:, list(stretches)] = of_reel * along
    slope = planned.resistance_slope_ohm_per_k * of_stretch
    load = 1.0 + tolerances.load_share * even(loads)
    return Variants(
        part_resistance_ohm=planned.part_resistance_ohm
        * np.exp(tolerances.joint_spread * normal(parts)),
        ambient_resistance_ohm=planned.ambient_resistance_ohm * of_stretch + slope * warmer,
        resistance_slope_ohm_per_k=slope,
        share_per_ampere=np.repeat(planned.share_per_ampere, draws, axis=0),
        emf_v=planned.emf_v * (1.0 + tolerances.emf_share * even(sources)),
        source_resistance_ohm=planned.source_resistance_ohm
        * np.exp(tolerances.source_resistance_spread * normal(sources)),
        load_power_w=planned.load_power_w * load,
        load_current_a=planned.load_current_a * load,
    )


def _rounded_up(inputs: int) -> int:
    """Return a number of columns that many networks share, so that few sets of draws are made."""
    return 32 * (inputs // 32 + 1)


def _taken(columns: Array) -> Callable[[int], Array]:
    """Return a function that hands out the next columns, so many at a time."""
    place = 0

    def following(count: int) -> Array:
        nonlocal place
        place += count
        return columns[:, place - count : place]

    return following
