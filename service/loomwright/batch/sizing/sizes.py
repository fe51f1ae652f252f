"""Sizes of the circuits of many rows of one job, as columns."""

from collections.abc import Mapping, Sequence
from dataclasses import fields

import numpy as np
import numpy.typing as npt

from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]
Mask = npt.NDArray[np.bool_]

# In place of a conductor or a fuse that was not found.
NONE = -1


@record
class CircuitSizes:
    """One circuit in every row.

    Parameters
    ----------
    verdict
        Index into ``sized_circuit.VERDICTS``.
    size
        Index of the conductor into the sizes of its series in the tables, ``NONE`` without one.
    fuse_type
        Index into the ``fuse_types`` of the circuit, ``NONE`` without a fuse.
    rated_current_a
        Rating of the fuse [A], NaN without one.
    load_current_a, voltage_drop_v, conductor_temperature_k
        Those of the conductor [A], [V], [K], NaN without one.
    """

    verdict: Codes
    size: Codes
    fuse_type: Codes
    rated_current_a: Array
    load_current_a: Array
    voltage_drop_v: Array
    conductor_temperature_k: Array


@record
class SizedRows:
    """Circuits of every row of one job.

    Parameters
    ----------
    circuits
        By key, in the order of the job.
    unusual
        Rows that the array path leaves to the single call, whose entries mean nothing.
    """

    circuits: Mapping[str, CircuitSizes]
    unusual: Mask

    def rows(self, chosen: npt.NDArray[np.int64]) -> "SizedRows":
        """Return some rows, in the order of their indices."""
        return SizedRows(
            {
                key: CircuitSizes(**{name: getattr(circuit, name)[chosen] for name in _COLUMNS})
                for key, circuit in self.circuits.items()
            },
            self.unusual[chosen],
        )


_COLUMNS = tuple(field.name for field in fields(CircuitSizes))


def joined_sizes(parts: Sequence[SizedRows]) -> SizedRows:
    """Return rows of jobs with the same circuits and fuse types as rows of one.

    Parameters
    ----------
    parts
        Rows of each job, one job or more.

    Returns
    -------
    SizedRows
        In the order of the parts.
    """
    if len(parts) == 1:
        return parts[0]
    return SizedRows(
        {
            key: CircuitSizes(
                **{
                    name: np.concatenate([getattr(part.circuits[key], name) for part in parts])
                    for name in _COLUMNS
                }
            )
            for key in parts[0].circuits
        },
        np.concatenate([part.unusual for part in parts]),
    )
