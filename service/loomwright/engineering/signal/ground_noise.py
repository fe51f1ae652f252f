"""Noise that a difference of ground potentials puts into a signal input."""

import math

from loomwright.engineering.elementwise import greater
from loomwright.engineering.network.operating_point import Number

LOW, AUDIBLE, SEVERE = "low", "audible", "severe"
NOT_JUDGED = "not_judged"
NOISE_VERDICTS = (LOW, AUDIBLE, SEVERE, NOT_JUDGED)


def ground_potential_v(current_a: Number, resistance_ohm: Number) -> Number:
    """Return the potential of a device's ground against the common point of the grounds.

    Parameters
    ----------
    current_a
        Return current of the device [A], 0 or more.
    resistance_ohm
        Of its ground path [ohm], 0 or more.

    Returns
    -------
    float or ndarray
        Potential [V].
    """
    return current_a * resistance_ohm


def shield_current_a(
    difference_v: Number, shield_resistance_ohm: Number, ground_resistance_ohm: Number
) -> Number:
    """Return the current that a shield grounded at both ends carries.

    Parameters
    ----------
    difference_v
        Between the grounds without the shield [V].
    shield_resistance_ohm
        Of the shield with its plugs [ohm], above 0.
    ground_resistance_ohm
        Of both ground paths together [ohm], 0 or more; 0 gives the greatest current.

    Returns
    -------
    float or ndarray
        Current [A], 0 or more.
    """
    magnitude_v = greater(difference_v, -difference_v)
    return magnitude_v / (shield_resistance_ohm + ground_resistance_ohm)


def interference_v(
    difference_v: Number, shield_resistance_ohm: Number, ground_resistance_ohm: Number
) -> Number:
    """Return the voltage that a grounded input takes for signal.

    The shield is the return of the signal, so that the drop of the ground current in it adds to
    the signal. Inner conductor and input impedance take no part.

    Parameters
    ----------
    difference_v
        Between the grounds without the shield [V].
    shield_resistance_ohm
        Of the shield with its plugs [ohm], above 0.
    ground_resistance_ohm
        Of both ground paths together [ohm], 0 or more; 0 takes the whole difference.

    Returns
    -------
    float or ndarray
        Voltage at the input [V], 0 or more.

    Notes
    -----
    ``U Rs / (Rs + Rg)``.
    """
    return shield_resistance_ohm * shield_current_a(
        difference_v, shield_resistance_ohm, ground_resistance_ohm
    )


def rejected_v(voltage_v: Number, rejection_db: Number) -> Number:
    """Return what common-mode rejection leaves of a voltage.

    Parameters
    ----------
    voltage_v
        In both conductors alike [V].
    rejection_db
        Of a differential input or a transformer [dB], 0 or more.

    Returns
    -------
    float or ndarray
        Voltage that is left [V].
    """
    return voltage_v * 10.0 ** (-rejection_db / 20.0)


def noise_verdict(below_signal_db: float, audible_db: float, severe_db: float) -> str:
    """Return how noise at a level below the signal is judged.

    Parameters
    ----------
    below_signal_db
        Greatest signal over noise [dB]; infinite without noise.
    audible_db
        Less than this is audible [dB].
    severe_db
        Less than this is severe [dB], below ``audible_db``.

    Returns
    -------
    str
        ``low``, ``audible`` or ``severe``; a threshold itself belongs to the better side.
    """
    if below_signal_db < severe_db:
        return SEVERE
    return AUDIBLE if below_signal_db < audible_db else LOW


def signal_over_noise_db(signal_v: float, noise_v: float) -> float:
    """Return how far noise lies below a signal.

    Parameters
    ----------
    signal_v
        Greatest signal voltage [V], above 0.
    noise_v
        Noise voltage [V], 0 or more.

    Returns
    -------
    float
        Level [dB]; infinite without noise.
    """
    return math.inf if noise_v == 0.0 else 20.0 * math.log10(signal_v / noise_v)
