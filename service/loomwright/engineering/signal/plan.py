"""A whole signal path judged: levels, sums, turn-on and ground noise."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from loomwright.engineering.signal.feeds import (
    Feed,
    PlannedSum,
    PlannedTakeOff,
    overloaded_outputs,
    planned_sum,
    planned_take_off,
)
from loomwright.engineering.signal.ground_noise import AUDIBLE, SEVERE
from loomwright.engineering.signal.grounds import GroundNoise, ground_noise
from loomwright.engineering.signal.input_level import InputLevel, input_level
from loomwright.engineering.signal.path import (
    SPEAKER_LEVEL,
    Connection,
    DeviceGround,
    Figures,
    Remark,
    SignalInput,
    SignalPath,
    TakeOff,
)
from loomwright.engineering.signal.switching import TurnOnPlan, planned_turn_on
from loomwright.tables.fuse_records import FuseFactor, SystemVoltage
from loomwright.tables.records import Provenance
from loomwright.tables.signal_records import SignalFactor

READY, DEVICES_NEEDED, CHANGE_NEEDED = "ready", "devices_needed", "change_needed"
PLAN_VERDICTS = (READY, DEVICES_NEEDED, CHANGE_NEEDED)
# Kinds of remarks: what must not be done as stated, what is to be looked at, what has to be fitted.
CHANGES = (
    "bridged_output_grounded",
    "coil_not_suppressed",
    "contact_too_weak",
    "output_overloaded",
    "outputs_in_parallel",
    "polarity_opposed",
    "resistors_at_speaker_level",
    "turn_on_overloaded",
)
NOTES = ("band_gap", "level_of_bands", "polarity_at_crossover", "unlike_bands")
DEVICES = (
    "attenuator",
    "coil_suppression",
    "ground_noise_remedy",
    "line_driver",
    "line_output_converter",
    "load_resistor",
    "relay",
    "summing_device",
    "summing_resistors",
)


@dataclass(frozen=True, slots=True)
class PlannedConnection:
    """A connection judged."""

    connection: Connection
    feed: Feed
    input: SignalInput
    level: InputLevel
    noise: GroundNoise


@dataclass(frozen=True, slots=True)
class SignalPlan:
    """The answer: parts judged, what must change, what is to be looked at and to be fitted."""

    verdict: str
    take_offs: tuple[PlannedTakeOff, ...]
    sums: tuple[PlannedSum, ...]
    connections: tuple[PlannedConnection, ...]
    turn_on: TurnOnPlan
    changes: tuple[Remark, ...]
    notes: tuple[Remark, ...]
    needed: tuple[Remark, ...]
    cautions: tuple[str, ...]
    provenances: tuple[Provenance, ...]


def signal_plan(
    path: SignalPath,
    system: SystemVoltage,
    factors: Mapping[str, SignalFactor],
    loading_factor: FuseFactor,
    solved_potentials_v: Mapping[str, float] | None = None,
) -> SignalPlan:
    """Return a signal path judged.

    Parameters
    ----------
    path
        The path; its keys refer to one another.
    system
        Nominal and greatest voltage of the vehicle.
    factors
        Figures on signal paths by key.
    loading_factor
        Greatest continuous load over the rated current of a fuse.
    solved_potentials_v
        Ground potential by key of equipment [V], from a solved network; for what belongs to such
        equipment it stands before the stated one.

    Returns
    -------
    SignalPlan
        A path that cannot work as stated is a verdict.
    """
    figures = Figures(factors)
    take_offs = {key: planned_take_off(entry, figures) for key, entry in path.take_offs.items()}
    sums = {
        key: planned_sum(entry, [take_offs[part] for part in entry.take_offs])
        for key, entry in path.sums.items()
    }
    feeds = {key: entry.feed for key, entry in take_offs.items()}
    feeds |= {key: entry.feed for key, entry in sums.items()}
    solved = solved_potentials_v or {}
    connections = tuple(
        _connection(path, entry, feeds[entry.feed], solved, figures) for entry in path.connections
    )
    turn_on = planned_turn_on(
        path.turn_on,
        tuple(path.inputs.values()),
        tuple(dict.fromkeys(_switched_by_signal(connections))),
        system,
        loading_factor,
        figures,
    )
    changes = (
        *(remark for entry in sums.values() for remark in entry.changes),
        *overloaded_outputs(path, _direct_loads(path, connections)),
        *(remark for entry in connections for remark in entry.level.changes),
        *turn_on.changes,
    )
    needed = (
        *_load_resistors(take_offs.values()),
        *(remark for entry in sums.values() for remark in entry.needed),
        *(remark for entry in connections for remark in entry.level.needed),
        *_noise_remedies(connections),
        *turn_on.needed,
    )
    return SignalPlan(
        verdict=CHANGE_NEEDED if changes else DEVICES_NEEDED if needed else READY,
        take_offs=tuple(take_offs.values()),
        sums=tuple(sums.values()),
        connections=connections,
        turn_on=turn_on,
        changes=changes,
        notes=tuple(remark for entry in sums.values() for remark in entry.notes),
        needed=needed,
        cautions=_cautions(path, connections, turn_on),
        provenances=tuple(dict.fromkeys(figures.used.values())),
    )


def _connection(
    path: SignalPath,
    stated: Connection,
    feed: Feed,
    solved: Mapping[str, float],
    figures: Figures,
) -> PlannedConnection:
    at = path.inputs[stated.input]
    level = input_level(stated, feed, at, figures)
    origin = path.take_offs[feed.ground_of]
    noise = ground_noise(
        stated,
        at,
        level.voltage_v,
        (_potential_v(origin, solved), _potential_v(at, solved)),
        (_own_ground(origin, solved), _own_ground(at, solved)),
        figures,
    )
    return PlannedConnection(stated, feed, at, level, noise)


def _potential_v(device: TakeOff | SignalInput, solved: Mapping[str, float]) -> float | None:
    potential = _solved_v(device, solved)
    if potential is not None:
        return potential
    return None if device.ground is None else device.ground.stated_potential_v


def _solved_v(device: TakeOff | SignalInput, solved: Mapping[str, float]) -> float | None:
    return None if device.equipment is None else solved.get(device.equipment)


def _own_ground(device: TakeOff | SignalInput, solved: Mapping[str, float]) -> DeviceGround | None:
    # The resistance belongs to the stated potential; a solved one has its own path.
    return device.ground if _solved_v(device, solved) is None else None


def _switched_by_signal(connections: Iterable[PlannedConnection]) -> Iterable[str]:
    for entry in connections:
        unconverted = entry.connection.converter_ratio is None
        if entry.input.senses_signal and entry.feed.level_kind == SPEAKER_LEVEL and unconverted:
            yield entry.input.key


def _direct_loads(
    path: SignalPath, connections: Iterable[PlannedConnection]
) -> Iterable[tuple[str, float]]:
    """Yield the inputs that load a take-off themselves; behind a converter they do not."""
    for entry in connections:
        if entry.feed.key in path.take_offs and entry.connection.converter_ratio is None:
            yield entry.feed.key, entry.level.impedance_ohm


def _load_resistors(take_offs: Iterable[PlannedTakeOff]) -> Iterable[Remark]:
    for entry in take_offs:
        resistor = entry.load_resistor
        if resistor is not None:
            yield Remark(
                "load_resistor",
                entry.take_off.key,
                f"A resistor of {resistor.resistance_ohm:g} ohm for at least "
                f"{resistor.least_rating_w:.3g} W in place of the loudspeaker, clear of trim.",
            )


def _noise_remedies(connections: Iterable[PlannedConnection]) -> Iterable[Remark]:
    for entry in connections:
        if entry.noise.verdict in (AUDIBLE, SEVERE):
            yield Remark(
                "ground_noise_remedy",
                entry.input.key,
                f"Ground noise is {entry.noise.verdict}: take one of the remedies listed.",
            )


def _cautions(
    path: SignalPath, connections: Iterable[PlannedConnection], turn_on: TurnOnPlan
) -> tuple[str, ...]:
    facts = {
        "isolate_battery": True,
        "airbag": True,
        "signal_wires": True,
        "bridged_outputs": any(entry.bridged for entry in path.take_offs.values()),
        "input_range_assumed": any(entry.level.range_assumed for entry in connections),
        "ground_noise_bound": any(entry.noise.interference_v is not None for entry in connections),
        "fuse_at_source": turn_on.contact_fuse_lower_a is not None,
        "hearing": True,
        "defer_to_maker": True,
    }
    return tuple(key for key, applies in facts.items() if applies)
