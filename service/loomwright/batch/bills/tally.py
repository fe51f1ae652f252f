"""Sums of what rows need of one thing, in whole steps that it is sold by."""

from collections.abc import Iterable, Mapping, Sequence
from math import lcm
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.bills.growth import (
    GREATEST,
    Stepped,
    TooGreatError,
    steps_over,
    variable_part,
)
from loomwright.batch.bills.lengths import CircuitStretch, RowLengths
from loomwright.pricing.growing import Growing
from loomwright.pricing.minor_units import Units

Mask = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.int64]


class Chunk:
    """Rows that are worked out together.

    Parameters
    ----------
    count
        Rows.
    cases
        Case of each piece in every row, or the one of all rows.
    lengths
        Lengths of the rows; none where nothing is measured.
    """

    def __init__(self, count: int, cases: Mapping[int, Units], lengths: RowLengths | None) -> None:
        self.count, self.cases = count, cases
        self._lengths = lengths
        self._rows: dict[tuple[int, int], Rows] = {}

    def micrometres(self, at: CircuitStretch | None) -> Units:
        """Return a length of the rows [um], 0 for none."""
        if at is None:
            return 0
        assert self._lengths is not None
        return self._lengths.micrometres(at)

    def rows(self, piece: int, case: int) -> Rows:
        """Return the rows of a case."""
        found = self._rows.get((piece, case))
        if found is None:
            found = self._rows[piece, case] = np.flatnonzero(self.cases[piece] == case)
        return found

    def has_cases(self, counts: Mapping[int, int]) -> Mask:
        """Return whether any row is of each case, for all cases of all pieces in turn."""
        return np.concatenate(
            [
                np.bincount(np.atleast_1d(self.cases[piece]), minlength=count) > 0
                for piece, count in counts.items()
            ]
        )


class Amount(NamedTuple):
    """What a case of a piece needs of one thing."""

    piece: int
    case: int
    stepped: Stepped
    at: CircuitStretch | None


class _Term(NamedTuple):
    """What grows in one case: its law, which the sum holds so many times for each factor."""

    law: Growing
    at: CircuitStretch
    times: int


class Presence:
    """In which rows something is needed.

    Parameters
    ----------
    where
        Piece and case of each need.
    counts
        Number of cases of each piece.
    """

    def __init__(self, where: Iterable[tuple[int, int]], counts: Mapping[int, int]) -> None:
        self._tables: dict[int, Mask] = {}
        for piece, case in where:
            if piece not in self._tables:
                self._tables[piece] = np.zeros(counts[piece], np.bool_)
            self._tables[piece][case] = True

    def of(self, chunk: Chunk) -> bool | Mask:
        """Return whether each row has it, or whether all or none have."""
        found: bool | Mask = False
        for piece, table in self._tables.items():
            if table.all():
                return True
            has = table[chunk.cases[piece]]
            if not isinstance(has, np.ndarray):
                if has:
                    return True
            else:
                found = has | found
        return found


class Tally:
    """What rows need of one thing together, rounded up to its steps.

    Parameters
    ----------
    amounts
        What each case needs of it, in the steps that it is sold by.
    counts
        Number of cases of each piece.
    """

    def __init__(self, amounts: Sequence[Amount], counts: Mapping[int, int]) -> None:
        self.denominator = lcm(
            *[amount.stepped.constant[1] for amount in amounts],
            *[amount.stepped.factor[1] for amount in amounts if amount.at is not None],
        )
        fixed: dict[int, list[int]] = {}
        self._terms: dict[int, dict[int, list[_Term]]] = {}
        for piece, case, (law, constant, factor), at in amounts:
            if piece not in fixed:
                fixed[piece] = [0] * counts[piece]
            fixed[piece][case] += constant[0] * (self.denominator // constant[1])
            if at is not None:
                term = _Term(law, at, factor[0] * (self.denominator // factor[1]))
                self._terms.setdefault(piece, {}).setdefault(case, []).append(term)
        if any(max(table) >= GREATEST for table in fixed.values()):
            raise TooGreatError("a quantity has too many digits")
        self._constants = {
            piece: np.array(table, np.int64) for piece, table in fixed.items() if any(table)
        }

    def steps(self, chunk: Chunk) -> Units:
        """Return the steps in each row, or those of all rows.

        Parameters
        ----------
        chunk
            Rows.

        Returns
        -------
        int or ndarray
            The least that is not below what they need; 0 where they need none.

        Raises
        ------
        TooGreatError
            64 bits may not hold what lies between.
        """
        found: Units = 0
        bound = 0
        for piece, table in self._constants.items():
            own = table[chunk.cases[piece]]
            found = found + (own if isinstance(own, np.ndarray) else int(own))
            bound += int(table.max())
        for piece, by_case in self._terms.items():
            grown, most = self._grown(piece, by_case, chunk)
            found, bound = found + grown, bound + most
        if bound >= GREATEST:
            raise TooGreatError("a quantity has too many digits")
        return steps_over(found, self.denominator)

    def _grown(
        self, piece: int, by_case: Mapping[int, list[_Term]], chunk: Chunk
    ) -> tuple[Units, int]:
        """Return what grows in a piece, and what it is no greater than."""
        cases = chunk.cases[piece]
        if isinstance(cases, int):
            return _summed(by_case.get(cases, ()), chunk, slice(None))
        found, bound = np.zeros(chunk.count, np.int64), 0
        for case, terms in by_case.items():
            rows = chunk.rows(piece, case)
            if rows.size:
                found[rows], most = _summed(terms, chunk, rows)
                bound = max(bound, most)
        return found, bound


def _summed(
    terms: Iterable[_Term], chunk: Chunk, rows: npt.NDArray[np.int64] | slice
) -> tuple[Units, int]:
    found: Units = 0
    bound = 0
    for term in terms:
        length = chunk.micrometres(term.at)
        if isinstance(length, np.ndarray):
            length = length[rows]
        whole, _ = variable_part(term.law, length)
        most = int(whole.max()) if isinstance(whole, np.ndarray) else whole
        bound += most * term.times
        if bound >= GREATEST:
            raise TooGreatError("a quantity has too many digits")
        found = found + whole * term.times
    return found, bound
