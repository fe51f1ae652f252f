"""Frozen records of the tables about batteries and charging."""

from collections.abc import Mapping
from dataclasses import dataclass

from loomwright.tables.records import Provenance

# By state of charge [1], rising: open-circuit voltage [V].
VoltageCurve = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class BatteryKind:
    """A kind of battery: Peukert exponent, self-discharge and open-circuit voltage.

    ``open_circuit_voltages_v`` pairs states of charge [1], rising, with the voltage of a rested
    battery of 12 V [V]; ``voltage_provenances`` has one entry for each pair.
    """

    key: str
    name: str
    peukert_exponent: float
    peukert_low: float
    peukert_high: float
    self_discharge_per_s: float
    open_circuit_voltages_v: VoltageCurve
    provenance: Provenance
    voltage_provenances: tuple[Provenance, ...]


@dataclass(frozen=True, slots=True)
class SupplyFactor:
    """One figure of charging or of a battery, in the unit that ends its key."""

    key: str
    value: float
    provenance: Provenance


@dataclass(frozen=True, slots=True, eq=False)
class SupplyTables:
    """Kinds of battery and factors by key."""

    battery_kinds: Mapping[str, BatteryKind]
    factors: Mapping[str, SupplyFactor]
