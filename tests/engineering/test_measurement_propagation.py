"""Expected readings by propagation: by hand for one lamp, against draws, and laws."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from measured_site import (
    AT_REST,
    CLAMP,
    CURRENT_A,
    DROPMETER,
    EMF_V,
    FEED_OHM,
    LOADED,
    METERS,
    PARTS_OHM,
    RETURN_OHM,
    SLOPE_PER_K,
    SOURCE_OHM,
    VOLTMETER,
    expectations,
    lamp_network,
    of_lamp,
)

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.measurement import propagation
from loomwright.engineering.measurement.deviations import Spread, shown_with_variances
from loomwright.engineering.measurement.expected import FROM_PLAN
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    EQUIPMENT_VOLTAGE,
    FEED_DROP,
    FUSE_DROP,
    LOAD_LUG_DROP,
    REST,
    RETURN_DROP,
    SOURCE_LUG_DROP,
    Quantity,
)
from loomwright.engineering.measurement.meter import Meter
from loomwright.engineering.measurement.metered_state import COVERAGE_FACTOR, expected_in_state
from loomwright.engineering.measurement.propagation import (
    expected_readings,
    lognormal_deviation,
    placed_meters,
    propagated_expectations,
)
from loomwright.engineering.measurement.uncertainty import USUAL, Tolerances
from loomwright.engineering.network.solver import solved_networks

NOTHING = Tolerances(**dict.fromkeys([field.name for field in fields(Tolerances)], 0.0))
# A meter that errs by so little that it does not show.
PERFECT = Meter(0.0, 0.0, 1e-15)
QUANTITIES = list(METERS)


def propagated(tolerances, meter=PERFECT, **load):
    meters = dict.fromkeys(QUANTITIES, meter)
    found = propagated_expectations(lamp_network(**load), meters, tolerances)
    return {entry.quantity: entry for entry in found}


def test_expected_values_are_those_of_ohms_law():
    found = propagated(USUAL)
    feed = FEED_OHM + sum(PARTS_OHM[:3])
    back = RETURN_OHM + sum(PARTS_OHM[3:])
    by_hand = {
        AT_REST: EMF_V,
        Quantity(EQUIPMENT_VOLTAGE, "lamp", REST): EMF_V,
        LOADED: EMF_V - CURRENT_A * SOURCE_OHM,
        of_lamp(EQUIPMENT_VOLTAGE): EMF_V - CURRENT_A * (SOURCE_OHM + feed + back),
        of_lamp(FEED_DROP): CURRENT_A * feed,
        of_lamp(RETURN_DROP): CURRENT_A * back,
        of_lamp(SOURCE_LUG_DROP): CURRENT_A * PARTS_OHM[0],
        of_lamp(FUSE_DROP): CURRENT_A * PARTS_OHM[1],
        of_lamp(LOAD_LUG_DROP): CURRENT_A * PARTS_OHM[2],
        of_lamp(CURRENT): CURRENT_A,
    }
    assert list(found) == QUANTITIES
    for quantity, value in by_hand.items():
        assert found[quantity].expected == pytest.approx(value, rel=1e-9)
        assert found[quantity].rests_on == FROM_PLAN


THIRD = 3.0**-0.5
FEED_V, BACK_V = CURRENT_A * FEED_OHM, CURRENT_A * RETURN_OHM


@pytest.mark.parametrize(
    ("only", "quantity", "deviation"),
    [
        # Rectangular a / sqrt(3) of one input, times what it does to the reading.
        ({"emf_share": 0.02}, AT_REST, THIRD * 0.02 * EMF_V),
        ({"emf_share": 0.02}, Quantity(EQUIPMENT_VOLTAGE, "lamp", REST), THIRD * 0.02 * EMF_V),
        ({"emf_share": 0.02}, of_lamp(EQUIPMENT_VOLTAGE), THIRD * 0.02 * EMF_V),
        ({"emf_share": 0.02}, of_lamp(FEED_DROP), 0.0),
        ({"load_share": 0.1}, of_lamp(CURRENT), THIRD * 0.1 * CURRENT_A),
        ({"load_share": 0.1}, LOADED, THIRD * 0.1 * CURRENT_A * SOURCE_OHM),
        ({"load_share": 0.1}, AT_REST, 0.0),
        # The reel of feed and return is one, so both go together.
        ({"conductor_resistance_share": 0.04}, of_lamp(FEED_DROP), THIRD * 0.04 * FEED_V),
        ({"conductor_resistance_share": 0.04}, of_lamp(RETURN_DROP), THIRD * 0.04 * BACK_V),
        (
            {"conductor_resistance_share": 0.04},
            of_lamp(EQUIPMENT_VOLTAGE),
            THIRD * 0.04 * (FEED_V + BACK_V),
        ),
        # Their lengths do not.
        (
            {"route_length_share": 0.05},
            of_lamp(EQUIPMENT_VOLTAGE),
            THIRD * 0.05 * math.hypot(FEED_V, BACK_V),
        ),
        (
            {"ambient_temperature_k": 5.0},
            of_lamp(EQUIPMENT_VOLTAGE),
            THIRD * 5.0 * SLOPE_PER_K * (FEED_V + BACK_V),
        ),
        (
            {"source_resistance_spread": 0.25},
            LOADED,
            lognormal_deviation(0.25) * CURRENT_A * SOURCE_OHM,
        ),
        ({"source_resistance_spread": 0.25}, AT_REST, 0.0),
        ({"joint_spread": 0.35}, of_lamp(FUSE_DROP), lognormal_deviation(0.35) * 0.006),
        ({"joint_spread": 0.35}, of_lamp(SOURCE_LUG_DROP), lognormal_deviation(0.35) * 0.001),
        # The parts are independent of each other: 1, 6 and 1 mV in the feed.
        (
            {"joint_spread": 0.35},
            of_lamp(FEED_DROP),
            lognormal_deviation(0.35) * math.sqrt(0.001**2 + 0.006**2 + 0.001**2),
        ),
        ({"joint_spread": 0.35}, of_lamp(CURRENT), 0.0),
    ],
)
def test_one_uncertain_input_does_what_it_does_by_hand(only, quantity, deviation):
    found = propagated(replace(NOTHING, **only))[quantity]
    assert found.standard_uncertainty == pytest.approx(deviation, rel=1e-9, abs=1e-12)


def test_a_lamp_of_constant_power_draws_more_where_less_voltage_is_left():
    # 1 % of EMF on P = (E - I R) I: dI/dE = -I / (E - 2 I R).
    found = propagated(replace(NOTHING, emf_share=0.02), power_w=120.0, current_a=0.0)
    current = found[of_lamp(CURRENT)].expected
    loop = SOURCE_OHM + FEED_OHM + RETURN_OHM + sum(PARTS_OHM)
    slope = current / (EMF_V - 2.0 * current * loop)
    expected = THIRD * 0.02 * EMF_V * slope
    assert found[of_lamp(CURRENT)].standard_uncertainty == pytest.approx(expected, rel=1e-9)
    # 1 % of the power: dI/dP = 1 / (E - 2 I R).
    found = propagated(replace(NOTHING, load_share=0.1), power_w=120.0, current_a=0.0)
    expected = THIRD * 0.1 * 120.0 / (EMF_V - 2.0 * current * loop)
    assert found[of_lamp(CURRENT)].standard_uncertainty == pytest.approx(expected, rel=1e-9)


def test_the_meter_adds_its_share_and_its_digits():
    found = {
        entry.quantity: entry for entry in propagated_expectations(lamp_network(), METERS, NOTHING)
    }
    # 0.5 % of 12.5 V and 2 digits of 10 mV; 2 % of 10 A and 5 digits of 0.1 A.
    volts = THIRD * math.hypot(0.005 * EMF_V, 0.02)
    assert found[AT_REST].standard_uncertainty == pytest.approx(volts, rel=1e-12)
    amperes = THIRD * math.hypot(0.02 * CURRENT_A, 0.5)
    assert found[of_lamp(CURRENT)].standard_uncertainty == pytest.approx(amperes, rel=1e-9)
    assert METERS[of_lamp(FUSE_DROP)] is DROPMETER
    assert (METERS[AT_REST], METERS[of_lamp(CURRENT)]) == (VOLTMETER, CLAMP)


def test_the_interval_is_that_of_a_normal_distribution_around_the_value():
    for entry in propagated(USUAL).values():
        # JCGM 100:2008, table G.1 (memory): 1.960 for 95 %.
        assert COVERAGE_FACTOR == 1.96
        half = 1.96 * entry.standard_uncertainty
        assert entry.low == pytest.approx(entry.expected - half, rel=1e-12, abs=1e-15)
        assert entry.high == pytest.approx(entry.expected + half, rel=1e-12)


def test_propagation_agrees_with_draws_of_the_same_inputs():
    # Second-order terms of the lognormal joints and the noise of 1024 draws stay below 4 %.
    network = lamp_network(power_w=120.0, current_a=0.0)
    drawn = expectations(network, METERS)
    for entry in propagated_expectations(network, METERS):
        other = drawn[entry.quantity]
        assert entry.standard_uncertainty == pytest.approx(other.standard_uncertainty, rel=0.04)
        assert abs(entry.expected - other.expected) < 0.25 * other.standard_uncertainty


@pytest.mark.parametrize(
    ("spread", "deviation"),
    [
        (0.0, 0.0),
        # exp(1/2) sqrt(e - 1) by hand.
        (1.0, 2.161197),
        (0.01, 0.0100005 * math.exp(0.00005) / math.exp(0.0)),
    ],
)
def test_a_lognormal_variable_deviates_by_its_moments(spread, deviation):
    # Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions, 14.3 (memory).
    assert lognormal_deviation(spread) == pytest.approx(deviation, rel=1e-4)


def test_more_than_the_source_delivers_is_an_error():
    with pytest.raises(EngineeringError) as caught:
        propagated(USUAL, power_w=1e5, current_a=0.0)
    assert caught.value.code == "no_operating_point"
    assert caught.value.attributes["state"] == "load"


def test_beyond_the_collapse_nothing_is_known_of_a_reading(monkeypatch):
    network = lamp_network(power_w=120.0, current_a=0.0)
    placed, elements = placed_meters(network, METERS), network.planned_elements
    ((_, _, state),) = placed.by_state
    solution = solved_networks(network.shape, elements)
    spread = Spread(0.3, 0.03, 0.05, 6.0, 0.01, 0.2, 0.04)
    figures, is_known = expected_in_state(state, network.shape, elements, spread)
    assert is_known
    assert not np.isnan(figures).any()
    # At the voltages of 120 W a load of 120 kW falls faster than the source holds it up:
    # P / V**2 is some 1000 S, and source and wiring have far less.
    beyond = elements._replace(load_power_w=1000.0 * elements.load_power_w)
    values, variances = shown_with_variances(
        state.meters, solution, network.shape, beyond, state.fitted, spread
    )
    assert np.isnan(variances).all()
    assert not np.isnan(values).any()
    unknown = np.full_like(figures, math.nan), False
    monkeypatch.setattr(propagation, "expected_in_state", lambda *_: unknown)
    with pytest.raises(EngineeringError) as caught:
        propagated_expectations(network, METERS)
    assert caught.value.code == "no_operating_point"
    assert caught.value.attributes["state"] == "load"


def test_what_is_read_at_rest_alone_needs_no_operating_point():
    # 100 kW have none, and nothing is switched on at rest.
    network = lamp_network(power_w=1e5, current_a=0.0)
    at_rest = {key: meter for key, meter in METERS.items() if key.state == REST}
    found = propagated_expectations(network, at_rest)
    assert [entry.quantity for entry in found] == list(at_rest)
    assert [entry.expected for entry in found] == [EMF_V] * len(at_rest)


def test_each_state_has_its_own_loads_and_each_quantity_its_own_place():
    # With the lamp off nothing flows: each end of its wiring is at the EMF.
    network = lamp_network()
    network = replace(network, states={**network.states, "dark": frozenset()})
    dark = [Quantity(what, "lamp", "dark") for what in (CURRENT, FEED_DROP, EQUIPMENT_VOLTAGE)]
    mixed = [dark[0], *QUANTITIES[:3], dark[1], *QUANTITIES[3:], dark[2]]
    found = propagated_expectations(network, {key: METERS.get(key, VOLTMETER) for key in mixed})
    assert [entry.quantity for entry in found] == mixed
    expected = {entry.quantity: entry.expected for entry in found}
    assert [expected[key] for key in dark] == pytest.approx([0.0, 0.0, EMF_V], abs=1e-12)
    alone = {entry.quantity: entry for entry in propagated_expectations(lamp_network(), METERS)}
    assert [entry for entry in found if entry.quantity in alone] == list(alone.values())


def test_stretches_warmer_than_their_resistances_are_stated_for_drop_more():
    # By hand: a resistance that rises by its slope for each kelvin, at the same constant current.
    network = lamp_network()
    warmer = placed_meters(network, METERS, np.full_like(network.elements.share_per_ampere, 25.0))
    cold = {entry.quantity: entry.expected for entry in propagated_expectations(network, METERS)}
    warm = {
        entry.quantity: entry.expected
        for entry in expected_readings(warmer, network.planned_elements).each
    }
    drop = Quantity(FEED_DROP, "lamp", "load")
    risen_ohm = 25.0 * network.planned.resistance_slope_ohm_per_k[0, 0]
    assert risen_ohm > 0.0
    assert warm[drop] - cold[drop] == pytest.approx(CURRENT_A * risen_ohm, rel=1e-6)


@settings(max_examples=30)
@given(
    st.sampled_from([field.name for field in fields(Tolerances)]),
    st.floats(1.0, 5.0),
    st.floats(10.0, 200.0),
)
def test_a_wider_tolerance_never_narrows_an_interval(name, factor, power_w):
    wider = replace(USUAL, **{name: factor * getattr(USUAL, name)})
    load = {"power_w": power_w, "current_a": 0.0}
    before, after = propagated(USUAL, **load), propagated(wider, **load)
    for quantity in QUANTITIES:
        narrow, wide = before[quantity], after[quantity]
        assert wide.expected == narrow.expected
        assert wide.standard_uncertainty >= narrow.standard_uncertainty * (1.0 - 1e-12)


def test_where_nothing_is_expected_there_is_no_reading():
    assert propagation.NO_READINGS.each == ()
    assert propagation.NO_READINGS.figures.shape == (4, 0)
