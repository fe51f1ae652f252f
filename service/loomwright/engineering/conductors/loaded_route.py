"""Current and conductor temperatures of a route that feeds one load.

Temperature and operating point depend on each other: a warmer conductor has more resistance, and a
constant-power load then takes more current. The temperature of each segment is a known curve of the
current, so one unknown is left for each candidate, and all candidates are solved at once.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.temperature_curve import (
    CurveTable,
    rise_and_slope_on_curve_k,
    rise_on_curve_k,
)
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.network import constant_power_current_a
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# On Newton's step: the one after it would be of the order of its square, 1e-7, and the resistance
# is moved along by this last step before it is used.
RELATIVE_TOLERANCE = 3e-4
GREATEST_ITERATIONS = 60


@record
class LoadedRoute:
    """A route and its load; rows of two-dimensional arrays are segments, columns candidates.

    Parameters
    ----------
    supply_voltage_v
        Open-circuit voltage of the source [V].
    load_current_a, load_power_w
        One of both; the other is none [A], [W].
    fixed_resistance_ohm
        Source, chassis, joints and fuse together [ohm].
    cold_resistance_ohm
        Conductors in the loop with each segment at its ambient [ohm].
    resistance_slope_ohm_per_k
        What each segment adds to that when it warms [ohm/K].
    ambient_temperature_k
        Of each segment [K].
    share_per_ampere
        Share of the cap current that one ampere of load current is to one run [1/A].
    curves
        Rise above ambient on that share [K].
    """

    supply_voltage_v: float
    load_current_a: float | None
    load_power_w: float | None
    fixed_resistance_ohm: float
    cold_resistance_ohm: Array
    resistance_slope_ohm_per_k: Array
    ambient_temperature_k: Array
    share_per_ampere: Array
    curves: CurveTable


@dataclass(slots=True)
class LoadedRouteState:
    """Solved state, arrays over candidates (temperatures also over segments).

    ``exists`` is false where the load asks for more than the circuit can deliver; current and
    resistance are then those of the limit point of the cold circuit. ``capped`` is true where a
    segment would pass the cap of the model, 250 C; its resistance is then that at the cap.
    ``residual`` is the last relative step of the current.
    """

    load_current_a: Array
    resistance_ohm: Array
    conductor_temperature_k: Array
    exists: Mask
    capped: Mask
    iterations: int
    residual: float


def solved_route(route: LoadedRoute) -> LoadedRouteState:
    """Return current, resistance and conductor temperatures of a loaded route.

    Steady direct current; linear source; still air.

    Parameters
    ----------
    route
        Route and load.

    Returns
    -------
    LoadedRouteState
        With iterations and the last relative step.

    Raises
    ------
    EngineeringError
        ``operating_point_not_converged`` with iterations and residual.
    """
    if route.load_power_w is None:
        return _with_current(route)
    return _with_power(route, route.load_power_w)


def resistance_at_current_ohm(route: LoadedRoute, current_a: float) -> Array:
    """Return the resistance of the conductors in the loop at a given load current.

    Parameters
    ----------
    route
        Route; its own load is left out of account.
    current_a
        Load current [A], 0 or more.

    Returns
    -------
    ndarray
        Resistance of each candidate [ohm], that at 250 C where the current would heat it further.
    """
    rise = rise_on_curve_k(route.curves, current_a * route.share_per_ampere)
    warming = np.add.reduce(route.resistance_slope_ohm_per_k * rise)
    return np.asarray(route.cold_resistance_ohm + warming)


def _with_current(route: LoadedRoute) -> LoadedRouteState:
    assert route.load_current_a is not None
    share = route.load_current_a * route.share_per_ampere
    rise = rise_on_curve_k(route.curves, share)
    resistance = route.cold_resistance_ohm + np.add.reduce(route.resistance_slope_ohm_per_k * rise)
    # The source still has a voltage left for the load.
    greatest = route.supply_voltage_v / route.load_current_a - route.fixed_resistance_ohm
    return LoadedRouteState(
        load_current_a=np.full_like(resistance, route.load_current_a),
        resistance_ohm=resistance,
        conductor_temperature_k=route.ambient_temperature_k + rise,
        exists=resistance < greatest,
        capped=np.logical_or.reduce(share > 1.0),
        iterations=0,
        residual=0.0,
    )


def _with_power(route: LoadedRoute, power_w: float) -> LoadedRouteState:
    """Solve ``F = I (E - I R(I)) - P = 0`` by Newton's method from the cold circuit.

    ``F`` is concave in the current and the cold circuit's current is below the root, so the
    iteration climbs to the stable root and never passes it; where the slope is gone before the root
    is reached, no operating point exists.
    """
    emf, fixed, shares = route.supply_voltage_v, route.fixed_resistance_ohm, route.share_per_ampere
    cold, per_kelvin = route.cold_resistance_ohm, route.resistance_slope_ohm_per_k
    per_kelvin_share = per_kelvin * shares
    limit, solvable = constant_power_current_a(power_w, emf, cold + fixed)
    current, exists = np.asarray(limit), np.asarray(solvable)
    iteration, residual = 0, np.inf
    while residual >= RELATIVE_TOLERANCE:
        if iteration == GREATEST_ITERATIONS:
            raise _not_converged(residual)
        iteration += 1
        share = current * shares
        rise, slope = rise_and_slope_on_curve_k(route.curves, share)
        resistance = cold + np.add.reduce(per_kelvin * rise)
        resistance_slope = np.add.reduce(per_kelvin_share * slope)
        drop = current * (resistance + fixed)
        load_voltage = emf - drop
        value_slope = load_voltage - drop - current * current * resistance_slope
        exists = exists & (value_slope > 1e-6 * emf)
        step = (current * load_voltage - power_w) / np.where(exists, value_slope, np.inf)
        current = current - step
        residual = float(np.maximum.reduce(np.abs(step / current)))
    resistance = np.where(exists, resistance - resistance_slope * step, cold)
    # The closed form at the solved resistance makes the power balance exact.
    settled, solvable = constant_power_current_a(power_w, emf, resistance + fixed)
    if not exists.all():
        settled = np.where(exists, settled, emf / (2.0 * (cold + fixed)))
    return LoadedRouteState(
        load_current_a=np.asarray(settled),
        resistance_ohm=resistance,
        conductor_temperature_k=route.ambient_temperature_k + (rise - slope * shares * step),
        exists=exists & np.asarray(solvable),
        capped=exists & np.logical_or.reduce(share > 1.0),
        iterations=iteration,
        residual=residual,
    )


def _not_converged(residual: float) -> EngineeringError:
    return EngineeringError(
        "operating_point_not_converged",
        f"current and temperature did not settle in {GREATEST_ITERATIONS} steps; "
        "the load is at the limit of what the circuit delivers: lower it",
        iterations=GREATEST_ITERATIONS,
        residual=residual,
    )
