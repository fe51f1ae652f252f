"""A signal path as it is asked for: take-offs, sums, inputs, connections and turn-on."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from loomwright.engineering.signal.ground_noise import ground_potential_v
from loomwright.tables.records import Provenance
from loomwright.tables.signal_records import SignalFactor

SPEAKER_LEVEL, LINE_LEVEL = "speaker_level", "line_level"
LEVEL_KINDS = (SPEAKER_LEVEL, LINE_LEVEL)
GROUNDED, DIFFERENTIAL = "grounded", "differential"
INPUT_REFERENCES = (GROUNDED, DIFFERENTIAL)
SAME_SIGNAL, INDEPENDENT, BANDS = "same_signal", "independent", "bands"
RELATIONS = (SAME_SIGNAL, INDEPENDENT, BANDS)
DEVICE, RESISTORS, DIRECT = "device", "resistors", "direct"
SUM_METHODS = (DEVICE, RESISTORS, DIRECT)
DIODE, RESISTOR, NO_SUPPRESSION = "diode", "resistor", "none"
SUPPRESSIONS = (DIODE, RESISTOR, NO_SUPPRESSION)


@dataclass(frozen=True, slots=True)
class DeviceGround:
    """Ground of a device: its potential, or the return current and the resistance of its path."""

    potential_v: float | None
    current_a: float | None
    path_resistance_ohm: float | None

    @property
    def stated_potential_v(self) -> float:
        """Potential against the common point of the grounds [V]."""
        if self.potential_v is not None:
            return self.potential_v
        return float(ground_potential_v(self.current_a or 0.0, self.path_resistance_ohm or 0.0))


@dataclass(frozen=True, slots=True)
class TakeOff:
    """A point where the signal is taken.

    Either ``greatest_voltage_v`` or both ``greatest_power_w`` and ``load_impedance_ohm`` are
    stated. ``bridged`` terminals both carry signal against ground. Corners are ``None`` where the
    output is not limited to a band. ``equipment`` is that of the job whose ground it has.
    """

    key: str
    description: str
    level_kind: str
    greatest_voltage_v: float | None
    greatest_power_w: float | None
    load_impedance_ohm: float | None
    output_impedance_ohm: float | None
    least_load_ohm: float | None
    bridged: bool
    inverted: bool
    lower_corner_hz: float | None
    upper_corner_hz: float | None
    detects_open_load: bool
    loudspeaker_stays: bool
    load_resistance_ohm: float | None
    ground: DeviceGround | None
    equipment: str | None


@dataclass(frozen=True, slots=True)
class SignalSum:
    """Take-offs joined to one signal; ``gain`` is that of a summing device."""

    key: str
    take_offs: tuple[str, ...]
    relation: str
    method: str
    resistance_ohm: float | None
    gain: float


@dataclass(frozen=True, slots=True)
class SignalInput:
    """An input of equipment.

    ``least_voltage_v`` gives full output with gain at its greatest, ``greatest_voltage_v`` with
    gain at its least; neither is stated where the maker gives none. ``overload_voltage_v`` clips
    the input whatever the gain.
    """

    key: str
    description: str
    level_kind: str
    least_voltage_v: float | None
    greatest_voltage_v: float | None
    overload_voltage_v: float | None
    impedance_ohm: float | None
    reference: str
    common_mode_rejection_db: float | None
    turn_on_current_a: float
    senses_signal: bool
    ground: DeviceGround | None
    equipment: str | None


@dataclass(frozen=True, slots=True)
class Connection:
    """One channel from a take-off or a sum to an input.

    ``converter_ratio`` is what a converter or attenuator in between divides the voltage by.
    """

    feed: str
    input: str
    converter_ratio: float | None
    isolated: bool
    isolation_rejection_db: float | None
    shield_resistance_ohm: float
    gain_overlap_db: float


@dataclass(frozen=True, slots=True)
class Relay:
    """A relay that takes over the switching."""

    coil_resistance_ohm: float
    coil_inductance_h: float | None
    stray_capacitance_f: float | None
    contact_rating_a: float
    suppression: str
    suppression_resistance_ohm: float | None


@dataclass(frozen=True, slots=True)
class TurnOn:
    """What switches the equipment on.

    Either ``greatest_current_a`` of a remote output or ``fuse_rating_a`` of an accessory circuit,
    from which ``present_current_a`` is drawn already.
    """

    greatest_current_a: float | None
    fuse_rating_a: float | None
    present_current_a: float
    relay: Relay | None


@dataclass(frozen=True, slots=True)
class SignalPath:
    """All that belongs to one signal path; keys of take-offs and sums are one set."""

    take_offs: Mapping[str, TakeOff]
    sums: Mapping[str, SignalSum]
    inputs: Mapping[str, SignalInput]
    connections: tuple[Connection, ...]
    turn_on: TurnOn | None


@dataclass(frozen=True, slots=True)
class Remark:
    """Something said of a place of the path: a key, the place, and words."""

    key: str
    at: str
    text: str


@dataclass(slots=True)
class Figures:
    """Figures of the tables, with a note of those that were used."""

    factors: Mapping[str, SignalFactor]
    used: dict[str, Provenance] = field(default_factory=dict)

    def value(self, key: str) -> float:
        """Return a figure and note its use."""
        factor = self.factors[key]
        self.used[key] = factor.provenance
        return factor.value

    def stated_or(self, stated: float | None, key: str) -> float:
        """Return what is stated, or the figure where nothing is."""
        return self.value(key) if stated is None else stated
