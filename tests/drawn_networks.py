"""Networks of every kind of element, drawn by a seed, for the tests of the solver."""

from typing import NamedTuple

import numpy as np

from loomwright.engineering.conductors.temperature_curve import INTERVALS, curve_table
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft, Stretch
from loomwright.engineering.network.elements import Solution
from loomwright.engineering.network.solver import solved_networks


def quadratic_curve(rise_at_cap_k):
    """Return a curve whose rise is that of its end times the square of the share.

    With the share ``(n + x) / 32`` in the interval ``n`` the coefficients are those of the square.
    """
    n, scale = np.arange(INTERVALS), rise_at_cap_k / INTERVALS**2
    rows = np.stack([n**2, 2 * n, np.ones(INTERVALS), np.zeros(INTERVALS)], axis=-1) * scale
    return curve_table(rows)


def stretch(cold_ohm, rng):
    """Return a stretch of copper that the currents of these networks heat by some 10 K."""
    return Stretch(cold_ohm, cold_ohm * 0.0039, rng.uniform(0.002, 0.006), quadratic_curve(200.0))


def drawn_network(seed):
    """Return a network: a tree of feeds with ground paths, by turns meshed, fed twice, heated."""
    rng = np.random.default_rng(seed)
    draft = NetworkDraft()
    nodes = int(rng.integers(3, 9))
    draft.source("battery", REFERENCE, "n1", rng.uniform(12.0, 13.0), rng.uniform(0.004, 0.02))
    for place in range(2, nodes + 1):
        resistance, parent = rng.uniform(0.002, 0.05), f"n{rng.integers(1, place)}"
        heated = seed % 3 == 0 and place % 2 == 0
        stretches = (stretch(resistance, rng),) if heated else ()
        draft.branch(
            f"feed {place}", parent, f"n{place}", 0.0007 if heated else resistance, stretches
        )
    returns = [REFERENCE]
    for place in range(int(rng.integers(1, 3))):
        draft.branch(f"ground {place}", f"g{place}", REFERENCE, rng.uniform(0.001, 0.01))
        returns.append(f"g{place}")
    if seed % 2:
        for extra in range(2):
            one, other = rng.choice(np.arange(1, nodes + 1), 2, replace=False)
            draft.branch(f"mesh {extra}", f"n{one}", f"n{other}", rng.uniform(0.003, 0.03))
        if len(returns) > 2:
            draft.branch("second ground", "g0", "g1", rng.uniform(0.001, 0.01))
    if seed % 4 > 1:
        far = f"n{rng.integers(2, nodes + 1)}"
        least_taken = seed % 8 < 4
        # Of the three kinds by turns: idle, within its limit, at its limit.
        emf = (11.0, 13.2, 14.4)[seed % 3]
        draft.source(
            "second",
            REFERENCE,
            far,
            emf,
            rng.uniform(0.01, 0.05),
            greatest_current_a=rng.uniform(15.0, 40.0),
            takes_back=not least_taken,
        )
    for place in range(int(rng.integers(2, 6))):
        plus, minus = f"n{rng.integers(1, nodes + 1)}", str(rng.choice(returns))
        kind = (seed + place) % 4
        draft.load(
            f"load {place}",
            plus,
            minus,
            power_w=rng.uniform(5.0, 120.0) if kind in (0, 3) else 0.0,
            current_a=rng.uniform(0.5, 12.0) if kind in (1, 3) else 0.0,
            conductance_s=rng.uniform(0.05, 1.0) if kind in (2, 3) else 0.0,
        )
    return draft


def stacked_network(seed):
    """Return a network of two batteries in series with loads between all three rails.

    Nothing is proven of it: a load between the upper rails raises the middle when it takes more.
    """
    rng = np.random.default_rng(seed)
    draft = NetworkDraft()
    draft.source("lower", REFERENCE, "middle", rng.uniform(12.0, 13.0), rng.uniform(0.01, 0.05))
    draft.source("upper", "middle", "top", rng.uniform(12.0, 13.0), rng.uniform(0.01, 0.05))
    if seed % 2:
        draft.source(
            "equaliser",
            REFERENCE,
            "middle",
            rng.uniform(11.0, 12.5),
            0.05,
            greatest_current_a=20.0,
            takes_back=False,
        )
    for rail in ("middle", "top"):
        heated = (stretch(rng.uniform(0.01, 0.05), rng),) if seed % 3 else ()
        draft.branch(f"feed {rail}", rail, f"far {rail}", rng.uniform(0.002, 0.02), heated)
    draft.branch("ground", "far ground", REFERENCE, rng.uniform(0.002, 0.02))
    pairs = [
        ("far top", "far middle"),
        ("far middle", "far ground"),
        ("far top", "far ground"),
        ("top", "middle"),
    ]
    for place, (plus, minus) in enumerate(pairs):
        draft.load(
            f"load {place}",
            plus,
            minus,
            power_w=rng.uniform(5.0, 100.0),
            current_a=rng.uniform(0.0, 3.0),
            conductance_s=rng.uniform(0.0, 0.2),
        )
    return draft


class Point(NamedTuple):
    """Operating point of one drawn network, figures by name."""

    state: int
    voltage_v: dict[str, float]
    branch_a: dict[str, float]
    source_a: dict[str, float]
    load_a: dict[str, float]
    row: Solution


def solved(draft):
    """Return the operating point of a drawn network."""
    row = solved_networks(draft.shape(), draft.elements())
    return Point(
        int(row.state[0]),
        dict(zip(draft.nodes, row.node_voltage_v[0].tolist(), strict=True)),
        dict(zip(draft.branches, row.branch_current_a[0].tolist(), strict=True)),
        dict(zip(draft.sources, row.source_current_a[0].tolist(), strict=True)),
        dict(zip(draft.loads, row.load_current_a[0].tolist(), strict=True)),
        row,
    )
