"""Laws of networks: currents and powers add up, linear ones superpose, more load never lifts."""

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from drawn_networks import drawn_network, solved, stacked_network
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft
from loomwright.engineering.network.solver import NO_OPERATING_POINT, SOLVED, solved_networks

SEEDS = st.integers(0, 100_000)
DRAFTS = st.one_of(st.builds(drawn_network, SEEDS), st.builds(stacked_network, SEEDS))
# Fewer than other laws, as each draws and solves several networks; a profile may ask for less.
MODERATE = settings(max_examples=min(60, settings().max_examples))


def solution_of(draft, **changes):
    """Return the operating point of a draft with some of its values changed."""
    return solved_networks(draft.shape(), draft.elements()._replace(**changes))


@given(DRAFTS)
def test_currents_add_up_at_each_node(draft):
    shape, row = draft.shape(), solved(draft).row
    assume(row.state[0] == SOLVED)
    sums = np.zeros(shape.node_count)
    for nodes, currents in (
        (shape.branch_from, -row.branch_current_a[0]),
        (shape.branch_to, row.branch_current_a[0]),
        (shape.source_minus, -row.source_current_a[0]),
        (shape.source_plus, row.source_current_a[0]),
        (shape.load_plus, -row.load_current_a[0]),
        (shape.load_minus, row.load_current_a[0]),
    ):
        np.add.at(sums, nodes, currents)
    # The reference included, which the solver leaves out.
    assert np.abs(sums).max() <= 1e-9 * max(1.0, np.abs(row.source_current_a).max())


@given(DRAFTS)
def test_sources_give_what_loads_take_and_branches_lose(draft):
    row = solved(draft).row
    assume(row.state[0] == SOLVED)
    given_w, taken_w = row.source_power_w[0], row.load_power_w[0]
    np.testing.assert_allclose(given_w, taken_w + row.loss_w[0], rtol=1e-9)
    assert row.loss_w[0] >= 0.0
    # Each power from its own law, too.
    shape, elements, at = draft.shape(), draft.elements(), row.node_voltage_v[0]
    over = at[shape.load_plus] - at[shape.load_minus]
    asked = elements.load_power_w[0] + over * elements.load_current_a[0]
    asked = asked + over**2 * elements.load_conductance_s[0]
    np.testing.assert_allclose(taken_w, asked.sum(), rtol=1e-12)
    np.testing.assert_allclose(row.load_current_a[0] * over, asked, rtol=1e-12)
    drop = at[shape.branch_from] - at[shape.branch_to]
    np.testing.assert_allclose(
        row.branch_current_a[0] * row.branch_resistance_ohm[0], drop, rtol=1e-9, atol=1e-13
    )


def linear_network(seed):
    """Return a meshed network of two batteries, of which nothing bends: no power, limit, heat."""
    rng = np.random.default_rng(seed)
    draft, count = NetworkDraft(), int(rng.integers(2, 7))
    draft.source("one", REFERENCE, "n1", 12.5, rng.uniform(0.005, 0.05))
    draft.source("other", REFERENCE, f"n{count}", 12.0, rng.uniform(0.005, 0.05))
    for place in range(2, count + 1):
        parent = int(rng.integers(1, place))
        draft.branch(f"b{place}", f"n{parent}", f"n{place}", rng.uniform(0.005, 0.05))
    draft.branch("mesh", "n1", f"n{count}", rng.uniform(0.005, 0.05))
    for place in range(1, count + 1):
        draft.load(f"l{place}", f"n{place}", REFERENCE, conductance_s=rng.uniform(0.0, 0.5))
    return draft


def voltages(draft, emf_v, current_a):
    row = solution_of(draft, emf_v=emf_v, load_current_a=current_a)
    assert row.state.tolist() == [SOLVED]
    return row.node_voltage_v[0]


@given(SEEDS)
def test_linear_loads_and_sources_superpose(seed):
    draft, rng = linear_network(seed), np.random.default_rng(seed)
    elements = draft.elements()
    both, none = elements.emf_v, np.zeros_like(elements.load_current_a)
    one, other = both * [1.0, 0.0], both * [0.0, 1.0]
    bare = voltages(draft, both, none)
    np.testing.assert_allclose(
        bare, voltages(draft, one, none) + voltages(draft, other, none), rtol=1e-10, atol=1e-10
    )
    first, second = rng.uniform(0.0, 8.0, (2, *none.shape))
    falls = [voltages(draft, both, loads) - bare for loads in (first, second, first + second)]
    np.testing.assert_allclose(falls[2], falls[0] + falls[1], rtol=1e-10, atol=1e-10)
    assert (falls[2] <= 0.0).all()


@given(SEEDS)
def test_one_load_lowers_another_as_much_as_that_would_lower_it(seed):
    draft = linear_network(seed)
    elements = draft.elements()
    none = np.zeros_like(elements.load_current_a)
    last = none.shape[1] - 1
    bare = voltages(draft, elements.emf_v, none)
    found = []
    for load, seen_at in ((0, last), (last, 0)):
        drawn = none.copy()
        drawn[0, load] = 10.0
        at = draft.shape().load_plus[seen_at]
        found.append((voltages(draft, elements.emf_v, drawn) - bare)[at])
    assert found[0] < 0.0
    np.testing.assert_allclose(found[0], found[1], rtol=1e-9)


@given(DRAFTS, st.integers(0, 4), st.sampled_from(["power", "current", "conductance"]))
def test_more_load_never_lifts_the_voltage_at_it(draft, place, part):
    shape, elements = draft.shape(), draft.elements()
    load = place % shape.load_plus.size
    name = {
        "power": "load_power_w",
        "current": "load_current_a",
        "conductance": "load_conductance_s",
    }[part]
    more = getattr(elements, name).copy()
    more[0, load] += {"power": 10.0, "current": 1.0, "conductance": 0.1}[part]
    before, after = solved(draft).row, solution_of(draft, **{name: more})
    assume(before.state[0] == SOLVED and after.state[0] == SOLVED)
    over = [
        row.node_voltage_v[0, shape.load_plus[load]] - row.node_voltage_v[0, shape.load_minus[load]]
        for row in (before, after)
    ]
    assert over[1] <= over[0] + 1e-11
    # Behind a source at its limit and nowhere else the voltage could stay; here a battery bends.
    assert over[1] < over[0] - 1e-6


@given(SEEDS, st.floats(0.05, 0.99))
def test_thicker_branch_of_a_tree_never_lowers_a_voltage(seed, thinner):
    # One battery, no mesh, loads at the reference. In a mesh an equal voltage may also be a lower.
    rng = np.random.default_rng(seed)
    draft, count = NetworkDraft(), int(rng.integers(2, 8))
    draft.source("battery", REFERENCE, "n1", 12.5, 0.01)
    for place in range(2, count + 1):
        parent = int(rng.integers(1, place))
        draft.branch(f"b{place}", f"n{parent}", f"n{place}", rng.uniform(0.005, 0.05))
        draft.load(
            f"l{place}",
            f"n{place}",
            REFERENCE,
            power_w=rng.uniform(0.0, 40.0),
            current_a=rng.uniform(0.0, 3.0),
        )
    before = solved(draft).row
    assume(before.state[0] == SOLVED)
    resistance = draft.elements().fixed_resistance_ohm
    resistance[0, int(rng.integers(0, count - 1))] *= thinner
    after = solution_of(draft, fixed_resistance_ohm=resistance)
    assert after.state.tolist() == [SOLVED]
    assert (after.node_voltage_v >= before.node_voltage_v - 1e-11).all()
    assert after.loss_w[0] <= before.loss_w[0] + 1e-9


def scaled(elements, volt, ampere):
    """Return the elements of a network whose voltages and currents are so many times as great."""
    ohm = volt / ampere
    return elements._replace(
        fixed_resistance_ohm=elements.fixed_resistance_ohm * ohm,
        ambient_resistance_ohm=elements.ambient_resistance_ohm * ohm,
        resistance_slope_ohm_per_k=elements.resistance_slope_ohm_per_k * ohm,
        share_per_ampere=elements.share_per_ampere / ampere,
        emf_v=elements.emf_v * volt,
        source_resistance_ohm=elements.source_resistance_ohm * ohm,
        greatest_current_a=elements.greatest_current_a * ampere,
        least_current_a=elements.least_current_a * ampere,
        load_power_w=elements.load_power_w * volt * ampere,
        load_current_a=elements.load_current_a * ampere,
        load_conductance_s=elements.load_conductance_s / ohm,
    )


@given(DRAFTS, st.floats(0.01, 100.0), st.floats(0.01, 100.0))
def test_scaled_network_has_scaled_voltages_and_currents(draft, volt, ampere):
    shape, elements = draft.shape(), draft.elements()
    before = solved_networks(shape, elements)
    after = solved_networks(shape, scaled(elements, volt, ampere))
    assert after.state.tolist() == before.state.tolist()
    assume(before.state[0] == SOLVED)
    greatest = np.abs(before.source_current_a).max()
    np.testing.assert_allclose(
        after.node_voltage_v, before.node_voltage_v * volt, rtol=1e-9, atol=1e-10 * volt
    )
    np.testing.assert_allclose(
        after.branch_current_a,
        before.branch_current_a * ampere,
        rtol=1e-9,
        atol=1e-9 * greatest * ampere,
    )
    np.testing.assert_allclose(after.stretch_rise_k, before.stretch_rise_k, rtol=1e-7, atol=1e-7)


@MODERATE
@given(DRAFTS)
def test_less_load_has_a_point_where_more_has_one(draft):
    power = draft.elements().load_power_w
    # From what is no load up: once there is no point there is none with more.
    states = [
        solution_of(draft, load_power_w=share * power).state[0] for share in (0.0, 0.5, 1, 4, 16)
    ]
    assert states == sorted(states, key=lambda state: state == NO_OPERATING_POINT)
    assert set(states) <= {SOLVED, NO_OPERATING_POINT}
