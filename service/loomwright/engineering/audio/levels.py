"""Levels in decibels and the crest factor of a programme."""

from loomwright.engineering.elementwise import decimal_logarithm
from loomwright.engineering.network.operating_point import Number

SINE_CREST_FACTOR_DB = 3.010299956639812
DBU_REFERENCE_V = 0.6**0.5


def power_level_db(power_ratio: Number) -> Number:
    """Return the level of a ratio of two powers.

    Parameters
    ----------
    power_ratio
        Power over reference power [1], above 0.

    Returns
    -------
    float or ndarray
        Level [dB].

    References
    ----------
    IEC 60027-3 level of a power quantity, ``10 log10(P / P0)``.
    """
    return 10.0 * decimal_logarithm(power_ratio)


def voltage_level_db(voltage_ratio: Number) -> Number:
    """Return the level of a ratio of two voltages.

    Parameters
    ----------
    voltage_ratio
        Voltage over reference voltage [1], above 0.

    Returns
    -------
    float or ndarray
        Level [dB].

    References
    ----------
    IEC 60027-3 level of a root-power quantity, ``20 log10(V / V0)``.
    """
    return 20.0 * decimal_logarithm(voltage_ratio)


def voltage_at_dbv_v(level_dbv: Number) -> Number:
    """Return the voltage of a level against 1 V.

    Parameters
    ----------
    level_dbv
        Level against 1 V [dB].

    Returns
    -------
    float or ndarray
        Voltage, root mean square [V].
    """
    return 10.0 ** (level_dbv / 20.0)


def voltage_at_dbu_v(level_dbu: Number) -> Number:
    """Return the voltage of a level against that of 1 mW in 600 ohm.

    Parameters
    ----------
    level_dbu
        Level against 0.7746 V [dB].

    Returns
    -------
    float or ndarray
        Voltage, root mean square [V].
    """
    return DBU_REFERENCE_V * 10.0 ** (level_dbu / 20.0)


def crest_factor_db(peak_v: Number, rms_v: Number) -> Number:
    """Return the crest factor of a signal.

    Parameters
    ----------
    peak_v
        Greatest absolute voltage [V], above 0.
    rms_v
        Root mean square voltage [V], above 0 and at most the peak.

    Returns
    -------
    float or ndarray
        Peak over root mean square as a level [dB]: a sine has 3.01 dB.
    """
    return voltage_level_db(peak_v / rms_v)


def programme_power_fraction(crest_factor_db: Number) -> Number:
    """Return the mean power of a programme whose peaks just reach those of a full sine.

    Valid for a programme that is not clipped by the amplifier, so for a crest factor at or above
    that of a sine. The programme's peaks and the sine's peaks touch the same voltage.

    Parameters
    ----------
    crest_factor_db
        Peak over root mean square of the programme [dB], at least 3.01.

    Returns
    -------
    float or ndarray
        Mean power over the power of the full sine [1], above 0 and at most 1.

    Notes
    -----
    ``f = 10**((3.0103 - CF) / 10)``. A crest factor of 12 dB gives 0.126, within 0.05 dB of the
    1/8 that IEC 60065, IEC 62368-1 and 16 CFR 432.3(c) use.
    """
    return 10.0 ** ((SINE_CREST_FACTOR_DB - crest_factor_db) / 10.0)
