"""What falls silent, and what the amplifier sees, when one voice coil is open or shorted."""

from dataclasses import dataclass
from math import log10
from typing import NamedTuple

from loomwright.engineering.audio.coil_power import NetworkPower, network_power
from loomwright.engineering.audio.series_parallel import Fault, Network, after_fault, parts_of

FAULTS: tuple[Fault, ...] = ("open", "short")


@dataclass(frozen=True, slots=True)
class CoilFault:
    """One coil at fault in a way to wire all.

    ``left`` is the network that still plays, or none. The load is none where no current can pass
    and 0 where the amplifier is shorted. Both changes hold at one voltage of the amplifier, as a
    volume left where it is; they are none where nothing plays any more.
    """

    fault: Fault
    coil: int
    silent_coils: tuple[int, ...]
    left: Network | None
    load_impedance_ohm: float | None
    power_change_db: float | None
    coil_power_rise_db: float | None

    @property
    def alike(self) -> tuple[object, ...]:
        """What faults that do the same have in common, floats to nine digits."""
        numbers = (self.load_impedance_ohm, self.power_change_db, self.coil_power_rise_db)
        rounded = (None if value is None else float(f"{value:.9g}") for value in numbers)
        return (self.fault, len(self.silent_coils), *rounded)


class WorstOpenCoil(NamedTuple):
    """The worst that one open coil does, whichever it is.

    Load [ohm] and change [dB] are none where nothing plays any more; so is the rise [dB] where
    nothing plays in any case.
    """

    silent_coils: int
    greatest_load_impedance_ohm: float | None
    power_change_db: float | None
    coil_power_rise_db: float | None


def coil_faults(
    network: Network, whole: NetworkPower, coil_impedances_ohm: tuple[float, ...]
) -> tuple[CoilFault, ...]:
    """Return what each coil does to the rest when it is open, and when it is shorted.

    Parameters
    ----------
    network
        Of places of coils.
    whole
        Its power without a fault.
    coil_impedances_ohm
        By place [ohm], above 0.

    Returns
    -------
    tuple of CoilFault
        Open ones first, by place.
    """
    return tuple(
        coil_fault(network, whole, coil_impedances_ohm, coil, fault)
        for fault in FAULTS
        for coil in sorted(parts_of(network))
    )


def coil_fault(
    network: Network,
    whole: NetworkPower,
    coil_impedances_ohm: tuple[float, ...],
    coil: int,
    fault: Fault,
) -> CoilFault:
    """Return what one coil at fault does to the rest.

    Parameters
    ----------
    network
        Of places of coils.
    whole
        Its power without a fault.
    coil_impedances_ohm
        By place [ohm], above 0.
    coil
        Its place.
    fault
        Open or short.

    Returns
    -------
    CoilFault
        Changes in [dB].

    Notes
    -----
    At one voltage the power goes as ``1/Z``: ``10 log10(Z / Z')``; of a coil with the share ``s``
    as ``s/Z``: ``10 log10(s' Z / (s Z'))``, of which the greatest is told.

    References
    ----------
    Ohm's and Kirchhoff's laws.
    """
    left = after_fault(network, coil, fault)
    if isinstance(left, str):
        silent = tuple(sorted(whole.shares))
        return CoilFault(fault, coil, silent, None, None if left == "open" else 0.0, None, None)
    after = network_power(left, coil_impedances_ohm)
    change = whole.impedance_ohm / after.impedance_ohm
    rise = max(share / whole.shares[place] for place, share in after.shares.items())
    return CoilFault(
        fault,
        coil,
        tuple(sorted(whole.shares.keys() - after.shares.keys())),
        left,
        after.impedance_ohm,
        10.0 * log10(change),
        10.0 * log10(change * rise),
    )


def worst_open_coil(faults: tuple[CoilFault, ...]) -> WorstOpenCoil:
    """Return the worst of the open coils among faults."""
    opens = [case for case in faults if case.fault == "open"]
    silent = max(len(case.silent_coils) for case in opens)
    loads = [value for case in opens if (value := case.load_impedance_ohm) is not None]
    changes = [value for case in opens if (value := case.power_change_db) is not None]
    rises = [value for case in opens if (value := case.coil_power_rise_db) is not None]
    rise = max(rises, default=None)
    if len(loads) < len(opens):
        return WorstOpenCoil(silent, None, None, rise)
    return WorstOpenCoil(silent, max(loads), min(changes), rise)


def least_load_with_a_short_ohm(faults: tuple[CoilFault, ...]) -> float:
    """Return the least load that one shorted coil leaves among faults [ohm]."""
    return min(
        value
        for case in faults
        if case.fault == "short" and (value := case.load_impedance_ohm) is not None
    )


def faults_by_effect(faults: tuple[CoilFault, ...]) -> list[list[CoilFault]]:
    """Return faults that do the same side by side, in the order of the first of each."""
    alike: dict[tuple[object, ...], list[CoilFault]] = {}
    for case in faults:
        alike.setdefault(case.alike, []).append(case)
    return list(alike.values())
