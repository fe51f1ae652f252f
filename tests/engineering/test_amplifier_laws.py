"""Laws that hold for every amplifier, supply and load."""

import dataclasses
from itertools import pairwise

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from loomwright.engineering.audio import amplifiers
from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.audio.output_request import OutputRequest
from loomwright.tables.audio_load import audio_tables

CLASSES = tuple(audio_tables().amplifier_classes.values())
ROUNDING = 1.0 + 1e-12
OUTPUTS = (
    "input_ceiling_w",
    "input_ceiling_overload_w",
    "input_ceiling_burst_w",
    "output_low_w",
    "output_likely_w",
    "output_high_w",
    "output_limit_w",
    "output_burst_w",
    "output_likely_per_channel_w",
    "rail_limited_output_w",
    "programme_output_w",
    "gain_setting_voltage_v",
    "sound_pressure_level_db",
    "programme_sound_pressure_level_db",
)


def numbers(least, greatest):
    return st.floats(least, greatest, allow_nan=False, allow_infinity=False)


@st.composite
def requests(draw):
    kind = draw(st.sampled_from(CLASSES))
    measured = draw(st.none() | numbers(0.01, kind.theoretical_efficiency))
    if kind.efficiency is None and measured is None:
        measured = 0.8
    fields = {
        "fuse_ratings_a": tuple(draw(st.lists(numbers(0.05, 500.0), min_size=1, max_size=3))),
        "amplifier_class": kind,
        "load_impedance_ohm": draw(numbers(0.1, 100.0)),
        "bridged": draw(st.booleans()),
        "converter": draw(st.sampled_from(["none", "unregulated", "regulated"])),
        "channels": draw(st.integers(1, 8)),
        "measured_efficiency": measured,
        "crest_factor_db": draw(numbers(3.01, 25.0)),
        "claimed_output_total_w": draw(st.none() | numbers(0.1, 1e5)),
        "claim_supply_voltage_v": draw(st.none() | numbers(5.0, 60.0)),
        "claim_load_impedance_ohm": draw(st.none() | numbers(0.5, 16.0)),
        "loudspeaker_sensitivity_db": 90.0,
    }
    if draw(st.booleans()):
        fields["supply_voltage_v"] = draw(numbers(1.0, 60.0))
    else:
        fields["source_emf_v"] = draw(numbers(1.0, 60.0))
        fields["source_resistance_ohm"] = draw(st.just(0.0) | numbers(1e-4, 5.0))
        fields["route_resistance_ohm"] = draw(st.none() | numbers(0.0, 1.0))
    return OutputRequest(**fields)


def assert_no_output_falls(before, after):
    for name in OUTPUTS:
        first, second = getattr(before, name), getattr(after, name)
        if first is not None:
            assert first <= second + abs(second) * 1e-12, name


@given(requests())
def test_power_in_is_output_plus_heat(request):
    estimate = output_estimate(request)
    emf = request.source_emf_v if request.supply_voltage_v is None else request.supply_voltage_v
    resistance = (request.source_resistance_ohm or 0.0) + (request.route_resistance_ohm or 0.0)
    for current, output, heat in (
        (estimate.full_sine_current_a, estimate.output_likely_w, estimate.full_sine_heat_w),
        (estimate.programme_current_a, estimate.programme_output_w, estimate.programme_heat_w),
    ):
        arriving = (emf - current * resistance) * current
        assert abs(arriving - (output + heat)) <= 1e-9 * arriving
        assert heat >= -1e-12 * output


@given(requests())
def test_source_power_is_output_heat_and_route_loss(request):
    estimate = output_estimate(request)
    emf = request.source_emf_v if request.supply_voltage_v is None else request.supply_voltage_v
    given_w = emf * estimate.full_sine_current_a
    taken = estimate.output_likely_w + estimate.full_sine_heat_w + estimate.full_sine_route_loss_w
    assert abs(given_w - taken) <= 1e-9 * given_w


@given(st.sampled_from(CLASSES), numbers(0.01, 1.0), numbers(1e-9, 1.0), numbers(1e-9, 1.0))
def test_efficiency_stays_below_its_maximum_and_rises_with_drive(kind, share, first, second):
    efficiency = share * kind.theoretical_efficiency
    model = amplifiers.loss_model(kind, efficiency)
    low, high = sorted((first, second))
    at_low, at_high = (amplifiers.efficiency_at_drive(model, level) for level in (low, high))
    assert 0.0 < at_low <= at_high * ROUNDING
    assert at_high <= efficiency * ROUNDING
    assert at_high <= min(1.0, kind.theoretical_efficiency) * ROUNDING


@given(requests())
def test_low_likely_high_burst_and_ceiling_are_in_order(request):
    estimate = output_estimate(request)
    assert estimate.output_low_w > 0.0
    assert estimate.output_low_w <= estimate.output_likely_w * ROUNDING
    assert estimate.output_likely_w <= estimate.output_high_w * ROUNDING
    assert estimate.output_high_w <= estimate.output_burst_w * ROUNDING
    assert estimate.output_high_w <= estimate.output_limit_w * ROUNDING
    assert estimate.output_likely_w <= estimate.input_ceiling_w * ROUNDING
    assert estimate.output_high_w <= estimate.input_ceiling_w * ROUNDING
    assert estimate.full_sine_current_a <= estimate.fuse_rating_total_a * (1.0 + 1e-7)


@given(requests())
def test_average_currents_are_in_order(request):
    estimate = output_estimate(request)
    rising = (
        estimate.idle_current_a,
        estimate.eighth_power_current_a,
        estimate.third_power_current_a,
        estimate.full_sine_current_a,
    )
    # Near the collapse of the source the current is a double root: rounding enters as its root.
    assert all(a <= b * (1.0 + 1e-7) for a, b in pairwise(rising))
    assert estimate.idle_current_a <= estimate.programme_current_a * (1.0 + 1e-7)
    assert estimate.programme_current_a <= estimate.full_sine_current_a * (1.0 + 1e-7)


@given(requests(), numbers(1.0, 4.0))
def test_more_fuse_never_lowers_an_output(request, factor):
    more = dataclasses.replace(
        request, fuse_ratings_a=tuple(rating * factor for rating in request.fuse_ratings_a)
    )
    assert_no_output_falls(output_estimate(request), output_estimate(more))


@given(requests(), numbers(1.0, 1.6))
def test_more_voltage_never_lowers_an_output(request, factor):
    name = "supply_voltage_v" if request.source_emf_v is None else "source_emf_v"
    more = dataclasses.replace(request, **{name: getattr(request, name) * factor})
    assert_no_output_falls(output_estimate(request), output_estimate(more))


@given(requests())
def test_verdict_agrees_with_the_levels(request):
    assume(request.claimed_output_total_w is not None)
    estimate = output_estimate(request)
    if estimate.claim_verdict == "plausible":
        assert estimate.claim_above_high_db <= 1e-6
    else:
        assert estimate.claim_above_high_db > 0.0
    impossible = estimate.claimed_output_here_w > estimate.output_limit_w * (1.0 + 1e-9)
    assert (estimate.claim_verdict == "impossible") == impossible
    assert estimate.claim_above_likely_db >= -1e-9


@given(requests(), numbers(0.5, 2.0))
def test_an_array_holds_the_answers_of_its_elements(request, factor):
    ratings = np.array([1.0, factor])
    fuses = tuple(rating * ratings for rating in request.fuse_ratings_a)
    many = output_estimate(dataclasses.replace(request, fuse_ratings_a=tuple(map(clip, fuses))))
    single = output_estimate(request)
    for name in ("output_low_w", "output_likely_w", "output_high_w", "programme_heat_w"):
        first = np.broadcast_to(getattr(many, name), (2,))[0]
        assert abs(first - getattr(single, name)) <= 1e-9 * abs(getattr(single, name)) + 1e-12


def clip(ratings):
    return np.clip(ratings, 0.05, 2000.0)
