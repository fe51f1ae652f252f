"""Signal voltages: what a load leaves of them, and what sums of them give."""

import math
from collections.abc import Sequence

from loomwright.engineering.network.operating_point import Number

E12_SERIES = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
# A quotient of two decimals may miss a member of the series by the last digit.
_SERIES_SLACK = 1e-9


def loaded_voltage_v(
    open_voltage_v: Number, output_impedance_ohm: Number, input_impedance_ohm: Number
) -> Number:
    """Return the voltage that an input leaves of the open-circuit voltage of an output.

    Both impedances are taken as resistances.

    Parameters
    ----------
    open_voltage_v
        Without load, root mean square [V], 0 or more.
    output_impedance_ohm
        Of the output [ohm], 0 or more.
    input_impedance_ohm
        Of the input [ohm], above 0.

    Returns
    -------
    float or ndarray
        At the input [V].

    Notes
    -----
    Voltage divider ``V Zi / (Zi + Zo)``.
    """
    return open_voltage_v * input_impedance_ohm / (input_impedance_ohm + output_impedance_ohm)


def correlated_sum_v(voltages_v: Sequence[float]) -> float:
    """Return the sum of voltages of one and the same signal.

    Parameters
    ----------
    voltages_v
        Each, root mean square; negative where its polarity is turned [V].

    Returns
    -------
    float
        Root mean square of the sum, 0 or more [V]. Two equal voltages give 6.02 dB more than one.
    """
    return abs(math.fsum(voltages_v))


def uncorrelated_sum_v(voltages_v: Sequence[float]) -> float:
    """Return the sum of voltages of independent signals.

    Parameters
    ----------
    voltages_v
        Each, root mean square [V].

    Returns
    -------
    float
        Root mean square of the sum [V]. Two equal voltages give 3.01 dB more than one.

    Notes
    -----
    Powers add: ``V = sqrt(V1**2 + V2**2 + ...)``.
    """
    return math.hypot(*voltages_v)


def passive_sum_parts_v(
    voltages_v: Sequence[float], resistances_ohm: Sequence[float], load_ohm: float
) -> tuple[float, ...]:
    """Return what each source contributes where resistors join them at one input.

    Parameters
    ----------
    voltages_v
        Open-circuit voltage of each source [V].
    resistances_ohm
        Of the output with the resistor behind it, one for each source [ohm], above 0.
    load_ohm
        Impedance of the input [ohm], above 0.

    Returns
    -------
    tuple of float
        Voltage at the input by each source alone [V]; superposition makes the sum of them.

    Notes
    -----
    Millman: ``V = (V1 / R1 + V2 / R2 + ...) / (1 / R1 + 1 / R2 + ... + 1 / Z)``.
    """
    conductance = math.fsum([1.0 / load_ohm, *(1.0 / ohm for ohm in resistances_ohm)])
    return tuple(
        volts / (ohm * conductance) for volts, ohm in zip(voltages_v, resistances_ohm, strict=True)
    )


def least_load_of_passive_sum_ohm(resistance_ohm: Number, sources: int) -> Number:
    """Return the least load that a source meets behind one of equal summing resistors.

    The others drive the same voltage the other way, which is the heaviest load that equal voltages
    can make; output impedances and the input only lighten it.

    Parameters
    ----------
    resistance_ohm
        Each summing resistor [ohm], above 0.
    sources
        Number of sources, 2 or more.

    Returns
    -------
    float or ndarray
        Voltage of the source over its current [ohm].

    Notes
    -----
    The node is at ``V (2 - n) / n``, so that ``Z = n R / (2 (n - 1))``; two sources see ``R``.
    """
    return resistance_ohm * sources / (2.0 * (sources - 1))


def least_summing_resistance_ohm(least_load_ohm: Number, sources: int) -> Number:
    """Return the least summing resistor with which no source is loaded too heavily.

    Valid as ``least_load_of_passive_sum_ohm`` is.

    Parameters
    ----------
    least_load_ohm
        Least load that a source may drive [ohm], above 0.
    sources
        Number of sources, 2 or more.

    Returns
    -------
    float or ndarray
        Each summing resistor [ohm].
    """
    return least_load_ohm * 2.0 * (sources - 1) / sources


def preferred_resistance_ohm(least_ohm: float) -> float:
    """Return the least preferred resistance that is not below a value.

    Parameters
    ----------
    least_ohm
        Least value [ohm], above 0.

    Returns
    -------
    float
        Of the series E12 [ohm].

    References
    ----------
    IEC 60063:2015, series E12 (memory).
    """
    decade = 10.0 ** math.floor(math.log10(least_ohm))
    members = [step * decade for step in E12_SERIES] + [10.0 * decade]
    return next(ohm for ohm in members if ohm >= least_ohm * (1.0 - _SERIES_SLACK))
