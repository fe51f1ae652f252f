"""Sound pressure of loudspeakers, safe listening time and impedance of equal voice coils."""

from loomwright.engineering.audio.levels import power_level_db, voltage_level_db
from loomwright.engineering.elementwise import greater
from loomwright.engineering.network.operating_point import Number

EXPOSURE_LIMIT_DB = 85.0
EXPOSURE_LIMIT_S = 8.0 * 3600.0
EXPOSURE_EXCHANGE_DB = 3.0
LEAST_EXPOSURE_LEVEL_DB = 80.0
GREATEST_EXPOSURE_LEVEL_DB = 140.0


def sound_pressure_level_in_free_field_db(
    sensitivity_db: Number, power_w: Number, distance_m: Number
) -> Number:
    """Return the sound pressure level on the axis of loudspeakers in a free field.

    Valid out of doors or in an anechoic room, in the far field (farther than a few times the size
    of the diaphragm) and below power compression. In a cabin it is a guide only: boundaries raise
    the bass by more than 10 dB, and power compression takes a few dB at rated power. For several
    loudspeakers of one sensitivity that share the power, their powers are added, which holds for
    sounds that are not in step; close together and in step at low frequencies they reach more.

    Parameters
    ----------
    sensitivity_db
        Level at 1 W and 1 m [dB re 20 uPa].
    power_w
        Total electrical power [W], above 0.
    distance_m
        Distance from the loudspeakers [m], above 0.

    Returns
    -------
    float or ndarray
        Sound pressure level [dB re 20 uPa].

    Notes
    -----
    ``L = S + 10 log10(P / 1 W) - 20 log10(d / 1 m)``.

    References
    ----------
    IEC 60268-5 characteristic sensitivity level (memory); spherical spreading.
    """
    return sensitivity_db + power_level_db(power_w) - voltage_level_db(distance_m)


def permitted_exposure_s(sound_pressure_level_db: Number) -> Number:
    """Return the time per day that a level may be heard without protection.

    For A-weighted levels at work; an unweighted level of bass gives a shorter, safer time. Between
    80 and 140 dB; below 80 dB the time at 80 dB is returned, above 140 dB none.

    Parameters
    ----------
    sound_pressure_level_db
        Level at the ear [dB re 20 uPa].

    Returns
    -------
    float or ndarray
        Time per day [s].

    Notes
    -----
    ``T = 8 h * 2**((85 - L) / 3)``.

    References
    ----------
    NIOSH 98-126 recommended exposure limit, section 1.1 (memory).
    """
    level = greater(sound_pressure_level_db, LEAST_EXPOSURE_LEVEL_DB)
    time = EXPOSURE_LIMIT_S * 2.0 ** ((EXPOSURE_LIMIT_DB - level) / EXPOSURE_EXCHANGE_DB)
    return time * (level <= GREATEST_EXPOSURE_LEVEL_DB)


def impedance_in_series_ohm(coil_impedance_ohm: Number, coils: Number) -> Number:
    """Return the impedance of equal voice coils in series.

    Nominal impedances; each coil then takes an equal share of the power.

    Parameters
    ----------
    coil_impedance_ohm
        Nominal impedance of one coil [ohm], above 0.
    coils
        Number of coils [1], 1 or more.

    Returns
    -------
    float or ndarray
        Nominal impedance of the group [ohm].
    """
    return coil_impedance_ohm * coils


def impedance_in_parallel_ohm(coil_impedance_ohm: Number, coils: Number) -> Number:
    """Return the impedance of equal voice coils in parallel.

    Nominal impedances; each coil then takes an equal share of the power.

    Parameters
    ----------
    coil_impedance_ohm
        Nominal impedance of one coil [ohm], above 0.
    coils
        Number of coils [1], 1 or more.

    Returns
    -------
    float or ndarray
        Nominal impedance of the group [ohm].
    """
    return coil_impedance_ohm / coils
