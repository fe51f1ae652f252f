"""What the fuse of a circuit hangs on whatever flows in it, kept in a bounded memo.

The same few conductors, places and fuse types serve most circuits: what is left for each of them is
arithmetic of its currents (``fuse_choice``).
"""

from dataclasses import dataclass
from functools import lru_cache

from loomwright.engineering.protection import fuse_bounds as bounds
from loomwright.engineering.protection.damage import DamageCurve, damage_curve
from loomwright.engineering.protection.fuse_answer import Bound, FuseProvenances
from loomwright.engineering.protection.fuse_coordination import FuseSet, fuse_set
from loomwright.engineering.protection.fuse_request import FuseOptions, FuseSite
from loomwright.engineering.protection.fuses import (
    ambient_rating_factor,
    fuse_curve,
    greatest_operating_voltage_v,
    multiple_opening_within,
    rated_voltage_at_least_v,
)
from loomwright.engineering.protection.rating_rules import CURVE_NOT_PUBLISHED, VOLTAGE_TOO_LOW
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import FuseType, Provenance


@dataclass(frozen=True, slots=True, eq=False)
class TypeSetting:
    """One fuse type in a setting.

    ``rated_voltage_v`` is the lowest rated voltage that serves, if any does, and ``failing`` what
    speaks against the type whatever its rating is, as digits. ``carried`` has each peak of the load
    by the rule of its bound: the multiple of the rated current that the type carries for the length
    of the peak [1]. ``far_end_multiple`` is the multiple that opens it in the clearing time [1],
    none where no published one does. It is a higher-voltage variant where its lowest rated voltage
    does not serve. ``cautions`` are those that hold whatever its rating is.
    """

    fuse_type: FuseType
    is_published: bool
    rated_voltage_v: float | None
    failing: int
    carried: tuple[tuple[str, float], ...]
    far_end_multiple: float | None
    is_higher_voltage_variant: bool
    curve_provenance: Provenance | None
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class FuseSetting:
    """What all circuits of one site have in common.

    ``conductor_a`` is the least of ``upper_bounds``, those of the conductor, which all types share
    [A]. ``continuous_share`` is the steady current that loads a fuse like the load over the load's
    current [1].
    """

    fuses: FuseSet
    curve: DamageCurve
    parallel_conductors: int
    is_cyclic: bool
    options: FuseOptions
    ambient_factor: float
    loading_factor: float
    continuous_share: float
    clearing_time_s: float
    required_voltage_v: float
    equipment_bound: Bound | None
    upper_bounds: tuple[Bound, ...]
    conductor_a: float
    types: tuple[TypeSetting, ...]
    provenances: FuseProvenances

    @property
    def tables(self) -> FuseTables:
        """All fuse tables."""
        return self.fuses.tables


@lru_cache(maxsize=2048)
def fuse_setting(site: FuseSite, tables: FuseTables) -> FuseSetting:
    """Return what all circuits of one site have in common.

    Parameters
    ----------
    site
        Conductor, load's duty, wanted types and choices.
    tables
        Fuse types and rules.

    Returns
    -------
    FuseSetting
        The same object for equal sites.

    Raises
    ------
    EngineeringError
        ``ambient_outside_model``, ``unknown_fuse_type``.
    """
    curve = damage_curve(
        site.thermal, site.ampacity_a / site.parallel_conductors, site.initial_temperature_k
    )
    ambient_factor = float(ambient_rating_factor(site.ambient_temperature_k, tables))
    fuses = fuse_set(tables, site.fuse_types)
    upper = bounds.common_upper_bounds(site, tables, curve, ambient_factor)
    equipment = bounds.equipment_bound(site)
    clearing_s = site.options.clearing_time_s or tables.factors["clearing_time_s"].value
    required_v = greatest_operating_voltage_v(site.system_voltage_v, tables)
    of_load = tables.factors["loading_factor"].provenance
    return FuseSetting(
        fuses=fuses,
        curve=curve,
        parallel_conductors=site.parallel_conductors,
        is_cyclic=site.on_time_s is not None,
        options=site.options,
        ambient_factor=ambient_factor,
        loading_factor=site.options.loading_factor or tables.factors["loading_factor"].value,
        continuous_share=bounds.continuous_share(site, tables),
        clearing_time_s=clearing_s,
        required_voltage_v=required_v,
        equipment_bound=equipment,
        upper_bounds=upper,
        conductor_a=min(bound.rated_current_a for bound in upper),
        types=tuple(
            _type_setting(site, tables, fuse_type, required_v, clearing_s)
            for fuse_type in fuses.types
        ),
        provenances=_provenances(
            fuses,
            site.ampacity_provenance,
            (of_load,) if equipment is None else (of_load, equipment.provenance),
        ),
    )


def _type_setting(
    site: FuseSite,
    tables: FuseTables,
    fuse_type: FuseType,
    required_voltage_v: float,
    clearing_time_s: float,
) -> TypeSetting:
    is_published = fuse_curve(fuse_type).is_published
    rated_v = rated_voltage_at_least_v(fuse_type, required_voltage_v)
    is_variant = rated_v is not None and rated_v > fuse_type.rated_voltages_v[0]
    provenance = tables.curve_provenance[fuse_type.key] if is_published else None
    is_recalled = provenance is not None and provenance.checked == "memory"
    peaks = ((bounds.INRUSH, site.inrush_duration_s), (bounds.CYCLIC_LOAD, site.on_time_s))
    return TypeSetting(
        fuse_type=fuse_type,
        is_published=is_published,
        rated_voltage_v=rated_v,
        failing=(0 if rated_v is not None else VOLTAGE_TOO_LOW)
        | (0 if is_published else CURVE_NOT_PUBLISHED),
        carried=tuple(
            (rule, bounds.carried_multiple(tables, fuse_type, duration_s))
            for rule, duration_s in peaks
            if duration_s is not None and is_published
        ),
        far_end_multiple=multiple_opening_within(fuse_type, clearing_time_s),
        is_higher_voltage_variant=is_variant,
        curve_provenance=provenance,
        cautions=(
            *(("opening_times_from_memory",) if is_recalled else ()),
            *(("higher_voltage_variant",) if is_variant else ()),
        ),
    )


@lru_cache(maxsize=1024)
def _provenances(
    fuses: FuseSet, ampacity: Provenance, lower: tuple[Provenance, ...]
) -> FuseProvenances:
    tables = fuses.tables
    rows = [factor.provenance for factor in tables.factors.values()]
    rows += [limit.provenance for limit in tables.position_limits]
    rows += [row.provenance for row in tables.interrupting_capacities]
    rows += [row.provenance for row in tables.system_voltages]
    for fuse_type in fuses.types:
        rows += [fuse_type.provenance, tables.rating_provenance[fuse_type.key]]
        rows += [tables.curve_provenance[fuse_type.key]] if fuse_type.opening_times else []
    return FuseProvenances(tuple(dict.fromkeys([ampacity, *lower, *rows])))
