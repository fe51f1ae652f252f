"""What a supply rail allows, what an amplifier draws and what it turns into heat."""

from dataclasses import dataclass

from loomwright.engineering.elementwise import holds_anywhere, lesser, square_root
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network.operating_point import Number
from loomwright.tables.audio_records import AmplifierClass

CTA_2006_SUPPLY_VOLTAGE_V = 14.4
CTA_2006_LOAD_IMPEDANCE_OHM = 4.0
# Rounding of a full-power figure computed twice may lift the drive level this far above 1.
DRIVE_LEVEL_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class LossModel:
    """Loss of an amplifier over drive level, in fractions of its full sine output.

    ``loss / full = idle + square_root * sqrt(x) + proportional * x`` at the power fraction ``x``.
    """

    idle: Number
    square_root: Number
    proportional: Number


def loss_model(amplifier_class: AmplifierClass, efficiency: Number) -> LossModel:
    """Return the loss of a class over drive level, fitted to its efficiency at full sine output.

    A simple stated model, not a measurement. It passes exactly through the given efficiency at full
    output. A linear stage draws its load current from a fixed rail, so that all draw but the idle
    draw follows the square root of the power: with no idle draw this is class B, with nothing but
    idle draw class A. A switching stage takes the load's power itself; its loss above idle is split
    between a part that follows the current (switching, rectifiers) and one that follows the power
    (resistance). Where the fixed idle share would exceed all loss at full output it is cut to it.

    Parameters
    ----------
    amplifier_class
        Stage, idle share of the full draw and split of the rest.
    efficiency
        At full sine output [1], above 0 and at most the theoretical maximum of the class.

    Returns
    -------
    LossModel
        Coefficients [1].

    Notes
    -----
    ``draw / full = i + m x + (1 / eta - i - m) (s sqrt(x) + (1 - s) x)`` with ``m`` 0 for a linear
    and 1 for a switching stage; loss is draw less ``x``.

    References
    ----------
    Sedra and Smith, Microelectronic Circuits, output stages: class B draw (formula); idle share and
    split are common practice, no source.
    """
    delivered = 1.0 if amplifier_class.delivers_from_supply else 0.0
    split = amplifier_class.square_root_share
    above_delivered = 1.0 / efficiency - delivered
    idle = lesser(amplifier_class.idle_share / efficiency, above_delivered)
    rest = above_delivered - idle
    return LossModel(
        idle=idle,
        square_root=split * rest,
        proportional=(1.0 - split) * rest + (delivered - 1.0),
    )


def heat_w(model: LossModel, output_w: Number, full_output_w: Number) -> Number:
    """Return the heat that an amplifier has to get rid of.

    A sine of the same power stands for the programme. For class B and AB on noise or music this
    errs to the high side, by at most 13 %, since their draw follows the mean, not the root mean
    square, of the current.

    Parameters
    ----------
    model
        Loss over drive level.
    output_w
        Mean output [W], 0 to ``full_output_w``.
    full_output_w
        Output on a full sine [W], above 0.

    Returns
    -------
    float or ndarray
        Heat [W].

    Raises
    ------
    EngineeringError
        ``drive_above_full`` where the output exceeds the full output; the model ends there.
    """
    if holds_anywhere(output_w > full_output_w * (1.0 + DRIVE_LEVEL_SLACK)):
        raise EngineeringError(
            "drive_above_full",
            "The mean output exceeds the full sine output, where the loss model ends; give a mean"
            " output of at most the full output.",
            field="output_w",
            value=output_w,
            limit=full_output_w,
        )
    return (
        model.idle * full_output_w
        + model.square_root * square_root(output_w * full_output_w)
        + model.proportional * output_w
    )


def input_power_w(model: LossModel, output_w: Number, full_output_w: Number) -> Number:
    """Return the power that an amplifier draws.

    Valid as ``heat_w`` is.

    Parameters
    ----------
    model
        Loss over drive level.
    output_w
        Mean output [W], 0 to ``full_output_w``.
    full_output_w
        Output on a full sine [W], above 0.

    Returns
    -------
    float or ndarray
        Input power [W], output plus heat.

    Raises
    ------
    EngineeringError
        ``drive_above_full`` where the output exceeds the full output.
    """
    return output_w + heat_w(model, output_w, full_output_w)


def efficiency_at_drive(model: LossModel, power_fraction: Number) -> Number:
    """Return the efficiency at a drive level.

    Valid as ``heat_w`` is.

    Parameters
    ----------
    model
        Loss over drive level.
    power_fraction
        Output over full sine output [1], above 0 and at most 1.

    Returns
    -------
    float or ndarray
        Efficiency [1].

    Raises
    ------
    EngineeringError
        ``drive_above_full`` where the fraction exceeds 1.

    Notes
    -----
    For class B at its theoretical maximum this is ``(pi / 4) sqrt(P / Pmax)``.
    """
    return power_fraction / input_power_w(model, power_fraction, 1.0)


def supply_current_a(output_w: Number, efficiency: Number, supply_voltage_v: Number) -> Number:
    """Return the mean supply current at an output.

    Parameters
    ----------
    output_w
        Output [W], 0 or more.
    efficiency
        Whole amplifier at this output [1], above 0 and at most 1.
    supply_voltage_v
        At the amplifier, under load [V], above 0.

    Returns
    -------
    float or ndarray
        Current [A].

    Notes
    -----
    ``I = P / (eta U)``.
    """
    return output_w / (efficiency * supply_voltage_v)


def rail_limited_output_w(
    supply_voltage_v: Number, load_impedance_ohm: Number, *, bridged: bool
) -> Number:
    """Return the greatest sine output of one channel whose rail is the supply itself.

    Lossless output stage without a converter, resistive load, onset of clipping. A bridge swings
    the load by the whole supply either way; a half bridge with a coupling capacitor by half of it.

    Parameters
    ----------
    supply_voltage_v
        At the amplifier, under load [V], above 0.
    load_impedance_ohm
        Nominal impedance of the channel's load [ohm], above 0.
    bridged
        Whether the load hangs between two output stages in opposite phase.

    Returns
    -------
    float or ndarray
        Output of one channel [W].

    Notes
    -----
    Bridge ``U**2 / (2 R)``, half bridge ``U**2 / (8 R)``.
    """
    return supply_voltage_v * supply_voltage_v / ((2.0 if bridged else 8.0) * load_impedance_ohm)


def rail_limited_square_wave_output_w(
    supply_voltage_v: Number, load_impedance_ohm: Number, *, bridged: bool
) -> Number:
    """Return the square-wave output of one channel whose rail is the supply itself.

    The figure behind many a printed "maximum" of head units; no music reaches it undistorted.

    Parameters
    ----------
    supply_voltage_v
        At the amplifier, under load [V], above 0.
    load_impedance_ohm
        Nominal impedance of the channel's load [ohm], above 0.
    bridged
        Whether the load hangs between two output stages in opposite phase.

    Returns
    -------
    float or ndarray
        Output of one channel [W], twice that of the sine.
    """
    return 2.0 * rail_limited_output_w(supply_voltage_v, load_impedance_ohm, bridged=bridged)


def rerated_output_w(
    output_w: Number,
    voltage_ratio: Number,
    impedance_ratio: Number,
    *,
    rail_follows_supply: bool,
) -> Number:
    """Return an output re-rated to another supply voltage and load impedance.

    Voltage-limited output at the same clipping. Without a converter, or with an unregulated one,
    the rail follows the supply; a regulated converter holds the rail, and the supply voltage then
    changes nothing. Limits of current (fuse, protection) are not in it.

    Parameters
    ----------
    output_w
        Output at the old conditions [W], 0 or more.
    voltage_ratio
        New supply voltage over old [1], above 0.
    impedance_ratio
        Old load impedance over new [1], above 0.
    rail_follows_supply
        Whether the output stage's rail is proportional to the supply voltage.

    Returns
    -------
    float or ndarray
        Output at the new conditions [W].

    Notes
    -----
    ``P2 = P1 (U2 / U1)**2 (R1 / R2)``; without the voltage term for a regulated converter.
    """
    follows = voltage_ratio * voltage_ratio if rail_follows_supply else 1.0
    return output_w * follows * impedance_ratio


def gain_setting_voltage_v(output_w: Number, load_impedance_ohm: Number) -> Number:
    """Return the voltage across a channel's load at an output, the target when gain is set.

    Sine, root mean square, nominal impedance; measured with the load off or on.

    Parameters
    ----------
    output_w
        Output of the channel [W], 0 or more.
    load_impedance_ohm
        Nominal impedance of the channel's load [ohm], above 0.

    Returns
    -------
    float or ndarray
        Voltage, root mean square [V].

    Notes
    -----
    ``V = sqrt(P R)``.
    """
    return square_root(output_w * load_impedance_ohm)
