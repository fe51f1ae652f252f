"""Conductors and fuses of quotes that stand side by side, compared circuit by circuit."""

from collections import Counter
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from loomwright.engineering.record import record

Mask = npt.NDArray[np.bool_]
_NONE = "none"


class SizeChange(NamedTuple):
    """A conductor or fuse of a circuit that became another one.

    Parameters
    ----------
    circuit
        Key of the circuit.
    what
        ``conductor`` or ``fuse``.
    earlier, new
        Size of the conductor, or type and rating of the fuse; ``none`` without one.
    """

    circuit: str
    what: str
    earlier: str
    new: str


@record
class CircuitChanges:
    """Changes of circuits in rows that stand side by side.

    Parameters
    ----------
    resized
        Rows in which a conductor or a fuse changed.
    other
        Rows whose circuits are not the same ones.
    sizes
        Circuits of all rows by what changed.
    """

    resized: Mask
    other: Mask
    sizes: Mapping[SizeChange, int]


def circuit_changes(earlier: pa.ListArray, new: pa.ListArray) -> CircuitChanges:
    """Return how circuits changed; rows without a quote on either side do not count.

    Parameters
    ----------
    earlier
        Circuits of each row as they were.
    new
        Circuits of the same pairs as they are.

    Returns
    -------
    CircuitChanges
        By row, and counted.
    """
    both: Mask = pc.and_(pc.is_valid(earlier), pc.is_valid(new)).to_numpy(zero_copy_only=False)
    as_many: Mask = pc.fill_null(
        pc.equal(pc.list_value_length(earlier), pc.list_value_length(new)), False
    ).to_numpy(zero_copy_only=False)
    rows = np.flatnonzero(both & as_many)
    was, now = earlier.take(pa.array(rows)), new.take(pa.array(rows))
    row_of_circuit = np.repeat(rows, pc.list_value_length(now).to_numpy(zero_copy_only=False))
    was, now = was.flatten(), now.flatten()
    other = both & ~as_many
    other[row_of_circuit[_differs(pc.struct_field(was, "key"), pc.struct_field(now, "key"))]] = True
    comparable = ~other[row_of_circuit]
    resized = np.zeros(len(new), np.bool_)
    sizes: Counter[SizeChange] = Counter()
    for what, text_of in (("conductor", _conductors), ("fuse", _fuses)):
        earlier_texts, new_texts = text_of(was), text_of(now)
        changed = _differs(earlier_texts, new_texts) & comparable
        resized[row_of_circuit[changed]] = True
        mask = pa.array(changed)
        texts = pa.table(
            {
                "circuit": pc.struct_field(now, "key").filter(mask),
                "earlier": earlier_texts.filter(mask),
                "new": new_texts.filter(mask),
            }
        )
        counted = texts.group_by(texts.schema.names).aggregate([([], "count_all")])
        for each in counted.to_pylist():
            sizes[SizeChange(each["circuit"], what, each["earlier"], each["new"])] += each[
                "count_all"
            ]
    return CircuitChanges(resized, other, sizes)


def _differs(earlier: pa.Array, new: pa.Array) -> Mask:
    unequal: Mask = pc.not_equal(earlier, new).to_numpy(zero_copy_only=False)
    return unequal


def _conductors(circuits: pa.StructArray) -> pa.Array:
    return pc.fill_null(pc.struct_field(circuits, "conductor"), _NONE)


def _fuses(circuits: pa.StructArray) -> pa.Array:
    rating = pc.struct_field(circuits, "rated_current_a").cast(pa.utf8())
    kind = pc.struct_field(circuits, "fuse_type")
    text = pc.binary_join_element_wise(kind, rating, "A", " ", null_handling="emit_null")
    return pc.fill_null(text, _NONE)
