"""What an amplifier puts out into a load, from outputs that its maker states at some loads."""

from itertools import pairwise
from math import sqrt
from typing import Literal, NamedTuple

# How the output into a load is known.
Basis = Literal["stated", "interpolated", "voltage_held_above", "voltage_held_below"]
# Stated loads nearer than this to one another are one load.
SAME_LOAD = 1e-3


class StatedOutput(NamedTuple):
    """Output [W] into a load [ohm] of one channel, or of a bridged pair."""

    load_impedance_ohm: float
    power_w: float
    bridged: bool = False


class ChannelOutput(NamedTuple):
    """Output voltage [V], r.m.s., of one channel into a load [ohm] of that channel."""

    load_impedance_ohm: float
    voltage_v: float


def channel_outputs(stated: tuple[StatedOutput, ...]) -> tuple[ChannelOutput, ...]:
    """Return stated outputs as voltages of one channel, by rising load impedance.

    Two channels bridged into one load stand in opposite phase, so that each drives half of the
    impedance and gives half of the power. Of several outputs stated for one load of a channel the
    least is taken.

    Parameters
    ----------
    stated
        Impedances [ohm] and powers [W], above 0.

    Returns
    -------
    tuple of ChannelOutput
        One for each load.

    Notes
    -----
    ``U = sqrt(P * Z)``; bridged, ``U = sqrt(P/2 * Z/2)``.

    References
    ----------
    Joule's and Ohm's laws on the nominal impedance as a resistance; IEC 60268-3, rated output
    power (memory).
    """
    found: list[ChannelOutput] = []
    for entry in sorted(
        (impedance / (2.0 if bridged else 1.0), power / (2.0 if bridged else 1.0))
        for impedance, power, bridged in stated
    ):
        output = ChannelOutput(entry[0], sqrt(entry[0] * entry[1]))
        if not found or not _is_same_load(found[-1].load_impedance_ohm, entry[0]):
            found.append(output)
        elif output.voltage_v < found[-1].voltage_v:
            found[-1] = output
    return tuple(found)


def channel_voltage_v(
    load_impedance_ohm: float, outputs: tuple[ChannelOutput, ...]
) -> tuple[float, Basis]:
    """Return the output voltage of one channel into a load, and how it is known.

    Between two stated loads the channel is a source of fixed voltage with an internal resistance
    that meets both. Above the greatest stated load its voltage is held, as the supply ends it; the
    real one is a little higher. Below the least stated load the voltage is held as well, which is
    the most that it can be: the real one sags, and the current can be limited.

    Parameters
    ----------
    load_impedance_ohm
        That the channel drives [ohm], above 0.
    outputs
        From ``channel_outputs``; one or more.

    Returns
    -------
    tuple of float and str
        Voltage [V], r.m.s., and basis.

    Notes
    -----
    ``U = E Z / (Z + R)``, hence ``1/U = 1/E + (R/E) / Z``: a straight line in ``1/Z``.

    References
    ----------
    Thevenin's theorem.
    """
    for output in outputs:
        if _is_same_load(output.load_impedance_ohm, load_impedance_ohm):
            return output.voltage_v, "stated"
    if load_impedance_ohm < outputs[0].load_impedance_ohm:
        return outputs[0].voltage_v, "voltage_held_below"
    if load_impedance_ohm > outputs[-1].load_impedance_ohm:
        return outputs[-1].voltage_v, "voltage_held_above"
    below, above = neighbours_of(load_impedance_ohm, outputs)
    share = (1.0 / load_impedance_ohm - 1.0 / above.load_impedance_ohm) / (
        1.0 / below.load_impedance_ohm - 1.0 / above.load_impedance_ohm
    )
    return 1.0 / (share / below.voltage_v + (1.0 - share) / above.voltage_v), "interpolated"


def neighbours_of(
    load_impedance_ohm: float, outputs: tuple[ChannelOutput, ...]
) -> tuple[ChannelOutput, ChannelOutput]:
    """Return the stated outputs next below and next above a load that lies between two."""
    place = next(
        place
        for place, output in enumerate(outputs)
        if output.load_impedance_ohm > load_impedance_ohm
    )
    return outputs[place - 1], outputs[place]


def voltage_falls_with_load(outputs: tuple[ChannelOutput, ...]) -> bool:
    """Tell whether a stated voltage is lower at a higher impedance, which no source does.

    The output then more than doubles where the load is halved.
    """
    return any(
        above.voltage_v < below.voltage_v * (1.0 - SAME_LOAD) for below, above in pairwise(outputs)
    )


def _is_same_load(first_ohm: float, second_ohm: float) -> bool:
    return abs(first_ohm - second_ohm) <= SAME_LOAD * first_ohm
