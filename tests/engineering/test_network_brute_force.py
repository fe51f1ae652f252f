"""States of networks against SciPy, which solves the same laws for voltages and currents at once.

The laws are written here a second time, in plain NumPy. The loads are turned up from nothing in
``RAMP`` steps and SciPy's hybrid Powell method goes on from the step before; it knows nothing of
the solver's answer. Where it arrives there is an operating point, so the solver must have found it.
Where it does not, that proves nothing; then a point of the solver must at least obey the laws.
"""

import numpy as np
import pytest
from scipy.optimize import root

from drawn_networks import drawn_network, stacked_network
from loomwright.engineering.network.collapse import collapse_of_all_loads
from loomwright.engineering.network.solver import (
    NO_OPERATING_POINT,
    SOLVED,
    is_proven,
    solved_networks,
)

RAMP = 20
# Of a current: what the laws may be off by where SciPy is said to have arrived.
ARRIVED = 1e-8
KINDS = {"tree": drawn_network, "stacked": stacked_network}
CASES = [(kind, seed) for kind in KINDS for seed in range(15)]


def laws(shape, elements, turned_up):
    """Return the currents left over at nodes and the voltages left over in branches, to be 0."""
    rise_at_cap = elements.curves[:, -1, 0]
    size = shape.node_count - 1

    def left_over(unknown):
        at, current = np.concatenate([[0.0], unknown[:size]]), unknown[size:]
        share = np.abs(current[shape.stretch_branch]) * elements.share_per_ampere[0]
        rise = rise_at_cap * np.minimum(share, 1.0) ** 2
        resistance = elements.fixed_resistance_ohm[0].copy()
        warm = elements.ambient_resistance_ohm[0] + elements.resistance_slope_ohm_per_k[0] * rise
        np.add.at(resistance, shape.stretch_branch, warm)
        given = (elements.emf_v[0] - at[shape.source_plus] + at[shape.source_minus]) / (
            elements.source_resistance_ohm[0]
        )
        given = np.clip(given, elements.least_current_a[0], elements.greatest_current_a[0])
        over = at[shape.load_plus] - at[shape.load_minus]
        power = elements.load_power_w[0]
        taken = np.divide(power, over, out=np.zeros_like(over), where=power > 0.0)
        taken += elements.load_current_a[0] + elements.load_conductance_s[0] * over
        taken *= turned_up
        sums = np.zeros(shape.node_count)
        for nodes, currents in (
            (shape.branch_from, current),
            (shape.branch_to, -current),
            (shape.source_minus, given),
            (shape.source_plus, -given),
            (shape.load_plus, taken),
            (shape.load_minus, -taken),
        ):
            np.add.at(sums, nodes, currents)
        drop = at[shape.branch_from] - at[shape.branch_to]
        return np.concatenate([sums[1:], drop - current * resistance])

    return left_over


def turned_up(shape, elements):
    """Return what SciPy arrives at with all loads, or None."""
    none = np.zeros_like(elements.load_power_w)
    idle = elements._replace(load_power_w=none, load_current_a=none, load_conductance_s=none)
    unknown = np.zeros(shape.node_count - 1 + shape.branch_from.size)
    for share in np.linspace(0.0, 1.0, RAMP + 1):
        with np.errstate(divide="ignore", invalid="ignore"):
            found = root(laws(shape, idle if share == 0.0 else elements, share), unknown, tol=1e-13)
        at = np.concatenate([[0.0], found.x[: shape.node_count - 1]])
        over = at[shape.load_plus] - at[shape.load_minus]
        # Written so that what is no number has not arrived.
        if not (np.abs(found.fun).max() < ARRIVED and over.min() > 0.0):
            return None
        unknown = found.x
    return unknown


@pytest.mark.parametrize("share", [0.5, 0.999, 1.001])
@pytest.mark.parametrize(("kind", "seed"), CASES)
def test_point_that_brute_force_finds_is_found(kind, seed, share):
    draft = KINDS[kind](seed)
    shape, elements = draft.shape(), draft.elements()
    # The solver's own collapse only says where to look.
    factor = share * collapse_of_all_loads(shape, elements).greatest_factor[0]
    loaded = elements._replace(load_power_w=factor * elements.load_power_w)
    solution = solved_networks(shape, loaded)
    found = turned_up(shape, loaded)
    assert solution.state.tolist() == [SOLVED if share < 1.0 else NO_OPERATING_POINT]
    if share < 1.0:
        ours = np.concatenate([solution.node_voltage_v[0, 1:], solution.branch_current_a[0]])
        assert np.abs(laws(shape, loaded, 1.0)(ours)).max() < ARRIVED
        if found is not None:
            # So near to the collapse a current left over moves the voltages by a thousand times it.
            np.testing.assert_allclose(ours, found, rtol=1e-5, atol=1e-5)
    else:
        assert found is None


def test_brute_force_arrives_and_kinds_without_proof_are_among_them():
    arrived, unproven = 0, 0
    for kind, seed in CASES:
        draft = KINDS[kind](seed)
        shape, elements = draft.shape(), draft.elements()
        arrived += turned_up(shape, elements) is not None
        unproven += not is_proven(0, shape, elements)
    assert arrived >= 0.9 * len(CASES)
    assert unproven >= 20
