"""Limits of a sizing by hand: collapse, parallel runs, what decides, and what the refusals say."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.conductors.choice import CRITERIA, ConductorRequest, Segment
from loomwright.engineering.conductors.resistance import smallest_size_with_section
from loomwright.engineering.conductors.sizing import (
    limit_of_power_load,
    loop_resistance_at_current_ohm,
    size_conductor,
)
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.load import tables

TABLES = tables()
AWG = TABLES.series["awg"]


def request(**changes):
    values = {
        "sizes": AWG,
        "material": TABLES.materials["copper"],
        "insulation": TABLES.insulations["pvc_105"],
        "supply_voltage_v": 12.0,
        "allowed_voltage_drop_v": 0.36,
        "segments": (Segment(3.0, 313.15),),
        **changes,
    }
    if "load_power_w" not in values:
        values.setdefault("load_current_a", 25.0)
    return ConductorRequest(**values)


def utilisation(answer, criterion):
    return answer.candidates.utilisation[CRITERIA.index(criterion)]


@pytest.mark.parametrize(
    ("power_w", "drop_v", "source_ohm", "current_a", "wiring_ohm"),
    [
        # By hand from (12 - dU - I Rs) I = P: 11 V at the load, 1 V over the wiring.
        (110.0, 1.0, 0.0, 10.0, 0.1),
        # (7 - 0.1 I) I = 50 leaves 6.19 V, more than half.
        (50.0, 5.0, 0.1, 8.0741759, 0.6192582),
        # (7 - 0.1 I) I = 70 would leave 5.79 V: the circuit collapses first, at I = 2 P / E and
        # E**2 / 4 P of all resistance.
        (70.0, 5.0, 0.1, 11.6666667, 0.4142857),
        (100.0, 9.0, 0.1, 16.6666667, 0.26),
        # The allowed drop leaves 7 V behind 0.2 ohm, at most 61.25 W.
        (65.0, 5.0, 0.2, 10.8333333, 0.3538462),
    ],
)
def test_limit_of_a_power_load_is_the_drop_or_the_collapse(
    power_w, drop_v, source_ohm, current_a, wiring_ohm
):
    found = limit_of_power_load(
        request(
            load_power_w=power_w, allowed_voltage_drop_v=drop_v, source_resistance_ohm=source_ohm
        )
    )
    # Seven digits by hand.
    assert found == pytest.approx((current_a, wiring_ohm), rel=5e-7)


@given(
    st.floats(1.0, 200.0),
    st.lists(st.tuples(st.floats(0.5, 5.0), st.floats(263.15, 353.15)), min_size=1, max_size=3),
    st.floats(0.0, 0.01),
)
def test_loop_resistance_alone_is_that_of_the_sizing(current_a, places, fixed_ohm):
    asked = request(
        load_current_a=current_a,
        segments=tuple(Segment(*place) for place in places),
        chassis_resistance_ohm=fixed_ohm,
        return_by_conductor=False,
    )
    candidates = size_conductor(asked, TABLES).candidates
    for index in (0, 5, len(AWG) - 1):
        frame, resistance = loop_resistance_at_current_ohm(asked, index, TABLES)
        assert resistance == pytest.approx(candidates.loop_resistance_ohm[index], rel=1e-12)
        np.testing.assert_array_equal(frame.ampacity_a, candidates.ampacity_a)


@pytest.mark.parametrize("runs", [1, 2, 3])
def test_parallel_runs_share_a_fault(runs):
    asked = {"fault_current_a": 2000.0, "clearing_time_s": 0.1}
    single = utilisation(size_conductor(request(**asked), TABLES), "short_circuit")
    many = utilisation(
        size_conductor(request(**asked, greatest_parallel_runs=runs), TABLES), "short_circuit"
    )
    np.testing.assert_allclose(many[-len(AWG) :], single / runs, rtol=1e-12)


@pytest.mark.parametrize(
    ("bundled", "back", "factor"),
    # ABYC E-11 Table VI: 0.7 for 3 conductors, 0.6 for 4 to 6, 0.5 for 7 to 24. A second run adds
    # itself, and its return where that lies beside it.
    [
        (4, True, 0.6 / 0.6),
        (5, True, 0.5 / 0.6),
        (4, False, 0.6 / 0.6),
        (5, False, 0.6 / 0.6),
        (6, False, 0.5 / 0.6),
    ],
)
def test_a_second_run_adds_itself_and_its_return_to_the_bundle(bundled, back, factor):
    asked = request(
        segments=(Segment(3.0, 303.15, bundled),),
        return_by_conductor=back,
        greatest_parallel_runs=2,
    )
    ampacity = size_conductor(asked, TABLES).candidates.heat_ampacity_a
    single, double = ampacity[: len(AWG)], ampacity[len(AWG) :]
    np.testing.assert_allclose(double / single, 2.0 * factor, rtol=1e-12)


def test_without_an_operating_point_the_drop_is_missed_even_if_any_drop_is_allowed():
    # At the collapse the wiring takes at most half of 12 V, less than the 11 V allowed here.
    answer = size_conductor(request(load_power_w=50_000.0, allowed_voltage_drop_v=11.0), TABLES)
    assert answer.verdict == "no_operating_point"
    assert (utilisation(answer, "voltage_drop") < 1.0).all()
    assert not answer.candidates.passes[CRITERIA.index("voltage_drop")].any()


def test_a_size_that_no_table_covers_does_not_use_up_any_published_ampacity():
    answer = size_conductor(request(material=TABLES.materials["aluminium"]), TABLES)
    assert (utilisation(answer, "published_ampacity") == 0.0).all()


def test_where_nothing_fits_the_size_of_least_drop_says_why():
    # 900 A over 0.5 m: 4/0 AWG (0.16 ohm/km, hot twice that) drops less than 0.36 V but carries
    # half of it at most, while 20 AWG misses the drop by more than anything else.
    answer = size_conductor(request(load_current_a=900.0, segments=(Segment(0.5, 313.15),)), TABLES)
    assert answer.verdict == "no_conductor_meets_criteria"
    assert utilisation(answer, "voltage_drop")[-1] < 1.0
    assert utilisation(answer, "voltage_drop")[0] > utilisation(answer, "conductor_temperature")[0]
    assert answer.deciding_criterion in ("conductor_temperature", "published_ampacity")


@given(st.floats(1.0, 120.0), st.floats(0.2, 12.0))
def test_the_next_thinner_size_misses_the_deciding_criterion_by_most(current_a, length_m):
    answer = size_conductor(
        request(load_current_a=current_a, segments=(Segment(length_m, 313.15),)), TABLES
    )
    if answer.chosen:
        candidates, thinner = answer.candidates, answer.chosen - 1
        shares = {
            criterion: candidates.utilisation[place, thinner]
            for place, criterion in enumerate(CRITERIA)
            if not candidates.passes[place, thinner]
        }
        assert answer.deciding_criterion == max(shares, key=shares.__getitem__)
        assert max(shares.values()) > 1.0


def test_second_size_is_decided_by_the_first():
    # 0.36 V over 6 m of two sizes at some 25 A: only the second is thick enough.
    sizes = (TABLES.conductors["12 AWG"], TABLES.conductors["4 AWG"])
    answer = size_conductor(request(sizes=sizes), TABLES)
    assert answer.chosen == 1
    assert answer.deciding_criterion == "voltage_drop"


@given(st.floats(0.5, 8.0), st.floats(0.36, 5.0))
def test_without_an_operating_point_the_least_resistance_decides(length_m, drop_v):
    # At the collapse each candidate drops half the EMF, and rounding must not choose among them.
    answer = size_conductor(
        request(
            load_power_w=1e7, allowed_voltage_drop_v=drop_v, segments=(Segment(length_m, 313.15),)
        ),
        TABLES,
    )
    assert answer.verdict == "no_operating_point"
    thickest = dict(zip(CRITERIA, answer.candidates.utilisation[:, -1].tolist(), strict=True))
    assert answer.deciding_criterion == max(thickest, key=thickest.__getitem__)


def test_a_given_size_whose_thinner_neighbour_passes_is_decided_by_nothing():
    answer = size_conductor(request(given_size=TABLES.conductors["4/0 AWG"]), TABLES)
    assert answer.verdict == "given_size_passes"
    assert answer.deciding_criterion is None


def test_thinnest_size_in_two_runs_is_the_smallest_listed():
    answer = size_conductor(
        request(load_current_a=0.1, given_size=AWG[0], given_parallel_runs=2, smallest_size=AWG[0]),
        TABLES,
    )
    assert answer.verdict == "given_size_passes"
    assert answer.checked == len(AWG)
    assert answer.deciding_criterion == "smallest_listed_size"


def test_a_current_load_takes_no_steps():
    answer = size_conductor(request(), TABLES)
    assert (answer.iterations, answer.residual) == (0, 0.0)


@pytest.mark.parametrize("ambient_c", [105.0, 121.5])
def test_refusal_of_a_hot_place_names_both_temperatures_in_celsius(ambient_c):
    with pytest.raises(EngineeringError) as caught:
        size_conductor(request(segments=(Segment(1.0, ambient_c + 273.15),)), TABLES)
    assert f"at {ambient_c:g} C" in str(caught.value)
    assert "rated 105 C" in str(caught.value)


def test_smallest_size_is_the_one_of_exactly_the_section_and_refusal_names_the_greatest():
    for size in AWG:
        assert smallest_size_with_section(AWG, size.cross_section_m2) == size
    with pytest.raises(EngineeringError) as caught:
        smallest_size_with_section(AWG, 1.001 * AWG[-1].cross_section_m2)
    assert "4/0 AWG" in str(caught.value)
