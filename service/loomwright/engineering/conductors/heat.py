"""Steady heat balance of an insulated round conductor in still air.

The conductor loses its Joule heat through the insulation by conduction, and from the surface by
free convection and radiation. Everything is written in the rise of the surface above ambient,
because heat flow and conductor temperature are then explicit: only one unknown is left to solve.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.convection import air_fit
from loomwright.engineering.conductors.resistance import resistance_at_temperature_ohm_per_m
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.records import Air

Array = npt.NDArray[np.float64]
Number = float | Array

STEFAN_BOLTZMANN_W_PER_M2K4 = 5.670374e-8
RELATIVE_TOLERANCE = 1e-10
GREATEST_ITERATIONS = 60


@dataclass(frozen=True, slots=True)
class InsulatedConductor:
    """What the heat balance needs of a conductor; fields are floats or arrays of one shape.

    Parameters
    ----------
    outside_diameter_m
        Over the insulation [m].
    insulation_resistance_km_per_w
        Thermal resistance of one metre of insulation [K m/W].
    emissivity
        Of the surface [1].
    resistance_20c_ohm_per_m
        Electrical resistance at 20 C [ohm/m].
    temperature_coefficient_20c_per_k
        Of that resistance [1/K].
    """

    outside_diameter_m: Number
    insulation_resistance_km_per_w: Number
    emissivity: Number
    resistance_20c_ohm_per_m: Number
    temperature_coefficient_20c_per_k: Number


@dataclass(frozen=True, slots=True)
class SteadyTemperature:
    """Solved conductor temperature [K] with the proof of its stop."""

    conductor_temperature_k: Array
    surface_rise_k: Array
    iterations: int
    residual: float


def insulation_resistance_km_per_w(
    conductor_diameter_m: Number, outside_diameter_m: Number, thermal_resistivity_km_per_w: Number
) -> Number:
    """Return the radial thermal resistance of one metre of insulation.

    Parameters
    ----------
    conductor_diameter_m
        Over the strands [m], above 0.
    outside_diameter_m
        Over the insulation [m], above the conductor diameter.
    thermal_resistivity_km_per_w
        Of the compound [K m/W]: 5.0 for PVC.

    Returns
    -------
    float or ndarray
        Thermal resistance [K m/W].

    References
    ----------
    IEC 60287-2-1:2015, 4.1.2.1: ``T1 = rho / (2 pi) ln(D / d)``.
    """
    ratio = np.log(np.asarray(outside_diameter_m, float) / conductor_diameter_m)
    return thermal_resistivity_km_per_w * ratio / (2.0 * np.pi)


def surface_heat_flow_w_per_m(
    surface_rise_k: Number, ambient_temperature_k: Number, conductor: InsulatedConductor, air: Air
) -> tuple[Array, Array]:
    """Return the heat flow from one metre of surface, and its slope.

    Still air; the surroundings are at the temperature of the air.

    Parameters
    ----------
    surface_rise_k
        Surface above ambient [K], above 0.
    ambient_temperature_k
        Air and surroundings [K], 200 to 500.
    conductor
        Diameter and emissivity.
    air
        Table of air properties.

    Returns
    -------
    tuple of ndarray
        Heat flow [W/m] and its derivative by the surface rise [W/(m K)].
    """
    fit = air_fit(air)
    k0, k1, k2 = fit.log_conductivity
    b0, b1, b2 = fit.log_buoyancy
    rise = np.asarray(surface_rise_k, float)
    film_temperature = ambient_temperature_k + 0.5 * rise
    logarithm = np.log(film_temperature / 300.0)
    conductivity = np.exp(k0 + logarithm * (k1 + logarithm * k2))
    buoyancy = np.exp(b0 + logarithm * (b1 + logarithm * b2))
    sixth = 0.387 * (buoyancy * rise * conductor.outside_diameter_m**3) ** (1.0 / 6.0)
    root = 0.60 + sixth
    # q' = pi D h dT with h = k Nu / D, so the diameter cancels in the convective part.
    convection_per_k = np.pi * conductivity * root * root
    surface = ambient_temperature_k + rise
    radiant = (
        np.pi * STEFAN_BOLTZMANN_W_PER_M2K4 * conductor.emissivity * conductor.outside_diameter_m
    )
    # (Ts^4 - Ta^4) as a product with the rise loses no digits when the rise is small.
    sums = surface + ambient_temperature_k
    squares = surface * surface + np.square(ambient_temperature_k)
    flow = rise * (convection_per_k + radiant * sums * squares)
    share = sixth / root
    powers = k1 + 2.0 * k2 * logarithm + (b1 + 2.0 * b2 * logarithm) * share / 3.0
    drift = 0.5 * rise / film_temperature * powers
    slope = convection_per_k * (1.0 + share / 3.0 + drift) + 4.0 * radiant * surface**3
    return flow, slope


def surface_rise_at_conductor_temperature_k(
    conductor_temperature_k: Number,
    ambient_temperature_k: Number,
    conductor: InsulatedConductor,
    air: Air,
) -> Array:
    """Return the surface rise that goes with a conductor temperature.

    Parameters
    ----------
    conductor_temperature_k
        Conductor temperature [K], above ambient.
    ambient_temperature_k
        Ambient temperature [K].
    conductor
        The conductor.
    air
        Table of air properties.

    Returns
    -------
    ndarray
        Surface above ambient [K].

    Raises
    ------
    EngineeringError
        ``heat_balance_not_converged`` with iterations and residual.
    """
    total = np.asarray(conductor_temperature_k - np.asarray(ambient_temperature_k), float)
    resistance = conductor.insulation_resistance_km_per_w
    rise: Array = np.broadcast_arrays(0.8 * total, conductor.outside_diameter_m)[0].astype(float)
    residual = np.inf
    for _ in range(GREATEST_ITERATIONS):
        flow, slope = surface_heat_flow_w_per_m(rise, ambient_temperature_k, conductor, air)
        step = (rise + flow * resistance - total) / (1.0 + slope * resistance)
        rise = np.asarray(np.maximum(rise - step, 0.05 * rise))
        residual = float(np.max(np.abs(step) / total))
        if residual < RELATIVE_TOLERANCE:
            return rise
    raise _not_converged(residual)


def ampacity_in_free_air_a(
    conductor_temperature_k: Number,
    ambient_temperature_k: Number,
    conductor: InsulatedConductor,
    air: Air,
) -> Array:
    """Return the steady current that brings a conductor to a temperature in still air.

    One horizontal conductor, spaced from others, still air.

    Parameters
    ----------
    conductor_temperature_k
        Wanted conductor temperature [K], above ambient.
    ambient_temperature_k
        Ambient temperature [K], 200 to 500.
    conductor
        The conductor.
    air
        Table of air properties.

    Returns
    -------
    ndarray
        Current [A].

    Raises
    ------
    EngineeringError
        ``heat_balance_not_converged``.

    Notes
    -----
    ``I**2 R(T) = q'(T, Ta)``.
    """
    rise = surface_rise_at_conductor_temperature_k(
        conductor_temperature_k, ambient_temperature_k, conductor, air
    )
    flow, _ = surface_heat_flow_w_per_m(rise, ambient_temperature_k, conductor, air)
    return np.asarray(np.sqrt(flow / _resistance(conductor, conductor_temperature_k)))


def heat_flow_w_per_m(
    conductor_temperature_k: Number,
    ambient_temperature_k: Number,
    conductor: InsulatedConductor,
    air: Air,
) -> Array:
    """Return the heat that one metre of conductor loses at a temperature.

    Parameters
    ----------
    conductor_temperature_k
        Conductor temperature [K], above ambient.
    ambient_temperature_k
        Ambient temperature [K], 200 to 500.
    conductor
        The conductor.
    air
        Table of air properties.

    Returns
    -------
    ndarray
        Heat flow [W/m].

    Raises
    ------
    EngineeringError
        ``heat_balance_not_converged``.
    """
    rise = surface_rise_at_conductor_temperature_k(
        conductor_temperature_k, ambient_temperature_k, conductor, air
    )
    flow: Array
    flow, _ = surface_heat_flow_w_per_m(rise, ambient_temperature_k, conductor, air)
    return flow


@dataclass(frozen=True, slots=True)
class HeatBalance:
    """The heat balance of one metre at an estimate of the surface rise.

    ``imbalance_w_per_m`` is heat lost less heat gained; slopes are partial derivatives by the
    surface rise, that of the heat gained relative to it.
    """

    conductor_temperature_k: Array
    temperature_slope: Array
    resistance_ohm_per_m: Array
    gained_w_per_m: Array
    imbalance_w_per_m: Array
    imbalance_slope_w_per_mk: Array
    gained_slope_per_k: Array


def heat_balance(
    surface_rise_k: Array,
    current_a: Number,
    ambient_temperature_k: Number,
    conductor: InsulatedConductor,
    air: Air,
) -> HeatBalance:
    """Return the heat balance at an estimate of the surface rise, ready for a Newton step.

    Parameters
    ----------
    surface_rise_k
        Present estimate [K], above 0.
    current_a
        Current [A].
    ambient_temperature_k
        Ambient temperature [K].
    conductor
        The conductor.
    air
        Table of air properties.

    Returns
    -------
    HeatBalance
        Temperature [K], resistance [ohm/m], heat [W/m] and slopes by the surface rise.
    """
    flow, slope = surface_heat_flow_w_per_m(surface_rise_k, ambient_temperature_k, conductor, air)
    insulation = conductor.insulation_resistance_km_per_w
    temperature = ambient_temperature_k + surface_rise_k + flow * insulation
    temperature_slope = 1.0 + slope * insulation
    resistance = _resistance(conductor, temperature)
    squared = np.square(current_a)
    gained = squared * resistance
    per_kelvin = conductor.resistance_20c_ohm_per_m * conductor.temperature_coefficient_20c_per_k
    relative_slope = per_kelvin * temperature_slope / resistance
    return HeatBalance(
        conductor_temperature_k=temperature,
        temperature_slope=temperature_slope,
        resistance_ohm_per_m=np.asarray(resistance),
        gained_w_per_m=np.asarray(gained),
        imbalance_w_per_m=np.asarray(flow - gained),
        imbalance_slope_w_per_mk=np.asarray(slope - gained * relative_slope),
        gained_slope_per_k=np.asarray(relative_slope),
    )


def steady_temperature(
    current_a: Number, ambient_temperature_k: Number, conductor: InsulatedConductor, air: Air
) -> SteadyTemperature:
    """Return the steady temperature of a conductor that carries a current.

    Valid below thermal runaway, the current at which the resistance grows faster with temperature
    than the heat flow; keep the current below the ampacity at 250 C.

    Parameters
    ----------
    current_a
        Current [A], 0 or more.
    ambient_temperature_k
        Ambient temperature [K], 200 to 500.
    conductor
        The conductor.
    air
        Table of air properties.

    Returns
    -------
    SteadyTemperature
        Temperature [K], surface rise [K], iterations and residual.

    Raises
    ------
    EngineeringError
        ``heat_balance_not_converged`` with iterations and residual.
    """
    current = np.maximum(np.asarray(current_a, float), 1e-6)
    gained = current * current * conductor.resistance_20c_ohm_per_m
    # Start: about 12 W/(m2 K) from the surface.
    rise = np.broadcast_arrays(
        gained / (np.pi * np.asarray(conductor.outside_diameter_m) * 12.0), ambient_temperature_k
    )[0].astype(float)
    residual = np.inf
    for iteration in range(1, GREATEST_ITERATIONS + 1):
        balance = heat_balance(rise, current, ambient_temperature_k, conductor, air)
        # In logarithms heat lost over heat gained is close to a straight line of the rise, so the
        # iteration comes home from any start.
        lost = balance.imbalance_w_per_m + balance.gained_w_per_m
        slope = (
            balance.imbalance_slope_w_per_mk
            - balance.imbalance_w_per_m * balance.gained_slope_per_k
        ) / lost
        step = np.log(lost / balance.gained_w_per_m) / (slope * rise)
        rise = rise * np.exp(np.clip(-step, -3.0, 3.0))
        residual = float(np.max(np.abs(step)))
        if residual < RELATIVE_TOLERANCE:
            settled = heat_balance(rise, current, ambient_temperature_k, conductor, air)
            return SteadyTemperature(settled.conductor_temperature_k, rise, iteration, residual)
    raise _not_converged(residual)


def _resistance(conductor: InsulatedConductor, temperature_k: Number) -> Number:
    return resistance_at_temperature_ohm_per_m(
        conductor.resistance_20c_ohm_per_m,
        conductor.temperature_coefficient_20c_per_k,
        temperature_k,
    )


def _not_converged(residual: float) -> EngineeringError:
    return EngineeringError(
        "heat_balance_not_converged",
        f"the heat balance did not settle in {GREATEST_ITERATIONS} steps; "
        "the current is beyond what the conductor can carry in any state: lower it",
        iterations=GREATEST_ITERATIONS,
        residual=residual,
    )
