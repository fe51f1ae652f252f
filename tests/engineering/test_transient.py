"""Transient heating against the adiabatic equation, the steady balance and hand integration."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.conductors.heat import (
    InsulatedConductor,
    ampacity_in_free_air_a,
    heat_flow_w_per_m,
    insulation_resistance_km_per_w,
    surface_heat_flow_w_per_m,
)
from loomwright.engineering.conductors.resistance import resistance_20c_ohm_per_m
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.damage import (
    damage_curve,
    damage_time_s,
    interpolated_damage_time_s,
)
from loomwright.engineering.protection.short_circuit import (
    adiabatic_constant,
    adiabatic_k,
    withstand_time_s,
)
from loomwright.engineering.protection.transient import (
    LumpedConductor,
    heat_loss_w_per_m,
    lumped_conductor_in_air,
    steady_current_a,
    time_to_temperature_s,
    van_wormer_share,
    with_ampacity,
)
from loomwright.tables.load import tables

TABLES = tables()
COPPER = TABLES.materials["copper"]
SIZES = ("18 AWG", "12 AWG", "8 AWG", "2 AWG", "4/0 AWG")
INSULATIONS = ("pvc_70", "pvc_105", "xlpe_125")


def conductor(size="8 AWG", insulation="pvc_105", ambient_k=303.15):
    return lumped_conductor_in_air(
        TABLES.conductors[size],
        COPPER,
        TABLES.insulations[insulation],
        COPPER,
        TABLES.air,
        ambient_k,
    )


def linear(conductance_w_per_mk, coefficient_per_k=0.0):
    """Return a lump whose heat loss is a straight line, which has a solution in closed form."""
    temperatures = np.linspace(300.0, 600.0, 49)
    return LumpedConductor(
        cross_section_m2=1e-5,
        resistance_20c_ohm_per_m=2e-3,
        temperature_coefficient_20c_per_k=coefficient_per_k,
        metal_heat_capacity_j_per_mk=34.5,
        insulation_heat_capacity_j_per_mk=20.0,
        insulation_share=0.0,
        ambient_temperature_k=300.0,
        temperature_rating_k=378.15,
        overload_temperature_k=428.15,
        short_circuit_temperature_k=433.15,
        heat_loss_temperatures_k=temperatures,
        heat_loss_w_per_m=conductance_w_per_mk * (temperatures - 300.0),
    )


def over_adiabatic(size, insulation, seconds):
    """Return the time by the lump over the time by IEC 60949, t = (k S / I)**2."""
    lump = conductor(size, insulation)
    resistivity = (
        resistance_20c_ohm_per_m(TABLES.conductors[size], COPPER, COPPER) * lump.cross_section_m2
    )
    constant = adiabatic_constant(resistivity, COPPER.volumetric_heat_capacity_j_per_m3k, 234.5)
    factor = adiabatic_k(
        constant, 234.5, lump.temperature_rating_k, lump.short_circuit_temperature_k
    )
    current = factor * lump.cross_section_m2 / math.sqrt(seconds)
    heating = time_to_temperature_s(lump, current, lump.short_circuit_temperature_k)
    assert heating.reached
    return heating.time_s / withstand_time_s(current, lump.cross_section_m2, factor)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("insulation", INSULATIONS)
def test_short_times_converge_to_the_adiabatic_equation(size, insulation):
    """IEC 60949 leaves the lost heat out, so it is short and the difference fades with the time.

    3 % up to 0.2 s for the thinnest conductor, whose time constant is some 20 s; 0.2 % at 10 ms is
    what is left of alpha against beta.
    """
    ratios = [over_adiabatic(size, insulation, seconds) for seconds in (0.01, 0.05, 0.2)]
    assert all(0.998 < ratio < 1.03 for ratio in ratios)
    assert ratios == sorted(ratios)
    assert ratios[0] == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize("size", ["8 AWG", "2 AWG", "4/0 AWG"])
@pytest.mark.parametrize("insulation", INSULATIONS)
def test_one_second_is_short_from_8_awg_up(size, insulation):
    assert over_adiabatic(size, insulation, 1.0) == pytest.approx(1.0, rel=0.03)


@pytest.mark.parametrize("size", SIZES)
def test_long_times_converge_to_the_steady_temperature(size):
    """Just above the steady current the temperature is reached late, just below it never is."""
    lump = conductor(size)
    insulation = TABLES.insulations["pvc_105"]
    record = TABLES.conductors[size]
    heated = InsulatedConductor(
        outside_diameter_m=record.outside_diameter_m,
        insulation_resistance_km_per_w=insulation_resistance_km_per_w(
            record.conductor_diameter_m,
            record.outside_diameter_m,
            insulation.thermal_resistivity_km_per_w,
        ),
        emissivity=insulation.emissivity,
        resistance_20c_ohm_per_m=lump.resistance_20c_ohm_per_m,
        temperature_coefficient_20c_per_k=lump.temperature_coefficient_20c_per_k,
    )
    steady = float(ampacity_in_free_air_a(378.15, 303.15, heated, TABLES.air))
    heating = time_to_temperature_s(lump, np.array([0.998, 1.002]) * steady, 378.15, 303.15)
    assert heating.reached.tolist() == [False, True]
    loss_w_per_m = float(heat_loss_w_per_m(lump, 378.15))
    time_constant_s = lump.heat_capacity_j_per_mk * 75.0 / loss_w_per_m
    assert heating.time_s[1] > 3.0 * time_constant_s


@pytest.mark.parametrize("current_a", [60.0, 100.0, 400.0])
def test_straight_heat_loss_has_the_textbook_solution(current_a):
    """By hand: T - Ta = P/g (1 - exp(-g t / C)), so t = -(C / g) ln(1 - g dT / P)."""
    lump = linear(0.05)
    expected = -(34.5 / 0.05) * math.log(1.0 - 0.05 * 70.0 / (current_a**2 * 2e-3))
    found = time_to_temperature_s(lump, current_a, 370.0, 300.0)
    assert found.time_s == pytest.approx(expected, rel=1e-6)


def test_quadrature_agrees_with_stepping_in_time():
    """Explicit steps of 1 ms by hand formula; 0.2 %: the step's own error."""
    lump = conductor("12 AWG")
    current, temperature, seconds = 90.0, lump.temperature_rating_k, 0.0
    while temperature < lump.overload_temperature_k:
        resistance = lump.resistance_20c_ohm_per_m * (1.0 + 0.00393 * (temperature - 293.15))
        lost = np.interp(temperature, lump.heat_loss_temperatures_k, lump.heat_loss_w_per_m)
        gained = current**2 * resistance
        temperature += 1e-3 * (gained - lost) / lump.metal_heat_capacity_j_per_mk
        seconds += 1e-3
    found = time_to_temperature_s(lump, current, lump.overload_temperature_k)
    assert found.time_s == pytest.approx(seconds, rel=0.002)


def test_more_insulation_counted_heats_later():
    """Van Wormer's share by hand at D/d = 1.5: 0.5/ln 1.5 - 1/1.25 = 1.2332 - 0.8 = 0.4332."""
    assert van_wormer_share(2e-3, 3e-3) == pytest.approx(0.4332, abs=5e-5)
    lump = conductor()
    assert lump.insulation_share == 0.0
    assert lump.heat_capacity_j_per_mk == lump.metal_heat_capacity_j_per_mk


def test_temperature_beyond_the_model_is_refused():
    lump = conductor()
    with pytest.raises(EngineeringError) as caught:
        time_to_temperature_s(lump, 100.0, 1000.0)
    assert caught.value.code == "temperature_outside_model"
    with pytest.raises(EngineeringError) as caught:
        conductor(ambient_k=380.0)
    assert caught.value.code == "ambient_above_insulation_rating"


def test_damage_is_the_short_circuit_limit_up_to_five_seconds_only():
    """IEC 60364-4-43 limits hold up to 5 s; beyond, the overload limit, never sooner than 5 s."""
    lump = conductor("8 AWG", "xlpe_125")
    currents = np.geomspace(150.0, 2000.0, 400)
    damage = damage_time_s(lump, currents)
    fault = time_to_temperature_s(lump, currents, lump.short_circuit_temperature_k).time_s
    overload = time_to_temperature_s(lump, currents, lump.overload_temperature_k).time_s
    short = fault <= 5.0
    assert damage[short] == pytest.approx(fault[short])
    assert damage[~short] == pytest.approx(np.maximum(overload[~short], 5.0))
    assert np.any(damage == 5.0)
    assert np.all(np.diff(damage) <= 0.0)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("insulation", INSULATIONS)
@pytest.mark.parametrize("share", [1.0, 0.9, 0.5, 0.2])
def test_tabulated_damage_curve_is_within_one_percent(size, insulation, share):
    """At every share of its own ampacity that a bundle leaves to the conductor.

    Past the table's thousand times the threshold as well, where the let-through no longer changes.
    """
    alone = conductor(size, insulation)
    ampacity = share * float(steady_current_a(alone, alone.temperature_rating_k))
    lump = with_ampacity(alone, ampacity)
    curve = damage_curve(alone, ampacity)
    assert curve.threshold_current_a == pytest.approx(
        float(steady_current_a(lump, lump.overload_temperature_k))
    )
    assert damage_time_s(lump, curve.corner_current_a) == pytest.approx(5.0, rel=0.01)
    currents = curve.threshold_current_a * np.geomspace(1.001, 20_000.0, 700)
    exact = damage_time_s(lump, currents)
    assert interpolated_damage_time_s(curve, currents) == pytest.approx(exact, rel=0.01)
    below = interpolated_damage_time_s(curve, np.array([0.0, 0.999]) * curve.threshold_current_a)
    assert np.all(np.isinf(below))


def test_lower_ampacity_lowers_the_threshold_and_a_higher_one_changes_nothing():
    lump = conductor()
    own = float(steady_current_a(lump, lump.temperature_rating_k))
    bundled = with_ampacity(lump, 0.5 * own)
    assert float(steady_current_a(bundled, lump.temperature_rating_k)) == pytest.approx(0.5 * own)
    assert float(steady_current_a(with_ampacity(lump, 2.0 * own), 378.15)) == pytest.approx(own)


@given(
    st.sampled_from(SIZES),
    st.sampled_from(INSULATIONS),
    st.floats(253.15, 333.15),
    st.floats(1.01, 60.0),
    st.floats(1.001, 3.0),
)
def test_more_current_damages_sooner(size, insulation, ambient_k, excess, factor):
    lump = conductor(size, insulation, round(ambient_k))
    threshold = float(steady_current_a(lump, lump.overload_temperature_k))
    currents = threshold * np.array([excess, excess * factor])
    slow, fast = damage_time_s(lump, currents)
    assert fast <= slow


@given(st.floats(0.01, 0.2), st.floats(310.0, 420.0), st.floats(0.1, 0.9))
def test_steady_current_never_overshoots(conductance, limit_k, share):
    lump = linear(conductance, 0.00393)
    steady = float(steady_current_a(lump, limit_k))
    assert not time_to_temperature_s(lump, share * steady, limit_k, 300.0).reached


def test_heat_stored_in_metal_and_wall_by_hand():
    """Copper stores 3.45e6 J/(m3 K) by IEC 60949 Table I; the wall is pi/4 (D**2 - d**2)."""
    lump, size = conductor("8 AWG"), TABLES.conductors["8 AWG"]
    assert lump.metal_heat_capacity_j_per_mk == pytest.approx(8.367e-6 * 3.45e6, rel=1e-3)
    wall_m2 = math.pi / 4.0 * (size.outside_diameter_m**2 - size.conductor_diameter_m**2)
    stored = TABLES.insulations["pvc_105"].volumetric_heat_capacity_j_per_m3k * wall_m2
    assert lump.insulation_heat_capacity_j_per_mk == pytest.approx(stored, rel=1e-12)


def test_a_bend_of_the_loss_halfway_has_the_textbook_solution_on_either_side():
    """By hand: C/g1 ln(P / (P - 35 g1)) and C/g2 ln((P - 35 g1) / (P - 35 g1 - 35 g2)).

    20 W/m at 100 A; 0.05 W/(m K) up to 335 K, 0.2 W/(m K) from there. Halfway lies between two
    cells, in which the net heat is a straight line.
    """
    lump = replace(
        linear(0.0),
        heat_loss_temperatures_k=np.array([300.0, 335.0, 600.0]),
        heat_loss_w_per_m=np.array([0.0, 0.05 * 35.0, 0.05 * 35.0 + 0.2 * 265.0]),
    )
    expected = 34.5 / 0.05 * math.log(20.0 / 18.25) + 34.5 / 0.2 * math.log(18.25 / 11.25)
    found = time_to_temperature_s(lump, 100.0, 370.0, 300.0)
    assert found.time_s == pytest.approx(expected, rel=1e-12)


def test_counted_share_of_the_wall_lengthens_the_heating_in_proportion():
    lump = linear(0.05)
    half = replace(lump, insulation_share=0.5)
    assert half.heat_capacity_j_per_mk == 34.5 + 10.0
    alone, with_wall = (
        float(time_to_temperature_s(each, 100.0, 370.0, 300.0).time_s) for each in (lump, half)
    )
    assert with_wall / alone == pytest.approx(44.5 / 34.5, rel=1e-12)


@pytest.mark.parametrize("current_a", [100.0, np.array([50.0, 100.0])])
def test_without_loss_and_at_constant_resistance_heating_is_proportional(current_a):
    """By hand: C dT over I**2 R, 34.5 J/(m K) by 70 K over 20 W/m at 100 A."""
    found = time_to_temperature_s(linear(0.0), current_a, 370.0, 300.0)
    expected = 34.5 * 70.0 / (np.square(current_a) * 2e-3)
    np.testing.assert_allclose(found.time_s, expected, rtol=1e-12)
    assert np.all(found.reached)


@pytest.mark.parametrize(
    ("initial_k", "final_k", "refused"),
    [
        (300.0, 600.0, False),
        (299.9, 400.0, True),
        (300.0, 600.1, True),
        (400.0, 400.0, True),
        (400.0, 399.9, True),
    ],
)
def test_heating_is_from_ambient_up_to_the_last_heat_loss(initial_k, final_k, refused):
    lump = linear(0.0)
    if not refused:
        assert time_to_temperature_s(lump, 100.0, final_k, initial_k).reached
        return
    with pytest.raises(EngineeringError) as caught:
        time_to_temperature_s(lump, 100.0, final_k, initial_k)
    assert caught.value.attributes == {"value": final_k, "limit": 600.0}


def test_a_current_that_only_balances_the_loss_never_gets_there():
    lump = linear(0.05)
    # 0.05 W/(m K) by 70 K are 3.5 W/m, and so are 2e-3 ohm/m at 41.833 A.
    balance = math.sqrt(3.5 / 2e-3)
    assert float(steady_current_a(lump, 370.0)) == pytest.approx(balance, rel=1e-12)
    found = time_to_temperature_s(lump, np.array([0.999, 1.001]) * balance, 370.0, 300.0)
    assert found.reached.tolist() == [False, True]
    assert found.time_s[0] == np.inf


def heated_as(lump, size, compound):
    """Return the conductor of a lump as the heat balance takes it."""
    return InsulatedConductor(
        outside_diameter_m=size.outside_diameter_m,
        insulation_resistance_km_per_w=insulation_resistance_km_per_w(
            size.conductor_diameter_m,
            size.outside_diameter_m,
            compound.thermal_resistivity_km_per_w,
        ),
        emissivity=compound.emissivity,
        resistance_20c_ohm_per_m=lump.resistance_20c_ohm_per_m,
        temperature_coefficient_20c_per_k=lump.temperature_coefficient_20c_per_k,
    )


@pytest.mark.parametrize("insulation", INSULATIONS)
def test_tabulated_loss_is_that_of_the_surface_where_it_has_half_its_greatest_rise(insulation):
    """The middle of the table, whose points divide the rise of the surface equally."""
    lump, size = conductor("8 AWG", insulation), TABLES.conductors["8 AWG"]
    heated = heated_as(lump, size, TABLES.insulations[insulation])
    rise = 0.5 * (lump.short_circuit_temperature_k - 303.15)
    flow, _ = surface_heat_flow_w_per_m(rise, 303.15, heated, TABLES.air)
    inside_k = 303.15 + rise + float(flow) * heated.insulation_resistance_km_per_w
    assert heat_loss_w_per_m(lump, inside_k) == pytest.approx(float(flow), rel=1e-12)


def test_no_compound_is_modelled_above_360_c():
    """The model's own limit, above every listed compound; no source."""
    heatproof = replace(TABLES.insulations["silicone_200"], short_circuit_temperature_k=700.0)
    lump = lumped_conductor_in_air(
        TABLES.conductors["8 AWG"], COPPER, heatproof, COPPER, TABLES.air, 303.15
    )
    assert lump.short_circuit_temperature_k == 633.15
    assert all(each.short_circuit_temperature_k <= 633.15 for each in TABLES.insulations.values())


@pytest.mark.parametrize("insulation", INSULATIONS)
def test_tabulated_loss_is_that_of_the_heat_balance(insulation):
    lump, size = conductor("8 AWG", insulation), TABLES.conductors["8 AWG"]
    heated = heated_as(lump, size, TABLES.insulations[insulation])
    # The table reaches the limit and no further than the wall's own fall of temperature.
    assert lump.heat_loss_temperatures_k[0] == 303.15
    assert lump.heat_loss_w_per_m[0] == 0.0
    assert lump.heat_loss_temperatures_k[-1] >= lump.short_circuit_temperature_k
    wanted = np.linspace(310.0, lump.short_circuit_temperature_k, 40)
    # 0.5 %: straight lines between 65 points of a curve.
    np.testing.assert_allclose(
        heat_loss_w_per_m(lump, wanted),
        heat_flow_w_per_m(wanted, 303.15, heated, TABLES.air),
        rtol=0.005,
    )


def test_refusal_of_an_ambient_at_the_rating_names_both():
    for ambient_k, refused in ((378.14, False), (378.15, True), (378.2, True)):
        if refused:
            with pytest.raises(EngineeringError) as caught:
                conductor(ambient_k=ambient_k)
            assert caught.value.attributes == {"value": ambient_k, "limit": 378.15}
        else:
            assert conductor(ambient_k=ambient_k).ambient_temperature_k == ambient_k


def test_a_current_that_balances_the_loss_to_the_last_digit_never_gets_there():
    """By hand: 50 A in 2e-3 ohm/m are 5 W/m, and so are 0.08 W/(m K) by 62.5 K."""
    lump = linear(0.08)
    assert float(heat_loss_w_per_m(lump, 362.5)) == 50.0**2 * 2e-3
    found = time_to_temperature_s(lump, 50.0, 362.5, 300.0)
    assert not found.reached
    assert found.time_s == np.inf


@pytest.mark.parametrize("coefficient_per_k", [2e-10, -2e-10, 4e-10])
def test_resistance_that_hardly_rises_lengthens_by_its_mean(coefficient_per_k):
    """By hand: C dT over I**2 R at the middle, 335 K; what is left out is of the order 1e-16."""
    found = time_to_temperature_s(linear(0.0, coefficient_per_k), 100.0, 370.0, 300.0)
    expected = 34.5 * 70.0 / 20.0 * (1.0 - coefficient_per_k * (335.0 - 293.15))
    assert found.time_s == pytest.approx(expected, rel=1e-12)
