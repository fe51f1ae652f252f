"""Sums of what rows need of one thing, in whole steps that it is sold by."""

from collections.abc import Iterable, Mapping, Sequence
from math import gcd, lcm
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
        self._present: dict[int, list[int]] = {}

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

    def present(self, piece: int) -> list[int]:
        """Return the cases of a piece that there are rows of, in order."""
        found = self._present.get(piece)
        if found is None:
            cases = self.cases[piece]
            if isinstance(cases, int):
                found = [cases]
            else:
                found = np.flatnonzero(np.bincount(cases)).tolist()
            self._present[piece] = found
        return found

    def of_present(self, piece: int, by_case: Mapping[int, int]) -> list[int]:
        """Return the figures of the cases that there are rows of, 0 for such as have none."""
        return [by_case.get(case, 0) for case in self.present(piece)]

    def of_rows(self, piece: int, figures: Sequence[int]) -> Units:
        """Return the figure of the case of each row, or that of all rows.

        Parameters
        ----------
        piece
            Index of the piece.
        figures
            Of the cases that there are rows of; 64 bits hold them.

        Returns
        -------
        int or ndarray
            One for each row.
        """
        if len(set(figures)) == 1:
            return figures[0]
        present = self.present(piece)
        table = np.zeros(present[-1] + 1, np.int64)
        table[present] = figures
        return table[self.cases[piece]]


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
        Piece and case of each need that is known so far.
    """

    def __init__(self, where: Iterable[tuple[int, int]] = ()) -> None:
        self._cases: dict[int, set[int]] = {}
        for piece, case in where:
            self.add(piece, case)

    def add(self, piece: int, case: int) -> None:
        """Let a case that needs it join."""
        self._cases.setdefault(piece, set()).add(case)

    def of(self, chunk: Chunk) -> bool | Mask:
        """Return whether each row has it, or whether all or none have."""
        found: bool | Mask = False
        for piece, own in self._cases.items():
            present = chunk.present(piece)
            has = [case in own for case in present]
            if all(has):
                return True
            if any(has):
                table = np.zeros(present[-1] + 1, np.bool_)
                table[present] = has
                found = table[chunk.cases[piece]] | found
        return found


class Tally:
    """What rows need of one thing together, rounded up to its steps.

    Parameters
    ----------
    amounts
        What each case needs of it, in the steps that it is sold by, so far.
    """

    def __init__(self, amounts: Iterable[Amount] = ()) -> None:
        #: Parts that a step is counted in.
        self.denominator = 1
        # In parts of a step, by piece and case.
        self._constants: dict[int, dict[int, int]] = {}
        self._terms: dict[int, dict[int, list[_Term]]] = {}
        for amount in amounts:
            self.add(amount)

    def add(self, amount: Amount) -> None:
        """Let what one more case needs join."""
        piece, case, (law, constant, factor), at = amount
        self._divide(constant[1] if at is None else lcm(constant[1], factor[1]))
        if constant[0]:
            own = self._constants.setdefault(piece, {})
            own[case] = own.get(case, 0) + constant[0] * (self.denominator // constant[1])
        if at is not None:
            term = _Term(law, at, factor[0] * (self.denominator // factor[1]))
            self._terms.setdefault(piece, {}).setdefault(case, []).append(term)

    def _divide(self, denominator: int) -> None:
        """Count in parts so small that a part of a step is a whole number of them."""
        if self.denominator % denominator == 0:
            return
        times = denominator // gcd(self.denominator, denominator)
        self.denominator *= times
        for by_case in self._constants.values():
            for case in by_case:
                by_case[case] *= times
        for of_piece in self._terms.values():
            for terms in of_piece.values():
                terms[:] = [term._replace(times=term.times * times) for term in terms]

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
        for piece, constants in self._constants.items():
            figures = chunk.of_present(piece, constants)
            bound += max(figures)
            if bound >= GREATEST:
                raise TooGreatError("a quantity has too many digits")
            found = found + chunk.of_rows(piece, figures)
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
        for case in chunk.present(piece):
            if case in by_case:
                rows = chunk.rows(piece, case)
                found[rows], most = _summed(by_case[case], chunk, rows)
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
