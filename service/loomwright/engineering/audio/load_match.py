"""All ways to wire given drivers to an amplifier, judged and put in order of use."""

from loomwright.engineering.audio.coil_power import NetworkPower, network_power
from loomwright.engineering.audio.driver_wiring import coil_wirings
from loomwright.engineering.audio.load_fault import CoilFault, coil_faults
from loomwright.engineering.audio.load_request import (
    Coil,
    Driver,
    LoadMatchRequest,
    check_load_match_request,
    coils_of,
    drivers_by_sort,
    least_load_of_request_ohm,
)
from loomwright.engineering.audio.series_parallel import Group, Network
from loomwright.engineering.audio.stated_output import (
    Basis,
    ChannelOutput,
    channel_outputs,
    channel_voltage_v,
    voltage_falls_with_load,
)
from loomwright.engineering.record import record
from loomwright.tables.records import Provenance

# Sums of shares and impedances that differ by less are equal.
SAME = 1e-9
_RANK = ("within_limits", "drivers_overloaded", "load_too_low")
CIRCUIT_LAWS = Provenance(
    "circuit_laws", "series and parallel resistances, power of each", "formula"
)
RATED_IMPEDANCE = Provenance(
    "iec_60268_5", "16.1, rated impedance; lowest modulus not below 80 % of it", "memory"
)
RATED_OUTPUT = Provenance("iec_60268_3", "rated load impedance and rated output power", "memory")
DC_PRACTICE = Provenance(
    "common_practice", "d.c. resistance of a cold voice coil, 0.7 to 0.9 of nominal", "practice"
)


@record
class Wiring:
    """One way: load [ohm], output [W], shares [1] and verdict.

    ``power_limit_w`` is the power of the load at which the first coil reaches its limit, none where
    no limit is stated. Output and basis are none where no output is stated.
    """

    network: Network
    power: NetworkPower
    output_w: float | None
    output_basis: Basis | None
    driver_shares: tuple[float, ...]
    equal_per_driver: bool
    equal_per_coil: bool
    power_limit_w: float | None
    overloaded: tuple[str, ...]
    verdict: str


@record
class JudgedLoad:
    """Drivers with their coils, and what the amplifier may drive and gives."""

    drivers: tuple[Driver, ...]
    coils: tuple[Coil, ...]
    impedances_ohm: tuple[float, ...]
    least_load_impedance_ohm: float
    outputs: tuple[ChannelOutput, ...]
    bridged: bool
    channels: int


@record
class LoadMatch:
    """All ways, the most useful first, with the verdict on them."""

    verdict: str
    load: JudgedLoad
    wirings: tuple[Wiring, ...]
    recommended: Wiring | None
    cautions: tuple[str, ...]
    provenances: tuple[Provenance, ...]


def load_match(request: LoadMatchRequest) -> LoadMatch:
    """Return all ways to wire drivers to an amplifier, in order of use, and the one to take.

    A way is within limits if its nominal impedance is not below the least that the amplifier may
    drive, and no coil takes more than its share of its driver's power limit at full output. Of
    those the one to take has equal power in each driver and in each coil of it, then the greatest
    output, or where none is stated the least impedance, then the fewest groups.

    Parameters
    ----------
    request
        Drivers and amplifier.

    Returns
    -------
    LoadMatch
        Every way once.

    Raises
    ------
    EngineeringError
        ``out_of_range``, ``too_many_coils`` or ``too_many_wirings``.
    """
    check_load_match_request(request)
    sorts, drivers = drivers_by_sort(request)
    networks = coil_wirings(sorts, request.coils_of_a_driver_together)
    coils = coils_of(drivers)
    load = JudgedLoad(
        drivers,
        coils,
        tuple(coil.impedance_ohm for coil in coils),
        least_load_of_request_ohm(request),
        channel_outputs(request.outputs),
        request.bridged,
        request.channels,
    )
    wirings = tuple(sorted((_wiring(network, load) for network in networks), key=_usefulness))
    best = wirings[0]
    recommended = best if best.verdict == "within_limits" else None
    verdict = {
        "within_limits": "wiring_found" if _is_equal_power(best) else "unequal_wiring_found",
        "drivers_overloaded": "drivers_overloaded",
        "load_too_low": "no_wiring_within_limits",
    }[best.verdict]
    return LoadMatch(
        verdict,
        load,
        wirings,
        recommended,
        _cautions(request, load, len(sorts), best),
        _provenances(request),
    )


def output_into(
    load_impedance_ohm: float, outputs: tuple[ChannelOutput, ...], *, bridged: bool
) -> tuple[float, Basis]:
    """Return the output into a load and how it is known.

    Parameters
    ----------
    load_impedance_ohm
        The whole load [ohm], above 0.
    outputs
        Of one channel, one or more.
    bridged
        Whether two channels drive it, each half of the impedance.

    Returns
    -------
    tuple of float and str
        Power [W] and basis.
    """
    channels = 2.0 if bridged else 1.0
    each = load_impedance_ohm / channels
    voltage, basis = channel_voltage_v(each, outputs)
    return channels * voltage * voltage / each, basis


def faults_of(wiring: Wiring, load: JudgedLoad) -> tuple[CoilFault, ...]:
    """Return what each coil of a way does to the rest when it is open or shorted."""
    return coil_faults(wiring.network, wiring.power, load.impedances_ohm)


def output_after(fault: CoilFault, load: JudgedLoad) -> tuple[float | None, tuple[str, ...]]:
    """Return the full output into what a fault leaves, and the drivers that it overloads.

    Parameters
    ----------
    fault
        One coil open or shorted.
    load
        Drivers and amplifier.

    Returns
    -------
    tuple of float or None, and names
        Power [W]; none where no output is stated or nothing plays.
    """
    if fault.left is None or not load.outputs:
        return None, ()
    after = network_power(fault.left, load.impedances_ohm)
    output, _ = output_into(after.impedance_ohm, load.outputs, bridged=load.bridged)
    return output, _overloaded(after.shares, output, load)


def is_load_permitted(load_impedance_ohm: float | None, load: JudgedLoad) -> bool:
    """Tell whether the amplifier may drive a load; none at all does no harm."""
    return load_impedance_ohm is None or not _is_too_low(
        load_impedance_ohm, load.least_load_impedance_ohm
    )


def dc_resistances_ohm(network: Network, load: JudgedLoad) -> tuple[float, float]:
    """Return the least and greatest d.c. resistance that an ohm-meter shows, coils cold.

    A network's resistance rises with that of each part, so that its bounds are met where all coils
    are at theirs.

    Parameters
    ----------
    network
        Of places of coils.
    load
        Holds the coils.

    Returns
    -------
    tuple of float
        Low and high [ohm].
    """
    low = network_power(network, tuple(coil.dc_resistance_low_ohm for coil in load.coils))
    high = network_power(network, tuple(coil.dc_resistance_high_ohm for coil in load.coils))
    return low.impedance_ohm, high.impedance_ohm


def _wiring(network: Network, load: JudgedLoad) -> Wiring:
    power = network_power(network, load.impedances_ohm)
    shares = power.shares
    output = basis = None
    if load.outputs:
        output, basis = output_into(power.impedance_ohm, load.outputs, bridged=load.bridged)
    limits = [
        coil.power_limit_w / shares[place]
        for place, coil in enumerate(load.coils)
        if coil.power_limit_w is not None
    ]
    overloaded = () if output is None else _overloaded(shares, output, load)
    if _is_too_low(power.impedance_ohm, load.least_load_impedance_ohm):
        verdict = "load_too_low"
    else:
        verdict = "drivers_overloaded" if overloaded else "within_limits"
    driver_shares = tuple(sum(shares[place] for place in one.coils) for one in load.drivers)
    return Wiring(
        network,
        power,
        output,
        basis,
        driver_shares,
        _are_equal(driver_shares),
        all(_are_equal([shares[place] for place in one.coils]) for one in load.drivers),
        min(limits, default=None),
        overloaded,
        verdict,
    )


def _overloaded(shares: dict[int, float], output_w: float, load: JudgedLoad) -> tuple[str, ...]:
    """Return the names of the drivers of which a coil is above its limit."""
    return tuple(
        driver.name
        for driver in load.drivers
        if any(
            _is_above(shares[place] * output_w, load.coils[place].power_limit_w)
            for place in driver.coils
            if place in shares
        )
    )


def _is_above(power_w: float, limit_w: float | None) -> bool:
    return limit_w is not None and power_w > limit_w * (1.0 + SAME)


def _is_too_low(load_impedance_ohm: float, least_ohm: float) -> bool:
    return load_impedance_ohm < least_ohm * (1.0 - SAME)


def _are_equal(values: tuple[float, ...] | list[float]) -> bool:
    return max(values) - min(values) <= SAME * max(values)


def _is_equal_power(wiring: Wiring) -> bool:
    return wiring.equal_per_driver and wiring.equal_per_coil


def _usefulness(wiring: Wiring) -> tuple[object, ...]:
    """Return what ways are ordered by, the most useful first."""
    impedance = wiring.power.impedance_ohm
    if wiring.verdict == "load_too_low":
        # The nearer to the limit the better.
        gain = impedance
    elif wiring.output_w is None:
        gain = -impedance
    else:
        gain = min(wiring.output_w, wiring.power_limit_w or wiring.output_w)
    return (
        _RANK.index(wiring.verdict),
        not _is_equal_power(wiring),
        not wiring.equal_per_driver,
        # Digits that rounding has spoilt order nothing.
        -float(f"{gain:.9g}"),
        _groups_of(wiring.network),
    )


def _groups_of(network: Network) -> int:
    return 1 + sum(map(_groups_of, network.parts)) if isinstance(network, Group) else 0


def _cautions(
    request: LoadMatchRequest, load: JudgedLoad, sorts: int, best: Wiring
) -> tuple[str, ...]:
    keys = ["defer_to_maker", "nominal_impedance"]
    if sorts > 1:
        keys.append("unlike_drivers")
    if not _is_equal_power(best):
        keys.append("unequal_power")
    if request.bridged:
        keys.append("bridged_outputs")
    if best.output_basis == "voltage_held_below":
        keys.append("output_below_stated_load")
    if voltage_falls_with_load(load.outputs):
        keys.append("stated_outputs_disagree")
    if best.overloaded:
        keys.append("driver_overload")
    return tuple(keys)


def _provenances(request: LoadMatchRequest) -> tuple[Provenance, ...]:
    return (
        CIRCUIT_LAWS,
        RATED_IMPEDANCE,
        DC_PRACTICE,
        *((RATED_OUTPUT,) if request.outputs else ()),
    )
