"""What is asked of the fuse selection, in coherent SI."""

from dataclasses import dataclass, field
from typing import NamedTuple

from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.transient import LumpedConductor
from loomwright.engineering.record import record
from loomwright.tables.records import Provenance

ROAD_VEHICLE = "road_vehicle"
BOAT_RULES = {
    "boat_33_cfr_183": "cfr_33_183",
    "boat_abyc_e11": "abyc_e11",
    "boat_iso_10133": "iso_10133",
}
PLACEMENT_RULES = (ROAD_VEHICLE, *BOAT_RULES)


@record
class FuseLoad:
    """The load behind the fuse.

    Parameters
    ----------
    continuous_current_a
        Current while the load is on [A], above 0.
    inrush_current_a, inrush_duration_s
        Greatest starting current [A] and how long it lasts [s]; both or neither.
    on_time_s, off_time_s
        Cyclic duty [s]; both or neither.
    """

    continuous_current_a: float
    inrush_current_a: float | None = None
    inrush_duration_s: float | None = None
    on_time_s: float | None = None
    off_time_s: float | None = None


@record
class ProtectedConductor:
    """The conductor behind the fuse.

    Parameters
    ----------
    thermal
        One conductor at its hottest ambient.
    ampacity_a
        Continuous current that governs, of all parallel conductors together [A], above 0.
    there_and_back_resistance_ohm
        Whole loop from the source to the far end and back at working temperature, joints and fuse
        counted; without the resistance before the fuse that the source already counts [ohm].
    ampacity_provenance
        Where the ampacity comes from.
    parallel_conductors
        Number of equal conductors in parallel [1].
    initial_temperature_k
        Temperature at which an overcurrent begins [K]; the insulation rating if none.
    """

    thermal: LumpedConductor
    ampacity_a: float
    there_and_back_resistance_ohm: float
    ampacity_provenance: Provenance
    parallel_conductors: int = 1
    initial_temperature_k: float | None = None


@record
class FusePlacement:
    """Where the fuse sits and whose position rule governs.

    Parameters
    ----------
    distance_from_source_m
        Length of conductor between the source and the fuse [m], 0 or more.
    sheathed
        Whether that length runs in a sheath or enclosure throughout.
    on_battery_terminal
        Whether it starts at the battery terminal itself.
    is_main
        Whether the fuse is the first one behind the source.
    rules
        One of ``PLACEMENT_RULES``.
    """

    distance_from_source_m: float = 0.0
    sheathed: bool = False
    on_battery_terminal: bool = True
    is_main: bool = True
    rules: str = ROAD_VEHICLE


@record
class GivenFuse:
    """A fuse that is already there or is to be checked; ``fuse_type`` is ``None`` if not known."""

    rated_current_a: float
    fuse_type: str | None = None


@dataclass(frozen=True, slots=True)
class FuseOptions:
    """Choices that the caller may make; ``None`` takes the figure of the tables.

    Parameters
    ----------
    loading_factor
        Greatest continuous load over rating at 23 C [1].
    clearing_time_s
        Time in which a fault at the far end must be cleared [s].
    rating_may_exceed_ampacity
        Whether ratings up to the limit of 33 CFR 183.455(c) are looked at; the conductor must still
        be protected thermally.
    selectivity_required
        Whether the fuse must be selective with the upstream one at every current.
    rating_may_be_below_equipment_fuse
        Whether the fuse may be smaller than the one inside the equipment.
    breaking_capacity_may_be_exceeded
        Whether a near-source fault above the breaking capacity is a caution only.
    """

    loading_factor: float | None = None
    clearing_time_s: float | None = None
    rating_may_exceed_ampacity: bool = False
    selectivity_required: bool = False
    rating_may_be_below_equipment_fuse: bool = False
    breaking_capacity_may_be_exceeded: bool = False


@record
class FuseRequest:
    """One circuit to be fused.

    Parameters
    ----------
    load, conductor, source
        The circuit.
    system_voltage_v
        Nominal voltage of the system [V], above 0.
    ambient_temperature_k
        Air around the fuse [K].
    fuse_types
        Keys of the wanted types in order of preference; empty for all.
    placement
        Where the fuse sits.
    upstream_fuse, equipment_fuse
        Neighbours, if any.
    options
        Choices.
    checked_fuse
        A type and rating to be checked instead of chosen.
    """

    load: FuseLoad
    conductor: ProtectedConductor
    source: FaultSource
    system_voltage_v: float
    ambient_temperature_k: float
    fuse_types: tuple[str, ...] = ()
    placement: FusePlacement = field(default_factory=FusePlacement)
    upstream_fuse: GivenFuse | None = None
    equipment_fuse: GivenFuse | None = None
    options: FuseOptions = field(default_factory=FuseOptions)
    checked_fuse: GivenFuse | None = None


class FuseSite(NamedTuple):
    """What of a request no current and no resistance belongs to, so that many have it in common.

    Parameters
    ----------
    thermal, ampacity_a, ampacity_provenance, parallel_conductors, initial_temperature_k
        As ``ProtectedConductor`` has them.
    system_voltage_v, ambient_temperature_k
        As ``FuseRequest`` has them [V], [K].
    fuse_types
        Wanted types, or that of the fuse to be checked; empty for all.
    equipment_fuse_a
        Rating of the fuse in the equipment [A]; none without.
    inrush_duration_s, on_time_s, off_time_s
        As ``FuseLoad`` has them [s].
    options
        Choices.
    """

    thermal: LumpedConductor
    ampacity_a: float
    ampacity_provenance: Provenance
    parallel_conductors: int
    initial_temperature_k: float | None
    system_voltage_v: float
    ambient_temperature_k: float
    fuse_types: tuple[str, ...]
    equipment_fuse_a: float | None
    inrush_duration_s: float | None
    on_time_s: float | None
    off_time_s: float | None
    options: FuseOptions

    def with_conductor(self, conductor: ProtectedConductor) -> "FuseSite":
        """Return the same with another conductor behind the fuse."""
        return self._replace(
            thermal=conductor.thermal,
            ampacity_a=conductor.ampacity_a,
            ampacity_provenance=conductor.ampacity_provenance,
            parallel_conductors=conductor.parallel_conductors,
            initial_temperature_k=conductor.initial_temperature_k,
        )


def site_of(request: FuseRequest) -> FuseSite:
    """Return what of a request no current and no resistance belongs to.

    Parameters
    ----------
    request
        The circuit, or a fuse to be checked in it.

    Returns
    -------
    FuseSite
        Equal for requests that differ in currents, resistances and the source alone.
    """
    conductor, load, equipment = request.conductor, request.load, request.equipment_fuse
    checked_type = None if request.checked_fuse is None else request.checked_fuse.fuse_type
    return FuseSite(
        conductor.thermal,
        conductor.ampacity_a,
        conductor.ampacity_provenance,
        conductor.parallel_conductors,
        conductor.initial_temperature_k,
        request.system_voltage_v,
        request.ambient_temperature_k,
        request.fuse_types if checked_type is None else (checked_type,),
        None if equipment is None else equipment.rated_current_a,
        load.inrush_duration_s,
        load.on_time_s,
        load.off_time_s,
        request.options,
    )
