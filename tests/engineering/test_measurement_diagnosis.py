"""Which fault readings point to: by hand, by law, and where they leave it open."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from measured_site import (
    AT_REST,
    CURRENT_A,
    EMF_V,
    FEED_OHM,
    LOADED,
    METERS,
    OTHERS,
    PARTS_OHM,
    RETURN_OHM,
    SOURCE_OHM,
    lamp_network,
    of_lamp,
)

from loomwright.engineering.measurement.diagnosis import (
    TELLING_RATIO,
    Diagnosis,
    diagnosis,
    greatest_distance,
)
from loomwright.engineering.measurement.expected import Reading
from loomwright.engineering.measurement.hypotheses import (
    ADDED_RESISTANCE_SHARES,
    CAUSE_BY_FAULT,
    COPPER_CLAD,
    FAULTS,
    FUSE_OR_HOLDER,
    LOAD_ABOVE,
    LOAD_BELOW,
    LOOSE_LOAD_LUG,
    LOOSE_SOURCE_LUG,
    LOW_CHARGE,
    NONE,
    POOR_GROUND,
    UNDERSIZED,
    WEAK_SOURCE,
    hypotheses,
)
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    EQUIPMENT_VOLTAGE,
    FEED_DROP,
    FUSE_DROP,
    LOAD_LUG_DROP,
    RETURN_DROP,
    SOURCE_LUG_DROP,
    Array,
    Quantity,
)
from loomwright.engineering.measurement.next_reading import LEAST_SEPARATION
from loomwright.engineering.measurement.uncertainty import USUAL, drawn_variants

WIRING_OHM = FEED_OHM + RETURN_OHM + sum(PARTS_OHM)


def readings_by_hand(
    *,
    feed_ohm: float = FEED_OHM,
    return_ohm: float = RETURN_OHM,
    parts: tuple[float, ...] = PARTS_OHM,
    source_ohm: float = SOURCE_OHM,
    emf_v: float = EMF_V,
    current_a: float = CURRENT_A,
) -> dict[Quantity, Reading]:
    """What a perfect meter shows, by Ohm's law alone."""
    feed = current_a * (feed_ohm + sum(parts[:3]))
    back = current_a * (return_ohm + sum(parts[3:]))
    source = emf_v - current_a * source_ohm
    values = {
        AT_REST: emf_v,
        Quantity(EQUIPMENT_VOLTAGE, "lamp", "rest"): emf_v,
        LOADED: source,
        of_lamp(EQUIPMENT_VOLTAGE): source - feed - back,
        of_lamp(FEED_DROP): feed,
        of_lamp(RETURN_DROP): back,
        of_lamp(SOURCE_LUG_DROP): current_a * parts[0],
        of_lamp(FUSE_DROP): current_a * parts[1],
        of_lamp(LOAD_LUG_DROP): current_a * parts[2],
        of_lamp(CURRENT): current_a,
    }
    return {key: Reading(value, METERS[key]) for key, value in values.items()}


def added(part: int, ohm: float) -> tuple[float, ...]:
    return (*PARTS_OHM[:part], PARTS_OHM[part] + ohm, *PARTS_OHM[part + 1 :])


@cache
def lamp_draws() -> Array:
    """What a perfect meter shows of draws of the lamp, made once for all tests."""
    network = lamp_network()
    return network.values_of(drawn_variants(network, USUAL), sorted(METERS))


def diagnosed(readings: Mapping[Quantity, Reading]) -> Diagnosis:
    return diagnosis(lamp_network(), lamp_draws(), METERS, readings, OTHERS, ["lamp"])


# Fault, what it does to the figures by hand, where it is, and its size.
CASES = [
    (NONE, {}, "", 0.0),
    (POOR_GROUND, {"parts": added(4, 0.02)}, "lamp", 0.02),
    (LOOSE_SOURCE_LUG, {"parts": added(0, 0.03)}, "lamp", 0.03),
    (LOOSE_LOAD_LUG, {"parts": added(2, 0.01)}, "lamp", 0.01),
    (FUSE_OR_HOLDER, {"parts": added(1, 0.015)}, "lamp", 0.015),
    (LOAD_BELOW, {"current_a": 4.0}, "lamp", 0.4),
    (LOAD_ABOVE, {"current_a": 20.0}, "lamp", 2.0),
    (WEAK_SOURCE, {"source_ohm": 0.05}, "battery", 10.0),
    (LOW_CHARGE, {"emf_v": 11.5}, "battery", 1.0),
    (UNDERSIZED, {"feed_ohm": 1.6 * FEED_OHM, "return_ohm": 1.6 * RETURN_OHM}, "lamp", 1.6),
]


@pytest.mark.parametrize(("fault", "figures", "subject", "size"), CASES)
def test_a_fault_is_named_with_place_and_size(
    fault: str, figures: dict[str, object], subject: str, size: float
) -> None:
    found = diagnosed(readings_by_hand(**figures))  # type: ignore[arg-type]
    first = found.causes[0]
    assert (first.fault, first.subject, first.cause) == (fault, subject, CAUSE_BY_FAULT[fault])
    # Sizes are solved in steps of some 7 %; what the tolerances of the rest shift comes on top.
    assert first.magnitude == pytest.approx(size, rel=0.15)
    assert found.explains
    assert sum(cause.probability for cause in found.causes) == pytest.approx(1.0)
    probabilities = [cause.probability for cause in found.causes]
    assert probabilities == sorted(probabilities, reverse=True)


def test_conductors_that_differ_by_less_than_their_tolerance_are_named_as_a_group() -> None:
    # 1.6 and 1.55 times the planned resistance, each known to some 4 %.
    found = diagnosed(readings_by_hand(feed_ohm=1.58 * FEED_OHM, return_ohm=1.58 * RETURN_OHM))
    assert {cause.fault for cause in found.causes[: found.alike]} == {UNDERSIZED, COPPER_CLAD}
    assert {cause.cause for cause in found.causes[: found.alike]} == {"conductor"}
    assert {cause.label for cause in found.causes[:2]} == {"thin", "clad"}


def test_the_group_is_what_lies_within_a_tenth_of_the_likeliest() -> None:
    full = readings_by_hand(parts=added(0, 0.03))
    few = {key: full[key] for key in (AT_REST, LOADED, of_lamp(FEED_DROP), of_lamp(CURRENT))}
    found = diagnosed(few)
    first = found.causes[0].probability
    inside = [cause.probability * TELLING_RATIO > first for cause in found.causes]
    assert inside == [True] * found.alike + [False] * (len(found.causes) - found.alike)


def test_a_first_cause_more_than_ten_times_as_likely_stands_alone() -> None:
    # 8 A instead of 10 by a meter of 2 % and half an ampere: hardly the planned load.
    found = diagnosed(readings_by_hand(current_a=8.0))
    first, second = (cause.probability for cause in found.causes[:2])
    assert 10.0 < first / second < 100.0
    assert found.alike == 1


def test_a_joint_of_the_feed_stays_open_until_its_own_drop_is_read() -> None:
    full = readings_by_hand(parts=added(0, 0.03))
    joints = {of_lamp(what) for what in (SOURCE_LUG_DROP, FUSE_DROP, LOAD_LUG_DROP)}
    few = {key: reading for key, reading in full.items() if key not in joints}
    found = diagnosed(few)
    group = {cause.fault for cause in found.causes[: found.alike]}
    assert group >= {LOOSE_SOURCE_LUG, FUSE_OR_HOLDER, LOOSE_LOAD_LUG}
    assert POOR_GROUND not in group
    following = found.next_reading
    assert following is not None
    assert following.quantity in joints
    assert following.separation > 2.0
    assert following.if_first != pytest.approx(following.if_second)
    assert diagnosed(few | {following.quantity: full[following.quantity]}).alike < found.alike
    assert diagnosed(full).alike == 1


def test_no_reading_is_left_where_all_are_taken() -> None:
    assert diagnosed(readings_by_hand()).next_reading is None


def test_a_next_reading_moves_by_a_standard_deviation_at_least() -> None:
    full = readings_by_hand(parts=added(4, 0.05))
    few = {key: reading for key, reading in full.items() if key.what != LOAD_LUG_DROP}
    # A poor ground and what comes next differ by nothing at a lug.
    following = diagnosed(few).next_reading
    assert following is None or following.separation >= LEAST_SEPARATION


def test_two_faults_at_once_are_explained_by_none() -> None:
    parts = (*added(4, 0.05)[:1], PARTS_OHM[1] + 0.05, *added(4, 0.05)[2:])
    assert not diagnosed(readings_by_hand(parts=parts)).explains


def test_one_reading_is_enough_to_say_that_little_is_known() -> None:
    full = readings_by_hand()
    found = diagnosed({LOADED: full[LOADED]})
    assert found.explains
    assert found.alike > 3
    assert found.next_reading is not None


@settings(max_examples=15)
@given(st.permutations(list(METERS)))
def test_ranking_does_not_depend_on_the_order_of_readings(order: list[Quantity]) -> None:
    full = readings_by_hand(parts=added(1, 0.01))
    assert diagnosed({key: full[key] for key in order}) == diagnosed(full)


@settings(max_examples=10)
@given(st.floats(0.02, 0.08), st.floats(1.2, 2.0))
def test_a_worse_joint_is_found_larger(ohm: float, factor: float) -> None:
    sizes = [
        diagnosed(readings_by_hand(parts=added(4, size))).causes[0].magnitude
        for size in (ohm, min(ohm * factor, 0.09))
    ]
    assert sizes[0] <= sizes[1]


def test_a_fault_that_lets_the_circuit_collapse_is_out_of_the_question() -> None:
    # 1000 W behind 12.5 V: more than 39 mohm in all leaves no operating point, and joints are tried
    # up to eight times the 12 mohm of the wiring.
    network = lamp_network(power_w=1000.0, current_a=0.0)
    draws = network.values_of(drawn_variants(network, USUAL), sorted(METERS))
    shown = dict(zip(sorted(METERS), draws.mean(axis=0), strict=True))
    readings = {key: Reading(float(shown[key]), METERS[key]) for key in METERS}
    found = diagnosis(network, draws, METERS, readings, OTHERS, ["lamp"])
    assert found.causes[0].fault == NONE
    assert all(np.isfinite(cause.probability) for cause in found.causes)


# --- the hypotheses ---


def test_hypotheses_are_the_plan_with_one_thing_changed() -> None:
    network = lamp_network()
    found, variants = hypotheses(network, OTHERS, ["lamp"])
    assert [entry.fault for entry in found] == [
        NONE, UNDERSIZED, COPPER_CLAD, POOR_GROUND, LOOSE_SOURCE_LUG, LOOSE_LOAD_LUG,
        FUSE_OR_HOLDER, LOAD_BELOW, LOAD_ABOVE, WEAK_SOURCE, LOW_CHARGE,
    ]  # fmt: skip
    assert {entry.fault for entry in found} == set(FAULTS)
    assert found[0].magnitudes.tolist() == [0.0]
    rows = [place for entry in found for place in range(entry.rows.start, entry.rows.stop)]
    assert rows == list(range(variants.emf_v.shape[0]))
    fields = tuple(type(variants).__annotations__)
    changed = {
        entry.fault: {
            field
            for field in fields
            if (getattr(variants, field)[entry.rows] != getattr(network.planned, field)).any()
        }
        for entry in found
    }
    conductor = {"ambient_resistance_ohm", "resistance_slope_ohm_per_k"}
    part = {"part_resistance_ohm"}
    assert changed == {
        NONE: set(), UNDERSIZED: conductor, COPPER_CLAD: conductor, POOR_GROUND: part,
        LOOSE_SOURCE_LUG: part, LOOSE_LOAD_LUG: part, FUSE_OR_HOLDER: part,
        LOAD_BELOW: {"load_current_a"}, LOAD_ABOVE: {"load_current_a"},
        WEAK_SOURCE: {"source_resistance_ohm"}, LOW_CHARGE: {"emf_v"},
    }  # fmt: skip


def test_a_joint_gains_a_quarter_to_eight_times_the_wiring() -> None:
    network = lamp_network()
    found, variants = hypotheses(network, OTHERS, ["lamp"])
    ground = next(entry for entry in found if entry.fault == POOR_GROUND)
    assert pytest.approx(0.012) == WIRING_OHM
    assert ground.magnitudes[[0, -1]] == pytest.approx([0.003, 0.096])
    assert ADDED_RESISTANCE_SHARES == (0.25, 8.0)
    # It is added to the last part of the return, the chassis.
    gained = variants.part_resistance_ohm[ground.rows] - PARTS_OHM
    assert gained[:, 4] == pytest.approx(ground.magnitudes)
    assert np.abs(gained[:, :4]).max() == 0.0


@pytest.mark.parametrize(
    ("fault", "field", "ends"),
    [
        (LOAD_BELOW, "load_current_a", (1.0, 7.5)),
        (LOAD_ABOVE, "load_current_a", (13.3, 40.0)),
        (WEAK_SOURCE, "source_resistance_ohm", (0.0125, 0.15)),
        (LOW_CHARGE, "emf_v", (12.125, 10.0)),
    ],
)
def test_loads_and_sources_are_tried_between_these_ends(
    fault: str, field: str, ends: tuple[float, float]
) -> None:
    found, variants = hypotheses(lamp_network(), OTHERS, ["lamp"])
    entry = next(entry for entry in found if entry.fault == fault)
    values = getattr(variants, field)[entry.rows, 0]
    assert (values[0], values[-1]) == pytest.approx(ends)


def test_a_poor_ground_is_the_last_part_of_the_return_however_many_there_are() -> None:
    network = lamp_network()
    for parts in ((3,), (1, 2, 3)):
        lamp = network.circuits["lamp"]._replace(return_parts=parts)
        found, variants = hypotheses(replace(network, circuits={"lamp": lamp}), {}, ["lamp"])
        ground = next(entry for entry in found if entry.fault == POOR_GROUND)
        gained = variants.part_resistance_ohm[ground.rows] - PARTS_OHM
        assert gained[:, 3] == pytest.approx(ground.magnitudes)


def test_sizes_rise_in_thirteen_equal_steps_of_the_logarithm_and_losses_in_equal_ones() -> None:
    found, _ = hypotheses(lamp_network(), OTHERS, ["lamp"])
    magnitudes = {entry.fault: entry.magnitudes for entry in found if entry.magnitudes.size > 1}
    ratios = {POOR_GROUND: 32.0, LOAD_BELOW: 7.5, LOAD_ABOVE: 4.0 / 1.33, WEAK_SOURCE: 12.0}
    for fault, ratio in ratios.items():
        steps = magnitudes[fault][1:] / magnitudes[fault][:-1]
        assert steps == pytest.approx(np.full(13, ratio ** (1 / 13)))
    # 3 to 20 % of 12.5 V.
    assert magnitudes[LOW_CHARGE][[0, -1]] == pytest.approx([0.375, 2.5])
    assert np.diff(magnitudes[LOW_CHARGE]) == pytest.approx(np.full(13, 12.5 * 0.17 / 13))


def test_another_conductor_of_one_kind_alone_is_suspected_with_its_ratio() -> None:
    clad = {"lamp": OTHERS["lamp"][1:]}
    found, variants = hypotheses(lamp_network(), clad, ["lamp"])
    (entry,) = [entry for entry in found if entry.fault in {UNDERSIZED, COPPER_CLAD}]
    assert (entry.fault, entry.labels) == (COPPER_CLAD, ("clad",))
    assert entry.magnitudes == pytest.approx([1.55])
    assert variants.ambient_resistance_ohm[entry.rows][0] == pytest.approx(
        [1.55 * FEED_OHM, 1.55 * RETURN_OHM]
    )


def test_a_load_of_power_is_changed_in_power() -> None:
    found, variants = hypotheses(lamp_network(power_w=100.0, current_a=0.0), {}, ["lamp"])
    entry = next(entry for entry in found if entry.fault == LOAD_ABOVE)
    assert variants.load_power_w[entry.rows, 0][-1] == pytest.approx(400.0)


def test_without_other_conductors_and_without_a_load_nothing_is_assumed_of_them() -> None:
    network = lamp_network()
    lamp = network.circuits["lamp"]
    bare = replace(network, circuits={"lamp": lamp._replace(load=None)})
    found, _ = hypotheses(bare, {}, ["lamp"])
    assert not {entry.fault for entry in found} & {UNDERSIZED, COPPER_CLAD, LOAD_BELOW, LOAD_ABOVE}


def test_only_sources_of_measured_circuits_are_suspected() -> None:
    found, _ = hypotheses(lamp_network(), OTHERS, [])
    assert [entry.fault for entry in found] == [NONE]


@pytest.mark.parametrize(
    # Quantiles of the chi-squared distribution at 99.9 %, as any table prints them.
    ("readings", "quantile", "share"),
    [
        (1, 10.828, 0.035),
        (2, 13.816, 0.025),
        (3, 16.266, 0.02),
        (5, 20.515, 0.015),
        (10, 29.588, 0.01),
    ],
)
def test_the_greatest_distance_is_that_of_a_table(
    readings: int, quantile: float, share: float
) -> None:
    assert greatest_distance(readings) == pytest.approx(quantile, rel=share)


def test_every_fault_has_a_cause() -> None:
    assert set(CAUSE_BY_FAULT) == set(FAULTS)
