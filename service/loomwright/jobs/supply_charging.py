"""Reading of what charges a battery: alternator or converter, and the voltage it holds."""

from itertools import pairwise

from loomwright.engineering.supply.alternator import (
    Alternator,
    OutputCurve,
    designation_of,
    output_curve_of,
)
from loomwright.engineering.supply.converter import Converter, rated_current_of_power_a
from loomwright.jobs.supply_defaults import NOMINAL_BATTERY_V, Defaults, one_of
from loomwright.pricing.reading import ObjectReader

SECONDS_PER_MINUTE = 60.0
# Set voltage and designation over system voltage; 16 V of 12 V is the most that equipment bears.
LEAST_SET_SHARE, GREATEST_SET_SHARE = 1.0, 1.34


def set_voltage(reader: ObjectReader, system_v: float, defaults: Defaults) -> float:
    """Return the voltage that the charging source holds [V]; the usual one unless stated."""
    if not reader.has("set_voltage"):
        return defaults.factor("rating_voltage_v") * system_v / NOMINAL_BATTERY_V
    before = len(reader.faults)
    set_v = reader.number("set_voltage")
    if len(reader.faults) == before and not _fits(system_v, set_v):
        reader.fault(
            "set_voltage",
            f"From {LEAST_SET_SHARE * system_v:g} to {GREATEST_SET_SHARE * system_v:g} V fits "
            f"a {system_v:g} V system.",
        )
    return set_v


def alternator_from_reader(
    reader: ObjectReader, system_v: float, set_v: float, defaults: Defaults
) -> Alternator:
    """Return the alternator that an object states; a stand-in where anything is wrong."""
    idle, cruise = _per_s(reader, "idle_speed"), _per_s(reader, "cruise_speed")
    if cruise < idle:
        reader.fault("cruise_speed", "It lies below idle_speed.")
    if reader.has("greatest_idle_speed"):
        greatest = _per_s(reader, "greatest_idle_speed")
        if greatest < idle:
            reader.fault("greatest_idle_speed", "It lies below idle_speed.")
    else:
        greatest = max(idle, defaults.factor("greatest_idle_rpm") / SECONDS_PER_MINUTE)
    share = (
        reader.number("hot_output_percent")
        if reader.has("hot_output_percent")
        else defaults.factor("hot_output_percent")
    )
    return Alternator(
        curve=_output_curve(reader, system_v, defaults),
        pulley_ratio=reader.number("pulley_ratio"),
        hot_output_share=share / 100.0,
        set_voltage_v=set_v,
        idle_speed_per_s=idle,
        cruise_speed_per_s=cruise,
        greatest_idle_speed_per_s=greatest,
    )


def converter_from_reader(reader: ObjectReader, set_v: float, defaults: Defaults) -> Converter:
    """Return the converter that an object states; a stand-in where anything is wrong."""
    one_of(reader, "greatest_current", "greatest_power")
    current_a = reader.optional_number("greatest_current")
    power_w = reader.optional_number("greatest_power")
    if current_a is None:
        current_a = rated_current_of_power_a(power_w or 0.0, set_v)
    efficiency = (
        reader.number("efficiency_percent")
        if reader.has("efficiency_percent")
        else defaults.factor("converter_efficiency_percent")
    )
    return Converter(
        rated_current_a=current_a,
        available_share=reader.number("available_output_percent") / 100.0,
        efficiency=efficiency / 100.0,
        set_voltage_v=set_v,
    )


def _output_curve(reader: ObjectReader, system_v: float, defaults: Defaults) -> OutputCurve:
    if not one_of(reader, "designation", "output_curve"):
        return ()
    if reader.has("output_curve"):
        return _points(reader)
    text = reader.text("designation")
    stated = designation_of(text)
    if stated is None:
        reader.fault("designation", "A designation such as 70/140A 13.5V is needed.")
        return ()
    if stated.rated_current_a < stated.low_speed_current_a:
        reader.fault("designation", "The rated current lies below that at the low speed.")
    if not _fits(system_v, stated.test_voltage_v):
        reader.fault("designation", f"Its test voltage does not fit a {system_v:g} V system.")
    return output_curve_of(
        stated,
        defaults.factor("low_speed_rpm") / SECONDS_PER_MINUTE,
        defaults.factor("rated_speed_rpm") / SECONDS_PER_MINUTE,
    )


def _points(reader: ObjectReader) -> OutputCurve:
    readers = reader.objects("output_curve")
    points = [(_per_s(item, "alternator_speed"), item.number("output_current")) for item in readers]
    for item, (before, after) in zip(readers[1:], pairwise(points), strict=True):
        if after[0] <= before[0]:
            item.fault("alternator_speed", "The speeds do not rise.")
        if after[1] < before[1]:
            item.fault("output_current", "The output falls with the speed.")
    return tuple(points)


def _fits(system_v: float, voltage_v: float) -> bool:
    return LEAST_SET_SHARE <= voltage_v / system_v <= GREATEST_SET_SHARE


def _per_s(reader: ObjectReader, name: str) -> float:
    return reader.number(name) / SECONDS_PER_MINUTE
