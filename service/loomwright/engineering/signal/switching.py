"""Remote turn-on: the currents against what the circuit gives, and the relay that takes over."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from loomwright.engineering.signal.coil import (
    coil_current_a,
    coil_energy_j,
    release_time_s,
    unsuppressed_peak_v,
)
from loomwright.engineering.signal.path import (
    DIODE,
    NO_SUPPRESSION,
    Figures,
    Relay,
    Remark,
    SignalInput,
    TurnOn,
)
from loomwright.tables.fuse_records import FuseFactor, SystemVoltage

DIRECT_ENOUGH, RELAY_NEEDED, RELAY_TOO_HEAVY = "direct", "relay_needed", "relay_too_heavy"
NONE_NEEDED, NOT_JUDGED = "none_needed", "not_judged"
TURN_ON_VERDICTS = (DIRECT_ENOUGH, RELAY_NEEDED, RELAY_TOO_HEAVY, NONE_NEEDED, NOT_JUDGED)
_AT = "turn_on"


@dataclass(frozen=True, slots=True)
class CoilPlan:
    """The coil of a relay: its current, and what becomes of its energy.

    Times and energy are ``None`` where the inductance is not stated. ``suppressed_peak_v`` is
    across the coil with the suppression stated, ``contact_peak_v`` across the contact that opens.
    ``forward_offset_a`` is the current that the voltage of a diode would drive through the loop.
    """

    supply_voltage_v: float
    coil_current_a: float
    release_current_a: float
    forward_offset_a: float
    stray_capacitance_f: float | None
    coil_energy_j: float | None
    unsuppressed_peak_v: float | None
    suppressed_peak_v: float | None
    contact_peak_v: float | None
    time_constant_s: float | None
    release_time_s: float | None
    diode_forward_current_a: float
    diode_reverse_voltage_v: float
    resistor_heat_w: float | None


@dataclass(frozen=True, slots=True)
class TurnOnPlan:
    """The turn-on judged.

    ``available_current_a`` is what the circuit has left for it. ``drawn_current_a`` is what is
    drawn from it as planned: the sum without a relay, the coil with one. Fuse bounds are those of
    the contact's own feed.
    """

    verdict: str
    equipment_current_a: float
    available_current_a: float | None
    drawn_current_a: float | None
    margin_current_a: float | None
    least_coil_resistance_ohm: float | None
    coil: CoilPlan | None
    contact_fuse_lower_a: float | None
    contact_fuse_upper_a: float | None
    by_signal: tuple[str, ...]
    changes: tuple[Remark, ...]
    needed: tuple[Remark, ...]


def planned_turn_on(
    turn_on: TurnOn | None,
    inputs: Sequence[SignalInput],
    by_signal: Sequence[str],
    system: SystemVoltage,
    loading_factor: FuseFactor,
    figures: Figures,
) -> TurnOnPlan:
    """Return whether the circuit can switch the equipment on by itself, or through which relay.

    Parameters
    ----------
    turn_on
        The circuit; ``None`` where none is stated.
    inputs
        Inputs with the currents that they take for turn-on.
    by_signal
        Keys of the inputs that a signal at speaker level switches on; they need no current.
    system
        Nominal and greatest voltage; the coil takes most at the latter.
    loading_factor
        Greatest continuous load over the rated current of a fuse.
    figures
        Figures of the tables.

    Returns
    -------
    TurnOnPlan
        With what must change and what is needed.
    """
    total = math.fsum(entry.turn_on_current_a for entry in inputs if entry.key not in by_signal)
    signalled = tuple(by_signal)
    if not total or turn_on is None:
        verdict = NOT_JUDGED if total else NONE_NEEDED
        return _without_relay(verdict, total, None, signalled)
    if turn_on.greatest_current_a is not None:
        available = turn_on.greatest_current_a
    else:
        figures.used["loading_factor"] = loading_factor.provenance
        available = loading_factor.value * (turn_on.fuse_rating_a or 0.0)
    available -= turn_on.present_current_a
    if total <= available:
        return _without_relay(DIRECT_ENOUGH, total, available, signalled)
    return _by_relay(turn_on.relay, total, available, signalled, system, loading_factor, figures)


def _without_relay(
    verdict: str, total_a: float, available_a: float | None, by_signal: tuple[str, ...]
) -> TurnOnPlan:
    return TurnOnPlan(
        verdict=verdict,
        equipment_current_a=total_a,
        available_current_a=available_a,
        drawn_current_a=None if available_a is None else total_a,
        margin_current_a=None if available_a is None else available_a - total_a,
        least_coil_resistance_ohm=None,
        coil=None,
        contact_fuse_lower_a=None,
        contact_fuse_upper_a=None,
        by_signal=by_signal,
        changes=(),
        needed=(),
    )


def _by_relay(
    relay: Relay | None,
    total_a: float,
    available_a: float,
    by_signal: tuple[str, ...],
    system: SystemVoltage,
    loading_factor: FuseFactor,
    figures: Figures,
) -> TurnOnPlan:
    figures.used["system_voltage"] = system.provenance
    figures.used["loading_factor"] = loading_factor.provenance
    greatest_v = system.greatest_operating_v
    coil = None if relay is None else planned_coil(relay, system, figures)
    # What is drawn beyond the limit already leaves nothing for any coil.
    fits = available_a > 0.0 and (coil is None or coil.coil_current_a <= available_a)
    drawn = None if coil is None else coil.coil_current_a
    return TurnOnPlan(
        verdict=RELAY_NEEDED if fits else RELAY_TOO_HEAVY,
        equipment_current_a=total_a,
        available_current_a=available_a,
        drawn_current_a=drawn,
        margin_current_a=None if drawn is None else available_a - drawn,
        least_coil_resistance_ohm=greatest_v / available_a if available_a > 0.0 else None,
        coil=coil,
        contact_fuse_lower_a=total_a / loading_factor.value,
        contact_fuse_upper_a=None if relay is None else relay.contact_rating_a,
        by_signal=by_signal,
        changes=_relay_changes(relay, total_a, loading_factor.value, fits=fits),
        needed=_relay_devices(relay, available_a, greatest_v, fits=fits),
    )


def _relay_changes(
    relay: Relay | None, total_a: float, loading_factor: float, *, fits: bool
) -> tuple[Remark, ...]:
    found = []
    if not fits:
        found.append(
            Remark(
                "turn_on_overloaded",
                _AT,
                "The circuit cannot feed this coil: take a coil of more resistance, another "
                "circuit, or equipment that the signal switches on.",
            )
        )
    if relay is not None and relay.contact_rating_a < total_a / loading_factor:
        found.append(
            Remark(
                "contact_too_weak",
                _AT,
                f"The contact bears {relay.contact_rating_a:g} A; with its fuse it needs "
                f"{total_a / loading_factor:g} A.",
            )
        )
    if relay is not None and relay.suppression == NO_SUPPRESSION:
        found.append(
            Remark(
                "coil_not_suppressed",
                _AT,
                "A coil without suppression destroys the output that switches it: fit a diode "
                "across it, its cathode at the positive end.",
            )
        )
    return tuple(found)


def _relay_devices(
    relay: Relay | None, available_a: float, greatest_v: float, *, fits: bool
) -> tuple[Remark, ...]:
    if not fits:
        return ()
    least = f"{greatest_v / available_a:.3g} ohm"
    text = f"A relay with a coil of at least {least}, its contact fed through a fuse of its own."
    needed = [Remark("relay", _AT, text)]
    if relay is None or relay.suppression != NO_SUPPRESSION:
        what = "A diode" if relay is None or relay.suppression == DIODE else "A resistor"
        needed.append(Remark("coil_suppression", _AT, f"{what} across the coil of the relay."))
    return tuple(needed)


def planned_coil(relay: Relay, system: SystemVoltage, figures: Figures) -> CoilPlan:
    """Return the current of a coil and what becomes of its energy as the circuit opens.

    Parameters
    ----------
    relay
        The relay.
    system
        Its greatest voltage drives the coil; its nominal one picks the load dump that a diode
        must block.
    figures
        Figures of the tables.

    Returns
    -------
    CoilPlan
        At the greatest voltage and with the cold winding.
    """
    volts, ohm = system.greatest_operating_v, relay.coil_resistance_ohm
    current = float(coil_current_a(volts, ohm))
    release = figures.value("release_fraction") * system.nominal_v / ohm
    henry = relay.coil_inductance_h
    beside, forward, suppressed, heat = 0.0, 0.0, None, None
    if relay.suppression == DIODE:
        forward = suppressed = figures.value("diode_forward_v")
    elif relay.suppression_resistance_ohm is not None:
        beside = relay.suppression_resistance_ohm
        suppressed, heat = current * beside, volts * volts / beside
    energy = peak = constant = time = farad = None
    if henry is not None:
        farad = figures.stated_or(relay.stray_capacitance_f, "stray_capacitance_f")
        energy = float(coil_energy_j(henry, current))
        peak = float(unsuppressed_peak_v(henry, farad, current))
        if suppressed is not None:
            constant = henry / (ohm + beside)
            time = release_time_s(henry, ohm + beside, current, release, forward)
    across = peak if suppressed is None else suppressed
    return CoilPlan(
        supply_voltage_v=volts,
        coil_current_a=current,
        release_current_a=release,
        # Beside a diode there is no resistor, so that the coil is the whole loop.
        forward_offset_a=forward / ohm,
        stray_capacitance_f=farad,
        coil_energy_j=energy,
        unsuppressed_peak_v=peak,
        suppressed_peak_v=suppressed,
        contact_peak_v=None if across is None else volts + across,
        time_constant_s=constant,
        release_time_s=time,
        diode_forward_current_a=current,
        diode_reverse_voltage_v=figures.value(f"load_dump_{system.nominal_v:g}_v"),
        resistor_heat_w=heat,
    )
