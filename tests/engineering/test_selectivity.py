"""Selectivity of two fuses on bands drawn by hand, whose crossings have a closed form."""

import math
from dataclasses import replace

import pytest

from loomwright.engineering.protection import selectivity
from loomwright.engineering.protection.selectivity import FuseInCircuit
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.records import OpeningTime

FUSES = fuse_tables()
TYPE_C = FUSES.types["iso_8820_3_c"]
UNPUBLISHED = next(kind for kind in FUSES.types.values() if not kind.opening_times)


def upstream_of(least_s):
    """Return a type with these least times by multiple; its greatest times take no part."""
    points = (OpeningTime(multiple, time, 2.0 * time) for multiple, time in least_s.items())
    return replace(TYPE_C, opening_times=tuple(points))


def downstream_of(greatest_s):
    """Return a type with these greatest times by multiple; its least times take no part."""
    points = (OpeningTime(multiple, 0.5 * time, time) for multiple, time in greatest_s.items())
    return replace(TYPE_C, opening_times=tuple(points))


# 512 s over the cube of the multiple, from 2 to 8.
DOWNSTREAM = downstream_of({2.0: 64.0, 8.0: 1.0})


@pytest.mark.parametrize(
    ("least_s", "ratio", "multiple", "ended_by"),
    [
        # 8192 s over the fifth power: the bands cross at multiple 4, at 8 s.
        ({2.0: 256.0, 8.0: 0.25}, 1.0, 4.0, selectivity.END_BY_CROSSING),
        # Twice the rating, twice the multiple: 262 144 s over the fifth power falls to the 1 s, at
        # which the downstream fuse stays past its last point, at 2**(18/5).
        ({2.0: 256.0, 8.0: 0.25}, 2.0, 2.0**3.6, selectivity.END_BY_CROSSING),
        # Above the downstream band to the end of the upstream one, at 6 and at 12.
        ({2.0: 1000.0, 6.0: 100.0}, 1.0, 6.0, selectivity.END_BY_CURVE),
        ({2.0: 1000.0, 6.0: 100.0}, 2.0, 12.0, selectivity.END_BY_CURVE),
        # Below its first point at 4 the upstream fuse carries at least as long as there: 20 s are
        # too short for multiple 2, at which the downstream fuse may take 64 s.
        ({4.0: 20.0, 8.0: 5.0}, 1.0, 0.0, selectivity.END_BY_CROSSING),
        ({4.0: 70.0, 8.0: 5.0}, 1.0, 8.0, selectivity.END_BY_CURVE),
        # The bands touch at the start, and at the end.
        ({2.0: 64.0, 8.0: 5.0}, 1.0, 0.0, selectivity.END_BY_CROSSING),
        ({2.0: 128.0, 8.0: 1.0}, 1.0, 8.0, selectivity.END_BY_CROSSING),
        # The upstream band ends where the downstream fuse must begin to open.
        ({1.0: 1000.0, 2.0: 100.0}, 1.0, 0.0, selectivity.END_BY_CURVE),
        ({1.0: 1000.0, 2.0: 100.0}, 0.9, 0.0, selectivity.END_BY_CURVE),
    ],
)
def test_selective_up_to_the_first_crossing_or_the_end_of_the_upstream_band(
    least_s, ratio, multiple, ended_by
):
    found = selectivity.selective_multiple(upstream_of(least_s), DOWNSTREAM, ratio)
    assert found == (pytest.approx(multiple, rel=1e-12), ended_by)


def test_bands_that_touch_at_a_corner_and_part_again_are_selective_up_to_it():
    down = downstream_of({2.0: 64.0, 4.0: 8.0, 8.0: 1.0})
    up = upstream_of({2.0: 128.0, 4.0: 8.0, 8.0: 4.0})
    assert selectivity.selective_multiple(up, down, 1.0) == (
        pytest.approx(4.0, rel=1e-12),
        selectivity.END_BY_CROSSING,
    )


def test_fault_of_just_the_limit_is_selective_and_any_more_is_in_part():
    up = FuseInCircuit(upstream_of({2.0: 256.0, 8.0: 0.25}), 10.0)
    down = FuseInCircuit(DOWNSTREAM, 10.0)
    limit_a, _ = selectivity.selective_up_to_a(up, down)
    assert limit_a == pytest.approx(40.0, rel=1e-12)
    found = selectivity.selectivity(up, down, limit_a)
    assert found == selectivity.Selectivity(selectivity.SELECTIVE, limit_a, None)
    found = selectivity.selectivity(up, down, math.nextafter(limit_a, math.inf))
    assert found == selectivity.Selectivity(
        selectivity.SELECTIVE_IN_PART, limit_a, selectivity.END_BY_CROSSING
    )


@pytest.mark.parametrize("unknown", [UNPUBLISHED, None])
@pytest.mark.parametrize("is_upstream", [True, False])
def test_one_curve_that_is_not_published_leaves_selectivity_open(unknown, is_upstream):
    known, other = FuseInCircuit(TYPE_C, 40.0), FuseInCircuit(unknown, 40.0)
    pair = (other, known) if is_upstream else (known, other)
    assert selectivity.selective_up_to_a(*pair) is None
    found = selectivity.selectivity(*pair, 100.0)
    assert found == selectivity.Selectivity(selectivity.CURVE_NOT_PUBLISHED, None, None)
