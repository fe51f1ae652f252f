"""Frozen records of the table of tolerances."""

from dataclasses import dataclass

from loomwright.tables.records import Provenance


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far an input may lie below and above what is stated.

    ``is_share`` tells shares of the input [1] from differences of temperature [K]. ``provenance``
    is ``None`` where the request states the tolerance itself.
    """

    key: str
    is_share: bool
    below: float
    above: float
    provenance: Provenance | None
