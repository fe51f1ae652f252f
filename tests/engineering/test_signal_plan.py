"""Whole signal paths: verdict, what is collected from the parts, cautions and sources."""

import math

import pytest

from loomwright.engineering.cautions import CAUTIONS
from loomwright.engineering.signal.path import DeviceGround
from loomwright.engineering.signal.plan import CHANGES, DEVICES, NOTES
from loomwright.engineering.signal.working import signal_working
from signal_paths import (
    connection,
    path,
    planned,
    potential,
    relay,
    signal_input,
    signal_sum,
    speaker_output,
    take_off,
    turn_on,
)


def keys(remarks):
    return [(entry.key, entry.at) for entry in remarks]


ALWAYS = ("isolate_battery", "airbag", "signal_wires", "hearing", "defer_to_maker")


def test_a_plain_path_is_ready():
    found = planned(path())
    assert found.verdict == "ready"
    assert found.changes == found.notes == found.needed == ()
    assert found.cautions == ALWAYS
    assert found.provenances == ()
    assert found.turn_on.verdict == "none_needed"
    assert [entry.level.verdict for entry in found.connections] == ["in_range"]
    assert found.connections[0].noise.verdict == "not_judged"


def test_devices_are_collected_in_the_order_of_the_signal():
    found = planned(
        path(
            speaker_output(key="a", detects_open_load=True, ground=potential(0.0)),
            speaker_output(key="b"),
            sums=(signal_sum("a", "b"),),
            inputs=(signal_input(ground=potential(5.0), turn_on_current_a=1.0),),
            connections=(connection(feed="sum"),),
            switch=turn_on(),
        )
    )
    assert found.verdict == "devices_needed"
    assert keys(found.needed) == [
        ("load_resistor", "a"),
        ("summing_device", "sum"),
        ("attenuator", "amplifier"),
        ("ground_noise_remedy", "amplifier"),
        ("relay", "turn_on"),
        ("coil_suppression", "turn_on"),
    ]
    assert found.needed[0].text == (
        "A resistor of 47 ohm for at least 4.26 W in place of the loudspeaker, clear of trim."
    )
    assert "bridged_outputs" in found.cautions
    assert "ground_noise_bound" in found.cautions
    assert "fuse_at_source" in found.cautions


def test_changes_are_collected_and_outweigh_devices():
    found = planned(
        path(
            take_off(key="a", least_load_ohm=50_000.0),
            speaker_output(key="b"),
            sums=(signal_sum("a", "b", method="direct"),),
            inputs=(
                signal_input(key="x"),
                signal_input(key="y"),
                signal_input(key="z", level_kind="speaker_level", turn_on_current_a=1.0),
            ),
            connections=(
                connection(feed="sum", input="x", converter_ratio=4.0),
                connection(feed="a", input="y"),
                connection(feed="b", input="z", converter_ratio=5.0),
            ),
            switch=turn_on(relay=relay(suppression="none")),
        )
    )
    assert found.verdict == "change_needed"
    assert keys(found.changes) == [
        ("outputs_in_parallel", "sum"),
        ("output_overloaded", "a"),
        ("bridged_output_grounded", "z"),
        ("coil_not_suppressed", "turn_on"),
    ]
    assert found.changes[1].text.startswith("The inputs load this output with 10000 ohm; it bears")
    assert found.needed


def test_notes_alone_leave_a_path_as_it_is():
    found = planned(
        path(
            take_off(key="a", upper_corner_hz=100.0),
            take_off(key="b", lower_corner_hz=200.0),
            sums=(signal_sum("a", "b", relation="bands", method="resistors"),),
            connections=(connection(feed="sum"),),
        )
    )
    assert keys(found.notes) == [("band_gap", "sum")]
    # The resistors of the sum have to be fitted.
    assert found.verdict == "devices_needed"


def test_behind_a_converter_an_input_does_not_load_the_output():
    limited = take_off(least_load_ohm=50_000.0)
    assert planned(path(limited)).verdict == "change_needed"
    converted = planned(path(limited, connections=(connection(converter_ratio=1.0),)))
    assert converted.changes == ()


SENSING = signal_input(
    level_kind="speaker_level",
    reference="differential",
    greatest_voltage_v=20.0,
    turn_on_current_a=1.0,
    senses_signal=True,
)


@pytest.mark.parametrize(
    ("output", "changes", "verdict"),
    [
        (speaker_output(key="radio"), {}, "none_needed"),
        (speaker_output(key="radio"), {"converter_ratio": 2.0}, "not_judged"),
        (take_off(), {}, "not_judged"),
    ],
    ids=["speaker", "converter", "line"],
)
def test_signal_switches_equipment_on_at_speaker_level_only(output, changes, verdict):
    found = planned(path(output, inputs=(SENSING,), connections=(connection(**changes),)))
    assert found.turn_on.verdict == verdict
    assert found.turn_on.by_signal == (("amplifier",) if verdict == "none_needed" else ())


def test_input_that_does_not_sense_the_signal_is_switched_by_the_lead():
    plain = signal_input(level_kind="speaker_level", turn_on_current_a=1.0)
    found = planned(path(speaker_output(key="radio"), inputs=(plain,)))
    assert found.turn_on.verdict == "not_judged"


def test_solved_potentials_stand_before_stated_ones():
    stated = path(
        take_off(ground=potential(0.0), equipment="head"),
        inputs=(signal_input(ground=potential(0.5), equipment="amp"),),
    )
    assert planned(stated).connections[0].noise.difference_v == 0.5
    solved = planned(stated, head=0.01, amp=0.03).connections[0].noise
    assert solved.difference_v == pytest.approx(0.02, rel=1e-12)
    one = planned(stated, amp=0.25).connections[0].noise
    assert one.difference_v == 0.25
    # A key of equipment that nothing belongs to changes nothing.
    assert planned(stated, amplifier=9.0).connections[0].noise.difference_v == 0.5


def test_solved_potential_needs_no_stated_ground():
    stated = path(take_off(equipment="head"), inputs=(signal_input(equipment="amp"),))
    assert planned(stated).connections[0].noise.verdict == "not_judged"
    found = planned(stated, head=0.0, amp=0.05).connections[0].noise
    assert found.shield_current_a == pytest.approx(1.0, rel=1e-12)


def test_resistance_of_a_stated_ground_does_not_go_with_a_solved_potential():
    ground = DeviceGround(None, 1.0, 0.05)
    stated = path(
        take_off(ground=potential(0.0)), inputs=(signal_input(ground=ground, equipment="amp"),)
    )
    # 50 mV over 50 mohm of shield and 50 mohm of ground; solved, over the shield alone.
    assert planned(stated).connections[0].noise.shield_current_a == pytest.approx(0.5)
    assert planned(stated, amp=0.05).connections[0].noise.shield_current_a == pytest.approx(1.0)


def test_sum_has_the_ground_of_its_first_take_off():
    stated = path(
        take_off(key="a", ground=potential(0.02)),
        take_off(key="b", ground=potential(0.07)),
        sums=(signal_sum("b", "a"),),
        inputs=(signal_input(ground=potential(0.1)),),
        connections=(connection(feed="sum"),),
    )
    assert planned(stated).connections[0].noise.difference_v == pytest.approx(0.03, rel=1e-12)


def test_assumed_range_is_a_caution_and_a_source():
    bare = signal_input(least_voltage_v=None, greatest_voltage_v=None)
    found = planned(path(inputs=(bare,)))
    assert "input_range_assumed" in found.cautions
    assert {row.source for row in found.provenances} == {"iec_61938"}
    assert "input_range_assumed" not in planned(path()).cautions


def test_noise_that_was_judged_is_a_caution():
    quiet = path(take_off(ground=potential(0.0)), inputs=(signal_input(ground=potential(0.0)),))
    found = planned(quiet)
    assert found.connections[0].noise.verdict == "low"
    assert "ground_noise_bound" in found.cautions
    assert found.needed == ()


@pytest.mark.parametrize(("system_v", "ohm"), [(12, 80.0), (24, 160.0), (48, 270.0)])
def test_system_voltage_reaches_the_coil(system_v, ohm):
    stated = path(
        inputs=(signal_input(turn_on_current_a=1.0),), switch=turn_on(greatest_current_a=0.2)
    )
    found = planned(stated, system_v).turn_on
    assert found.least_coil_resistance_ohm == pytest.approx(ohm, rel=1e-12)


def test_remarks_have_keys_that_are_listed():
    assert set(ALWAYS) <= set(CAUTIONS)
    lists = (CHANGES, NOTES, DEVICES)
    assert all(list(entry) == sorted(set(entry)) for entry in lists)


# --- the working ---


def steps(stated, system_v=12):
    plan = planned(stated, system_v)
    return {step.text: step for step in signal_working(stated, plan)}


def evaluated(step):
    """The formula of a step with its inputs put in, as Python reads it."""
    names = {name.rpartition("_")[0] or name: value for name, value in step.inputs.items()}
    text = step.formula.replace("^", "**").replace(" x ", " * ")
    functions = {"log10": math.log10, "ln": math.log}
    return eval(text, {"__builtins__": {}}, {**functions, **names})


def whole():
    return path(
        speaker_output(key="a", detects_open_load=True, ground=potential(0.0)),
        take_off(key="b", ground=potential(0.0)),
        sums=(signal_sum("a", "b", gain=0.25),),
        inputs=(
            signal_input(key="x", ground=potential(0.05), turn_on_current_a=0.5),
            signal_input(key="y", turn_on_current_a=0.75),
            signal_input(key="quiet"),
        ),
        connections=(
            connection(feed="sum", input="x", gain_overlap_db=5.0),
            connection(feed="a", input="y", converter_ratio=5.0, isolated=True),
            connection(feed="b", input="quiet"),
        ),
        switch=turn_on(relay=relay()),
    )


def test_each_step_can_be_followed():
    found = steps(whole())
    assert len(found) == 3 + 3 * 3 + 1 + 5
    sums = {"I1 + I2 + ...": sum, "|V1 + V2 + ...|": lambda parts: abs(sum(parts))}
    for step in found.values():
        total = sums.get(step.formula)
        value = total(list(step.inputs.values())) if total else evaluated(step)
        assert step.result == pytest.approx(value, rel=2e-6), step.text
        assert step.source
        assert step.unit


def test_steps_lead_to_the_answer():
    stated = whole()
    plan, found = planned(stated), steps(whole())
    level = plan.connections[0].level
    results = {text: step.result for text, step in found.items()}
    assert results["a: voltage at the onset of clipping"] == 10.0
    assert results["sum: greatest voltage of the sum"] == 3.0
    assert results["x: input voltage that shall just give full output"] == pytest.approx(
        level.setting_voltage_v, rel=1e-6
    )
    assert results["x: ground noise below the signal"] == pytest.approx(
        plan.connections[0].noise.below_signal_db, rel=1e-6
    )
    assert results["Turn-on current of all equipment together"] == 1.25
    assert results["Coil current at the greatest system voltage"] == 0.1
    assert results["Energy in the coil"] == 0.002
    assert results["Bound of the peak without suppression"] == 2000.0
    assert results["Time until the relay surely releases"] == pytest.approx(
        plan.turn_on.coil.release_time_s, rel=1e-6
    )
    assert found["y: voltage at the input at the source's greatest"].formula == "V / n"
    assert "b: voltage at the onset of clipping" not in found


def test_steps_that_do_not_apply_are_left_out():
    assert [text.partition(": ")[2] for text in steps(path())] == [
        "voltage at the input at the source's greatest",
        "input voltage that shall just give full output",
        "gain above its least",
    ]


@pytest.mark.parametrize(
    ("changes", "count"), [({"coil_inductance_h": None}, 2), ({"suppression": "none"}, 4)]
)
def test_coil_tells_what_is_known(changes, count):
    stated = path(
        inputs=(signal_input(turn_on_current_a=1.0),), switch=turn_on(relay=relay(**changes))
    )
    assert len([text for text in steps(stated) if ":" not in text]) == count


def test_turn_on_currents_are_counted_from_one():
    (step,) = (step for text, step in steps(whole()).items() if text.startswith("Turn-on current"))
    assert step.inputs == {"I1_a": 0.5, "I2_a": 0.75}


def test_relay_that_is_not_needed_has_no_coil_to_tell():
    stated = path(inputs=(signal_input(turn_on_current_a=0.1),), switch=turn_on(relay=relay()))
    assert [text for text in steps(stated) if ":" not in text] == [
        "Turn-on current of all equipment together"
    ]


def test_stated_voltage_has_no_step_whatever_its_load():
    stated = path(take_off(load_impedance_ohm=4.0))
    assert "radio: voltage at the onset of clipping" not in steps(stated)


def test_equal_potentials_and_cancelled_sums_have_no_level_to_tell():
    stated = path(
        take_off(key="a", ground=potential(0.0)),
        take_off(key="b", inverted=True),
        sums=(signal_sum("a", "b"),),
        inputs=(signal_input(ground=potential(0.0)), signal_input(key="other")),
        connections=(connection(feed="a"), connection(feed="sum", input="other")),
    )
    found = steps(stated)
    assert "amplifier: ground noise below the signal" not in found
    assert "other: gain above its least" not in found


@pytest.mark.parametrize(
    ("relation", "formula", "result"),
    [
        ("independent", "(V1^2 + V2^2 + ...)^0.5", 2.5),
        ("bands", "|V1| + |V2| + ...", 3.5),
        ("same_signal", "|V1 + V2 + ...|", 3.5),
    ],
)
def test_sums_name_their_formula(relation, formula, result):
    stated = path(
        take_off(key="a"),
        take_off(key="b", greatest_voltage_v=1.5),
        sums=(signal_sum("a", "b", relation=relation),),
        connections=(connection(feed="sum"),),
    )
    step = steps(stated)["sum: greatest voltage of the sum"]
    assert (step.formula, step.result) == (formula, result)
    assert step.inputs == {"V1_v": 2.0, "V2_v": 1.5}
