"""Working of a match of drivers to an amplifier, each step by hand."""

import pytest

from loomwright.engineering.audio.load_match import load_match
from loomwright.engineering.audio.load_request import LoadDriver, LoadMatchRequest
from loomwright.engineering.audio.load_working import load_working
from loomwright.engineering.audio.stated_output import StatedOutput


def steps_of(driver, least, *outputs, bridged=False):
    request = LoadMatchRequest(
        drivers=(LoadDriver(**driver),),
        least_load_impedance_ohm=least,
        outputs=tuple(StatedOutput(*each) for each in outputs),
        bridged=bridged,
    )
    return [
        (step.text, step.formula, step.inputs, step.result, step.unit)
        for step in load_working(load_match(request))
    ]


def without_text(steps):
    return [step[1:] for step in steps]


def test_two_drivers_of_two_coils_are_worked_out_from_the_inside():
    steps = steps_of({"quantity": 2, "coils": 2, "coil_impedance_ohm": 4.0}, 2.0, (4.0, 300.0))
    # 300 W at 4 ohm are sqrt(1200) V; a quarter of them in each coil, by 4/8 and 4/8.
    assert without_text(steps) == [
        ("A1a + A1b", {"A1a_ohm": 4.0, "A1b_ohm": 4.0}, 8.0, "ohm"),
        ("A2a + A2b", {"A2a_ohm": 4.0, "A2b_ohm": 4.0}, 8.0, "ohm"),
        ("1 / (1 / N1 + 1 / N2)", {"N1_ohm": 8.0, "N2_ohm": 8.0}, 4.0, "ohm"),
        ("Z / L", {"Z_ohm": 4.0, "L_ohm": 2.0}, 2.0, "1"),
        ("sqrt(P x Z)", {"P_w": 300.0, "Z_ohm": 4.0}, 34.64102, "V"),
        ("n x U^2 / Z", {"n": 1.0, "U_v": 34.64102, "Z_ohm": 4.0}, 300.0, "W"),
        ("A1a / N1 x N3 / N1", {"A1a_ohm": 4.0, "N1_ohm": 8.0, "N3_ohm": 4.0}, 0.25, "1"),
        ("A2a / N2 x N3 / N2", {"A2a_ohm": 4.0, "N2_ohm": 8.0, "N3_ohm": 4.0}, 0.25, "1"),
        ("s x P", {"s": 0.5, "P_w": 300.0}, 150.0, "W"),
        ("s x P", {"s": 0.5, "P_w": 300.0}, 150.0, "W"),
        ("Z / Y", {"Z_ohm": 4.0, "Y_ohm": 8.0}, 0.5, "1"),
    ]
    assert [text for text, *_ in steps[:3]] == [
        "N1: A1a and A1b in series",
        "N2: A2a and A2b in series",
        "N3: N1 and N2 in parallel",
    ]
    assert steps[4][0].startswith("Voltage of a channel at the nearest")
    assert [step[0].split(" with")[0] for step in steps[8:]] == [
        "Power of driver A1", "Power of driver A2", "Power"
    ]  # fmt: skip
    assert steps[10][0].startswith("Power with A1a open")


def test_bridged_load_between_two_statements_is_worked_out_for_a_channel():
    driver = {"quantity": 1, "coils": 1, "coil_impedance_ohm": 6.0}
    steps = steps_of(driver, 2.0, (8.0, 50.0), (4.0, 100.0), (2.0, 128.0), (1.0, 128.0),
                     bridged=True)  # fmt: skip
    # 3 ohm a channel is a third of the way from 1/4 to 1/2: 1/U = 2/3 / 20 + 1/3 / 16 = 13/240.
    weight = "(1 / Z - 1 / Zb) / (1 / Za - 1 / Zb)"
    between = {"Z_ohm": 3.0, "Za_ohm": 2.0, "Zb_ohm": 4.0, "Ua_v": 16.0, "Ub_v": 20.0}
    assert without_text(steps) == [
        ("Z / 2", {"Z_ohm": 6.0}, 3.0, "ohm"),
        ("Z / L", {"Z_ohm": 6.0, "L_ohm": 4.0}, 1.5, "1"),
        ("sqrt(P x Z)", {"P_w": 128.0, "Z_ohm": 2.0}, 16.0, "V"),
        ("sqrt(P x Z)", {"P_w": 100.0, "Z_ohm": 4.0}, 20.0, "V"),
        (f"1 / ({weight} / Ua + (1 - {weight}) / Ub)", between, 18.46154, "V"),
        # Twice 57600/169 over 3.
        ("n x U^2 / Z", {"n": 2.0, "U_v": 18.46154, "Z_ohm": 3.0}, 227.2189, "W"),
        ("s x P", {"s": 1.0, "P_w": 227.2189}, 227.2189, "W"),
    ]
    assert "next lower" in steps[2][0]
    assert "next higher" in steps[3][0]


@pytest.mark.parametrize(
    ("load", "power", "at", "volt", "output"),
    [(1.0, 128.0, 2.0, 16.0, 256.0), (16.0, 50.0, 8.0, 20.0, 25.0), (4.0, 100.0, 4.0, 20.0, 100.0)],
)
def test_held_voltage_is_that_of_the_nearest_statement(load, power, at, volt, output):
    driver = {"quantity": 1, "coils": 1, "coil_impedance_ohm": load}
    steps = steps_of(driver, 1.0, (8.0, 50.0), (4.0, 100.0), (2.0, 128.0))
    assert without_text(steps)[1:3] == [
        ("sqrt(P x Z)", {"P_w": power, "Z_ohm": at}, volt, "V"),
        ("n x U^2 / Z", {"n": 1.0, "U_v": volt, "Z_ohm": load}, output, "W"),
    ]


def test_three_in_one_group_without_stated_output_are_load_and_share_alone():
    steps = steps_of({"quantity": 3, "coils": 1, "coil_impedance_ohm": 6.0}, 1.0)
    # 2 ohm, a third in each; 3 ohm with one open.
    members = {"A1_ohm": 6.0, "A2_ohm": 6.0, "A3_ohm": 6.0}
    assert without_text(steps) == [
        ("1 / (1 / A1 + 1 / A2 + 1 / A3)", members, 2.0, "ohm"),
        ("Z / L", {"Z_ohm": 2.0, "L_ohm": 1.0}, 2.0, "1"),
        *[(f"N1 / A{one}", {f"A{one}_ohm": 6.0, "N1_ohm": 2.0}, 0.3333333, "1")
          for one in (1, 2, 3)],
        ("Z / Y", {"Z_ohm": 2.0, "Y_ohm": 3.0}, 0.6666667, "1"),
    ]  # fmt: skip
    assert steps[0][0] == "N1: A1, A2 and A3 in parallel"


def test_open_coil_that_silences_all_has_no_step():
    # 8 ohm in series is the only load of two of 4 ohm above 5 ohm.
    steps = steps_of({"quantity": 2, "coils": 1, "coil_impedance_ohm": 4.0}, 5.0)
    assert [step[1] for step in steps] == ["A1 + A2", "Z / L", "A1 / N1", "A2 / N1"]
