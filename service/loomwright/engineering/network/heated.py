"""Resistance of the branches of a network that their currents have heated."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled
from loomwright.engineering.conductors.temperature_curve import rise_and_slope_on_curve_k
from loomwright.engineering.network.elements import Elements, Shape

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


class Conductors(NamedTuple):
    """What heats the branches: a call with all of shape and elements takes longer than the work."""

    stretch_branch: Places
    fixed_resistance_ohm: Array
    ambient_resistance_ohm: Array
    resistance_slope_ohm_per_k: Array
    share_per_ampere: Array
    curves: Array


@compiled
def conductors_of(shape: Shape, elements: Elements) -> Conductors:
    """Return what heats the branches of networks."""
    return Conductors(
        shape.stretch_branch,
        elements.fixed_resistance_ohm,
        elements.ambient_resistance_ohm,
        elements.resistance_slope_ohm_per_k,
        elements.share_per_ampere,
        elements.curves,
    )


@compiled
def heat_branches(
    current_a: Array,
    settled: Mask,
    resistance_ohm: Array,
    slope: Array,
    rise_k: Array,
    network: int,
    conductors: Conductors,
) -> None:
    """Enter what ``heated_branches`` returns of the branches that have not settled."""
    for branch in range(settled.size):
        if not settled[branch]:
            resistance_ohm[branch] = conductors.fixed_resistance_ohm[network, branch]
            slope[branch] = 0.0
    for stretch in range(conductors.stretch_branch.size):
        branch = conductors.stretch_branch[stretch]
        if settled[branch]:
            continue
        per_ampere = conductors.share_per_ampere[network, stretch]
        share = abs(current_a[branch]) * per_ampere
        kelvin, kelvin_slope = rise_and_slope_on_curve_k(conductors.curves[stretch], share)
        per_kelvin = conductors.resistance_slope_ohm_per_k[network, stretch]
        resistance_ohm[branch] += (
            conductors.ambient_resistance_ohm[network, stretch] + per_kelvin * kelvin
        )
        slope[branch] += per_kelvin * kelvin_slope * per_ampere
        rise_k[stretch] = kelvin


@compiled
def heated_branches(
    current_a: Array, network: int, shape: Shape, elements: Elements
) -> tuple[Array, Array, Array]:
    """Return resistances of the branches at currents, their slopes, and the rise of each stretch.

    Parameters
    ----------
    current_a
        Of each branch [A], of either sign.
    network
        Row of the elements.
    shape
        The shape.
    elements
        Their values.

    Returns
    -------
    tuple of ndarray
        Resistance [ohm], its slope by the magnitude of the current [ohm/A], rise [K].
    """
    branches = shape.branch_from.size
    resistance, slope = np.empty(branches), np.empty(branches)
    rise, settled = np.empty(shape.stretch_branch.size), np.zeros(branches, np.bool_)
    conductors = conductors_of(shape, elements)
    heat_branches(current_a, settled, resistance, slope, rise, network, conductors)
    return resistance, slope, rise
