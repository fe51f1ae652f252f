"""What ends an output: the rail of a sagging supply, the source, bursts; and the model's ranges."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.audio import amplifiers, output_bounds, output_request
from loomwright.engineering.audio.output_bounds import OutputCircuit
from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.audio.output_request import OutputRequest, check_output_request
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.audio_load import audio_tables

CLASSES = audio_tables().amplifier_classes
# Full swing of the rail, so that the figures below are those of the formula alone.
WHOLE_RAIL = dataclasses.replace(
    CLASSES["AB"],
    rail_utilisation_low=1.0,
    rail_utilisation_likely=1.0,
    rail_utilisation_high=1.0,
)
REQUEST = OutputRequest(
    fuse_ratings_a=(25.0,),
    amplifier_class=CLASSES["AB"],
    load_impedance_ohm=4.0,
    bridged=True,
    converter="unregulated",
    supply_voltage_v=12.0,
    crest_factor_db=12.0,
)
# The ranges in which the model is offered, each with both ends.
RANGES = {
    "fuse_ratings_a": (0.05, 2000.0),
    "load_impedance_ohm": (0.1, 1000.0),
    "channels": (1, 64),
    "supply_voltage_v": (1.0, 100.0),
    "source_emf_v": (1.0, 100.0),
    "source_resistance_ohm": (0.0, 10.0),
    "route_resistance_ohm": (0.0, 10.0),
    "measured_efficiency": (0.01, 1.0),
    "likely_efficiency": (0.01, 1.0),
    "claimed_output_total_w": (0.1, 1e6),
    "claimed_output_per_channel_w": (0.1, 1e6),
    "claim_supply_voltage_v": (1.0, 100.0),
    "claim_load_impedance_ohm": (0.1, 1000.0),
    "crest_factor_db": (3.01, 40.0),
    "loudspeaker_sensitivity_db": (50.0, 130.0),
    "listening_distance_m": (0.05, 100.0),
}


def bounds_of(circuit, efficiency, claim_w=None):
    """Bounds on a sine, with one efficiency for all."""
    return output_bounds.output_bounds(WHOLE_RAIL, circuit, (efficiency,) * 4, 1.0, claim_w)


@pytest.mark.parametrize(
    ("current_a", "input_w", "limited"),
    # By hand from P = I (E - I R) at 12 V behind 0.5 ohm; greatest at 12 A, E**2 / 4R.
    [(4.0, 40.0, False), (10.0, 70.0, False), (11.9, 71.995, False), (20.0, 72.0, True)],
)
def test_input_rises_with_the_current_up_to_half_the_voltage(current_a, input_w, limited):
    circuit = OutputCircuit(25.0, 12.0, 0.5, None)
    power, held = output_bounds.input_at_current_w(circuit, current_a)
    assert power == pytest.approx(input_w, rel=1e-12)
    assert held is limited
    powers, helds = output_bounds.input_at_current_w(circuit, np.array([current_a]))
    assert powers == pytest.approx([input_w], rel=1e-12)
    assert helds.tolist() == [limited]


# By hand: draw c U**2 with c = k / efficiency meets U = E - I R at U = E / (1 + c R), where the
# output is k U**2; past c R = 1 it is the efficiency times E**2 / 4R.
SAGGING = [
    # k in W/V2, R in ohm, efficiency: 12 V sag to 9.6 V.
    (0.5, 0.5, 1.0, 46.08),
    (0.4, 0.5, 0.8, 36.864),
    # 12 V sag to 7.5 V and to half.
    (0.6, 1.0, 1.0, 33.75),
    (1.0, 1.0, 1.0, 36.0),
    # 1.5 times what the source can feed, and four times.
    (1.2, 1.0, 0.8, 28.8),
    (4.0, 0.5, 0.5, 36.0),
    # No resistance: 12 V stay.
    (0.5, 0.0, 0.8, 72.0),
]


@pytest.mark.parametrize(("per_v2", "resistance_ohm", "efficiency", "output_w"), SAGGING)
def test_rail_sags_with_its_own_draw(per_v2, resistance_ohm, efficiency, output_w):
    alone = bounds_of(OutputCircuit(2000.0, 12.0, resistance_ohm, per_v2), efficiency)
    assert alone.rail_w == pytest.approx(output_w, rel=1e-12)
    assert isinstance(alone.rail_w, float)
    assert not isinstance(alone.rail_w, np.floating)
    many = bounds_of(OutputCircuit(2000.0, 12.0, np.array([resistance_ohm]), per_v2), efficiency)
    assert many.rail_w == pytest.approx([output_w], rel=1e-12)


@given(st.floats(6.0, 60.0), st.floats(0.001, 1.0), st.floats(0.1, 0.78), st.floats(1.01, 9.0))
def test_a_source_that_rail_and_fuse_overdraw_is_named_and_not_the_rail(
    emf_v, resistance_ohm, efficiency, overdraw
):
    # Both end at the greatest power of the source, and rounding must not choose between them.
    per_v2 = overdraw * efficiency / resistance_ohm
    fuse_a = overdraw * emf_v / resistance_ohm
    found = bounds_of(OutputCircuit(fuse_a, emf_v, resistance_ohm, per_v2), efficiency)
    assert found.high.key == "supply_and_efficiency"
    assert found.high.output_w == pytest.approx(
        efficiency * emf_v**2 / (4.0 * resistance_ohm), rel=1e-12
    )


def test_rail_ends_a_burst_that_the_fuse_lets_through():
    # 12 V without sag, half a watt per square volt: 72 W, far below what 2000 A carry.
    found = bounds_of(OutputCircuit(2000.0, 12.0, 0.0, 0.5), 0.7)
    assert found.burst.key == "rail_voltage"
    assert found.burst.output_w == pytest.approx(72.0, rel=1e-12)
    # 1 A at 12 V carries 12 W only, on a sine and on average.
    small = bounds_of(OutputCircuit(1.0, 12.0, 0.0, 0.5), 0.7)
    assert small.burst.key == "fuse_average"
    assert small.burst.output_w == pytest.approx(0.7 * 12.0, rel=1e-12)


@pytest.mark.parametrize(
    ("power_fraction", "draw"),
    # By hand with i = 0.05 / 0.8, m = 1 and s = 0.5 in the documented draw
    # i + m x + (1 / eta - i - m) (s sqrt(x) + (1 - s) x).
    [(1.0, 1.25), (0.25, 0.3828125), (0.01, 0.0625 + 0.01 + 0.1875 * (0.05 + 0.005))],
)
def test_switching_stage_draws_the_power_of_the_load_itself(power_fraction, draw):
    kind = dataclasses.replace(
        CLASSES["D"], idle_share=0.05, square_root_share=0.5, delivers_from_supply=True
    )
    model = amplifiers.loss_model(kind, 0.8)
    assert amplifiers.input_power_w(model, power_fraction, 1.0) == pytest.approx(draw, rel=1e-12)
    # The same in watts at another size.
    assert amplifiers.input_power_w(model, 40.0 * power_fraction, 40.0) == pytest.approx(
        40.0 * draw, rel=1e-12
    )


@pytest.mark.parametrize(
    ("changes", "outside"),
    [
        # A claim of just 5 W caps the likely output.
        ({"claimed_output_total_w": 5.0}, True),
        # CTA-2006 covers more than 5 W, and supplies of vehicles on 12 V: at most 16 V (practice).
        ({"measured_efficiency": 0.5, "fuse_ratings_a": (1.2,)}, False),  # likely 5.04 W at 70 %
        ({"measured_efficiency": 0.5, "fuse_ratings_a": (1.19,)}, True),  # 4.998 W
        ({"supply_voltage_v": 16.0}, False),
        ({"supply_voltage_v": 16.1}, True),
    ],
)
def test_scope_of_the_normalised_figure(changes, outside):
    found = output_estimate(dataclasses.replace(REQUEST, **changes))
    assert ("outside_cta_2006_scope" in found.cautions) is outside


def test_full_drive_at_the_high_estimate_draws_the_fuse_rating():
    found = output_estimate(REQUEST)
    assert found.high_bound == "fuse_and_efficiency"
    assert found.full_sine_current_at_high_a == pytest.approx(25.0, rel=1e-12)


def test_hearing_is_not_warned_of_at_the_recommended_limit_itself():
    # NIOSH 98-126: 85 dB for eight hours. 1 W on a sine, at 1 m.
    request = dataclasses.replace(
        REQUEST, claimed_output_total_w=1.0, crest_factor_db=3.01, loudspeaker_sensitivity_db=85.0
    )
    found = output_estimate(request)
    assert found.programme_sound_pressure_level_db == 85.0
    assert "hearing" not in found.cautions


@pytest.mark.parametrize(("sensitivity_db", "hearing"), [(93.9, False), (94.1, True)])
def test_hearing_is_warned_of_by_the_programme_and_not_by_the_sine(sensitivity_db, hearing):
    # 1 W on a sine; music of 12.0103 dB crest factor is 9 dB below it, so 84.9 and 85.1 dB.
    request = dataclasses.replace(
        REQUEST,
        claimed_output_total_w=1.0,
        crest_factor_db=9.0 + 10.0 * math.log10(2.0),
        loudspeaker_sensitivity_db=sensitivity_db,
    )
    found = output_estimate(request)
    assert found.programme_sound_pressure_level_db == pytest.approx(sensitivity_db - 9.0)
    assert ("hearing" in found.cautions) is hearing


def test_a_claim_equal_to_a_bound_belongs_below_it():
    alone = output_estimate(REQUEST)
    for bound_w, verdict, beyond in (
        (alone.output_high_w, "plausible", "doubtful"),
        (alone.output_limit_w, "doubtful", "impossible"),
    ):
        for rounding, expected in ((-1e-12, verdict), (1e-12, verdict), (1e-6, beyond)):
            request = dataclasses.replace(REQUEST, claimed_output_total_w=bound_w * (1 + rounding))
            assert output_estimate(request).claim_verdict == expected


def test_a_claim_from_above_the_limit_up_to_the_burst_is_in_reach_of_bursts():
    # Bursts may draw twice the fuse rating, the limit is 110 % of it.
    alone = output_estimate(REQUEST)
    assert alone.burst_bound == "fuse_burst"
    for claim_w, in_bursts in (
        (alone.output_limit_w, False),
        (math.nextafter(alone.output_limit_w, math.inf), True),
        (alone.output_burst_w, True),
        (math.nextafter(alone.output_burst_w, math.inf), False),
    ):
        found = output_estimate(dataclasses.replace(REQUEST, claimed_output_total_w=claim_w))
        assert ("claim_in_bursts_only" in found.cautions) is in_bursts


# Powers of two, so that limits are equal to the last digit: 4 A at 8 V, half of it put out.
HALF = dataclasses.replace(
    WHOLE_RAIL,
    idle_share=0.0,
    square_root_share=0.0,
    delivers_from_supply=True,
    fuse_loading_low=1.0,
    fuse_loading_likely=1.0,
)


def exact_bounds(per_v2, fraction, claim_w=None, resistance_ohm=0.0):
    circuit = OutputCircuit(4.0, 8.0, resistance_ohm, per_v2)
    return output_bounds.output_bounds(HALF, circuit, (0.5,) * 4, fraction, claim_w)


def test_of_two_limits_at_one_output_the_fuse_is_named():
    # 4 A at 8 V are 32 W in and 16 W out; on half the power of a sine the average allows twice
    # that, as a burst of twice the current does.
    found = exact_bounds(None, 0.5)
    assert (found.burst.output_w, found.burst.key) == (32.0, "fuse_burst")
    assert exact_bounds(None, 0.5 + 1e-9).burst.key == "fuse_average"
    # A rail of half a watt per square volt allows the same 32 W.
    found = exact_bounds(0.5, 0.25)
    assert (found.burst.output_w, found.burst.key) == (32.0, "fuse_burst")
    assert exact_bounds(0.499, 0.25).burst.key == "rail_voltage"


def test_a_claim_of_just_the_bound_does_not_end_it():
    for claim_w, key in ((16.0, "fuse_and_efficiency"), (15.999, "claim")):
        found = exact_bounds(None, 1.0, claim_w)
        assert (found.likely.output_w, found.likely.key) == (claim_w, key)


def test_a_fuse_of_just_the_current_at_the_greatest_power_is_not_held_back():
    # 8 V behind 1 ohm give most at 4 A.
    assert exact_bounds(None, 1.0, resistance_ohm=1.0).high.key == "fuse_and_efficiency"
    assert exact_bounds(None, 1.0, resistance_ohm=1.001).high.key == "supply_and_efficiency"


@given(
    st.sampled_from([CLASSES[key] for key in ("AB", "B", "D")]),
    st.floats(1.0, 60.0),
    st.integers(1, 8),
)
def test_at_the_reference_conditions_nothing_is_rerated(kind, fuse_a, channels):
    # CTA-2006: 14.4 V and 4 ohm. Fuse and re-rating give one output, and rounding must not choose.
    request = dataclasses.replace(
        REQUEST,
        amplifier_class=kind,
        fuse_ratings_a=(fuse_a,),
        channels=channels,
        supply_voltage_v=14.4,
    )
    found = output_estimate(request)
    assert found.cta_2006_bound == "rail_voltage"
    assert found.cta_2006_output_per_channel_w == pytest.approx(
        found.output_likely_per_channel_w, rel=1e-12
    )


@pytest.mark.parametrize("resistance_ohm", [0.0, 0.02, 1.0])
def test_current_is_that_of_constant_power_behind_the_resistance(resistance_ohm):
    request = dataclasses.replace(
        REQUEST,
        fuse_ratings_a=(3.0,),
        supply_voltage_v=None,
        source_emf_v=12.0,
        source_resistance_ohm=resistance_ohm,
    )
    found = output_estimate(request)
    # The stable root of P = I (E - I R), written without a difference of near numbers.
    power_w = found.full_sine_input_w
    root = math.sqrt(144.0 - 4.0 * resistance_ohm * power_w)
    current_a = 2.0 * power_w / (12.0 + root)
    assert found.full_sine_current_a == pytest.approx(current_a, rel=1e-9)
    assert type(found.full_sine_current_a) is float
    assert found.supply_voltage_v == pytest.approx(12.0 - current_a * resistance_ohm, rel=1e-9)
    assert type(found.supply_voltage_v) is float


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("source_resistance_ohm", [0.0, 0.02, 0.5]),
        ("claimed_output_total_w", [20.0, 40.0, 200.0]),
        ("measured_efficiency", [0.3, 0.5, 0.7]),
    ],
)
@pytest.mark.parametrize("converter", ["none", "regulated"])
def test_one_array_among_numbers_holds_the_answers_of_its_elements(name, values, converter):
    base = dataclasses.replace(
        REQUEST,
        supply_voltage_v=None,
        source_emf_v=12.0,
        source_resistance_ohm=0.02,
        converter=converter,
    )
    many = output_estimate(dataclasses.replace(base, **{name: np.array(values)}))
    for index, value in enumerate(values):
        one = output_estimate(dataclasses.replace(base, **{name: value}))
        for field in ("output_high_w", "full_sine_current_a", "programme_current_a"):
            whole = np.broadcast_to(getattr(many, field), (3,))
            assert whole[index] == pytest.approx(getattr(one, field), rel=1e-9), field


def test_normalised_figures_are_of_one_channel():
    # By hand: 0.5 x 70 % x 25 A x 14.4 V over two channels; 100 W at 12 V into 4 ohm are 144 W at
    # 14.4 V, 72 W of each channel.
    request = dataclasses.replace(
        REQUEST,
        channels=2,
        measured_efficiency=0.5,
        claimed_output_total_w=100.0,
        claim_supply_voltage_v=12.0,
        claim_load_impedance_ohm=4.0,
    )
    found = output_estimate(request)
    assert found.cta_2006_claim_per_channel_w == pytest.approx(72.0, rel=1e-12)
    alone = output_estimate(dataclasses.replace(request, claimed_output_total_w=None))
    assert alone.cta_2006_bound == "fuse_and_efficiency"
    assert alone.cta_2006_output_per_channel_w == pytest.approx(63.0, rel=1e-12)


@pytest.mark.parametrize("volt", [None, 14.4])
@pytest.mark.parametrize("ohm", [None, 4.0])
def test_a_claim_without_both_of_its_conditions_is_cautioned(volt, ohm):
    request = dataclasses.replace(
        REQUEST,
        claimed_output_total_w=100.0,
        claim_supply_voltage_v=volt,
        claim_load_impedance_ohm=ohm,
    )
    unknown = volt is None or ohm is None
    assert ("claim_conditions_unknown" in output_estimate(request).cautions) is unknown


@pytest.mark.parametrize("measured", [None, 0.5])
@pytest.mark.parametrize("sensitivity_db", [None, 90.0])
def test_sources_are_those_of_what_was_used(measured, sensitivity_db):
    request = dataclasses.replace(
        REQUEST, measured_efficiency=measured, loudspeaker_sensitivity_db=sensitivity_db
    )
    found = output_estimate(request).provenances
    # What the output itself rests on stands first.
    kind = CLASSES["AB"]
    first = kind.practice_provenance if measured else kind.provenance
    assert found[0] == first
    assert (kind.provenance in found) is (measured is None)
    assert ("niosh_98_126" in {each.source for each in found}) is (sensitivity_db is not None)


@pytest.mark.parametrize("band", ["efficiency", "efficiency_with_converter"])
def test_a_class_without_one_of_its_bands_needs_a_measurement(band):
    kind = dataclasses.replace(CLASSES["AB"], **{band: None})
    with pytest.raises(EngineeringError) as caught:
        check_output_request(dataclasses.replace(REQUEST, amplifier_class=kind))
    assert caught.value.code == "efficiency_required"


def with_value(name, value):
    changes = {name: (value,) if name == "fuse_ratings_a" else value}
    if name in ("source_emf_v", "source_resistance_ohm", "route_resistance_ohm"):
        source = {"source_emf_v": 12.0, "source_resistance_ohm": 0.01}
        changes = {"supply_voltage_v": None, **source, **changes}
    if name == "measured_efficiency":
        changes["amplifier_class"] = CLASSES["constant_efficiency"]
    return dataclasses.replace(REQUEST, **changes)


def test_every_range_is_tried():
    assert RANGES.keys() == output_request.LIMITS.keys()


@pytest.mark.parametrize(("name", "ends"), RANGES.items())
def test_each_end_of_a_range_is_taken_and_the_next_number_is_not(name, ends):
    for end, beyond in zip(ends, (-math.inf, math.inf), strict=True):
        check_output_request(with_value(name, end))
        check_output_request(with_value(name, np.array([end])))
        for past in (
            np.nextafter(float(end), beyond),
            np.array([end, 2.0 * end - 0.5 * sum(ends)]),
        ):
            with pytest.raises(EngineeringError) as caught:
                check_output_request(with_value(name, past))
            assert (caught.value.code, caught.value.field) == ("out_of_range", name)


def test_a_source_is_stated_by_its_own_resistance_to_which_a_route_adds():
    source = dataclasses.replace(REQUEST, supply_voltage_v=None, source_emf_v=12.8)
    own = dataclasses.replace(source, source_resistance_ohm=0.008)
    assert output_request.source_of_request(own) == (12.8, 0.008)
    both = dataclasses.replace(own, route_resistance_ohm=0.012)
    assert output_request.source_of_request(both) == (12.8, pytest.approx(0.02))
    with pytest.raises(EngineeringError) as caught:
        check_output_request(dataclasses.replace(source, route_resistance_ohm=0.012))
    assert (caught.value.code, caught.value.field) == ("one_of_required", "source_resistance_ohm")
