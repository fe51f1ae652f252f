"""What is looked up for rows of fuses: its states, and the figures of one conductor by hand."""

from dataclasses import replace

import numpy as np
import pytest

from drawn_fuse_rows import FUSES, KEYS, conductor
from loomwright.engineering.protection import fuse_terms
from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_coordination import fuse_set
from loomwright.engineering.protection.fuse_request import FuseLoad, FuseRequest, GivenFuse

ASKED = FuseRequest(
    FuseLoad(9.0), conductor(4, "pvc_105", 1, 1.0), FaultSource(12.6, 0.02), 12.0, 313.15
)
WANTED_TYPES = fuse_set(FUSES, ())


def looked_up(request):
    terms = fuse_terms.no_terms(WANTED_TYPES, 2)
    curve = fuse_terms.look_up_candidate(terms, 1, request, WANTED_TYPES)
    return terms, curve


def test_states_are_told_apart():
    states = (
        fuse_terms.NOT_LOOKED_UP,
        fuse_terms.WANTED,
        fuse_terms.KNOWN,
        fuse_terms.LEFT_TO_SINGLE_CALL,
    )
    assert len(set(states)) == len(states)


def test_nothing_is_looked_up_at_first():
    terms = fuse_terms.no_terms(WANTED_TYPES, 2)
    assert (terms.state == fuse_terms.NOT_LOOKED_UP).all()
    assert (terms.margin_state == fuse_terms.NOT_LOOKED_UP).all()
    assert np.isnan(terms.conductor_a).all()
    # Ratings are those of the types, and behind each of them one that is never reached.
    for place, key in enumerate(FUSES.types):
        listed = FUSES.types[key].ratings_a
        assert terms.rating_a[place, : len(listed)].tolist() == list(listed)
        assert np.isinf(terms.rating_a[place, len(listed) :]).all()
        assert terms.rating_a.shape[1] > len(listed)


@pytest.mark.parametrize(
    ("equipment", "bound_a"), [(None, 0.0), (GivenFuse(5.0), 5.0), (GivenFuse(30.0), 30.0)]
)
def test_one_conductor_is_looked_up_and_no_other(equipment, bound_a):
    terms, curve = looked_up(replace(ASKED, equipment_fuse=equipment))
    assert terms.state.tolist() == [fuse_terms.NOT_LOOKED_UP, fuse_terms.KNOWN]
    assert terms.equipment_a[1] == bound_a
    assert np.isnan(terms.equipment_a[0])
    assert terms.threshold_current_a[1] == curve.threshold_current_a
    # 0.15 % per kelvin from 23 C to 40 C.
    assert terms.ambient_factor[1] == pytest.approx(1.0 - 0.0015 * 17.0, rel=1e-12)


def test_a_checked_fuse_is_left_to_the_single_call():
    terms, curve = looked_up(replace(ASKED, checked_fuse=GivenFuse(10.0, KEYS[0])))
    assert curve is None
    assert terms.state.tolist() == [fuse_terms.NOT_LOOKED_UP, fuse_terms.LEFT_TO_SINGLE_CALL]
    assert np.isnan(terms.conductor_a).all()


@pytest.mark.parametrize("change", [{"continuous_current_a": 90.0}, {}])
def test_what_each_row_has_of_its_own_does_not_count(change):
    asked = replace(
        ASKED,
        load=replace(ASKED.load, **change),
        source=FaultSource(14.4, 0.5),
        conductor=replace(ASKED.conductor, there_and_back_resistance_ohm=7.0),
    )
    for found, expected in zip(looked_up(asked)[0], looked_up(ASKED)[0], strict=True):
        np.testing.assert_array_equal(found, expected)
