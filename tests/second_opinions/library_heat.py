"""Heat from an insulated conductor by ``ht``, ``fluids`` and ``CoolProp``; none of it is ours."""

from dataclasses import dataclass

import numpy as np
from CoolProp.CoolProp import PropsSI
from fluids.core import Grashof
from ht.conduction import R_cylinder
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu
from ht.radiation import q_rad

from loomwright.tables.records import ConductorSize, Insulation

ATMOSPHERE_PA = 101325.0


def coolprop_air(temperature_k: float) -> tuple[float, float, float]:
    """Return conductivity, kinematic viscosity and Prandtl number by CoolProp."""
    conductivity, viscosity, density, heat_capacity = (
        PropsSI(key, "T", temperature_k, "P", ATMOSPHERE_PA, "Air") for key in "LVDC"
    )
    return conductivity, viscosity / density, viscosity * heat_capacity / conductivity


def library_convection_w_per_m(diameter_m: float, surface_k: float, ambient_k: float) -> float:
    """Return the free convection of one metre of horizontal cylinder."""
    film_k = 0.5 * (surface_k + ambient_k)
    conductivity, viscosity, prandtl = coolprop_air(film_k)
    grashof = Grashof(L=diameter_m, beta=1.0 / film_k, T1=surface_k, T2=ambient_k, nu=viscosity)
    nusselt = Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof)
    return float(np.pi * conductivity * nusselt * (surface_k - ambient_k))


@dataclass(frozen=True)
class InsulatedSurface:
    """One metre of an insulated conductor in still air."""

    size: ConductorSize
    insulation: Insulation
    air_k: float

    def lost_w_per_m(self, surface_k: float) -> float:
        """Return what the surface loses to the air and to its surroundings."""
        diameter = self.size.outside_diameter_m
        radiated = np.pi * diameter * q_rad(self.insulation.emissivity, surface_k, T2=self.air_k)
        return float(radiated) + library_convection_w_per_m(diameter, surface_k, self.air_k)

    def metal_k(self, surface_k: float) -> float:
        """Return the temperature of the metal that goes with that of the surface."""
        wall = R_cylinder(
            self.size.conductor_diameter_m,
            self.size.outside_diameter_m,
            1.0 / self.insulation.thermal_resistivity_km_per_w,
            1.0,
        )
        return surface_k + wall * self.lost_w_per_m(surface_k)
