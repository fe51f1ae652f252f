"""The voltage along one circuit of a solved job: from its source to the load and back again."""

from collections.abc import Iterator

from loomwright.engineering.record import record
from loomwright.jobs.circuit_conductors import feeders
from loomwright.jobs.installation_network import (
    FUSE,
    GROUND,
    LOAD_LUG,
    RETURN_LUGS,
    SOURCE_LUG,
)
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.job_members import CHASSIS
from loomwright.jobs.solved_installation import SolvedInstallation

# Parts of a path beside those of the network: what is lost in the source, and the conductors.
INSIDE_SOURCE, FEED, GROUND_LEAD, RETURN = "inside_source", "feed", "ground_lead", "return"


@record
class PathStep:
    """One part of a path: what it is, of which circuit, and what is lost over it [V].

    ``circuit`` is ``None`` for what is lost inside the source. ``end_voltage_v`` is the voltage
    behind it against the negative pole of the source, in the direction of the current.
    """

    part: str
    circuit: str | None
    drop_v: float
    end_voltage_v: float


@record
class VoltagePath:
    """The path of one circuit's current while everything draws.

    ``feed`` goes from the source to the load, ``back`` from the load to the negative pole of the
    source. Circuits that feed this one are part of both, as far as their conductors carry its
    current; with a return by chassis that of the feeder is not.
    """

    circuit: str
    source: str
    emf_v: float
    current_a: float
    feed: tuple[PathStep, ...]
    back: tuple[PathStep, ...]

    @property
    def plus_v(self) -> float:
        """Voltage of the positive side of the load [V]."""
        return self.feed[-1].end_voltage_v

    @property
    def minus_v(self) -> float:
        """Voltage of its negative side [V]."""
        return self.plus_v - self.load_v

    @property
    def load_v(self) -> float:
        """Voltage across the load [V]."""
        return self.plus_v - sum(step.drop_v for step in self.back)


def lowest_circuit(solved: SolvedInstallation) -> str | None:
    """Return the circuit whose load gets the lowest voltage.

    Parameters
    ----------
    solved
        The network of a job.

    Returns
    -------
    str or None
        Key of the first such circuit with a load, or of any without loads; none where nothing is
        solved.
    """
    voltages = solved.load_voltages_v
    loaded = [key for key in voltages if key in solved.network.loads] or list(voltages)
    return min(loaded, key=voltages.__getitem__, default=None)


def voltage_path(job: Job, solved: SolvedInstallation, circuit: str) -> VoltagePath | None:
    """Return the voltage along the path of one circuit.

    Parameters
    ----------
    job
        The job.
    solved
        Its solved network.
    circuit
        Key of a circuit of the job.

    Returns
    -------
    VoltagePath or None
        None where the circuit is left out of the network or nothing is solved.
    """
    state = solved.circuits.get(circuit)
    if state is None:
        return None
    path = feeders(job, next(item for item in job.circuits if item.key == circuit))
    source = job.power_sources[path[0].fed_from]
    terminal_v = solved.sources[source.key].terminal_voltage_v
    feed = [PathStep(INSIDE_SOURCE, None, source.emf_v - terminal_v, terminal_v)]
    for item in path:
        feed += _feed_steps(solved, item, feed[-1].end_voltage_v)
    back: list[PathStep] = []
    at_v = state.ground_potential_v
    for item in reversed(path):
        back += _return_steps(solved, item, at_v)
        at_v = back[-1].end_voltage_v
        if item.return_path.path == CHASSIS:
            break
    return VoltagePath(circuit, source.key, source.emf_v, state.current_a, tuple(feed), tuple(back))


def _feed_steps(solved: SolvedInstallation, circuit: Circuit, start_v: float) -> Iterator[PathStep]:
    """Yield the parts of a feed: what of it is no joint is the conductor."""
    state = solved.circuits[circuit.key]
    end_v = state.ground_potential_v + state.load_voltage_v
    joints = {
        name: state.current_a * solved.network.parts[f"{circuit.key}.{name}"].resistance_ohm
        for name in (SOURCE_LUG, FUSE, LOAD_LUG)
    }
    conductor_v = start_v - end_v - sum(joints.values())
    lost = {
        SOURCE_LUG: joints[SOURCE_LUG],
        FUSE: joints[FUSE],
        FEED: conductor_v,
        LOAD_LUG: joints[LOAD_LUG],
    }
    yield from _steps(circuit, lost, start_v)


def _return_steps(
    solved: SolvedInstallation, circuit: Circuit, start_v: float
) -> Iterator[PathStep]:
    """Yield the parts of a return; the current is that of its own branch."""
    network, current_a = solved.network, solved.circuits[circuit.key].current_a
    by_chassis = circuit.return_path.path == CHASSIS
    end_v = 0.0
    if not by_chassis and circuit.fed_from in solved.circuits:
        end_v = solved.circuits[circuit.fed_from].ground_potential_v
    lugs_v = current_a * network.parts[f"{circuit.key}.{RETURN_LUGS}"].resistance_ohm
    chassis_v = (
        current_a * network.parts[f"{circuit.key}.{GROUND}"].resistance_ohm if by_chassis else 0.0
    )
    conductor_v = start_v - end_v - lugs_v - chassis_v
    lost = {GROUND_LEAD if by_chassis else RETURN: conductor_v, RETURN_LUGS: lugs_v}
    yield from _steps(circuit, lost | ({GROUND: chassis_v} if by_chassis else {}), start_v)


def _steps(circuit: Circuit, lost_v: dict[str, float], start_v: float) -> Iterator[PathStep]:
    at_v = start_v
    for part, drop_v in lost_v.items():
        at_v -= drop_v
        yield PathStep(part, circuit.key, drop_v, at_v)
