"""Claim against output: powers stand where the axis says, and the verdict is told."""

import math

import pytest
from chart_reader import assert_sound

from drawn_requests import answer_of
from loomwright.web.examples import EXAMPLES

EXAMPLE = EXAMPLES["draw-output-against-claim"]["bass_unit_with_one_fuse"]
PLACED = 1.5e-3


def chart_of(request):
    response = answer_of("draw-output-against-claim", request)
    assert response.status_code == 200, response.get_data(as_text=True)
    return assert_sound(response.get_data(as_text=True))


def answer(request):
    return answer_of("estimate-real-output", request).get_json()


def middle(chart, name):
    places = [x for x, _ in chart.points(name)]
    return 0.5 * (min(places) + max(places))


def test_powers_stand_where_the_axis_says():
    chart, found = chart_of(EXAMPLE), answer(EXAMPLE)
    power = chart.across(log=True)
    box = [x for x, _ in chart.points("output_band")]
    expected = {
        middle(chart, "claim"): 1200.0,
        # 25 A at 12 V.
        middle(chart, "ceiling"): 300.0,
        max(x for x, _ in chart.points("overload")): found["input"]["ceiling_overload_w"],
        max(x for x, _ in chart.points("burst")): found["input"]["ceiling_burst_w"],
        min(box): found["low"]["power_w"],
        middle(chart, "likely"): found["likely"]["power_w"],
        max(box): found["high"]["power_w"],
        middle(chart, "limit"): found["output_limit_w"],
    }
    assert len(expected) == 8
    for place, watts in expected.items():
        assert power.value(place) == pytest.approx(watts, rel=PLACED)


def test_level_is_over_the_likely_output():
    """The level is 10 lg of the ratio, so 0 dB stands over the likely output."""
    chart = chart_of(EXAMPLE)
    top = min(y for _, y in chart.points("limit"))
    labels = {text.words: text.x for text in chart.texts if abs(text.y - top + 5.0) < 0.02}
    assert labels["0"] == pytest.approx(middle(chart, "likely"), abs=0.02)
    power = chart.across(log=True)
    likely = power.value(labels["0"])
    for words, x in labels.items():
        level = float(words.replace("\N{MINUS SIGN}", "-"))
        assert 10.0 * math.log10(power.value(x) / likely) == pytest.approx(level, abs=0.01)
    assert len(labels) >= 3


@pytest.mark.parametrize(
    ("claim", "verdict", "words"),
    [
        (100, "plausible", "The claim is plausible"),
        (230, "doubtful", "The claim is doubtful"),
        (1200, "impossible", "The claim is impossible"),
    ],
)
def test_verdict_is_told_in_words(claim, verdict, words):
    request = EXAMPLE | {"claimed_output": claim}
    assert answer(request)["verdict"] == verdict
    chart = chart_of(request)
    assert chart.title.startswith(words)
    assert any(words in line for line in chart.words)


def test_rerated_claim_shows_both():
    request = EXAMPLE | {
        "converter": "unregulated",
        "claim_supply_voltage": 14.4,
        "claimed_output": 400,
    }
    chart, claim = chart_of(request), answer(request)["claim"]
    power = chart.across(log=True)
    assert power.value(middle(chart, "claim_printed")) == pytest.approx(400.0, rel=PLACED)
    # (12 / 14.4)^2 of 400 W.
    assert claim["claimed_output_here_w"] == pytest.approx(277.778, rel=1e-5)
    assert power.value(middle(chart, "claim")) == pytest.approx(277.778, rel=PLACED)


def test_without_a_claim_the_output_is_drawn():
    request = {name: value for name, value in EXAMPLE.items() if name != "claimed_output"}
    chart = chart_of(request)
    assert "none is stated" in chart.words
    assert not chart.has("claim")
    assert chart.has("output_band")
