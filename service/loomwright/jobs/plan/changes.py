"""What changes from one plan of a job to another."""

from collections.abc import Sequence
from typing import Any

from loomwright.engineering.record import record
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.pricing.money import Money

CONDUCTOR, FUSE = "conductor", "fuse"
CHANGED = (CONDUCTOR, FUSE)


@record
class CircuitChange:
    """What one circuit gets instead; ``None`` where it is not sized."""

    circuit: str
    what: str
    before: str | None
    after: str | None


@record
class PlanChanges:
    """From one plan to the next: what each circuit gets instead, and what it costs more."""

    before: str
    after: str
    circuits: tuple[CircuitChange, ...]
    total_difference: Money


def circuit_changes(
    before: Sequence[SizedCircuit], after: Sequence[SizedCircuit]
) -> tuple[CircuitChange, ...]:
    """Return what each circuit of one plan gets instead in another.

    Parameters
    ----------
    before
        Circuits of one plan.
    after
        The same circuits of the other, in the same order.

    Returns
    -------
    tuple of CircuitChange
        Conductor before fuse; nothing for what stays.
    """
    found = []
    for one, other in zip(before, after, strict=True):
        for what, described in ((CONDUCTOR, _conductor), (FUSE, _fuse)):
            old, new = described(one), described(other)
            if old != new:
                found.append(CircuitChange(one.circuit.key, what, old, new))
    return tuple(found)


def _conductor(entry: SizedCircuit) -> str | None:
    return None if entry.conductor is None else entry.conductor.key


def _fuse(entry: SizedCircuit) -> str | None:
    if entry.fuse_type is None:
        return None
    return f"{entry.fuse_type} {entry.rated_current_a:g} A"


def changes_document(changes: PlanChanges) -> dict[str, Any]:
    """Return the changes as plain JSON values."""
    return {
        "before": changes.before,
        "after": changes.after,
        "total_difference": str(changes.total_difference),
        "circuits": [
            {
                "circuit": entry.circuit,
                "what": entry.what,
                "before": entry.before,
                "after": entry.after,
            }
            for entry in changes.circuits
        ],
    }
