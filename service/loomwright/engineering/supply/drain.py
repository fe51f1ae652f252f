"""How long a parked vehicle still starts."""

import math

from loomwright.engineering.supply.battery import Battery


def no_start_time_s(battery: Battery, drain_a: float) -> float:
    """Return how long a parked battery keeps the charge that a start needs.

    The drain is far below the rated current, so the rated capacity holds: Peukert's law, which
    would promise more, is not applied. Self-discharge is a steady share of the rated capacity at
    moderate temperature; heat raises and frost lowers it.

    Parameters
    ----------
    battery
        The battery.
    drain_a
        Standing current of all that stays connected [A], 0 or more.

    Returns
    -------
    float
        Time [s]; 0 where the charge does not start the engine now, infinite where nothing drains.

    Notes
    -----
    ``(s - s_start) C / (I + d C)``.

    References
    ----------
    Conservation of charge. A battery of 60 Ah at 50 mA falls by a half in 25 days.
    """
    usable = battery.state_of_charge - battery.start_state_of_charge
    if usable <= 0.0:
        return 0.0
    lost_a = drain_a + battery.self_discharge_per_s * battery.capacity_as
    return math.inf if lost_a <= 0.0 else usable * battery.capacity_as / lost_a
