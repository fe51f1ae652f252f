"""What a meter is expected to show: figures by hand, and Monte Carlo against propagation."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from measured_site import (
    AT_REST,
    CLAMP,
    CURRENT_A,
    EMF_V,
    FEED_OHM,
    LOAD,
    LOADED,
    METERS,
    PARTS_OHM,
    RETURN_OHM,
    SLOPE_PER_K,
    VOLTMETER,
    expectations,
    lamp_network,
    of_lamp,
)

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.measurement import uncertainty
from loomwright.engineering.measurement.expected import (
    FROM_PLAN,
    FROM_READINGS,
    Expectation,
    Reading,
    expectations_of_draws,
    meter_range,
)
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    EQUIPMENT_VOLTAGE,
    FEED_DROP,
    FUSE_DROP,
    LOAD_LUG_DROP,
    QUANTITIES,
    RETURN_DROP,
    SOURCE_LUG_DROP,
    Quantity,
    has_operating_point,
)
from loomwright.engineering.measurement.meter import Meter, meter_covariance
from loomwright.engineering.measurement.uncertainty import (
    DRAWS,
    USUAL,
    Tolerances,
    drawn_variants,
    stratified_scores,
)
from loomwright.engineering.measurement.verdict import (
    DOUBTFUL,
    FAIL,
    NOTHING_MEASURED,
    PASS,
    normalised_error,
    overall_verdict,
    verdict_of,
)

NONE = Tolerances(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
EXACT = Meter(0.0, 0.0, 1e-9)


def test_a_perfect_meter_shows_what_is_derived_by_hand() -> None:
    # 10 A: 12.5 - 0.05 V at the source; feed 8.8 mohm, return 3.2 mohm; 12.45 - 0.12 V at the lamp.
    network = lamp_network()
    shown = network.values_of(network.planned, list(METERS))[0]
    by_quantity = dict(zip(METERS, shown, strict=True))
    assert by_quantity == pytest.approx(
        {
            AT_REST: 12.5,
            Quantity(EQUIPMENT_VOLTAGE, "lamp", "rest"): 12.5,
            LOADED: 12.45,
            of_lamp(EQUIPMENT_VOLTAGE): 12.33,
            of_lamp(FEED_DROP): 0.088,
            of_lamp(RETURN_DROP): 0.032,
            of_lamp(SOURCE_LUG_DROP): 0.001,
            of_lamp(FUSE_DROP): 0.006,
            of_lamp(LOAD_LUG_DROP): 0.001,
            of_lamp(CURRENT): 10.0,
        },
        rel=1e-9,
    )


@pytest.mark.parametrize("drawn", [{}, {"power_w": 100.0, "current_a": 0.0}])
def test_a_held_current_stands_in_for_what_a_load_takes(drawn: dict[str, float]) -> None:
    # 5 A through 8.8 mohm.
    network = lamp_network(**drawn)
    asked = [of_lamp(FEED_DROP), AT_REST, of_lamp(CURRENT), LOADED]
    held = {(LOAD, "lamp"): np.array([5.0])}
    shown = network.values_of(network.planned, asked, held)
    assert shown[0] == pytest.approx([0.044, 12.5, 5.0, 12.475])
    # What is held in another state or of another circuit is of no account.
    others = {(LOAD, "horn"): np.array([5.0]), ("rest", "lamp"): np.array([5.0])}
    found = network.values_of(network.planned, asked, others)
    assert found[0] == pytest.approx(network.values_of(network.planned, asked)[0])


def test_each_variant_is_a_row_of_its_own() -> None:
    network = lamp_network()
    three = network.planned.repeated(3)
    three.emf_v[:, 0] = (12.5, 12.0, 13.0)
    three.part_resistance_ohm[1, 1] += 0.001
    shown = network.values_of(three, [AT_REST, LOADED, of_lamp(FEED_DROP), of_lamp(FUSE_DROP)])
    # 10 A over 5 mohm of the source, 8.8 or 9.8 mohm of the feed, 0.6 or 1.6 mohm of the fuse.
    assert shown == pytest.approx(
        np.array(
            [
                [12.5, 12.45, 0.088, 0.006],
                [12.0, 11.95, 0.098, 0.016],
                [13.0, 12.95, 0.088, 0.006],
            ]
        )
    )


def test_a_circuit_without_a_load_carries_nothing() -> None:
    network = lamp_network()
    bare = replace(network, circuits={"lamp": network.circuits["lamp"]._replace(load=None)})
    shown = bare.values_of(bare.planned, [of_lamp(CURRENT), LOADED])
    assert shown[0] == pytest.approx([0.0, 12.5])


def test_a_load_behind_one_without_a_load_is_switched_on() -> None:
    network = lamp_network()
    lamp = network.circuits["lamp"]
    circuits = {"horn": lamp._replace(load=None), "lamp": lamp}
    # In this order, which a set would not keep.
    both = replace(network, circuits=circuits, states={LOAD: tuple(circuits)})  # type: ignore[dict-item]
    assert both.values_of(both.planned, [of_lamp(CURRENT)])[0] == pytest.approx([10.0])


def test_first_row_is_repeated_in_arrays_of_its_own() -> None:
    pair = lamp_network().planned.repeated(2)
    pair.emf_v[1] = 99.0
    three = pair.repeated(3)
    assert three.emf_v.tolist() == [[EMF_V]] * 3
    three.emf_v[0] = 1.0
    assert pair.emf_v[0] == EMF_V


def test_an_operating_point_is_one_in_every_state() -> None:
    shown = np.array([[1.0, math.nan], [1.0, 2.0], [math.nan, math.nan]])
    assert has_operating_point(shown).tolist() == [False, True, False]


def test_without_tolerances_the_plan_is_expected() -> None:
    network = lamp_network()
    found = expectations(network, dict.fromkeys(METERS, EXACT), tolerances=NONE)
    assert list(found) == list(METERS)
    assert found[of_lamp(FEED_DROP)].expected == pytest.approx(0.088, abs=1e-8)
    assert found[of_lamp(FEED_DROP)].standard_uncertainty < 1e-8
    assert {entry.rests_on for entry in found.values()} == {FROM_PLAN}


def test_spread_of_a_drop_is_that_of_the_law_of_propagation() -> None:
    # Linear but for products of small shares: U = I (R_feed (1 + a)(1 + b)(1 + c dT) + parts).
    # JCGM 100, 5.1.2, with rectangular inputs a / sqrt(3) and lognormal ones with variance
    # e^(2m) (e^(s^2) - 1), m = s^2 / 2.
    network = lamp_network()
    found = expectations(network, {of_lamp(FEED_DROP): EXACT})[of_lamp(FEED_DROP)]
    third = 1.0 / 3.0
    of_conductor = (
        FEED_OHM**2
        * third
        * (
            USUAL.conductor_resistance_share**2
            + USUAL.route_length_share**2
            + (SLOPE_PER_K * USUAL.ambient_temperature_k) ** 2
        )
    )
    s2 = USUAL.joint_spread**2
    of_parts = sum(part**2 for part in PARTS_OHM[:3]) * math.exp(s2) * (math.exp(s2) - 1.0)
    mean_ohm = FEED_OHM + sum(PARTS_OHM[:3]) * math.exp(s2 / 2.0)
    of_load = mean_ohm**2 * third * USUAL.load_share**2
    deviation = CURRENT_A * math.sqrt(of_conductor + of_parts + of_load)
    assert found.expected == pytest.approx(CURRENT_A * mean_ohm, rel=1e-3)
    # A standard deviation of 1024 draws has one of 1 / sqrt(2 x 1024) = 2.2 % itself: twice that.
    assert found.standard_uncertainty == pytest.approx(deviation, rel=0.045)
    # 95 % of a rectangular distribution lie within 0.95 sqrt(3) = 1.645 deviations, of a normal one
    # within 1.960; this is a sum of both.
    assert 2 * 1.645 * deviation < found.high - found.low < 2 * 1.960 * deviation
    # 65536 draws have 0.3 %, and products of shares, left out above, add as much.
    many = drawn_variants(network, USUAL, 65536)
    shown = network.values_of(many, [of_lamp(FEED_DROP)])
    assert shown.std() == pytest.approx(deviation, rel=0.008)


def test_voltage_at_rest_is_that_of_its_own_tolerance_and_the_meter() -> None:
    # Rectangular EMF and rectangular meter error of share and digits, all independent.
    network = lamp_network()
    found = expectations(network, {AT_REST: VOLTMETER})[AT_REST]
    halves = (USUAL.emf_share * EMF_V, 0.005 * EMF_V, 0.02)
    assert found.expected == pytest.approx(EMF_V, rel=1e-4)
    expected = math.sqrt(sum(half**2 for half in halves) / 3.0)
    assert found.standard_uncertainty == pytest.approx(expected, rel=0.03)


def test_a_drop_is_judged_at_the_current_that_was_read() -> None:
    network = lamp_network()
    readings = {of_lamp(CURRENT): Reading(5.0, CLAMP)}
    found = expectations(network, METERS, readings, NONE)
    assert found[of_lamp(FEED_DROP)].expected == pytest.approx(5.0 * 0.0088, rel=2e-3)
    assert found[of_lamp(FEED_DROP)].rests_on == FROM_READINGS
    # The current itself is judged by the plan.
    assert found[of_lamp(CURRENT)].expected == pytest.approx(10.0, rel=1e-3)
    assert found[of_lamp(CURRENT)].rests_on == FROM_PLAN
    # At rest nothing changes.
    assert found[AT_REST].expected == pytest.approx(EMF_V, rel=1e-3)


def test_voltages_are_judged_from_the_voltage_that_was_read_at_rest() -> None:
    network = lamp_network()
    found = expectations(network, METERS, {AT_REST: Reading(12.2, VOLTMETER)})
    assert found[LOADED].expected == pytest.approx(12.2 - 0.05, abs=0.005)
    assert found[LOADED].rests_on == FROM_READINGS
    assert found[AT_REST].expected == pytest.approx(EMF_V, rel=1e-3)
    assert found[AT_REST].rests_on == FROM_PLAN
    from_plan = expectations(network, METERS)
    assert found[LOADED].standard_uncertainty < 0.4 * from_plan[LOADED].standard_uncertainty


def test_a_loaded_reading_of_another_state_changes_nothing() -> None:
    network = lamp_network()
    found = expectations(network, METERS, {of_lamp(FEED_DROP): Reading(0.5, VOLTMETER)})
    assert found[of_lamp(RETURN_DROP)].rests_on == FROM_PLAN


@pytest.mark.parametrize(
    "name", ["conductor_resistance_share", "route_length_share", "joint_spread", "load_share"]
)
@settings(max_examples=5)
@given(st.floats(0.02, 0.2), st.floats(1.3, 2.0))
def test_a_wider_tolerance_never_narrows_an_interval(
    name: str, width: float, factor: float
) -> None:
    network = lamp_network()
    drop = of_lamp(FEED_DROP)
    narrow, wide = (
        expectations(network, {drop: EXACT}, tolerances=replace(NONE, **{name: share}))[drop]
        for share in (width, width * factor)
    )
    assert wide.high - wide.low > narrow.high - narrow.low


@pytest.mark.parametrize("meter", [Meter(0.02, 2.0, 1e-4), Meter(0.005, 40.0, 1e-4)])
def test_a_worse_meter_widens_the_interval(meter: Meter) -> None:
    drop = of_lamp(FEED_DROP)
    network = lamp_network()
    good = expectations(network, {drop: METERS[drop]}, tolerances=NONE)[drop]
    bad = expectations(network, {drop: meter}, tolerances=NONE)[drop]
    assert bad.high - bad.low > good.high - good.low


def test_what_is_asked_beside_changes_no_expectation() -> None:
    network = lamp_network()
    drop = of_lamp(FEED_DROP)
    alone = expectations(network, {drop: METERS[drop]})[drop]
    assert expectations(network, METERS)[drop] == alone
    backwards = dict(reversed(METERS.items()))
    assert expectations(network, backwards)[drop] == alone


# --- from draws that are given ---


def of_draws(
    values: list[float], meter: Meter = EXACT, quantity: Quantity = AT_REST
) -> Expectation:
    """What is expected of draws of one quantity, without looking at any network."""
    network = lamp_network()
    shown = np.array(values)[:, None]
    return expectations_of_draws(network, network.planned, shown, {quantity: meter}, {})[quantity]


def test_interval_holds_the_middle_95_percent_of_the_draws() -> None:
    for quantity in (AT_REST, LOADED):
        found = of_draws([float(value) for value in range(1001)], EXACT, quantity)
        assert (found.expected, found.low, found.high) == pytest.approx((500.0, 25.0, 975.0))
        # Of so many equal steps: the variance is (n**2 - 1) / 12.
        assert found.standard_uncertainty == pytest.approx(math.sqrt((1001**2 - 1) / 12.0))
        assert found.rests_on == FROM_PLAN


def test_what_collapses_in_most_of_its_draws_promises_nothing() -> None:
    assert of_draws([3.0, math.nan]).expected == pytest.approx(3.0)
    assert of_draws([1.0, 2.0, math.nan]).expected == pytest.approx(1.5)
    with pytest.raises(EngineeringError, match="switch on less") as caught:
        of_draws([3.0, math.nan, math.nan])
    assert caught.value.code == "no_operating_point"


def test_a_meter_errs_by_share_and_digits_without_favour() -> None:
    # Half-widths 3 and 1.2, both rectangular.
    found = of_draws([10.0] * DRAWS, Meter(0.3, 2.0, 0.6))
    assert found.expected == pytest.approx(10.0, rel=2e-3)
    # So few draws leave share and digits a correlation of some hundredths.
    assert found.standard_uncertainty == pytest.approx(math.sqrt((9.0 + 1.44) / 3.0), rel=0.04)
    assert 5.8 < found.low < 10.0 < found.high < 14.2


def test_errors_of_a_meter_are_independent_of_the_installation() -> None:
    network = lamp_network()
    drawn = drawn_variants(network, USUAL)
    for column in range(drawn.part_resistance_ohm.shape[1]):
        scores = np.log(drawn.part_resistance_ohm[:, column])
        scores = 10.0 + (scores - scores.mean()) / scores.std()
        found = of_draws(scores.tolist(), Meter(0.1, 0.0, 0.1))
        of_meter = 0.01 * 101.0 / 3.0
        # A correlation of so many draws is 1 / sqrt(DRAWS) in the mean; four times that is allowed.
        slack = 2.0 * math.sqrt(of_meter) * 4.0 / math.sqrt(DRAWS)
        assert found.standard_uncertainty**2 == pytest.approx(1.0 + of_meter, abs=slack)


def at_current(value: float, meter: Meter) -> Expectation:
    """Feed drop of a lamp without other tolerances at a current that was read."""
    flow = of_lamp(CURRENT)
    drop = of_lamp(FEED_DROP)
    meters = {drop: EXACT, flow: meter}
    return expectations(lamp_network(), meters, {flow: Reading(value, meter)}, NONE)[drop]


def test_a_current_that_was_read_is_as_uncertain_as_its_meter() -> None:
    # 8 A by a meter of 30 %: the mean of 1 / (1 + g) is ln(1.3 / 0.7) / 0.6.
    ohm = FEED_OHM + sum(PARTS_OHM[:3])
    found = at_current(8.0, Meter(0.3, 0.0, 1.0))
    mean = math.log(1.3 / 0.7) / 0.6
    assert found.rests_on == FROM_READINGS
    assert found.expected == pytest.approx(8.0 * ohm * mean, rel=3e-3)
    square = 1.0 / (0.7 * 1.3)
    assert found.standard_uncertainty == pytest.approx(
        8.0 * ohm * math.sqrt(square - mean * mean), rel=0.03
    )


def test_a_current_that_was_read_as_nought_is_not_below_it() -> None:
    # Half a unit of the display either way; what lies below nought is nought.
    ohm = FEED_OHM + sum(PARTS_OHM[:3])
    found = at_current(0.0, Meter(0.0, 1.0, 0.5))
    assert found.low == pytest.approx(0.0, abs=1e-8)
    assert found.expected == pytest.approx(0.125 * ohm, rel=0.03)
    assert found.high == pytest.approx(0.475 * ohm, rel=0.03)


def test_a_plan_without_operating_point_is_refused() -> None:
    # 12.5 V behind 17 mohm delivers at most 12.5^2 / 0.068 = 2298 W.
    network = lamp_network(power_w=2600.0, current_a=0.0)
    with pytest.raises(EngineeringError, match="switch on less") as caught:
        expectations(network, METERS)
    assert caught.value.code == "no_operating_point"
    assert caught.value.attributes == {"state": LOAD}
    assert expectations(network, {AT_REST: VOLTMETER})[AT_REST].expected > 12.0


# --- the meter ---


def test_limit_is_share_of_reading_and_digits() -> None:
    assert Meter(0.005, 2.0, 0.01).limit(-12.0) == pytest.approx(0.08)
    # Rounding alone is half a count.
    assert Meter(0.0, 0.0, 0.01).limit(12.0) == pytest.approx(0.005)
    assert Meter(0.0, 1.0, 0.01).limit(12.0) == pytest.approx(0.01)


def test_readings_of_one_range_share_the_error_of_the_meter() -> None:
    # By hand: share 1 % of 10 and of 20, digits 0.3 each, all over sqrt(3).
    one, other = Meter(0.01, 3.0, 0.1), Meter(0.02, 3.0, 0.1)
    shown = np.array([[10.0, 20.0]])
    (same,) = meter_covariance(shown, (one, one), ("voltage", "voltage"))
    assert same == pytest.approx(np.array([[0.01 + 0.09, 0.02], [0.02, 0.04 + 0.09]]) / 3.0)
    (apart,) = meter_covariance(shown, (one, one), ("voltage", "drop"))
    assert apart == pytest.approx(np.diag([0.01 + 0.09, 0.04 + 0.09]) / 3.0)
    (unlike,) = meter_covariance(shown, (one, other), ("voltage", "voltage"))
    assert unlike == pytest.approx(np.diag([0.01 + 0.09, 0.16 + 0.09]) / 3.0)


def test_every_quantity_has_a_range() -> None:
    ranges = {what: meter_range(Quantity(what, "", "")) for what in QUANTITIES}
    assert ranges["source_voltage"] == ranges["equipment_voltage"] == "voltage"
    assert ranges["feed_drop"] == ranges["fuse_drop"] == "drop"
    assert ranges["current"] == "current"


# --- the draws ---


def test_every_slice_of_every_input_is_drawn_once() -> None:
    scores = stratified_scores(10, 3)
    middles = [-0.9, -0.7, -0.5, -0.3, -0.1, 0.1, 0.3, 0.5, 0.7, 0.9]
    for column in range(3):
        assert sorted(scores.even[:, column]) == pytest.approx(middles)
        # The 0.05 quantile of a normal distribution is -1.6449.
        assert min(scores.normal[:, column]) == pytest.approx(-1.6449, abs=1e-4)
    assert scores.even[:, 0].tolist() != scores.even[:, 1].tolist()
    assert stratified_scores(10, 0).even.shape == (10, 0)


def test_columns_are_the_same_whatever_stands_beside_them() -> None:
    few, many = stratified_scores(16, 2), stratified_scores(16, 5)
    assert many.even[:, :2].tolist() == few.even.tolist()


def test_inputs_are_drawn_independently() -> None:
    even = stratified_scores(DRAWS, 32).even
    together = np.corrcoef(even, rowvar=False) - np.eye(32)
    # 496 pairs of 1024: the greatest of so many is about 3.1 / sqrt(1024) = 0.10.
    assert np.abs(together).max() < 0.14


def test_both_kinds_of_columns_are_drawn_in_orders_of_their_own() -> None:
    scores = stratified_scores(16, 1)
    orders = (scores.even[:, 0].argsort(), scores.normal[:, 0].argsort())
    assert orders[0].tolist() != orders[1].tolist()


@pytest.mark.parametrize(("inputs", "columns"), [(0, 32), (31, 32), (32, 64), (63, 64), (64, 96)])
def test_columns_come_in_sets_of_thirty_two(inputs: int, columns: int) -> None:
    assert uncertainty._rounded_up(inputs) == columns


def test_joints_are_drawn_each_for_itself() -> None:
    network = lamp_network()
    drawn = drawn_variants(network, replace(NONE, joint_spread=0.3)).part_resistance_ohm
    together = np.corrcoef(np.log(drawn), rowvar=False) - np.eye(5)
    # Ten pairs of 1024 draws, as above.
    assert np.abs(together).max() < 0.14


def test_sources_and_loads_are_drawn_each_for_itself() -> None:
    network = lamp_network()
    pair = replace(
        network.planned,
        emf_v=np.array([[12.0, 24.0]]),
        load_power_w=np.zeros((1, 2)),
        load_current_a=np.array([[5.0, 10.0]]),
    )
    drawn = drawn_variants(replace(network, planned=pair), USUAL)
    for values in (drawn.emf_v, drawn.load_current_a):
        assert abs(np.corrcoef(values, rowvar=False)[0, 1]) < 0.14


def test_columns_are_handed_out_from_the_first_on() -> None:
    following = uncertainty._taken(np.arange(6.0).reshape(1, 6))
    assert following(2).tolist() == [[0.0, 1.0]]
    assert following(3).tolist() == [[2.0, 3.0, 4.0]]


def test_columns_asked_for_are_those_of_all_inputs(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def noted(inputs: int) -> int:
        asked.append(inputs)
        return 32

    monkeypatch.setattr(uncertainty, "_rounded_up", noted)
    drawn_variants(lamp_network(), USUAL, 4)
    # Three of the one circuit, five parts, two of the one source and one load.
    assert asked == [3 + 5 + 2 + 1]


def test_one_reel_serves_feed_and_return_and_the_day_all() -> None:
    network = lamp_network()
    planned = network.planned.ambient_resistance_ohm
    reel = drawn_variants(network, replace(NONE, conductor_resistance_share=0.1))
    shares = reel.ambient_resistance_ohm / planned
    assert shares[:, 0] == pytest.approx(shares[:, 1])
    assert shares.max() == pytest.approx(1.1, abs=1e-3)
    lengths = drawn_variants(network, replace(NONE, route_length_share=0.1))
    shares = lengths.ambient_resistance_ohm / planned
    assert abs(np.corrcoef(shares, rowvar=False)[0, 1]) < 0.14
    assert (shares.min(), shares.max()) == pytest.approx((0.9, 1.1), abs=1e-3)
    assert lengths.resistance_slope_ohm_per_k == pytest.approx(
        SLOPE_PER_K * lengths.ambient_resistance_ohm
    )
    warm = drawn_variants(network, replace(NONE, ambient_temperature_k=10.0))
    ratios = warm.ambient_resistance_ohm / planned
    assert ratios[:, 0] == pytest.approx(ratios[:, 1])
    assert warm.ambient_resistance_ohm.max(axis=0) == pytest.approx(
        [FEED_OHM * 1.04, RETURN_OHM * 1.04], rel=1e-4
    )


@pytest.mark.parametrize(
    ("name", "field"),
    [
        ("joint_spread", "part_resistance_ohm"),
        ("source_resistance_spread", "source_resistance_ohm"),
    ],
)
def test_a_spread_is_that_of_the_logarithm_around_the_plan(name: str, field: str) -> None:
    network = lamp_network()
    drawn = getattr(drawn_variants(network, replace(NONE, **{name: 0.3})), field)
    logarithms = np.log(drawn / getattr(network.planned, field))
    assert logarithms.mean(axis=0) == pytest.approx(np.zeros(drawn.shape[1]), abs=1e-9)
    # The outermost of 1024 slices are taken at their middles, which leaves out some of the tail.
    assert logarithms.std(axis=0) == pytest.approx(np.full(drawn.shape[1], 0.3), rel=2e-3)


@pytest.mark.parametrize(
    ("name", "field"), [("emf_share", "emf_v"), ("load_share", "load_current_a")]
)
def test_a_share_is_the_half_width_around_the_plan(name: str, field: str) -> None:
    network = lamp_network()
    drawn = getattr(drawn_variants(network, replace(NONE, **{name: 0.1})), field)
    planned = getattr(network.planned, field)
    # The middle of the outermost of 1024 slices lies a 1024th within.
    assert (drawn / planned).max() == pytest.approx(1.1 - 0.1 / 1024, rel=1e-10)
    assert (drawn / planned).min() == pytest.approx(0.9 + 0.1 / 1024, rel=1e-10)


def test_usual_tolerances_are_those_of_common_practice() -> None:
    # No source: resistance 4 %, length 5 %, 5 K, joints 35 %, EMF 2 %, source 25 %, loads 10 %.
    assert Tolerances(0.04, 0.05, 5.0, 0.35, 0.02, 0.25, 0.1) == USUAL


def test_a_load_of_power_has_its_tolerance_too() -> None:
    network = lamp_network(power_w=100.0, current_a=0.0)
    drawn = drawn_variants(network, replace(NONE, load_share=0.1)).load_power_w
    assert drawn.max() == pytest.approx(110.0, abs=0.02)


# --- verdicts ---


def test_error_is_counted_in_the_half_width_of_its_side() -> None:
    given_expectation = Expectation(of_lamp(CURRENT), 10.0, 9.0, 12.0, 0.5, FROM_PLAN)
    assert normalised_error(10.0, given_expectation) == 0.0
    assert normalised_error(10.5, given_expectation) == pytest.approx(0.25)
    assert normalised_error(9.5, given_expectation) == pytest.approx(-0.5)
    assert normalised_error(13.0, given_expectation) == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("error", "verdict"),
    [(0.0, PASS), (1.0, PASS), (-1.0, PASS), (1.0001, DOUBTFUL), (-1.6789, DOUBTFUL), (1.679, FAIL),
     (-1.7, FAIL)],
)  # fmt: skip
def test_verdict_by_error(error: float, verdict: str) -> None:
    assert verdict_of(error) == verdict


def test_the_doubtful_band_ends_at_99_9_percent_of_a_normal_distribution() -> None:
    # Two-sided quantiles of a normal distribution: 1.95996 (95 %) and 3.29053 (99.9 %).
    assert verdict_of(3.29053 / 1.95996 - 1e-4) == DOUBTFUL
    assert verdict_of(3.29053 / 1.95996 + 1e-4) == FAIL


def test_a_low_drain_is_no_fault() -> None:
    assert verdict_of(-5.0, only_above=True) == PASS
    assert verdict_of(5.0, only_above=True) == FAIL


def test_the_worst_verdict_is_the_overall_one() -> None:
    assert overall_verdict([PASS, FAIL, DOUBTFUL]) == FAIL
    assert overall_verdict([PASS, DOUBTFUL]) == DOUBTFUL
    assert overall_verdict([PASS]) == PASS
    assert overall_verdict([]) == NOTHING_MEASURED


def test_what_is_expected_passes() -> None:
    found = expectations(lamp_network(), METERS)
    assert list(found) == list(METERS)
    for entry in found.values():
        assert entry.low < entry.expected < entry.high
        assert verdict_of(normalised_error(entry.expected, entry)) == PASS
