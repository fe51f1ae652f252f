"""Current and conductor temperatures of a route that feeds one load.

Temperature and operating point depend on each other: a warmer conductor has more resistance, and a
constant-power load then takes more current. The temperature of each segment is a known curve of the
current, so one unknown is left for each candidate.
"""

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled, compiled_in_place
from loomwright.engineering.conductors.temperature_curve import place_on_curve, rise_and_slope_k
from loomwright.engineering.network.operating_point import power_current_a

Array = npt.NDArray[np.float64]

# On Newton's step: the one after it would be of the order of its square, 1e-7, and the resistance
# is moved along by this last step before it is used.
RELATIVE_TOLERANCE = 3e-4
GREATEST_ITERATIONS = 60
# Of Newton's slope over the EMF: below it the current is at the collapse.
LEAST_SLOPE = 1e-6

# Rows of the state of the candidates.
CURRENT, LOAD_VOLTAGE, DROP, LOSS, LOOP_RESISTANCE, TEMPERATURE = range(6)
GREATEST_LENGTH, AMPACITY_MARGIN = 6, 7
STATE_ROWS = 8


class Route(NamedTuple):
    """A route with the conductors that could be laid along it, as compiled formulas take it.

    Parameters
    ----------
    length_m
        Of each segment, one way [m].
    ambient_temperature_k
        Of each segment [K].
    ambient_resistance_ohm_per_m
        Of all runs together, and of their return, at the segment's ambient [ohm/m], segments by
        candidates.
    resistance_slope_ohm_per_mk
        Of that resistance by temperature [ohm/(m K)], of each candidate.
    share_per_ampere
        Share of the cap current that one ampere of load current is to one run [1/A], segments by
        candidates.
    curves
        Rise above ambient on that share [K], segments by candidates by ``curve_table``.
    """

    length_m: Array
    ambient_temperature_k: Array
    ambient_resistance_ohm_per_m: Array
    resistance_slope_ohm_per_mk: Array
    share_per_ampere: Array
    curves: Array


@compiled_in_place
def heated_resistance_ohm(
    current_a: float, candidate: int, route: Route
) -> tuple[float, float, float, float, bool]:
    """Return the resistance of a candidate's conductors when a current has heated them.

    Parameters
    ----------
    current_a
        Load current [A], 0 or more.
    candidate
        Which one; a column of the route's arrays.
    route
        The route.

    Returns
    -------
    tuple
        Resistance [ohm], its slope by the current [ohm/A], temperature of the hottest segment [K],
        the slope of that by the current [K/A], and whether a segment passes the cap of the model;
        there the resistance is that at the cap.
    """
    resistance, slope = 0.0, 0.0
    hottest, hottest_slope = 0.0, 0.0
    capped = False
    for segment in range(route.length_m.size):
        per_ampere = route.share_per_ampere[segment, candidate]
        share = current_a * per_ampere
        interval, inside = place_on_curve(share)
        rise, rise_slope = rise_and_slope_k(
            route.curves[segment, candidate, interval, 0],
            route.curves[segment, candidate, interval, 1],
            route.curves[segment, candidate, interval, 2],
            route.curves[segment, candidate, interval, 3],
            inside,
        )
        per_kelvin = route.length_m[segment] * route.resistance_slope_ohm_per_mk[candidate]
        cold = route.length_m[segment] * route.ambient_resistance_ohm_per_m[segment, candidate]
        resistance += cold + per_kelvin * rise
        slope += per_kelvin * rise_slope * per_ampere
        temperature = route.ambient_temperature_k[segment] + rise
        if temperature > hottest:
            hottest, hottest_slope = temperature, rise_slope * per_ampere
        capped = capped or share > 1.0
    return resistance, slope, hottest, hottest_slope, capped


@compiled_in_place
def cold_resistance_ohm(candidate: int, route: Route) -> float:
    """Return the resistance of a candidate's conductors with each segment at its ambient.

    Parameters
    ----------
    candidate
        Which one; a column of the route's arrays.
    route
        The route.

    Returns
    -------
    float
        Resistance [ohm].
    """
    resistance = 0.0
    for segment in range(route.length_m.size):
        resistance += (
            route.length_m[segment] * route.ambient_resistance_ohm_per_m[segment, candidate]
        )
    return resistance


@compiled_in_place
def _operating_point(
    load_current_a: float,
    load_power_w: float,
    emf_v: float,
    fixed_resistance_ohm: float,
    candidate: int,
    route: Route,
) -> tuple[float, float, float, bool, int, float]:
    """Return current, conductors' resistance, temperature, existence, iterations and residual.

    A constant-power load: ``F = I (E - I R(I)) - P = 0`` by Newton's method from the cold circuit.
    ``F`` is concave in the current and the cold circuit's current is below the root, so the
    iteration climbs to the stable root and never passes it; where the slope is gone before the root
    is reached, no operating point exists. Only at the cap of a segment, where its resistance stops
    to rise, a step may pass the root, and the one back may lead anywhere: from there on the root is
    kept between the nearest currents below and above it.
    """
    if math.isnan(load_power_w):
        resistance, _, hottest, _, capped = heated_resistance_ohm(load_current_a, candidate, route)
        # The source still has a voltage left for the load.
        exists = resistance < emf_v / load_current_a - fixed_resistance_ohm
        temperature = hottest if exists and not capped else math.nan
        return load_current_a, resistance, temperature, exists, 0, 0.0
    cold = cold_resistance_ohm(candidate, route)
    current, exists = power_current_a(load_power_w, emf_v, cold + fixed_resistance_ohm)
    if not exists:
        return current, cold, math.nan, False, 0, 0.0
    below, above = current, math.inf
    for iteration in range(1, GREATEST_ITERATIONS + 1):
        resistance, slope, hottest, hottest_slope, capped = heated_resistance_ohm(
            current, candidate, route
        )
        drop = current * (resistance + fixed_resistance_ohm)
        load_voltage = emf_v - drop
        value_slope = load_voltage - drop - current * current * slope
        if value_slope <= LEAST_SLOPE * emf_v:
            collapse = emf_v / (2.0 * (cold + fixed_resistance_ohm))
            return collapse, cold, math.nan, False, iteration, 0.0
        balance = current * load_voltage - load_power_w
        step = balance / value_slope
        following = current - step
        residual = abs(step / following)
        if residual < RELATIVE_TOLERANCE:
            resistance -= slope * step
            # The closed form at the solved resistance makes the power balance exact.
            settled, exists = power_current_a(
                load_power_w, emf_v, resistance + fixed_resistance_ohm
            )
            temperature = hottest - hottest_slope * step if exists and not capped else math.nan
            return settled, resistance, temperature, exists, iteration, residual
        if balance > 0.0:
            above = current
        else:
            below = current
        current = following if below < following < above else 0.5 * (below + above)
    return current, resistance, math.nan, False, GREATEST_ITERATIONS + 1, residual


@compiled_in_place
def solved_candidate(
    load_current_a: float,
    load_power_w: float,
    emf_v: float,
    source_resistance_ohm: float,
    fixed_wiring_resistance_ohm: float,
    candidate: int,
    route: Route,
) -> tuple[float, float, float, float, float, bool, int, float]:
    """Return current, drop and temperature of one candidate of a route.

    Parameters
    ----------
    load_current_a
        Of the load [A]; NaN where its power is given.
    load_power_w
        Of a constant-power load [W]; NaN where its current is given.
    emf_v
        Open-circuit voltage of the source [V].
    source_resistance_ohm
        Of the source [ohm].
    fixed_wiring_resistance_ohm
        Chassis, joints and fuse together [ohm].
    candidate
        Which one; a column of the route's arrays.
    route
        The route.

    Returns
    -------
    tuple
        Current [A], drop of the wiring [V], temperature of the hottest segment [K], resistance of
        the conductors [ohm] and of the whole wiring [ohm], whether an operating point exists,
        iterations and the last relative step, as ``solved_candidates`` has them.
    """
    current, resistance, temperature, exists, steps, step = _operating_point(
        load_current_a,
        load_power_w,
        emf_v,
        source_resistance_ohm + fixed_wiring_resistance_ohm,
        candidate,
        route,
    )
    loop = resistance + fixed_wiring_resistance_ohm
    return current, current * loop, temperature, resistance, loop, exists, steps, step


@compiled
def solved_candidates(
    load_current_a: float,
    load_power_w: float,
    emf_v: float,
    source_resistance_ohm: float,
    fixed_wiring_resistance_ohm: float,
    limit_current_a: float,
    limit_resistance_ohm: float,
    route: Route,
    ampacity_a: Array,
) -> tuple[Array, npt.NDArray[np.bool_], int, float]:
    """Return current, drop, temperature and greatest length of each candidate of a route.

    Steady direct current; linear source; still air.

    Parameters
    ----------
    load_current_a
        Of the load [A]; NaN where its power is given.
    load_power_w
        Of a constant-power load [W]; NaN where its current is given.
    emf_v
        Open-circuit voltage of the source [V].
    source_resistance_ohm
        Of the source [ohm].
    fixed_wiring_resistance_ohm
        Chassis, joints and fuse together [ohm].
    limit_current_a
        Current at the greatest length [A].
    limit_resistance_ohm
        Resistance of the whole wiring at the greatest length [ohm].
    route
        The route.
    ampacity_a
        Of each candidate [A].

    Returns
    -------
    tuple
        State with the rows ``CURRENT`` to ``AMPACITY_MARGIN``, candidates as columns; where an
        operating point exists; iterations, above ``GREATEST_ITERATIONS`` where one has not settled;
        and the last relative step of the current. Where the load asks for more than the circuit
        can deliver, current and resistance are those of the limit point of the cold circuit.
        The temperature is that of the hottest segment, and NaN above the cap of the model, 250 C,
        and where no operating point exists.
    """
    count = route.share_per_ampere.shape[1]
    route_length = route.length_m.sum()
    state = np.empty((STATE_ROWS, count))
    exists = np.empty(count, np.bool_)
    iterations, residual = 0, 0.0
    budget = max(limit_resistance_ohm - fixed_wiring_resistance_ohm, 0.0)
    for candidate in range(count):
        current, drop, temperature, resistance, loop, holds, steps, step = solved_candidate(
            load_current_a,
            load_power_w,
            emf_v,
            source_resistance_ohm,
            fixed_wiring_resistance_ohm,
            candidate,
            route,
        )
        at_limit = resistance
        if not math.isnan(load_power_w):
            at_limit = heated_resistance_ohm(limit_current_a, candidate, route)[0]
        state[CURRENT, candidate] = current
        state[LOAD_VOLTAGE, candidate] = emf_v - drop - current * source_resistance_ohm
        state[DROP, candidate] = drop
        state[LOSS, candidate] = drop * current
        state[LOOP_RESISTANCE, candidate] = loop
        state[TEMPERATURE, candidate] = temperature
        state[GREATEST_LENGTH, candidate] = budget * route_length / at_limit
        state[AMPACITY_MARGIN, candidate] = ampacity_a[candidate] - current
        exists[candidate] = holds
        iterations, residual = max(iterations, steps), max(residual, step)
    return state, exists, iterations, residual
