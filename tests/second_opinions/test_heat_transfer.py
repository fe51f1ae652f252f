"""Heat transfer against the ``ht``, ``fluids`` and ``CoolProp`` packages.

``ht`` and ``fluids`` hold the correlations of chemical engineering, ``CoolProp`` the reference
equations of air (Lemmon and others 2000; transport properties by Lemmon and Jacobsen 2004, stated
uncertainty some 1 to 2 %). The same formula agrees to rounding; what rests on a table of air
agrees as well as two tables of air do.
"""

from collections.abc import Callable

import numpy as np
import pytest
from fluids.core import Grashof, Rayleigh
from ht.conduction import R_cylinder
from ht.conv_free_immersed import (
    Nu_horizontal_cylinder_Churchill_Chu,
    Nu_horizontal_cylinder_Kuehn_Goldstein,
    Nu_horizontal_cylinder_Morgan,
)
from ht.radiation import q_rad
from scipy import constants
from scipy.optimize import brentq

from loomwright.engineering.conductors import convection, heat
from loomwright.engineering.conductors.ampacity import series_properties
from loomwright.tables.load import tables
from loomwright.tables.records import ConductorSize
from second_opinions import ROUNDING, Array, Opinion, agrees, each_point_matters
from second_opinions.library_heat import (
    InsulatedSurface,
    coolprop_air,
    library_convection_w_per_m,
)

TABLES = tables()
AIR = TABLES.air
COPPER = TABLES.materials["copper"]
PVC = TABLES.insulations["pvc_105"]
DIAMETERS_M = np.array([1.4e-3, 3.0e-3, 6.5e-3, 12e-3, 20e-3])
RISES_K = np.array([0.1, 2.0, 20.0, 60.0, 120.0])
AMBIENTS_K = np.array([233.15, 293.15, 323.15, 378.15])
GRID = tuple(axis.ravel() for axis in np.meshgrid(DIAMETERS_M, RISES_K, AMBIENTS_K))

# The table is a textbook's, in three figures. Two collections of transport properties differ by the
# sum of their uncertainties: 2.2 % (conductivity), 1.1 % (viscosity), 2.5 % (Prandtl number), seen.
AIR_PROPERTIES = {"conductivity": 0.025, "viscosity": 0.0125, "prandtl": 0.027}
# Heat goes with conductivity to the power 1 and with viscosity and Prandtl number to less than
# 1/4. The hottest film has the 2.2 % of conductivity less what the other two give back: 1.6 %.
CONVECTION = 0.02
# Radiation and the wall, which need no air, carry more than half of the balance at 97 C.
STEADY_RISE = 0.01
# ht carries the Stefan-Boltzmann constant of CODATA 2014, ours is that of 2018: 1.2e-6 apart.
RADIATION = 2e-6


def rayleigh_numbers() -> Opinion:
    diameter, rise, ambient = GRID
    ours = convection.rayleigh_number(diameter, ambient + rise, ambient, 1.6e-5, 0.707)
    theirs = [
        Rayleigh(
            0.707,
            Grashof(
                L=d,
                beta=1.0 / (a + 0.5 * r),
                T1=a + r,
                T2=a,
                nu=1.6e-5,
                g=convection.GRAVITY_M_PER_S2,
            ),
        )
        for d, r, a in zip(*GRID, strict=True)
    ]
    return ours, np.array(theirs), ROUNDING, 0.0


def nusselt_numbers() -> Opinion:
    rayleigh, prandtl = (
        axis.ravel() for axis in np.meshgrid(np.geomspace(1e-5, 1e12, 35), [0.683, 0.707, 0.737])
    )
    ours = convection.nusselt_number_churchill_chu(rayleigh, prandtl)
    theirs = [
        Nu_horizontal_cylinder_Churchill_Chu(p, r / p)
        for r, p in zip(rayleigh, prandtl, strict=True)
    ]
    return ours, np.array(theirs), ROUNDING, 0.0


def flow(diameter_m: Array, rise_k: Array, ambient_k: Array, emissivity: float) -> Array:
    surface = heat.InsulatedConductor(diameter_m, 0.0, emissivity, 1.0, 0.0)
    return heat.surface_heat_flow_w_per_m(rise_k, ambient_k, surface, AIR)[0]


def radiated_heat() -> Opinion:
    """Ours is the heat with an emissivity less that without."""
    diameter, rise, ambient = GRID
    ours = flow(diameter, rise, ambient, 0.92) - flow(diameter, rise, ambient, 0.0)
    theirs = [
        np.pi * d * q_rad(0.92, a + r, T2=a)
        for d, r, a in zip(diameter, rise, ambient, strict=True)
    ]
    return ours, np.array(theirs), RADIATION, 0.0


def convected_heat() -> Opinion:
    diameter, rise, ambient = GRID
    ours = flow(diameter, rise, ambient, 0.0)
    theirs = [library_convection_w_per_m(d, a + r, a) for d, r, a in zip(*GRID, strict=True)]
    return ours, np.array(theirs), CONVECTION, 0.0


def insulation_resistances() -> Opinion:
    sizes = list(TABLES.conductors.values())
    compounds = list(TABLES.insulations.values())
    pairs = [(size, compound) for size in sizes for compound in compounds]
    ours = [
        heat.insulation_resistance_km_per_w(
            size.conductor_diameter_m,
            size.outside_diameter_m,
            compound.thermal_resistivity_km_per_w,
        )
        for size, compound in pairs
    ]
    theirs = [
        R_cylinder(
            size.conductor_diameter_m,
            size.outside_diameter_m,
            1.0 / compound.thermal_resistivity_km_per_w,
            1.0,
        )
        for size, compound in pairs
    ]
    return np.array(ours), np.array(theirs), ROUNDING, 0.0


def air_table(column: str) -> Opinion:
    """Return one property of every row beside that of CoolProp."""
    ours = {
        "conductivity": AIR.conductivity_w_per_mk,
        "viscosity": AIR.kinematic_viscosity_m2_per_s,
        "prandtl": AIR.prandtl,
    }
    theirs = np.array([coolprop_air(temperature) for temperature in AIR.temperature_k])
    index = list(ours).index(column)
    return np.array(ours[column]), theirs[:, index], AIR_PROPERTIES[column], 0.0


def library_rise_k(
    size: ConductorSize, resistance_20c: float, coefficient: float, current_a: float, air_k: float
) -> float:
    """Return the rise of a conductor in ``pvc_105``, a root by scipy of library formulas."""
    surface = InsulatedSurface(size, PVC, air_k)

    def imbalance(surface_k: float) -> float:
        metal_c = surface.metal_k(surface_k) - 273.15
        gained = current_a**2 * resistance_20c * (1 + coefficient * (metal_c - 20))
        return surface.lost_w_per_m(surface_k) - gained

    found = brentq(imbalance, air_k + 0.01, 420.0, xtol=1e-9)
    return surface.metal_k(float(found)) - air_k


def steady_rises() -> Opinion:
    """Every fourth size of every series at the current that should make it 97 C."""
    ours, theirs = [], []
    for sizes in TABLES.series.values():
        conductor = series_properties(sizes, COPPER, PVC, COPPER).conductor
        coefficients = np.broadcast_to(conductor.temperature_coefficient_20c_per_k, len(sizes))
        resistances = np.asarray(conductor.resistance_20c_ohm_per_m)
        for air_k in (273.15, 333.15):
            current = heat.ampacity_in_free_air_a(370.15, air_k, conductor, AIR)
            steady = heat.steady_temperature(current, air_k, conductor, AIR)
            for index in range(0, len(sizes), 4):
                ours.append(steady.conductor_temperature_k[index] - air_k)
                theirs.append(
                    library_rise_k(
                        sizes[index],
                        float(resistances[index]),
                        float(coefficients[index]),
                        float(current[index]),
                        air_k,
                    )
                )
    return np.array(ours), np.array(theirs), STEADY_RISE, 0.0


OPINIONS = [
    pytest.param(rayleigh_numbers, (), id="rayleigh"),
    pytest.param(nusselt_numbers, (), id="nusselt"),
    pytest.param(radiated_heat, (), id="radiation"),
    pytest.param(convected_heat, (), id="convection"),
    pytest.param(insulation_resistances, (), id="insulation"),
    pytest.param(air_table, ("conductivity",), id="air-conductivity"),
    pytest.param(air_table, ("viscosity",), id="air-viscosity"),
    pytest.param(air_table, ("prandtl",), id="air-prandtl"),
    pytest.param(steady_rises, (), id="steady-balance"),
]


@pytest.mark.parametrize(("opinion", "arguments"), OPINIONS)
def test_the_libraries_find_the_same(
    opinion: Callable[..., Opinion], arguments: tuple[str, ...]
) -> None:
    assert agrees(*opinion(*arguments))


@pytest.mark.parametrize(("opinion", "arguments"), OPINIONS)
def test_a_figure_just_outside_the_tolerance_is_refused(
    opinion: Callable[..., Opinion], arguments: tuple[str, ...]
) -> None:
    assert each_point_matters(*opinion(*arguments))


def test_constants_are_those_of_codata() -> None:
    """Gravity is written with three figures, as in the worked examples: half of its last place."""
    assert agrees(convection.GRAVITY_M_PER_S2, constants.g, 0.0, 0.005)
    assert agrees(heat.STEFAN_BOLTZMANN_W_PER_M2K4, constants.Stefan_Boltzmann, 0.0, 0.5e-14)


@pytest.mark.parametrize(
    "correlation", [Nu_horizontal_cylinder_Morgan, Nu_horizontal_cylinder_Kuehn_Goldstein]
)
def test_other_correlations_cool_at_least_as_well(
    correlation: Callable[[float, float], float],
) -> None:
    """Churchill and Chu is the cautious choice for thin cylinders.

    Over the Rayleigh numbers of vehicle cable two correlations by other authors give 0 to 35 %
    more, most for the thinnest; a correlation for small cylinders is known to 20 to 30 %.
    """
    rayleigh = np.geomspace(0.3, 3e4, 30)
    theirs = np.array([correlation(0.7, number / 0.7) for number in rayleigh])
    ratio = theirs / convection.nusselt_number_churchill_chu(rayleigh, 0.7)
    assert np.all(ratio >= 1.0)
    assert np.all(ratio <= 1.35)
