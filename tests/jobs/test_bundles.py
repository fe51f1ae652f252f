"""Bundle diameters against the densest packings of equal circles in a circle."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.jobs.bundles import bundle_diameter_m

# Ratio of the enclosing circle to n equal circles. Source: the closed forms of the proven optima,
# 1 + 2/sqrt(3), 1 + sqrt(2), 1 + 1/sin(36 deg), 3, 3, and for 19: 1 + sqrt(2) + sqrt(6). (memory)
PACKINGS = {
    1: 1.0,
    2: 2.0,
    3: 1.0 + 2.0 / math.sqrt(3.0),
    4: 1.0 + math.sqrt(2.0),
    5: 1.0 + 1.0 / math.sin(math.radians(36.0)),
    6: 3.0,
    7: 3.0,
    19: 1.0 + math.sqrt(2.0) + math.sqrt(6.0),
}


@pytest.mark.parametrize(("count", "ratio"), PACKINGS.items())
def test_a_bundle_is_never_below_the_densest_packing(count: int, ratio: float) -> None:
    # At most 20 % above: a loom is chosen by it, and the next loom size is about 30 % up.
    diameter = bundle_diameter_m([0.004] * count)
    assert 0.004 * ratio * (1.0 - 1e-12) <= diameter <= 0.004 * ratio * 1.2


@given(st.lists(st.floats(0.001, 0.03), min_size=1, max_size=8), st.floats(0.001, 0.03))
def test_one_more_conductor_never_makes_a_thinner_bundle(
    diameters: list[float], more: float
) -> None:
    assert bundle_diameter_m([*diameters, more]) >= bundle_diameter_m(diameters)
