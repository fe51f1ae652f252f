"""Conductors of the circuits of a job in many rows, by the engineering."""

from collections.abc import Mapping

from loomwright.batch.conductor_columns import ConductorRows
from loomwright.batch.variation import Variation
from loomwright.tables.records import Tables


def conductor_rows(variation: Variation, tables: Tables) -> Mapping[str, ConductorRows]:
    """Return the conductor of every circuit of a job in every row.

    Parameters
    ----------
    variation
        Rows of one job.
    tables
        Tables of the engineering.

    Returns
    -------
    Mapping
        By key of the circuit, in the order of the job. ``unusual`` is the same in all of them.
    """
    raise NotImplementedError
