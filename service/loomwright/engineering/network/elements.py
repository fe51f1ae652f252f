"""A network of sources, resistive branches and loads, as the solver takes it."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


class Shape(NamedTuple):
    """Which elements lie between which nodes; node 0 is the reference, at 0 V.

    Each array has one entry for each element. Branch currents are positive from ``branch_from`` to
    ``branch_to``, source currents out of ``source_plus``, load currents into ``load_plus``.

    Parameters
    ----------
    node_count
        Nodes, the reference included.
    branch_from, branch_to
        Nodes of each branch.
    stretch_branch
        Branch of each stretch of conductor.
    source_minus, source_plus
        Nodes of each source.
    load_plus, load_minus
        Nodes of each load.
    """

    node_count: int
    branch_from: Places
    branch_to: Places
    stretch_branch: Places
    source_minus: Places
    source_plus: Places
    load_plus: Places
    load_minus: Places


class Elements(NamedTuple):
    """Values of the elements of networks of one shape, networks as rows, elements as columns.

    Parameters
    ----------
    fixed_resistance_ohm
        Of each branch, what does not depend on its current [ohm], 0 or more; with its stretches a
        branch has more than 0.
    ambient_resistance_ohm
        Of each stretch of conductor at its ambient [ohm].
    resistance_slope_ohm_per_k
        Of that resistance by temperature [ohm/K].
    share_per_ampere
        Share of the cap current of its curve that one ampere is [1/A].
    curves
        Temperature rise of each stretch on that share [K], stretches by ``curve_table``; the same
        for all networks.
    emf_v
        Open-circuit voltage of each source [V].
    source_resistance_ohm
        Internal resistance [ohm], above 0.
    greatest_current_a
        What the source gives at most [A], infinite without a limit: beyond it the voltage falls.
    least_current_a
        0 for a source that takes nothing back, minus infinity for one that does [A].
    load_power_w, load_current_a, load_conductance_s
        Constant-power, constant-current and resistive part of each load [W], [A], [S], 0 or more.
    """

    fixed_resistance_ohm: Array
    ambient_resistance_ohm: Array
    resistance_slope_ohm_per_k: Array
    share_per_ampere: Array
    curves: Array
    emf_v: Array
    source_resistance_ohm: Array
    greatest_current_a: Array
    least_current_a: Array
    load_power_w: Array
    load_current_a: Array
    load_conductance_s: Array


class Solution(NamedTuple):
    """Operating points of networks, one row for each.

    Where none exists the row holds NaN and ``state`` says why; see ``SOLVED`` and the others in
    ``solver``.

    Parameters
    ----------
    state
        ``SOLVED``, ``NO_OPERATING_POINT`` or ``NOT_SETTLED``.
    node_voltage_v
        Against the reference [V].
    branch_current_a, branch_resistance_ohm
        Of each branch at its working temperature [A], [ohm].
    stretch_rise_k
        Of each stretch above its ambient [K]; that at the cap where ``above_cap``.
    above_cap
        Whether a stretch carries more than the cap of the heat model.
    source_current_a
        Of each source [A].
    load_current_a
        Of each load [A].
    source_power_w, load_power_w, loss_w
        Power out of all sources at their terminals, into all loads, and lost in all branches [W].
    iterations
        Newton steps.
    residual_a
        Greatest sum of currents that is left at a node [A].
    """

    state: Places
    node_voltage_v: Array
    branch_current_a: Array
    branch_resistance_ohm: Array
    stretch_rise_k: Array
    above_cap: npt.NDArray[np.bool_]
    source_current_a: Array
    load_current_a: Array
    source_power_w: Array
    load_power_w: Array
    loss_w: Array
    iterations: Places
    residual_a: Array
