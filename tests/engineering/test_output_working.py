"""Every step of the working gives its result when followed with its own inputs."""

import math

import pytest

from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.audio.output_request import OutputRequest
from loomwright.engineering.audio.output_working import output_working
from loomwright.tables.audio_load import audio_tables

TABLES = audio_tables()
BASE = {
    "fuse_ratings_a": (25.0, 10.0),
    "amplifier_class": TABLES.amplifier_classes["AB"],
    "load_impedance_ohm": 4.0,
    "bridged": True,
    "converter": "unregulated",
    "channels": 2,
    "supply_voltage_v": 12.6,
    "programme": TABLES.programmes["music_compressed"],
    "loudspeaker_sensitivity_db": 89.0,
    "listening_distance_m": 1.5,
}
SOURCE = {"supply_voltage_v": None, "source_emf_v": 12.6, "source_resistance_ohm": 0.02}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        SOURCE,
        {**SOURCE, "source_resistance_ohm": 0.4},
        {"converter": "none"},
        {**SOURCE, "converter": "none", "bridged": False},
        {"claimed_output_total_w": 60.0, "converter": "regulated", "load_impedance_ohm": 2.0},
        {"amplifier_class": TABLES.amplifier_classes["D"], "claimed_output_per_channel_w": 500.0},
    ],
)
def test_each_step_follows_from_its_formula_and_inputs(changes):
    request = OutputRequest(**{**BASE, **changes})
    estimate = output_estimate(request)
    steps = output_working(request, estimate)
    assert len(steps) >= 9
    for step in steps:
        expression = step.formula.replace(" x ", " * ").replace("^", "**")
        symbols = {name.split("_")[0]: value for name, value in step.inputs.items()}
        value = eval(expression, {"log10": math.log10, "min": min}, symbols)
        # A heat is the small difference of rounded inputs, so its slack is that of the inputs.
        slack = 2e-6 * max(abs(number) for number in symbols.values())
        assert value == pytest.approx(step.result, rel=1e-5, abs=slack), step
        assert step.source
    assert [step.result for step in steps if step.unit == "A"] == pytest.approx(
        [estimate.full_sine_current_a, estimate.programme_current_a], rel=1e-6
    )
    heats = [step.result for step in steps if step.formula == "Pin - Pout"]
    assert heats == pytest.approx([estimate.full_sine_heat_w, estimate.programme_heat_w], rel=1e-6)
    claims = [step.result for step in steps if step.text.startswith("Claim")]
    if estimate.claimed_output_here_w is None:
        assert claims == []
    else:
        assert claims == pytest.approx([estimate.claim_above_likely_db], rel=1e-6)
