"""What each step says, asks for and warns of by the facts of its job, as a fitter reads it.

Expected texts are written out here from what the step has to bring about; what is right to do in
which order is common practice, no source.
"""

from collections.abc import Callable
from typing import Any

import pytest
from test_work_order import steps

from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job import TAP_POINTS
from loomwright.jobs.priced_job import PricedJob
from loomwright.jobs.work_order.steps import Step

Document = dict[str, Any]
Price = Callable[..., PricedJob]


def needs(step: Step) -> set[str]:
    return set(step.task.needs)


def tools(step: Step) -> list[tuple[str, str]]:
    return [(tool.tool, tool.purpose) for tool in step.task.tools]


@pytest.fixture
def circuit(small_job: Document) -> Document:
    """The circuit of the small job, to be changed."""
    found: Document = small_job["circuits"][0]
    return found


# --- the vehicle and its sources ---


@pytest.mark.parametrize(
    ("drive", "off"),
    [
        ("combustion", "engine and ignition off"),
        ("hybrid", "not ready, unplugged"),
        ("electric", "not ready, unplugged"),
    ],
)
def test_a_vehicle_is_switched_off_in_its_own_way(
    small_job: Document, priced: Price, drive: str, off: str
) -> None:
    small_job["vehicle"]["drive"] = drive
    text = steps(priced(small_job))["make_safe"].task.text
    assert text == (
        f"Park Test vehicle: secured against rolling, {off}; note faults that show and settings"
        " that isolating will clear."
    )


@pytest.mark.parametrize(
    ("tap_point", "isolate", "reconnect"),
    [
        (
            "battery",
            "Disconnect Test battery, negative first, and cover its terminals.",
            "Reconnect Test battery, negative last.",
        ),
        (
            "remote_battery",
            "Disconnect Test battery, negative first, and cover its terminals; if it is not fitted"
            " yet, leave it unconnected.",
            "Connect Test battery, negative last.",
        ),
        (
            "jump_start_post",
            "Isolate Test battery at the battery behind it, negative first, and cover the post.",
            "Reconnect the battery behind Test battery, negative last, and close the post.",
        ),
        (
            "converter_output",
            "Isolate Test battery: switch the converter off and isolate what feeds it.",
            "Reconnect what feeds Test battery, then switch the converter on.",
        ),
        (
            "distribution",
            "Isolate Test battery at the battery or isolator behind it, and cover it.",
            "Bring Test battery back at the battery or isolator behind it.",
        ),
    ],
)
def test_each_feeding_point_is_isolated_and_brought_back_in_its_own_way(
    small_job: Document, priced: Price, tap_point: str, isolate: str, reconnect: str
) -> None:
    small_job["power_sources"][0].update(tap_point=tap_point, greatest_current=200)
    found = steps(priced(small_job))
    away, back = found["isolate/battery"].task, found["reconnect/battery"].task
    assert (away.text, back.text) == (isolate, reconnect)
    assert (away.power_source, back.power_source) == ("battery", "battery")
    assert back.checks == ("12.6 V and the right polarity at every fuse that it feeds.",)
    assert tools(found["isolate/battery"]) == [("insulated_spanner", "Test battery")]
    assert [tool for tool, _ in tools(found["reconnect/battery"])] == [
        "insulated_spanner",
        "multimeter",
    ]
    assert found["prove_dead"].task.checks == ("No voltage between Test battery and the body.",)
    at_post, behind = tap_point == "jump_start_post", tap_point == "remote_battery"
    cautions = away.cautions
    assert cautions[0] == "isolate_battery"
    assert ("jump_start_post" in cautions, "battery_in_living_space" in cautions) == (
        at_post,
        behind,
    )
    assert ("jump_start_post" in found["connect_feed/lamp_feed"].task.cautions) == at_post


def test_every_way_to_tap_is_tried_above() -> None:
    (marks,) = test_each_feeding_point_is_isolated_and_brought_back_in_its_own_way.pytestmark
    assert [case[0] for case in marks.args[1]] == list(TAP_POINTS)


def test_a_battery_of_a_higher_voltage_than_one_has_is_taken_for_two(
    small_job: Document, priced: Price
) -> None:
    """12 V is one battery, 24 V are two in series: no load is taken from the middle of them."""
    assert (
        "battery_in_series" not in steps(priced(small_job))["connect_feed/lamp_feed"].task.cautions
    )
    small_job["vehicle"]["system_voltage"] = 24
    # 25.2 V / 50 mohm = 504 A, which the blade breaks.
    small_job["power_sources"][0].update(source_voltage=25.2, source_resistance=0.05)
    assert "battery_in_series" in steps(priced(small_job))["connect_feed/lamp_feed"].task.cautions


# --- cautions of a plain job ---

# Of each kind of step where the vehicle has no hazard of its own; airbags may be anywhere.
PLAIN = {
    "make_safe": ("defer_to_maker",),
    "isolate/battery": ("isolate_battery",),
    "prove_dead": ("airbag",),
    "uncover/engine_compartment": ("airbag", "engine_bay_heat"),
    "uncover/passenger_compartment": ("airbag",),
    "protect/lamp_feed/1": ("behind_the_panel", "airbag", "engine_bay_heat"),
    "cut/lamp_feed": (),
    "lay/lamp_feed/1": ("moving_and_hot_parts", "airbag", "engine_bay_heat"),
    "lay/lamp_feed/2": ("moving_and_hot_parts", "airbag"),
    "fit_holder/lamp_feed": ("fuse_at_source",),
    "terminate/lamp_feed": (),
    "ground/lamp_feed": ("chassis_return",),
    "mount/lamps": ("defer_to_maker", "behind_the_panel", "airbag"),
    "connect_load/lamp_feed": (),
    "connect_feed/lamp_feed": (),
    "test_dead/lamp_feed": ("airbag",),
    "clear": (),
    "reconnect/battery": (),
    "fuse/lamp_feed": ("fuse_not_above_conductor",),
    "test_load/lamp_feed": (),
    "cover/engine_compartment": ("airbag",),
    "cover/passenger_compartment": ("airbag",),
    "hand_over": (),
}


def test_each_step_of_a_plain_job_has_its_cautions_and_no_others(
    small_job: Document, priced: Price
) -> None:
    found = steps(priced(small_job))
    assert {key: step.task.cautions for key, step in found.items()} == PLAIN


@pytest.mark.parametrize(
    ("changes", "added"),
    [
        ({"what": "inverter"}, {"mount/lamps": {"mains_output"}}),
        ({"what": "heater"}, {"mount/lamps": {"combustion_heater", "fuel_lines"}}),
        ({"what": "radio"}, {}),
        *(
            ({"what": what}, {"test_load/lamp_feed": {"hearing"}, "hand_over": {"hearing"}})
            for what in ("amplifier", "bass_unit", "loudspeaker")
        ),
    ],
)
def test_equipment_brings_its_cautions_and_no_others(
    small_job: Document, priced: Price, changes: Document, added: dict[str, set[str]]
) -> None:
    small_job["equipment"][0].update(operation="fit_lights", **changes)
    found = steps(priced(small_job))
    more = {
        key: set(step.task.cautions) - set(PLAIN[key])
        for key, step in found.items()
        if set(step.task.cautions) != set(PLAIN[key])
    }
    assert more == added


@pytest.mark.parametrize(
    ("hazard", "where"),
    [
        ("airbags_on_route", {"airbag_wait": ("prove_dead", "uncover", "protect", "lay", "mount")}),
        ("battery_sensor", {"battery_sensor": ("ground", "reconnect")}),
        ("fuel_lines", {"fuel_lines": ("uncover", "protect", "lay", "mount")}),
        ("high_voltage_cables", {"high_voltage": ("uncover", "protect", "lay")}),
        ("keyless_entry", {"keyless_wake_up": ("make_safe", "prove_dead")}),
        ("start_stop", {"start_stop": ("make_safe", "reconnect")}),
    ],
)
def test_a_hazard_is_told_at_its_steps_and_at_no_others(
    small_job: Document, priced: Price, hazard: str, where: dict[str, tuple[str, ...]]
) -> None:
    small_job["vehicle"]["hazards"] = [hazard]
    for key, step in steps(priced(small_job)).items():
        wanted = {caution for caution, kinds in where.items() if step.task.kind in kinds}
        assert set(step.task.cautions) == {*PLAIN[key], *wanted}, key


def test_a_high_voltage_drive_is_told_at_its_steps_and_at_no_others(
    small_job: Document, priced: Price
) -> None:
    small_job["vehicle"]["drive"] = "electric"
    added = {
        "make_safe": {"converter_feeds_low_voltage", "service_disconnect"},
        **{kind: {"high_voltage"} for kind in ("uncover", "protect", "lay")},
    }
    for key, step in steps(priced(small_job)).items():
        assert set(step.task.cautions) == {*PLAIN[key], *added.get(step.task.kind, ())}, key


@pytest.mark.parametrize(
    ("material", "joining", "cautions"),
    [
        ("copper", "crimp", ()),
        ("copper", "solder", ("soldered_joint",)),
        ("aluminium", "crimp", ("aluminium",)),
        ("cca_15", "crimp", ("copper_clad",)),
    ],
)
def test_the_ends_of_a_conductor_bring_their_cautions(
    small_job: Document,
    circuit: Document,
    priced: Price,
    material: str,
    joining: str,
    cautions: tuple[str, ...],
) -> None:
    small_job["conductors"]["material"] = material
    circuit["joining"] = joining
    assert steps(priced(small_job))["terminate/lamp_feed"].task.cautions == cautions


# --- zones ---


def test_the_vehicle_is_raised_for_work_below_it_and_for_no_other(
    small_job: Document, circuit: Document, priced: Price
) -> None:
    circuit["route"][0]["zone"] = "underbody"
    found = steps(priced(small_job))
    below, inside = (found[f"uncover/{zone}"] for zone in ("underbody", "passenger_compartment"))
    assert below.task.text == (
        "Raise the vehicle and support it. Take off trim and covers along the routes, and keep"
        " their fixings together: outside the body."
    )
    assert tools(below) == [("trim_lever", "trim and covers"), ("axle_stands", "vehicle raised")]
    assert inside.task.text == (
        "Take off trim and covers along the routes, and keep their fixings together: passenger"
        " compartment."
    )
    assert tools(inside) == [("trim_lever", "trim and covers")]
    assert {
        key: found[f"cover/{key}"].task.text for key in ("underbody", "passenger_compartment")
    } == {
        "underbody": "Refit trim and covers, with all their fixings: outside the body. Lower the"
        " vehicle.",
        "passenger_compartment": "Refit trim and covers, with all their fixings: passenger"
        " compartment.",
    }


def test_hours_for_trim_go_where_there_is_trim(
    small_job: Document, circuit: Document, priced: Price
) -> None:
    small_job["labour"] = [{"operation": "remove_trim", "quantity": 1}]
    circuit["route"].append({"length": 1, "zone": "underbody"})
    found = steps(priced(small_job))
    worked = {
        key for key, step in found.items() if step.task.kind in ("uncover", "cover") and step.hours
    }
    assert worked == {"uncover/passenger_compartment", "cover/passenger_compartment"}
    # Without any zone that has trim, the hours are not lost.
    circuit["route"] = [{"length": 4, "zone": "underbody"}]
    found = steps(priced(small_job))
    worked = {
        key for key, step in found.items() if step.task.kind in ("uncover", "cover") and step.hours
    }
    assert worked == {"uncover/underbody", "cover/underbody"}


def test_of_a_circuit_that_is_not_built_only_the_zone_of_its_equipment_is_entered(
    small_job: Document, circuit: Document, priced: Price
) -> None:
    circuit["route"] = [
        {"length": 1, "zone": "engine_compartment", "through_bulkhead": True},
        {"length": 1, "zone": "cargo_space"},
        {"length": 3, "zone": "passenger_compartment"},
    ]
    # 0.1 % of 12 V is 12 mV, which no conductor keeps over five metres.
    circuit["allowed_voltage_drop_percent"] = 0.1
    found = steps(priced(small_job))
    assert "cut/lamp_feed" not in found
    assert [key for key in found if key.startswith("uncover/")] == ["uncover/passenger_compartment"]
    assert needs(found["mount/lamps"]) == {"uncover/passenger_compartment"}


# --- equipment and work asked for ---


@pytest.mark.parametrize(
    ("quantity", "pieces"), [(1, "test lamp"), (2, "2 x test lamp"), (3, "3 x test lamp")]
)
def test_pieces_are_counted_where_there_are_several(
    small_job: Document, priced: Price, quantity: int, pieces: str
) -> None:
    small_job["equipment"][0]["quantity"] = quantity
    found = steps(priced(small_job))["mount/lamps"].task
    assert found.text == f"Mount {pieces}, so that it holds in a crash."
    assert (found.circuit, found.equipment, found.zone) == (
        "lamp_feed",
        "lamps",
        "passenger_compartment",
    )


def test_equipment_of_no_circuit_is_mounted_once_the_vehicle_is_dead(
    small_job: Document, priced: Price
) -> None:
    small_job["equipment"].append({"key": "eye", "description": "eye", "what": "camera"})
    found = steps(priced(small_job))["mount/eye"].task
    assert (found.needs, found.zone, found.circuit) == (("prove_dead",), None, None)


def test_work_asked_for_is_one_step_for_each_operation_with_all_reasons(
    small_job: Document, priced: Price
) -> None:
    small_job["labour"] = [
        {"operation": "remove_trim", "quantity": 1},
        {"operation": "fit_lights", "quantity": 1, "reason": "one"},
        {"operation": "fit_radio", "quantity": 1, "reason": "two"},
        {"operation": "fit_lights", "quantity": 1, "reason": "three"},
        {"operation": "fit_lights", "quantity": 1, "reason": "one"},
    ]
    found = steps(priced(small_job))
    other = {key: step.task for key, step in found.items() if step.task.kind == "other"}
    # Trim is taken off and put back in steps of its own.
    assert {key: task.text for key, task in other.items()} == {
        "other/fit_lights": "Fit lights: one, three.",
        "other/fit_radio": "Fit radio: two.",
    }
    assert {task.needs for task in other.values()} == {("prove_dead",)}


# --- conductors ---


def test_a_panel_is_opened_with_both_its_sides_seen(
    small_job: Document, circuit: Document, priced: Price
) -> None:
    circuit["route"] = [
        {"length": 1, "zone": "engine_compartment", "through_bulkhead": True},
        {"length": 1, "zone": "passenger_compartment", "through_bulkhead": True},
        {"length": 1, "zone": "passenger_compartment", "through_bulkhead": True},
    ]
    found = steps(priced(small_job))
    texts = [found[f"protect/lamp_feed/{number}"].task.text for number in (1, 2, 3)]
    assert [text.partition(": open ")[2].partition(",")[0] for text in texts] == [
        "the panel between engine compartment and passenger compartment",
        "the panel within passenger compartment",
        "the panel within passenger compartment",
    ]
    assert needs(found["protect/lamp_feed/1"]) == {
        "uncover/engine_compartment",
        "uncover/passenger_compartment",
    }
    assert needs(found["protect/lamp_feed/3"]) == {"uncover/passenger_compartment"}
    # A stretch lies between the panel behind it and the one before it.
    assert needs(found["lay/lamp_feed/2"]) == {
        "cut/lamp_feed",
        "uncover/passenger_compartment",
        "protect/lamp_feed/1",
        "protect/lamp_feed/2",
    }
    assert "engine_bay_heat" in found["protect/lamp_feed/1"].task.cautions
    assert "engine_bay_heat" not in found["protect/lamp_feed/2"].task.cautions


@pytest.mark.parametrize(
    ("loomed", "taped", "cover"),
    [
        (True, True, "in loom"),
        (True, False, "in loom"),
        (False, True, "wrapped in tape"),
        (False, False, "open"),
    ],
)
def test_a_stretch_is_laid_as_it_is_covered(
    small_job: Document, circuit: Document, priced: Price, loomed: bool, taped: bool, cover: str
) -> None:
    circuit["route"] = [
        {"length": 4, "zone": "passenger_compartment", "loomed": loomed, "taped": taped}
    ]
    found = steps(priced(small_job))["lay/lamp_feed/1"]
    assert found.task.text == (
        f"Battery to lamps: lay 4.00 m of 2.5 mm2, {cover}, tied: passenger compartment."
    )
    rules = {part.rule for part in found.parts}
    assert ("split_loom" in rules, "cloth_tape_run" in rules) == (loomed, taped and not loomed)


def test_conductors_are_cut_in_as_many_pieces_as_the_circuit_has(
    small_job: Document, circuit: Document, priced: Price
) -> None:
    cut = steps(priced(small_job))["cut/lamp_feed"]
    assert cut.task.text == (
        "Battery to lamps: cut 2.5 mm2 for the feed in 2 pieces (red) and for the ground lead"
        " (black), slack included; mark them."
    )
    assert tools(cut) == [("cable_cutter", "2.5 mm2")]
    circuit["return_path"] = {"by": "conductor"}
    found = steps(priced(small_job))
    assert " for the feed in 2 pieces (red) and for the return (black)," in (
        found["cut/lamp_feed"].task.text
    )
    assert "ground/lamp_feed" not in found
    # A branch has its fuse in the block: its feed is of one piece.
    branch = steps(priced(demo_job("van_second_battery")))["cut/refrigerator_feed"].task.text
    assert "for the feed in one piece (" in branch


@pytest.mark.parametrize(
    ("joining", "ends", "with_what"),
    [
        ("crimp", "2 x splice at the loads", {"crimping_tool", "heat_gun"}),
        (
            "solder",
            "2 x soldered splice at the loads",
            {"crimping_tool", "heat_gun", "soldering_iron"},
        ),
    ],
)
def test_ends_are_made_off_with_what_they_ask_for(
    small_job: Document,
    circuit: Document,
    priced: Price,
    joining: str,
    ends: str,
    with_what: set[str],
) -> None:
    circuit["joining"] = joining
    found = steps(priced(small_job))["terminate/lamp_feed"]
    made = ends.removeprefix("2 x ").removesuffix(" at the loads")
    assert found.task.text == (
        "Battery to lamps: make off the ends of 2.5 mm2: 1 x ring terminal at the feeding point;"
        f" 1 x {made} into the fuse holder; 1 x {made} out of the fuse holder; {ends};"
        f" 1 x ring terminal at the ground point; 2 x {made} of the return, at the loads."
    )
    assert {tool for tool, _ in tools(found)} == {"wire_stripper", *with_what}
    crimped = [purpose for tool, purpose in tools(found) if tool == "crimping_tool"]
    # What is soldered is not crimped.
    assert ("splice, 2.5 mm2" in crimped) == (joining == "crimp")
    assert needs(found) == {"lay/lamp_feed/1", "lay/lamp_feed/2"}


# --- connections, fuse and tests ---


def test_each_step_of_a_circuit_is_done_where_its_end_lies(
    small_job: Document, priced: Price
) -> None:
    """Holder, feed and fuse at the source, all else at the equipment."""
    found = steps(priced(small_job))
    zones = {
        key.partition("/")[0]: step.task.zone
        for key, step in found.items()
        if key.endswith("/lamp_feed")
    }
    at_source, at_load = "engine_compartment", "passenger_compartment"
    assert zones == {
        **dict.fromkeys(("fit_holder", "connect_feed", "fuse"), at_source),
        **dict.fromkeys(("terminate", "ground", "connect_load"), at_load),
        **dict.fromkeys(("cut", "test_dead", "test_load")),
    }
    assert needs(found["fit_holder/lamp_feed"]) == {f"uncover/{at_source}"}
    assert needs(found["ground/lamp_feed"]) == {"terminate/lamp_feed", f"uncover/{at_load}"}


def test_a_main_without_any_of_its_branches_ends_free(priced: Price) -> None:
    document = demo_job("van_second_battery")
    for circuit in document["circuits"]:
        if circuit["fed_from"] == "service_main":
            # They draw more than the 2 A that such fuses go up to.
            circuit["fuse_types"] = ["iso_8820_3_c_1_to_2_a"]
    found = steps(priced(document))
    assert {"cut/refrigerator_feed", "cut/light_feed"}.isdisjoint(found)
    load = found["connect_load/service_main"]
    assert load.task.text == (
        "Second battery to distribution block: insulate and fix the free end; no branch of it is"
        " built."
    )
    assert needs(load) == {"terminate/service_main"}
    assert load.task.checks == ("No bare metal is left at the free end.",)
    assert "fit_block/service_main" not in found
    # Nothing draws the current that it was sized for.
    test = found["test_load/service_main"].task
    assert test.text == (
        "Second battery to distribution block: no load hangs on it yet; note the voltage at its"
        " free end."
    )
    assert test.checks == ("The voltage at the free end is that of the source.",)


def test_a_holder_is_fixed_where_its_type_sits(
    small_job: Document, circuit: Document, priced: Price
) -> None:
    text = steps(priced(small_job))["fit_holder/lamp_feed"].task.text
    assert text == (
        "Battery to lamps: fix the empty fuse holder near Test battery, 0.15 m of it away;"
        " label it."
    )
    circuit["distance_from_source"] = 0.4
    assert ", 0.40 m of it away;" in steps(priced(small_job))["fit_holder/lamp_feed"].task.text


def test_the_load_waits_for_all_that_it_is_connected_to(
    small_job: Document, circuit: Document, priced: Price
) -> None:
    found = steps(priced(small_job))["connect_load/lamp_feed"]
    assert needs(found) == {"terminate/lamp_feed", "mount/lamps", "ground/lamp_feed"}
    assert found.task.text == "Battery to lamps: connect test lamp, return first."
    small_job["equipment"].append(
        small_job["equipment"][0] | {"key": "old", "description": "old lamp", "fitted": False}
    )
    circuit["return_path"] = {"by": "conductor"}
    found = steps(priced(small_job))["connect_load/lamp_feed"]
    # What is there already is connected too, and not waited for.
    assert found.task.text == "Battery to lamps: connect test lamp, old lamp, return first."
    assert needs(found) == {"terminate/lamp_feed", "mount/lamps"}


def test_a_main_and_its_branches_meet_in_the_block(priced: Price) -> None:
    found = steps(priced(demo_job("van_second_battery")))
    load = found["connect_load/service_main"]
    assert load.task.text.endswith(": connect the distribution block, return first.")
    assert "fit_block/service_main" in needs(load)
    main, branch = found["connect_feed/service_main"], found["connect_feed/refrigerator_feed"]
    assert "fit_holder/service_main" in needs(main)
    assert main.task.checks == ("The holder is still empty.",)
    assert "at Second battery behind the bulkhead, left." in main.task.text
    assert needs(main) >= {"connect_feed/refrigerator_feed", "connect_feed/light_feed"}
    assert needs(branch) == {"connect_load/refrigerator_feed", "fit_block/service_main"}
    assert branch.task.checks == ("The way is still empty.",)
    assert branch.task.text.endswith("connect the feed at its way of the distribution block.")
    assert "fit_holder/refrigerator_feed" not in found
    block = found["fit_block/service_main"].task
    assert block.checks == ("No way holds a fuse.",)
    assert needs(found["fuse/refrigerator_feed"]) == {
        "clear",
        "fuse/service_main",
        "reconnect/service_battery",
    }


def test_what_joins_two_sources_says_so(priced: Price) -> None:
    found = steps(priced(demo_job("van_second_battery")))
    told = {key for key, step in found.items() if "two_sources" in step.task.cautions}
    linked = ("charger_input", "charger_output")
    assert told == {
        *(
            f"{kind}/{source}"
            for kind in ("isolate", "reconnect")
            for source in ("starter_battery", "service_battery")
        ),
        *(f"{kind}/{key}" for kind in ("connect_feed", "fuse") for key in linked),
    }


def test_a_fuse_is_fitted_as_it_is_held(small_job: Document, priced: Price) -> None:
    plugged = steps(priced(small_job))["fuse/lamp_feed"]
    assert plugged.task.text.endswith(", as the last connection.")
    assert plugged.task.checks == ("The fuse says 10 A and the equipment is switched off.",)
    assert [tool for tool, _ in tools(plugged)] == ["fuse_puller"]
    assert needs(plugged) == {"clear", "reconnect/battery"}
    bolted = steps(priced(demo_job("combustion_car")))["fuse/amplifier_feed"]
    assert bolted.task.text.endswith(", while the source is still isolated.")
    assert [tool for tool, _ in tools(bolted)] == ["torque_wrench"]
    assert needs(bolted) == {"clear"}


@pytest.mark.parametrize(("system_v", "emf_v", "told"), [(24, 25.2, False), (48, 51.2, True)])
def test_above_32_v_a_blade_has_to_be_the_variant_for_it(
    small_job: Document, priced: Price, system_v: int, emf_v: float, told: bool
) -> None:
    """Blades of ISO 8820-3 are rated 32 V; those for 48 V systems are a variant (memory)."""
    small_job["vehicle"]["system_voltage"] = system_v
    small_job["power_sources"][0].update(source_voltage=emf_v, source_resistance=0.2)
    found = steps(priced(small_job))["fuse/lamp_feed"].task
    assert ("higher_voltage_variant" in found.cautions) == told


def test_the_test_under_load_states_what_the_circuit_was_sized_for(
    small_job: Document, priced: Price
) -> None:
    found = steps(priced(small_job))["test_load/lamp_feed"]
    # 2 lamps of 3 A; 3 % of 12 V are allowed, and the drop itself is that of the answer.
    (entry,) = priced(small_job).circuits
    assert found.task.checks == (
        "Current under full load: 6.0 A expected.",
        f"Drop of the wiring there and back: {entry.voltage_drop_v:.2f} V expected, no more than"
        " 0.36 V.",
        "No connection grows warmer than its conductor.",
    )
    assert [tool for tool, _ in tools(found)] == ["multimeter", "clamp_meter"]
    assert needs(found) == {"fuse/lamp_feed", "reconnect/battery"}


def test_a_source_waits_for_the_bolted_fuses_that_it_makes_live_and_for_no_others(
    priced: Price,
) -> None:
    found = steps(priced(demo_job("van_second_battery")))
    link = ["fuse/charger_input", "fuse/charger_output"]
    assert list(found["reconnect/starter_battery"].task.needs) == ["clear", *link]
    assert needs(found["reconnect/service_battery"]) == {
        "clear",
        *link,
        "fuse/inverter_feed",
        "fuse/service_main",
    }


# --- signal and remote leads, and taps ---


def test_leads_follow_the_power_conductor_and_state_their_lengths(
    circuit: Document, small_job: Document, priced: Price
) -> None:
    circuit.update(
        signal_leads=[{"form": "line pair", "length": 2.8}, {"form": "optical", "length": 3}],
        remote_leads=[{"length": 1.5}],
        taps=[{"use": "loudspeaker lead", "quantity": 2}, {"use": "accessory circuit"}],
    )
    found = steps(priced(small_job))
    leads = {kind: found[f"{kind}/lamp_feed"] for kind in ("signal", "remote", "tap")}
    assert {kind: step.task.text for kind, step in leads.items()} == {
        "signal": "Battery to lamps: lay and connect the signal leads, away from the power"
        " conductor: line pair, 2.80 m; optical, 3.00 m.",
        "remote": "Battery to lamps: lay and connect the remote leads: 1.50 m.",
        "tap": "Battery to lamps: connect to the vehicle's own wiring: 2 x loudspeaker lead;"
        " 1 x accessory circuit.",
    }
    laid = {"uncover/passenger_compartment", "lay/lamp_feed/1", "lay/lamp_feed/2"}
    for kind, step in leads.items():
        assert needs(step) == laid
        assert step.task.cautions == ("airbag",)
        # The wire that is tapped is proven to be the right one.
        assert [tool for tool, _ in tools(step)] == (["multimeter"] if kind == "tap" else [])
    # Without the circuit itself there is nothing to keep away from.
    circuit["allowed_voltage_drop_percent"] = 0.1
    circuit["route"][1]["length"] = 8
    found = steps(priced(small_job))
    assert "cut/lamp_feed" not in found
    assert found["signal/lamp_feed"].task.needs == ("uncover/passenger_compartment",)
