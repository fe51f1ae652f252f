"""Conductor sizing of many rows that differ in numbers only.

The same compiled formulas as the single call runs, row by row. Of each row only the candidates up
to the chosen one are solved, and thicker ones on demand.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.record import record
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]
Digits = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]

VERDICTS = ("conductor_found", "no_conductor_meets_criteria", "no_operating_point")
# In place of the index of a candidate where none is chosen.
NONE = -1
# In place of the criteria that a candidate misses where it was not solved; no sum of them.
NOT_SOLVED = 255


@record
class RequestRows:
    """What is asked in every row: one request, but for its numbers.

    Parameters
    ----------
    request
        All that is the same in every row; of what the arrays below state, its numbers do not count.
    tables
        Published ampacities, factors and air.
    segment_lengths_m
        Of each segment in each row, one way [m], rows by segments.
    supply_voltage_v, allowed_voltage_drop_v, source_resistance_ohm
        As the request has them, of each row [V], [V], [ohm].
    load_current_a, load_power_w
        Load of each row [A], [W]; NaN for the one that is not given.
    wiring_fixed_resistance_ohm
        Chassis, joints and fuse of each row [ohm].
    """

    request: ConductorRequest
    tables: Tables
    segment_lengths_m: Array
    supply_voltage_v: Array
    allowed_voltage_drop_v: Array
    load_current_a: Array
    load_power_w: Array
    source_resistance_ohm: Array
    wiring_fixed_resistance_ohm: Array


class CandidateColumns(NamedTuple):
    """Candidates of every row, rows by candidates, as compiled formulas fill them.

    Parameters
    ----------
    failing
        Criteria that are missed as ``Candidates.failing`` has them, or ``NOT_SOLVED``.
    load_current_a, voltage_drop_v, conductor_temperature_k, loop_resistance_ohm
        As ``Candidates`` has them [A], [V], [K], [ohm].
    """

    failing: Digits
    load_current_a: Array
    voltage_drop_v: Array
    conductor_temperature_k: Array
    loop_resistance_ohm: Array


@record
class SizedRequestRows:
    """Answer to every row.

    Parameters
    ----------
    verdict
        Index into ``VERDICTS``.
    chosen
        Index of the candidate, ``NONE`` without one.
    candidates
        Candidates of every row; those up to the chosen one are solved, all where none is chosen.
    unusual
        Rows that the single call has to answer, whose entries mean nothing.
    """

    verdict: Codes
    chosen: Codes
    candidates: CandidateColumns
    unusual: Mask


def solve_thicker(
    asked: RequestRows, chosen: Codes, rows: Indices, candidates: CandidateColumns
) -> None:
    """Solve in some rows the candidates that are thicker than the chosen one.

    Parameters
    ----------
    asked
        What is asked in every row.
    chosen
        Index of the chosen candidate of every row.
    rows
        Indices of the rows to solve.
    candidates
        Columns that are filled in.
    """
    raise NotImplementedError
