"""The fuse selection at its edges: equal figures, ambient, the far end, and what is left out."""

import math
from dataclasses import fields

import pytest

from loomwright.engineering.protection import fuse_answer as answers
from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_bounds import UPSTREAM
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FuseOptions,
    FusePlacement,
    FuseRequest,
    GivenFuse,
    ProtectedConductor,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.fuses import NOT_LIMITED, OUTSIDE, WITHIN
from loomwright.engineering.protection.selectivity import FuseInCircuit, selective_up_to_a
from loomwright.engineering.protection.transient import lumped_conductor_in_air
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance

TABLES = tables()
FUSES = fuse_tables()
COPPER = TABLES.materials["copper"]
SOURCE = Provenance("example", "example", "practice")
LUMP = lumped_conductor_in_air(
    TABLES.conductors["8 AWG"], COPPER, TABLES.insulations["pvc_105"], COPPER, TABLES.air, 303.15
)


def answer_of(load_a=30.0, loop_ohm=0.028, emf_v=12.6, internal_ohm=0.02, **changes):
    values = {
        "load": FuseLoad(load_a),
        "conductor": ProtectedConductor(LUMP, 80.0, loop_ohm, SOURCE),
        "source": FaultSource(emf_v, internal_ohm),
        "system_voltage_v": 12.0,
        "ambient_temperature_k": 296.15,
        "fuse_types": ("iso_8820_3_c",),
        **changes,
    }
    return size_fuse(FuseRequest(**values), FUSES)


def checked(rating_a, **changes):
    answer = answer_of(checked_fuse=GivenFuse(rating_a, "iso_8820_3_c"), **changes)
    return answer.types[0]


@pytest.mark.parametrize(
    ("ambient_c", "later"),
    # 0.15 % per kelvin from 23 C: a cold fuse opens later, a warm one is not credited.
    [(23.0, 1.0), (63.0, 1.0), (-17.0, 1.06)],
)
def test_far_end_is_read_at_the_rating_of_a_cold_fuse(ambient_c, later):
    found = checked(40.0, ambient_temperature_k=ambient_c + 273.15, internal_ohm=0.1)
    # 12.6 V over 0.1 ohm and 0.028 ohm.
    expected = 12.6 / 0.128 / (40.0 * later)
    assert found.far_end_opening.current_multiple == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("loop_ohm", "state"),
    # 11 V drive 10 A fuses at 1.05, 1.1, 1.2, 1.35 and 2 times their rating. Type C carries 110 %
    # without limit; its greatest times begin at 135 %.
    [
        (11.0 / 10.5, OUTSIDE),
        (1.0, NOT_LIMITED),
        (11.0 / 12.0, NOT_LIMITED),
        (11.0 / 13.5, WITHIN),
        (11.0 / 20.0, WITHIN),
    ],
)
def test_state_of_a_fault_that_hardly_opens_the_fuse(loop_ohm, state):
    found = checked(
        10.0,
        loop_ohm=loop_ohm,
        emf_v=11.0,
        internal_ohm=0.0,
        placement=FusePlacement(distance_from_source_m=5.0),
    )
    assert found.far_end_opening.state == state
    assert (found.far_end_opening.opens_within_s is None) is (state != WITHIN)


@pytest.mark.parametrize(
    ("loop_ohm", "cleared"),
    # Type C surely opens in 5 s at 200 %: 80 A for a rating of 40 A.
    [(12.6 / 79.0 - 0.02, False), (12.6 / 81.0 - 0.02, True)],
)
def test_far_end_is_cleared_from_the_multiple_that_opens_in_time(loop_ohm, cleared):
    found = checked(40.0, loop_ohm=loop_ohm)
    assert found.far_end_opening.is_cleared is cleared
    assert (answers.NOT_CLEARED in found.failures) is not cleared


@pytest.mark.parametrize("clearing_s", [0.09, 0.11])
@pytest.mark.parametrize("is_given", [False, True])
def test_no_rating_clears_sooner_than_the_last_printed_time(clearing_s, is_given):
    # Type C opens within 0.1 s at 600 %, 240 A for 40 A, and nowhere surely sooner.
    fuse = GivenFuse(40.0, "iso_8820_3_c") if is_given else None
    options = FuseOptions(clearing_time_s=clearing_s)
    found = answer_of(loop_ohm=0.01, internal_ohm=0.02, checked_fuse=fuse, options=options).types[0]
    assert found.candidate_rating_a == 40.0
    is_cleared = clearing_s > 0.1
    assert found.far_end_opening.is_cleared is is_cleared
    assert (answers.NOT_CLEARED in found.failures) is not is_cleared


@pytest.mark.parametrize(
    ("load_a", "low"),
    # At 75 % loading 30 A need 40 A exactly.
    [(29.9, False), (30.0, False), (30.1, True)],
)
def test_a_rating_equal_to_its_lower_bound_is_not_too_low(load_a, low):
    assert (answers.RATING_TOO_LOW in checked(40.0, load_a=load_a).failures) is low


@pytest.mark.parametrize(
    ("near_a", "lacking_ohm"),
    # Type C breaks 1000 A; 12 V / 1000 A less 12 V / 1200 A by hand.
    [(999.0, None), (1000.0, None), (1200.0, 0.002)],
)
def test_a_fault_of_just_the_breaking_capacity_is_broken(near_a, lacking_ohm):
    found = answer_of(emf_v=12.0, internal_ohm=12.0 / near_a).types[0]
    assert (answers.BREAKING_TOO_LOW in found.failures) is (lacking_ohm is not None)
    expected = None if lacking_ohm is None else pytest.approx(lacking_ohm, rel=1e-9)
    assert found.lacking_resistance_before_fuse_ohm == expected


@pytest.mark.parametrize("required", [False, True])
@pytest.mark.parametrize("upstream", [None, GivenFuse(100.0, "iso_8820_5_sf51")])
def test_selectivity_bounds_only_where_it_is_required_of_a_fuse_that_is_there(required, upstream):
    found = answer_of(
        upstream_fuse=upstream, options=FuseOptions(selectivity_required=required)
    ).types[0]
    rules = [bound.rule for bound in found.window.upper_bounds]
    assert (UPSTREAM in rules) is (required and upstream is not None)


@pytest.mark.parametrize(("more", "rating_a"), [(False, 50.0), (True, 40.0)])
def test_a_rating_is_selective_up_to_a_fault_of_just_its_limit(more, rating_a):
    """Type E under a bolted strip fuse of 100 A: the larger its rating, the sooner they cross."""
    strip = FuseInCircuit(FUSES.types["iso_8820_5_sf51"], 100.0)
    blade = FuseInCircuit(FUSES.types["iso_8820_3_e"], 50.0)
    limit_a, _ = selective_up_to_a(strip, blade)
    source = FaultSource(12.6, 0.001, 0.0, math.nextafter(limit_a, math.inf) if more else limit_a)
    found = answer_of(
        source=source,
        fuse_types=("iso_8820_3_e",),
        upstream_fuse=GivenFuse(100.0, "iso_8820_5_sf51"),
        options=FuseOptions(selectivity_required=True),
    ).types[0]
    bounds = {bound.rule: bound.rated_current_a for bound in found.window.upper_bounds}
    assert bounds[UPSTREAM] == rating_a


def test_the_plain_variant_of_a_type_is_not_called_a_higher_voltage_one():
    kind = FUSES.types["iso_8820_3_c"]
    found = answer_of().types[0]
    assert found.rated_voltage_v == kind.rated_voltages_v[0]
    assert found.is_higher_voltage_variant is False
    assert "higher_voltage_variant" not in answer_of().cautions


def test_parallel_conductors_bear_their_number_of_times_the_current():
    one, two = (
        answer_of(
            conductor=ProtectedConductor(LUMP, runs * 60.0, 0.028, SOURCE, parallel_conductors=runs)
        )
        for runs in (1, 2)
    )
    assert two.damage_threshold_current_a == pytest.approx(
        2.0 * one.damage_threshold_current_a, rel=1e-12
    )


def test_what_a_request_leaves_out_is_the_strict_case():
    options, placement = FuseOptions(), FusePlacement()
    chosen = [getattr(options, field.name) for field in fields(options)]
    assert chosen == [None, None, False, False, False, False]
    assert (placement.distance_from_source_m, placement.sheathed) == (0.0, False)
    assert (placement.on_battery_terminal, placement.is_main) == (True, True)
    assert ProtectedConductor(LUMP, 80.0, 0.028, SOURCE).parallel_conductors == 1


@pytest.mark.parametrize("key", list(FUSES.types))
def test_an_answer_rests_on_the_rows_of_each_wanted_type(key):
    rows = answer_of(fuse_types=(key,)).provenances.rows
    assert FUSES.types[key].provenance in rows
    assert FUSES.rating_provenance[key] in rows
    assert key not in FUSES.curve_provenance or FUSES.curve_provenance[key] in rows
