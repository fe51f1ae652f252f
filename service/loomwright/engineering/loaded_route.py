"""Current and conductor temperatures of a route that feeds one load.

The heat balance of every segment and the operating point of the circuit depend on each other: a
warmer conductor has more resistance, and a constant-power load then takes more current. Both are
solved by one Newton iteration over all candidates at once. Its matrix is an arrow (each segment
couples to the current only), so the current's step is found by elimination.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.heat import HeatBalance, InsulatedConductor, heat_balance
from loomwright.engineering.network import constant_power_operating_point
from loomwright.tables.records import Air

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

RELATIVE_TOLERANCE = 1e-10
GREATEST_ITERATIONS = 60


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
    heating_share
        Part of the load current that one run feels as a steady current in free air [1].
    cap_current_a
        Current of one run at the 250 C cap of the model [A].
    start_rise_k, start_current_a
        Surface rise and current of one run at the insulation rating, from which the iteration
        starts [K], [A].
    """

    supply_voltage_v: float
    load_current_a: float | None
    load_power_w: float | None
    fixed_resistance_ohm: float
    conductor: InsulatedConductor
    weighted_length_m: Array
    ambient_temperature_k: Array
    heating_share: Array
    cap_current_a: Array
    start_rise_k: Array
    start_current_a: Array


@dataclass(slots=True)
class LoadedRouteState:
    """Solved state, arrays over candidates (temperatures also over segments).

    ``exists`` is false where the load asks for more than the circuit can deliver; current and
    resistance are then those of the limit point of the cold circuit. ``capped`` is true where a
    segment would pass 250 C; its resistance is then that at 250 C.
    """

    load_current_a: Array
    resistance_ohm: Array
    conductor_temperature_k: Array
    exists: Mask
    capped: Mask
    iterations: int
    residual: float


def solved_route(route: LoadedRoute, air: Air) -> LoadedRouteState:
    """Return current, resistance and conductor temperatures of a loaded route.

    Steady direct current; linear source; still air.

    Parameters
    ----------
    route
        Route and load.
    air
        Table of air properties.

    Returns
    -------
    LoadedRouteState
        With iterations and the last relative step.

    Raises
    ------
    EngineeringError
        ``heat_balance_not_converged`` with iterations and residual.
    """
    cold = _conductor_resistance_ohm(route, route.ambient_temperature_k)
    current, exists = _load_current_a(route, cold)
    state = _iterated(route, air, current, exists)
    if state.capped.any():
        # How far a capped candidate lies beyond 250 C is not modelled; the limit itself is.
        hot = _conductor_resistance_ohm(route, np.full_like(state.conductor_temperature_k, 523.15))
        hot_current, hot_exists = _load_current_a(route, hot)
        state.resistance_ohm = np.where(state.capped, hot, state.resistance_ohm)
        state.load_current_a = np.where(state.capped, hot_current, state.load_current_a)
        state.exists = np.where(state.capped, hot_exists, state.exists)
    if route.load_current_a is not None:
        _, state.exists = _load_current_a(route, state.resistance_ohm)
    elif not state.exists.all():
        limit = route.supply_voltage_v / (2.0 * (cold + route.fixed_resistance_ohm))
        state.resistance_ohm = np.where(state.exists, state.resistance_ohm, cold)
        state.load_current_a = np.where(state.exists, state.load_current_a, limit)
    return state


def _iterated(route: LoadedRoute, air: Air, current: Array, exists: Mask) -> LoadedRouteState:
    """Run the Newton iteration; candidates that cap or collapse are frozen where they stand."""
    heating = np.minimum(current * route.heating_share, route.cap_current_a)
    rise = np.maximum(route.start_rise_k * (heating / route.start_current_a) ** 1.75, 1e-9)
    active = exists if route.load_current_a is None else np.ones_like(exists)
    capped = np.zeros_like(exists)
    for iteration in range(1, GREATEST_ITERATIONS + 1):
        wanted = current * route.heating_share
        over = (wanted >= route.cap_current_a).any(axis=0)
        capped, active = capped | (over & active), active & ~over
        balance = heat_balance(
            rise,
            np.minimum(wanted, route.cap_current_a),
            route.ambient_temperature_k,
            route.conductor,
            air,
        )
        step_a: Array | float = 0.0
        if route.load_power_w is not None:
            step_a, collapsed = _current_step_a(route, balance, current)
            active = active & ~collapsed
            exists = exists & (active | capped)
            step_a = np.where(active, step_a, 0.0)
        relative_step = step_a / current
        rise_step = (
            2.0 * balance.gained_w_per_m * relative_step - balance.imbalance_w_per_m
        ) / balance.imbalance_slope_w_per_mk
        after = np.maximum(rise + rise_step, 0.05 * rise)
        change = np.maximum(np.abs(after / rise - 1.0), np.abs(relative_step))
        residual = float((change * active).max())
        rise = after
        if residual < RELATIVE_TOLERANCE:
            return LoadedRouteState(
                load_current_a=current,
                resistance_ohm=(balance.resistance_ohm_per_m * route.weighted_length_m).sum(axis=0),
                conductor_temperature_k=balance.conductor_temperature_k,
                exists=exists,
                capped=capped,
                iterations=iteration,
                residual=residual,
            )
        current = current + step_a
    raise EngineeringError(
        "heat_balance_not_converged",
        f"temperature and current did not settle in {GREATEST_ITERATIONS} steps; "
        "lower the load or widen the choice of sizes",
        iterations=GREATEST_ITERATIONS,
        residual=residual,
    )


def _current_step_a(route: LoadedRoute, balance: HeatBalance, current: Array) -> tuple[Array, Mask]:
    """Return the Newton step of the current and where the circuit has collapsed.

    Notes
    -----
    ``F = I E - I**2 R - P`` with ``R`` a sum over segments, and ``H = lost - gained`` in each.
    Eliminating the segments' steps leaves
    ``dI (F_I - sum F_x H_I / H_x) = sum F_x H / H_x - F``. Along the solution ``F`` is concave in
    the current, so the iteration climbs to the stable root from below; where the slope is gone
    before the root is reached, no operating point exists.
    """
    assert route.load_power_w is not None
    conductor = route.conductor
    resistance = (balance.resistance_ohm_per_m * route.weighted_length_m).sum(
        axis=0
    ) + route.fixed_resistance_ohm
    f = current * (route.supply_voltage_v - current * resistance) - route.load_power_w
    f_current = route.supply_voltage_v - 2.0 * current * resistance
    per_kelvin = conductor.resistance_20c_ohm_per_m * conductor.temperature_coefficient_20c_per_k
    f_rise_over_slope = (
        -(current * current)
        * per_kelvin
        * route.weighted_length_m
        * balance.temperature_slope
        / balance.imbalance_slope_w_per_mk
    )
    slope = f_current + (f_rise_over_slope * 2.0 * balance.gained_w_per_m).sum(axis=0) / current
    collapsed = slope <= 1e-6 * route.supply_voltage_v
    numerator = (f_rise_over_slope * balance.imbalance_w_per_m).sum(axis=0) - f
    return numerator / np.where(collapsed, 1.0, slope), collapsed


def _conductor_resistance_ohm(route: LoadedRoute, temperature_k: Array) -> Array:
    conductor = route.conductor
    per_metre = conductor.resistance_20c_ohm_per_m * (
        1.0 + conductor.temperature_coefficient_20c_per_k * (temperature_k - 293.15)
    )
    return np.asarray((per_metre * route.weighted_length_m).sum(axis=0))


def _load_current_a(route: LoadedRoute, conductor_resistance_ohm: Array) -> tuple[Array, Mask]:
    resistance = conductor_resistance_ohm + route.fixed_resistance_ohm
    if route.load_power_w is None:
        assert route.load_current_a is not None
        current = np.full(resistance.shape, route.load_current_a)
        return current, np.asarray(route.supply_voltage_v > current * resistance)
    point = constant_power_operating_point(route.load_power_w, route.supply_voltage_v, resistance)
    return np.asarray(point.load_current_a), np.asarray(point.exists)
