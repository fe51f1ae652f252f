"""Current and conductor temperatures of a route that feeds one load.

Temperature and operating point depend on each other: a warmer conductor has more resistance, and a
constant-power load then takes more current. The temperature of each segment is a known curve of the
current, so one unknown is left for each candidate, and all candidates are solved at once.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.heat import InsulatedConductor
from loomwright.engineering.network import constant_power_current_a
from loomwright.engineering.temperature_curve import rise_on_curve_k

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# On Newton's step: the one after it would be of the order of its square, and the resistance is
# moved along by this last step before it is used.
RELATIVE_TOLERANCE = 1e-5
GREATEST_ITERATIONS = 60
REFERENCE_TEMPERATURE_K = 293.15


@dataclass(frozen=True, slots=True)
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
    conductor
        Arrays over candidates.
    weighted_length_m
        Segment length times ways over parallel runs [m]; resistance per metre times this, summed
        over segments, is the resistance of the conductors in the loop.
    ambient_temperature_k
        Of each segment [K].
    share_per_ampere
        Share of the cap current that one ampere of load current is to one run [1/A].
    temperature_curve
        Rise above ambient on that share, see ``temperature_curve`` [K].
    """

    supply_voltage_v: float
    load_current_a: float | None
    load_power_w: float | None
    fixed_resistance_ohm: float
    conductor: InsulatedConductor
    weighted_length_m: Array
    ambient_temperature_k: Array
    share_per_ampere: Array
    temperature_curve: Array


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


def _with_current(route: LoadedRoute) -> LoadedRouteState:
    assert route.load_current_a is not None
    share = route.load_current_a * route.share_per_ampere
    rise, _ = rise_on_curve_k(route.temperature_curve, share)
    temperature = route.ambient_temperature_k + rise
    resistance = _resistance_ohm(route, temperature)
    drop = route.load_current_a * (resistance + route.fixed_resistance_ohm)
    return LoadedRouteState(
        load_current_a=np.full(resistance.shape, route.load_current_a),
        resistance_ohm=resistance,
        conductor_temperature_k=temperature,
        exists=drop < route.supply_voltage_v,
        capped=np.asarray((share > 1.0).any(axis=0)),
        iterations=0,
        residual=0.0,
    )


def _with_power(route: LoadedRoute, power_w: float) -> LoadedRouteState:
    """Solve ``F = I (E - I R(I)) - P = 0`` by Newton's method from the cold circuit.

    ``F`` is concave in the current and the cold circuit's current is below the root, so the
    iteration climbs to the stable root and never passes it; where the slope is gone before the root
    is reached, no operating point exists.
    """
    emf, fixed, conductor = route.supply_voltage_v, route.fixed_resistance_ohm, route.conductor
    per_kelvin = (
        conductor.resistance_20c_ohm_per_m
        * conductor.temperature_coefficient_20c_per_k
        * route.weighted_length_m
    )
    cold = _resistance_ohm(route, route.ambient_temperature_k)
    limit, active = constant_power_current_a(power_w, emf, cold + fixed)
    current, exists = np.asarray(limit), np.asarray(active)
    iteration, residual = 0, np.inf
    while residual >= RELATIVE_TOLERANCE:
        if iteration == GREATEST_ITERATIONS:
            raise _not_converged(residual)
        iteration += 1
        share = current * route.share_per_ampere
        rise, slope = rise_on_curve_k(route.temperature_curve, share)
        temperature = route.ambient_temperature_k + rise
        resistance = _resistance_ohm(route, temperature)
        resistance_slope = (per_kelvin * slope * route.share_per_ampere).sum(axis=0)
        loop = resistance + fixed
        value = current * (emf - current * loop) - power_w
        value_slope = emf - current * (2.0 * loop + current * resistance_slope)
        exists = exists & (value_slope > 1e-6 * emf)
        step = np.where(exists, value / np.where(exists, value_slope, 1.0), 0.0)
        current = current - step
        residual = float(np.abs(step / current).max())
    resistance = np.where(exists, resistance - resistance_slope * step, cold)
    # The closed form at the solved resistance makes the power balance exact.
    settled, solvable = constant_power_current_a(power_w, emf, resistance + fixed)
    collapsed = emf / (2.0 * (cold + fixed))
    return LoadedRouteState(
        load_current_a=np.where(exists, settled, collapsed),
        resistance_ohm=resistance,
        conductor_temperature_k=temperature - slope * route.share_per_ampere * step,
        exists=exists & np.asarray(solvable),
        capped=np.asarray(exists & (share > 1.0).any(axis=0)),
        iterations=iteration,
        residual=residual,
    )


def _resistance_ohm(route: LoadedRoute, temperature_k: Array) -> Array:
    conductor = route.conductor
    per_metre = conductor.resistance_20c_ohm_per_m * (
        1.0
        + conductor.temperature_coefficient_20c_per_k * (temperature_k - REFERENCE_TEMPERATURE_K)
    )
    return np.asarray((per_metre * route.weighted_length_m).sum(axis=0))


def _not_converged(residual: float) -> EngineeringError:
    return EngineeringError(
        "operating_point_not_converged",
        f"current and temperature did not settle in {GREATEST_ITERATIONS} steps; "
        "the load is at the limit of what the circuit delivers: lower it",
        iterations=GREATEST_ITERATIONS,
        residual=residual,
    )
