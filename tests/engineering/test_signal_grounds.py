"""Ground noise of connections: interference, its verdict, and the effect of each remedy."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.signal.grounds import ground_noise
from loomwright.engineering.signal.path import DeviceGround
from signal_paths import connection, figures, potential, signal_input

SIGNAL_V = 2.0


def noise(
    source_v, input_v, at=None, grounds=(None, None), signal_v=SIGNAL_V, used=None, **changes
):
    return ground_noise(
        connection(**changes),
        at or signal_input(),
        signal_v,
        (source_v, input_v),
        grounds,
        used or figures(),
    )


def remedies(found):
    return {entry.key: entry for entry in found.remedies}


DIFFERENTIAL = signal_input(reference="differential")


def test_grounded_input_takes_the_alternating_part_of_the_whole_difference():
    # 40 mV - (-10 mV) = 50 mV, of which a tenth alternates; 50 mV over 50 mohm are 1 A.
    used = figures()
    found = noise(-0.01, 0.04, used=used)
    assert found.difference_v == pytest.approx(0.05, rel=1e-12)
    assert found.alternating_v == pytest.approx(0.005, rel=1e-12)
    assert found.interference_v == pytest.approx(0.005, rel=1e-12)
    assert found.shield_current_a == pytest.approx(1.0, rel=1e-12)
    # 20 log10(2 / 0.005).
    assert found.below_signal_db == pytest.approx(52.0412, abs=1e-4)
    assert found.verdict == "audible"
    assert {"alternating_share", "ground_noise_audible_db", "ground_noise_severe_db"} <= set(
        used.used
    )


def test_direction_is_told_and_does_not_matter():
    there, back = noise(0.0, 0.05), noise(0.05, 0.0)
    assert back.difference_v == -there.difference_v
    assert back.interference_v == there.interference_v
    assert back.shield_current_a == there.shield_current_a


def test_resistance_of_the_ground_paths_takes_its_part():
    # 100 mV over 50 mohm of shield and 30 + 20 mohm of ground: half of it, and 1 A.
    grounds = (DeviceGround(None, 1.0, 0.03), DeviceGround(None, 6.5, 0.02))
    found = noise(0.03, 0.13, grounds=grounds)
    assert found.shield_current_a == pytest.approx(1.0, rel=1e-12)
    assert found.interference_v == pytest.approx(0.005, rel=1e-12)
    half = noise(0.03, 0.13, grounds=(grounds[0], potential(0.13)), shield_resistance_ohm=0.03)
    assert half.interference_v == pytest.approx(0.005, rel=1e-12)


def test_differential_input_rejects_by_its_ratio():
    found = noise(0.0, 0.1, signal_input(reference="differential", common_mode_rejection_db=60.0))
    assert found.interference_v == pytest.approx(1e-5, rel=1e-12)
    assert found.below_signal_db == pytest.approx(106.0206, abs=1e-4)
    assert (found.shield_current_a, found.verdict, found.remedies) == (None, "low", ())
    # Without a stated ratio 40 dB.
    assert noise(0.0, 0.1, DIFFERENTIAL).interference_v == pytest.approx(1e-4, rel=1e-12)


def test_transformer_rejects_by_its_ratio():
    found = noise(0.0, 0.1, isolated=True)
    assert found.interference_v == pytest.approx(1e-5, rel=1e-12)
    assert found.shield_current_a is None
    stated = noise(0.0, 0.1, isolated=True, isolation_rejection_db=80.0)
    assert stated.interference_v == pytest.approx(1e-6, rel=1e-12)


def test_transformer_and_differential_input_reject_together():
    found = noise(0.0, 0.1, DIFFERENTIAL, isolated=True)
    assert found.interference_v == pytest.approx(1e-7, rel=1e-12)


@pytest.mark.parametrize(
    ("source_v", "input_v", "signal_v"), [(None, 0.1, 2.0), (0.1, None, 2.0), (0.1, 0.1, 0.0)]
)
def test_what_is_not_known_is_not_judged(source_v, input_v, signal_v):
    found = noise(source_v, input_v, signal_v=signal_v)
    assert found.verdict == "not_judged"
    assert (found.difference_v, found.interference_v, found.remedies) == (None, None, ())


def test_equal_potentials_make_no_noise():
    found = noise(0.1, 0.1)
    assert (found.verdict, found.interference_v, found.below_signal_db) == ("low", 0.0, None)
    assert found.shield_current_a == 0.0


def test_remedies_of_a_grounded_input():
    # 1 V: 0.1 V alternates, 26 dB below 2 V.
    found = noise(0.0, 1.0)
    assert found.verdict == "severe"
    ways = remedies(found)
    assert list(ways) == [
        "common_ground_point",
        "differential_input",
        "isolation_transformer",
        "thicker_ground",
    ]
    common = ways["common_ground_point"]
    assert (common.interference_v, common.below_signal_db) == (0.0, math.inf)
    assert (common.verdict, common.resistance_ratio) == ("low", None)
    differential = ways["differential_input"]
    assert differential.interference_v == pytest.approx(1e-3, rel=1e-12)
    assert differential.below_signal_db == pytest.approx(66.0206, abs=1e-4)
    assert differential.verdict == "audible"
    isolated = ways["isolation_transformer"]
    assert isolated.interference_v == pytest.approx(1e-4, rel=1e-12)
    assert isolated.verdict == "low"
    thicker = ways["thicker_ground"]
    # 70 dB below 2 V are 632.456 uV; 0.1 V over that is 158.114.
    assert thicker.interference_v == pytest.approx(632.4555e-6, rel=1e-6)
    assert (thicker.below_signal_db, thicker.verdict) == (70.0, "low")
    assert thicker.resistance_ratio == pytest.approx(158.1139, rel=1e-6)


def test_remedies_of_a_differential_input_leave_out_what_it_has():
    ways = remedies(noise(0.0, 10.0, DIFFERENTIAL))
    assert list(ways) == ["common_ground_point", "isolation_transformer", "thicker_ground"]
    # 1 V alternates; 40 and 60 dB.
    assert ways["isolation_transformer"].interference_v == pytest.approx(1e-5, rel=1e-12)
    assert ways["thicker_ground"].resistance_ratio == pytest.approx(15.81139, rel=1e-6)
    stated = signal_input(reference="differential", common_mode_rejection_db=20.0)
    ways = remedies(noise(0.0, 10.0, stated))
    assert ways["isolation_transformer"].interference_v == pytest.approx(1e-4, rel=1e-12)


def test_remedies_of_an_isolated_connection_leave_out_what_it_has():
    ways = remedies(noise(0.0, 50.0, isolated=True, isolation_rejection_db=20.0))
    assert list(ways) == ["common_ground_point", "differential_input", "thicker_ground"]
    # 5 V alternate; 20 and 40 dB.
    assert ways["differential_input"].interference_v == pytest.approx(5e-3, rel=1e-12)
    # 0.5 V over 632.4555 uV.
    assert ways["thicker_ground"].resistance_ratio == pytest.approx(790.5694, rel=1e-6)


def test_both_have_only_the_grounds_left_to_mend():
    ways = remedies(noise(0.0, 90.0, DIFFERENTIAL, isolated=True, isolation_rejection_db=0.0))
    assert list(ways) == ["common_ground_point", "thicker_ground"]


@given(st.floats(0.02, 50.0), st.floats(0.0, 0.2), st.floats(0.0, 0.2), st.floats(0.01, 1.0))
def test_thicker_grounds_of_the_ratio_told_just_meet_the_threshold(
    current_a, source_ohm, input_ohm, shield_ohm
):
    def judged(divisor):
        grounds = (
            DeviceGround(None, 0.0, source_ohm / divisor),
            DeviceGround(None, current_a, input_ohm / divisor),
        )
        potentials = (ground.stated_potential_v for ground in grounds)
        return noise(*potentials, grounds=grounds, shield_resistance_ohm=shield_ohm)

    found = judged(1.0)
    ways = remedies(found)
    if "thicker_ground" not in ways:
        assert found.verdict == "low"
        return
    ratio = ways["thicker_ground"].resistance_ratio
    assert ratio > 1.0
    assert judged(ratio).below_signal_db == pytest.approx(70.0, abs=1e-6)
    assert judged(1.01 * ratio).verdict == "low"


def test_ground_has_the_potential_that_is_stated_or_follows():
    assert potential(-0.25).stated_potential_v == -0.25
    assert potential(0.0).stated_potential_v == 0.0
    assert DeviceGround(None, 50.0, 0.002).stated_potential_v == pytest.approx(0.1, rel=1e-12)


@pytest.mark.parametrize(("current_a", "ohm"), [(None, 0.002), (50.0, None)])
def test_ground_of_which_half_is_stated_raises_nothing(current_a, ohm):
    assert DeviceGround(None, current_a, ohm).stated_potential_v == 0.0
