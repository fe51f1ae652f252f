"""Stated networks solved: figures worked out by hand, and agreement with the sizing."""

import math
from dataclasses import replace

import pytest

from loomwright.engineering.conductors.choice import Segment
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.network.conductor_stretches import candidate_of
from loomwright.jobs.network_answer import (
    cautions_of_network,
    network_document,
    nine_places,
    provenances_of_network,
)
from loomwright.jobs.solved_network import BranchState
from loomwright.tables.load import tables
from stated_networks import BATTERY, FEED, Document, cable, divider, solved, stated

# What the solver leaves of a current (its relative tolerance), with room for a few roundings.
CLOSE = 1e-9


def two_sources(load_a: float, *, second_v: float, **more: object) -> Document:
    """Return a battery of 12 V and 0.1 ohm, and a second source at the same node, with a load."""
    second = {**BATTERY, "key": "second", "source_voltage": second_v, "source_resistance": 0.02}
    return {
        "power_sources": [BATTERY, second | more],
        "loads": [{"key": "load", "plus_node": "plus", "load_current": load_a}],
    }


def winch(power_w: float, **more: object) -> Document:
    """Return a battery of 12 V and 0.03 ohm that feeds a load of constant power over 0.02 ohm."""
    return {
        "power_sources": [{**BATTERY, "source_resistance": 0.03}],
        "branches": [{**FEED, "resistance": 0.02}],
        "loads": [{"key": "winch", "plus_node": "load", "load_power": power_w} | more],
    }


def test_a_voltage_divider() -> None:
    # 12 V over 0.1 + 0.4 + 1.5 ohm are 6 A: drops of 0.6, 2.4 and 9 V.
    found = solved(divider())
    assert found.state == "solved"
    assert found.voltages_v == pytest.approx({"reference": 0.0, "plus": 11.4, "load": 9.0})
    (source,), (branch,), (load,) = found.sources, found.branches, found.loads
    assert (source.state, source.current_a) == ("delivering", pytest.approx(6.0, rel=CLOSE))
    assert source.terminal_voltage_v == pytest.approx(11.4, rel=CLOSE)
    assert source.power_w == pytest.approx(68.4, rel=CLOSE)
    assert branch.current_a == pytest.approx(6.0, rel=CLOSE)
    assert branch.voltage_drop_v == pytest.approx(2.4, rel=CLOSE)
    assert branch.loss_w == pytest.approx(14.4, rel=CLOSE)
    assert branch.resistance_ohm == pytest.approx(0.4, rel=CLOSE)
    assert (branch.conductor_temperature_k, branch.ampacity_a) == (None, None)
    assert branch.is_within_ampacity is None
    assert (load.current_a, load.voltage_v) == pytest.approx((6.0, 9.0), rel=CLOSE)
    assert load.power_w == pytest.approx(54.0, rel=CLOSE)
    assert (found.source_power_w, found.load_power_w, found.loss_w) == pytest.approx(
        (68.4, 54.0, 14.4), rel=CLOSE
    )
    assert found.imbalance_w == pytest.approx(0.0, abs=1e-9)
    assert (found.greatest_factor, found.greatest_power_w) == (None, None)


def test_a_current_against_the_branch_is_negative() -> None:
    document = divider()
    document["branches"][0] |= {"from_node": "load", "to_node": "plus"}
    (branch,) = solved(document).branches
    assert branch.current_a == pytest.approx(-6.0, rel=CLOSE)
    assert branch.voltage_drop_v == pytest.approx(-2.4, rel=CLOSE)
    assert branch.loss_w == pytest.approx(14.4, rel=CLOSE)


def test_a_shared_ground_lifts_both_loads() -> None:
    # 2 A and 3 A meet in 0.1 ohm to the reference: it is 0.5 V above it.
    document: Document = {
        "power_sources": [{**BATTERY, "source_resistance": 0.2}],
        "branches": [{"key": "g", "from_node": "g", "to_node": "reference", "resistance": 0.1}],
        "loads": [
            {"key": "a", "plus_node": "plus", "minus_node": "g", "load_current": 2.0},
            {"key": "b", "plus_node": "plus", "minus_node": "g", "load_current": 3.0},
        ],
    }
    found = solved(document)
    assert found.voltages_v == pytest.approx({"reference": 0.0, "plus": 11.0, "g": 0.5})
    assert [load.voltage_v for load in found.loads] == pytest.approx([10.5, 10.5])


def test_a_ring_with_two_feeds() -> None:
    # Alike in both halves but for the EMFs of 11.5 + 0.5 and 11.5 - 0.5 V. In common each half
    # gives 5 A: 11.0 V at a and b, 10.5 V at c. In difference c stays, and of 0.5 V over 0.1 ohm
    # a keeps v with (0.5 - v) / 0.1 = v / 0.1 + 2 v / 0.1, so v = 0.125 V.
    tenth = {"resistance": 0.1}
    document: Document = {
        "power_sources": [
            {**BATTERY, "plus_node": "a"},
            {**BATTERY, "key": "second", "plus_node": "b", "source_voltage": 11.0},
        ],
        "branches": [
            {"key": "ac", "from_node": "a", "to_node": "c", **tenth},
            {"key": "bc", "from_node": "b", "to_node": "c", **tenth},
            {"key": "ab", "from_node": "a", "to_node": "b", **tenth},
        ],
        "loads": [{"key": "load", "plus_node": "c", "load_current": 10.0}],
    }
    found = solved(document)
    assert found.voltages_v == pytest.approx(
        {"reference": 0.0, "a": 11.125, "b": 10.875, "c": 10.5}
    )
    assert [entry.current_a for entry in found.sources] == pytest.approx([8.75, 1.25])
    assert [entry.current_a for entry in found.branches] == pytest.approx([6.25, 3.75, 2.5])
    assert found.imbalance_w == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("load_a", "second", "states", "battery_a", "voltage_v"),
    [
        # 20 A of 30 A from the second: the battery gives 10 A and falls to 11 V.
        (30.0, {"second_v": 14.0, "greatest_current": 20.0, "takes_back": False},
         ["delivering", "at_limit"], 10.0, 11.0),
        # 5 A more than is drawn go into the battery: 12.5 V.
        (15.0, {"second_v": 14.0, "greatest_current": 20.0, "takes_back": False},
         ["taking_back", "at_limit"], -5.0, 12.5),
        # 11.5 V of the battery alone hold the second off.
        (5.0, {"second_v": 11.0, "takes_back": False}, ["delivering", "idle"], 5.0, 11.5),
        # With 11.4 V it takes part: (12 - V) / 0.1 + (11.4 - V) / 0.02 = 5, so 11.4167 V,
        # and takes 0.8333 A back.
        (5.0, {"second_v": 11.4}, ["delivering", "taking_back"], 5.0 + 5.0 / 6.0, 11.4 + 1.0 / 60),
        # A limit that is not reached changes nothing: of 6 A five sixths come over 0.02 ohm.
        (6.0, {"second_v": 12.0, "greatest_current": 20.0},
         ["delivering", "delivering"], 1.0, 11.9),
    ],
)  # fmt: skip
def test_two_sources_at_one_node(
    load_a: float,
    second: dict[str, float],
    states: list[str],
    battery_a: float,
    voltage_v: float,
) -> None:
    found = solved(two_sources(load_a, **second))  # type: ignore[arg-type]
    assert [entry.state for entry in found.sources] == states
    battery, other = found.sources
    assert battery.current_a == pytest.approx(battery_a, rel=CLOSE)
    assert other.current_a == pytest.approx(load_a - battery_a, rel=CLOSE, abs=1e-12)
    assert battery.terminal_voltage_v == pytest.approx(voltage_v, rel=CLOSE)
    assert ("source_at_limit" in cautions_of_network(found)) == ("at_limit" in states)


def test_a_load_of_constant_power() -> None:
    # V^2 - 12 V + 0.05 x 400 = 0: 10 V and 40 A; at most 12^2 / (4 x 0.05) = 720 W.
    found = solved(winch(400.0))
    (load,) = found.loads
    assert (load.voltage_v, load.current_a) == pytest.approx((10.0, 40.0), rel=CLOSE)
    assert found.greatest_power_w == pytest.approx(720.0, rel=1e-6)
    assert found.greatest_factor == pytest.approx(1.8, rel=1e-6)


def test_parts_of_a_load_add_up() -> None:
    # At 10 V: 100 W are 10 A, with 20 A and 1 ohm 40 A together.
    found = solved(winch(100.0, load_current=20.0, load_resistance=1.0))
    assert found.loads[0].current_a == pytest.approx(40.0, rel=CLOSE)
    assert found.loads[0].voltage_v == pytest.approx(10.0, rel=CLOSE)


def test_more_than_there_is_has_no_operating_point() -> None:
    found = solved(winch(800.0))
    assert found.state == "no_operating_point"
    assert (found.voltages_v, found.sources, found.branches, found.loads) == ({}, (), (), ())
    assert found.greatest_power_w == pytest.approx(720.0, rel=1e-6)
    assert found.greatest_factor == pytest.approx(0.9, rel=1e-6)
    answer = network_document(found)
    assert (answer["nodes"], answer["loads"], answer["power_balance"]) == ([], [], None)
    assert "near_collapse" not in cautions_of_network(found)


def test_a_constant_current_beyond_the_source_leaves_no_greatest_power() -> None:
    # 300 A over 0.05 ohm want 15 V.
    found = solved(winch(1.0, load_current=300.0))
    assert found.state == "no_operating_point"
    assert (found.greatest_factor, found.greatest_power_w) == (None, None)


@pytest.mark.parametrize(("power_w", "is_near"), [(355.0, False), (365.0, True)])
def test_more_than_half_of_the_greatest_power_is_near_the_collapse(
    power_w: float, is_near: bool
) -> None:
    # Half of 720 W.
    assert ("near_collapse" in cautions_of_network(solved(winch(power_w)))) == is_near


def with_cable(current_a: float, **conductor: object) -> Document:
    """Return the divider with a cable as its feed and a load of constant current."""
    document = divider()
    feed = {name: value for name, value in FEED.items() if name != "resistance"}
    document["branches"] = [feed | {"conductor": cable(**conductor)}]  # type: ignore[arg-type]
    document["loads"] = [{"key": "load", "plus_node": "load", "load_current": current_a}]
    return document


def test_a_cable_agrees_with_the_sizing_of_the_same_cable() -> None:
    # Feed and return as branches of their own against the loop of size_conductor.
    route = [
        {"length": 1.5, "zone": "engine_compartment", "bundled_conductors": 4},
        {"length": 3.0, "zone": "passenger_compartment"},
    ]
    conductor = cable("8 AWG", route=route)
    document = with_cable(35.0)
    document["branches"] = [
        {"key": "feed", "from_node": "plus", "to_node": "load", "conductor": conductor},
        {"key": "return", "from_node": "minus", "to_node": "reference", "conductor": conductor},
    ]
    document["loads"][0]["minus_node"] = "minus"
    found = solved(document)
    own = stated(document).branches[0].conductor
    assert own is not None
    asked = replace(
        own.request,
        supply_voltage_v=found.voltages_v["plus"],
        allowed_voltage_drop_v=1.0,
        load_current_a=35.0,
        return_by_conductor=True,
    )
    answer = size_conductor(asked, tables())
    place = answer.checked
    assert place is not None
    candidates = answer.candidates
    for branch in found.branches:
        assert branch.conductor_temperature_k == pytest.approx(
            candidates.conductor_temperature_k[place], rel=CLOSE
        )
        assert branch.ampacity_a == candidates.ampacity_a[place]
        assert 2.0 * branch.voltage_drop_v == pytest.approx(
            candidates.voltage_drop_v[place], rel=1e-8
        )
    # The engine compartment is the hottest at 80 C, and its part of the route the hotter one.
    assert found.branches[0].rises_k[0] > found.branches[0].rises_k[1] > 0.0
    assert found.branches[0].conductor_temperature_k == 353.15 + found.branches[0].rises_k[0]


def test_two_runs_have_half_the_resistance() -> None:
    one, two = (solved(with_cable(0.01, parallel_runs=runs)).branches[0] for runs in (1, 2))
    # A hundredth of an ampere heats neither by more than a millionth.
    assert two.resistance_ohm == pytest.approx(0.5 * one.resistance_ohm, rel=1e-6)
    assert two.ampacity_a is not None
    assert one.ampacity_a is not None
    # Two conductors in a bundle are below the first tabulated number of three.
    assert two.ampacity_a == pytest.approx(2.0 * one.ampacity_a, rel=CLOSE)


def test_runs_beyond_the_first_join_the_bundle() -> None:
    # 33 CFR 183.425 Table 5: 4 to 6 conductors in a bundle carry 0.6 of what one does alone.
    one, four = (solved(with_cable(0.01, parallel_runs=runs)).branches[0] for runs in (1, 4))
    assert four.ampacity_a is not None
    assert one.ampacity_a is not None
    assert four.ampacity_a == pytest.approx(4.0 * 0.6 * one.ampacity_a, rel=CLOSE)


def test_resistance_of_a_cold_cable_is_that_of_its_metal() -> None:
    # ASTM B258: 0.127 mm x 92^(22/39) is a diameter of 1.6277 mm, so 2.0809 mm2; IEC 60028:
    # 1/58 ohm mm2/m, and 2 % for stranding.
    branch = solved(with_cable(0.001)).branches[0]
    assert branch.resistance_ohm == pytest.approx(1.02 / 58.0 / 2.0809, rel=1e-4)
    assert branch.conductor_temperature_k == pytest.approx(293.15, abs=1e-3)


def branch_at(current_a: float) -> BranchState:
    return replace(solved(with_cable(1.0)).branches[0], current_a=current_a, ampacity_a=30.0)


@pytest.mark.parametrize(
    ("current_a", "is_within"),
    [
        (30.0, True),
        (-30.0, True),
        (math.nextafter(30.0, 31.0), False),
        (math.nextafter(-30.0, -31.0), False),
    ],
)
def test_a_current_is_within_the_ampacity_up_to_it(current_a: float, is_within: bool) -> None:
    assert branch_at(current_a).is_within_ampacity is is_within


@pytest.mark.parametrize(
    ("current_a", "is_within", "is_modelled"),
    # 14 AWG carries some 35 A at 30 C by the federal table, and reaches 250 C at some 70 A.
    [(20.0, True, True), (50.0, False, True), (100.0, False, False)],
)
def test_a_cable_above_its_ampacity_is_told(
    current_a: float, is_within: bool, is_modelled: bool
) -> None:
    document = with_cable(current_a)
    document["power_sources"][0]["source_resistance"] = 0.01
    found = solved(document)
    (branch,) = found.branches
    assert branch.is_within_ampacity is is_within
    assert (branch.conductor_temperature_k is not None) == is_modelled
    assert ("current_above_ampacity" in cautions_of_network(found)) != is_within


def test_only_the_stretch_beyond_the_model_takes_the_temperature() -> None:
    # Two cables in one network: the cool one keeps its own figures.
    document = with_cable(100.0)
    document["power_sources"][0]["source_resistance"] = 0.01
    document["branches"].append(
        {"key": "thick", "from_node": "load", "to_node": "end", "conductor": cable("2/0 AWG")}
    )
    document["loads"][0]["plus_node"] = "end"
    thin, thick = solved(document).branches
    assert thin.conductor_temperature_k is None
    assert thick.conductor_temperature_k is not None
    assert (len(thin.rises_k), len(thick.rises_k)) == (1, 1)
    assert 293.15 < thick.conductor_temperature_k < 313.15


def test_figures_of_the_answer_are_those_of_the_network() -> None:
    answer = network_document(solved(divider() | {"system_voltage": 12}))
    assert answer["verdict"] == "solved"
    assert answer["nodes"] == [
        {"node": "reference", "voltage_v": 0.0},
        {"node": "plus", "voltage_v": 11.4},
        {"node": "load", "voltage_v": 9.0},
    ]
    assert answer["power_sources"] == [
        {
            "key": "battery",
            "state": "delivering",
            "current_a": 6.0,
            "terminal_voltage_v": 11.4,
            "power_w": 68.4,
        }
    ]
    assert answer["branches"] == [
        {
            "key": "feed",
            "from_node": "plus",
            "to_node": "load",
            "current_a": 6.0,
            "voltage_drop_v": 2.4,
            # 2.4 of 12 V.
            "voltage_drop_percent": 20.0,
            "loss_w": 14.4,
            "resistance_ohm": 0.4,
            "conductor_temperature_c": None,
            "ampacity_a": None,
            "is_within_ampacity": None,
        }
    ]
    assert answer["loads"] == [
        {"key": "lamp", "current_a": 6.0, "load_voltage_v": 9.0, "power_w": 54.0}
    ]
    assert answer["power_balance"] == {
        "source_power_w": 68.4,
        "load_power_w": 54.0,
        "loss_w": 14.4,
        "imbalance_w": 0.0,
    }
    assert (answer["greatest_factor"], answer["greatest_power_w"]) == (None, None)
    assert answer["residual_a"] == 0.0
    assert answer["iterations"] >= 1


def test_drops_are_no_share_of_an_unknown_system_voltage() -> None:
    (branch,) = network_document(solved(divider()))["branches"]
    assert branch["voltage_drop_percent"] is None


def test_temperature_of_a_cable_is_answered_in_celsius() -> None:
    (branch,) = network_document(solved(with_cable(0.001)))["branches"]
    assert branch["conductor_temperature_c"] == pytest.approx(20.0, abs=1e-3)
    assert branch["is_within_ampacity"] is True


@pytest.mark.parametrize(
    ("left", "told"),
    [(4e-10, 0.0), (-4e-10, 0.0), (1.26e-8, 1.3e-8), (-2.5, -2.5), (math.nan, None)],
)
def test_what_rounding_leaves_has_nine_places(left: float, told: float | None) -> None:
    found = nine_places(left)
    assert found == told
    # Zero has no sign.
    assert found is None or math.copysign(1.0, found) == math.copysign(1.0, told or 0.0)


GENERAL = ("isolate_battery", "fuse_at_source", "defer_to_maker")


def cautions(document: Document) -> set[str]:
    return set(cautions_of_network(solved(document))) - set(GENERAL)


def test_cautions_follow_from_the_network() -> None:
    found = cautions_of_network(solved(divider()))
    assert found == GENERAL
    assert cautions(with_cable(1.0)) == {"moving_and_hot_parts"}
    assert cautions(with_cable(1.0, parallel_runs=2)) == {"moving_and_hot_parts", "parallel_runs"}
    assert cautions(with_cable(1.0, material="aluminium")) == {"moving_and_hot_parts", "aluminium"}
    assert cautions(with_cable(1.0, material="cca_15")) == {"moving_and_hot_parts", "copper_clad"}
    hot = [{"length": 1.0, "zone": "engine_compartment"}]
    assert cautions(with_cable(1.0, route=hot)) == {"moving_and_hot_parts", "engine_bay_heat"}
    assert cautions(two_sources(6.0, second_v=12.0)) == {"two_sources"}


@pytest.mark.parametrize("ends", [("ground", "reference"), ("reference", "ground")])
def test_a_bare_resistance_to_the_reference_counts_as_chassis(ends: tuple[str, str]) -> None:
    document = divider()
    ground = {"key": "ground", "from_node": ends[0], "to_node": ends[1]}
    document["branches"].append(ground | {"resistance": 0.001})
    assert cautions(document) == {"chassis_return"}
    document["branches"][1] = ground | {"conductor": cable()}
    assert cautions(document) == {"moving_and_hot_parts"}


def keys(document: Document) -> list[str]:
    return [row.source for row in provenances_of_network(stated(document), tables())]


def test_sources_are_those_of_conductors_and_zones() -> None:
    assert keys(divider()) == ["circuit_laws"]
    cold = keys(with_cable(1.0))
    assert "cfr_33_183" in cold
    assert "common_practice" not in cold
    zone = [{"length": 1.0, "zone": "passenger_compartment"}]
    assert set(keys(with_cable(1.0, route=zone))) - set(cold) == {"common_practice"}


def test_a_bundle_of_runs_rests_on_the_factor_of_its_number() -> None:
    def rows(runs: int) -> int:
        return len(keys(with_cable(1.0, parallel_runs=runs)))

    # 183.425 Table 5 note: none for two conductors, one for three, one for four to six.
    assert rows(2) == rows(1)
    assert rows(3) == rows(4) == rows(1) + 1


def test_state_of_a_source_at_its_very_limit() -> None:
    # 20 A is asked of 20 A: both are the same number, so it is at its limit.
    found = solved(two_sources(30.0, second_v=14.0, greatest_current=20.0))
    limited = found.sources[1]
    assert (limited.current_a, limited.state) == (20.0, "at_limit")


def test_a_cable_states_its_stretches() -> None:
    (branch,) = solved(with_cable(20.0)).branches
    (stretch,), (rise,) = branch.stretches, branch.rises_k
    cold, slope = stretch.ambient_resistance_ohm, stretch.resistance_slope_ohm_per_k
    assert branch.resistance_ohm == pytest.approx(cold + slope * rise, rel=CLOSE)
    conductor = branch.branch.conductor
    assert conductor is not None
    assert conductor.request.segments == (Segment(1.0, 293.15),)
    assert candidate_of(conductor.request) == conductor.request.sizes.index(
        tables().conductors["14 AWG"]
    )
