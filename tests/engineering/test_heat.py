"""The steady heat balance against worked examples and published ampacities, and its laws."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from cases import case_list, case_parameters
from loomwright.engineering.conductors import convection, heat
from loomwright.engineering.conductors.ampacity import (
    TEMPERATURE_CAP_K,
    ambient_limits,
    bundling_factor,
    engine_space_factor,
    published_ambient_factor,
    series_properties,
)
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.load import tables
from loomwright.tables.records import Air, Provenance

KELVIN_AT_0_C = 273.15
TABLES = tables()
COPPER = TABLES.materials["copper"]


def within(case, value):
    """Return an expected value that accepts what the case's tolerance accepts."""
    tolerance = case["tolerance"]
    return pytest.approx(
        value, rel=tolerance.get("relative", 0.0), abs=tolerance.get("absolute", 0.0)
    )


def kelvin(temperature_c):
    return temperature_c + KELVIN_AT_0_C


def properties_of(series, insulation, material="copper"):
    return series_properties(
        TABLES.series[series], TABLES.materials[material], TABLES.insulations[insulation], COPPER
    )


def one_of(properties, size_key):
    """Return one size of a series as a conductor of floats."""
    index = [size.key for size in properties.sizes].index(size_key)
    return index, heat.InsulatedConductor(
        **{
            field.name: float(
                np.broadcast_to(getattr(properties.conductor, field.name), len(properties.sizes))[
                    index
                ]
            )
            for field in dataclasses.fields(heat.InsulatedConductor)
        }
    )


def air_of(values):
    """Return air whose properties are those of an example at every temperature."""
    points = TABLES.air.temperature_k
    return Air(
        temperature_k=points,
        conductivity_w_per_mk=(values["conductivity_w_per_mk"],) * len(points),
        kinematic_viscosity_m2_per_s=(values["kinematic_viscosity_m2_per_s"],) * len(points),
        prandtl=(values["prandtl"],) * len(points),
        provenance=Provenance("example", "example", "page"),
    )


def surface_loss_w(values, emissivity):
    """Return the whole loss of an example's pipe through the solver's own surface."""
    pipe = heat.InsulatedConductor(values["diameter_m"], 0.0, emissivity, 1.0, 0.0)
    flow, _ = heat.surface_heat_flow_w_per_m(
        values["surface_temperature_c"] - values["ambient_temperature_c"],
        kelvin(values["ambient_temperature_c"]),
        pipe,
        air_of(values),
    )
    return float(flow) * values["length_m"]


def example_value(values):
    rayleigh = convection.rayleigh_number(
        values["diameter_m"],
        kelvin(values["surface_temperature_c"]),
        kelvin(values["ambient_temperature_c"]),
        values["kinematic_viscosity_m2_per_s"],
        values["prandtl"],
    )
    nusselt = convection.nusselt_number_churchill_chu(rayleigh, values["prandtl"])
    return {
        "rayleigh": rayleigh,
        "nusselt": nusselt,
        "heat_transfer_coefficient_w_per_m2k": nusselt
        * values["conductivity_w_per_mk"]
        / values["diameter_m"],
        "convection_w": surface_loss_w(values, 0.0),
        "radiation_w": surface_loss_w(values, 1.0) - surface_loss_w(values, 0.0),
    }[values["quantity"]]


@pytest.mark.parametrize("case", case_parameters("heat/churchill_chu"))
def test_worked_example(case):
    assert example_value(case["given"]) == within(case, case["expected"]["value"])


@pytest.mark.parametrize("case", case_parameters("heat/inconsistencies"))
def test_printed_value_differs_from_its_own_inputs(case):
    value = example_value(case["given"])
    assert value == within(case, case["expected"]["value"])
    assert abs(case["given"]["printed"] / value - 1.0) > 0.014


def test_churchill_chu_by_hand_at_another_prandtl_number():
    # Incropera eq. 9.34 at Pr = 0.0559, Ra = 1e6: 10**(9/16) = 3.651741, 4.651741**(8/27) =
    # 1.576929, (0.60 + 3.87 / 1.576929)**2 = 9.327758. Air alone would hardly feel the exponents.
    assert convection.nusselt_number_churchill_chu(1e6, 0.0559) == pytest.approx(9.327758, rel=1e-6)


@pytest.mark.parametrize("case", case_parameters("heat/table_5_105c"))
def test_heat_balance_against_table_5(case):
    values, tolerance = case["given"], case["tolerance"]
    properties = properties_of("awg", values["insulation"])
    limits = ambient_limits(properties, kelvin(values["ambient_temperature_c"]), False, TABLES)
    index, _ = one_of(properties, values["size"])
    published = case["expected"]["ampacity_a"]
    assert limits.published_ampacity_a[index] == published
    ratio = limits.ampacity_a[index] / published
    assert tolerance["ratio_from"] <= ratio <= tolerance["ratio_to"]


@pytest.mark.parametrize("case", case_parameters("heat/crosschecks"))
def test_heat_balance_against_an_independent_program(case):
    values, expected, tolerance = case["given"], case["expected"], case["tolerance"]
    outside_m = values["outside_diameter_mm"] * 1e-3
    conductor = heat.InsulatedConductor(
        outside_diameter_m=outside_m,
        insulation_resistance_km_per_w=heat.insulation_resistance_km_per_w(
            values["conductor_diameter_mm"] * 1e-3,
            outside_m,
            values["thermal_resistivity_km_per_w"],
        ),
        emissivity=values["emissivity"],
        resistance_20c_ohm_per_m=values["resistance_20c_ohm_per_km"] * 1e-3,
        temperature_coefficient_20c_per_k=values["temperature_coefficient_20c_per_k"],
    )
    current = heat.ampacity_in_free_air_a(
        kelvin(values["conductor_temperature_c"]),
        kelvin(values["ambient_temperature_c"]),
        conductor,
        TABLES.air,
    )
    assert current == within(case, expected["current_a"])
    ratio = current / expected["published_ampacity_a"]
    assert tolerance["ratio_from"] <= ratio <= tolerance["ratio_to"]


@pytest.mark.parametrize("case", case_parameters("heat/engine_space"))
def test_published_ampacity_in_an_engine_space(case):
    values = case["given"]
    properties = properties_of("awg", values["insulation"])
    limits = ambient_limits(properties, kelvin(values["ambient_temperature_c"]), True, TABLES)
    index, _ = one_of(properties, values["size"])
    assert limits.published_ampacity_a[index] == within(case, case["expected"]["ampacity_a"])


def test_heat_balance_agrees_with_the_engine_space_factor():
    # 33 CFR 183.425 Table 5 note 1: 0.85 at 50 C for 105 C insulation. Within 3 %: the printed
    # factor has two digits and sqrt(55/75) is 0.856.
    properties = properties_of("awg", "pvc_105")
    cool, hot = (ambient_limits(properties, kelvin(c), False, TABLES) for c in (30.0, 50.0))
    np.testing.assert_allclose(hot.ampacity_a / cool.ampacity_a, 0.85, rtol=0.03)


@pytest.mark.parametrize("case", case_parameters("heat/engine_space_factors"))
def test_engine_space_factor(case):
    values = case["given"]
    rating = kelvin(values["temperature_rating_c"])
    factor = engine_space_factor(TABLES.factors, values["table"], rating)
    assert factor == case["expected"]["factor"]
    (row,) = (
        row
        for row in TABLES.factors
        if (row.table, row.condition, row.lower) == (values["table"], "engine_space", rating)
    )
    assert row.provenance.checked == case["checked"]


def test_engine_space_factor_between_rows_is_that_of_the_lower_rating():
    factors = TABLES.factors
    assert engine_space_factor(factors, "cfr_33_183_425", kelvin(104.9)) == 0.82
    assert engine_space_factor(factors, "cfr_33_183_425", kelvin(50.0)) == 0.58


@pytest.mark.parametrize("case", case_parameters("heat/bundling"))
def test_bundling_factor(case):
    values = case["given"]
    for count in {values["from"], (values["from"] + values["to"]) // 2, values["to"]}:
        assert bundling_factor(TABLES, values["table"], count) == case["expected"]["factor"]


@pytest.mark.parametrize("case", case_parameters("heat/ambient_factors"))
def test_ambient_factor(case):
    values, printed = case["given"], case["expected"]["factor"]
    factor = published_ambient_factor(
        properties_of("metric", values["insulation"]),
        kelvin(values["ambient_temperature_c"]),
        False,
        TABLES,
    )
    if values["ambient_temperature_c"] < 30:
        assert factor == 1.0 <= printed
    else:
        assert factor == within(case, printed)


@pytest.mark.parametrize("insulation", sorted(TABLES.insulations))
@pytest.mark.parametrize("series", ["awg", "metric"])
def test_steady_temperature_inverts_ampacity(series, insulation):
    properties = properties_of(series, insulation)
    rating = TABLES.insulations[insulation].temperature_rating_k
    ambient = kelvin(40.0)
    current = heat.ampacity_in_free_air_a(rating, ambient, properties.conductor, TABLES.air)
    solved = heat.steady_temperature(current, ambient, properties.conductor, TABLES.air)
    np.testing.assert_allclose(solved.conductor_temperature_k - ambient, rating - ambient, 1e-8)
    assert solved.residual < heat.RELATIVE_TOLERANCE
    assert solved.iterations < heat.GREATEST_ITERATIONS


@given(
    st.sampled_from([size.key for size in TABLES.series["awg"]]),
    st.floats(-40.0, 90.0),
    st.floats(5.0, 150.0),
)
def test_heat_lost_is_heat_gained(size, ambient_c, rise_k):
    _, conductor = one_of(properties_of("awg", "pvc_105"), size)
    ambient = kelvin(ambient_c)
    assume(ambient + rise_k < TEMPERATURE_CAP_K)
    current = heat.ampacity_in_free_air_a(ambient + rise_k, ambient, conductor, TABLES.air)
    solved = heat.steady_temperature(current, ambient, conductor, TABLES.air)
    temperature = float(solved.conductor_temperature_k)
    resistance = conductor.resistance_20c_ohm_per_m * (1.0 + 0.00393 * (temperature - 293.15))
    lost = heat.heat_flow_w_per_m(temperature, ambient, conductor, TABLES.air)
    assert float(lost) == pytest.approx(float(current) ** 2 * resistance, rel=1e-7)
    assert temperature == pytest.approx(ambient + rise_k, rel=1e-8)


@given(
    st.lists(st.floats(-30.0, 90.0), min_size=1, max_size=5),
    st.floats(95.0, 240.0),
)
def test_array_and_scalar_calls_agree(ambients_c, temperature_c):
    properties = properties_of("awg", "pvc_105")
    ambients = np.array([[kelvin(ambient)] for ambient in ambients_c])
    together = heat.ampacity_in_free_air_a(
        kelvin(temperature_c), ambients, properties.conductor, TABLES.air
    )
    assert together.shape == (len(ambients_c), len(properties.sizes))
    for row, ambient in enumerate(ambients_c):
        for key in ("20 AWG", "8 AWG", "4/0 AWG"):
            index, conductor = one_of(properties, key)
            alone = heat.ampacity_in_free_air_a(
                kelvin(temperature_c), kelvin(ambient), conductor, TABLES.air
            )
            assert together[row, index] == pytest.approx(float(alone), rel=1e-12)


@given(st.floats(-20.0, 95.0), st.floats(0.5, 40.0), st.floats(0.5, 40.0))
def test_ampacity_rises_with_temperature_and_falls_with_ambient(ambient_c, step_k, rise_k):
    conductor = properties_of("metric", "xlpe_125").conductor
    ambient, hot = kelvin(ambient_c), kelvin(ambient_c) + step_k + rise_k

    def ampacity(temperature_k, ambient_k):
        return heat.ampacity_in_free_air_a(temperature_k, ambient_k, conductor, TABLES.air)

    assert (ampacity(hot, ambient) > ampacity(hot, ambient + step_k)).all()
    assert (ampacity(hot + 1.0, ambient) > ampacity(hot, ambient)).all()
    assert (np.diff(ampacity(hot, ambient)) > 0).all()


def test_insulation_resistance_by_hand():
    # IEC 60287-2-1: 5 / (2 pi) ln(2) = 0.551589 K m/W.
    resistance = heat.insulation_resistance_km_per_w(2e-3, 4e-3, 5.0)
    assert float(resistance) == pytest.approx(0.551589, rel=1e-6)


def test_fit_of_the_air_table_stays_within_its_accuracy():
    # 0.5 % is the accuracy stated for the figures of Incropera Table A.4.
    assert convection.air_fit(TABLES.air).greatest_deviation < 0.005


def test_slope_of_the_heat_flow_is_its_difference_quotient():
    _, conductor = one_of(properties_of("awg", "pvc_105"), "8 AWG")

    def flow(rise):
        return heat.surface_heat_flow_w_per_m(rise, kelvin(30.0), conductor, TABLES.air)

    slope = float(flow(40.0)[1])
    quotient = float((flow(40.01)[0] - flow(39.99)[0]) / 0.02)
    # Central difference over 0.02 K: its own error is of the order of 1e-8.
    assert slope == pytest.approx(quotient, rel=1e-6)


def test_without_current_the_conductor_is_at_ambient():
    _, conductor = one_of(properties_of("awg", "pvc_105"), "8 AWG")
    solved = heat.steady_temperature(0.0, kelvin(40.0), conductor, TABLES.air)
    assert float(solved.conductor_temperature_k) == pytest.approx(kelvin(40.0), abs=1e-6)


@given(st.lists(st.tuples(st.floats(1e-3, 0.1), st.floats(0.1, 150.0)), min_size=1, max_size=5))
def test_numbers_of_an_array_are_those_of_its_elements(rows):
    diameter, rise = (np.array(column) for column in zip(*rows, strict=True))
    ambient = kelvin(20.0)
    rayleigh = convection.rayleigh_number(diameter, ambient + rise, ambient, 1.75e-5, 0.7241)
    nusselt = convection.nusselt_number_churchill_chu(rayleigh, 0.7241)
    wall = heat.insulation_resistance_km_per_w(diameter, 1.5 * diameter, 5.0)
    for index, (one_diameter, one_rise) in enumerate(rows):
        alone = convection.rayleigh_number(
            one_diameter, ambient + one_rise, ambient, 1.75e-5, 0.7241
        )
        assert rayleigh[index] == pytest.approx(alone, rel=1e-12)
        assert nusselt[index] == pytest.approx(
            convection.nusselt_number_churchill_chu(alone, 0.7241), rel=1e-12
        )
        assert wall[index] == pytest.approx(
            float(heat.insulation_resistance_km_per_w(one_diameter, 1.5 * one_diameter, 5.0)),
            rel=1e-12,
        )


@pytest.mark.parametrize("total_k", [1e-6, 1e-3, 1.0, 30.0, 200.0])
def test_surface_and_insulation_share_the_whole_rise(total_k):
    conductor = properties_of("awg", "pvc_105").conductor
    ambient = kelvin(20.0)
    rise = heat.surface_rise_at_conductor_temperature_k(
        ambient + total_k, ambient, conductor, TABLES.air
    )
    flow, _ = heat.surface_heat_flow_w_per_m(rise, ambient, conductor, TABLES.air)
    whole = ambient + total_k - ambient
    np.testing.assert_allclose(
        rise + flow * conductor.insulation_resistance_km_per_w, whole, rtol=1e-9
    )


@pytest.fixture
def balances(monkeypatch):
    """Count the heat balances that are struck."""
    struck = []
    balance = heat.heat_balance

    def counted(*arguments):
        struck.append(arguments)
        return balance(*arguments)

    monkeypatch.setattr(heat, "heat_balance", counted)
    return struck


def test_iterations_are_the_balances_struck_before_the_settled_one(balances):
    _, conductor = one_of(properties_of("awg", "pvc_105"), "8 AWG")
    solved = heat.steady_temperature(60.0, kelvin(40.0), conductor, TABLES.air)
    assert solved.iterations == len(balances) - 1


def test_current_beyond_thermal_runaway_is_refused(balances):
    _, conductor = one_of(properties_of("awg", "pvc_105"), "20 AWG")
    with pytest.raises(EngineeringError) as caught:
        heat.steady_temperature(1e4, kelvin(40.0), conductor, TABLES.air)
    assert caught.value.code == "heat_balance_not_converged"
    assert caught.value.attributes["iterations"] == heat.GREATEST_ITERATIONS == len(balances)
    assert (
        math.isnan(caught.value.attributes["residual"]) or caught.value.attributes["residual"] > 0
    )


def test_every_table_5_row_has_a_case():
    rows = {
        row.size
        for row in TABLES.ampacities
        if row.table == "cfr_33_183_425" and row.temperature_rating_k == kelvin(105.0)
    }
    assert {case["given"]["size"][:-4] for case in case_list("heat/table_5_105c")} == rows
