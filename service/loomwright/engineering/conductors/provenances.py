"""Which rows of the tables the figures of a conductor rest on."""

from collections.abc import Sequence

from loomwright.engineering.conductors.ampacity import PUBLISHED_TABLE_BY_SERIES, TABULATED_METALS
from loomwright.tables.records import ConductorSize, Insulation, Material, Provenance, Tables


def conductor_provenances(
    size: ConductorSize,
    material: Material,
    insulation: Insulation,
    places: Sequence[tuple[int, bool]],
    tables: Tables,
) -> list[Provenance]:
    """Return what resistance, temperature and ampacity of a conductor rest on.

    Parameters
    ----------
    size
        Of the conductor.
    material
        Its metal.
    insulation
        Its insulation.
    places
        Conductors in the bundle and whether the engine-space factor applies, for each segment.
    tables
        Published ampacities, factors and air.

    Returns
    -------
    list of Provenance
        A row may stand in it more than once.
    """
    table = PUBLISHED_TABLE_BY_SERIES[size.series]
    rows = [
        size.provenance,
        size.diameter_provenance,
        material.provenance,
        insulation.provenance,
        tables.air.provenance,
    ]
    if material.key in TABULATED_METALS:
        rows.append(next(row.provenance for row in tables.ampacities if row.table == table))
    for factor in tables.factors:
        if factor.table == table:
            bundled = factor.condition == "bundled_conductors"
            rows += [
                factor.provenance
                for count, engine_space in places
                if (factor.lower <= count <= factor.upper if bundled else engine_space)
            ]
    return rows
