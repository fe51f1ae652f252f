"""Resistance of the branches of a network that their currents have heated."""

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled_in_place
from loomwright.engineering.conductors.temperature_curve import rise_and_slope_on_curve_k
from loomwright.engineering.network.elements import Elements, Shape

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


@compiled_in_place
def heat_branches(
    current_a: Array,
    settled: Mask,
    resistance_ohm: Array,
    slope: Array,
    rise_k: Array,
    network: int,
    shape: Shape,
    elements: Elements,
) -> None:
    """Enter what ``heated_branches`` returns of the branches that have not settled."""
    for branch in range(settled.size):
        if not settled[branch]:
            resistance_ohm[branch] = elements.fixed_resistance_ohm[network, branch]
            slope[branch] = 0.0
    for stretch in range(shape.stretch_branch.size):
        branch = shape.stretch_branch[stretch]
        if settled[branch]:
            continue
        per_ampere = elements.share_per_ampere[network, stretch]
        share = abs(current_a[branch]) * per_ampere
        kelvin, kelvin_slope = rise_and_slope_on_curve_k(elements.curves[stretch], share)
        per_kelvin = elements.resistance_slope_ohm_per_k[network, stretch]
        resistance_ohm[branch] += (
            elements.ambient_resistance_ohm[network, stretch] + per_kelvin * kelvin
        )
        slope[branch] += per_kelvin * kelvin_slope * per_ampere
        rise_k[stretch] = kelvin


@compiled_in_place
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
    heat_branches(current_a, settled, resistance, slope, rise, network, shape, elements)
    return resistance, slope, rise
