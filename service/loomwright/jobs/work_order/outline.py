"""What the tasks of a job are written from: its words and its layout, no lengths, loads or sizes.

Shops plan the same work for one vehicle after another. Jobs that differ in what is left out here
have one outline, and with it the same tasks but for the figures that these state.
"""

from operator import attrgetter
from typing import NamedTuple

from loomwright.jobs.circuit_build import CircuitBuild
from loomwright.jobs.circuit_layout import End
from loomwright.jobs.job import Job


class SourceOutline(NamedTuple):
    """A point that circuits are fed from."""

    key: str
    description: str
    tap_point: str
    system_voltage_v: float
    emf_v: float


class EquipmentOutline(NamedTuple):
    """A piece of equipment, without what it draws."""

    key: str
    description: str
    what: str
    quantity: int
    circuit: str | None
    fitted: bool
    operation: str
    reference: str | None
    fixings: str | None


class StretchOutline(NamedTuple):
    """A stretch of a route, without its length."""

    zone: str
    through_bulkhead: bool
    loomed: bool
    taped: bool


class CircuitOutline(NamedTuple):
    """A circuit, without the lengths of its route and without its sizes.

    Of leads and taps it has the numbers.
    """

    key: str
    description: str
    fed_from: str
    charges_source: bool
    distance_from_source_m: float
    joining: str
    return_by: str
    stud: str
    material: str
    colour: str
    return_colour: str
    route: tuple[StretchOutline, ...]
    signal_leads: int
    remote_leads: int
    taps: int


class LabourOutline(NamedTuple):
    """An operation that the job asks for, without how often."""

    operation: str
    reason: str


class JobOutline(NamedTuple):
    """What of a job the tasks of its work order follow from, all of it hashable.

    The vehicle's description is left out: it stands in one task, and differs in every job.
    """

    has_high_voltage: bool
    hazards: tuple[str, ...]
    power_sources: tuple[SourceOutline, ...]
    equipment: tuple[EquipmentOutline, ...]
    circuits: tuple[CircuitOutline, ...]
    labour: tuple[LabourOutline, ...]

    @classmethod
    def of(cls, job: Job) -> "JobOutline":
        """Return the outline of a job."""
        return cls(
            job.vehicle.has_high_voltage,
            job.vehicle.hazards,
            tuple([SourceOutline._make(_SOURCE(item)) for item in job.power_sources.values()]),
            tuple([EquipmentOutline._make(_EQUIPMENT(item)) for item in job.equipment]),
            tuple(
                [
                    CircuitOutline._make(
                        (
                            *_CIRCUIT(item),
                            tuple([StretchOutline._make(_STRETCH(each)) for each in item.route]),
                            len(item.signal_leads),
                            len(item.remote_leads),
                            len(item.taps),
                        )
                    )
                    for item in job.circuits
                ]
            ),
            tuple([LabourOutline(item.operation, item.reason) for item in job.labour]),
        )


class EndedCircuit(NamedTuple):
    """What of a circuit as it is built its tasks follow from beside its conductor and its fuse."""

    circuit: str
    by_chassis: bool
    from_source: bool
    holder_at_source: bool
    feed_pieces: int
    solder_joints: int
    ends: tuple[End, ...]

    @classmethod
    def of(cls, build: CircuitBuild) -> "EndedCircuit":
        """Return what counts of a circuit that was sized, as it is built."""
        return cls._make(_ENDED(build))


# Outlines are asked for in every request: one call for all members of each record.
_SOURCE = attrgetter(*SourceOutline._fields)
_EQUIPMENT = attrgetter(*EquipmentOutline._fields)
_STRETCH = attrgetter(*StretchOutline._fields)
_CIRCUIT = attrgetter(
    *CircuitOutline._fields[: CircuitOutline._fields.index("return_by")],
    "return_path.path",
    "return_path.stud",
    "conductor.material",
    "conductor.colour",
    "conductor.return_colour",
)
_ENDED = attrgetter("circuit.key", *EndedCircuit._fields[1:])
