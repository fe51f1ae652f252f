"""Output of the DC-DC converter that charges the low-voltage battery of a hybrid or electric."""

from loomwright.engineering.record import record

CONVERTER_LIMIT = "converter_limit"


@record
class Converter:
    """A DC-DC converter from the high-voltage battery.

    Parameters
    ----------
    rated_current_a
        Greatest continuous output current [A], above 0.
    available_share
        Share of it that heat and the maker leave for use, above 0 and at most 1.
    efficiency
        Output power over input power, above 0 and at most 1.
    set_voltage_v
        Output voltage [V], above 0.
    """

    rated_current_a: float
    available_share: float
    efficiency: float
    set_voltage_v: float


def rated_current_of_power_a(rated_power_w: float, set_voltage_v: float) -> float:
    """Return the greatest output current of a converter that is rated by power.

    Parameters
    ----------
    rated_power_w
        Greatest continuous output power [W], above 0.
    set_voltage_v
        Output voltage [V], above 0.

    Returns
    -------
    float
        Current [A].
    """
    return rated_power_w / set_voltage_v


def converter_output_a(converter: Converter) -> float:
    """Return what a converter gives continuously, at any speed of the vehicle.

    Parameters
    ----------
    converter
        The converter.

    Returns
    -------
    float
        Current [A].
    """
    return converter.available_share * converter.rated_current_a


def converter_input_w(converter: Converter, output_a: float) -> float:
    """Return what a converter takes from the high-voltage battery.

    Parameters
    ----------
    converter
        The converter.
    output_a
        Its output current [A], 0 or more.

    Returns
    -------
    float
        Power [W]; that of its greatest output where more is asked for.

    Notes
    -----
    ``U I / efficiency``.
    """
    current_a = min(output_a, converter_output_a(converter))
    return converter.set_voltage_v * current_a / converter.efficiency
