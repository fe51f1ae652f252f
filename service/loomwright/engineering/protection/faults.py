"""Fault currents at the fuse and at the far end of the circuit."""

import math
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compilable
from loomwright.engineering.elementwise import holds_anywhere
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.record import record

Quantity = TypeVar("Quantity", float, npt.NDArray[np.float64])

SAE_COLD_CRANKING_VOLTAGE_V = 7.2
EN_COLD_CRANKING_VOLTAGE_V = 7.5
# A battery at 25 C has about half the internal resistance it has at -18 C.
WARM_RESISTANCE_SHARE = 0.5


@record
class FaultSource:
    """The source that feeds a fault.

    Parameters
    ----------
    emf_v
        Open-circuit voltage [V], above 0.
    internal_resistance_ohm
        Of the source itself [ohm], 0 or more.
    resistance_before_fuse_ohm
        Conductors, joints and upstream fuse between the source and the fuse, with the part of the
        return path that a fault behind the fuse must use, cold [ohm], 0 or more.
    current_limit_a
        Greatest current of a converter or alternator [A]; ``None`` for a battery.
    cold_cranking_a
        Cold-cranking current of the whole bank [A]; ``None`` if not known.
    internal_resistance_is_cold
        Whether the internal resistance is that of a battery at -18 C, as cold-cranking gives it.
    """

    emf_v: float
    internal_resistance_ohm: float
    resistance_before_fuse_ohm: float = 0.0
    current_limit_a: float | None = None
    cold_cranking_a: float | None = None
    internal_resistance_is_cold: bool = False


def internal_resistance_from_sae_cold_cranking_ohm(
    emf_v: float, cold_cranking_a: float, batteries_in_series: int = 1
) -> float:
    """Return the internal resistance of a lead-acid battery from its SAE cold-cranking current.

    At -18 C, within about 30 %; a warm battery has about half.

    Parameters
    ----------
    emf_v
        Open-circuit voltage of the bank [V], above 7.2 V for each battery in series.
    cold_cranking_a
        Current that a battery of 12 V holds 7.2 V at for 30 s at -18 C [A], above 0.
    batteries_in_series
        Batteries of 12 V in series [1].

    Returns
    -------
    float
        Internal resistance of the bank [ohm].

    Raises
    ------
    EngineeringError
        ``emf_below_cranking_voltage``.

    Notes
    -----
    ``(E - 7.2 V) / CCA``.

    References
    ----------
    SAE J537, cold-cranking test.
    """
    return _internal_resistance_ohm(
        emf_v, SAE_COLD_CRANKING_VOLTAGE_V * batteries_in_series, cold_cranking_a
    )


def internal_resistance_from_en_cold_cranking_ohm(
    emf_v: Quantity, cold_cranking_a: Quantity, batteries_in_series: int = 1
) -> Quantity:
    """Return the internal resistance of a lead-acid battery from its EN cold-cranking current.

    At -18 C, within about 30 %; a warm battery has about half.

    Parameters
    ----------
    emf_v
        Open-circuit voltage of the bank [V], above 7.5 V for each battery in series.
    cold_cranking_a
        Current that a battery of 12 V holds 7.5 V at for 10 s at -18 C [A], above 0.
    batteries_in_series
        Batteries of 12 V in series [1].

    Returns
    -------
    float or ndarray
        Internal resistance of the bank [ohm].

    Raises
    ------
    EngineeringError
        ``emf_below_cranking_voltage`` where one element is; ``limit`` is that voltage.

    Notes
    -----
    ``(E - 7.5 V) / I``.

    References
    ----------
    EN 50342-1, cranking performance test.
    """
    return _internal_resistance_ohm(
        emf_v, EN_COLD_CRANKING_VOLTAGE_V * batteries_in_series, cold_cranking_a
    )


def _internal_resistance_ohm(
    emf_v: Quantity, test_voltage_v: float, cold_cranking_a: Quantity
) -> Quantity:
    if holds_anywhere(emf_v <= test_voltage_v):
        least_v = float(np.min(emf_v))
        raise EngineeringError(
            "emf_below_cranking_voltage",
            f"The open-circuit voltage {least_v:.2f} V must lie above the voltage of the "
            f"cold-cranking test, {test_voltage_v:.2f} V.",
            field="emf_v",
            value=least_v,
            limit=test_voltage_v,
        )
    return (emf_v - test_voltage_v) / cold_cranking_a


@compilable
def limited_current_a(
    emf_v: float,
    internal_resistance_ohm: float,
    resistance_before_fuse_ohm: float,
    resistance_behind_fuse_ohm: float,
    current_limit_a: float,
) -> float:
    """Return the steady current of a source into a dead fault.

    Parameters
    ----------
    emf_v
        Open-circuit voltage [V], above 0.
    internal_resistance_ohm
        Of the source itself [ohm].
    resistance_before_fuse_ohm
        Between the source and the fuse [ohm].
    resistance_behind_fuse_ohm
        There and back from the fuse to the fault [ohm].
    current_limit_a
        Greatest current of the source [A], infinite where it has no limit.

    Returns
    -------
    float
        Current [A], infinite where nothing limits it.
    """
    resistance_ohm = (
        internal_resistance_ohm + resistance_before_fuse_ohm + resistance_behind_fuse_ohm
    )
    if resistance_ohm <= 0.0:
        return current_limit_a
    return min(emf_v / resistance_ohm, current_limit_a)


def fault_current_a(source: FaultSource, resistance_behind_fuse_ohm: float) -> float:
    """Return the steady current into a dead fault behind the fuse.

    Inductance and the arc are left out: the first lowers the onset, the second the level.

    Parameters
    ----------
    source
        The source up to the fuse.
    resistance_behind_fuse_ohm
        There and back from the fuse to the fault [ohm], 0 or more.

    Returns
    -------
    float
        Current [A], at most the current limit of the source.

    Raises
    ------
    EngineeringError
        ``no_resistance_in_fault_circuit`` where nothing limits the current.
    """
    limit_a = source.current_limit_a
    current_a = limited_current_a(
        source.emf_v,
        source.internal_resistance_ohm,
        source.resistance_before_fuse_ohm,
        resistance_behind_fuse_ohm,
        math.inf if limit_a is None else limit_a,
    )
    if current_a == math.inf:
        raise EngineeringError(
            "no_resistance_in_fault_circuit",
            "The fault current has no limit: give the source an internal resistance, a "
            "cold-cranking current or a current limit.",
            field="internal_resistance_ohm",
            value=source.internal_resistance_ohm
            + source.resistance_before_fuse_ohm
            + resistance_behind_fuse_ohm,
            limit=0.0,
        )
    return current_a
