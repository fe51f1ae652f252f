"""Frozen records of the table about signal paths."""

from dataclasses import dataclass

from loomwright.tables.records import Provenance


@dataclass(frozen=True, slots=True, eq=False)
class SignalFactor:
    """One figure of a rule on signal paths; the key ends in the unit where it has one."""

    key: str
    value: float
    provenance: Provenance
