"""Conductors of a route as stretches of a network: by hand, and the loop that sizing has."""

import numpy as np
import pytest

from drawn_networks import solved
from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.network.conductor_stretches import candidate_of, conductor_stretches
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft
from loomwright.engineering.network.solver import NO_OPERATING_POINT, SOLVED
from loomwright.tables.load import tables

TABLES = tables()
SIZES = TABLES.series["metric"]
SEGMENTS = (Segment(3.0, 313.15), Segment(1.0, 353.15, 3, True), Segment(0.5, 293.15, 2))
# Sizing stops on a step of 3e-4 and moves the resistance along by it; what is left is of the order
# of its square, 1e-7.
AS_SIZED = 1e-6


def request(**changes):
    values = {
        "sizes": SIZES,
        "material": TABLES.materials["copper"],
        "insulation": TABLES.insulations["pvc_105"],
        "supply_voltage_v": 12.5,
        "allowed_voltage_drop_v": 0.5,
        "segments": SEGMENTS,
        "greatest_parallel_runs": 2,
        "source_resistance_ohm": 0.01,
        **changes,
    }
    return ConductorRequest(**values)


def test_stretch_has_the_resistance_of_one_way_at_its_ambient():
    # 2.5 mm2 of flexible copper: 7.98 ohm/km at 20 C, IEC 60228, table 3, and 0.004 /K.
    wanted = request(given_size=next(size for size in SIZES if size.key == "2.5 mm2"))
    per_metre, coefficient = 7.98e-3, 0.004
    found = conductor_stretches(wanted, candidate_of(wanted), TABLES)
    for stretch, segment in zip(found, SEGMENTS, strict=True):
        warm = 1.0 + coefficient * (segment.ambient_temperature_k - 293.15)
        at_ambient = segment.length_m * per_metre * warm
        assert stretch.ambient_resistance_ohm == pytest.approx(at_ambient, rel=1e-12)
        slope = segment.length_m * per_metre * coefficient
        assert stretch.resistance_slope_ohm_per_k == pytest.approx(slope, rel=1e-12)
        assert stretch.curve.shape[-1] == 4


@pytest.mark.parametrize("candidate", [0, 5, len(SIZES) + 5])
def test_return_in_the_bundle_changes_no_resistance_and_never_cools(candidate):
    alone = conductor_stretches(request(return_by_conductor=False), candidate, TABLES)
    beside = conductor_stretches(request(return_by_conductor=True), candidate, TABLES)
    for one, other in zip(alone, beside, strict=True):
        assert one.ambient_resistance_ohm == pytest.approx(other.ambient_resistance_ohm, rel=1e-14)
        assert one.resistance_slope_ohm_per_k == pytest.approx(
            other.resistance_slope_ohm_per_k, rel=1e-14
        )
        assert one.share_per_ampere <= other.share_per_ampere
        np.testing.assert_array_equal(one.curve, other.curve)


def test_two_runs_have_half_the_resistance_of_one():
    wanted = request()
    one = conductor_stretches(wanted, 5, TABLES)
    two = conductor_stretches(wanted, 5 + len(SIZES), TABLES)
    for single, double in zip(one, two, strict=True):
        assert double.ambient_resistance_ohm == pytest.approx(
            single.ambient_resistance_ohm / 2.0, rel=1e-14
        )
        # Each carries half, in a bundle that is fuller by what was added.
        assert single.share_per_ampere / 2.0 <= double.share_per_ampere < single.share_per_ampere


def network(wanted, candidate):
    """Return the circuit that was sized: source, feed, load and its return."""
    stretches = conductor_stretches(wanted, candidate, TABLES)
    draft = NetworkDraft()
    draft.source("source", REFERENCE, "plus", wanted.supply_voltage_v, wanted.source_resistance_ohm)
    draft.branch("feed", "plus", "load plus", wanted.fixed_resistance_ohm, stretches)
    back = stretches if wanted.return_by_conductor else ()
    draft.branch("return", "load minus", REFERENCE, wanted.chassis_resistance_ohm, back)
    draft.load(
        "load",
        "load plus",
        "load minus",
        power_w=wanted.load_power_w or 0.0,
        current_a=wanted.load_current_a or 0.0,
    )
    return draft


@pytest.mark.parametrize(
    "changes",
    [
        {"load_current_a": 25.0},
        {"load_power_w": 250.0},
        {"load_power_w": 250.0, "fixed_resistance_ohm": 0.002},
        {
            "load_power_w": 120.0,
            "return_by_conductor": False,
            "chassis_resistance_ohm": 0.003,
        },
        {"load_power_w": 200.0, "on_time_s": 60.0, "off_time_s": 120.0},
    ],
)
def test_one_circuit_is_that_of_the_sizing(changes):
    # No resistance at all is not a branch: the return has at least this much in both.
    wanted = request(**{"chassis_resistance_ohm": 1e-4, **changes})
    sized = size_conductor(wanted, TABLES).candidates
    compared = 0
    for candidate, exists in enumerate(sized.operating_point_exists):
        point = solved(network(wanted, candidate))
        assert point.state == (SOLVED if exists else NO_OPERATING_POINT)
        if not exists:
            continue
        compared += 1
        assert point.load_a["load"] == pytest.approx(sized.load_current_a[candidate], rel=AS_SIZED)
        over = point.voltage_v["load plus"] - point.voltage_v["load minus"]
        assert over == pytest.approx(sized.load_voltage_v[candidate], rel=AS_SIZED)
        assert point.row.loss_w[0] == pytest.approx(
            sized.wiring_loss_w[candidate], rel=10.0 * AS_SIZED
        )
        ambient = np.array([segment.ambient_temperature_k for segment in SEGMENTS])
        hottest = (ambient + point.row.stretch_rise_k[0, : len(SEGMENTS)]).max()
        known = not point.row.above_cap.any()
        assert known == (not np.isnan(sized.conductor_temperature_k[candidate]))
        if known:
            assert hottest == pytest.approx(sized.conductor_temperature_k[candidate], abs=1e-3)
    assert compared > len(SIZES)


def test_candidate_is_counted_by_runs_and_then_by_size():
    for runs in (1, 2, 3):
        for place in (0, 4, len(SIZES) - 1):
            wanted = request(given_size=SIZES[place], given_parallel_runs=runs)
            assert candidate_of(wanted) == place + (runs - 1) * len(SIZES)
            frame = size_conductor(
                request(load_current_a=1.0, greatest_parallel_runs=3), TABLES
            ).candidates
            assert frame.sizes[candidate_of(wanted)] is SIZES[place]
            assert frame.parallel_runs[candidate_of(wanted)] == runs


def test_candidate_needs_a_given_size_of_the_series():
    with pytest.raises(ValueError, match="gives no size"):
        candidate_of(request())
    with pytest.raises(ValueError, match="not in"):
        candidate_of(request(given_size=TABLES.series["awg"][0]))
