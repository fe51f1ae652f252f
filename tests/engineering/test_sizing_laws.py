"""Laws of the choice of a conductor, over requests of every kind."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.loaded_route import GREATEST_ITERATIONS, RELATIVE_TOLERANCE
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.tables.load import tables

TABLES = tables()
# Fewer than other laws, as each is a whole sizing; a profile may ask for less.
MODERATE = settings(max_examples=min(60, settings().max_examples))
INSULATIONS = [TABLES.insulations[key] for key in ("pvc_90", "pvc_105", "xlpe_125", "silicone_200")]


@st.composite
def segments(draw, least=1, greatest=3):
    return tuple(
        Segment(
            length_m=draw(st.floats(0.1, 15.0)),
            ambient_temperature_k=draw(st.floats(253.15, 343.15)),
            bundled_conductors=draw(st.integers(1, 12)),
            engine_space=draw(st.booleans()),
        )
        for _ in range(draw(st.integers(least, greatest)))
    )


@st.composite
def loads(draw):
    """Return the arguments of a constant-current or a constant-power load."""
    if draw(st.booleans()):
        return {"load_current_a": draw(st.floats(0.5, 300.0))}
    return {"load_power_w": draw(st.floats(5.0, 3000.0))}


@st.composite
def requests(draw, load=None, runs=3, cyclic=True):
    voltage = draw(st.floats(10.0, 56.0))
    changes: dict[str, Any] = dict(draw(loads() if load is None else load))
    if cyclic and draw(st.booleans()):
        changes["on_time_s"] = draw(st.floats(1.0, 600.0))
        changes["off_time_s"] = draw(st.floats(0.0, 600.0))
    if draw(st.booleans()):
        changes["return_by_conductor"] = False
        changes["chassis_resistance_ohm"] = draw(st.floats(0.0, 0.005))
    return ConductorRequest(
        sizes=TABLES.series[draw(st.sampled_from(sorted(TABLES.series)))],
        material=TABLES.materials[draw(st.sampled_from(sorted(TABLES.materials)))],
        insulation=draw(st.sampled_from(INSULATIONS)),
        supply_voltage_v=voltage,
        allowed_voltage_drop_v=voltage * draw(st.floats(0.01, 0.1)),
        segments=draw(segments()),
        source_resistance_ohm=draw(st.floats(0.0, 0.02)),
        fixed_resistance_ohm=draw(st.floats(0.0, 0.002)),
        greatest_parallel_runs=draw(st.integers(1, runs)),
        **changes,
    )


def with_segments(request, change):
    return dataclasses.replace(
        request,
        segments=tuple(
            dataclasses.replace(segment, **change(segment)) for segment in request.segments
        ),
    )


def longer(request, by):
    return with_segments(request, lambda segment: {"length_m": segment.length_m * by})


def hotter(request, by):
    return with_segments(
        request,
        lambda segment: {"ambient_temperature_k": segment.ambient_temperature_k + 10.0 * (by - 1)},
    )


def more_loaded(request, by):
    if request.load_current_a is None:
        return dataclasses.replace(request, load_power_w=request.load_power_w * by)
    return dataclasses.replace(request, load_current_a=request.load_current_a * by)


def at_lower_voltage_and_the_same_drop(request, by):
    return dataclasses.replace(request, supply_voltage_v=request.supply_voltage_v / by)


def at_lower_voltage_and_the_same_percentage(request, by):
    return dataclasses.replace(
        request,
        supply_voltage_v=request.supply_voltage_v / by,
        allowed_voltage_drop_v=request.allowed_voltage_drop_v / by,
    )


def in_a_fuller_bundle(request, by):
    return with_segments(
        request,
        lambda segment: {"bundled_conductors": int(segment.bundled_conductors * by) + 1},
    )


def with_more_resistance(request, by):
    return dataclasses.replace(
        request, fixed_resistance_ohm=request.fixed_resistance_ohm + 0.001 * (by - 1)
    )


def place(answer):
    """Return the place of the choice in the order of preference; beyond all where none fits."""
    return len(answer.candidates.sizes) if answer.chosen is None else answer.chosen


@pytest.mark.parametrize(
    "harder",
    [
        longer,
        hotter,
        more_loaded,
        at_lower_voltage_and_the_same_drop,
        at_lower_voltage_and_the_same_percentage,
        in_a_fuller_bundle,
        with_more_resistance,
    ],
    ids=lambda function: function.__name__,
)
@MODERATE
@given(request=requests(), by=st.floats(1.0, 3.0))
def test_harder_never_gives_a_thinner_conductor(harder, request, by):
    easy, hard = (size_conductor(asked, TABLES) for asked in (request, harder(request, by)))
    assert place(hard) >= place(easy)
    # Rounding of the last digits aside, no candidate passes only because it got harder. Where there
    # is no operating point a candidate is judged at its collapse, whose current falls with length,
    # and past the cap of the model (no temperature) its resistance is held.
    modelled = hard.candidates.operating_point_exists & ~np.isnan(
        hard.candidates.conductor_temperature_k
    )
    slack = easy.candidates.utilisation > 1.0 + 1e-9
    gained = hard.candidates.passes & ~easy.candidates.passes & slack
    assert not (gained & modelled).any()
    assert easy.candidates.operating_point_exists[modelled].all()


@MODERATE
@given(requests())
def test_chosen_size_passes_its_own_check_and_the_next_thinner_fails(request):
    answer = size_conductor(request, TABLES)
    assume(answer.chosen is not None)
    size = answer.candidates.sizes[answer.chosen]
    runs = int(answer.candidates.parallel_runs[answer.chosen])

    def verdict(given_size):
        return size_conductor(
            dataclasses.replace(request, given_size=given_size, given_parallel_runs=runs), TABLES
        ).verdict

    assert verdict(size) == "given_size_passes"
    index = request.sizes.index(size)
    if index > 0:
        assert verdict(request.sizes[index - 1]) == "given_size_fails"


@MODERATE
@given(requests())
def test_more_section_never_has_more_drop_loss_or_temperature(request):
    candidates = size_conductor(request, TABLES).candidates
    count = len(request.sizes)
    for start in range(0, len(candidates.sizes), count):
        part = slice(start, start + count)
        exists = candidates.operating_point_exists[part]
        assert (np.diff(exists.astype(int)) >= 0).all()
        for values in (candidates.voltage_drop_v[part], candidates.wiring_loss_w[part]):
            assert (np.diff(values[exists]) <= 1e-9 * values[exists][:-1]).all()
        temperature = candidates.conductor_temperature_k[part]
        known = ~np.isnan(temperature)
        assert (np.diff(temperature[known]) <= 1e-6).all()
        assert (np.diff(candidates.heat_ampacity_a[part]) > 0).all()
        lengths = candidates.greatest_length_m[part][exists]
        assert (np.diff(lengths) >= -1e-9 * lengths[1:]).all()


@MODERATE
@given(requests())
def test_power_in_is_load_and_wiring_and_source(request):
    candidates = size_conductor(request, TABLES).candidates
    current = candidates.load_current_a
    power_in = request.supply_voltage_v * current
    into_load = candidates.load_voltage_v * current
    if request.load_power_w is not None:
        # The load takes what was asked for, where an operating point exists.
        into_load = np.where(candidates.operating_point_exists, request.load_power_w, into_load)
    spent = into_load + candidates.wiring_loss_w + request.source_resistance_ohm * current**2
    np.testing.assert_allclose(spent, power_in, rtol=1e-9)
    np.testing.assert_allclose(
        candidates.wiring_loss_w, candidates.voltage_drop_v * current, rtol=1e-12
    )


@MODERATE
@given(requests(load=st.fixed_dictionaries({"load_current_a": st.floats(0.5, 300.0)})))
def test_current_load_at_the_greatest_length_has_the_allowed_drop(request):
    candidates = size_conductor(request, TABLES).candidates
    lengths = candidates.greatest_length_m
    for index in {0, len(lengths) // 2, len(lengths) - 1}:
        if lengths[index] == 0.0:
            fixed = request.wiring_fixed_resistance_ohm * request.load_current_a
            assert fixed >= request.allowed_voltage_drop_v
            continue
        stretched = longer(request, lengths[index] / request.route_length_m)
        at_limit = size_conductor(stretched, TABLES).candidates
        assert at_limit.voltage_drop_v[index] == pytest.approx(
            request.allowed_voltage_drop_v, rel=1e-6
        )


@MODERATE
@given(requests(load=st.fixed_dictionaries({"load_power_w": st.floats(5.0, 2000.0)})))
def test_power_load_within_its_greatest_length_keeps_the_drop(request):
    candidates = size_conductor(request, TABLES).candidates
    known = candidates.operating_point_exists & ~np.isnan(candidates.conductor_temperature_k)
    drop_ok = candidates.voltage_drop_v <= request.allowed_voltage_drop_v
    length_ok = candidates.greatest_length_m >= request.route_length_m
    near = np.isclose(candidates.voltage_drop_v, request.allowed_voltage_drop_v, rtol=1e-9)
    assert (drop_ok == length_ok)[known & ~near].all()


@pytest.mark.parametrize("size", ["12 AWG", "8 AWG", "1/0 AWG"])
def test_power_load_at_the_greatest_length_has_the_allowed_drop(size):
    request = ConductorRequest(
        sizes=TABLES.series["awg"],
        material=TABLES.materials["copper"],
        insulation=TABLES.insulations["pvc_105"],
        supply_voltage_v=12.0,
        allowed_voltage_drop_v=1.2,
        segments=(Segment(6.0, 313.15),),
        load_power_w=600.0,
    )
    index = request.sizes.index(TABLES.conductors[size])
    length_m = size_conductor(request, TABLES).candidates.greatest_length_m[index]
    at_limit = size_conductor(longer(request, length_m / 6.0), TABLES).candidates
    assert at_limit.voltage_drop_v[index] == pytest.approx(1.2, rel=1e-6)


def test_greatest_length_behind_a_weak_source_is_not_below_a_route_that_passes():
    # 12 V behind 50 mohm gives 700 W with up to 1.43 mohm of wiring: 144 / 2800 - 0.05.
    request = ConductorRequest(
        sizes=TABLES.series["awg"],
        material=TABLES.materials["copper"],
        insulation=TABLES.insulations["pvc_105"],
        supply_voltage_v=12.0,
        allowed_voltage_drop_v=1.2,
        segments=(Segment(0.5, 313.15),),
        load_power_w=700.0,
        source_resistance_ohm=0.05,
    )
    answer = size_conductor(request, TABLES)
    assert answer.verdict == "conductor_found"
    assert answer.candidates.greatest_length_m[answer.chosen] >= 0.5


@MODERATE
@given(requests(), st.integers(2, 6))
def test_equal_segments_are_one_segment(request, parts):
    split = dataclasses.replace(
        request,
        segments=tuple(
            dataclasses.replace(segment, length_m=segment.length_m / parts)
            for segment in request.segments
            for _ in range(parts)
        ),
    )
    whole, pieces = (size_conductor(asked, TABLES) for asked in (request, split))
    assert (whole.verdict, whole.chosen) == (pieces.verdict, pieces.chosen)
    for name in (
        "load_current_a",
        "voltage_drop_v",
        "wiring_loss_w",
        "conductor_temperature_k",
        "heat_ampacity_a",
        "greatest_length_m",
    ):
        np.testing.assert_allclose(
            getattr(pieces.candidates, name), getattr(whole.candidates, name), rtol=1e-9
        )


@MODERATE
@given(requests(), st.integers(0, 2))
def test_order_of_the_segments_does_not_matter(request, turn):
    turned = dataclasses.replace(
        request, segments=request.segments[turn:] + request.segments[:turn]
    )
    first, second = (size_conductor(asked, TABLES).candidates for asked in (request, turned))
    np.testing.assert_allclose(first.voltage_drop_v, second.voltage_drop_v, rtol=1e-9)


@MODERATE
@given(requests(load=st.fixed_dictionaries({"load_current_a": st.floats(0.5, 150.0)}), runs=1))
def test_parallel_runs_share_the_current(request):
    # In a bundle of 7 to 24 conductors two more runs change no factor: 2 runs at twice the current
    # are as warm as one, drop as much and lose twice.
    bundled = with_segments(request, lambda _: {"bundled_conductors": 10})
    bundled = dataclasses.replace(
        bundled, chassis_resistance_ohm=0.0, fixed_resistance_ohm=0.0, source_resistance_ohm=0.0
    )
    doubled = dataclasses.replace(
        bundled, greatest_parallel_runs=2, load_current_a=2.0 * bundled.load_current_a
    )
    one = size_conductor(bundled, TABLES).candidates
    two = size_conductor(doubled, TABLES).candidates
    count = len(request.sizes)
    assert (two.parallel_runs[count:] == 2).all()
    for name, factor in (
        ("voltage_drop_v", 1.0),
        ("conductor_temperature_k", 1.0),
        ("greatest_length_m", 1.0),
        ("wiring_loss_w", 2.0),
        ("heat_ampacity_a", 2.0),
        ("published_ampacity_a", 2.0),
    ):
        np.testing.assert_allclose(
            getattr(two, name)[count:], factor * getattr(one, name), rtol=1e-9, err_msg=name
        )


@MODERATE
@given(requests(cyclic=False), st.floats(0.1, 1e4))
def test_duty_without_a_pause_is_continuous(request, on_time_s):
    cyclic = dataclasses.replace(request, on_time_s=on_time_s, off_time_s=0.0)
    first, second = (size_conductor(asked, TABLES) for asked in (request, cyclic))
    assert first.chosen == second.chosen
    np.testing.assert_allclose(
        first.candidates.conductor_temperature_k,
        second.candidates.conductor_temperature_k,
        rtol=1e-9,
    )


@MODERATE
@given(requests(cyclic=False), st.floats(1.0, 600.0), st.floats(0.0, 600.0))
def test_pauses_never_ask_for_more_copper(request, on_time_s, off_time_s):
    cyclic = dataclasses.replace(request, on_time_s=on_time_s, off_time_s=off_time_s)
    assert place(size_conductor(cyclic, TABLES)) <= place(size_conductor(request, TABLES))


@MODERATE
@given(requests())
def test_answer_states_its_proof_and_its_verdict(request):
    answer = size_conductor(request, TABLES)
    assert answer.residual < RELATIVE_TOLERANCE
    assert answer.iterations < GREATEST_ITERATIONS
    passing = answer.candidates.passes.all(axis=0)
    if answer.chosen is None:
        assert not passing.any()
        exists = answer.candidates.operating_point_exists.any()
        assert answer.verdict == ("no_conductor_meets_criteria" if exists else "no_operating_point")
    else:
        assert answer.verdict == "conductor_found"
        assert passing[answer.chosen]
        assert not passing[: answer.chosen].any()
    utilisation = answer.candidates.utilisation
    assert np.isfinite(utilisation).all()
    assert (utilisation[answer.candidates.passes] <= 1.0 + 1e-9).all()
