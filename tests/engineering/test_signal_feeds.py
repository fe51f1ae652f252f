"""Take-offs and sums of signal paths: what they deliver, and what is refused."""

import pytest

from loomwright.engineering.signal.feeds import (
    overloaded_outputs,
    planned_sum,
    planned_take_off,
)
from loomwright.engineering.signal.path import SignalPath
from signal_paths import figures, path, signal_sum, speaker_output, take_off


def summed(stated, *take_offs):
    used = figures()
    return planned_sum(stated, [planned_take_off(entry, used) for entry in take_offs])


def keys(remarks):
    return [entry.key for entry in remarks]


def test_speaker_output_delivers_the_voltage_of_its_power():
    # (25 W x 4 ohm)^0.5 = 10 V.
    feed = planned_take_off(speaker_output(), figures()).feed
    assert feed.open_voltage_v == 10.0
    assert feed.output_impedance_ohm == 0.0
    assert (feed.bridged, feed.level_kind, feed.ground_of) == (True, "speaker_level", "factory")


def test_stated_voltage_goes_before_a_power():
    assert planned_take_off(take_off(), figures()).feed.open_voltage_v == 2.0


def test_line_output_without_impedance_has_that_of_the_standard():
    used = figures()
    feed = planned_take_off(take_off(output_impedance_ohm=None), used).feed
    assert feed.output_impedance_ohm == 2200.0
    assert set(used.used) == {"line_output_impedance_ohm"}


def test_stated_impedance_uses_no_figure_of_the_tables():
    used = figures()
    feed = planned_take_off(take_off(output_impedance_ohm=0.0), used).feed
    assert feed.output_impedance_ohm == 0.0
    assert used.used == {}


def test_output_that_looks_for_a_load_gets_a_resistor_with_reserve():
    # 10 V across 47 ohm are 2.12766 W; twice that is the rating.
    resistor = planned_take_off(speaker_output(detects_open_load=True), figures()).load_resistor
    assert resistor.resistance_ohm == 47.0
    assert resistor.heat_w == pytest.approx(100.0 / 47.0, rel=1e-12)
    assert resistor.least_rating_w == pytest.approx(200.0 / 47.0, rel=1e-12)


def test_stated_load_resistance_is_kept():
    stated = speaker_output(detects_open_load=True, load_resistance_ohm=20.0)
    resistor = planned_take_off(stated, figures()).load_resistor
    assert (resistor.resistance_ohm, resistor.heat_w, resistor.least_rating_w) == (20.0, 5.0, 10.0)


@pytest.mark.parametrize(
    "changes", [{}, {"detects_open_load": True, "loudspeaker_stays": True}], ids=["no", "stays"]
)
def test_no_resistor_where_none_is_looked_for_or_the_loudspeaker_stays(changes):
    assert planned_take_off(speaker_output(**changes), figures()).load_resistor is None


A, B = take_off(key="a"), take_off(key="b", greatest_voltage_v=1.0)


def test_equal_channels_add_in_a_device():
    found = summed(signal_sum("a", "b"), A, B)
    assert found.parts_v == (2.0, 1.0)
    assert (found.sine_voltage_v, found.feed.open_voltage_v) == (3.0, 3.0)
    # 20 log10(3 / 2).
    assert found.over_greatest_part_db == pytest.approx(3.5218251811, rel=1e-9)
    assert (found.feed.output_impedance_ohm, found.feed.level_kind) == (0.0, "line_level")
    assert (found.feed.bridged, found.feed.ground_of, found.feed.key) == (False, "a", "sum")
    assert (found.resistance_ohm, found.least_load_ohm) == (None, None)
    assert keys(found.needed) == ["summing_device"]
    assert "a, b" in found.needed[0].text
    assert found.changes == found.notes == ()


def test_gain_of_the_device_scales_the_sum():
    found = summed(signal_sum("a", "b", gain=0.25), A, B)
    assert found.parts_v == (0.5, 0.25)
    assert found.feed.open_voltage_v == 0.75


def test_independent_channels_add_by_power():
    other = take_off(key="b", greatest_voltage_v=1.5)
    found = summed(signal_sum("a", "b", relation="independent"), A, other)
    # 2 and 1.5 make 2.5: the right triangle 4, 3, 5.
    assert (found.sine_voltage_v, found.feed.open_voltage_v) == (2.0, 2.5)


def test_bands_add_in_peaks_and_not_on_a_sine():
    low, high = take_off(key="a", upper_corner_hz=300.0), take_off(key="b", lower_corner_hz=300.0)
    found = summed(signal_sum("a", "b", relation="bands"), low, high)
    assert (found.sine_voltage_v, found.feed.open_voltage_v) == (2.0, 4.0)
    assert keys(found.notes) == ["level_of_bands"]


def test_passive_bands_are_not_trimmed():
    low, high = take_off(key="a", upper_corner_hz=300.0), take_off(key="b", lower_corner_hz=300.0)
    found = summed(signal_sum("a", "b", relation="bands", method="resistors"), low, high)
    assert found.notes == ()


def test_a_gap_between_bands_is_noted():
    bands = [
        take_off(key="a", upper_corner_hz=80.0),
        take_off(key="b", lower_corner_hz=2000.0),
        take_off(key="c", lower_corner_hz=60.0, upper_corner_hz=1500.0),
        # Within the one before it: the reach of the bands does not fall back.
        take_off(key="d", lower_corner_hz=70.0, upper_corner_hz=200.0),
    ]
    found = summed(signal_sum("a", "b", "c", "d", relation="bands"), *bands)
    gaps = [entry.text for entry in found.notes if entry.key == "band_gap"]
    assert gaps == ["No output carries 1500 Hz to 2000 Hz; look for a further channel."]


def test_band_without_a_lower_corner_begins_at_nothing():
    bands = [take_off(key="a", upper_corner_hz=0.5), take_off(key="b", lower_corner_hz=0.8)]
    found = summed(signal_sum("a", "b", relation="bands"), *bands)
    assert found.notes[0].text.startswith("No output carries 0.5 Hz to 0.8 Hz;")


def test_opposite_polarity_of_one_signal_cancels_and_is_refused():
    turned = take_off(key="b", inverted=True)
    found = summed(signal_sum("a", "b"), A, turned)
    assert found.parts_v == (2.0, -2.0)
    assert found.feed.open_voltage_v == 0.0
    assert found.over_greatest_part_db is None
    assert keys(found.changes) == ["polarity_opposed"]
    assert found.changes[0].text.endswith("reverse: b.")


def test_like_polarity_is_not_refused_even_if_all_are_turned():
    found = summed(
        signal_sum("a", "b"), take_off(key="a", inverted=True), take_off(key="b", inverted=True)
    )
    assert found.parts_v == (-2.0, -2.0)
    assert found.feed.open_voltage_v == 4.0
    assert found.changes == ()


def test_opposite_polarity_of_independent_signals_does_not_matter():
    found = summed(
        signal_sum("a", "b", relation="independent"), A, take_off(key="b", inverted=True)
    )
    assert found.feed.open_voltage_v == pytest.approx(8.0**0.5, rel=1e-12)
    assert found.changes == found.notes == ()


def test_opposite_polarity_of_bands_is_noted_for_a_measurement():
    low = take_off(key="a", upper_corner_hz=300.0)
    high = take_off(key="b", lower_corner_hz=300.0, inverted=True)
    found = summed(signal_sum("a", "b", relation="bands"), low, high)
    assert keys(found.notes) == ["polarity_at_crossover", "level_of_bands"]
    assert found.feed.open_voltage_v == 4.0


def test_unlike_bands_of_one_signal_are_noted():
    found = summed(signal_sum("a", "b"), A, take_off(key="b", lower_corner_hz=80.0))
    assert keys(found.notes) == ["unlike_bands"]


@pytest.mark.parametrize("output", [take_off(key="b"), speaker_output(key="b")])
def test_outputs_in_parallel_are_refused_and_judged_by_a_device(output):
    found = summed(signal_sum("a", "b", method="direct"), A, output)
    assert keys(found.changes) == ["outputs_in_parallel"]
    assert ("a resistor behind each" in found.changes[0].text) == (not output.bridged)
    assert keys(found.needed) == ["summing_device"]
    assert found.feed.open_voltage_v == 2.0 + (10.0 if output.bridged else 2.0)


def test_resistors_at_speaker_level_are_refused_and_judged_by_a_device():
    found = summed(
        signal_sum("a", "b", method="resistors"),
        speaker_output(key="a"),
        speaker_output(key="b"),
    )
    assert keys(found.changes) == ["resistors_at_speaker_level"]
    assert found.changes[0].text.endswith("for: a, b.")
    assert keys(found.needed) == ["summing_device"]
    assert (found.resistance_ohm, found.feed.open_voltage_v) == (None, 20.0)


def test_resistors_average_and_load_no_output_too_heavily():
    # Two outputs that bear 4 kohm: 4 kohm each, of which 4.7 kohm is the preferred value.
    bearing = [take_off(key=key, least_load_ohm=4000.0) for key in "ab"]
    found = summed(signal_sum("a", "b", method="resistors"), *bearing)
    assert found.resistance_ohm == pytest.approx(4700.0, rel=1e-12)
    assert found.least_load_ohm == pytest.approx(4700.0, rel=1e-12)
    assert found.parts_v == pytest.approx((1.0, 1.0), rel=1e-12)
    assert found.feed.open_voltage_v == pytest.approx(2.0, rel=1e-12)
    # 4.7 kohm + 100 ohm, twice in parallel.
    assert found.feed.output_impedance_ohm == pytest.approx(2400.0, rel=1e-12)
    assert found.changes == ()
    assert keys(found.needed) == ["summing_resistors"]
    assert found.needed[0].text == "2 resistors of 4700 ohm, one behind each output."


@pytest.mark.parametrize(
    ("impedances", "resistance"),
    # Ten times the greatest impedance; for three sources 4 / 3 of it: 13.3 kohm, so 15 kohm.
    [((100.0, 680.0), 6800.0), ((100.0, 1000.0, 100.0), 15000.0), ((0.0, 0.0), 1.0)],
)
def test_outputs_without_a_limit_lose_less_than_a_decibel(impedances, resistance):
    outputs = [
        take_off(key=str(place), output_impedance_ohm=ohm) for place, ohm in enumerate(impedances)
    ]
    names = [entry.key for entry in outputs]
    found = summed(signal_sum(*names, method="resistors"), *outputs)
    assert found.resistance_ohm == pytest.approx(resistance, rel=1e-12)


def test_stated_resistors_that_load_too_heavily_are_refused():
    bearing = [take_off(key="a", least_load_ohm=3000.0), take_off(key="b")]
    found = summed(signal_sum("a", "b", method="resistors", resistance_ohm=2999.0), *bearing)
    assert keys(found.changes) == ["output_overloaded"]
    assert "Fit at least 3000 ohm each" in found.changes[0].text
    exact = summed(signal_sum("a", "b", method="resistors", resistance_ohm=3000.0), *bearing)
    assert exact.changes == ()


def test_load_that_rounding_may_miss_is_borne():
    least = 1.0 - 1e-9
    bearing = [take_off(key="a", least_load_ohm=1.0), take_off(key="b")]
    found = summed(signal_sum("a", "b", method="resistors", resistance_ohm=least), *bearing)
    assert found.changes == ()
    assert overloaded_outputs(path(take_off(least_load_ohm=5e3)), [("radio", 5e3 * least)]) == ()


def test_outputs_without_a_limit_bear_any_stated_resistor():
    found = summed(signal_sum("a", "b", method="resistors", resistance_ohm=0.5), A, B)
    assert (found.least_load_ohm, found.changes) == (0.5, ())


def test_inputs_together_load_an_output():
    stated: SignalPath = path(take_off(least_load_ohm=5000.0))
    both = [("radio", 10_000.0), ("radio", 10_000.0)]
    assert overloaded_outputs(stated, both) == ()
    (found,) = overloaded_outputs(stated, [*both, ("radio", 1e6)])
    assert (found.key, found.at) == ("output_overloaded", "radio")
    assert overloaded_outputs(path(), [("radio", 1.0)]) == ()
