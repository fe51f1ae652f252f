"""The conductor behind a fuse, from the conductor sizing."""

from functools import lru_cache

from loomwright.engineering.conductors.ampacity import PUBLISHED_TABLE_BY_SERIES
from loomwright.engineering.conductors.choice import (
    CandidateFrame,
    ConductorAnswer,
    ConductorRequest,
)
from loomwright.engineering.protection.fuse_request import ProtectedConductor
from loomwright.engineering.protection.transient import lumped_conductor_in_air
from loomwright.tables.records import Provenance, Tables


def protected_conductor(
    request: ConductorRequest, answer: ConductorAnswer, index: int, tables: Tables
) -> ProtectedConductor:
    """Return a candidate of an answer as the conductor that a fuse protects.

    Parameters
    ----------
    request
        Request of the conductor sizing.
    answer
        Answer of the conductor sizing.
    index
        Which candidate.
    tables
        Published ampacities, copper and air.

    Returns
    -------
    ProtectedConductor
        At the ambient of the hottest segment, with the loop resistance at working temperature.

    Raises
    ------
    EngineeringError
        ``ambient_above_insulation_rating``.
    """
    found = answer.candidates
    loop = float(found.loop_resistance_ohm[index])
    return protected_candidate(request, found.frame, index, loop, tables)


def protected_candidate(
    request: ConductorRequest,
    frame: CandidateFrame,
    index: int,
    loop_resistance_ohm: float,
    tables: Tables,
) -> ProtectedConductor:
    """Return a candidate as the conductor that a fuse protects.

    Parameters
    ----------
    request
        Of the conductor sizing.
    frame
        Its candidates.
    index
        Which candidate.
    loop_resistance_ohm
        Of its wiring at working temperature [ohm].
    tables
        Published ampacities, copper and air.

    Returns
    -------
    ProtectedConductor
        At the ambient of the hottest segment.

    Raises
    ------
    EngineeringError
        ``ambient_above_insulation_rating``.
    """
    return ProtectedConductor(
        thermal=lumped_conductor_in_air(
            frame.sizes[index],
            request.material,
            request.insulation,
            tables.materials["copper"],
            tables.air,
            max([segment.ambient_temperature_k for segment in request.segments]),
        ),
        ampacity_a=float(frame.ampacity_a[index]),
        there_and_back_resistance_ohm=loop_resistance_ohm,
        ampacity_provenance=(
            table_provenance(tables, PUBLISHED_TABLE_BY_SERIES[frame.sizes[index].series])
            if frame.ampacity_is_published[index]
            else request.insulation.provenance
        ),
        parallel_conductors=int(frame.parallel_runs[index]),
    )


@lru_cache(maxsize=16)
def table_provenance(tables: Tables, table: str) -> Provenance:
    """Return where the rows of a published ampacity table come from."""
    return next(row.provenance for row in tables.ampacities if row.table == table)
