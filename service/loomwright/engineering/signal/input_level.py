"""The level of a feed at an input, against the range of its gain."""

from dataclasses import dataclass

from loomwright.engineering.audio.levels import voltage_level_db
from loomwright.engineering.signal.feeds import Feed
from loomwright.engineering.signal.path import (
    GROUNDED,
    LINE_LEVEL,
    SPEAKER_LEVEL,
    Connection,
    Figures,
    Remark,
    SignalInput,
)
from loomwright.engineering.signal.voltages import loaded_voltage_v

IN_RANGE, ABOVE_RANGE, BELOW_RANGE = "in_range", "above_range", "below_range"
INPUT_OVERLOADED, CONVERTER_NEEDED = "input_overloaded", "converter_needed"
LEVEL_VERDICTS = (IN_RANGE, ABOVE_RANGE, BELOW_RANGE, INPUT_OVERLOADED, CONVERTER_NEEDED)
# A ratio that is made to reach a bound may miss it by the last digit.
_RANGE_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class InputLevel:
    """Level at one input.

    ``setting_voltage_v`` is the input voltage that shall just give full output: that of the source
    at its greatest, less the overlap. ``gain_above_least_db`` is how far gain is turned up from its
    least, ``gain_left_db`` how far it can go on. Ratios are those of a further converter: between
    ``ratio_least`` and ``ratio_greatest`` the level lies in the range.
    """

    verdict: str
    voltage_v: float
    setting_voltage_v: float
    least_voltage_v: float
    greatest_voltage_v: float
    impedance_ohm: float
    range_assumed: bool
    gain_range_db: float
    gain_above_least_db: float
    gain_left_db: float
    clips_at_source_level_db: float
    ratio_least: float
    ratio_greatest: float
    changes: tuple[Remark, ...]
    needed: tuple[Remark, ...]


def input_level(
    connection: Connection, feed: Feed, stated: SignalInput, figures: Figures
) -> InputLevel:
    """Return the level of a feed at an input, with the gain that it needs.

    Parameters
    ----------
    connection
        With a converter if there is one; its ratio holds under the load of the input.
    feed
        At its greatest voltage.
    stated
        The input; without a range that of a line input by the table.
    figures
        Figures of the tables.

    Returns
    -------
    InputLevel
        With what must change and what is needed.
    """
    least = figures.stated_or(stated.least_voltage_v, "line_input_least_v")
    greatest = figures.stated_or(stated.greatest_voltage_v, "line_input_greatest_v")
    impedance = figures.stated_or(stated.impedance_ohm, "line_input_impedance_ohm")
    if connection.converter_ratio is None:
        volts = float(loaded_voltage_v(feed.open_voltage_v, feed.output_impedance_ohm, impedance))
    else:
        volts = feed.open_voltage_v / connection.converter_ratio
    setting = volts * 10.0 ** (-connection.gain_overlap_db / 20.0)
    overload = stated.overload_voltage_v
    ratio_least = max(setting / greatest, volts / overload if overload else 0.0)
    verdict = _verdict(connection, feed, stated, setting / least, setting / greatest)
    if verdict in (IN_RANGE, BELOW_RANGE) and overload and volts > overload * (1.0 + _RANGE_SLACK):
        verdict = INPUT_OVERLOADED
    return InputLevel(
        verdict=verdict,
        voltage_v=volts,
        setting_voltage_v=setting,
        least_voltage_v=least,
        greatest_voltage_v=greatest,
        impedance_ohm=impedance,
        range_assumed=stated.least_voltage_v is None,
        gain_range_db=float(voltage_level_db(greatest / least)),
        gain_above_least_db=_level(greatest, setting),
        gain_left_db=_level(setting, least),
        clips_at_source_level_db=0.0 - connection.gain_overlap_db,
        ratio_least=ratio_least,
        ratio_greatest=setting / least,
        changes=_changes(connection, feed, stated, verdict),
        needed=_needed(verdict, feed, stated.key, ratio_least, setting / least),
    )


def _level(over_v: float, under_v: float) -> float:
    # A sum that cancels has no level; it is refused elsewhere.
    return float(voltage_level_db(over_v / under_v)) if over_v and under_v else 0.0


def _verdict(
    connection: Connection,
    feed: Feed,
    stated: SignalInput,
    over_least: float,
    over_greatest: float,
) -> str:
    unconverted = connection.converter_ratio is None
    if unconverted and feed.level_kind == SPEAKER_LEVEL and stated.level_kind == LINE_LEVEL:
        return CONVERTER_NEEDED
    if over_greatest > 1.0 + _RANGE_SLACK:
        return ABOVE_RANGE
    return BELOW_RANGE if over_least < 1.0 - _RANGE_SLACK else IN_RANGE


def _changes(
    connection: Connection, feed: Feed, stated: SignalInput, verdict: str
) -> tuple[Remark, ...]:
    if not feed.bridged or connection.isolated or stated.reference != GROUNDED:
        return ()
    if verdict == CONVERTER_NEEDED:
        return ()  # the converter that is needed has a floating input
    return (
        Remark(
            "bridged_output_grounded",
            stated.key,
            "Both terminals of a bridged output carry signal: a grounded input shorts one of them. "
            "Use a differential input or a converter with a floating input.",
        ),
    )


def _needed(
    verdict: str, feed: Feed, at: str, ratio_least: float, ratio_greatest: float
) -> tuple[Remark, ...]:
    if verdict == IN_RANGE:
        return ()
    if verdict == BELOW_RANGE:
        gain_db = float(voltage_level_db(1.0 / ratio_greatest)) if ratio_greatest else 0.0
        text = f"A line driver of at least {gain_db:.1f} dB; without it full output is not reached."
        return (Remark("line_driver", at, text),)
    floating = " with a floating input" if feed.bridged else ""
    if ratio_greatest < ratio_least:
        # The input clips before it gives full output, whatever the ratio.
        text = f"An attenuator of at least {ratio_least:.3g} to 1{floating}; full output is lost."
        return (Remark("attenuator", at, text),)
    least = max(ratio_least, 1.0)
    span = f"{least:.3g} to 1 up to {ratio_greatest:.3g} to 1"
    if verdict == CONVERTER_NEEDED:
        if ratio_greatest < 1.0:
            span = "1 to 1, and gain behind it"
        text = f"A line output converter of {span}{floating}; the least ratio is the quietest."
        return (Remark("line_output_converter", at, text),)
    text = f"An attenuator of {span}{floating}; the least ratio is the quietest."
    return (Remark("attenuator", at, text),)
