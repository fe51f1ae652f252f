"""Adiabatic heating of a conductor by a short-circuit current, and melting currents.

All functions take floats or arrays of any broadcastable shape, in coherent SI.
"""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Number = float | Array

KELVIN_AT_0_C = 273.15
COPPER_MELTING_TEMPERATURE_K = 1083.0 + KELVIN_AT_0_C
SQUARE_METRES_PER_CIRCULAR_MIL = 0.25 * np.pi * 25.4e-6**2
ONDERDONK_COPPER_BETA_K = 234.0
ONDERDONK_DIVISOR = 33.0

_METRES_PER_INCH = 0.0254
PREECE_CONSTANTS_A_PER_M15 = {
    metal: constant / _METRES_PER_INCH**1.5
    for metal, constant in {
        "copper": 10244.0,
        "aluminium": 7585.0,
        "iron": 3148.0,
        "tin": 1642.0,
        "lead": 1379.0,
    }.items()
}


def adiabatic_constant(
    resistivity_20c_ohm_m: Number, volumetric_heat_capacity_j_per_m3k: Number, beta_k: Number
) -> Number:
    """Return the constant K of a conductor metal.

    Resistance rises in a straight line with temperature; heat capacity does not change.

    Parameters
    ----------
    resistivity_20c_ohm_m
        Resistivity at 20 C [ohm m], above 0.
    volumetric_heat_capacity_j_per_m3k
        Heat capacity by volume at 20 C [J/(m3 K)], above 0.
    beta_k
        Reciprocal of the temperature coefficient at 0 C [K], above 0; 234.5 for copper.

    Returns
    -------
    float or ndarray
        K [A s^0.5/m2]; 1e6 times the figure in A s^0.5/mm2.

    Notes
    -----
    ``K = sqrt(sigma_c (beta + 20) / rho_20)``.

    References
    ----------
    IEC 60949:1988, clause 3 and Table I.
    """
    return np.sqrt(volumetric_heat_capacity_j_per_m3k * (beta_k + 20.0) / resistivity_20c_ohm_m)


def adiabatic_k(
    constant: Number, beta_k: Number, initial_temperature_k: Number, final_temperature_k: Number
) -> Number:
    """Return the factor k of a conductor between two temperatures.

    No heat leaves the metal: valid up to about 5 s, on the safe side beyond.

    Parameters
    ----------
    constant
        K of the metal [A s^0.5/m2], from ``adiabatic_constant``.
    beta_k
        Reciprocal of the temperature coefficient at 0 C [K].
    initial_temperature_k
        Conductor temperature when the fault begins [K].
    final_temperature_k
        Greatest permitted conductor temperature [K], not below the initial one.

    Returns
    -------
    float or ndarray
        k [A s^0.5/m2].

    Notes
    -----
    ``k = K sqrt(ln((theta_f + beta) / (theta_i + beta)))`` with theta in Celsius.

    References
    ----------
    IEC 60949:1988, clause 3; IEC 60364-4-43:2008, Table 43A.
    """
    offset = beta_k - KELVIN_AT_0_C
    ratio = (final_temperature_k + offset) / (initial_temperature_k + offset)
    return constant * np.sqrt(np.log(ratio))


def least_section_m2(current_a: Number, duration_s: Number, k: Number) -> Number:
    """Return the least cross-section that withstands a fault.

    Adiabatic: durations up to about 5 s.

    Parameters
    ----------
    current_a
        Fault current [A], 0 or more.
    duration_s
        Time until the fault is cleared [s], 0 or more.
    k
        Factor of metal and insulation [A s^0.5/m2], above 0.

    Returns
    -------
    float or ndarray
        Cross-section [m2].

    Notes
    -----
    ``S = sqrt(I**2 t) / k``.

    References
    ----------
    IEC 60364-4-43:2008, 434.5.2; BS 7671, 543.1.3.
    """
    return current_a * np.sqrt(duration_s) / k


def withstand_time_s(current_a: Number, cross_section_m2: Number, k: Number) -> Number:
    """Return how long a conductor withstands a fault current.

    Adiabatic: results up to about 5 s; longer results are on the safe side.

    Parameters
    ----------
    current_a
        Fault current [A], above 0.
    cross_section_m2
        Cross-section of the metal [m2], above 0.
    k
        Factor of metal and insulation [A s^0.5/m2], above 0.

    Returns
    -------
    float or ndarray
        Time [s].

    Notes
    -----
    ``t = (k S / I)**2``.

    References
    ----------
    IEC 60364-4-43:2008, 434.5.2.
    """
    return (k * cross_section_m2 / current_a) ** 2


def _onderdonk_factor(initial_temperature_k: Number) -> Number:
    """Return ``I**2 t / S**2`` at the melting of copper [A2 s/m4]."""
    rise = COPPER_MELTING_TEMPERATURE_K - initial_temperature_k
    above_zero_resistance = initial_temperature_k - KELVIN_AT_0_C + ONDERDONK_COPPER_BETA_K
    decades = np.log10(rise / above_zero_resistance + 1.0)
    return decades / (ONDERDONK_DIVISOR * SQUARE_METRES_PER_CIRCULAR_MIL**2)


def onderdonk_current_a(
    cross_section_m2: Number, duration_s: Number, initial_temperature_k: Number
) -> Number:
    """Return the current that melts a copper conductor in a given time.

    Adiabatic: durations up to about 10 s. This is the end of the conductor, not a limit for use.

    Parameters
    ----------
    cross_section_m2
        Cross-section of the copper [m2], above 0.
    duration_s
        Time to melting [s], above 0.
    initial_temperature_k
        Conductor temperature at the start [K], below 1356.15 K.

    Returns
    -------
    float or ndarray
        Current [A].

    Notes
    -----
    ``I = A sqrt(log10((1083 - Ta) / (234 + Ta) + 1) / (33 t))`` with A in circular mils and Ta in
    Celsius. The sum ``234 + Ta`` is due; some pages print a difference.

    References
    ----------
    I. M. Onderdonk, as given by E. R. Stauffacher, "Short-time current carrying capacity of copper
    wire", General Electric Review 31 (1928).
    """
    return cross_section_m2 * np.sqrt(_onderdonk_factor(initial_temperature_k) / duration_s)


def onderdonk_time_s(
    cross_section_m2: Number, current_a: Number, initial_temperature_k: Number
) -> Number:
    """Return the time in which a current melts a copper conductor.

    Adiabatic: results up to about 10 s.

    Parameters
    ----------
    cross_section_m2
        Cross-section of the copper [m2], above 0.
    current_a
        Current [A], above 0.
    initial_temperature_k
        Conductor temperature at the start [K], below 1356.15 K.

    Returns
    -------
    float or ndarray
        Time [s].

    References
    ----------
    As ``onderdonk_current_a``, solved for the time.
    """
    return _onderdonk_factor(initial_temperature_k) * (cross_section_m2 / current_a) ** 2


def preece_current_a(diameter_m: Number, constant_a_per_m15: Number) -> Number:
    """Return the steady current that melts a bare wire in open air.

    Long bare wires in still air; a rough rule of the 1880s.

    Parameters
    ----------
    diameter_m
        Diameter of the wire [m], above 0.
    constant_a_per_m15
        Constant of the metal [A/m^1.5], see ``PREECE_CONSTANTS_A_PER_M15``.

    Returns
    -------
    float or ndarray
        Current [A].

    Notes
    -----
    ``I = C d**1.5``.

    References
    ----------
    W. H. Preece, Proceedings of the Royal Society 36 (1884) and 44 (1888).
    """
    return constant_a_per_m15 * np.power(diameter_m, 1.5)


def preece_diameter_m(current_a: Number, constant_a_per_m15: Number) -> Number:
    """Return the diameter of a bare wire that melts at a steady current.

    Long bare wires in still air.

    Parameters
    ----------
    current_a
        Current [A], 0 or more.
    constant_a_per_m15
        Constant of the metal [A/m^1.5], see ``PREECE_CONSTANTS_A_PER_M15``.

    Returns
    -------
    float or ndarray
        Diameter [m].

    References
    ----------
    As ``preece_current_a``, solved for the diameter.
    """
    return np.power(current_a / constant_a_per_m15, 2.0 / 3.0)
