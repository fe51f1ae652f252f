"""Drop against length: points of the curves against size-conductor at each length."""

from itertools import pairwise

import pytest
from chart_reader import assert_sound

from drawn_requests import answer_of
from loomwright.web.examples import EXAMPLES

CURRENT = EXAMPLES["draw-drop-against-length"]["bass_unit_under_the_seat"]
POWER = EXAMPLES["draw-drop-against-length"]["route_through_the_engine_space"]
FEET = 0.3048


def chart_of(request):
    response = answer_of("draw-drop-against-length", request)
    assert response.status_code == 200, response.get_data(as_text=True)
    return assert_sound(response.get_data(as_text=True))


def answer(request):
    return answer_of("size-conductor", request).get_json()


def column(found, name, size):
    candidates = found["candidates"]
    return candidates[name][candidates["size"].index(size)]


def drop_at(chart, name, length_m):
    """Return the drop of a curve at a length [V]."""
    across, upwards = chart.across(log=False), chart.upwards(log=False)
    x = across.place(length_m)
    points = chart.points(name)
    (x0, y0), (x1, y1) = next((a, b) for a, b in pairwise(points) if a[0] <= x <= b[0])
    return upwards.value(y0 + (y1 - y0) * (x - x0) / (x1 - x0))


# The chosen size stands in the middle of up to five.
NAMES = {"10 AWG": "size_0", "8 AWG": "size_1", "6 AWG": "size_2", "4 AWG": "size_3"}


@pytest.mark.parametrize("share", [0.25, 0.5, 0.8, 1.0])
def test_each_point_is_what_the_calculator_finds_there(share):
    chart = chart_of(CURRENT)
    length_m = 14 * FEET * share
    found = answer(CURRENT | {"length": length_m})
    for size, name in NAMES.items():
        try:
            seen = drop_at(chart, name, length_m)
        except StopIteration:
            # It has left the frame.
            assert size in ("10 AWG", "8 AWG")
            continue
        expected = column(found, "voltage_drop_v", size)
        assert seen == pytest.approx(expected, abs=2e-3), (size, share)


def test_curve_of_a_constant_power_is_solved_and_not_scaled():
    """At another length a load of constant power takes another current: 1 % and more off a line."""
    request = {
        "series": "awg",
        "load_power": 600,
        "supply_voltage": 12.6,
        "length": 5,
        "allowed_voltage_drop": 4,
        "given_size": "10 AWG",
    }
    chart = chart_of(request)
    seen = {}
    for length_m in (2.5, 5.0):
        found = answer(request | {"length": length_m})
        expected = column(found, "voltage_drop_v", "10 AWG")
        seen[length_m] = drop_at(chart, "size_2", length_m)
        assert seen[length_m] == pytest.approx(expected, rel=5e-3)
    assert seen[5.0] > 2.1 * seen[2.5]


def test_segments_grow_together():
    chart = chart_of(POWER)
    total = sum((1.2, 2.6, 1.1))
    double = POWER | {
        "route": [segment | {"length": 0.8 * segment["length"]} for segment in POWER["route"]]
    }
    found = answer(double)
    assert found["assumptions"]["route_length_m"] == pytest.approx(0.8 * total)
    seen = drop_at(chart, "size_2", 0.8 * total)
    assert seen == pytest.approx(column(found, "voltage_drop_v", "10 mm2"), abs=2e-3)


def test_own_length_and_allowed_drop_are_marked():
    chart, found = chart_of(CURRENT), answer(CURRENT)
    across, upwards = chart.across(log=False), chart.upwards(log=False)
    (x, _), (same, _) = chart.points("own_length")
    assert x == same
    assert across.value(x) == pytest.approx(14 * FEET, abs=2e-3)
    (_, y), (_, level) = chart.points("allowed_drop")
    assert y == level
    # 3 % of 12.6 V.
    assert upwards.value(y) == pytest.approx(0.378, abs=1e-3)
    x, y = chart.dot("own_drop")
    assert across.value(x) == pytest.approx(14 * FEET, abs=2e-3)
    assert upwards.value(y) == pytest.approx(found["conductor"]["voltage_drop_v"], abs=1e-3)


def test_per_cent_are_of_the_supply_voltage():
    chart = chart_of(CURRENT)
    upwards = chart.upwards(log=False)
    # The third of the labels on the right that stands at the allowed 3 %.
    (_, level), _ = chart.points("allowed_drop")
    labels = [text for text in chart.texts if abs(text.y - level - 4.3) < 0.5 and text.left > 300]
    assert [float(text.words) for text in labels] == [3.0]
    assert upwards.value(level) == pytest.approx(0.03 * 12.6, abs=1e-3)


@pytest.mark.parametrize("request_", [CURRENT, POWER])
def test_drop_only_rises_with_length(request_):
    chart = chart_of(request_)
    for name in ("size_0", "size_1", "size_2", "size_3", "size_4"):
        points = chart.points(name)
        for (x0, y0), (x1, y1) in pairwise(points):
            assert x1 > x0
            assert y1 < y0


def test_thicker_sizes_drop_less():
    chart = chart_of(CURRENT)
    drops = [drop_at(chart, f"size_{place}", 2.0) for place in range(5)]
    assert drops == sorted(drops, reverse=True)
    assert len(set(drops)) == 5


def test_ends_of_a_series_have_fewer_neighbours():
    thin = chart_of(CURRENT | {"given_size": "20 AWG"})
    assert [thin.has(f"size_{place}") for place in range(5)] == [False, False, True, True, True]
    thick = chart_of(CURRENT | {"load_current": 400, "length": 30})
    assert [thick.has(f"size_{place}") for place in range(5)] == [True, True, True, False, False]
    assert "No size of the series meets every criterion" in thick.description


def test_load_that_nothing_delivers_has_no_curve():
    chart = chart_of(POWER | {"load_power": 50_000})
    assert answer(POWER | {"load_power": 50_000})["verdict"] == "no_operating_point"
    assert "No size of the series can deliver this load" in chart.description
    assert not any(chart.has(f"size_{place}") for place in range(5))
    assert "no operating point" in chart.words


def test_curve_ends_where_the_circuit_collapses():
    """A constant power has no operating point where the loop has more than E^2 / 4 P.

    Nor more than half of E to lose: at that loop the load has the other half.
    """
    request = {
        "series": "awg",
        "load_power": 300,
        "supply_voltage": 12.0,
        "length": 6,
        "allowed_voltage_drop_percent": 50,
        "given_size": "14 AWG",
    }
    chart = chart_of(request)
    across, upwards = chart.across(log=False), chart.upwards(log=False)
    x, y = chart.points("size_2")[-1]
    # 14 AWG has 2.08 mm2 and so 8.28 mohm/m at 20 C; hot, the end lies before that of the cold one.
    cold_m = 12.0**2 / (4.0 * 300.0) / (2 * 0.00828)
    assert 0.6 * cold_m < across.value(x) < cold_m
    assert 4.0 < upwards.value(y) < 6.0
    cross = chart.points("end_2")
    assert 0.5 * (cross[0][0] + cross[1][0]) == pytest.approx(x, abs=0.01)
    assert "ends in a cross, no operating point" in chart.description
