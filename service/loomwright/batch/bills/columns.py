"""Bills of many rows as columns."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from loomwright.engineering.record import record

Whole = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Days = npt.NDArray[np.int32]

# In place of a last day where nothing limits a bill.
NO_DAY = int(np.iinfo(np.int32).min)


@record
class BillColumns:
    """What the bills of the rows of one job come to.

    Parameters
    ----------
    amounts
        Minor units by the names of ``quote.Amounts``; ``deposit`` is none where none is asked for.
    labour_hours
        Working hours, in millionths of an hour.
    unpriced
        Needs that no part of the book serves.
    valid_until
        Last day on which every price holds, in days since 1970; ``NO_DAY`` where nothing limits it.
    needs_single_call
        Rows that are left to the single call, whose entries mean nothing.
    """

    amounts: Mapping[str, Whole | None]
    labour_hours: Whole
    unpriced: npt.NDArray[np.int32]
    valid_until: Days
    needs_single_call: Mask
