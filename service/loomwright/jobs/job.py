"""Records of one job, in coherent SI units."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from loomwright.engineering.signal.path import SignalPath
from loomwright.engineering.supply.request import VehicleSupply
from loomwright.jobs.amplifier import Amplifier
from loomwright.marked import marked

SYSTEM_VOLTAGES_V = (12, 24, 48)
DRIVES = ("combustion", "hybrid", "electric")
HIGH_VOLTAGE_DRIVES = ("hybrid", "electric")
HAZARDS = (
    "airbags_on_route",
    "battery_sensor",
    "fuel_lines",
    "high_voltage_cables",
    "keyless_entry",
    "start_stop",
)
TAP_POINTS = {
    "battery": marked("battery terminal"),
    "remote_battery": marked("remote battery"),
    "jump_start_post": marked("jump-start post"),
    "converter_output": marked("DC-DC converter output"),
    "distribution": marked("distribution point of the vehicle"),
}
EQUIPMENT = (
    "amplifier",
    "bass_unit",
    "camera",
    "charger",
    "heater",
    "inverter",
    "lights",
    "loudspeaker",
    "other",
    "radio",
    "refrigerator",
    "winch",
)
STUDS = ("M4", "M5", "M6", "M8", "M10", "M12", "#6", "#8", "#10", "1/4 in", "5/16 in", "3/8 in")
# What else than a stud a conductor can end in, with the kind of part that ends it there.
END_PARTS = {"ferrule": "ferrule", "tab": "tab_terminal", "splice": "splice"}
# The equipment's own terminal takes the bare conductor, or the part brings its own.
BARE_END = "bare"
ENDS = (*STUDS, *END_PARTS, BARE_END)
CRIMP, SOLDER = "crimp", "solder"
JOININGS = (CRIMP, SOLDER)


@dataclass(frozen=True, slots=True)
class Vehicle:
    """The vehicle of a job; ``difficulty`` names a factor on hours in the price book, if any.

    ``hazards`` are those of ``HAZARDS`` that the vehicle is stated to have; its drive and the
    equipment imply others.
    """

    description: str
    drive: str
    system_voltage_v: float
    difficulty: str | None = None
    hazards: tuple[str, ...] = ()

    @property
    def has_high_voltage(self) -> bool:
        """Whether a high-voltage system drives it."""
        return self.drive in HIGH_VOLTAGE_DRIVES


@dataclass(frozen=True, slots=True)
class PowerSource:
    """A point that circuits are fed from.

    Either ``internal_resistance_ohm`` or ``cold_cranking_current_a`` is stated.
    ``system_voltage_v`` is the vehicle's unless a converter makes another.
    ``greatest_current_a`` is what the maker allows to be taken from the point, if he says; that of
    a converter output also limits its fault current.
    """

    key: str
    description: str
    tap_point: str
    system_voltage_v: float
    emf_v: float
    internal_resistance_ohm: float | None
    cold_cranking_current_a: float | None
    greatest_current_a: float | None


@dataclass(frozen=True, slots=True)
class Equipment:
    """Something that is fitted, and what it takes from its circuit.

    Either ``current_a`` or ``power_w`` is that of one piece; both are ``None`` for equipment that
    takes nothing from a circuit of this job. ``inrush_current_a`` is that of one piece as it
    starts, for ``inrush_duration_s``; both or neither. Equipment that is not ``fitted`` is there
    already: its load counts, its price and its fitting do not. ``fixings`` is the use of the fixing
    set that it does not bring along, as the price book calls it. ``standby_current_a`` is that of
    one piece and ``average_current_share`` that of its peak draw; both and ``least_voltage_v``
    speak of it as a load of the vehicle's supply.
    """

    key: str
    description: str
    what: str
    quantity: int
    reference: str | None
    circuit: str | None
    current_a: float | None
    power_w: float | None
    fuse_rating_a: float | None
    inrush_current_a: float | None
    inrush_duration_s: float | None
    fitted: bool
    operation: str
    fixings: str | None
    amplifier: Amplifier | None = None
    standby_current_a: float | None = None
    average_current_share: float | None = None
    least_voltage_v: float | None = None


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of a route in one mounting zone.

    ``through_bulkhead`` if it passes a panel, at its end away from the source. What is not
    ``loomed`` is wrapped in cloth tape if it is ``taped``.
    """

    length_m: float
    zone: str
    bundled_conductors: int
    through_bulkhead: bool
    loomed: bool
    taped: bool


@dataclass(frozen=True, slots=True)
class ReturnPath:
    """How the current goes back.

    By ``chassis``: a ground lead of ``ground_lead_length_m`` to a ground point with a ``stud``,
    then ``chassis_resistance_ohm``. By ``conductor``: a second conductor beside the first.
    """

    path: str
    ground_lead_length_m: float
    stud: str
    chassis_resistance_ohm: float


@dataclass(frozen=True, slots=True)
class SignalLead:
    """A ready-made lead that carries a signal."""

    form: str
    length_m: float


@dataclass(frozen=True, slots=True)
class RemoteLead:
    """A single thin conductor that switches equipment on."""

    length_m: float
    cross_section_m2: float


@dataclass(frozen=True, slots=True)
class Tap:
    """A connection into the vehicle's own wiring."""

    use: str
    quantity: int


@dataclass(frozen=True, slots=True)
class ConductorChoice:
    """What conductors are chosen from, and the colours they are cut in."""

    series: str
    material: str
    insulation: str
    smallest_size: str | None
    colour: str
    return_colour: str


@dataclass(frozen=True, slots=True)
class Circuit:
    """A protected run from a source, or from the end of another circuit, to its equipment.

    ``index`` is the place in the job document. Where it ``charges_source`` the equipment feeds the
    source: fuse and fault are those of the source all the same, its load is not one of the source.
    ``fed_from`` is the key of a source or of a circuit that ends in a distribution block;
    ``joint_resistance_ohm`` is that of joints, fuse and holder together.
    ``fuse_types`` are tried in order. ``distance_from_source_m`` is the conductor between the
    feeding point and the fuse; 0 where the holder is bolted to the source. ``joining`` says how
    splices are made; terminals are crimped in any case.
    """

    key: str
    index: int
    description: str
    fed_from: str
    charges_source: bool
    route: tuple[Segment, ...]
    return_path: ReturnPath
    conductor: ConductorChoice
    allowed_drop_fraction: float
    joint_resistance_ohm: float
    fuse_types: tuple[str, ...]
    distance_from_source_m: float
    sheathed: bool
    source_end: str
    load_end: str
    joining: str
    signal_leads: tuple[SignalLead, ...]
    remote_leads: tuple[RemoteLead, ...]
    taps: tuple[Tap, ...]

    @property
    def route_length_m(self) -> float:
        """One-way length of the route [m]."""
        return sum(segment.length_m for segment in self.route)


@dataclass(frozen=True, slots=True)
class WantedLabour:
    """An operation that the job asks for beside those that follow from it."""

    operation: str
    quantity: int
    reason: str


@dataclass(frozen=True)
class Job:
    """One whole job. Circuits stand after the circuit that feeds them.

    ``signal`` is how its signal runs and ``supply`` what the vehicle has to feed it with, where
    that is stated; no bill depends on them.
    """

    title: str
    vehicle: Vehicle
    power_sources: Mapping[str, PowerSource]
    equipment: tuple[Equipment, ...]
    circuits: tuple[Circuit, ...]
    labour: tuple[WantedLabour, ...]
    signal: SignalPath | None = None
    supply: VehicleSupply | None = None

    @cached_property
    def circuit_by_key(self) -> Mapping[str, Circuit]:
        """Every circuit by its key."""
        return {circuit.key: circuit for circuit in self.circuits}

    def branches(self, key: str) -> tuple[Circuit, ...]:
        """Return the circuits fed from the end of a circuit."""
        return self._by_feeder.get(key, ())

    def feeders_down_to(self, key: str) -> tuple[Circuit, ...]:
        """Return the circuits from the source down to one, itself included; none of a source."""
        return self._feeders.get(key, ())

    def equipment_on(self, key: str) -> tuple[Equipment, ...]:
        """Return the equipment fed by a circuit."""
        return self._by_circuit.get(key, ())

    @cached_property
    def source_by_circuit(self) -> Mapping[str, PowerSource]:
        """The source at the head of the chain of circuits that feeds each circuit, by its key."""
        found: dict[str, PowerSource] = {}
        for circuit in self.circuits:
            own = self.power_sources.get(circuit.fed_from)
            found[circuit.key] = found[circuit.fed_from] if own is None else own
        return found

    @cached_property
    def drawn_by_circuit(self) -> Mapping[str, tuple[float, float]]:
        """Constant power [W] and constant current [A] of the equipment on each circuit."""
        found: dict[str, tuple[float, float]] = {}
        for key, items in self._by_circuit.items():
            power_w, current_a = 0.0, 0.0
            for item in items:
                power_w += item.quantity * (item.power_w or 0.0)
                current_a += item.quantity * (item.current_a or 0.0)
            found[key] = power_w, current_a
        return found

    @cached_property
    def _by_feeder(self) -> Mapping[str, tuple[Circuit, ...]]:
        found: dict[str, tuple[Circuit, ...]] = {}
        for circuit in self.circuits:
            found[circuit.fed_from] = (*found.get(circuit.fed_from, ()), circuit)
        return found

    @cached_property
    def _feeders(self) -> Mapping[str, tuple[Circuit, ...]]:
        found: dict[str, tuple[Circuit, ...]] = {}
        for circuit in self.circuits:
            found[circuit.key] = (*found.get(circuit.fed_from, ()), circuit)
        return found

    @cached_property
    def _by_circuit(self) -> Mapping[str, tuple[Equipment, ...]]:
        found: dict[str, tuple[Equipment, ...]] = {}
        for item in self.equipment:
            if item.circuit is not None:
                found[item.circuit] = (*found.get(item.circuit, ()), item)
        return found
