"""The closed form of a constant-power load behind a resistance, and duty in its limits."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomwright.engineering.conductors.duty import heating_ratio_of_duty
from loomwright.engineering.network.operating_point import (
    constant_power_current_a,
    constant_power_operating_point,
    greatest_deliverable_power_w,
    power_current_a,
)

POWERS_W = st.floats(0.0, 1e5)
EMFS_V = st.floats(1.0, 60.0)
RESISTANCES_OHM = st.floats(0.0, 10.0)


def test_operating_point_by_hand():
    # 12 V, 0.1 ohm, 200 W: I = (12 - sqrt(144 - 80)) / 0.2 = 20 A, V = 10 V, at most 360 W.
    point = constant_power_operating_point(200.0, 12.0, 0.1)
    assert bool(point.exists)
    assert float(point.load_current_a) == pytest.approx(20.0, rel=1e-12)
    assert float(point.load_voltage_v) == pytest.approx(10.0, rel=1e-12)
    assert float(point.greatest_power_w) == pytest.approx(360.0, rel=1e-12)


def test_current_of_one_load_by_hand():
    # As above; with 720 W, twice the most, that of the collapse, E / 2 R = 60 A.
    assert power_current_a(200.0, 12.0, 0.1) == (pytest.approx(20.0, rel=1e-12), True)
    assert power_current_a(720.0, 12.0, 0.1) == (pytest.approx(60.0, rel=1e-12), False)
    assert power_current_a(0.0, 12.0, 0.1) == (0.0, True)


@given(POWERS_W, EMFS_V, RESISTANCES_OHM)
def test_current_of_one_load_is_that_of_an_array_to_the_last_digit(power_w, emf_v, resistance_ohm):
    current, exists = constant_power_current_a(power_w, emf_v, resistance_ohm)
    assert power_current_a(power_w, emf_v, resistance_ohm) == (float(current), bool(exists))


@given(POWERS_W, EMFS_V, RESISTANCES_OHM)
def test_operating_point_satisfies_its_equation(power_w, emf_v, resistance_ohm):
    point = constant_power_operating_point(power_w, emf_v, resistance_ohm)
    current, voltage = float(point.load_current_a), float(point.load_voltage_v)
    assert bool(point.exists) == (4.0 * resistance_ohm * power_w <= emf_v**2)
    if point.exists:
        assert voltage * current == pytest.approx(power_w, rel=1e-7)
        assert emf_v - current * resistance_ohm == pytest.approx(voltage, rel=1e-9)
        assert voltage >= 0.5 * emf_v * (1.0 - 1e-12)
        balance = current * (emf_v - current * resistance_ohm) - power_w
        assert abs(balance) <= 1e-9 * max(power_w, 1e-300)


@given(EMFS_V, st.floats(1e-4, 10.0), st.floats(1.0 + 1e-9, 1e3))
def test_beyond_the_limit_the_greatest_power_is_reported(emf_v, resistance_ohm, factor):
    limit_w = float(greatest_deliverable_power_w(emf_v, resistance_ohm))
    assert limit_w == pytest.approx(emf_v**2 / (4.0 * resistance_ohm), rel=1e-12)
    point = constant_power_operating_point(limit_w * factor, emf_v, resistance_ohm)
    assert not bool(point.exists)
    assert float(point.load_voltage_v) == pytest.approx(0.5 * emf_v, rel=1e-9)
    delivered = float(point.load_voltage_v) * float(point.load_current_a)
    assert delivered == pytest.approx(limit_w, rel=1e-9)
    assert float(point.greatest_power_w) == pytest.approx(limit_w, rel=1e-12)


def test_the_limit_itself_is_an_operating_point():
    # 2 V behind 1 ohm deliver 1 W at 1 V and 1 A, without a digit lost.
    point = constant_power_operating_point(1.0, 2.0, 1.0)
    assert bool(point.exists)
    assert (float(point.load_current_a), float(point.load_voltage_v)) == (1.0, 1.0)


@given(EMFS_V, st.floats(1e-4, 10.0))
def test_at_the_limit_the_load_holds_half_the_voltage(emf_v, resistance_ohm):
    limit_w = float(greatest_deliverable_power_w(emf_v, resistance_ohm)) * (1.0 - 1e-12)
    point = constant_power_operating_point(limit_w, emf_v, resistance_ohm)
    assert bool(point.exists)
    # The root is double there: 1e-12 of power moves the voltage by its square root.
    assert float(point.load_voltage_v) == pytest.approx(0.5 * emf_v, rel=1e-5)


@given(POWERS_W, EMFS_V)
def test_without_resistance_the_load_has_the_open_circuit_voltage(power_w, emf_v):
    point = constant_power_operating_point(power_w, emf_v, 0.0)
    assert bool(point.exists)
    assert float(point.load_current_a) == pytest.approx(power_w / emf_v, rel=1e-12)
    assert float(point.load_voltage_v) == emf_v
    assert math.isinf(float(point.greatest_power_w))


def test_tiny_resistance_loses_no_digits():
    # The textbook root (E - sqrt(E**2 - 4 R P)) / 2R would be wrong in the fourth digit here.
    point = constant_power_operating_point(120.0, 12.0, 1e-13)
    assert float(point.load_current_a) == pytest.approx(10.0 * (1.0 + 10.0 * 1e-13 / 12.0), 1e-14)


@given(
    st.lists(st.tuples(POWERS_W, EMFS_V, st.floats(1e-6, 10.0)), min_size=1, max_size=6),
)
def test_array_and_scalar_calls_agree(rows):
    power_w, emf_v, resistance_ohm = (np.array(column) for column in zip(*rows, strict=True))
    together = constant_power_operating_point(power_w, emf_v, resistance_ohm)
    for index, row in enumerate(rows):
        alone = constant_power_operating_point(*row)
        assert bool(np.asarray(together.exists)[index]) == bool(alone.exists)
        for name in ("load_current_a", "load_voltage_v", "greatest_power_w"):
            assert np.asarray(getattr(together, name))[index] == pytest.approx(
                float(getattr(alone, name)), rel=1e-12
            )


@given(st.floats(0.0, 1e3), st.floats(0.0, 1e3), EMFS_V, st.floats(1e-4, 1.0))
def test_more_power_takes_more_current(power_w, more_w, emf_v, resistance_ohm):
    low = constant_power_operating_point(power_w, emf_v, resistance_ohm)
    high = constant_power_operating_point(power_w + more_w, emf_v, resistance_ohm)
    if high.exists:
        assert bool(low.exists)
        assert float(low.load_current_a) <= float(high.load_current_a)
        assert float(low.load_voltage_v) >= float(high.load_voltage_v)


TIMES_S = st.floats(1e-2, 1e5)


@given(TIMES_S, TIMES_S)
def test_load_without_pause_is_continuous(on_time_s, time_constant_s):
    assert float(heating_ratio_of_duty(on_time_s, 0.0, time_constant_s)) == 1.0


@given(TIMES_S, TIMES_S, TIMES_S)
def test_duty_lies_between_its_share_and_one(on_time_s, off_time_s, time_constant_s):
    ratio = float(heating_ratio_of_duty(on_time_s, off_time_s, time_constant_s))
    share = on_time_s / (on_time_s + off_time_s)
    assert share * (1.0 - 1e-9) <= ratio <= 1.0


@given(TIMES_S, st.floats(0.0, 1e5))
def test_long_load_warms_like_a_continuous_one(time_constant_s, off_time_s):
    ratio = float(heating_ratio_of_duty(40.0 * time_constant_s, off_time_s, time_constant_s))
    assert ratio == pytest.approx(1.0, abs=1e-12)


@given(TIMES_S, st.floats(0.01, 10.0), st.floats(0.01, 10.0))
def test_short_cycles_warm_by_the_mean_of_the_losses(time_constant_s, on_share, off_share):
    on_time_s, off_time_s = (1e-6 * time_constant_s * share for share in (on_share, off_share))
    ratio = float(heating_ratio_of_duty(on_time_s, off_time_s, time_constant_s))
    assert ratio == pytest.approx(on_share / (on_share + off_share), rel=1e-4)


@given(TIMES_S, TIMES_S, TIMES_S, st.floats(1.0, 10.0))
def test_longer_load_warms_more_and_longer_pause_less(
    on_time_s, off_time_s, time_constant_s, factor
):
    base = float(heating_ratio_of_duty(on_time_s, off_time_s, time_constant_s))
    longer_on = float(heating_ratio_of_duty(factor * on_time_s, off_time_s, time_constant_s))
    longer_off = float(heating_ratio_of_duty(on_time_s, factor * off_time_s, time_constant_s))
    assert longer_on >= base * (1.0 - 1e-12)
    assert longer_off <= base * (1.0 + 1e-12)


def test_duty_by_hand():
    # On and off for one time constant each: (1 - 1/e) / (1 - 1/e**2) = 1 / (1 + 1/e) = 0.731059.
    ratio = heating_ratio_of_duty(300.0, 300.0, 300.0)
    assert float(ratio) == pytest.approx(0.731058578630, rel=1e-11)


@given(
    st.lists(st.tuples(TIMES_S, st.floats(0.0, 1e5), TIMES_S), min_size=1, max_size=5),
)
def test_duty_of_arrays_is_that_of_their_elements(rows):
    on, off, constant = (np.array(column) for column in zip(*rows, strict=True))
    together = heating_ratio_of_duty(on, off, constant)
    for index, row in enumerate(rows):
        assert together[index] == pytest.approx(float(heating_ratio_of_duty(*row)), rel=1e-12)
