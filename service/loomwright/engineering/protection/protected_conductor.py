"""The conductor behind a fuse, from the answer of the conductor sizing."""

from loomwright.engineering.conductors.ampacity import PUBLISHED_TABLE_BY_SERIES
from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest
from loomwright.engineering.protection.fuse_request import ProtectedConductor
from loomwright.engineering.protection.transient import lumped_conductor_in_air
from loomwright.tables.records import Provenance, Tables


def protected_conductor(
    request: ConductorRequest, answer: ConductorAnswer, index: int, tables: Tables
) -> ProtectedConductor:
    """Return a candidate of the conductor sizing as the conductor that a fuse protects.

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
    return ProtectedConductor(
        thermal=lumped_conductor_in_air(
            found.sizes[index],
            request.material,
            request.insulation,
            tables.materials["copper"],
            tables.air,
            max(segment.ambient_temperature_k for segment in request.segments),
        ),
        ampacity_a=float(found.ampacity_a[index]),
        there_and_back_resistance_ohm=float(found.loop_resistance_ohm[index]),
        ampacity_provenance=ampacity_provenance(request, answer, index, tables),
        parallel_conductors=int(found.parallel_runs[index]),
    )


def ampacity_provenance(
    request: ConductorRequest, answer: ConductorAnswer, index: int, tables: Tables
) -> Provenance:
    """Return where the governing ampacity comes from.

    Parameters
    ----------
    request
        Request of the conductor sizing.
    answer
        Answer of the conductor sizing.
    index
        Which candidate.
    tables
        Published ampacities.

    Returns
    -------
    Provenance
        Row of the table, or of the insulation whose rating the heat balance meets.
    """
    found = answer.candidates
    if not found.ampacity_is_published[index]:
        return request.insulation.provenance
    table = PUBLISHED_TABLE_BY_SERIES[found.sizes[index].series]
    return next(row.provenance for row in tables.ampacities if row.table == table)
