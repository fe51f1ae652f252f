"""What the order of work follows from: zones as they are walked, circuits that are built."""

from collections.abc import Mapping
from functools import cached_property
from typing import NamedTuple

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.work_order.outline import CircuitOutline, EquipmentOutline, JobOutline
from loomwright.jobs.work_order.steps import (
    CLEAR,
    CONNECT_LOAD,
    FUSE,
    MOUNT,
    PHASES,
    PROVE_DEAD,
    RECONNECT,
    STAGES,
    UNCOVER,
)
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables, Zone

CHARGER = "charger"
UNDERBODY = "underbody"
_WITHOUT_TRIM = (UNDERBODY, "open_air_30_c")
_BOLTED = ("bolt_in_block", "bolt_in_strip", "single_bolt_on_terminal")


class Contacts(NamedTuple):
    """Ring terminals of a circuit that are bolted to a source and to a ground point."""

    source: int
    ground: int


class Layout(NamedTuple):
    """What decides beside the job which tasks there are, what each needs, and their order.

    ``built`` are the circuits that were sized, with their ``contacts``, ``bolted`` those with a
    bolted fuse, ``blocks`` those that end in a distribution block. How thick a conductor and how
    great a fuse is decides none of them.
    """

    built: tuple[str, ...]
    contacts: tuple[Contacts, ...]
    bolted: frozenset[str]
    blocks: frozenset[str]

    @classmethod
    def of(cls, builds: Mapping[str, CircuitBuild], fuse_tables: FuseTables) -> "Layout":
        """Return the layout of circuits as they are built, by key in the order of the job."""
        types = fuse_tables.types
        return cls(
            built=tuple(builds),
            contacts=tuple(
                [
                    Contacts(build.source_contacts, build.ground_contacts)
                    for build in builds.values()
                ]
            ),
            bolted=frozenset(
                [key for key, build in builds.items() if types[build.fuse_type].mounting in _BOLTED]
            ),
            blocks=frozenset([key for key, build in builds.items() if build.branch_fuses]),
        )


class WorkFacts:
    """What is known of a job before its tasks are written down.

    Parameters
    ----------
    outline
        What of the job decides tasks. Nothing else of it is known here, so that what is kept for
        an outline serves every job that has it.
    tables
        Zones and torques.
    layout
        Its circuits that are built.
    """

    def __init__(self, outline: JobOutline, tables: Tables, layout: Layout) -> None:
        self.outline = outline
        self.tables = tables
        self.hazards = frozenset(outline.hazards)
        self.on_the_route = self._cautions_on_the_route()
        self.power_sources = {source.key: source for source in outline.power_sources}
        self.circuits = {circuit.key: circuit for circuit in outline.circuits}
        self.built = {key: self.circuits[key] for key in layout.built}
        self.contacts = dict(zip(layout.built, layout.contacts, strict=True))
        self.bolted, self.blocks = layout.bolted, layout.blocks
        self.ranks = {key: place for place, key in enumerate(self.circuits)}
        self.walk = self._zones_walked()

    def _cautions_on_the_route(self) -> tuple[str, ...]:
        """Return the cautions of work anywhere along a route of this vehicle."""
        by_fact = {
            "high_voltage": (
                self.outline.has_high_voltage or "high_voltage_cables" in self.hazards
            ),
            "airbag": True,
            "airbag_wait": "airbags_on_route" in self.hazards,
            "fuel_lines": "fuel_lines" in self.hazards,
        }
        return tuple(key for key, applies in by_fact.items() if applies)

    def _zones_walked(self) -> Mapping[str, int]:
        """Return the zones by their place in the walk: as circuits and routes come to them.

        Of a circuit that is not built only the last zone is entered, where its equipment stands.
        """
        found: dict[str, int] = {}
        for circuit in self.outline.circuits:
            route = circuit.route
            for segment in route if circuit.key in self.built else route[-1:]:
                found.setdefault(segment.zone, len(found))
        return found

    def zone(self, key: str) -> Zone:
        """Return a zone by its key."""
        return self.tables.zones[key]

    def place_name(self, key: str) -> str:
        """Return the name of a zone without what qualifies it."""
        return self.zone(key).name.partition(",")[0]

    @property
    def trimmed(self) -> list[str]:
        """Zones of the walk with trim to take off; all of them where none has any."""
        inside = [
            key for key in self.walk if key not in _WITHOUT_TRIM and not self.zone(key).engine_space
        ]
        return inside or list(self.walk)

    @staticmethod
    def load_zone(circuit: CircuitOutline) -> str:
        """Return the zone where the equipment of a circuit stands."""
        return circuit.route[-1].zone

    def rank(self, kind: str, zone: str | None = None, entry: int = 0) -> tuple[int, int, int, int]:
        """Return the rank of a task; without a zone it stands behind those of all zones.

        Parameters
        ----------
        kind
            Kind of task.
        zone
            Key of the zone that it is done in.
        entry
            Place among tasks of the same kind and zone.

        Returns
        -------
        tuple of int
            Phase, zone, stage, entry.
        """
        place = len(self.walk) if zone is None else self.walk[zone]
        return PHASES[kind], place, STAGES[kind], entry

    @cached_property
    def sources_by_circuit(self) -> Mapping[str, str]:
        """Key of the source that each circuit hangs on, itself or through others."""
        found: dict[str, str] = {}
        for circuit in self.outline.circuits:
            found[circuit.key] = found.get(circuit.fed_from, circuit.fed_from)
        return found

    @cached_property
    def linked(self) -> frozenset[str]:
        """Built circuits between two sources: those of chargers, where there is more than one."""
        if len(self.power_sources) < 2:
            return frozenset()
        charging = {item.circuit for item in self.outline.equipment if item.what == CHARGER}
        return frozenset(
            key for key, circuit in self.built.items() if circuit.charges_source or key in charging
        )

    @cached_property
    def fused_dead(self) -> frozenset[str]:
        """Built circuits whose fuse is fitted while the sources are still isolated.

        A bolted fuse is: a spanner on a live stud makes a short circuit. So are the fuses of the
        circuits that feed one, as a branch is fused after its feeder.
        """
        found: set[str] = set()
        for key in reversed(self.built):
            if key in self.bolted or not found.isdisjoint(self.branches(key)):
                found.add(key)
        return frozenset(found)

    def live_sources(self, key: str) -> list[str]:
        """Return the sources that a circuit hangs on; for what joins two sources, all joined."""
        if key not in self.linked:
            return [self.sources_by_circuit[key]]
        joined = {self.sources_by_circuit[other] for other in self.linked}
        return [source for source in self.power_sources if source in joined]

    def feeder(self, circuit: CircuitOutline) -> str | None:
        """Return the key of the circuit that feeds a circuit, none where a source does."""
        return circuit.fed_from if circuit.fed_from in self.circuits else None

    def branches(self, key: str) -> list[str]:
        """Return the keys of the circuits that are fed from the end of a circuit."""
        return [item.key for item in self.outline.circuits if item.fed_from == key]

    def built_branches(self, circuit: CircuitOutline) -> list[str]:
        """Return the keys of the built circuits that hang on the end of a circuit."""
        return [key for key in self.branches(circuit.key) if key in self.built]

    def ends_free(self, key: str) -> bool:
        """Return whether a built circuit is for branches of which none is built."""
        return key not in self.blocks and bool(self.branches(key))

    def equipment_on(self, key: str) -> list[EquipmentOutline]:
        """Return the equipment that a circuit feeds."""
        return [item for item in self.outline.equipment if item.circuit == key]

    def fitted_on(self, circuit: CircuitOutline) -> list[EquipmentOutline]:
        """Return the equipment of a circuit that is fitted in this job."""
        return [item for item in self.equipment_on(circuit.key) if item.fitted]


def of(kind: str, *places: str | int) -> str:
    """Return the key of a task: its kind, and what it is done to.

    Parameters
    ----------
    kind
        Kind of task.
    places
        Key of a circuit, source, zone or piece of equipment, and a number within it.

    Returns
    -------
    str
        Such as ``"lay/amplifier_feed/1"``.
    """
    # An order asks for hundreds, and most have one place.
    if len(places) == 1:
        return f"{kind}/{places[0]}"
    return "/".join((kind, *map(str, places)))


# What most tasks wait for, in one place each.
SAFE = of(PROVE_DEAD)
CLEARED = of(CLEAR)


def mounted(facts: WorkFacts, circuit: CircuitOutline) -> tuple[str, ...]:
    """Return the keys of the tasks that fit what a circuit feeds."""
    return tuple(of(MOUNT, item.key) for item in facts.fitted_on(circuit))


def fused(key: str) -> str:
    """Return the key of the task that fits the fuse of a circuit."""
    return of(FUSE, key)


def uncovered(zone: str) -> str:
    """Return the key of the task that opens a zone."""
    return of(UNCOVER, zone)


def load_connected(key: str) -> str:
    """Return the key of the task that connects the load of a circuit."""
    return of(CONNECT_LOAD, key)


def source_reconnected(key: str) -> str:
    """Return the key of the task that reconnects a source."""
    return of(RECONNECT, key)
