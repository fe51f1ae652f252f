"""Sources of one job in many rows, as faults see them."""

import numpy as np
import numpy.typing as npt

from loomwright.batch.variation import (
    COLD_CRANKING_CURRENT,
    GREATEST_CURRENT,
    SOURCE_RESISTANCE,
    SOURCE_VOLTAGE,
    Place,
    Variation,
)
from loomwright.engineering.protection.faults import internal_resistances_from_en_cold_cranking_ohm
from loomwright.engineering.record import record
from loomwright.jobs.circuit_sources import batteries_in_series, limits_its_fault

Array = npt.NDArray[np.float64]


@record
class SourceColumns:
    """One source in every row.

    Parameters
    ----------
    emf_v
        Open-circuit voltage [V].
    internal_resistance_ohm
        As stated, or at -18 C from the cranking current [ohm]; NaN where that cannot be.
    current_limit_a
        Greatest current of a fault [A], infinite without a limit.
    """

    emf_v: Array
    internal_resistance_ohm: Array
    current_limit_a: Array


def source_columns(variation: Variation, key: str) -> SourceColumns:
    """Return a source in every row.

    Parameters
    ----------
    variation
        Rows of one job.
    key
        Of the source.

    Returns
    -------
    SourceColumns
        As ``fault_source`` has it of each row.
    """
    source = variation.job.power_sources[key]

    def column(what: str, absent: float = np.nan) -> Array:
        found = variation.numbers(Place(what, key))
        filled = np.full(variation.count, absent)
        if found is not None:
            filled[:] = found
        return filled

    emf_v = column(SOURCE_VOLTAGE)
    resistance_ohm = (
        column(SOURCE_RESISTANCE)
        if variation.numbers(Place(SOURCE_RESISTANCE, key)) is not None
        else internal_resistances_from_en_cold_cranking_ohm(
            emf_v, column(COLD_CRANKING_CURRENT), batteries_in_series(source)
        )
    )
    no_limit = np.full(variation.count, np.inf)
    return SourceColumns(
        emf_v,
        resistance_ohm,
        column(GREATEST_CURRENT, np.inf) if limits_its_fault(source) else no_limit,
    )
