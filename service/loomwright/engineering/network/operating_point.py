"""Operating point of one source feeding one load through a resistance."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomwright.engineering.compiled import compiled

Array = npt.NDArray[np.float64]
Number = float | Array


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Currents and voltages of a source with one constant-power load.

    ``exists`` is false where the load asks for more than ``greatest_power_w``; current and voltage
    are then those of the greatest deliverable power, so that no number is invented.
    """

    exists: bool | npt.NDArray[np.bool_]
    load_current_a: Number
    load_voltage_v: Number
    greatest_power_w: Number


def greatest_deliverable_power_w(emf_v: Number, resistance_ohm: Number) -> Number:
    """Return the most power that a source can deliver through a resistance.

    Steady direct current; linear source.

    Parameters
    ----------
    emf_v
        Open-circuit voltage of the source [V], above 0.
    resistance_ohm
        All resistance between the EMF and the load [ohm], 0 or more.

    Returns
    -------
    float or ndarray
        Power at the matched load [W]; infinite where the resistance is 0.

    References
    ----------
    Maximum power transfer: ``E**2 / (4 R)`` at a load voltage of ``E / 2``.
    """
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(emf_v, float) ** 2 / (4.0 * np.asarray(resistance_ohm, float))


def constant_power_operating_point(
    power_w: Number, emf_v: Number, resistance_ohm: Number
) -> OperatingPoint:
    """Return the stable operating point of a constant-power load.

    Steady direct current; linear source. Of the two roots the one with the smaller current is the
    operating point that a converter holds; the other is unstable.

    Parameters
    ----------
    power_w
        Power taken by the load [W], 0 or more.
    emf_v
        Open-circuit voltage of the source [V], above 0.
    resistance_ohm
        All resistance between the EMF and the load [ohm], 0 or more.

    Returns
    -------
    OperatingPoint
        Current [A], load voltage [V], greatest power [W] and whether the point exists.
    """
    current, exists = constant_power_current_a(power_w, emf_v, resistance_ohm)
    return OperatingPoint(
        exists=exists,
        load_current_a=current,
        load_voltage_v=emf_v - current * resistance_ohm,
        greatest_power_w=greatest_deliverable_power_w(emf_v, resistance_ohm),
    )


def constant_power_current_a(
    power_w: Number, emf_v: Number, resistance_ohm: Number
) -> tuple[Number, bool | npt.NDArray[np.bool_]]:
    """Return the stable current of a constant-power load, and whether there is one.

    Parameters
    ----------
    power_w
        Power taken by the load [W], 0 or more.
    emf_v
        Open-circuit voltage of the source [V], above 0.
    resistance_ohm
        All resistance between the EMF and the load [ohm], 0 or more.

    Returns
    -------
    tuple
        Current [A], that of the collapse ``E / 2R`` where no operating point exists; and whether
        one exists.

    Notes
    -----
    ``P = (E - I R) I`` gives ``I = 2 P / (E + sqrt(E**2 - 4 R P))``, the form of the root that
    loses no digits when ``R`` is small.
    """
    discriminant = emf_v * emf_v - 4.0 * resistance_ohm * power_w
    exists = discriminant >= 0.0
    current = 2.0 * power_w / (emf_v + np.sqrt(np.maximum(discriminant, 0.0)))
    if not np.all(exists):
        # Beyond collapse R is above 0, because E**2 < 4 R P.
        safe = np.where(exists, 1.0, resistance_ohm)
        current = np.where(exists, current, emf_v / (2.0 * safe))
    return current, exists


@compiled
def power_current_a(power_w: float, emf_v: float, resistance_ohm: float) -> tuple[float, bool]:
    """Return the stable current of a constant-power load, and whether there is one.

    Parameters
    ----------
    power_w
        Power taken by the load [W], 0 or more.
    emf_v
        Open-circuit voltage of the source [V], above 0.
    resistance_ohm
        All resistance between the EMF and the load [ohm], 0 or more.

    Returns
    -------
    tuple
        Current [A] and existence as ``constant_power_current_a`` has them for arrays.
    """
    discriminant = emf_v * emf_v - 4.0 * resistance_ohm * power_w
    if discriminant < 0.0:
        return emf_v / (2.0 * resistance_ohm), False
    return 2.0 * power_w / (emf_v + math.sqrt(discriminant)), True
