"""Levels of feeds at inputs against the range of the gain."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.signal.feeds import Feed, planned_take_off
from loomwright.engineering.signal.input_level import input_level
from signal_paths import connection, figures, signal_input, speaker_output, take_off


def level(output=None, at=None, **changes):
    used = figures()
    feed = planned_take_off(output or take_off(output_impedance_ohm=0.0), used).feed
    return input_level(connection(**changes), feed, at or signal_input(), used)


def keys(remarks):
    return [entry.key for entry in remarks]


def test_a_level_in_range_tells_the_gain():
    found = level()
    # 2 V of 0.2 V to 4 V: 20 log10 2 above the least gain, 20 log10 10 left, of 20 log10 20.
    assert found.verdict == "in_range"
    assert (found.voltage_v, found.setting_voltage_v) == (2.0, 2.0)
    assert found.gain_above_least_db == pytest.approx(6.0206, abs=1e-4)
    assert found.gain_left_db == pytest.approx(20.0, rel=1e-12)
    assert found.gain_range_db == pytest.approx(26.0206, abs=1e-4)
    assert found.clips_at_source_level_db == 0.0
    assert (found.ratio_least, found.ratio_greatest) == (0.5, pytest.approx(10.0))
    assert (found.impedance_ohm, found.range_assumed) == (10_000.0, False)
    assert found.changes == found.needed == ()


def test_input_loads_the_output():
    # 10 kohm of 12.5 kohm.
    assert level(take_off(output_impedance_ohm=2500.0)).voltage_v == pytest.approx(1.6, rel=1e-12)


def test_overlap_lowers_the_setting():
    found = level(gain_overlap_db=20.0)
    assert (found.voltage_v, found.setting_voltage_v) == (2.0, pytest.approx(0.2, rel=1e-12))
    assert found.clips_at_source_level_db == -20.0
    assert found.gain_left_db == pytest.approx(0.0, abs=1e-9)
    assert found.verdict == "in_range"


@pytest.mark.parametrize(
    ("volts", "verdict"),
    [
        (0.1999, "below_range"),
        (0.2, "in_range"),
        (4.0, "in_range"),
        (4.001, "above_range"),
    ],
)
def test_ends_of_the_range_belong_to_it(volts, verdict):
    output = take_off(greatest_voltage_v=volts, output_impedance_ohm=0.0)
    assert level(output).verdict == verdict


@pytest.mark.parametrize(
    ("volts", "stated"),
    [
        (1.0 - 1e-9, {"least_voltage_v": 1.0}),
        (1.0 + 1e-9, {"greatest_voltage_v": 1.0}),
        (1.0 + 1e-9, {"overload_voltage_v": 1.0}),
    ],
)
def test_what_rounding_may_miss_belongs_to_the_range(volts, stated):
    # A ratio of one and no overlap leave the voltage as it is, to the last digit.
    output = take_off(greatest_voltage_v=volts)
    assert level(output, signal_input(**stated), converter_ratio=1.0).verdict == "in_range"


def test_what_is_too_low_needs_a_driver():
    found = level(take_off(greatest_voltage_v=0.1, output_impedance_ohm=0.0))
    assert keys(found.needed) == ["line_driver"]
    # 0.2 V over 0.1 V.
    assert found.needed[0].text.startswith("A line driver of at least 6.0 dB;")
    assert found.needed[0].at == "amplifier"
    assert found.gain_left_db == pytest.approx(-6.0206, abs=1e-4)


def test_what_is_too_high_needs_an_attenuator():
    found = level(take_off(greatest_voltage_v=10.0, output_impedance_ohm=0.0))
    assert keys(found.needed) == ["attenuator"]
    assert found.needed[0].text == (
        "An attenuator of 2.5 to 1 up to 50 to 1; the least ratio is the quietest."
    )
    assert found.gain_above_least_db == pytest.approx(-7.9588, abs=1e-4)


def test_converter_divides_the_voltage_under_load():
    found = level(speaker_output(), converter_ratio=5.0, isolated=True)
    assert (found.verdict, found.voltage_v) == ("in_range", 2.0)
    assert found.changes == found.needed == ()


def test_speaker_level_at_a_line_input_needs_a_converter_whatever_its_voltage():
    found = level(speaker_output())
    assert found.verdict == "converter_needed"
    assert keys(found.needed) == ["line_output_converter"]
    assert found.needed[0].text == (
        "A line output converter of 2.5 to 1 up to 50 to 1 with a floating input; the least ratio "
        "is the quietest."
    )
    assert found.changes == ()
    weak = level(speaker_output(greatest_power_w=0.25, bridged=False))
    # 1 V lies in the range itself, so that the converter need not divide.
    assert weak.needed[0].text.startswith("A line output converter of 1 to 1 up to 5 to 1;")
    faint = level(speaker_output(greatest_power_w=0.0025, bridged=False))
    assert faint.needed[0].text.startswith("A line output converter of 1 to 1, and gain behind it;")


@pytest.mark.parametrize(
    ("output", "at", "changes", "refused"),
    [
        (speaker_output(), signal_input(level_kind="speaker_level"), {}, True),
        (speaker_output(), signal_input(), {"converter_ratio": 5.0}, True),
        (speaker_output(), signal_input(), {"converter_ratio": 5.0, "isolated": True}, False),
        (speaker_output(bridged=False), signal_input(level_kind="speaker_level"), {}, False),
        (
            speaker_output(),
            signal_input(level_kind="speaker_level", reference="differential"),
            {},
            False,
        ),
    ],
    ids=["grounded", "converter", "isolated", "not-bridged", "differential"],
)
def test_bridged_output_meets_no_ground(output, at, changes, refused):
    found = level(output, at, **changes)
    assert keys(found.changes) == (["bridged_output_grounded"] if refused else [])


def test_attenuator_of_a_bridged_output_floats():
    at = signal_input(level_kind="speaker_level", reference="differential")
    assert "50 to 1 with a floating input" in level(speaker_output(), at).needed[0].text


def test_speaker_input_takes_a_speaker_output_directly():
    at = signal_input(
        level_kind="speaker_level",
        reference="differential",
        least_voltage_v=1.0,
        greatest_voltage_v=20.0,
    )
    found = level(speaker_output(), at)
    assert (found.verdict, found.voltage_v) == ("in_range", 10.0)


@pytest.mark.parametrize(("overload", "verdict"), [(2.0, "in_range"), (1.9, "input_overloaded")])
def test_overload_is_refused_whatever_the_gain(overload, verdict):
    found = level(at=signal_input(overload_voltage_v=overload))
    assert found.verdict == verdict
    assert found.ratio_least == pytest.approx(2.0 / overload, rel=1e-12)


def test_overload_below_the_least_voltage_costs_full_output():
    found = level(at=signal_input(overload_voltage_v=0.1))
    assert found.needed[0].text == "An attenuator of at least 20 to 1; full output is lost."


def test_overload_at_the_least_voltage_leaves_one_ratio():
    # 2 V over 0.2 V both ways.
    found = level(at=signal_input(overload_voltage_v=0.2))
    assert found.needed[0].text.startswith("An attenuator of 10 to 1 up to 10 to 1;")


@pytest.mark.parametrize(("least_v", "greatest_ratio"), [(10.0, "1"), (8.0, "1.25")])
def test_converter_divides_as_far_as_full_output_is_reached(least_v, greatest_ratio):
    # 10 V over the least voltage of the input.
    at = signal_input(least_voltage_v=least_v, greatest_voltage_v=20.0)
    text = level(speaker_output(bridged=False), at).needed[0].text
    assert text.startswith(f"A line output converter of 1 to 1 up to {greatest_ratio} to 1;")


def test_overload_goes_with_a_level_that_is_too_low_for_the_gain():
    found = level(
        take_off(greatest_voltage_v=0.15, output_impedance_ohm=0.0),
        signal_input(overload_voltage_v=0.1),
    )
    assert found.verdict == "input_overloaded"


def test_input_without_a_range_has_that_of_the_standard():
    used = figures()
    at = signal_input(least_voltage_v=None, greatest_voltage_v=None, impedance_ohm=None)
    feed = planned_take_off(take_off(), used).feed
    found = input_level(connection(), feed, at, used)
    assert (found.least_voltage_v, found.greatest_voltage_v) == (0.2, 2.0)
    assert (found.impedance_ohm, found.range_assumed) == (22_000.0, True)
    assert set(used.used) == {
        "line_input_least_v",
        "line_input_greatest_v",
        "line_input_impedance_ohm",
    }


def test_feed_of_no_voltage_has_no_gain_to_tell():
    found = input_level(
        connection(), Feed("sum", "line_level", 0.0, 0.0, False, "a"), signal_input(), figures()
    )
    assert found.verdict == "below_range"
    assert (found.gain_above_least_db, found.gain_left_db) == (0.0, 0.0)
    assert found.needed[0].text.startswith("A line driver of at least 0.0 dB;")


@given(st.floats(0.001, 150.0), st.floats(0.0, 20.0))
def test_least_ratio_brings_a_hot_level_to_the_end_of_the_range(volts, overlap):
    found = level(
        take_off(greatest_voltage_v=volts, output_impedance_ohm=0.0), gain_overlap_db=overlap
    )
    for ratio in (found.ratio_least, found.ratio_greatest):
        again = level(
            take_off(greatest_voltage_v=volts, output_impedance_ohm=0.0),
            gain_overlap_db=overlap,
            converter_ratio=ratio,
        )
        assert again.verdict == "in_range"
    spread = found.gain_above_least_db + found.gain_left_db
    assert spread == pytest.approx(found.gain_range_db, abs=1e-9)
