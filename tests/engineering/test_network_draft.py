"""Drawn networks: names become numbers, values become rows, and nodes apart are refused."""

import math

import numpy as np
import pytest

from drawn_networks import quadratic_curve
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft, Stretch

ONE = Stretch(0.01, 4e-5, 0.02, quadratic_curve(50.0))
OTHER = Stretch(0.03, 1e-4, 0.05, quadratic_curve(80.0))


def small():
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", 12.6, 0.004)
    draft.source("alternator", "case", "bus", 14.2, 0.01, greatest_current_a=90.0, takes_back=False)
    draft.branch("ground", "case", REFERENCE, 0.001)
    draft.branch("feed", "bus", "lamp", 0.002, (ONE, OTHER))
    draft.branch("second", "lamp", "pump", 0.005, (OTHER,))
    draft.load("lamp", "lamp", "case", power_w=55.0)
    draft.load("pump", "pump", REFERENCE, current_a=4.0, conductance_s=0.5)
    return draft


def test_nodes_are_numbered_as_they_are_named_from_the_reference_on():
    draft = small()
    assert draft.nodes == {REFERENCE: 0, "bus": 1, "case": 2, "lamp": 3, "pump": 4}
    assert draft.node("lamp") == 3
    assert draft.node("new") == 5
    assert draft.nodes["new"] == 5
    assert NetworkDraft().nodes == {REFERENCE: 0}


def test_shape_has_the_nodes_of_each_element_in_the_order_drawn():
    shape = small().shape()
    assert shape.node_count == 5
    for found, expected in (
        (shape.branch_from, [2, 1, 3]),
        (shape.branch_to, [0, 3, 4]),
        (shape.stretch_branch, [1, 1, 2]),
        (shape.source_minus, [0, 2]),
        (shape.source_plus, [1, 1]),
        (shape.load_plus, [3, 4]),
        (shape.load_minus, [2, 0]),
    ):
        assert found.tolist() == expected
        assert found.dtype == np.int64


def test_elements_have_one_row_with_the_values_drawn():
    elements = small().elements()
    for found, expected in (
        (elements.fixed_resistance_ohm, [0.001, 0.002, 0.005]),
        (elements.ambient_resistance_ohm, [0.01, 0.03, 0.03]),
        (elements.resistance_slope_ohm_per_k, [4e-5, 1e-4, 1e-4]),
        (elements.share_per_ampere, [0.02, 0.05, 0.05]),
        (elements.emf_v, [12.6, 14.2]),
        (elements.source_resistance_ohm, [0.004, 0.01]),
        (elements.greatest_current_a, [math.inf, 90.0]),
        (elements.least_current_a, [-math.inf, 0.0]),
        (elements.load_power_w, [55.0, 0.0]),
        (elements.load_current_a, [0.0, 4.0]),
        (elements.load_conductance_s, [0.0, 0.5]),
    ):
        assert found.tolist() == [expected]
        assert found.dtype == np.float64
    expected_curves = [ONE.curve, OTHER.curve, OTHER.curve]
    np.testing.assert_array_equal(elements.curves, np.stack(expected_curves))


def test_network_without_heated_conductors_has_no_curves():
    draft = NetworkDraft()
    draft.source("battery", REFERENCE, "bus", 12.6, 0.004)
    assert draft.elements().curves.shape == (0, 1, 4)
    assert draft.shape().stretch_branch.tolist() == []


def test_nodes_that_nothing_but_a_load_joins_are_refused_by_name():
    draft = small()
    draft.branch("apart", "there", "beyond", 0.001)
    draft.load("winch", "bus", "there", power_w=100.0)
    draft.node("lonely")
    with pytest.raises(EngineeringError) as refused:
        draft.shape()
    assert refused.value.code == "network_not_joined"
    assert refused.value.attributes["nodes"] == ["there", "beyond", "lonely"]
    assert "there, beyond, lonely" in str(refused.value)
    # A branch from either end and a source join as well.
    draft.branch("link", "beyond", "pump", 0.001)
    draft.source("far", "lonely", "there", 12.0, 0.1)
    assert draft.shape().node_count == 8


def test_joins_count_in_whatever_order_they_are_drawn():
    draft = NetworkDraft()
    draft.branch("last", "c", "d", 0.1)
    draft.branch("middle", "b", "c", 0.1)
    draft.branch("first", "a", "b", 0.1)
    draft.source("battery", "a", REFERENCE, 12.0, 0.1)
    assert draft.shape().node_count == 5
