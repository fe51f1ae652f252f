"""What a single-line diagram shows of a planned installation, in words and figures.

Voltages are those of the solved network with all loads on. Voltages at a load or a distribution are
between feed and return, ground potentials over the negative pole of the source.
"""

from collections.abc import Mapping

from loomwright.drawings.shown_text import printable
from loomwright.drawings.wording import ENGLISH, PLAIN_COPPER, Wording
from loomwright.engineering.network.solver import SOLVED
from loomwright.engineering.record import record
from loomwright.jobs.circuit_sources import CONVERTER
from loomwright.jobs.job import TAP_POINTS, Circuit, Equipment, Job, PowerSource
from loomwright.jobs.job_members import CHASSIS
from loomwright.jobs.plan.alternatives import HEADROOM, LEANEST, RECOMMENDED
from loomwright.jobs.plan.sized_plan import SizedPlan
from loomwright.jobs.sized_circuit import NO_CONDUCTOR, NO_FEEDER, NO_FUSE, SIZED, SizedCircuit
from loomwright.jobs.solved_installation import STATES, CircuitState, SolvedInstallation
from loomwright.marked import marked
from loomwright.tables.conductor_words import MATERIALS
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import FuseType

# What stands at the end of a circuit: a symbol, or a node that feeds others.
DISTRIBUTION = "distribution"
_SYMBOLS = {
    "amplifier": "amplifier",
    "charger": "converter",
    "heater": "heater",
    "inverter": "inverter",
    "lights": "lamp",
    "winch": "motor",
}
_SOURCE_SYMBOLS = {
    "battery": "battery",
    "remote_battery": "battery",
    CONVERTER: "converter",
}
# Equipment whose signal inputs feel the potential of its ground.
_AUDIO = frozenset({"amplifier", "bass_unit", "radio"})
_NOT_BUILT = {
    NO_CONDUCTOR: marked("Not built: no conductor of its series meets the limits."),
    NO_FUSE: marked("Not built: no fuse fits both its load and its conductor."),
    NO_FEEDER: marked("Not built: the circuit that feeds it is not built."),
}
_PLANS = {
    LEANEST: marked("Single-line diagram, {voltage}, leanest plan"),
    RECOMMENDED: marked("Single-line diagram, {voltage}, recommended plan"),
    HEADROOM: marked("Single-line diagram, {voltage}, plan with headroom"),
}
_NO_POINT = marked("The sources cannot carry all loads at once: no voltages can be given.")
_NOTES = marked(
    "All loads are on. Voltages are between feed and return, drops there and back, lengths one way."
)
_NOTE_ON_GROUND = marked("Ground potential: of the load's negative side over that of the source.")
_NOTE_ON_STROKES = marked("Two strokes across a line: feed and return conductor.")


@record
class DrawnCircuit:
    """A circuit as it is drawn, from the point that feeds it to its end.

    ``fault`` says why it is not built; ``fuse`` and ``conductor`` are then there as far as they
    were found. ``ends_in`` is the name of a symbol or ``DISTRIBUTION``; ``at_end`` is the
    voltage there. ``ground`` tells of the return by chassis, and is empty where a conductor goes
    back. ``charges_source`` if its equipment feeds the source. ``in_words`` is all of it.
    """

    number: int
    title: str
    fault: str
    fuse: str
    conductor: tuple[str, ...]
    returns_by_conductor: bool
    shows_ground_potential: bool
    ends_in: str
    at_end: tuple[str, ...]
    equipment: tuple[str, ...]
    ground: tuple[str, ...]
    charges_source: bool
    branches: tuple["DrawnCircuit", ...]
    in_words: str


@record
class DrawnSource:
    """A source as it is drawn, with the circuits that it feeds directly.

    ``is_grounded`` if a circuit of it returns by chassis and its negative pole is at hand.
    """

    number: int
    title: str
    symbol: str
    is_grounded: bool
    lines: tuple[str, ...]
    circuits: tuple[DrawnCircuit, ...]
    in_words: str


@record
class SingleLine:
    """What a diagram shows; ``unfed`` is equipment that no circuit of the job feeds."""

    wording: Wording
    title: str
    vehicle: str
    subtitle: str
    warnings: tuple[str, ...]
    sources: tuple[DrawnSource, ...]
    unfed: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def in_words(self) -> str:
        """What a person who does not see the diagram has to know."""
        circuits = [part for source in self.sources for part in _words_of(source.circuits)]
        unfed = []
        if self.unfed:
            names = ", ".join(self.unfed)
            unfed = [self.wording.say("No circuit here feeds {names}.", names=names)]
        sources = [source.in_words for source in self.sources]
        return " ".join([*self.warnings, *sources, *circuits, *unfed])


def _words_of(circuits: tuple[DrawnCircuit, ...]) -> list[str]:
    return [
        words for circuit in circuits for words in (circuit.in_words, *_words_of(circuit.branches))
    ]


def single_line(
    job: Job, plan: SizedPlan, fuse_tables: FuseTables, wording: Wording = ENGLISH
) -> SingleLine:
    """Return what the diagram of a plan shows.

    Parameters
    ----------
    job
        The job as stated.
    plan
        A plan of it.
    fuse_tables
        Tables with the names of fuse types.
    wording
        Language and figures.

    Returns
    -------
    SingleLine
        Every source, every circuit and all equipment of the job, each once.
    """
    reader = _Reader(job, plan, fuse_tables.types, wording)
    solved = plan.solved.state == STATES[SOLVED]
    sources = tuple(
        reader.source(number, source) for number, source in enumerate(job.power_sources.values(), 1)
    )
    drawn = [circuit for source in sources for circuit in _tree(source.circuits)]
    notes = (
        _NOTES,
        _NOTE_ON_GROUND if any(circuit.shows_ground_potential for circuit in drawn) else "",
        _NOTE_ON_STROKES if any(circuit.returns_by_conductor for circuit in drawn) else "",
    )
    system_voltage = wording.figure(f"{job.vehicle.system_voltage_v:g} V")
    return SingleLine(
        wording=wording,
        title=printable(job.title),
        vehicle=printable(job.vehicle.description),
        subtitle=wording.say(_PLANS[plan.name], voltage=system_voltage),
        warnings=() if solved else (wording.say(_NO_POINT),),
        sources=sources,
        unfed=tuple(_unfed(item) for item in job.equipment if item.circuit is None),
        notes=tuple(wording.say(note) for note in notes if note),
    )


class _Reader:
    """Reads sources and circuits of one plan."""

    def __init__(
        self, job: Job, plan: SizedPlan, fuse_types: Mapping[str, FuseType], wording: Wording
    ) -> None:
        self._wording, self._say = wording, wording.say
        self._job = job
        self._solved: SolvedInstallation = plan.solved
        self._sized = {entry.circuit.key: entry for entry in plan.consistent.sized}
        self._fuse_types = fuse_types

    def source(self, number: int, source: PowerSource) -> DrawnSource:
        circuits = tuple(self._circuit(circuit) for circuit in self._job.branches(source.key))
        symbol = _SOURCE_SYMBOLS.get(source.tap_point, "terminal")
        title = printable(source.description)
        figure, say = self._wording.figure, self._say
        lines = [say("{voltage} open circuit", voltage=figure(f"{source.emf_v:g} V"))]
        state = self._solved.sources.get(source.key)
        if state is not None:
            given = figure(amperes(state.current_a))
            lines.append(say("{voltage} under load", voltage=self._volts(state.terminal_voltage_v)))
            if source.greatest_current_a is None:
                lines.append(say("gives {current}", current=given))
            else:
                allowed = figure(f"{source.greatest_current_a:g} A")
                lines.append(
                    say("gives {current} of {allowed} allowed", current=given, allowed=allowed)
                )
        words = f"{title}, {say(TAP_POINTS[source.tap_point])}: {', '.join(lines)}."
        return DrawnSource(
            number=number,
            title=title,
            symbol=symbol,
            is_grounded=symbol == "battery" and any(map(_is_grounded, _tree(circuits))),
            lines=tuple(lines),
            circuits=circuits,
            in_words=words,
        )

    def _circuit(self, circuit: Circuit) -> DrawnCircuit:
        sized = self._sized[circuit.key]
        state = self._solved.circuits.get(circuit.key)
        items = self._job.equipment_on(circuit.key)
        title = printable(circuit.description)
        fault = "" if sized.verdict == SIZED else self._say(_NOT_BUILT[sized.verdict])
        fuse = self._fuse(sized)
        conductor = self._conductor(sized, state)
        at_end = self._at_end(circuit, items, state)
        equipment = tuple(self._load(item, charges=circuit.charges_source) for item in items)
        by_conductor = circuit.return_path.path != CHASSIS
        ground_potential = self._ground_potential(items, state, by_conductor=by_conductor)
        ground = () if by_conductor else (*ground_potential, self._ground_lead(circuit))
        beside_load = (*equipment, *(ground_potential if by_conductor else ()))
        said = (
            fault[:-1],
            fuse and self._say("fuse {fuse}", fuse=fuse),
            *conductor,
            *at_end,
            *beside_load,
            *ground,
        )
        return DrawnCircuit(
            number=circuit.index + 1,
            title=title,
            fault=fault,
            fuse=fuse,
            conductor=conductor,
            returns_by_conductor=by_conductor,
            shows_ground_potential=bool(ground_potential),
            ends_in=_end(items),
            at_end=at_end,
            equipment=beside_load,
            ground=ground,
            charges_source=circuit.charges_source,
            branches=tuple(self._circuit(branch) for branch in self._job.branches(circuit.key)),
            in_words=f"{title}: {'; '.join(part for part in said if part)}.",
        )

    def _fuse(self, sized: SizedCircuit) -> str:
        if sized.fuse_type is None or sized.rated_current_a is None:
            return ""
        # What follows the comma are the ratings that the type comes in.
        name = self._fuse_types[sized.fuse_type].name.partition(", ")[0]
        rating = self._wording.figure(f"{sized.rated_current_a:g} A")
        return f"{rating}, {self._say(name)}"

    def _conductor(self, sized: SizedCircuit, state: CircuitState | None) -> tuple[str, ...]:
        circuit, size = sized.circuit, sized.conductor
        material = circuit.conductor.material
        by_chassis = circuit.return_path.path == CHASSIS
        length = self._wording.length(circuit.route_length_m)
        if size is None:
            return (length,)
        words = [
            "" if by_chassis else "2 \u00d7",
            self._wording.figure(size.key.replace("mm2", "mm\u00b2")),
            "" if material == PLAIN_COPPER else self._say(MATERIALS[material]),
        ]
        lines = [f"{' '.join(word for word in words if word)}, {length}"]
        if circuit.charges_source:
            current_a, drop_v = sized.load_current_a, sized.voltage_drop_v
        elif state is not None:
            current_a, drop_v = state.current_a, state.voltage_drop_v
        else:
            current_a = drop_v = None
        if current_a is not None and drop_v is not None:
            current = self._wording.figure(amperes(current_a))
            lines.append(
                self._say("{current}, drop {voltage}", current=current, voltage=self._volts(drop_v))
            )
        return tuple(lines)

    def _at_end(
        self, circuit: Circuit, items: tuple[Equipment, ...], state: CircuitState | None
    ) -> tuple[str, ...]:
        if state is None or circuit.charges_source:
            return ()
        voltage = self._volts(state.load_voltage_v)
        if items:
            return (self._say("{voltage} at the load", voltage=voltage),)
        return (self._say("{voltage} at the distribution", voltage=voltage),)

    def _ground_potential(
        self, items: tuple[Equipment, ...], state: CircuitState | None, *, by_conductor: bool
    ) -> tuple[str, ...]:
        """Return the ground potential where the chassis carries it, or a signal input feels it."""
        matters = not by_conductor or any(item.what in _AUDIO for item in items)
        if state is None or not matters:
            return ()
        voltage = self._wording.figure(millivolts(state.ground_potential_v))
        return (self._say("ground potential {voltage}", voltage=voltage),)

    def _ground_lead(self, circuit: Circuit) -> str:
        path = circuit.return_path
        length = self._wording.length(path.ground_lead_length_m)
        return self._say("{length} lead to chassis, {stud} stud", length=length, stud=path.stud)

    def _load(self, item: Equipment, *, charges: bool) -> str:
        figure = self._wording.figure
        each = f"{item.quantity} \u00d7 " if item.quantity > 1 else ""
        value = f"{item.power_w:g} W" if item.current_a is None else f"{item.current_a:g} A"
        stated = f"{each}{figure(value)}"
        if charges:
            stated = self._say("{current} into the source", current=stated)
        return f"{stated}, {printable(item.description)}"

    def _volts(self, value_v: float) -> str:
        return self._wording.figure(volts(value_v))


def _tree(circuits: tuple[DrawnCircuit, ...]) -> list[DrawnCircuit]:
    return [part for circuit in circuits for part in (circuit, *_tree(circuit.branches))]


def _is_grounded(circuit: DrawnCircuit) -> bool:
    return bool(circuit.ground)


def _end(items: tuple[Equipment, ...]) -> str:
    """Return the symbol of what a circuit feeds: that of its equipment where all is of a kind."""
    if not items:
        return DISTRIBUTION
    kinds = {_SYMBOLS.get(item.what, "load") for item in items}
    return kinds.pop() if len(kinds) == 1 else "load"


def _unfed(item: Equipment) -> str:
    each = f"{item.quantity} \u00d7 " if item.quantity > 1 else ""
    return each + printable(item.description)


# --- figures ---


def volts(value_v: float) -> str:
    """Return a voltage to what the models are worth: four digits, at most three decimals."""
    if abs(value_v) < 5e-4:
        return "0 V"
    return f"{value_v:.{3 if abs(value_v) < 9.9995 else 2}f} V"


def millivolts(value_v: float) -> str:
    """Return a small voltage in millivolts: whole ones from 10 mV on."""
    value_mv = 1e3 * value_v
    if abs(value_mv) < 0.05:
        return "0 mV"
    return f"{value_mv:.{1 if abs(value_mv) < 9.95 else 0}f} mV"


def amperes(value_a: float) -> str:
    """Return a current to three digits, at most three decimals."""
    if abs(value_a) < 5e-4:
        return "0 A"
    decimals = next(
        (decimals for decimals, end in ((3, 0.9995), (2, 9.995), (1, 99.95)) if abs(value_a) < end),
        0,
    )
    return f"{value_a:.{decimals}f} A"
