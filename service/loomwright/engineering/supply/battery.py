"""Capacity, open-circuit voltage and discharge of a battery at a steady current."""

import math
from itertools import pairwise

from loomwright.engineering.elementwise import lesser
from loomwright.engineering.network.operating_point import Number
from loomwright.engineering.record import record
from loomwright.tables.supply_records import VoltageCurve

# What ends a discharge.
START_RESERVE = "start_reserve"
CUT_OFF_VOLTAGE = "cut_off_voltage"
NO_LOAD = "no_load"
DISCHARGE_ENDS = {
    START_RESERVE: "the charge that the start of the engine needs is reached",
    CUT_OFF_VOLTAGE: "the voltage under load is at the cut-off voltage",
    NO_LOAD: "nothing is drawn with the engine off",
}


@record
class Battery:
    """The battery, or the bank that acts as one.

    Parameters
    ----------
    capacity_as
        Rated capacity [A s], above 0.
    rated_time_s
        Discharge time at which the capacity is rated [s], above 0.
    peukert_exponent
        1 or more.
    internal_resistance_ohm
        0 or more.
    state_of_charge
        Now, 0 to 1.
    start_state_of_charge
        Least that still starts the engine, 0 to 1; nothing below it counts as usable.
    cut_off_voltage_v
        Terminal voltage at which equipment is switched off [V], above 0.
    self_discharge_per_s
        Share of the rated capacity that is lost each second [1/s], 0 or more.
    open_circuit_voltages_v
        Pairs of state of charge, rising from 0 to 1, and open-circuit voltage of the bank [V],
        rising.
    """

    capacity_as: float
    rated_time_s: float
    peukert_exponent: float
    internal_resistance_ohm: float
    state_of_charge: float
    start_state_of_charge: float
    cut_off_voltage_v: float
    self_discharge_per_s: float
    open_circuit_voltages_v: VoltageCurve


@record
class Discharge:
    """A discharge at a steady current.

    ``time_s`` is infinite without a current. ``end`` is a key of ``DISCHARGE_ENDS``.
    ``below_rated_current`` says that the rated capacity was taken, as Peukert's law would give
    more than that.
    """

    current_a: float
    time_s: float
    end: str
    end_state_of_charge: float
    below_rated_current: bool


def peukert_time_s(
    current_a: Number, capacity_as: Number, rated_time_s: Number, exponent: Number
) -> Number:
    """Return how long a full battery bears a steady current by Peukert's law.

    Lead-acid at constant temperature, near and above the rated current; far below it the law
    promises more than the battery holds. The rate-normalised form: with an ampere-hour rating the
    often printed ``C / I**k`` is wrong, since it is right at 1 A only.

    Parameters
    ----------
    current_a
        Steady current [A], above 0.
    capacity_as
        Rated capacity [A s], above 0.
    rated_time_s
        Discharge time of the rating [s], above 0.
    exponent
        Peukert exponent, 1 or more.

    Returns
    -------
    float or ndarray
        Time [s].

    Notes
    -----
    ``t = H (C / (I H))**k``.

    References
    ----------
    W. Peukert, Elektrotechnische Zeitschrift 20 (1897), from memory; rate-normalised with the rated
    current ``C / H``.
    """
    return rated_time_s * (capacity_as / (current_a * rated_time_s)) ** exponent


def capacity_at_time_as(
    time_s: Number, capacity_as: Number, rated_time_s: Number, exponent: Number
) -> Number:
    """Return the capacity that the same battery has at another discharge time.

    Parameters
    ----------
    time_s
        Other discharge time [s], above 0.
    capacity_as
        Rated capacity [A s], above 0.
    rated_time_s
        Discharge time of the rating [s], above 0.
    exponent
        Peukert exponent, 1 or more.

    Returns
    -------
    float or ndarray
        Capacity at that time [A s].

    Notes
    -----
    ``C' = C (t / H)**(1 - 1/k)``, Peukert's law solved for ``I t``.

    References
    ----------
    As ``peukert_time_s``.
    """
    return capacity_as * (time_s / rated_time_s) ** (1.0 - 1.0 / exponent)


def delivered_capacity_as(
    current_a: Number, capacity_as: Number, rated_time_s: Number, exponent: Number
) -> Number:
    """Return what a full battery delivers at a steady current, at most its rated capacity.

    Parameters
    ----------
    current_a
        Steady current [A], above 0.
    capacity_as
        Rated capacity [A s], above 0.
    rated_time_s
        Discharge time of the rating [s], above 0.
    exponent
        Peukert exponent, 1 or more.

    Returns
    -------
    float or ndarray
        Charge [A s]; the rated capacity at the rated current and below it.

    Notes
    -----
    ``C min(1, C / (I H))**(k - 1)``, which is ``min(C, I t)`` with the time of ``peukert_time_s``
    and does not overflow where the current is next to nothing.

    References
    ----------
    As ``peukert_time_s``; the bound is ours, because no rating speaks of smaller currents.
    """
    above_rated = lesser(1.0, capacity_as / (current_a * rated_time_s))
    return capacity_as * above_rated ** (exponent - 1.0)


def open_circuit_voltage_v(state_of_charge: float, curve: VoltageCurve) -> float:
    """Return the open-circuit voltage of a rested battery.

    Straight lines between the points of the curve.

    Parameters
    ----------
    state_of_charge
        0 to 1.
    curve
        Pairs of state of charge, rising from 0 to 1, and voltage [V].

    Returns
    -------
    float
        Voltage [V].
    """
    for (low, low_v), (high, high_v) in pairwise(curve):
        if state_of_charge <= high:
            return low_v + (high_v - low_v) * (state_of_charge - low) / (high - low)
    return curve[-1][1]


def state_of_charge_at(voltage_v: float, curve: VoltageCurve) -> float:
    """Return the state of charge of a rested battery with an open-circuit voltage.

    Parameters
    ----------
    voltage_v
        Open-circuit voltage [V].
    curve
        Pairs of state of charge, rising from 0 to 1, and voltage [V], rising.

    Returns
    -------
    float
        0 at the lowest voltage of the curve and below it, 1 at the highest and above it.
    """
    if voltage_v <= curve[0][1]:
        return curve[0][0]
    for (low, low_v), (high, high_v) in pairwise(curve):
        if voltage_v <= high_v:
            return low + (high - low) * (voltage_v - low_v) / (high_v - low_v)
    return curve[-1][0]


def discharge(battery: Battery, current_a: float) -> Discharge:
    """Return how long a battery bears a steady current from its present state of charge.

    The discharge ends at the reserve for starting or where the voltage under load reaches the
    cut-off voltage, whichever comes first. The internal resistance stays what it is; that of a
    real battery rises towards the end.

    Parameters
    ----------
    battery
        The battery.
    current_a
        Steady current [A], 0 or more.

    Returns
    -------
    Discharge
        Time and what ends it.

    Notes
    -----
    ``t = (s - s_end) C(I) / I``, with ``C(I)`` of ``delivered_capacity_as`` and ``s_end`` where the
    open-circuit voltage is the cut-off voltage plus ``I R``.
    """
    if current_a <= 0.0:
        return Discharge(0.0, math.inf, NO_LOAD, battery.state_of_charge, True)
    curve = battery.open_circuit_voltages_v
    emf_at_cut_off_v = battery.cut_off_voltage_v + current_a * battery.internal_resistance_ohm
    at_cut_off = state_of_charge_at(emf_at_cut_off_v, curve)
    end, end_state = START_RESERVE, battery.start_state_of_charge
    # Above the voltage of the full battery the cut-off is there at once.
    if at_cut_off > end_state or emf_at_cut_off_v > curve[-1][1]:
        end, end_state = CUT_OFF_VOLTAGE, at_cut_off
    usable = max(0.0, battery.state_of_charge - end_state)
    delivered_as = delivered_capacity_as(
        current_a, battery.capacity_as, battery.rated_time_s, battery.peukert_exponent
    )
    return Discharge(
        current_a=current_a,
        time_s=usable * float(delivered_as) / current_a,
        end=end,
        end_state_of_charge=min(end_state, battery.state_of_charge),
        below_rated_current=current_a * battery.rated_time_s < battery.capacity_as,
    )
