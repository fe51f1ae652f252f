"""Drops along other lengths: what size_conductor finds for each, to the last digit."""

from dataclasses import replace

import numpy as np
import pytest

from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.drop_along_length import voltage_drop_along_length_v
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.load import tables

TABLES = tables()
REQUEST = ConductorRequest(
    sizes=TABLES.series["metric"],
    material=TABLES.materials["copper"],
    insulation=TABLES.insulations["pvc_105"],
    supply_voltage_v=12.8,
    allowed_voltage_drop_v=0.4,
    segments=(Segment(1.2, 353.15, 2, engine_space=True), Segment(3.0, 318.15)),
    load_current_a=40.0,
    source_resistance_ohm=0.006,
    fixed_resistance_ohm=0.002,
)
POWER = replace(REQUEST, load_current_a=None, load_power_w=500.0)
CYCLIC = replace(REQUEST, on_time_s=30.0, off_time_s=60.0)
CHASSIS = replace(POWER, return_by_conductor=False, chassis_resistance_ohm=0.003)


@pytest.mark.parametrize("request_", [REQUEST, POWER, CYCLIC, CHASSIS])
def test_drop_at_each_length_is_that_of_the_sizing(request_):
    lengths = np.array([0.01, 1.0, 4.2, 9.0, 40.0])
    count = len(request_.sizes)
    found = voltage_drop_along_length_v(request_, range(count), lengths, TABLES)
    assert found.shape == (count, lengths.size)
    none = 0
    for place, length_m in enumerate(lengths):
        factor = length_m / request_.route_length_m
        segments = tuple(
            replace(segment, length_m=segment.length_m * factor) for segment in request_.segments
        )
        answer = size_conductor(replace(request_, segments=segments), TABLES).candidates
        exists = answer.operating_point_exists
        assert np.array_equal(np.isfinite(found[:, place]), exists)
        assert np.array_equal(found[exists, place], answer.voltage_drop_v[exists])
        none += int((~exists).sum())
    # Long thin conductors deliver neither the current nor the power.
    assert none > 0


def test_some_candidates_are_as_among_all():
    lengths = np.linspace(0.5, 5.0, 4)
    everyone = voltage_drop_along_length_v(REQUEST, range(len(REQUEST.sizes)), lengths, TABLES)
    some = voltage_drop_along_length_v(REQUEST, (7, 3), lengths, TABLES)
    assert np.array_equal(some, everyone[[7, 3]])


def test_place_as_hot_as_the_insulation_is_refused():
    hot = replace(REQUEST, segments=(Segment(1.0, 400.0),))
    with pytest.raises(EngineeringError) as raised:
        voltage_drop_along_length_v(hot, (0,), np.array([1.0]), TABLES)
    assert raised.value.code == "ambient_not_below_rating"
