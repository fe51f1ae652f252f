"""Heating in time against ``scipy``'s solver of ordinary differential equations.

Ours are closed forms and a quadrature over the temperature; theirs steps ``C dT/dt = I**2 R - q``
through the time until an event stops it, once with our heat loss and once with that of other
libraries.
"""

from collections.abc import Callable
from functools import cache, partial
from itertools import product

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline

from loomwright.engineering.conductors.duty import heating_ratio_of_duty
from loomwright.engineering.protection.short_circuit import (
    COPPER_MELTING_TEMPERATURE_K,
    adiabatic_constant,
    adiabatic_k,
    onderdonk_time_s,
    withstand_time_s,
)
from loomwright.engineering.protection.transient import (
    LumpedConductor,
    heat_loss_w_per_m,
    lumped_conductor_in_air,
    steady_current_a,
    time_to_temperature_s,
)
from loomwright.tables.load import tables
from second_opinions import Numbers, Opinion, agrees, each_point_matters
from second_opinions.library_heat import InsulatedSurface

TABLES = tables()
COPPER = TABLES.materials["copper"]
SIZES = ("18 AWG", "8 AWG", "ISO 16 mm2", "4/0 AWG")
INSULATIONS = ("pvc_105", "xlpe_125")
AMBIENT_K = 303.15
# Over the current that just holds the overload temperature.
EXCESSES = (1.05, 1.3, 2.0, 5.0, 20.0)
# Cold enough for each compound and hot enough for a fault.
FAULT_K = ((303.15, 433.15), (378.15, 433.15), (363.15, 523.15), (293.15, 473.15))

# 16 cells with a straight net heat in each, where the heat loss bends: 0.02 % at the excess of 5 %,
# where the net heat is a tenth of the loss, and less above; a coarser rule would show at once.
QUADRATURE = 5e-4
# The heat losses of the two sides differ by 0.2 % at these temperatures; at 1.3 times the threshold
# the net heat is 1.3**2 - 1 = 0.7 of the loss, and it grows with the current.
LIBRARY_LOSS = 4e-3
# The solver's own tolerance is 1e-9 a step.
CLOSED_FORM = 1e-7
# Onderdonk's 33 is a rounded constant for the copper of his time: 0.75 % over that of IEC 60949.
ONDERDONK = 0.01


def time_by_solver(
    slope_k_per_s: Callable[[float], float], initial_k: float, final_k: float, longest_s: float
) -> float:
    """Return when the temperature reaches the final one."""

    def reached(_: float, temperature: list[float]) -> float:
        return temperature[0] - final_k

    reached.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda _, temperature: [slope_k_per_s(temperature[0])],
        (0.0, longest_s),
        [initial_k],
        method="LSODA",
        events=reached,
        rtol=1e-9,
        atol=1e-9,
    )
    assert solved.status == 1, solved.message
    return float(solved.t_events[0][0])


def lump(size: str, insulation: str) -> LumpedConductor:
    return lumped_conductor_in_air(
        TABLES.conductors[size],
        COPPER,
        TABLES.insulations[insulation],
        COPPER,
        TABLES.air,
        AMBIENT_K,
    )


def library_loss(size: str, insulation: str, hottest_k: float) -> Callable[[float], Numbers]:
    """Return the heat loss over the temperature of the metal, by a spline of library figures."""
    surface = InsulatedSurface(TABLES.conductors[size], TABLES.insulations[insulation], AMBIENT_K)
    points = np.linspace(AMBIENT_K + 1.0, hottest_k, 60)
    metal = [surface.metal_k(float(point)) for point in points]
    return CubicSpline(metal, [surface.lost_w_per_m(float(point)) for point in points])


def heating_slope(
    body: LumpedConductor, current_a: float, loss_w_per_m: Callable[[float], Numbers]
) -> Callable[[float], float]:
    """Return how fast the lump heats at a temperature [K/s]."""

    def slope(temperature_k: float) -> float:
        factor = 1.0 + body.temperature_coefficient_20c_per_k * (temperature_k - 293.15)
        gained = current_a**2 * body.resistance_20c_ohm_per_m * factor
        return float((gained - loss_w_per_m(temperature_k)) / body.metal_heat_capacity_j_per_mk)

    return slope


def heating_opinion(excesses: tuple[float, ...], tolerance: float, by_library: bool) -> Opinion:
    """From the insulation's rating to its overload temperature, with the loss of either side."""
    ours, theirs = [], []
    for size, insulation in product(SIZES, INSULATIONS):
        body = lump(size, insulation)
        initial, final = body.temperature_rating_k, body.overload_temperature_k
        threshold = float(steady_current_a(body, final))
        loss = (
            library_loss(size, insulation, final)
            if by_library
            else partial(heat_loss_w_per_m, body)
        )
        for excess in excesses:
            time = float(time_to_temperature_s(body, excess * threshold, final).time_s)
            slope = heating_slope(body, excess * threshold, loss)
            ours.append(time)
            theirs.append(time_by_solver(slope, initial, final, 3.0 * time))
    return np.array(ours), np.array(theirs), tolerance, 0.0


@cache
def heating_times() -> Opinion:
    return heating_opinion(EXCESSES, QUADRATURE, by_library=False)


@cache
def heating_times_with_library_loss() -> Opinion:
    return heating_opinion(EXCESSES[1:], LIBRARY_LOSS, by_library=True)


def adiabatic_time(
    current_a: float, section_m2: float, beta_k: float, initial_k: float, final_k: float
) -> float:
    """Return the time of a copper conductor that loses nothing, by the solver."""
    heat = COPPER.volumetric_heat_capacity_j_per_m3k
    ratio = COPPER.resistivity_20c_ohm_m / (beta_k + 20.0)

    def slope(temperature: float) -> float:
        resistivity = ratio * (beta_k + temperature - 273.15)
        return (current_a / section_m2) ** 2 * resistivity / heat

    return time_by_solver(slope, initial_k, final_k, 1e4)


@cache
def withstand_times() -> Opinion:
    """IEC 60949 for 10 mm2 of copper at 1 kA."""
    constant = adiabatic_constant(
        COPPER.resistivity_20c_ohm_m,
        COPPER.volumetric_heat_capacity_j_per_m3k,
        COPPER.adiabatic_beta_k,
    )
    beta = COPPER.adiabatic_beta_k
    ours = [
        withstand_time_s(1e3, 1e-5, adiabatic_k(constant, beta, first, last))
        for first, last in FAULT_K
    ]
    theirs = [adiabatic_time(1e3, 1e-5, beta, first, last) for first, last in FAULT_K]
    return np.array(ours), np.array(theirs), CLOSED_FORM, 0.0


@cache
def melting_times() -> Opinion:
    """Onderdonk for 10 mm2 of copper at 3 kA."""
    starts = (273.15, 293.15, 333.15, 378.15)
    ours = [onderdonk_time_s(1e-5, 3e3, start) for start in starts]
    theirs = [
        adiabatic_time(3e3, 1e-5, COPPER.adiabatic_beta_k, start, COPPER_MELTING_TEMPERATURE_K)
        for start in starts
    ]
    return np.array(ours), np.array(theirs), ONDERDONK, 0.0


def peak_of_cycles(on_s: float, off_s: float, constant_s: float) -> float:
    """Return the peak of ``tau dx/dt = load - x`` after the cycles have settled."""
    rise = 0.0
    peak = 0.0
    for _ in range(int(25.0 * constant_s / (on_s + off_s)) + 3):
        for load, duration in ((1.0, on_s), (0.0, off_s)):
            solved = solve_ivp(
                lambda _, x, load=load: (load - x) / constant_s,
                (0.0, duration),
                [rise],
                method="LSODA",
                rtol=1e-10,
                atol=1e-12,
            )
            rise = float(solved.y[0, -1])
            peak = rise if load else peak
    return peak


@cache
def duty_ratios() -> Opinion:
    cycles = ((10.0, 30.0, 60.0), (60.0, 60.0, 120.0), (300.0, 900.0, 200.0), (30.0, 5.0, 90.0))
    ours = [float(heating_ratio_of_duty(*cycle)) for cycle in cycles]
    return np.array(ours), np.array([peak_of_cycles(*cycle) for cycle in cycles]), CLOSED_FORM, 0.0


OPINIONS = [
    pytest.param(opinion, id=opinion.__name__)
    for opinion in (
        heating_times,
        heating_times_with_library_loss,
        withstand_times,
        melting_times,
        duty_ratios,
    )
]


@pytest.mark.parametrize("opinion", OPINIONS)
def test_the_solver_finds_the_same(opinion: Callable[[], Opinion]) -> None:
    assert agrees(*opinion())


@pytest.mark.parametrize("opinion", OPINIONS)
def test_a_figure_just_outside_the_tolerance_is_refused(opinion: Callable[[], Opinion]) -> None:
    assert each_point_matters(*opinion())


@pytest.mark.parametrize("size", SIZES)
def test_the_solver_settles_below_a_temperature_that_is_never_reached(size: str) -> None:
    """Just under the steady current both say that the temperature is not reached."""
    body = lump(size, "pvc_105")
    final = body.overload_temperature_k
    current = 0.999 * float(steady_current_a(body, final))
    assert not time_to_temperature_s(body, current, final).reached

    slope = heating_slope(body, current, partial(heat_loss_w_per_m, body))
    settled = solve_ivp(
        lambda _, temperature: [slope(temperature[0])],
        (0.0, 1e5),
        [body.temperature_rating_k],
        method="LSODA",
        rtol=1e-8,
    )
    assert final - 1.0 < settled.y[0, -1] < final
