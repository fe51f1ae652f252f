"""Conductors of the circuits of a job, by the engineering."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest
from loomwright.engineering.conductors.loaded_route import CURRENT
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.faults import Quantity
from loomwright.engineering.record import record
from loomwright.jobs.circuit_sources import working_resistance_ohm
from loomwright.jobs.job import Circuit, Job, PowerSource
from loomwright.jobs.job_routes import JobRoutes
from loomwright.tables.records import Tables

# No voltage of a feeding point is known: each circuit is taken by itself.
ALONE: Mapping[str, float] = MappingProxyType({})


@record
class CircuitConductor:
    """What the engineering answers for the conductor of one circuit.

    ``request`` and ``answer`` are ``None`` where the circuit feeds only branches that themselves
    have no conductor, so that no load is known.
    """

    circuit: Circuit
    request: ConductorRequest | None
    answer: ConductorAnswer | None

    @property
    def verdict(self) -> str:
        """Verdict of the engineering, or why it was not asked."""
        return "no_sized_branch" if self.answer is None else self.answer.verdict

    @property
    def candidate(self) -> int | None:
        """Index of the chosen conductor among the candidates, or ``None``."""
        return None if self.answer is None else self.answer.chosen

    @property
    def load_current_a(self) -> float:
        """Current of the chosen conductor [A], 0 where none is chosen."""
        if self.answer is None or self.answer.chosen is None:
            return 0.0
        return float(self.answer.candidates.state[CURRENT, self.answer.chosen])

    def figures_of(self, candidate: int | None) -> tuple[float, ...]:
        """Return what a conductor of the circuit comes to.

        Parameters
        ----------
        candidate
            Which one, or ``None``.

        Returns
        -------
        tuple of float
            Rows of ``loaded_route.solved_candidates``; empty without a conductor.
        """
        if self.answer is None or candidate is None:
            return ()
        return tuple(self.answer.candidates.state[:, candidate].tolist())


def fault_of_circuit(circuit: Circuit, error: EngineeringError) -> EngineeringError:
    """Return an error of the engineering with the circuit that it was raised for.

    Parameters
    ----------
    circuit
        The circuit that was worked on.
    error
        As the engineering raised it.

    Returns
    -------
    EngineeringError
        The same error with the circuit's place in the job as its field.
    """
    return EngineeringError(
        error.code,
        f"Circuit {circuit.key}: {error.message}",
        field=f"circuits/{circuit.index}",
        **error.attributes,
    )


def feeding_source(job: Job, circuit: Circuit) -> PowerSource:
    """Return the source at the head of the chain of circuits that feeds a circuit."""
    return job.source_by_circuit[circuit.key]


def feeders(job: Job, circuit: Circuit) -> list[Circuit]:
    """Return the circuits from the source down to a circuit, itself included."""
    return [*job.feeders_down_to(circuit.fed_from), circuit]


# Nothing was sized before.
FIRST_TIME: Mapping[str, CircuitConductor] = MappingProxyType({})


def circuit_conductors(
    job: Job,
    tables: Tables,
    feeding_voltages_v: Mapping[str, float] = ALONE,
    before: Mapping[str, CircuitConductor] = FIRST_TIME,
    routes: JobRoutes | None = None,
) -> dict[str, CircuitConductor]:
    """Return the conductor of every circuit of a job.

    Branches come first: each is sized at the voltage that is left when every circuit before it
    drops all that it is allowed, so a constant-power load is met at its greatest current. A circuit
    that feeds branches carries the sum of their currents. Where the voltage of a feeding point is
    given, that holds instead.

    Parameters
    ----------
    job
        The job; its table keys are known to the tables.
    tables
        Tables of the engineering.
    feeding_voltages_v
        Voltage that a circuit is fed with while everything draws [V], by its key; without it the
        circuit is taken alone behind the resistance of its source.
    before
        Conductors of a sizing before, of the same job but for allowances and loads; where the same
        is asked again, its answer holds.
    routes
        Of other sizings of the job in the same request, if there are any.

    Returns
    -------
    dict
        By key of the circuit, in the order of the job.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models; ``field`` is its place in the job.
    """
    routes = routes or JobRoutes(tables)
    found: dict[str, CircuitConductor] = {}
    for circuit in reversed(job.circuits):
        earlier = before.get(circuit.key)
        try:
            found[circuit.key] = _sized(job, circuit, found, routes, feeding_voltages_v, earlier)
        except EngineeringError as error:
            raise fault_of_circuit(circuit, error) from error
    return {circuit.key: found[circuit.key] for circuit in job.circuits}


def _sized(
    job: Job,
    circuit: Circuit,
    found: Mapping[str, CircuitConductor],
    routes: JobRoutes,
    feeding_voltages_v: Mapping[str, float],
    earlier: CircuitConductor | None,
) -> CircuitConductor:
    current_a, power_w = _load(job, circuit, found)
    if current_a is None and power_w is None:
        return CircuitConductor(circuit, None, None)
    source = feeding_source(job, circuit)
    feeding_v, resistance_ohm = feeding_voltages_v.get(circuit.key), 0.0
    if feeding_v is None:
        feeding_v = feeding_voltage_v(source.emf_v, feeders(job, circuit), source)
        resistance_ohm = working_resistance_ohm(source)
    allowed_v = allowed_drop_v(circuit, source)
    asked = (feeding_v, allowed_v, current_a, power_w, resistance_ohm)
    # Nothing else that is asked differs from one sizing of a job to the next.
    if earlier is not None and earlier.request is not None and asked == _asked(earlier.request):
        return CircuitConductor(circuit, earlier.request, earlier.answer)
    request, laid = routes.of(circuit, *asked)
    return CircuitConductor(circuit, request, size_conductor(request, routes.tables, laid))


def _asked(
    request: ConductorRequest,
) -> tuple[float, float, float | None, float | None, float]:
    return (
        request.supply_voltage_v,
        request.allowed_voltage_drop_v,
        request.load_current_a,
        request.load_power_w,
        request.source_resistance_ohm,
    )


def feeding_voltage_v(emf_v: Quantity, path: Sequence[Circuit], source: PowerSource) -> Quantity:
    """Return the voltage that a circuit is fed with when each before it drops all that it may.

    Parameters
    ----------
    emf_v
        Open-circuit voltage of the source [V].
    path
        Circuits from the source down to this one, itself included.
    source
        The source.

    Returns
    -------
    float or ndarray
        Voltage [V].
    """
    dropped = sum(item.allowed_drop_fraction for item in path[:-1])
    return emf_v - dropped * source.system_voltage_v


def allowed_drop_v(circuit: Circuit, source: PowerSource) -> float:
    """Return the drop that a circuit is allowed.

    Parameters
    ----------
    circuit
        The circuit.
    source
        The source at the head of its chain.

    Returns
    -------
    float
        Drop [V].
    """
    return circuit.allowed_drop_fraction * source.system_voltage_v


def _load(
    job: Job, circuit: Circuit, found: Mapping[str, CircuitConductor]
) -> tuple[float | None, float | None]:
    branches = job.branches(circuit.key)
    if branches:
        total = carried_current_a([found[branch.key].load_current_a for branch in branches])
        return (total if total > 0.0 else None), None
    return equipment_load(job, circuit)


def carried_current_a(branch_currents_a: Sequence[Quantity]) -> Quantity:
    """Return the current of a circuit that feeds branches.

    Parameters
    ----------
    branch_currents_a
        Of each branch, in the order of the job [A]; one at least.

    Returns
    -------
    float or ndarray
        Their sum [A].
    """
    # One after the other: the function sum keeps more digits of floats, and of no array.
    total = branch_currents_a[0]
    for current_a in branch_currents_a[1:]:
        total = total + current_a
    return total


def equipment_load(job: Job, circuit: Circuit) -> tuple[float | None, float | None]:
    """Return the load of a circuit that feeds equipment.

    Parameters
    ----------
    job
        The job.
    circuit
        A circuit without branches.

    Returns
    -------
    tuple
        Current [A] or power [W]; the other is none.
    """
    power_w, current_a = job.drawn_by_circuit[circuit.key]
    is_power = job.equipment_on(circuit.key)[0].power_w is not None
    return (None, power_w) if is_power else (current_a, None)
