"""Outcomes of sizing, fuse selection and output estimate, and cable of other resistance."""

import math
from dataclasses import replace

import numpy as np
import pytest

from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.audio.output_request import OutputRequest
from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.engineering.conductors.resistance import resistance_20c_ohm_per_m
from loomwright.engineering.conductors.sizing import (
    loop_resistance_at_current_ohm,
    size_conductor,
)
from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_request import FuseLoad, FuseRequest, GivenFuse
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.protected_conductor import protected_candidate
from loomwright.engineering.sensitivity.bands import sensitivity_of, toleranced_input
from loomwright.engineering.sensitivity.conductors import (
    chosen_candidate,
    conductor_outcome,
    conductor_resistance_tolerance,
    tables_with_resistance,
)
from loomwright.engineering.sensitivity.fuses import fuse_outcome, watched_type
from loomwright.engineering.sensitivity.outputs import (
    class_inputs,
    output_outcome,
    with_class_inputs,
)
from loomwright.tables.audio_load import audio_tables
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance
from loomwright.tables.tolerance_load import tolerances
from loomwright.tables.tolerance_records import Tolerance

TABLES, FUSES, CLASSES = tables(), fuse_tables(), audio_tables().amplifier_classes
COPPER = TABLES.materials["copper"]
SOURCE = Provenance("common_practice", "made up", "practice")


def conductor_request(known=TABLES, **changes):
    values = {
        "sizes": known.series["metric"],
        "material": COPPER,
        "insulation": TABLES.insulations["pvc_105"],
        "supply_voltage_v": 12.0,
        "allowed_voltage_drop_v": 0.36,
        "segments": (Segment(3.0, 313.15),),
        "load_current_a": 25.0,
        **changes,
    }
    return ConductorRequest(**values)


def conductor_bands(inputs, **stated):
    """Return the sensitivity of a sizing by fields of its request, ``length_m`` among them."""

    def evaluate(changes):
        fields = {**stated, **changes}
        length = fields.pop("length_m", 3.0)
        fields["segments"] = (Segment(length, 313.15),)
        return conductor_outcome(size_conductor(conductor_request(**fields), TABLES), watched)

    answer = size_conductor(conductor_request(**stated), TABLES)
    watched = chosen_candidate(answer)
    return sensitivity_of(
        [
            toleranced_input(name, nominal, Tolerance(name, True, share, share, SOURCE))
            for name, nominal, share in inputs
        ],
        evaluate,
    )


def test_drop_is_proportional_to_the_length_of_the_wiring():
    found = conductor_bands([("length_m", 3.0, 0.05)])
    (row,) = found.inputs
    drop, temperature = found.nominal.results
    # A current load heats the conductor alike whatever its length.
    assert row.at_low.results == pytest.approx((0.95 * drop, temperature), rel=1e-12)
    assert row.at_high.results == pytest.approx((1.05 * drop, temperature), rel=1e-12)
    assert row.elasticities == (pytest.approx(1.0, rel=1e-12), 0.0)
    assert row.standard_uncertainties[0] == pytest.approx(0.05 * drop / math.sqrt(3.0), rel=1e-9)


def test_drop_is_proportional_to_a_current_that_does_not_heat():
    stated = {"load_current_a": 0.1, "allowed_voltage_drop_v": 0.001}
    (row,) = conductor_bands([("load_current_a", 0.1, 0.1)], **stated).inputs
    # 0.1 A in this size warms it by less than 0.001 K, which is 4e-6 of its resistance.
    assert row.elasticities[0] == pytest.approx(1.0, abs=1e-5)


def test_joints_take_their_share_of_the_drop():
    # Drop I (R + r): the elasticity by r is r / (R + r), that by the length the rest.
    found = conductor_bands(
        [("length_m", 3.0, 0.05), ("fixed_resistance_ohm", 0.004, 0.5)],
        fixed_resistance_ohm=0.004,
    )
    by_length, by_joints = (row.elasticities[0] for row in found.inputs)
    drop = found.nominal.results[0]
    assert by_joints == pytest.approx(25.0 * 0.004 / drop, rel=1e-9)
    assert by_length + by_joints == pytest.approx(1.0, rel=1e-9)


def test_combined_uncertainty_of_the_drop_is_that_of_drawn_requests():
    inputs = [
        ("load_current_a", 25.0, 0.1),
        ("length_m", 3.0, 0.05),
        ("fixed_resistance_ohm", 0.002, 0.5),
    ]
    stated = {"fixed_resistance_ohm": 0.002}
    found = conductor_bands(inputs, **stated)
    watched = chosen_candidate(size_conductor(conductor_request(**stated), TABLES))
    random = np.random.default_rng(20081001)
    drawn = [nominal * random.uniform(1 - share, 1 + share, 4000) for _, nominal, share in inputs]
    drops = [
        conductor_outcome(
            size_conductor(
                conductor_request(
                    load_current_a=current,
                    fixed_resistance_ohm=joints,
                    segments=(Segment(length, 313.15),),
                ),
                TABLES,
            ),
            watched,
        ).results[0]
        for current, length, joints in zip(*drawn, strict=True)
    ]
    # 3 %: 4000 draws know a standard deviation to 1.1 % (one sigma), and the curvature of the drop
    # adds second-order terms of about (0.06)^2 beside a spread of 0.06.
    assert found.bands[0].standard_uncertainty == pytest.approx(np.std(drops), rel=0.03)
    assert found.bands[0].low <= min(drops)
    assert max(drops) <= found.bands[0].high


def test_conductor_outcome_by_hand():
    answer = size_conductor(conductor_request(greatest_parallel_runs=2), TABLES)
    index = answer.chosen
    found = conductor_outcome(answer, index)
    candidates = answer.candidates
    assert found.choice == ("conductor_found", candidates.sizes[index].key, 1)
    drop, temperature = found.results
    assert drop == 25.0 * candidates.loop_resistance_ohm[index]
    assert temperature == candidates.conductor_temperature_k[index]
    assert found.strain[0] == pytest.approx(drop / 0.36)
    assert list(found.strain) == sorted(candidates.utilisation[:, index], reverse=True)
    # Another candidate may be the installed one.
    other = conductor_outcome(answer, index + 1)
    assert other.choice == found.choice
    assert other.results[0] == candidates.voltage_drop_v[index + 1]


def test_checked_size_is_what_an_answer_is_about():
    size = TABLES.conductors["1.5 mm2"]
    answer = size_conductor(
        conductor_request(given_size=size, given_parallel_runs=2, greatest_parallel_runs=1), TABLES
    )
    assert chosen_candidate(answer) == answer.checked
    found = conductor_outcome(answer, chosen_candidate(answer))
    assert found.choice == ("given_size_fails", "1.5 mm2", 2)


def test_nothing_chosen_has_no_results_and_strains_by_the_thickest():
    answer = size_conductor(conductor_request(allowed_voltage_drop_v=0.001), TABLES)
    assert chosen_candidate(answer) is None
    found = conductor_outcome(answer, None)
    assert found.choice == ("no_conductor_meets_criteria", None, None)
    assert all(map(math.isnan, found.results))
    thickest = len(TABLES.series["metric"]) - 1
    assert found.strain[0] == answer.candidates.voltage_drop_v[thickest] / 0.001


def test_no_operating_point_has_no_drop():
    # The thinnest size, over 12 V^2 / 4 P = 0.036 ohm, delivers no kilowatt.
    asked = conductor_request(load_current_a=None, load_power_w=1000.0)
    answer = size_conductor(asked, TABLES)
    assert not answer.candidates.operating_point_exists[0]
    assert all(map(math.isnan, conductor_outcome(answer, 0).results))
    assert answer.candidates.operating_point_exists[answer.chosen]
    assert not any(map(math.isnan, conductor_outcome(answer, answer.chosen).results))


@pytest.mark.parametrize("series", ["awg", "metric", "iso_6722"])
@pytest.mark.parametrize("metal", ["copper", "tinned_copper", "aluminium", "cca_10"])
def test_cable_of_other_resistance(series, metal):
    material = TABLES.materials[metal]
    changed = tables_with_resistance(TABLES, series, material, 1.25)
    for before, after in zip(TABLES.series[series], changed.series[series], strict=True):
        assert changed.conductors[after.key] is after
        assert after.key == before.key
        assert resistance_20c_ohm_per_m(after, material, COPPER) == pytest.approx(
            1.25 * resistance_20c_ohm_per_m(before, material, COPPER), rel=1e-12
        )
        assert after.cross_section_m2 == before.cross_section_m2
    assert changed.series["sae"] is TABLES.series["sae"]
    assert changed.conductors["SAE 8"] is TABLES.conductors["SAE 8"]
    assert list(changed.conductors) == list(TABLES.conductors)
    # The memos of the sizing know sizes by identity.
    assert tables_with_resistance(TABLES, series, material, 1.25) is changed


def test_drop_of_cool_cable_follows_its_resistance():
    stated = {"load_current_a": 0.1, "allowed_voltage_drop_v": 0.001}
    before = size_conductor(conductor_request(**stated), TABLES)
    known = tables_with_resistance(TABLES, "metric", COPPER, 1.1)
    after = size_conductor(conductor_request(known, **stated), known)
    # As above, it is warmed by less than 4e-6 of its resistance.
    assert after.candidates.voltage_drop_v == pytest.approx(
        1.1 * before.candidates.voltage_drop_v, rel=1e-5
    )


def test_tolerance_of_cable_is_that_of_its_series():
    known = tolerances()
    assert conductor_resistance_tolerance("awg", COPPER, known) is known["conductor_resistance_awg"]


def test_copper_content_of_clad_wire_comes_on_top():
    known = {
        "conductor_resistance_awg": Tolerance("a", True, 0.1, 0.2, SOURCE),
        "conductor_resistance_cca_10": Tolerance("b", True, 0.3, 0.5, None),
    }
    found = conductor_resistance_tolerance("awg", TABLES.materials["cca_10"], known)
    # 0.9 x 0.7 and 1.2 x 1.5
    assert (found.below, found.above) == (pytest.approx(0.37), pytest.approx(0.8))
    assert (found.key, found.is_share, found.provenance) == ("b", True, None)


def fuse_request(**changes):
    size = TABLES.conductors["8 AWG"]
    asked = conductor_request(sizes=(size,), given_size=size)
    frame, loop = loop_resistance_at_current_ohm(asked, 0, TABLES)
    values = {
        "load": FuseLoad(25.0),
        "conductor": protected_candidate(asked, frame, 0, loop, TABLES),
        "source": FaultSource(12.6, 0.014),
        "system_voltage_v": 12.0,
        "ambient_temperature_k": 296.15,
        "fuse_types": ("iso_8820_3_e", "iso_8820_3_c"),
        **changes,
    }
    return FuseRequest(**values)


def test_fuse_outcome_by_hand():
    answer = size_fuse(fuse_request(), FUSES)
    assert watched_type(answer) == [kind.fuse_type for kind in answer.types].index(
        answer.chosen_type
    )
    for place, kind in enumerate(answer.types):
        found = fuse_outcome(answer, place)
        assert found.choice == ("fuse_found", answer.chosen_type, answer.rated_current_a)
        # 25 A over the loading factor of 0.75 at 23 C, and 12.6 V over 14 milliohm.
        assert found.results[0] == pytest.approx(25.0 / 0.75)
        assert found.results[1] == kind.window.upper_a
        assert found.results[2] == answer.faults.far_end_fault_a
        assert found.results[3] == pytest.approx(900.0)
        shares = [25.0 / 0.75 / kind.window.upper_a, 900.0 / kind.breaking_capacity_a]
        assert found.strain == pytest.approx(sorted(shares, reverse=True))


def test_chosen_type_is_watched_wherever_it_stands():
    wanted = ("iso_8820_3_c", "iso_8820_3_e")
    assert watched_type(size_fuse(fuse_request(fuse_types=wanted), FUSES)) == 0
    # 1800 A is more than the first type breaks.
    strong = fuse_request(
        fuse_types=("iso_8820_3_c", "iso_8820_5_sf30"), source=FaultSource(12.6, 0.007)
    )
    answer = size_fuse(strong, FUSES)
    assert answer.chosen_type == "iso_8820_5_sf30"
    assert watched_type(answer) == 1


def test_first_type_is_watched_where_none_fits():
    answer = size_fuse(fuse_request(load=FuseLoad(2000.0)), FUSES)
    assert answer.chosen_type is None
    assert watched_type(answer) == 0
    assert fuse_outcome(answer, 0).choice == (answer.verdict, None, None)


def test_window_that_no_rating_meets_strains_without_bound():
    answer = size_fuse(fuse_request(), FUSES)
    (kind, *others) = answer.types
    closed = replace(kind, window=replace(kind.window, upper_a=0.0))
    found = fuse_outcome(replace(answer, types=(closed, *others)), 0)
    assert found.results[1] == 0.0
    assert found.strain == (math.inf, pytest.approx(900.0 / kind.breaking_capacity_a))


def test_checked_fuse_changes_its_verdict():
    asked = fuse_request(checked_fuse=GivenFuse(35.0, "iso_8820_3_c"))
    assert fuse_outcome(size_fuse(asked, FUSES), 0).choice == ("fuse_found", "iso_8820_3_c", 35.0)
    more = replace(asked, load=FuseLoad(27.5))
    assert fuse_outcome(size_fuse(more, FUSES), 0).choice == (
        "rating_too_low_for_load",
        None,
        None,
    )


def output_request(**changes):
    values = {
        "fuse_ratings_a": (25.0,),
        "amplifier_class": CLASSES["AB"],
        "load_impedance_ohm": 4.0,
        "bridged": True,
        "converter": "regulated",
        "supply_voltage_v": 12.0,
        "crest_factor_db": 12.0,
        **changes,
    }
    return OutputRequest(**values)


def test_output_outcome_by_hand():
    # 25 A x 70 % x 12 V x the middle of 42.5 % and 64.4 %.
    found = output_outcome(output_estimate(output_request()))
    likely = 25.0 * 0.7 * 12.0 * 0.5 * (0.425 + 0.644)
    assert found.results == (pytest.approx(likely),)
    assert found.choice == ("output_estimated",)
    assert found.strain == (pytest.approx(-likely),)


def test_claim_strains_by_the_high_output():
    found = output_outcome(output_estimate(output_request(claimed_output_total_w=250.0)))
    # High: 25 A x 12 V x 64.4 %, limit: 110 % of 25 A x 12 V x 78.5 %.
    assert found.choice == ("doubtful",)
    likely = 25.0 * 0.7 * 12.0 * 0.5345
    assert found.strain == pytest.approx((250.0 / (25.0 * 12.0 * 0.644), -likely))


def test_bands_of_the_class_are_inputs():
    kind = CLASSES["AB"]
    efficiency, loading = class_inputs(output_request())
    assert (efficiency.name, efficiency.low, efficiency.nominal, efficiency.high) == (
        "efficiency",
        pytest.approx(0.425),
        pytest.approx(0.5345),
        pytest.approx(0.644),
    )
    assert (loading.name, loading.low, loading.nominal, loading.high) == (
        "fuse_loading",
        0.5,
        0.7,
        1.0,
    )
    assert (efficiency.provenance, loading.provenance) == (
        kind.provenance,
        kind.practice_provenance,
    )
    assert efficiency.has_zero
    assert loading.has_zero


def test_rail_utilisation_is_an_input_without_a_converter():
    *_, rail = class_inputs(output_request(converter="none"))
    assert (rail.name, rail.low, rail.nominal, rail.high) == ("rail_utilisation", 0.8, 0.88, 0.95)
    assert rail.provenance is CLASSES["AB"].practice_provenance
    assert rail.has_zero


def test_measured_efficiency_leaves_no_band_of_it():
    found = class_inputs(output_request(measured_efficiency=0.6))
    assert [entry.name for entry in found] == ["fuse_loading"]


def test_class_inputs_move_the_likely_output_alone():
    asked = output_request(claimed_output_total_w=190.0)
    before = output_estimate(asked)
    for name, value, likely in (
        ("efficiency", 0.5, 25.0 * 0.7 * 12.0 * 0.5),
        ("fuse_loading", 0.6, 25.0 * 0.6 * 12.0 * 0.5345),
        ("rail_utilisation", 0.9, before.output_likely_w),
    ):
        after = output_estimate(with_class_inputs(asked, {name: value}))
        assert after.output_likely_w == pytest.approx(likely)
        assert (after.output_low_w, after.output_high_w, after.output_limit_w) == (
            before.output_low_w,
            before.output_high_w,
            before.output_limit_w,
        )
    same = output_estimate(with_class_inputs(asked, {"source_resistance": 0.1}))
    assert same.output_likely_w == before.output_likely_w


def test_rail_utilisation_moves_the_likely_output_by_its_square():
    # A rail of 12 V into 4 ohm bridged: (0.9 x 12)^2 / 8, below what the fuse lets in.
    asked = output_request(converter="none")
    found = output_estimate(with_class_inputs(asked, {"rail_utilisation": 0.9}))
    assert found.output_likely_w == pytest.approx((0.9 * 12.0) ** 2 / 8.0)


def test_stated_likely_efficiency_yields_to_a_measured_one():
    measured = output_request(measured_efficiency=0.6, likely_efficiency=0.5)
    assert output_estimate(measured).output_likely_w == pytest.approx(25.0 * 0.7 * 12.0 * 0.6)


def test_combined_uncertainty_of_the_output_is_that_of_drawn_requests():
    asked = output_request(supply_voltage_v=12.0)
    inputs = [
        toleranced_input("supply_voltage_v", 12.0, Tolerance("v", True, 0.05, 0.05, SOURCE)),
        *class_inputs(asked),
    ]

    def evaluate(changes):
        supply = changes.get("supply_voltage_v", 12.0)
        return output_outcome(
            output_estimate(with_class_inputs(replace(asked, supply_voltage_v=supply), changes))
        )

    (band,) = sensitivity_of(inputs, evaluate).bands
    random = np.random.default_rng(20081002)
    supply, efficiency, loading = (
        random.uniform(entry.low, entry.high, 100_000) for entry in inputs
    )
    drawn = 25.0 * supply * efficiency * loading
    # What is drawn is the published balance, current x voltage x efficiency. 5 %: the fuse loading
    # of 0.5 to 1 lies around 0.75 and not around the stated 0.7, which makes the effect of the
    # efficiency 7 % greater, and its square is a third of the whole.
    assert band.standard_uncertainty == pytest.approx(np.std(drawn), rel=0.05)
    assert band.low <= drawn.min()
    assert drawn.max() <= band.high
