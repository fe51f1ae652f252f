"""Geometry and resistance of conductors."""

import math

import numpy as np
import numpy.typing as npt

from loomwright.engineering.errors import EngineeringError
from loomwright.tables.records import ConductorSize, Material

Array = npt.NDArray[np.float64]
Number = float | Array

REFERENCE_TEMPERATURE_K = 293.15
AWG_DIAMETER_AT_36_M = 0.127e-3
AWG_RATIO = 92.0
STRANDING_FACTOR = 1.02


def awg_diameter_m(gauge: Number) -> Number:
    """Return the diameter of a solid round wire of a gauge number.

    Gauge 1/0 is the number 0, 2/0 is -1, 3/0 is -2, 4/0 is -3.

    Parameters
    ----------
    gauge
        Number of the gauge [1], -3 to 36.

    Returns
    -------
    float or ndarray
        Diameter [m].

    Notes
    -----
    ``d = 0.127 mm * 92**((36 - n) / 39)``.

    References
    ----------
    ASTM B258-18, clause on the geometric progression of diameters.
    """
    return AWG_DIAMETER_AT_36_M * AWG_RATIO ** ((36.0 - gauge) / 39.0)


def round_cross_section_m2(diameter_m: Number) -> Number:
    """Return the cross-section of a round solid conductor.

    Parameters
    ----------
    diameter_m
        Diameter [m], above 0.

    Returns
    -------
    float or ndarray
        Cross-section [m2].
    """
    return 0.25 * math.pi * diameter_m * diameter_m


def resistance_at_temperature_ohm_per_m(
    resistance_20c_ohm_per_m: Number,
    temperature_coefficient_20c_per_k: Number,
    conductor_temperature_k: Number,
) -> Number:
    """Return the resistance per metre of a conductor at its temperature.

    Straight line, valid for copper and aluminium from -50 C to about 300 C.

    Parameters
    ----------
    resistance_20c_ohm_per_m
        Resistance at 20 C [ohm/m], above 0.
    temperature_coefficient_20c_per_k
        Coefficient at 20 C [1/K]: 0.00393 for copper.
    conductor_temperature_k
        Conductor temperature [K].

    Returns
    -------
    float or ndarray
        Resistance [ohm/m].

    References
    ----------
    IEC 60028:1925; the same line as the temperature correction of FAA AC 43.13-1B, 11-66 d (4).
    """
    rise = conductor_temperature_k - REFERENCE_TEMPERATURE_K
    return resistance_20c_ohm_per_m * (1.0 + temperature_coefficient_20c_per_k * rise)


def resistance_from_section_ohm_per_m(
    cross_section_m2: Number, resistivity_20c_ohm_m: Number, stranding_factor: Number
) -> Number:
    """Return the resistance per metre at 20 C from the cross-section.

    Parameters
    ----------
    cross_section_m2
        Metallic cross-section [m2], above 0.
    resistivity_20c_ohm_m
        Resistivity at 20 C [ohm m].
    stranding_factor
        Length of a strand over length of the conductor [1]: 1 for solid, 1.02 for stranded.

    Returns
    -------
    float or ndarray
        Resistance at 20 C [ohm/m].

    References
    ----------
    ASTM B8, the 2 % increment for concentric stranding; NEC Chapter 9 Table 8 shows the same ratio.
    """
    return resistivity_20c_ohm_m * stranding_factor / cross_section_m2


def resistance_20c_ohm_per_m(size: ConductorSize, material: Material, copper: Material) -> float:
    """Return the resistance per metre at 20 C of one size in one material.

    The series' own standard where it prints the material. Where it prints copper only, a clad
    or other metal is the copper limit times the ratio of resistivities: equal section and
    stranding.
    Where it prints nothing, the cross-section with a stranding factor of 1.02.

    Parameters
    ----------
    size
        Size of a series.
    material
        Material of the conductor.
    copper
        The record of bare copper, the base of the ratio.

    Returns
    -------
    float
        Resistance at 20 C [ohm/m].
    """
    listed = size.resistance_20c_ohm_per_m
    if material.key in listed:
        return listed[material.key]
    if copper.key in listed:
        return listed[copper.key] * material.resistivity_20c_ohm_m / copper.resistivity_20c_ohm_m
    return float(
        resistance_from_section_ohm_per_m(
            size.cross_section_m2, material.resistivity_20c_ohm_m, STRANDING_FACTOR
        )
    )


def temperature_coefficient_20c_per_k(size: ConductorSize, material: Material) -> float:
    """Return the coefficient that the series' standard prints, else the material's own [1/K]."""
    return size.temperature_coefficients_20c_per_k.get(
        material.key, material.temperature_coefficient_20c_per_k
    )


def cross_section_for_voltage_drop_m2(
    current_a: Number,
    length_there_and_back_m: Number,
    voltage_drop_v: Number,
    resistivity_ohm_m: Number,
) -> Number:
    """Return the least cross-section that keeps a voltage drop.

    Steady direct current, both ways of one section, resistivity at working temperature.

    Parameters
    ----------
    current_a
        Load current [A], 0 or more.
    length_there_and_back_m
        Length of both ways together [m], above 0.
    voltage_drop_v
        Allowed drop [V], above 0.
    resistivity_ohm_m
        Resistivity [ohm m]; 1.7871e-8 is the K of 10.75 ohm cmil/ft of ABYC E-11.

    Returns
    -------
    float or ndarray
        Cross-section [m2].

    References
    ----------
    ABYC E-11, conductor sizing formula ``CM = K I L / E``.
    """
    return resistivity_ohm_m * current_a * length_there_and_back_m / voltage_drop_v


def smallest_size_with_section(
    sizes: tuple[ConductorSize, ...], cross_section_m2: float
) -> ConductorSize:
    """Return the smallest size of a series with at least a cross-section.

    Parameters
    ----------
    sizes
        Sizes of one series, rising.
    cross_section_m2
        Wanted cross-section [m2].

    Returns
    -------
    ConductorSize
        The first size that is large enough.

    Raises
    ------
    EngineeringError
        ``no_size_large_enough`` where the greatest size is too small.
    """
    for size in sizes:
        if size.cross_section_m2 >= cross_section_m2:
            return size
    raise EngineeringError(
        "no_size_large_enough",
        f"the greatest listed size, {sizes[-1].key}, is thinner than the section asked for; "
        "use runs in parallel or a thicker series",
        field="cross_section_m2",
        value=cross_section_m2,
        limit=sizes[-1].cross_section_m2,
    )
