"""How many needs of a row no part of the price book serves, counted as a bill lists them."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from loomwright.batch.bills.lengths import CircuitStretch
from loomwright.batch.bills.pieces import Case, PartNeed
from loomwright.batch.bills.tally import Chunk, Presence
from loomwright.pricing.minor_units import Units
from loomwright.pricing.part_lines import listed_together


class Unserved:
    """Needs that no part serves, and operations that no book has.

    Needs that are alike are one on a bill.

    Parameters
    ----------
    pieces
        Cases of each piece.
    counts
        Number of cases of each piece.
    """

    def __init__(self, pieces: Sequence[Sequence[Case]], counts: Mapping[int, int]) -> None:
        where: dict[tuple[object, ...], list[tuple[int, int]]] = {}
        # Needs that are alike where their lengths are.
        by_length: dict[tuple[object, ...], dict[CircuitStretch, list[tuple[int, int]]]] = {}
        for piece, number, need in _unserved_parts(pieces):
            measured = need.requirement.measured
            if measured is None or not measured.attribute:
                where.setdefault(listed_together(need.requirement), []).append((piece, number))
                continue
            attributes = dict(need.requirement.attributes)
            del attributes[measured.attribute]
            alike = need.requirement.what, *sorted(attributes.items())
            at = CircuitStretch(need.requirement.circuit, measured.stretch)
            by_length.setdefault(alike, {}).setdefault(at, []).append((piece, number))
        for piece, cases in enumerate(pieces):
            for number, case in enumerate(cases):
                for work in case.work:
                    if work.stepped is None:
                        where.setdefault((work.operation,), []).append((piece, number))
        self._alike = [Presence(places, counts) for places in where.values()]
        self._by_length = [
            [(at, Presence(places, counts)) for at, places in lengths.items()]
            for lengths in by_length.values()
        ]

    def count(self, chunk: Chunk) -> Units:
        """Return how many there are in each row, or in all rows."""
        found: Units = 0
        for presence in self._alike:
            found = found + 1 * presence.of(chunk)
        for lengths in self._by_length:
            found = found + _distinct(lengths, chunk)
        return found


def _unserved_parts(pieces: Sequence[Sequence[Case]]) -> Iterator[tuple[int, int, PartNeed]]:
    for piece, cases in enumerate(pieces):
        for number, case in enumerate(cases):
            for need in case.parts:
                if not need.parts:
                    yield piece, number, need


def _distinct(lengths: Sequence[tuple[CircuitStretch, Presence]], chunk: Chunk) -> Units:
    """Return how many unlike lengths each row has among those that it needs."""
    columns = np.empty((len(lengths), chunk.count), np.int64)
    for column, (at, presence) in zip(columns, lengths, strict=True):
        # Below any length is what a row does not need.
        column[:] = np.where(presence.of(chunk), chunk.micrometres(at), -1)
    columns.sort(axis=0)
    rises = (columns[1:] > columns[:-1]).sum(axis=0)
    return rises + (columns[0] >= 0)  # type: ignore[no-any-return]
