"""Conductors of the circuits of many rows of one job, as columns."""

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.choice import CandidateFrame, ConductorRequest
from loomwright.engineering.conductors.sizing_rows import (
    NONE,
    NOT_SOLVED,
    VERDICTS,
    CandidateColumns,
    RequestRows,
    solve_thicker,
)
from loomwright.engineering.record import record
from loomwright.tables.records import ConductorSize

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]
Digits = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]

# Verdicts of the engineering, and the one of a circuit that it was not asked about.
CONDUCTOR_VERDICTS = (*VERDICTS, "no_sized_branch")
NO_SIZED_BRANCH = len(VERDICTS)

__all__ = ["CONDUCTOR_VERDICTS", "NONE", "NOT_SOLVED", "NO_SIZED_BRANCH", "ConductorRows"]


@record
class ConductorRows:
    """The conductor of one circuit in every row.

    Arrays by candidate are of the shape (rows, candidates). In each row the chosen candidate is
    stated, and those above it once ``solve_thicker`` was called for the row; elsewhere ``failing``
    is ``NOT_SOLVED`` and the other arrays mean nothing.

    Parameters
    ----------
    request
        What is asked in one of the rows; all else than numbers holds for every row. None where no
        row knows a load.
    frame
        Candidates, the same in every row; none without a request.
    known
        False where a circuit feeds only branches without a conductor, so that no load is known.
    verdict
        Index into ``CONDUCTOR_VERDICTS``.
    chosen
        Index of the candidate, ``NONE`` without one.
    failing
        Criteria that are missed, as ``Candidates.failing`` has them.
    current_a, drop_v, temperature_k, loop_resistance_ohm
        Current of the load [A], drop of the wiring there and back [V], temperature of the hottest
        segment [K] and resistance of the wiring there and back [ohm].
    supply_voltage_v, source_resistance_ohm
        What the circuit is fed with [V] behind what resistance [ohm].
    unusual
        Rows that are left to the single call, whose entries mean nothing.
    asked
        Numbers of every row, from which thicker candidates are solved; none without a request.
    """

    request: ConductorRequest | None
    frame: CandidateFrame | None
    known: Mask
    verdict: Codes
    chosen: Codes
    failing: Digits
    current_a: Array
    drop_v: Array
    temperature_k: Array
    loop_resistance_ohm: Array
    supply_voltage_v: Array
    source_resistance_ohm: Array
    unusual: Mask
    asked: RequestRows | None = None

    @property
    def load_current_a(self) -> Array:
        """Current of the chosen conductor in every row [A], 0 where none is chosen."""
        if not self.current_a.size:
            return np.zeros(self.chosen.size)
        rows = np.arange(self.chosen.size)
        current_a = self.current_a[rows, np.maximum(self.chosen, 0)]
        return np.where(self.chosen == NONE, 0.0, current_a)

    @property
    def sizes(self) -> tuple[ConductorSize, ...]:
        """Size of each candidate."""
        return () if self.frame is None else self.frame.sizes

    def solve_thicker(self, rows: Indices) -> None:
        """Solve in some rows the candidates that are thicker than the chosen one.

        A row in which none was chosen stays as it is.

        Parameters
        ----------
        rows
            Indices of the rows, each once.
        """
        if self.asked is not None and self.frame is not None:
            columns = (
                self.failing,
                self.current_a,
                self.drop_v,
                self.temperature_k,
                self.loop_resistance_ohm,
            )
            solve_thicker(self.asked, self.chosen, rows, CandidateColumns(*columns))
