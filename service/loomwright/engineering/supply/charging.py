"""What the charging source leaves over, on average and at peaks."""

from loomwright.engineering.record import record
from loomwright.engineering.supply.alternator import alternator_output_a
from loomwright.engineering.supply.converter import CONVERTER_LIMIT, converter_output_a
from loomwright.engineering.supply.request import IDLE, SupplyRequest, VehicleSupply

# What draws less than this has peaks so far apart that there is no cycle to speak of.
LEAST_AVERAGE_A = 1e-9


@record
class Charging:
    """Charging in one state of the vehicle.

    Parameters
    ----------
    state
        Of the vehicle.
    output_a
        Greatest output of the charging source [A].
    bound
        What ends it: where it lies on the output curve, or ``converter_limit``.
    existing_a
        What the vehicle takes itself [A].
    average_a
        What the new loads take on average [A].
    peak_a
        What they take at most, all at once [A]; loads of constant power at the nominal voltage.
    headroom_a
        Output less existing and average [A]; below 0 the battery empties.
    peak_excess_a
        What the battery adds at the peaks [A].
    excess_charge_as
        What it gives during one peak [A s].
    recovery_charge_as
        What the source can give back until the next [A s].
    """

    state: str
    output_a: float
    bound: str
    existing_a: float
    average_a: float
    peak_a: float
    headroom_a: float
    peak_excess_a: float
    excess_charge_as: float
    recovery_charge_as: float


def charging_output_a(supply: VehicleSupply, state: str) -> tuple[float, str] | None:
    """Return the greatest output of the charging source in a running state.

    Parameters
    ----------
    supply
        Of the vehicle.
    state
        ``idle`` or ``driving``.

    Returns
    -------
    tuple or None
        Output [A] and what ends it; none where nothing charges.
    """
    if supply.alternator is not None:
        alternator = supply.alternator
        is_idle = state == IDLE
        speed = alternator.idle_speed_per_s if is_idle else alternator.cruise_speed_per_s
        return alternator_output_a(alternator, speed)
    if supply.converter is not None:
        return converter_output_a(supply.converter), CONVERTER_LIMIT
    return None


def charging(request: SupplyRequest, state: str) -> Charging | None:
    """Return what the charging source leaves over in a running state.

    The source covers the average; what peaks ask beyond its output comes from the battery, which
    gets it back in between. Peaks of all loads fall together and are rectangular.

    Parameters
    ----------
    request
        Supply and loads.
    state
        ``idle`` or ``driving``.

    Returns
    -------
    Charging or None
        None where nothing charges.

    Notes
    -----
    With a peak of ``t`` a cycle lasts ``T = t I_peak / I_average``, so that the average holds;
    the battery gives ``(I_existing + I_peak - I_output) t`` and can get back
    ``(I_output - I_existing) (T - t)``. Their difference is the headroom times ``T``.
    """
    supply = request.supply
    found = charging_output_a(supply, state)
    if found is None:
        return None
    output_a, bound = found
    loads = request.in_state(state)
    existing_a = supply.existing.in_state(state)
    average_a = sum(load.average_current_a for load in loads)
    peak_a = sum(load.peak_current_a(supply.system_voltage_v) for load in loads)
    excess_a = max(0.0, existing_a + peak_a - output_a)
    peak_s = max((load.peak_time_s for load in loads), default=0.0)
    has_cycle = average_a > LEAST_AVERAGE_A
    rest_s = peak_s * (peak_a / average_a - 1.0) if has_cycle else 0.0
    return Charging(
        state=state,
        output_a=output_a,
        bound=bound,
        existing_a=existing_a,
        average_a=average_a,
        peak_a=peak_a,
        headroom_a=output_a - existing_a - average_a,
        peak_excess_a=excess_a,
        excess_charge_as=excess_a * peak_s,
        recovery_charge_as=max(0.0, output_a - existing_a) * rest_s,
    )
