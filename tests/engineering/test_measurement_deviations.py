"""Slopes of meter readings by each uncertain input, against differences of solved networks.

Two batteries, one of them with nothing switched on, and a converter at its limit; circuits with
heated conductors that share a ground lead, so that every reading depends on several inputs. Source:
central differences (JCGM 100:2008, 5.1.3 note 2 takes the same for sensitivities; memory).
"""

from collections.abc import Iterator

import numpy as np
import pytest

from drawn_networks import quadratic_curve
from loomwright.engineering.measurement.deviations import (
    NONE,
    Fitted,
    MeterPlaces,
    Spread,
    shown_with_variances,
)
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft, Stretch
from loomwright.engineering.network.elements import Elements
from loomwright.engineering.network.solver import SOLVED, solved_networks

NOTHING = dict.fromkeys(Spread._fields, 0.0)
EVERYTHING = {
    "joint": 0.3,
    "reel": 0.03,
    "along": 0.05,
    "warmer_k": 6.0,
    "emf": 0.01,
    "inner": 0.2,
    "load": 0.04,
}
STEP = 1e-4


def stretch(ohm: float, rise_k: float) -> Stretch:
    return Stretch(ohm, 0.0039 * ohm, 0.02, quadratic_curve(rise_k))


def drawn() -> NetworkDraft:
    draft = NetworkDraft()
    # The converter comes first and at its limit: what comes after it counts all the same.
    draft.source(
        "converter", REFERENCE, "post", 14.2, 0.01, greatest_current_a=9.0, takes_back=False
    )
    draft.source("battery", REFERENCE, "plus", 12.6, 0.006)
    # On top of the other battery, so that what is read there depends on both.
    draft.source("resting", "plus", "spare", 12.4, 0.007, takes_back=False)
    draft.branch("lamp.feed", "plus", "lamp.plus", 0.004, (stretch(0.011, 90.0),))
    draft.branch("lamp.return", "lamp.minus", "lug", 0.001, (stretch(0.007, 60.0),))
    draft.branch("fan.feed", "plus", "fan.plus", 0.003, (stretch(0.02, 80.0),))
    draft.branch("fan.return", "fan.minus", "lug", 0.002, (stretch(0.012, 70.0),))
    draft.branch("ground", "lug", REFERENCE, 0.0015)
    draft.branch("radio.feed", "post", "radio.plus", 0.005, (stretch(0.03, 50.0),))
    draft.branch("radio.return", "radio.minus", REFERENCE, 0.004, (stretch(0.01, 50.0),))
    draft.load("lamp", "lamp.plus", "lamp.minus", current_a=20.0)
    draft.load("fan", "fan.plus", "fan.minus", power_w=150.0)
    # It would take some 14 A at 14 V, so that the converter stands at its 9 A.
    draft.load("radio", "radio.plus", "radio.minus", conductance_s=1.0)
    return draft


DRAFT = drawn()
SHAPE, ELEMENTS = DRAFT.shape(), DRAFT.elements()
BRANCH = {name: place for place, name in enumerate(DRAFT.branches)}
# Parts in the order of inputs, some of them in one branch.
PART_BRANCH = np.array(
    [BRANCH[name] for name in ("fan.feed", "lamp.feed", "lamp.feed", "lamp.return", "radio.feed")]
)
PART_OHM = np.array([0.002, 0.001, 0.0025, 0.0007, 0.003])
CIRCUITS = np.array(
    [
        [BRANCH["radio.feed"], BRANCH["radio.return"]],
        [BRANCH["lamp.feed"], BRANCH["lamp.return"]],
        [BRANCH["fan.feed"], BRANCH["fan.return"]],
    ]
)
FITTED = Fitted(PART_BRANCH, PART_OHM, CIRCUITS)


def meters() -> MeterPlaces:
    nodes = DRAFT.nodes
    places = [(node, 0, NONE, NONE) for node in nodes.values()]
    places += [
        (nodes["lamp.plus"], nodes["lamp.minus"], NONE, NONE),
        (nodes["fan.minus"], nodes["lamp.plus"], NONE, NONE),
    ]
    places += [(0, 0, branch, NONE) for branch in BRANCH.values()]
    places += [(0, 0, branch, part) for part, branch in enumerate(PART_BRANCH)]
    return MeterPlaces(*np.ascontiguousarray(np.array(places, np.int64).T))


METERS = meters()


def shown(elements: Elements, part_ohm: np.ndarray) -> np.ndarray:
    solution = solved_networks(SHAPE, elements)
    assert solution.state[0] == SOLVED
    voltage, current = solution.node_voltage_v[0], solution.branch_current_a[0]
    return np.array(
        [
            voltage[plus] - voltage[minus]
            if branch == NONE
            else current[branch] * (1.0 if part == NONE else part_ohm[part])
            for plus, minus, branch, part in zip(*METERS, strict=True)
        ]
    )


def conductors_times(factors: np.ndarray) -> Elements:
    by_stretch = factors[SHAPE.stretch_branch]
    return ELEMENTS._replace(
        ambient_resistance_ohm=ELEMENTS.ambient_resistance_ohm * by_stretch,
        resistance_slope_ohm_per_k=ELEMENTS.resistance_slope_ohm_per_k * by_stretch,
    )


def changed(kind: str, step: float) -> Iterator[tuple[Elements, np.ndarray]]:
    """Yield the network with each input of a kind changed by a step on its own."""
    if kind == "joint":
        for part, branch in enumerate(PART_BRANCH):
            ohm, fixed = PART_OHM.copy(), ELEMENTS.fixed_resistance_ohm.copy()
            ohm[part] *= 1.0 + step
            fixed[0, branch] += step * PART_OHM[part]
            yield ELEMENTS._replace(fixed_resistance_ohm=fixed), ohm
    elif kind in ("reel", "along"):
        for ways in CIRCUITS if kind == "reel" else CIRCUITS.reshape(-1, 1):
            factors = np.ones(len(BRANCH))
            factors[ways] += step
            yield conductors_times(factors), PART_OHM
    elif kind == "warmer_k":
        warmer = ELEMENTS.ambient_resistance_ohm + step * ELEMENTS.resistance_slope_ohm_per_k
        yield ELEMENTS._replace(ambient_resistance_ohm=warmer), PART_OHM
    elif kind in ("emf", "inner"):
        name = {"emf": "emf_v", "inner": "source_resistance_ohm"}[kind]
        for source in range(SHAPE.source_plus.size):
            values = getattr(ELEMENTS, name).copy()
            values[0, source] *= 1.0 + step
            yield ELEMENTS._replace(**{name: values}), PART_OHM
    else:
        for load in range(SHAPE.load_plus.size):
            drawn_loads = {}
            for name in ("load_power_w", "load_current_a", "load_conductance_s"):
                drawn_loads[name] = getattr(ELEMENTS, name).copy()
                drawn_loads[name][0, load] *= 1.0 + step
            yield ELEMENTS._replace(**drawn_loads), PART_OHM


def variances_by_differences(kind: str) -> np.ndarray:
    found = np.zeros(METERS.plus.size)
    for above, below in zip(changed(kind, STEP), changed(kind, -STEP), strict=True):
        slope = (shown(*above) - shown(*below)) / (2.0 * STEP)
        found += (EVERYTHING[kind] * slope) ** 2
    return found


BY_KIND = {kind: variances_by_differences(kind) for kind in Spread._fields}


def propagated(spread: Spread) -> tuple[np.ndarray, np.ndarray]:
    solution = solved_networks(SHAPE, ELEMENTS)
    return shown_with_variances(METERS, solution, SHAPE, ELEMENTS, FITTED, spread)


def test_the_network_is_what_it_is_meant_to_be():
    solution = solved_networks(SHAPE, ELEMENTS)
    assert solution.source_current_a[0] == pytest.approx([9.0, 32.7, 0.0], abs=0.3)
    assert (solution.stretch_rise_k[0] > 1.0).all()


@pytest.mark.parametrize("kind", Spread._fields)
def test_each_kind_of_input_does_what_differences_say(kind):
    values, variances = propagated(Spread(**{**NOTHING, kind: EVERYTHING[kind]}))
    assert values == pytest.approx(shown(ELEMENTS, PART_OHM), rel=1e-12, abs=1e-12)
    # Central differences by 1e-4 leave an error of the order of 1e-8.
    assert np.sqrt(variances) == pytest.approx(np.sqrt(BY_KIND[kind]), rel=1e-5, abs=1e-8)


def test_inputs_of_all_kinds_are_independent_of_each_other():
    _, variances = propagated(Spread(**EVERYTHING))
    assert np.sqrt(variances) == pytest.approx(np.sqrt(sum(BY_KIND.values())), rel=1e-5, abs=1e-8)


def test_a_slope_that_fails_at_the_first_node_is_known_to_fail():
    draft = NetworkDraft()
    draft.node("lamp.plus")
    draft.source("battery", REFERENCE, "plus", 12.0, 0.01)
    draft.branch("feed", "plus", "lamp.plus", 0.02)
    draft.load("lamp", "lamp.plus", REFERENCE, power_w=100.0)
    shape, elements = draft.shape(), draft.elements()
    solution = solved_networks(shape, elements)
    nodes = np.array([draft.nodes["lamp.plus"]])
    place = MeterPlaces(nodes, np.zeros(1, np.int64), np.array([NONE]), np.array([NONE]))
    fitted = Fitted(np.zeros(0, np.int64), np.zeros(0), np.zeros((0, 2), np.int64))
    spread = Spread(**EVERYTHING)
    _, variances = shown_with_variances(place, solution, shape, elements, fitted, spread)
    assert variances[0] > 0.0
    # At the same voltage a thousand times the power: P / V**2 is some 700 S, the feed has 50.
    beyond = elements._replace(load_power_w=1000.0 * elements.load_power_w)
    _, variances = shown_with_variances(place, solution, shape, beyond, fitted, spread)
    assert np.isnan(variances).all()
