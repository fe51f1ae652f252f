"""What a supply is judged by, and where it falls short."""

from loomwright.engineering.record import record
from loomwright.engineering.supply.battery import Discharge, discharge
from loomwright.engineering.supply.charging import Charging, charging
from loomwright.engineering.supply.drain import no_start_time_s
from loomwright.engineering.supply.request import (
    DRIVING,
    ENGINE_OFF,
    IDLE,
    RUNNING_STATES,
    STATES,
    SupplyRequest,
)
from loomwright.engineering.supply.worst_case import (
    LoadVoltage,
    StateVoltages,
    voltages_in_state,
    worst_of,
)

CHARGING_AT_IDLE, CHARGING_WHILE_DRIVING = "charging_at_idle", "charging_while_driving"
ENGINE_OFF_TIME, STANDING_TIME = "engine_off_time", "standing_time"
LOAD_VOLTAGE, OPERATING_POINT = "load_voltage", "operating_point"
CHECKS = {
    CHARGING_AT_IDLE: "the charging source gives less at idle than is drawn on average",
    CHARGING_WHILE_DRIVING: "the charging source gives less on the road than is drawn on average",
    ENGINE_OFF_TIME: "the battery does not bear the loads as long as wanted with the engine off",
    STANDING_TIME: "the parked vehicle does not start after the wanted time",
    LOAD_VOLTAGE: "the equipment gets less than its least voltage with all peaks together",
    OPERATING_POINT: "with all peaks together the loads ask for more than the source can deliver",
}
_CHARGING_CHECKS = {IDLE: CHARGING_AT_IDLE, DRIVING: CHARGING_WHILE_DRIVING}
# What binary fractions leave of an exact balance.
_ROUNDING = 1e-9


@record
class Figures:
    """All figures of a supply.

    ``charging`` is empty where nothing charges. ``no_start_s`` is infinite where nothing drains.
    """

    charging: tuple[Charging, ...]
    discharge: Discharge
    drain_a: float
    no_start_s: float
    states: tuple[StateVoltages, ...]
    worst: tuple[LoadVoltage, ...]


@record
class Shortfall:
    """Where a supply falls short.

    ``check`` is a key of ``CHECKS``; ``state`` of the vehicle and ``load`` where one is meant.
    ``value`` is what is there and ``limit`` what is wanted, in the SI unit of the check: A of
    output and of draw, s, V.
    """

    check: str
    state: str | None
    load: str | None
    value: float
    limit: float

    @property
    def place(self) -> tuple[str, str | None, str | None]:
        """What makes it the same shortfall after a change."""
        return self.check, None if self.load else self.state, self.load


def supply_figures(request: SupplyRequest) -> Figures:
    """Return all figures of a supply with its loads.

    Parameters
    ----------
    request
        Supply and loads.

    Returns
    -------
    Figures
        Charging, discharge with the engine off, drain and voltages.
    """
    supply = request.supply
    found = (charging(request, state) for state in RUNNING_STATES)
    drawn_a = supply.existing.engine_off_a + sum(
        load.average_current_a for load in request.in_state(ENGINE_OFF)
    )
    drain_a = supply.existing.key_off_a + sum(load.standby_current_a for load in request.loads)
    states = tuple(voltages_in_state(request, state) for state in STATES)
    return Figures(
        charging=tuple(entry for entry in found if entry is not None),
        discharge=discharge(supply.battery, drawn_a),
        drain_a=drain_a,
        no_start_s=no_start_time_s(supply.battery, drain_a),
        states=states,
        worst=worst_of(states, request.loads),
    )


def shortfalls(request: SupplyRequest, figures: Figures) -> tuple[Shortfall, ...]:
    """Return where a supply falls short of what is wanted of it.

    Parameters
    ----------
    request
        Supply and loads.
    figures
        Of the same request.

    Returns
    -------
    tuple of Shortfall
        Charging first, then times, then voltages in the order of the loads.
    """
    supply = request.supply
    found = [
        Shortfall(
            _CHARGING_CHECKS[entry.state],
            entry.state,
            None,
            entry.output_a,
            entry.existing_a + entry.average_a,
        )
        for entry in figures.charging
    ]
    if supply.wanted_engine_off_s is not None:
        time_s = figures.discharge.time_s
        found.append(
            Shortfall(ENGINE_OFF_TIME, ENGINE_OFF, None, time_s, supply.wanted_engine_off_s)
        )
    if supply.wanted_standing_s is not None:
        found.append(
            Shortfall(STANDING_TIME, None, None, figures.no_start_s, supply.wanted_standing_s)
        )
    for load, worst in zip(request.loads, figures.worst, strict=True):
        if worst.voltage_v is not None and load.least_voltage_v is not None:
            found.append(
                Shortfall(
                    LOAD_VOLTAGE, worst.state, load.key, worst.voltage_v, load.least_voltage_v
                )
            )
    short = [entry for entry in found if entry.value < entry.limit * (1.0 - _ROUNDING)]
    return (*short, *_without_point(request, figures))


def _without_point(request: SupplyRequest, figures: Figures) -> list[Shortfall]:
    """Return the states and loads in which no operating point exists."""
    system_v = request.supply.system_voltage_v
    found = []
    for entry in figures.states:
        if entry.bus_voltage_v is None:
            wanted_w = sum(
                load.peak_current_a(system_v) * system_v for load in request.in_state(entry.state)
            )
            found.append(
                Shortfall(OPERATING_POINT, entry.state, None, entry.greatest_power_w, wanted_w)
            )
            continue
        found += [
            Shortfall(OPERATING_POINT, entry.state, load.key, 0.0, load.peak_current_a(system_v))
            for load, at_load in zip(request.in_state(entry.state), entry.loads, strict=True)
            if at_load.voltage_v is None
        ]
    return found
