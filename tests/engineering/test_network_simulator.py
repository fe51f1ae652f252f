"""Operating points against ngspice, a general-purpose circuit simulator, which has its own models.

Each network is written as a deck of its own: sources and loads as behavioural sources, heated
conductors as voltages behind a current sensor. The simulator gets nothing from the solver, neither
node voltages to start from nor hints: its own sweep turns all loads up from 0 to what they are in
``RAMP`` steps, each from its operating point before, and the first from 0 V without load. That is
how a fed network comes to rest; started at full load from 0 V the simulator settles on the false
state of low voltage that constant-power loads have too, and does not settle where a source comes in
between two of its steps. Below ``LEAST_V`` its loads of constant power take a constant current, as
a quotient by 0 V has no value.

The simulator's exit status says nothing of its success, so the deck ends with ``quit 0`` and every
figure is looked for. Beyond the collapse it leaps to the false state, so there the power that it
delivers is compared.
"""

import re
import shutil
import subprocess

import numpy as np
import pytest

from drawn_networks import drawn_network
from loomwright.engineering.network.collapse import collapse_of_all_loads
from loomwright.engineering.network.solver import NO_OPERATING_POINT, SOLVED, solved_networks

NETWORKS = 48
# The agreement asked for; the simulator's own tolerances are a hundred times narrower.
RELATIVE = 1e-6
# Below it the simulator's loads of constant power take a constant current.
LEAST_V = 3.0
# Steps of the sweep; a power of two, so that their sum is 1 to the last digit.
RAMP = 64
OPTIONS = ".options reltol=1e-9 abstol=1e-12 vntol=1e-10 gmin=1e-18 itl1=2000 itl2=2000"


def deck_of(shape, elements, power_factor=1.0):
    """Return the deck of the first of the networks, and the names of the figures it prints."""
    lines = ["a network", OPTIONS]
    for b, (start, end) in enumerate(zip(shape.branch_from, shape.branch_to, strict=True)):
        fixed = elements.fixed_resistance_ohm[0, b]
        own = np.flatnonzero(shape.stretch_branch == b)
        cold = fixed + elements.ambient_resistance_ohm[0, own].sum()
        # Ohm per square ampere: slope times rise at the cap times the square of the share.
        rise = elements.curves[own, -1, 0]
        square = elements.resistance_slope_ohm_per_k[0, own] * rise
        square = (square * elements.share_per_ampere[0, own] ** 2).sum()
        lines.append(f"Vb{b} {start} xb{b} 0")
        lines.append(
            f"Bb{b} xb{b} {end} V=I(Vb{b})*({cold:.17g}+({square:.17g})*I(Vb{b})*I(Vb{b}))"
        )
    for s, (minus, plus) in enumerate(zip(shape.source_minus, shape.source_plus, strict=True)):
        over = f"(V({plus})-V({minus}))"
        current = (
            f"({elements.emf_v[0, s]:.17g}-{over})/{elements.source_resistance_ohm[0, s]:.17g}"
        )
        if np.isfinite(elements.greatest_current_a[0, s]):
            current = f"min({current},{elements.greatest_current_a[0, s]:.17g})"
        if np.isfinite(elements.least_current_a[0, s]):
            current = f"max({current},{elements.least_current_a[0, s]:.17g})"
        lines.append(f"Vs{s} xs{s} {plus} 0")
        lines.append(f"Bs{s} {minus} xs{s} I={current}")
    lines.append("Vramp ramp 0 0")
    for k, (plus, minus) in enumerate(zip(shape.load_plus, shape.load_minus, strict=True)):
        over = f"(V({plus})-V({minus}))"
        power = power_factor * elements.load_power_w[0, k]
        current, conductance = elements.load_current_a[0, k], elements.load_conductance_s[0, k]
        lines.append(f"Vl{k} {plus} xl{k} 0")
        lines.append(
            f"Bl{k} xl{k} {minus} I=V(ramp)*({power:.17g}/max({over},{LEAST_V})"
            f"+{current:.17g}+{conductance:.17g}*{over})"
        )
    names = [f"v({node})" for node in range(1, shape.node_count)]
    names += [f"i(vb{b})" for b in range(shape.branch_from.size)]
    names += [f"i(vs{s})" for s in range(shape.source_plus.size)]
    names += [f"i(vl{k})" for k in range(shape.load_plus.size)]
    lines += [".control", "set numdgt=15", f"dc Vramp 0 1 {1 / RAMP}"]
    lines += [f"print {name}[{RAMP}]" for name in ["v(ramp)", *names]]
    lines += ["quit 0", ".endc", ".end"]
    return "\n".join(lines) + "\n", names


def simulated(shape, elements, power_factor=1.0):
    """Return voltages of the nodes and currents of branches, sources and loads by ngspice."""
    simulator = shutil.which("ngspice")
    assert simulator, "ngspice is not here; on Debian: apt-get install ngspice"
    deck, names = deck_of(shape, elements, power_factor)
    run = subprocess.run(
        [simulator, "-b"], input=deck, capture_output=True, text=True, timeout=60, check=True
    )
    found = dict(re.findall(rf"^(\S+)\[{RAMP}\] = (\S+)$", run.stdout, re.MULTILINE))
    assert set(found) == {"v(ramp)", *names}, run.stdout + run.stderr
    assert float(found["v(ramp)"]) == 1.0
    figures = np.array([float(found[name]) for name in names])
    places = np.cumsum(
        [shape.node_count - 1, shape.branch_from.size, shape.source_plus.size]
    ).tolist()
    return np.split(figures, places)


def assert_alike(ours, theirs):
    """Compare to 1e-6 of the greatest figure of its kind, as each hangs on the others."""
    np.testing.assert_allclose(ours, theirs, rtol=RELATIVE, atol=RELATIVE * np.abs(theirs).max())


@pytest.mark.parametrize("seed", range(NETWORKS))
def test_simulator_finds_the_same_operating_point(seed):
    draft = drawn_network(seed)
    shape, elements = draft.shape(), draft.elements()
    solution = solved_networks(shape, elements)
    assert solution.state[0] == SOLVED
    voltages, branches, sources, loads = simulated(shape, elements)
    np.testing.assert_allclose(solution.node_voltage_v[0, 1:], voltages, rtol=RELATIVE, atol=1e-8)
    assert_alike(solution.branch_current_a[0], branches)
    assert_alike(solution.source_current_a[0], sources)
    assert_alike(solution.load_current_a[0], loads)


def test_generated_networks_have_each_kind_of_element():
    counts = dict.fromkeys(
        ("heated", "meshed", "idle", "at limit", "takes back", "floating", "power", "resistive"), 0
    )
    for seed in range(NETWORKS):
        draft = drawn_network(seed)
        shape, elements = draft.shape(), draft.elements()
        current = solved_networks(shape, elements).source_current_a[0]
        counts["heated"] += shape.stretch_branch.size > 0
        counts["meshed"] += any("mesh" in name for name in draft.branches)
        counts["idle"] += bool((current == 0.0).any())
        counts["at limit"] += bool((current == elements.greatest_current_a[0]).any())
        counts["takes back"] += bool((current < 0.0).any())
        counts["floating"] += bool((shape.load_minus > 0).any())
        counts["power"] += bool((elements.load_power_w > 0.0).any())
        counts["resistive"] += bool((elements.load_conductance_s > 0.0).any())
    assert min(counts.values()) >= 2, counts


@pytest.mark.parametrize("seed", range(0, NETWORKS, 6))
def test_simulator_delivers_the_power_up_to_the_collapse_and_less_beyond(seed):
    draft = drawn_network(seed)
    shape, elements = draft.shape(), draft.elements()
    collapse = collapse_of_all_loads(shape, elements)
    assert collapse.state[0] == SOLVED
    for share, delivers in ((0.99, True), (1.01, False)):
        factor = share * collapse.greatest_factor[0]
        loaded = elements._replace(load_power_w=factor * elements.load_power_w)
        state = solved_networks(shape, loaded).state[0]
        assert state == (SOLVED if delivers else NO_OPERATING_POINT)
        voltages, *_ = simulated(shape, elements, factor)
        at = np.concatenate([[0.0], voltages])
        over = at[shape.load_plus] - at[shape.load_minus]
        asked = loaded.load_power_w[0]
        delivered = asked / np.maximum(over, LEAST_V) * over
        if delivers:
            np.testing.assert_allclose(delivered, asked, rtol=1e-9)
        else:
            assert delivered.sum() < 0.99 * asked.sum()
