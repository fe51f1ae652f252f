"""The working of a fuse selection: which type it shows, and which steps it has."""

import pytest

from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FuseRequest,
    GivenFuse,
    ProtectedConductor,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.fuse_working import fuse_working
from loomwright.engineering.protection.transient import lumped_conductor_in_air
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.fuse_words import FUSE_TYPE_TEXTS
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance

TABLES = tables()
COPPER = TABLES.materials["copper"]
SOURCE = Provenance("example", "example", "practice")
LUMP = lumped_conductor_in_air(
    TABLES.conductors["8 AWG"], COPPER, TABLES.insulations["pvc_105"], COPPER, TABLES.air, 303.15
)
MARGIN = "Least margin of the conductor's time to damage over the fuse's opening time"


def worked(load_a=30.0, source=None, **changes):
    request = FuseRequest(
        **{
            "load": FuseLoad(load_a),
            "conductor": ProtectedConductor(LUMP, 80.0, 0.028, SOURCE),
            "source": source or FaultSource(12.6, 0.02),
            "system_voltage_v": 12.0,
            "ambient_temperature_k": 296.15,
            **changes,
        }
    )
    answer = size_fuse(request, fuse_tables())
    return answer, {step.text: step for step in fuse_working(request, answer)}


def types_shown(steps):
    beginnings = (
        "Greatest of the lower bounds for ",
        "Least of the upper bounds for ",
        "Rating looked at for ",
    )
    return {
        text.removeprefix(beginning)
        for text in steps
        for beginning in beginnings
        if text.startswith(beginning)
    }


def test_working_is_that_of_the_type_that_was_chosen():
    wanted = ("iso_8820_6_single_bolt", "iso_8820_3_c", "iso_8820_3_e")
    answer, steps = worked(fuse_types=wanted)
    assert answer.chosen_type == "iso_8820_3_c"
    assert types_shown(steps) == {FUSE_TYPE_TEXTS["iso_8820_3_c"]}


def test_working_is_that_of_the_first_type_where_none_fits():
    # 12.6 V over 1 milliohm, 12 600 A, is more than any blade fuse breaks.
    wanted = ("iso_8820_3_e", "iso_8820_3_c", "iso_8820_3_f")
    answer, steps = worked(source=FaultSource(12.6, 0.001), fuse_types=wanted)
    assert answer.chosen_type is None
    assert types_shown(steps) == {FUSE_TYPE_TEXTS["iso_8820_3_e"]}


def test_margin_is_shown_with_the_current_where_it_lies():
    answer, steps = worked(fuse_types=("iso_8820_3_c",))
    found = answer.types[0].coordination
    assert steps[MARGIN].result == pytest.approx(found.least_margin, rel=1e-6)
    at_current = steps[MARGIN].inputs["at_current_a"]
    assert at_current == pytest.approx(found.least_margin_current_a, rel=1e-6)
    # It holds, and lies between the rating and 12.6 V over 0.02 ohm.
    assert steps[MARGIN].result > 1.0
    assert 40.0 < at_current <= 630.0


def test_margin_is_left_out_where_no_current_can_damage_the_conductor():
    # The source gives 45 A at most, less than the 80 A that the conductor bears.
    source = FaultSource(12.6, 0.02, current_limit_a=45.0)
    answer, steps = worked(source=source, fuse_types=("iso_8820_3_c",))
    assert answer.types[0].coordination.least_margin is None
    assert MARGIN not in steps


@pytest.mark.parametrize("given", [None, GivenFuse(100.0, "iso_8820_6_single_bolt")])
def test_rating_is_shown_where_there_is_one_and_no_margin_without_a_curve(given):
    # A type without published times; miniature blades end at 30 A, below 100 A of load.
    wanted = ("iso_8820_3_f",) if given is None else ()
    answer, steps = worked(load_a=100.0, fuse_types=wanted, checked_fuse=given)
    kind = answer.types[0]
    assert kind.coordination is None
    assert MARGIN not in steps
    assert (f"Rating looked at for {FUSE_TYPE_TEXTS[kind.fuse_type]}" in steps) is (
        given is not None
    )
