"""Voltage at each load with all peaks together and the weakest source."""

import math
from collections.abc import Sequence

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network.operating_point import (
    power_current_a,
)
from loomwright.engineering.record import record
from loomwright.engineering.supply.battery import open_circuit_voltage_v
from loomwright.engineering.supply.charging import charging_output_a
from loomwright.engineering.supply.request import (
    ENGINE_OFF,
    SupplyLoad,
    SupplyRequest,
    VehicleSupply,
)

# Relative to the voltage, far below the six digits of an answer.
_TOLERANCE = 1e-12
_GREATEST_STEPS = 1000


@record
class LoadVoltage:
    """A load in the state in which it gets the least voltage; none where no point exists."""

    key: str
    state: str
    voltage_v: float | None
    current_a: float | None


@record
class StateVoltages:
    """Voltages in one state of the vehicle with all peaks together.

    ``bus_voltage_v`` is that at the battery; none where the loads ask for more than the source can
    deliver at all. ``greatest_power_w`` is what the battery can deliver at its terminals.
    """

    state: str
    bus_voltage_v: float | None
    greatest_power_w: float
    loads: tuple[LoadVoltage, ...]


def bus_voltage_v(
    emf_v: float,
    resistance_ohm: float,
    other_a: float,
    loads: Sequence[SupplyLoad],
    ceiling_v: float = math.inf,
) -> float | None:
    """Return the voltage of a source with loads of constant current and constant power on it.

    Steady state; each load hangs on the source through its own resistance. Of all points at which
    the currents agree the one with the highest voltage is the stable one.

    Parameters
    ----------
    emf_v
        Open-circuit voltage of the source [V], above 0.
    resistance_ohm
        Of the source [ohm], 0 or more.
    other_a
        Steady current taken beside the loads [A]; below 0 where another source feeds in.
    loads
        The loads at their peak.
    ceiling_v
        Voltage at which the loads ask for more than there is [V]; only points below it count.

    Returns
    -------
    float or None
        Voltage at the source [V]; none where no operating point exists.

    Raises
    ------
    EngineeringError
        ``operating_point_not_converged`` after a thousand steps.

    Notes
    -----
    ``g(V) = E - R (I_other + sum I(V)) - V`` is concave, since the current of a load of constant
    power is a convex function of the voltage. Newton's tangents from the right of the highest root
    lie above ``g``, so each step stays right of it and the steps fall to it; where ``g`` has no
    root, they leave the range in which it falls.
    """
    fixed_a = other_a + sum(load.current_a for load in loads if load.current_a is not None)
    powers = [
        (load.power_w, load.loop_resistance_ohm) for load in loads if load.power_w is not None
    ]
    # Below this voltage some load alone has no operating point behind its own wiring.
    least_v = math.sqrt(max((4.0 * r * p for p, r in powers), default=0.0))
    voltage = min(ceiling_v, emf_v - resistance_ohm * fixed_a)
    for _ in range(_GREATEST_STEPS):
        if voltage <= 0.0 or voltage < least_v:
            return None
        excess, slope = emf_v - resistance_ohm * fixed_a - voltage, -1.0
        for power_w, loop_ohm in powers:
            current_a = power_current_a(power_w, voltage, loop_ohm)[0]
            excess -= resistance_ohm * current_a
            spare_v = voltage - 2.0 * current_a * loop_ohm
            slope += resistance_ohm * current_a / spare_v if spare_v > 0.0 else 0.0
        if abs(excess) <= _TOLERANCE * max(emf_v, voltage):
            return voltage
        if slope >= 0.0:
            return None
        voltage -= excess / slope
    raise EngineeringError(
        "operating_point_not_converged",
        "The voltage under load was not found; lower the loads.",
        field="loads",
        iterations=_GREATEST_STEPS,
        residual=excess,
    )


def source_emf_v(supply: VehicleSupply, state: str) -> float:
    """Return the open-circuit voltage of the battery at its weakest in a state.

    Parameters
    ----------
    supply
        Of the vehicle.
    state
        One of ``STATES``.

    Returns
    -------
    float
        Voltage [V]; with the engine off at the charge that a start still needs, to which the
        battery may be emptied.
    """
    battery = supply.battery
    charge = battery.state_of_charge
    if state == ENGINE_OFF:
        charge = min(charge, battery.start_state_of_charge)
    return open_circuit_voltage_v(charge, battery.open_circuit_voltages_v)


def voltages_in_state(request: SupplyRequest, state: str) -> StateVoltages:
    """Return the voltages in one state with all peaks together.

    A charging source that can feed all peaks holds its set voltage. One that cannot gives its
    greatest output, and the battery the rest at its own voltage under load.

    Parameters
    ----------
    request
        Supply and loads.
    state
        One of ``STATES``.

    Returns
    -------
    StateVoltages
        At the battery and at each load used in that state.
    """
    supply = request.supply
    loads = request.in_state(state)
    emf_v = source_emf_v(supply, state)
    resistance_ohm = supply.battery.internal_resistance_ohm
    existing_a = supply.existing.in_state(state)
    bus_v = bus_voltage_v(emf_v, resistance_ohm, existing_a, loads)
    output = None if state == ENGINE_OFF else charging_output_a(supply, state)
    source = supply.alternator or supply.converter
    if output is not None and source is not None and (bus_v or 0.0) < source.set_voltage_v:
        bus_v = _charged_voltage_v(
            emf_v, resistance_ohm, source.set_voltage_v, output[0] - existing_a, loads
        )
    return StateVoltages(
        state=state,
        bus_voltage_v=bus_v,
        greatest_power_w=_greatest_power_w(emf_v, resistance_ohm),
        loads=tuple(_load_voltage(load, state, bus_v) for load in loads),
    )


def _greatest_power_w(emf_v: float, resistance_ohm: float) -> float:
    """Return what ``greatest_deliverable_power_w`` has for arrays, of one source."""
    return math.inf if resistance_ohm == 0.0 else emf_v * emf_v / (4.0 * resistance_ohm)


def _charged_voltage_v(
    emf_v: float,
    resistance_ohm: float,
    set_v: float,
    spare_a: float,
    loads: Sequence[SupplyLoad],
) -> float | None:
    """Return the voltage with a charging source that leaves some current to the loads."""
    # Behind wiring that cannot carry its power at the set voltage, a load has no point at all.
    if bus_voltage_v(set_v, 0.0, 0.0, loads) is None:
        return None
    drawn_a = sum(_current_a(load, set_v) for load in loads)
    # A battery above the set voltage without resistance would hold its own, and not come here.
    from_battery_a = (emf_v - set_v) / resistance_ohm if emf_v > set_v else 0.0
    if drawn_a <= spare_a + from_battery_a:
        return set_v
    return bus_voltage_v(emf_v, resistance_ohm, -spare_a, loads, set_v)


def _current_a(load: SupplyLoad, bus_v: float) -> float:
    if load.power_w is None:
        assert load.current_a is not None  # a load has one of both
        return load.current_a
    return power_current_a(load.power_w, bus_v, load.loop_resistance_ohm)[0]


def _load_voltage(load: SupplyLoad, state: str, bus_v: float | None) -> LoadVoltage:
    if bus_v is None:
        return LoadVoltage(load.key, state, None, None)
    current_a = _current_a(load, bus_v)
    voltage_v = bus_v - current_a * load.loop_resistance_ohm
    # A constant current that its own wiring cannot carry.
    if voltage_v <= 0.0:
        return LoadVoltage(load.key, state, None, None)
    return LoadVoltage(load.key, state, voltage_v, current_a)


def worst_of(
    states: Sequence[StateVoltages], loads: Sequence[SupplyLoad]
) -> tuple[LoadVoltage, ...]:
    """Return each load in the state in which it gets the least voltage.

    Parameters
    ----------
    states
        Voltages in every state.
    loads
        The loads, each used in one state at least.

    Returns
    -------
    tuple of LoadVoltage
        In the order of the loads.
    """
    found: dict[str, LoadVoltage] = {}
    for state in states:
        for entry in state.loads:
            known = found.get(entry.key)
            if known is None or _volts(entry) < _volts(known):
                found[entry.key] = entry
    return tuple(found[load.key] for load in loads)


def _volts(entry: LoadVoltage) -> float:
    return -math.inf if entry.voltage_v is None else entry.voltage_v
