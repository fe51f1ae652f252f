"""How many needs of a row no part of the price book serves, counted as a bill lists them."""

from collections.abc import Iterable, Mapping

import numpy as np

from loomwright.batch.bills.lengths import CircuitStretch
from loomwright.batch.bills.pieces import PartNeed, WorkNeed
from loomwright.batch.bills.tally import Chunk, Presence
from loomwright.pricing.minor_units import Units
from loomwright.pricing.part_lines import listed_together
from loomwright.pricing.requirements import Requirement


class Unserved:
    """Needs that no part serves, and operations that no book has.

    Needs that are alike are one on a bill.
    """

    def __init__(self) -> None:
        self._alike: dict[tuple[object, ...], Presence] = {}
        # Needs that are alike where their lengths are.
        self._by_length: dict[tuple[object, ...], dict[CircuitStretch, Presence]] = {}

    def join(self, piece: int, number: int, parts: Iterable[PartNeed]) -> None:
        """Let a case join.

        Parameters
        ----------
        piece
            Index of its piece.
        number
            Which case of the piece it is.
        parts
            Those that it needs.
        """
        for need in parts:
            if not need.parts:
                self._of_part(need.requirement).add(piece, number)

    def join_work(self, piece: int, number: int, work: Iterable[WorkNeed]) -> None:
        """Let the labour of a case join."""
        for need in work:
            if need.stepped is None:
                self._alike.setdefault((need.operation,), Presence()).add(piece, number)

    def _of_part(self, asked: Requirement) -> Presence:
        """Return where a part is needed that is listed together with this one."""
        measured = asked.measured
        if measured is None or not measured.attribute:
            return self._alike.setdefault(listed_together(asked), Presence())
        attributes = dict(asked.attributes)
        del attributes[measured.attribute]
        alike = asked.what, *sorted(attributes.items())
        at = CircuitStretch(asked.circuit, measured.stretch)
        return self._by_length.setdefault(alike, {}).setdefault(at, Presence())

    def count(self, chunk: Chunk) -> Units:
        """Return how many there are in each row, or in all rows."""
        found: Units = 0
        for presence in self._alike.values():
            found = found + 1 * presence.of(chunk)
        for lengths in self._by_length.values():
            found = found + _distinct(lengths, chunk)
        return found


def _distinct(lengths: Mapping[CircuitStretch, Presence], chunk: Chunk) -> Units:
    """Return how many unlike lengths each row has among those that it needs."""
    columns = np.empty((len(lengths), chunk.count), np.int64)
    for column, (at, presence) in zip(columns, lengths.items(), strict=True):
        # Below any length is what a row does not need.
        column[:] = np.where(presence.of(chunk), chunk.micrometres(at), -1)
    columns.sort(axis=0)
    rises = (columns[1:] > columns[:-1]).sum(axis=0)
    return rises + (columns[0] >= 0)  # type: ignore[no-any-return]
