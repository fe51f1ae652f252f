"""Adiabatic factors, least sections and melting currents against published figures."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.protection import short_circuit as sc

CASES = Path(__file__).parents[1] / "cases" / "short_circuit"
KELVIN = 273.15
PER_MM2 = 1e6
METRES_PER_INCH = 0.0254
# IEC 60949 Table I, rounded as printed: K [A s^0.5/mm2] and beta [C].
ROUNDED = {"copper": (226.0, 234.5), "aluminium": (148.0, 228.0)}


def k(constant_a_s05_per_mm2, beta_c, initial_temperature_c, final_temperature_c):
    return (
        sc.adiabatic_k(
            constant_a_s05_per_mm2 * PER_MM2,
            beta_c,
            initial_temperature_c + KELVIN,
            final_temperature_c + KELVIN,
        )
        / PER_MM2
    )


def k_from_rounded_constant(metal, initial_temperature_c, final_temperature_c):
    return k(*ROUNDED[metal], initial_temperature_c, final_temperature_c)


def constant(**given_values):
    return sc.adiabatic_constant(**given_values) / PER_MM2


def section(current_a, duration_s, k_a_s05_per_mm2):
    return sc.least_section_m2(current_a, duration_s, k_a_s05_per_mm2 * PER_MM2) * PER_MM2


def onderdonk_time(area_cmil, current_a, initial_temperature_c):
    area = area_cmil * sc.SQUARE_METRES_PER_CIRCULAR_MIL
    return sc.onderdonk_time_s(area, current_a, initial_temperature_c + KELVIN)


def onderdonk_current(area_cmil, duration_s, initial_temperature_c):
    area = area_cmil * sc.SQUARE_METRES_PER_CIRCULAR_MIL
    return sc.onderdonk_current_a(area, duration_s, initial_temperature_c + KELVIN)


def preece_diameter(metal, current_a):
    constant_of_metal = sc.PREECE_CONSTANTS_A_PER_M15[metal]
    return sc.preece_diameter_m(current_a, constant_of_metal) / METRES_PER_INCH


def preece_current(metal, diameter_in):
    constant_of_metal = sc.PREECE_CONSTANTS_A_PER_M15[metal]
    return sc.preece_current_a(diameter_in * METRES_PER_INCH, constant_of_metal)


FUNCTIONS = {
    function.__name__: function
    for function in (
        k,
        k_from_rounded_constant,
        constant,
        section,
        onderdonk_time,
        onderdonk_current,
        preece_diameter,
        preece_current,
    )
}


def cases(name):
    return [
        pytest.param(case, id=case["id"]) for case in json.loads((CASES / name).read_text("utf-8"))
    ]


def value_of(case):
    given_values = dict(case["given"])
    return FUNCTIONS[given_values.pop("function")](**given_values)


@pytest.mark.parametrize("case", cases("formulas.json"))
def test_formula(case):
    tolerance = case["tolerance"]
    assert value_of(case) == pytest.approx(
        case["expected"]["value"],
        rel=tolerance.get("relative", 0.0),
        abs=tolerance.get("absolute", 0.0),
    )


@pytest.mark.parametrize("case", cases("inconsistencies.json"))
def test_printed_figure_that_contradicts_its_own_formula(case):
    """The printed value is not ours; ``inconsistency`` in the file says why."""
    ours = value_of(case)
    assert case["inconsistency"]
    assert ours == pytest.approx(case["expected"]["value"], rel=case["tolerance"]["relative"])
    assert ours != pytest.approx(case["printed"], rel=0.02)


def test_onderdonk_is_the_adiabatic_equation_with_k_226():
    """1973.525 / sqrt(33 ln 10) = 226.4 A s^0.5/mm2, IEC 60949 Table I prints 226 (0.2 %).

    Onderdonk's 234 for beta stands beside 234.5 in IEC 60949; at 25 C start that is 0.1 %.
    """
    seconds = np.array([0.1, 1.0, 5.0])
    melting = sc.adiabatic_k(226.0e6, 234.5, 25.0 + KELVIN, sc.COPPER_MELTING_TEMPERATURE_K)
    iec = melting * 1e-6 / np.sqrt(seconds)
    assert sc.onderdonk_current_a(1e-6, seconds, 25.0 + KELVIN) == pytest.approx(iec, rel=0.004)


def test_icea_constant_lies_one_percent_below_iec():
    """ICEA P-32-382: (I/A)**2 t = 0.0297 log10(...), A in circular mils, so K = 224.1."""
    icea = math.sqrt(0.0297 / math.log(10.0)) / sc.SQUARE_METRES_PER_CIRCULAR_MIL
    assert icea / PER_MM2 == pytest.approx(224.1, rel=0.0005)
    assert icea / 226.0e6 == pytest.approx(0.99, abs=0.003)


@given(st.floats(1.0, 1e5), st.floats(1e-3, 5.0), st.floats(5e7, 2e8))
def test_least_section_withstands_exactly_its_own_time(current_a, duration_s, factor):
    area = sc.least_section_m2(current_a, duration_s, factor)
    assert sc.withstand_time_s(current_a, area, factor) == pytest.approx(duration_s, rel=1e-12)


@given(st.floats(1e-7, 1e-4), st.floats(0.01, 10.0), st.floats(233.0, 400.0))
def test_onderdonk_current_and_time_are_inverse(area_m2, duration_s, initial_k):
    current = sc.onderdonk_current_a(area_m2, duration_s, initial_k)
    assert sc.onderdonk_time_s(area_m2, current, initial_k) == pytest.approx(duration_s, rel=1e-12)


@given(st.floats(250.0, 420.0), st.floats(0.1, 100.0), st.floats(0.1, 100.0))
def test_k_rises_with_the_final_and_falls_with_the_initial_temperature(initial_k, rise, more):
    def factor(start, end):
        return sc.adiabatic_k(226e6, 234.5, start, end)

    assert factor(initial_k, initial_k + rise + more) > factor(initial_k, initial_k + rise)
    assert factor(initial_k - more, initial_k + rise) > factor(initial_k, initial_k + rise)


def test_arrays_give_the_same_as_floats():
    currents = np.array([[100.0, 200.0], [400.0, 800.0]])
    times = sc.withstand_time_s(currents, 1e-6, 115e6)
    assert times.shape == currents.shape
    assert times[1, 0] == sc.withstand_time_s(400.0, 1e-6, 115e6)
