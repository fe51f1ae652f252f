"""Free convection from a horizontal cylinder in air."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.tables.records import Air

Array = npt.NDArray[np.float64]
Number = float | Array

GRAVITY_M_PER_S2 = 9.81


def rayleigh_number(
    diameter_m: Number,
    surface_temperature_k: Number,
    ambient_temperature_k: Number,
    kinematic_viscosity_m2_per_s: Number,
    prandtl: Number,
) -> Number:
    """Return the Rayleigh number of a horizontal cylinder in a gas.

    Parameters
    ----------
    diameter_m
        Of the cylinder [m].
    surface_temperature_k
        Surface [K].
    ambient_temperature_k
        Far air [K].
    kinematic_viscosity_m2_per_s
        Of the air at the film temperature [m2/s].
    prandtl
        Prandtl number of the air at the film temperature [1].

    Returns
    -------
    float or ndarray
        Rayleigh number [1].

    References
    ----------
    Incropera, 6th edition, eq. 9.25, with 1 / film temperature as expansion coefficient.
    """
    film = 0.5 * (surface_temperature_k + ambient_temperature_k)
    rise = surface_temperature_k - ambient_temperature_k
    return (
        GRAVITY_M_PER_S2 * rise * diameter_m**3 * prandtl / (film * kinematic_viscosity_m2_per_s**2)
    )


def nusselt_number_churchill_chu(rayleigh: Number, prandtl: Number) -> Number:
    """Return the mean Nusselt number of a long horizontal cylinder in free convection.

    Isothermal surface, Rayleigh number up to 1e12.

    Parameters
    ----------
    rayleigh
        Rayleigh number on the diameter [1], 0 to 1e12.
    prandtl
        Prandtl number [1].

    Returns
    -------
    float or ndarray
        Nusselt number [1].

    References
    ----------
    Churchill and Chu (1975), Int. J. Heat Mass Transfer 18:1049; Incropera, 6th edition, eq. 9.34.
    """
    bracket = (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return (0.60 + 0.387 * rayleigh ** (1.0 / 6.0) / bracket) ** 2


@dataclass(frozen=True, slots=True)
class AirFit:
    """Air properties as quadratics in the logarithm of the film temperature over 300 K.

    ``buoyancy`` is the Rayleigh number per metre cubed and kelvin, divided by the 16/9 power of the
    Prandtl bracket, so that ``Nu = (0.6 + 0.387 (buoyancy x D**3)**(1/6))**2``. Coefficients start
    at the constant term. ``greatest_deviation`` is that of the fit from the table points [1].
    """

    log_conductivity: tuple[float, float, float]
    log_buoyancy: tuple[float, float, float]
    greatest_deviation: float


@lru_cache(maxsize=8)
def air_fit(air: Air) -> AirFit:
    """Return the smooth fit of the air table that the heat balance uses.

    Parameters
    ----------
    air
        Table of air properties, 200 to 550 K.

    Returns
    -------
    AirFit
        Coefficients and greatest deviation.
    """
    temperature = np.asarray(air.temperature_k)
    viscosity = np.asarray(air.kinematic_viscosity_m2_per_s)
    prandtl = np.asarray(air.prandtl)
    bracket = (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (16.0 / 9.0)
    buoyancy = GRAVITY_M_PER_S2 * prandtl / (temperature * viscosity**2) / bracket
    logarithm = np.log(temperature / 300.0)
    fits = []
    deviation = 0.0
    for values in (np.asarray(air.conductivity_w_per_mk), buoyancy):
        fit = np.polyfit(logarithm, np.log(values), 2)
        ratio = np.exp(np.polyval(fit, logarithm)) / values
        deviation = max(deviation, float(np.abs(ratio - 1.0).max()))
        fits.append((float(fit[2]), float(fit[1]), float(fit[0])))
    return AirFit(fits[0], fits[1], deviation)
