"""Power sources of many rows of one job, as columns."""

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
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.record import record
from loomwright.jobs.circuit_sources import (
    cranking_resistance_ohm,
    limits_its_fault,
    working_share,
)

Array = npt.NDArray[np.float64]


def column(variation: Variation, place: Place) -> Array:
    """Return a number that every row states.

    Parameters
    ----------
    variation
        Rows of one job.
    place
        Where the number stands.

    Returns
    -------
    ndarray
        In coherent SI, of each row; not to be changed.
    """
    numbers = variation.numbers(place)
    assert numbers is not None
    return np.broadcast_to(np.asarray(numbers, np.float64), (variation.count,))


def cold_resistances_ohm(variation: Variation, key: str) -> Array:
    """Return the internal resistance of a source as stated, or at -18 C from its cranking current.

    Parameters
    ----------
    variation
        Rows of one job.
    key
        Of the source.

    Returns
    -------
    ndarray
        Of each row [ohm]; NaN where the single call refuses the source.
    """
    if variation.numbers(Place(SOURCE_RESISTANCE, key)) is not None:
        return column(variation, Place(SOURCE_RESISTANCE, key))
    emf_v = column(variation, Place(SOURCE_VOLTAGE, key))
    cranking_a = column(variation, Place(COLD_CRANKING_CURRENT, key))
    voltage_v = variation.job.power_sources[key].system_voltage_v
    try:
        return cranking_resistance_ohm(emf_v, cranking_a, voltage_v)
    except EngineeringError as error:
        accepted_v = np.where(emf_v <= error.attributes["limit"], np.nan, emf_v)
    return cranking_resistance_ohm(accepted_v, cranking_a, voltage_v)


def working_resistances_ohm(variation: Variation, key: str) -> Array:
    """Return the internal resistance of a source at work.

    Parameters
    ----------
    variation
        Rows of one job.
    key
        Of the source.

    Returns
    -------
    ndarray
        Of each row [ohm]; NaN where the single call refuses the source.
    """
    stated = variation.numbers(Place(SOURCE_RESISTANCE, key)) is not None
    return working_share(stated) * cold_resistances_ohm(variation, key)


@record
class SourceRows:
    """One source in every row, as a fault sees it.

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


def fault_source_rows(variation: Variation, key: str) -> SourceRows:
    """Return a source in every row, as ``fault_source`` has it of each.

    Parameters
    ----------
    variation
        Rows of one job.
    key
        Of the source.

    Returns
    -------
    SourceRows
        Arrays of their own.
    """
    limit = Place(GREATEST_CURRENT, key)
    is_limited = limits_its_fault(variation.job.power_sources[key])
    no_limit = np.full(variation.count, np.inf)
    has_limit = is_limited and variation.numbers(limit) is not None
    return SourceRows(
        column(variation, Place(SOURCE_VOLTAGE, key)).copy(),
        cold_resistances_ohm(variation, key).copy(),
        column(variation, limit).copy() if has_limit else no_limit,
    )
