"""A relay coil: its current, its energy, and what becomes of it when the circuit opens."""

import math

from loomwright.engineering.elementwise import square_root
from loomwright.engineering.network.operating_point import Number


def coil_current_a(voltage_v: Number, coil_resistance_ohm: Number) -> Number:
    """Return the steady current of a coil.

    Parameters
    ----------
    voltage_v
        Across the coil [V], 0 or more.
    coil_resistance_ohm
        Of the winding, cold for the greatest current [ohm], above 0.

    Returns
    -------
    float or ndarray
        Current [A].
    """
    return voltage_v / coil_resistance_ohm


def coil_energy_j(inductance_h: Number, current_a: Number) -> Number:
    """Return the energy in the magnetic field of a coil.

    Constant inductance, so that of the closed armature is on the safe side.

    Parameters
    ----------
    inductance_h
        Of the coil [H], above 0.
    current_a
        Through the coil [A], 0 or more.

    Returns
    -------
    float or ndarray
        Energy [J].

    Notes
    -----
    ``E = L I**2 / 2``.
    """
    return 0.5 * inductance_h * current_a * current_a


def unsuppressed_peak_v(inductance_h: Number, capacitance_f: Number, current_a: Number) -> Number:
    """Return the bound of the voltage across a coil that nothing but stray capacitance suppresses.

    All energy of the field goes into the capacitance; an arc at the contact and losses keep the
    real peak below it.

    Parameters
    ----------
    inductance_h
        Of the coil [H], above 0.
    capacitance_f
        Of winding and lead [F], above 0.
    current_a
        As the circuit opens [A], 0 or more.

    Returns
    -------
    float or ndarray
        Voltage across the coil, against the supply's direction [V].

    Notes
    -----
    ``L I**2 / 2 = C U**2 / 2``, so ``U = I sqrt(L / C)``.
    """
    return current_a * square_root(inductance_h / capacitance_f)


def release_time_s(
    inductance_h: float,
    loop_resistance_ohm: float,
    current_a: float,
    release_current_a: float,
    forward_voltage_v: float = 0.0,
) -> float:
    """Return the time that a coil current needs to fall to the current of release.

    The current flows on through a diode or resistor beside the coil. The movement of the armature
    comes on top.

    Parameters
    ----------
    inductance_h
        Of the coil [H], above 0.
    loop_resistance_ohm
        Of the coil and what stands beside it [ohm], above 0.
    current_a
        As the circuit opens [A], above the current of release.
    release_current_a
        At which the relay surely releases [A], above 0.
    forward_voltage_v
        Constant voltage of a diode in the loop [V], 0 or more.

    Returns
    -------
    float
        Time [s].

    Notes
    -----
    ``L di/dt + R i + Ud = 0``, so ``t = (L / R) ln((I + Ud / R) / (Ir + Ud / R))``.
    """
    offset_a = forward_voltage_v / loop_resistance_ohm
    ratio = (current_a + offset_a) / (release_current_a + offset_a)
    return inductance_h / loop_resistance_ohm * math.log(ratio)
