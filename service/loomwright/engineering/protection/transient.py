"""Heating of an insulated conductor in time: one lump of metal that loses heat to its ambient.

``C' dT/dt = I**2 R'(T) - q'(T)`` per metre. The metal's heat capacity always counts; of the
insulation's the share ``insulation_share`` counts. The share is 0 unless asked for: in the first
seconds the heat has not yet reached the insulation, and later, leaving it out heats the model
sooner than the conductor, which is the safe side for damage as well as for intermittent duty.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.heat import (
    InsulatedConductor,
    insulation_resistance_km_per_w,
    surface_heat_flow_w_per_m,
)
from loomwright.engineering.conductors.resistance import (
    resistance_20c_ohm_per_m,
    resistance_at_temperature_ohm_per_m,
    temperature_coefficient_20c_per_k,
)
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.records import Air, ConductorSize, Insulation, Material

Array = npt.NDArray[np.float64]
Number = float | Array

HEAT_LOSS_POINTS = 65
CELLS = 16
GREATEST_MODELLED_TEMPERATURE_K = 633.15


@dataclass(frozen=True, slots=True, eq=False)
class LumpedConductor:
    """One metre of insulated conductor at one ambient, in SI.

    Parameters
    ----------
    cross_section_m2
        Of the metal [m2].
    resistance_20c_ohm_per_m
        At 20 C [ohm/m].
    temperature_coefficient_20c_per_k
        Of that resistance [1/K].
    metal_heat_capacity_j_per_mk
        Heat capacity of one metre of metal [J/(m K)].
    insulation_heat_capacity_j_per_mk
        Heat capacity of one metre of insulation, the whole of it [J/(m K)].
    insulation_share
        Share of the insulation's heat capacity that is counted [1], 0 to 1.
    ambient_temperature_k
        Air and surroundings [K].
    temperature_rating_k, overload_temperature_k, short_circuit_temperature_k
        Of the insulation: continuous, for hours, for seconds [K].
    heat_loss_temperatures_k
        Conductor temperatures at which the heat loss is given [K], rising from ambient.
    heat_loss_w_per_m
        Heat loss at those temperatures [W/m], rising from 0.
    """

    cross_section_m2: float
    resistance_20c_ohm_per_m: float
    temperature_coefficient_20c_per_k: float
    metal_heat_capacity_j_per_mk: float
    insulation_heat_capacity_j_per_mk: float
    insulation_share: float
    ambient_temperature_k: float
    temperature_rating_k: float
    overload_temperature_k: float
    short_circuit_temperature_k: float
    heat_loss_temperatures_k: Array
    heat_loss_w_per_m: Array

    @property
    def heat_capacity_j_per_mk(self) -> float:
        """Heat capacity that is counted [J/(m K)]."""
        counted = self.insulation_share * self.insulation_heat_capacity_j_per_mk
        return self.metal_heat_capacity_j_per_mk + counted


@dataclass(frozen=True, slots=True)
class HeatingTime:
    """Time to reach a temperature [s]; infinite where ``reached`` is false."""

    time_s: Array
    reached: npt.NDArray[np.bool_]


@lru_cache(maxsize=1024)
def lumped_conductor_in_air(
    size: ConductorSize,
    material: Material,
    insulation: Insulation,
    copper: Material,
    air: Air,
    ambient_temperature_k: float,
) -> LumpedConductor:
    """Return the lump of one listed conductor alone in still air.

    The last few combinations are kept, as the same ones serve most requests.

    Parameters
    ----------
    size
        Listed size.
    material
        Metal of the conductor.
    insulation
        Compound with its limits.
    copper
        Record of bare copper, the base of the resistance of clad metals.
    air
        Table of air properties.
    ambient_temperature_k
        Ambient [K], below the insulation rating.

    Returns
    -------
    LumpedConductor
        With no share of the insulation's heat capacity counted.

    Raises
    ------
    EngineeringError
        ``ambient_above_insulation_rating``.
    """
    if ambient_temperature_k >= insulation.temperature_rating_k:
        raise EngineeringError(
            "ambient_above_insulation_rating",
            f"Ambient {ambient_temperature_k:.1f} K is not below the insulation rating of "
            f"{insulation.temperature_rating_k:.1f} K; choose an insulation with a higher rating.",
            field="ambient_temperature_k",
            value=ambient_temperature_k,
            limit=insulation.temperature_rating_k,
        )
    resistance = resistance_20c_ohm_per_m(size, material, copper)
    coefficient = temperature_coefficient_20c_per_k(size, material)
    heated = InsulatedConductor(
        outside_diameter_m=size.outside_diameter_m,
        insulation_resistance_km_per_w=insulation_resistance_km_per_w(
            size.conductor_diameter_m,
            size.outside_diameter_m,
            insulation.thermal_resistivity_km_per_w,
        ),
        emissivity=insulation.emissivity,
        resistance_20c_ohm_per_m=resistance,
        temperature_coefficient_20c_per_k=coefficient,
    )
    limit = min(insulation.short_circuit_temperature_k, GREATEST_MODELLED_TEMPERATURE_K)
    # Written in the surface rise, heat flow and conductor temperature need no solver.
    rise = np.linspace(0.0, limit - ambient_temperature_k, HEAT_LOSS_POINTS)
    flow, _ = surface_heat_flow_w_per_m(rise, ambient_temperature_k, heated, air)
    temperatures = ambient_temperature_k + rise + flow * heated.insulation_resistance_km_per_w
    wall_m2 = 0.25 * np.pi * (size.outside_diameter_m**2 - size.conductor_diameter_m**2)
    return LumpedConductor(
        cross_section_m2=size.cross_section_m2,
        resistance_20c_ohm_per_m=resistance,
        temperature_coefficient_20c_per_k=coefficient,
        metal_heat_capacity_j_per_mk=size.cross_section_m2
        * material.volumetric_heat_capacity_j_per_m3k,
        insulation_heat_capacity_j_per_mk=float(wall_m2)
        * insulation.volumetric_heat_capacity_j_per_m3k,
        insulation_share=0.0,
        ambient_temperature_k=ambient_temperature_k,
        temperature_rating_k=insulation.temperature_rating_k,
        overload_temperature_k=insulation.overload_temperature_k,
        short_circuit_temperature_k=limit,
        heat_loss_temperatures_k=temperatures,
        heat_loss_w_per_m=flow,
    )


def van_wormer_share(conductor_diameter_m: Number, outside_diameter_m: Number) -> Number:
    """Return the share of the insulation's heat capacity that moves with the conductor.

    Slow heating, with a logarithmic temperature profile across the wall.

    Parameters
    ----------
    conductor_diameter_m
        Over the strands [m], above 0.
    outside_diameter_m
        Over the insulation [m], above the conductor diameter.

    Returns
    -------
    float or ndarray
        Share [1], between 0 and 0.5.

    Notes
    -----
    ``p = 1 / (2 ln(D / d)) - 1 / ((D / d)**2 - 1)``.

    References
    ----------
    Van Wormer (1955), AIEE Transactions 74:277; IEC 60853-2:1989, clause 4.2.4 (memory).
    """
    ratio = np.asarray(outside_diameter_m, float) / conductor_diameter_m
    return 0.5 / np.log(ratio) - 1.0 / (ratio * ratio - 1.0)


def heat_loss_w_per_m(conductor: LumpedConductor, conductor_temperature_k: Number) -> Array:
    """Return the heat that the lump loses at a temperature.

    Straight lines between the given points.

    Parameters
    ----------
    conductor
        The conductor at its ambient.
    conductor_temperature_k
        Between ambient and the last given point [K].

    Returns
    -------
    ndarray
        Heat loss [W/m].
    """
    return np.asarray(
        np.interp(
            conductor_temperature_k,
            conductor.heat_loss_temperatures_k,
            conductor.heat_loss_w_per_m,
        )
    )


def steady_current_a(conductor: LumpedConductor, conductor_temperature_k: Number) -> Array:
    """Return the current that holds the lump at a temperature.

    Parameters
    ----------
    conductor
        The conductor at its ambient.
    conductor_temperature_k
        Above ambient, up to the short-circuit limit [K].

    Returns
    -------
    ndarray
        Current [A].

    Notes
    -----
    ``I**2 R'(T) = q'(T)``.
    """
    resistance = resistance_at_temperature_ohm_per_m(
        conductor.resistance_20c_ohm_per_m,
        conductor.temperature_coefficient_20c_per_k,
        conductor_temperature_k,
    )
    return np.asarray(np.sqrt(heat_loss_w_per_m(conductor, conductor_temperature_k) / resistance))


def with_ampacity(conductor: LumpedConductor, ampacity_a: float) -> LumpedConductor:
    """Return the same conductor with its heat loss cut to agree with a lower ampacity.

    A bundle, or a published figure below the heat balance, means that the conductor loses less
    heat than it does alone in free air. A higher figure changes nothing: the lower governs.

    Parameters
    ----------
    conductor
        The conductor alone.
    ampacity_a
        Continuous current that governs at the insulation rating [A], above 0.

    Returns
    -------
    LumpedConductor
        With all heat losses scaled by ``min(1, (ampacity / own ampacity)**2)``.
    """
    own = float(steady_current_a(conductor, conductor.temperature_rating_k))
    scale = min(1.0, (ampacity_a / own) ** 2)
    return replace(conductor, heat_loss_w_per_m=conductor.heat_loss_w_per_m * scale)


def time_to_temperature_s(
    conductor: LumpedConductor,
    current_a: Number,
    final_temperature_k: float,
    initial_temperature_k: float | None = None,
) -> HeatingTime:
    """Return the time in which a constant current heats the lump to a temperature.

    Parameters
    ----------
    conductor
        The conductor at its ambient.
    current_a
        Constant current [A], 0 or more; an array gives an array.
    final_temperature_k
        Temperature to reach [K], above the initial one, up to the short-circuit limit.
    initial_temperature_k
        Conductor temperature at the start [K], not below ambient; the insulation rating if none.

    Returns
    -------
    HeatingTime
        Time [s] and whether the temperature is reached at all.

    Raises
    ------
    EngineeringError
        ``temperature_outside_model``.

    Notes
    -----
    ``t = integral C dT / (I**2 R(T) - q(T))`` over ``CELLS`` cells. Inside a cell the net heat is
    a straight line in T, so the cell adds ``C dT ln(p1 / p0) / (p1 - p0)`` exactly; for q = 0 the
    sum is the adiabatic equation. The temperature is never reached where the net heat falls to 0
    on the way.
    """
    initial = (
        conductor.temperature_rating_k if initial_temperature_k is None else initial_temperature_k
    )
    last = float(conductor.heat_loss_temperatures_k[-1])
    if not conductor.ambient_temperature_k <= initial < final_temperature_k <= last:
        raise EngineeringError(
            "temperature_outside_model",
            f"Heating from {initial:.1f} K to {final_temperature_k:.1f} K is outside ambient to "
            f"{last:.1f} K, or does not rise.",
            field="final_temperature_k",
            value=final_temperature_k,
            limit=last,
        )
    nodes = np.linspace(initial, final_temperature_k, CELLS + 1)
    resistance = resistance_at_temperature_ohm_per_m(
        conductor.resistance_20c_ohm_per_m, conductor.temperature_coefficient_20c_per_k, nodes
    )
    squared = np.square(np.asarray(current_a, float))[..., np.newaxis]
    net = squared * resistance - heat_loss_w_per_m(conductor, nodes)
    reached = np.all(net > 0.0, axis=-1)
    net = np.where(reached[..., np.newaxis], net, 1.0)
    step = np.diff(net, axis=-1)
    lower = net[..., :-1]
    relative = step / lower
    # ln(1 + x) / x tends to 1 - x / 2 where the net heat hardly changes across the cell.
    level = np.abs(relative) < 1e-9
    safe = np.where(level, 1.0, relative)
    mean = np.where(level, 1.0 - 0.5 * relative, np.log1p(safe) / safe) / lower
    width = (final_temperature_k - initial) / CELLS
    total = conductor.heat_capacity_j_per_mk * width * mean.sum(axis=-1)
    return HeatingTime(time_s=np.where(reached, total, np.inf), reached=reached)
