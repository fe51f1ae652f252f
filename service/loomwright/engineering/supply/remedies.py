"""What would mend a shortfall: each remedy computed, tried and ranked by cost."""

import math
from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from loomwright.engineering.record import record
from loomwright.engineering.supply.alternator import engine_speed_for_output_per_s
from loomwright.engineering.supply.checks import (
    CHARGING_AT_IDLE,
    CHARGING_WHILE_DRIVING,
    ENGINE_OFF_TIME,
    LOAD_VOLTAGE,
    OPERATING_POINT,
    STANDING_TIME,
    Shortfall,
    shortfalls,
    supply_figures,
)
from loomwright.engineering.supply.request import SupplyLoad, SupplyRequest
from loomwright.engineering.supply.worst_case import voltages_in_state

LOWER_DRIVE_LEVEL, SWITCH_OFF_STANDBY = "lower_drive_level", "switch_off_standby"
RAISE_IDLE, LARGER_CONDUCTOR = "raise_idle", "larger_conductor"
SECOND_BATTERY, LARGER_SOURCE = "second_battery", "larger_charging_source"
# From the cheapest to the dearest where no prices are given: common practice, no source.
COST_RANK = (
    LOWER_DRIVE_LEVEL,
    SWITCH_OFF_STANDBY,
    RAISE_IDLE,
    LARGER_CONDUCTOR,
    SECOND_BATTERY,
    LARGER_SOURCE,
)
_BY_CHECK = {
    CHARGING_AT_IDLE: (LOWER_DRIVE_LEVEL, RAISE_IDLE, LARGER_SOURCE),
    CHARGING_WHILE_DRIVING: (LOWER_DRIVE_LEVEL, LARGER_SOURCE),
    ENGINE_OFF_TIME: (LOWER_DRIVE_LEVEL, SECOND_BATTERY),
    STANDING_TIME: (SWITCH_OFF_STANDBY, SECOND_BATTERY),
    LOAD_VOLTAGE: (LOWER_DRIVE_LEVEL, LARGER_CONDUCTOR, SECOND_BATTERY),
    OPERATING_POINT: (LOWER_DRIVE_LEVEL, LARGER_CONDUCTOR, SECOND_BATTERY),
}
BY_PRICE, BY_RANK = "price", "rank"
# Steps to which remedies are rounded, always to the safe side: what one can set, buy or measure.
GREATEST_LEVEL_CHANGE_DB = 40.0
LEVEL_STEP_DB = 0.1
CAPACITY_STEP_AS = 3600.0
GREATEST_ADDED_CAPACITIES = 20.0
RESISTANCE_STEP_OHM = 1e-6
SPEED_STEP_PER_S = 1.0 / 60.0
OUTPUT_STEP_A = 1.0
STANDBY_STEP_A = 1e-4
LEAST_OUTPUT_A = 0.1


@record
class Remedy:
    """One remedy of one shortfall.

    ``value`` is what to set it to, in SI by its key: decibel by which the drive level is lowered,
    A of standby that may be left, 1/s of the raised idle, ohm of the loop there and back, A s of
    added capacity, A of output in that state. It is none where no value of the remedy is in reach;
    ``closes`` says that the assessment with the remedy in place no longer shows the shortfall.
    """

    key: str
    value: float | None
    closes: bool


@record
class MendedShortfall:
    """A shortfall with its remedies; ``cheapest`` names one that closes it, by ``chosen_by``."""

    shortfall: Shortfall
    remedies: tuple[Remedy, ...]
    cheapest: str | None
    chosen_by: str | None


def mended(
    request: SupplyRequest, shortfall: Shortfall, prices: Mapping[str, Decimal]
) -> MendedShortfall:
    """Return a shortfall with everything that could mend it.

    Parameters
    ----------
    request
        Supply and loads.
    shortfall
        Of the same request.
    prices
        Of remedies by key, as far as known, all in one currency.

    Returns
    -------
    MendedShortfall
        Where each remedy that closes the gap has a price the cheapest is that of the lowest price,
        otherwise the first of ``COST_RANK``.
    """
    remedies = tuple(_remedy(request, shortfall, key) for key in _kinds(request, shortfall))
    closing = [remedy.key for remedy in remedies if remedy.closes]
    if not closing:
        return MendedShortfall(shortfall, remedies, None, None)
    if all(key in prices for key in closing):
        cheapest = min(closing, key=lambda key: (prices[key], COST_RANK.index(key)))
        return MendedShortfall(shortfall, remedies, cheapest, BY_PRICE)
    return MendedShortfall(shortfall, remedies, min(closing, key=COST_RANK.index), BY_RANK)


def applied(request: SupplyRequest, shortfall: Shortfall, key: str, value: float) -> SupplyRequest:
    """Return a request with a remedy in place.

    Parameters
    ----------
    request
        Supply and loads.
    shortfall
        That the remedy is for.
    key
        Of ``COST_RANK``.
    value
        As ``Remedy`` states it.

    Returns
    -------
    SupplyRequest
        Otherwise the same.
    """
    return _APPLIED[key](request, shortfall, value)


def _kinds(request: SupplyRequest, shortfall: Shortfall) -> Sequence[str]:
    """Return the remedies that are worth a look; idle and output belong to an alternator."""
    alternator_only = () if request.supply.alternator else (RAISE_IDLE, LARGER_SOURCE)
    # A collapse of the battery itself has no one conductor to blame.
    one_load_only = () if shortfall.load else (LARGER_CONDUCTOR,)
    unfit = (*alternator_only, *one_load_only)
    return [key for key in _BY_CHECK[shortfall.check] if key not in unfit]


def _remedy(request: SupplyRequest, shortfall: Shortfall, key: str) -> Remedy:
    value = _VALUES[key](request, shortfall)
    if value is None:
        return Remedy(key, None, False)
    return Remedy(key, value, _is_closed(request, shortfall, key, value))


def _is_closed(request: SupplyRequest, shortfall: Shortfall, key: str, value: float) -> bool:
    after = applied(request, shortfall, key, value)
    left = shortfalls(after, supply_figures(after))
    # A load without a point that gets one may still lack voltage; then the gap is not closed.
    return all(
        entry.place != shortfall.place and (entry.load is None or entry.load != shortfall.load)
        for entry in left
    )


def _least_step(is_enough: Callable[[float], bool], step: float, greatest: int) -> float | None:
    """Return the least whole number of steps that is enough, as more never spoils it."""
    if not is_enough(step * greatest):
        return None
    fewer = range(1, greatest)
    return step * (1 + bisect_left(fewer, True, key=lambda steps: is_enough(step * steps)))


def _level_change_db(request: SupplyRequest, shortfall: Shortfall) -> float | None:
    if not any(load.has_drive_level for load in request.loads):
        return None

    def is_enough(change_db: float) -> bool:
        return _is_closed(request, shortfall, LOWER_DRIVE_LEVEL, change_db)

    steps = round(GREATEST_LEVEL_CHANGE_DB / LEVEL_STEP_DB)
    return _least_step(is_enough, LEVEL_STEP_DB, steps)


def _added_capacity_as(request: SupplyRequest, shortfall: Shortfall) -> float | None:
    def is_enough(added_as: float) -> bool:
        return _is_closed(request, shortfall, SECOND_BATTERY, added_as)

    greatest_as = GREATEST_ADDED_CAPACITIES * request.supply.battery.capacity_as
    return _least_step(is_enough, CAPACITY_STEP_AS, math.ceil(greatest_as / CAPACITY_STEP_AS))


def _idle_speed_per_s(request: SupplyRequest, shortfall: Shortfall) -> float | None:
    alternator = request.supply.alternator
    assert alternator is not None  # the remedy is looked at with an alternator only
    speed = engine_speed_for_output_per_s(alternator, shortfall.limit)
    if speed is None or speed > alternator.greatest_idle_speed_per_s:
        return None
    # A limit that is no whole number of steps may lie below the next one, and suffices too.
    return min(_up(speed, SPEED_STEP_PER_S), alternator.greatest_idle_speed_per_s)


def _output_a(_: SupplyRequest, shortfall: Shortfall) -> float | None:
    # Scaling says nothing where the present machine gives next to nothing at that speed.
    return _up(shortfall.limit, OUTPUT_STEP_A) if shortfall.value >= LEAST_OUTPUT_A else None


def _standby_a(request: SupplyRequest, shortfall: Shortfall) -> float | None:
    """Return what the new loads may draw: ``(s - s_start) C / t - d C`` less the vehicle's own."""
    battery = request.supply.battery
    usable = battery.state_of_charge - battery.start_state_of_charge
    lost_a = usable * battery.capacity_as / shortfall.limit
    own_a = battery.self_discharge_per_s * battery.capacity_as + request.supply.existing.key_off_a
    left_a = math.floor((lost_a - own_a) / STANDBY_STEP_A) * STANDBY_STEP_A
    return left_a if left_a >= 0.0 else None


def _loop_resistance_ohm(request: SupplyRequest, shortfall: Shortfall) -> float | None:
    """Return the loop resistance at which the load has its least voltage.

    At that voltage its current is known, so the rest of the circuit is solved with that current.
    """
    load = _load_of(request, shortfall)
    if load.least_voltage_v is None or shortfall.state is None:
        return None
    current_a = load.peak_current_a(load.least_voltage_v)
    steady = replace(load, current_a=current_a, power_w=None, loop_resistance_ohm=0.0)
    at_least = _with_load(request, steady)
    bus_v = voltages_in_state(at_least, shortfall.state).bus_voltage_v
    if bus_v is None:
        return None
    resistance = (bus_v - load.least_voltage_v) / current_a
    steps = math.floor(resistance / RESISTANCE_STEP_OHM)
    # There is no conductor without any resistance.
    return steps * RESISTANCE_STEP_OHM if steps > 0 else None


def _up(value: float, step: float) -> float:
    # An exact multiple stays what it is, though its quotient may lie a hair above.
    return math.ceil(value / step - 1e-9) * step


def _load_of(request: SupplyRequest, shortfall: Shortfall) -> SupplyLoad:
    (load,) = (load for load in request.loads if load.key == shortfall.load)
    return load


def _with_load(request: SupplyRequest, changed: SupplyLoad) -> SupplyRequest:
    loads = tuple(changed if load.key == changed.key else load for load in request.loads)
    return replace(request, loads=loads)


def _with_level(request: SupplyRequest, _: Shortfall, value: float) -> SupplyRequest:
    return replace(request, loads=tuple(load.at_level(value) for load in request.loads))


def _with_standby(request: SupplyRequest, _: Shortfall, value: float) -> SupplyRequest:
    standby_a = sum(load.standby_current_a for load in request.loads)
    share = min(1.0, value / standby_a) if standby_a > 0.0 else 1.0
    loads = (
        replace(load, standby_current_a=share * load.standby_current_a) for load in request.loads
    )
    return replace(request, loads=tuple(loads))


def _with_idle(request: SupplyRequest, _: Shortfall, value: float) -> SupplyRequest:
    supply = request.supply
    assert supply.alternator is not None  # the remedy is looked at with an alternator only
    raised = replace(supply.alternator, idle_speed_per_s=value)
    return replace(request, supply=replace(supply, alternator=raised))


def _with_conductor(request: SupplyRequest, shortfall: Shortfall, value: float) -> SupplyRequest:
    load = _load_of(request, shortfall)
    return _with_load(request, replace(load, loop_resistance_ohm=value))


def _with_battery(request: SupplyRequest, _: Shortfall, value: float) -> SupplyRequest:
    """Put a second battery of the same kind, age and state beside the first."""
    battery = request.supply.battery
    together_as = battery.capacity_as + value
    both = replace(
        battery,
        capacity_as=together_as,
        internal_resistance_ohm=battery.internal_resistance_ohm * battery.capacity_as / together_as,
    )
    return replace(request, supply=replace(request.supply, battery=both))


def _with_source(request: SupplyRequest, shortfall: Shortfall, value: float) -> SupplyRequest:
    supply = request.supply
    assert supply.alternator is not None  # the remedy is looked at with an alternator only
    factor = value / shortfall.value
    curve = tuple((speed, factor * output_a) for speed, output_a in supply.alternator.curve)
    larger = replace(supply.alternator, curve=curve)
    return replace(request, supply=replace(supply, alternator=larger))


_VALUES: Mapping[str, Callable[[SupplyRequest, Shortfall], float | None]] = {
    LOWER_DRIVE_LEVEL: _level_change_db,
    SWITCH_OFF_STANDBY: _standby_a,
    RAISE_IDLE: _idle_speed_per_s,
    LARGER_CONDUCTOR: _loop_resistance_ohm,
    SECOND_BATTERY: _added_capacity_as,
    LARGER_SOURCE: _output_a,
}
_APPLIED: Mapping[str, Callable[[SupplyRequest, Shortfall, float], SupplyRequest]] = {
    LOWER_DRIVE_LEVEL: _with_level,
    SWITCH_OFF_STANDBY: _with_standby,
    RAISE_IDLE: _with_idle,
    LARGER_CONDUCTOR: _with_conductor,
    SECOND_BATTERY: _with_battery,
    LARGER_SOURCE: _with_source,
}
