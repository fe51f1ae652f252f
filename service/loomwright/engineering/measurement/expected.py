"""What a meter is expected to show on an installation that is built right."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    DROPS,
    REST,
    SOURCE_VOLTAGE,
    MeasuredNetwork,
    Quantity,
    Variants,
    has_operating_point,
)
from loomwright.engineering.measurement.meter import Meter
from loomwright.engineering.measurement.uncertainty import (
    SEED,
    stratified_scores,
)
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]

COVERAGE = 0.95
FROM_PLAN, FROM_READINGS = "plan", "readings"
# The common error of a meter and the error of its digits have columns of their own.
_METER_SEED = SEED + 1
_COLUMNS = 64
# Meter range by what is measured: a voltage of the system and a drop are not taken in one range.
RANGES = {**dict.fromkeys(DROPS, "drop"), CURRENT: "current"}


@record
class Reading:
    """What a meter showed.

    Parameters
    ----------
    value
        In [V] or [A].
    meter
        The meter in the range that was used.
    """

    value: float
    meter: Meter


@record
class Expectation:
    """What a meter is expected to show.

    Parameters
    ----------
    quantity
        Of which.
    expected, low, high
        Mean, and limits of the 95 % coverage interval with the meter's own accuracy [V] or [A].
    standard_uncertainty
        Standard deviation [V] or [A].
    rests_on
        ``FROM_PLAN``, or ``FROM_READINGS`` where measured currents and the measured voltage at rest
        stand in for those of the plan.
    """

    quantity: Quantity
    expected: float
    low: float
    high: float
    standard_uncertainty: float
    rests_on: str


def meter_range(quantity: Quantity) -> str:
    """Return the name of the meter range that a quantity is taken in."""
    return RANGES.get(quantity.what, "voltage")


def expectations_of_draws(
    network: MeasuredNetwork,
    drawn: Variants,
    planned_draws: Array,
    meters: Mapping[Quantity, Meter],
    readings: Mapping[Quantity, Reading],
) -> dict[Quantity, Expectation]:
    """Return what a meter is expected to show of each quantity.

    The voltage of a source at rest and the currents are expected from the plan. All else is
    expected from the readings of those two, as far as there are any: a drop is judged at the
    current that flowed, and not at the one that was planned.

    Parameters
    ----------
    network
        As planned.
    drawn
        Its draws; their voltages become those measured at rest.
    planned_draws
        What a perfect meter shows of them, by the sorted quantities.
    meters
        Wanted quantities, and the meter that each is taken with.
    readings
        What has been read.

    Returns
    -------
    dict
        In the order of ``meters``.

    Raises
    ------
    EngineeringError
        ``no_operating_point`` where the plan has none in a state that is asked for.

    References
    ----------
    JCGM 101:2008, 7.6 and 7.7, from memory: mean, standard deviation and the probabilistically
    symmetric coverage interval of the draws.
    """
    # Draws go by place: in one order whatever that of the request.
    wanted = sorted(meters)
    shown = {key: planned_draws[:, column] for column, key in enumerate(wanted)}
    known = {key: reading for key, reading in sorted(readings.items()) if _is_basis(key)}
    judged = [key for key in wanted if not _is_basis(key)]
    if known and judged:
        held = _hold(network, drawn, known)
        measured = network.values_of(drawn, judged, held)
        shown |= {key: measured[:, column] for column, key in enumerate(judged)}
    return {
        key: _expectation(key, _with_meter(shown[key], key, meter), bool(known))
        for key, meter in meters.items()
    }


def _is_basis(quantity: Quantity) -> bool:
    return quantity.what == CURRENT or quantity[::2] == (SOURCE_VOLTAGE, REST)


def _errors(draws: int, quantity: Quantity, meter: Meter) -> tuple[Array, Array]:
    """Return the share of reading [1] and the counts in the unit of the reading that a meter errs.

    The share is drawn once for each range, so that it is the same for all readings taken in it.
    """
    even = stratified_scores(draws, _COLUMNS, _METER_SEED).even
    gains = ("voltage", "drop", "current")
    of_range = even[:, gains.index(meter_range(quantity))]
    own = len(gains) + _column(quantity)
    return meter.share * of_range, meter.digit_limit * even[:, own]


def _column(quantity: Quantity) -> int:
    """Return a column that depends on nothing but the quantity."""
    text = "/".join(quantity).encode()
    return sum((place + 1) * byte for place, byte in enumerate(text)) % (_COLUMNS - 3)


def _with_meter(shown: Array, quantity: Quantity, meter: Meter) -> Array:
    gain, digits = _errors(shown.size, quantity, meter)
    return shown * (1.0 + gain) + digits


def _hold(
    network: MeasuredNetwork, drawn: Variants, known: Mapping[Quantity, Reading]
) -> dict[tuple[str, str], Array]:
    """Put measured voltages at rest into the variants and return the measured currents."""
    held: dict[tuple[str, str], Array] = {}
    for quantity, reading in known.items():
        gain, digits = _errors(drawn.emf_v.shape[0], quantity, reading.meter)
        true = np.maximum((reading.value - digits) / (1.0 + gain), 0.0)
        if quantity.what == CURRENT:
            held[quantity.state, quantity.subject] = true
        else:
            drawn.emf_v[:, network.sources[quantity.subject]] = true
    return held


def no_operating_point(state: str) -> EngineeringError:
    """Return the error of a plan that has no operating point in a load state."""
    return EngineeringError(
        "no_operating_point",
        f"In the state {state} the loads ask for more than the sources deliver; switch on less at "
        "a time.",
        state=state,
    )


def _expectation(quantity: Quantity, shown: Array, is_measured: bool) -> Expectation:
    there = shown[has_operating_point(shown[:, None])]
    # A plan that collapses in most of its variants promises nothing.
    if 2 * there.size < shown.size:
        raise no_operating_point(quantity.state)
    tail = 50.0 * (1.0 - COVERAGE)
    low, high = np.percentile(there, (tail, 100.0 - tail))
    rests_on = FROM_READINGS if is_measured and not _is_basis(quantity) else FROM_PLAN
    return Expectation(
        quantity,
        float(there.mean()),
        float(low),
        float(high),
        float(there.std()),
        rests_on,
    )
