"""The air fit and the limits of a series at one ambient, against closed forms."""

import math

import numpy as np
import pytest

from loomwright.engineering.conductors import convection, heat, temperature_curve
from loomwright.engineering.conductors.ampacity import (
    SeriesProperties,
    ambient_limits,
    published_ambient_factor,
    series_properties,
)
from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.resistance import resistance_at_temperature_ohm_per_m
from loomwright.tables.load import tables
from loomwright.tables.records import Air, Provenance

TABLES = tables()
COPPER = TABLES.materials["copper"]
POINTS_K = (200.0, 250.0, 300.0, 350.0, 400.0, 450.0, 500.0, 550.0)
# Air whose conductivity is proportional to the absolute temperature and all else constant: both
# fits, quadratics in the logarithm, then hold it exactly.
STRAIGHT_AIR = Air(
    temperature_k=POINTS_K,
    conductivity_w_per_mk=tuple(0.026 * point / 300.0 for point in POINTS_K),
    kinematic_viscosity_m2_per_s=(1.6e-5,) * len(POINTS_K),
    prandtl=(0.7,) * len(POINTS_K),
    provenance=Provenance("example", "example", "formula"),
)


def properties_of(series: str, insulation: str) -> SeriesProperties:
    return series_properties(TABLES.series[series], COPPER, TABLES.insulations[insulation], COPPER)


@pytest.mark.parametrize("ambient_k", [250.0, 300.0, 380.0])
@pytest.mark.parametrize("rise_k", [1.0, 40.0, 120.0])
def test_convection_is_churchill_and_chu_at_the_film_temperature(ambient_k, rise_k):
    conductor = heat.InsulatedConductor(0.006, 0.0, 0.0, 1.0, 0.0)
    film_k = ambient_k + 0.5 * rise_k
    rayleigh = convection.rayleigh_number(0.006, ambient_k + rise_k, ambient_k, 1.6e-5, 0.7)
    nusselt = convection.nusselt_number_churchill_chu(rayleigh, 0.7)
    flow, _ = heat.surface_heat_flow_w_per_m(rise_k, ambient_k, conductor, STRAIGHT_AIR)
    # pi D h dT with h = k Nu / D; the fits are exact but for rounding.
    expected = math.pi * (0.026 * film_k / 300.0) * nusselt * rise_k
    assert float(flow) == pytest.approx(expected, rel=1e-9)
    assert convection.air_fit(STRAIGHT_AIR).greatest_deviation < 1e-12


def test_air_fit_holds_the_published_points_within_its_stated_deviation():
    air = TABLES.air
    fit = convection.air_fit(air)
    # Heat goes with the conductivity, and with the 1/6 to 1/3 power of the buoyancy.
    assert 0.0 < fit.greatest_deviation < 0.01
    for index, temperature_k in enumerate(air.temperature_k):
        logarithm = math.log(temperature_k / 300.0)
        conductivity, buoyancy = (
            math.exp(sum(factor * logarithm**power for power, factor in enumerate(coefficients)))
            for coefficients in (fit.log_conductivity, fit.log_buoyancy)
        )
        within = {"rel": fit.greatest_deviation * 1.0001}
        assert air.conductivity_w_per_mk[index] == pytest.approx(conductivity, **within)
        prandtl = air.prandtl[index]
        # Rayleigh number per m3 and K, over the 16/9 power of the bracket of Incropera eq. 9.34.
        rayleigh = convection.rayleigh_number(
            1.0,
            temperature_k + 0.5,
            temperature_k - 0.5,
            air.kinematic_viscosity_m2_per_s[index],
            prandtl,
        )
        bracket = (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (16.0 / 9.0)
        assert rayleigh / bracket == pytest.approx(buoyancy, **within)


@pytest.mark.parametrize("series", ["awg", "metric"])
@pytest.mark.parametrize("ambient_k", [263.15, 313.15])
def test_time_constant_is_heat_stored_over_heat_lost_at_the_rating(series, ambient_k):
    properties = properties_of(series, "pvc_105")
    found = ambient_limits(properties, ambient_k, False, TABLES)
    rating_k = 378.15
    conductor = properties.conductor
    resistance = resistance_at_temperature_ohm_per_m(
        conductor.resistance_20c_ohm_per_m, conductor.temperature_coefficient_20c_per_k, rating_k
    )
    stored = (
        properties.cross_section_m2
        * COPPER.volumetric_heat_capacity_j_per_m3k
        * (rating_k - ambient_k)
    )
    # In the steady state the loss is the current's own heat.
    np.testing.assert_allclose(
        found.time_constant_s, stored / (found.ampacity_a**2 * resistance), rtol=1e-9
    )


@pytest.mark.parametrize(
    ("ambient_c", "factor"),
    # IEC 60364-5-52 Table B.52.14 refers to 30 C; sqrt((105 - t) / 75) by hand, none at the rating.
    [(30.0, 1.0), (30.5, 0.996661), (33.0, 0.979796), (105.0, 0.0), (110.0, 0.0)],
)
def test_published_ampacity_refers_to_30_c(ambient_c, factor):
    found = published_ambient_factor(
        properties_of("awg", "pvc_105"), ambient_c + 273.15, False, TABLES
    )
    assert found == pytest.approx(factor, abs=1e-6)


def test_engine_space_factor_holds_for_a_series_of_one_size():
    # 33 CFR 183.425 Table 5 note 1: 0.85 for an insulation of 105 C.
    alone = series_properties(
        (TABLES.conductors["8 AWG"],), COPPER, TABLES.insulations["pvc_105"], COPPER
    )
    assert published_ambient_factor(alone, 303.15, True, TABLES) == 0.85


def test_what_a_request_leaves_out_is_the_plainest_case():
    segment = Segment(1.0, 300.0)
    assert (segment.bundled_conductors, segment.engine_space) == (1, False)
    sizes = TABLES.series["awg"]
    request = ConductorRequest(sizes, COPPER, TABLES.insulations["pvc_105"], 12.0, 0.5, (segment,))
    assert request.source_resistance_ohm == request.chassis_resistance_ohm == 0.0
    assert request.fixed_resistance_ohm == 0.0
    assert request.return_by_conductor
    assert request.greatest_parallel_runs == request.given_parallel_runs == 1


@pytest.mark.parametrize("axes", [(), (2,), (2, 3)])
def test_curve_is_read_as_a_cubic_in_each_interval_and_flat_past_its_end(axes):
    count = temperature_curve.INTERVALS
    # Each interval has its own constant term, so that a wrong one is seen.
    coefficients = np.zeros((*axes, count, 4))
    coefficients[..., 0] = 100.0 * np.arange(count)
    coefficients[..., 1:] = (2.0, 3.0, 4.0)
    table = temperature_curve.curve_table(coefficients)
    assert table.shape == (*axes, count + 1, 4)
    one = table[(0,) * len(axes)]
    for interval in (0, 7, count - 1):
        for inside in (0.0, 0.25, 0.75):
            share = (interval + inside) / count
            rise, slope = temperature_curve.rise_and_slope_on_curve_k(one, share)
            by_hand = 100.0 * interval + 2.0 * inside + 3.0 * inside**2 + 4.0 * inside**3
            assert rise == pytest.approx(by_hand, rel=1e-12)
            # By the share of the cap, of which an interval is 1/32.
            assert slope == pytest.approx(
                count * (2.0 + 6.0 * inside + 12.0 * inside**2), rel=1e-12
            )
    for share in (1.0, 1.5, 40.0):
        end = temperature_curve.rise_and_slope_on_curve_k(one, share)
        assert end == pytest.approx((100.0 * (count - 1) + 9.0, 0.0))
