"""Frozen records of the fuse tables, in coherent SI units."""

from collections.abc import Mapping
from dataclasses import dataclass

from loomwright.tables.records import FuseType, Provenance


@dataclass(frozen=True, slots=True, eq=False)
class FuseFactor:
    """One figure of a sizing rule; the key ends in the SI unit where it has one."""

    key: str
    value: float
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class PositionLimit:
    """Greatest length of conductor between the source and its overcurrent device."""

    rule: str
    sheathed: bool
    on_battery_terminal: bool
    greatest_distance_m: float
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class InterruptingCapacity:
    """Least interrupting capacity by the cold-cranking current of the whole bank.

    ``cold_cranking_to_a`` is ``None`` in the last row, which has no upper end.
    """

    cold_cranking_above_a: float
    cold_cranking_to_a: float | None
    main_a: float
    branch_a: float
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class SystemVoltage:
    """Greatest voltage in operation of a nominal system voltage."""

    nominal_v: float
    greatest_operating_v: float
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class FuseTables:
    """All fuse tables; made once when the process starts.

    ``curve_provenance`` and ``rating_provenance`` go by the key of the fuse type; a type without
    a curve is absent from the former.
    """

    types: Mapping[str, FuseType]
    curve_provenance: Mapping[str, Provenance]
    rating_provenance: Mapping[str, Provenance]
    factors: Mapping[str, FuseFactor]
    position_limits: tuple[PositionLimit, ...]
    interrupting_capacities: tuple[InterruptingCapacity, ...]
    system_voltages: tuple[SystemVoltage, ...]
