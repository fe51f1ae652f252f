"""The choice of a conductor: worked sizes, verdicts, criteria and refusals."""

import dataclasses
import math

import numpy as np
import pytest

from cases import case_list, case_parameters
from loomwright.engineering.conductors.choice import CRITERIA, ConductorRequest, Segment
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.errors import EngineeringError
from loomwright.tables.load import tables
from loomwright.tables.records import ConductorSize, Provenance

METRES_PER_FOOT = 0.3048
M2_PER_CMIL = math.pi / 4.0 * 0.0254e-3**2
KELVIN_AT_0_C = 273.15
TABLES = tables()


def request(series="awg", **changes):
    values = {
        "sizes": TABLES.series[series],
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


def chosen_key(answer):
    return None if answer.chosen is None else answer.candidates.sizes[answer.chosen].key


def passes(answer, criterion):
    return answer.candidates.passes[CRITERIA.index(criterion)]


def utilisation(answer, criterion):
    return answer.candidates.utilisation[CRITERIA.index(criterion)]


def within(case, value):
    return pytest.approx(value, rel=case["tolerance"].get("relative", 0.0))


def aircraft_series():
    """Return the conductors of the worked examples, with the resistances printed for them."""
    (case,) = case_list("conductors/faa_table_11_9")
    provenance = Provenance(case["source"], case["locator"], case["checked"])
    sizes = []
    for rank, row in enumerate(case["expected"]["sizes"], 1):
        section = row["cross_section_cmil"] * M2_PER_CMIL
        diameter = math.sqrt(4.0 / math.pi * section / 0.75)
        sizes.append(
            ConductorSize(
                key=row["size"],
                series="awg",
                rank=rank,
                cross_section_m2=section,
                resistance_20c_ohm_per_m={
                    "tinned_copper": row["resistance_20c_ohm_per_kft"] * 1e-3 / METRES_PER_FOOT
                },
                temperature_coefficients_20c_per_k={},
                conductor_diameter_m=diameter,
                outside_diameter_m=diameter + 1e-3,
                provenance=provenance,
                diameter_provenance=provenance,
            )
        )
    return tuple(sizes)


AIRCRAFT = aircraft_series()


@pytest.mark.parametrize("case", case_parameters("conductors/faa_worked"))
def test_faa_worked_example(case):
    # The circular's drops are at 20 C: so short a load in a million seconds heats nothing.
    values, expected = case["given"], case["expected"]
    answer = size_conductor(
        request(
            sizes=AIRCRAFT,
            material=TABLES.materials["tinned_copper"],
            supply_voltage_v=values["supply_voltage_v"],
            allowed_voltage_drop_v=values["allowed_voltage_drop_v"],
            load_current_a=values["current_a"],
            segments=(Segment(values["run_ft"] * METRES_PER_FOOT, 293.15),),
            return_by_conductor=False,
            on_time_s=1e-4,
            off_time_s=1e6,
        ),
        TABLES,
    )
    index = [size.key for size in AIRCRAFT].index(values["size"])
    assert answer.candidates.conductor_temperature_k[index] == pytest.approx(293.15, abs=1e-3)
    assert answer.candidates.voltage_drop_v[index] == within(case, expected["voltage_drop_v"])
    if "size" in expected:
        assert chosen_key(answer) == expected["size"]
    if "greatest_length_ft" in expected:
        assert answer.candidates.greatest_length_m[index] / METRES_PER_FOOT == pytest.approx(
            expected["greatest_length_ft"], rel=case["tolerance"]["relative_length"]
        )


@pytest.mark.parametrize("case", case_parameters("conductors/cca"))
@pytest.mark.parametrize("series", ["awg", "sae", "metric", "iso_6722"])
def test_clad_aluminium_length_limit(case, series):
    values = case["given"]
    clad, copper = (
        size_conductor(
            request(
                series,
                material=TABLES.materials[material],
                load_current_a=values["current_a"],
                segments=(Segment(3.0, 293.15),),
            ),
            TABLES,
        ).candidates.greatest_length_m
        for material in (values["material"], "copper")
    )
    np.testing.assert_allclose(
        clad / copper, case["expected"]["length_ratio"], rtol=case["tolerance"]["relative"]
    )


@pytest.mark.parametrize("case", case_parameters("conductors/common_practice"))
def test_common_practice(case):
    values = case["given"]
    answer = size_conductor(
        request(
            material=TABLES.materials[values["material"]],
            insulation=TABLES.insulations[values["insulation"]],
            supply_voltage_v=values["supply_voltage_v"],
            allowed_voltage_drop_v=values["supply_voltage_v"] * values["allowed_percent"] / 100.0,
            load_current_a=values["current_a"],
            segments=tuple(
                Segment(
                    segment["length_m"],
                    TABLES.zones[segment["zone"]].ambient_temperature_k,
                    engine_space=TABLES.zones[segment["zone"]].engine_space,
                )
                for segment in values["segments"]
            ),
            return_by_conductor=False,
            chassis_resistance_ohm=values["chassis_resistance_ohm"],
            given_size=TABLES.conductors[values["size"]],
        ),
        TABLES,
    )
    assert answer.verdict == case["expected"]["verdict"]
    assert answer.candidates.sizes[answer.checked].key == values["size"]


def test_series_changes_the_chosen_size():
    # Table IX of ABYC E-11 at 20 A over 10 ft both ways: SAE 10 where the AWG rule would take 12.
    drops = {
        series: size_conductor(
            request(series, load_current_a=20.0, segments=(Segment(1.524, 303.15),)), TABLES
        )
        for series in ("awg", "sae")
    }
    assert chosen_key(drops["awg"]) == "12 AWG"
    assert chosen_key(drops["sae"]) == "SAE 10"


@pytest.mark.parametrize("ambient_c", [105.0, 105.5, 200.0])
@pytest.mark.parametrize("index", [0, 1])
def test_ambient_not_below_the_rating_is_refused(ambient_c, index):
    segments = [Segment(1.0, 313.15), Segment(1.0, 313.15)]
    segments[index] = Segment(1.0, ambient_c + KELVIN_AT_0_C)
    with pytest.raises(EngineeringError) as caught:
        size_conductor(request(segments=tuple(segments)), TABLES)
    error = caught.value
    assert error.code == "ambient_not_below_rating"
    assert error.field == f"segments/{index}/ambient_temperature"
    assert error.attributes == {
        "value": ambient_c + KELVIN_AT_0_C,
        "limit": 105.0 + KELVIN_AT_0_C,
    }


def test_verdict_where_nothing_fits():
    answer = size_conductor(request(load_current_a=900.0), TABLES)
    assert (answer.verdict, answer.chosen, answer.checked) == (
        "no_conductor_meets_criteria",
        None,
        None,
    )
    assert answer.deciding_criterion in CRITERIA


def test_collapse_is_a_verdict_with_the_greatest_power():
    # 12 V behind 50 mohm can never deliver more than 144 / 0.2 = 720 W, whatever the conductor.
    answer = size_conductor(request(load_power_w=800.0, source_resistance_ohm=0.05), TABLES)
    assert answer.verdict == "no_operating_point"
    assert not answer.candidates.operating_point_exists.any()
    assert 0.9 * 720.0 < answer.greatest_power_w < 720.0


def test_given_size_that_fails_is_named_with_its_criterion():
    answer = size_conductor(request(given_size=TABLES.conductors["18 AWG"]), TABLES)
    assert answer.verdict == "given_size_fails"
    assert answer.candidates.sizes[answer.checked].key == "18 AWG"
    assert not passes(answer, answer.deciding_criterion)[answer.checked]
    worst = max(
        utilisation(answer, key)[answer.checked]
        for key in CRITERIA
        if not passes(answer, key)[answer.checked]
    )
    assert utilisation(answer, answer.deciding_criterion)[answer.checked] == worst


def test_given_parallel_runs_are_checked_beyond_the_allowed_choice():
    answer = size_conductor(
        request(given_size=TABLES.conductors["12 AWG"], given_parallel_runs=3), TABLES
    )
    assert answer.candidates.parallel_runs[answer.checked] == 3
    assert answer.candidates.sizes[answer.checked].key == "12 AWG"
    assert answer.candidates.parallel_runs[answer.chosen] == 1


@pytest.mark.parametrize(
    ("changes", "criterion"),
    [
        ({"segments": (Segment(12.0, 313.15),)}, "voltage_drop"),
        (
            {
                "segments": (Segment(0.2, 373.15),),
                "load_current_a": 60.0,
                "material": TABLES.materials["cca_10"],
            },
            "conductor_temperature",
        ),
        (
            {"segments": (Segment(0.2, 303.15),), "load_current_a": 79.0},
            "published_ampacity",
        ),
        (
            {
                "segments": (Segment(0.2, 303.15),),
                "load_current_a": 0.5,
                "smallest_size": TABLES.conductors["10 AWG"],
            },
            "mechanical",
        ),
        (
            {
                "segments": (Segment(0.2, 303.15),),
                "load_current_a": 5.0,
                "fault_current_a": 2000.0,
                "clearing_time_s": 0.1,
            },
            "short_circuit",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_each_criterion_can_decide(changes, criterion):
    answer = size_conductor(request(**changes), TABLES)
    assert answer.verdict == "conductor_found"
    assert answer.deciding_criterion == criterion
    assert not passes(answer, criterion)[answer.chosen - 1]
    assert answer.candidates.passes[:, answer.chosen].all()


def test_smallest_listed_size_is_said_so():
    answer = size_conductor(
        request("metric", load_current_a=0.1, smallest_size=TABLES.conductors["0.5 mm2"]), TABLES
    )
    assert chosen_key(answer) == "0.5 mm2"
    assert answer.deciding_criterion == "smallest_listed_size"


def test_single_conductor_below_one_square_millimetre_needs_to_be_asked_for():
    answer = size_conductor(request("metric", load_current_a=0.1), TABLES)
    assert chosen_key(answer) == "1 mm2"
    assert answer.deciding_criterion == "mechanical"


@pytest.mark.parametrize(
    ("material", "insulation", "k"),
    [
        # IEC 60364-4-43 Table 43A: 115 for copper and 76 for aluminium in PVC from 70 to 160 C,
        # 143 and 94 in cross-linked polyethylene from 90 to 250 C.
        ("copper", "pvc_70", 115.0),
        ("aluminium", "pvc_70", 76.0),
        ("copper", "xlpe_90", 143.0),
        ("aluminium", "xlpe_90", 94.0),
    ],
)
def test_short_circuit_utilisation_follows_the_k_of_iec_60364(material, insulation, k):
    answer = size_conductor(
        request(
            "metric",
            material=TABLES.materials[material],
            insulation=TABLES.insulations[insulation],
            fault_current_a=1000.0,
            clearing_time_s=0.25,
        ),
        TABLES,
    )
    least_mm2 = 1000.0 * math.sqrt(0.25) / k
    sections = np.array([size.cross_section_m2 * 1e6 for size in answer.candidates.sizes])
    # 0.6 %: k is printed as a whole number, cut off rather than rounded (94.5 as 94).
    np.testing.assert_allclose(
        utilisation(answer, "short_circuit"), least_mm2 / sections, rtol=0.006
    )


def test_lower_of_heat_balance_and_table_governs():
    candidates = size_conductor(request(), TABLES).candidates
    published = candidates.published_ampacity_a
    lower = np.where(np.isnan(published), np.inf, published)
    np.testing.assert_array_equal(
        candidates.ampacity_a, np.minimum(candidates.heat_ampacity_a, lower)
    )
    np.testing.assert_array_equal(
        candidates.ampacity_is_published, lower < candidates.heat_ampacity_a
    )
    assert np.isnan(published[0])  # Table 5 begins at 18 AWG


@pytest.mark.parametrize("material", ["aluminium", "cca_10", "cca_15"])
def test_published_copper_ampacity_is_not_granted_to_other_metals(material):
    answer = size_conductor(request("metric", material=TABLES.materials[material]), TABLES)
    assert np.isnan(answer.candidates.published_ampacity_a).all()
    assert passes(answer, "published_ampacity").all()


def test_published_bundling_lowers_both_ampacities():
    # ABYC E-11 Table VI-C: 0.6 for 4 to 6 conductors.
    alone, bundled = (
        size_conductor(request(segments=(Segment(3.0, 303.15, count),)), TABLES).candidates
        for count in (1, 5)
    )
    np.testing.assert_allclose(bundled.heat_ampacity_a / alone.heat_ampacity_a, 0.6, rtol=1e-12)
    np.testing.assert_allclose(
        (bundled.published_ampacity_a / alone.published_ampacity_a)[1:], 0.6, rtol=1e-12
    )


def test_parallel_runs_fill_the_bundle_themselves():
    # ABYC E-11: 0.7 for 3 conductors, 0.6 for 4; a second run makes 4 of 3.
    candidates = size_conductor(
        request(segments=(Segment(3.0, 303.15, 3),), greatest_parallel_runs=2), TABLES
    ).candidates
    count = len(TABLES.series["awg"])
    for ampacity in (candidates.heat_ampacity_a, candidates.published_ampacity_a[1:]):
        single, double = ampacity[: count - 1], ampacity[count : 2 * count - 1]
        np.testing.assert_allclose(double / single, 2.0 * 0.6 / 0.7, rtol=1e-12)


def test_least_favourable_segment_decides_both_ampacities():
    places = (Segment(1.0, 303.15), Segment(1.0, 353.15, 1, True))
    both, cool, hot = (
        size_conductor(request(segments=segments), TABLES).candidates
        for segments in (places, places[:1], places[1:])
    )
    np.testing.assert_array_equal(both.published_ampacity_a, hot.published_ampacity_a)
    np.testing.assert_array_equal(both.heat_ampacity_a, hot.heat_ampacity_a)
    assert (hot.published_ampacity_a[1:] < cool.published_ampacity_a[1:]).all()


def test_chassis_return_counts_one_conductor_and_the_chassis():
    current, chassis = 25.0, 0.004
    two_ways = size_conductor(request(), TABLES).candidates
    one_way = size_conductor(
        request(return_by_conductor=False, chassis_resistance_ohm=chassis), TABLES
    ).candidates
    np.testing.assert_allclose(
        one_way.voltage_drop_v, 0.5 * two_ways.voltage_drop_v + current * chassis, rtol=1e-9
    )


def test_joints_and_fuse_count_and_the_source_does_not():
    plain = size_conductor(request(), TABLES).candidates
    joints = size_conductor(request(fixed_resistance_ohm=0.002), TABLES).candidates
    source = size_conductor(request(source_resistance_ohm=0.002), TABLES).candidates
    np.testing.assert_allclose(joints.voltage_drop_v - plain.voltage_drop_v, 0.05, rtol=1e-9)
    np.testing.assert_allclose(source.voltage_drop_v, plain.voltage_drop_v, rtol=1e-12)
    np.testing.assert_allclose(plain.load_voltage_v - source.load_voltage_v, 0.05, rtol=1e-9)


def test_fixed_resistance_that_takes_the_whole_drop_leaves_no_length():
    answer = size_conductor(request(fixed_resistance_ohm=0.36 / 25.0), TABLES)
    assert answer.verdict == "no_conductor_meets_criteria"
    assert answer.deciding_criterion == "voltage_drop"
    assert (answer.candidates.greatest_length_m == 0.0).all()


def test_conductor_past_the_cap_of_the_model_has_no_temperature():
    answer = size_conductor(request(load_current_a=300.0), TABLES)
    candidates = answer.candidates
    thin = candidates.sizes.index(TABLES.conductors["18 AWG"])
    assert np.isnan(candidates.conductor_temperature_k[thin])
    assert not passes(answer, "conductor_temperature")[thin]
    thick = candidates.sizes.index(TABLES.conductors["4/0 AWG"])
    assert candidates.conductor_temperature_k[thick] < 523.15


def test_a_request_is_frozen_and_its_answer_repeatable():
    asked = request()
    with pytest.raises(dataclasses.FrozenInstanceError):
        asked.load_current_a = 1.0
    first, second = (size_conductor(asked, TABLES) for _ in range(2))
    np.testing.assert_array_equal(first.candidates.voltage_drop_v, second.candidates.voltage_drop_v)


def test_what_decides_is_what_the_next_thinner_one_misses_by_most():
    """On a grid of currents and lengths, from the published utilisations themselves."""
    decided = set()
    for current in (2.0, 8.0, 15.0, 30.0, 60.0, 120.0):
        for length in (0.3, 1.0, 3.0, 8.0):
            for ambient in (303.15, 333.15, 368.15):
                asked = request(
                    load_current_a=current,
                    segments=(Segment(length, ambient),),
                    greatest_parallel_runs=2,
                )
                answer = size_conductor(asked, TABLES)
                if answer.chosen is None or not answer.chosen % len(asked.sizes):
                    continue
                thinner = answer.candidates.utilisation[:, answer.chosen - 1]
                worst = CRITERIA[int(thinner.argmax())]
                assert thinner.max() > 1.0
                assert answer.deciding_criterion == worst
                decided.add((worst, answer.candidates.utilisation[:, answer.chosen - 2].argmax()))
    # Where the second thinner one would have decided otherwise, the first was asked.
    assert any(CRITERIA[other] != worst for worst, other in decided)
