"""Conductors of the circuits of a job, by the engineering."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from loomwright.engineering.conductors.choice import ConductorAnswer, ConductorRequest, Segment
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.protection.faults import Quantity
from loomwright.engineering.record import record
from loomwright.jobs.circuit_sources import working_resistance_ohm
from loomwright.jobs.job import Circuit, Job, PowerSource
from loomwright.tables.records import ConductorSize, Tables

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
    def load_current_a(self) -> float:
        """Current of the chosen conductor [A], 0 where none is chosen."""
        if self.answer is None or self.answer.chosen is None:
            return 0.0
        return float(self.answer.candidates.load_current_a[self.answer.chosen])


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
    return job.power_sources[feeders(job, circuit)[0].fed_from]


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

    Returns
    -------
    dict
        By key of the circuit, in the order of the job.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models; ``field`` is its place in the job.
    """
    found: dict[str, CircuitConductor] = {}
    for circuit in reversed(job.circuits):
        earlier = before.get(circuit.key)
        try:
            found[circuit.key] = _sized(job, circuit, found, tables, feeding_voltages_v, earlier)
        except EngineeringError as error:
            raise fault_of_circuit(circuit, error) from error
    return {circuit.key: found[circuit.key] for circuit in job.circuits}


def _sized(
    job: Job,
    circuit: Circuit,
    found: Mapping[str, CircuitConductor],
    tables: Tables,
    feeding_voltages_v: Mapping[str, float],
    earlier: CircuitConductor | None,
) -> CircuitConductor:
    current_a, power_w = _load(job, circuit, found)
    if current_a is None and power_w is None:
        return CircuitConductor(circuit, None, None)
    path = feeders(job, circuit)
    source = job.power_sources[path[0].fed_from]
    feeding_v, resistance_ohm = feeding_voltages_v.get(circuit.key), 0.0
    if feeding_v is None:
        feeding_v = feeding_voltage_v(source.emf_v, path, source)
        resistance_ohm = working_resistance_ohm(source)
    asked = (
        feeding_v,
        allowed_drop_v(circuit, source),
        current_a,
        power_w,
        resistance_ohm,
    )
    # Nothing else that is asked differs from one sizing of a job to the next.
    if earlier is not None and earlier.request is not None and asked == _asked(earlier.request):
        return CircuitConductor(circuit, earlier.request, earlier.answer)
    request = conductor_request(circuit, tables, *asked)
    return CircuitConductor(circuit, request, size_conductor(request, tables))


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


def conductor_request(
    circuit: Circuit,
    tables: Tables,
    supply_voltage_v: float,
    allowed_voltage_drop_v: float,
    load_current_a: float | None,
    load_power_w: float | None,
    source_resistance_ohm: float,
) -> ConductorRequest:
    """Return what is asked of the engineering for a circuit.

    Parameters
    ----------
    circuit
        The circuit.
    tables
        Tables of the engineering.
    supply_voltage_v
        What it is fed with [V].
    allowed_voltage_drop_v
        What it may drop [V].
    load_current_a
        Current of its load [A], or none.
    load_power_w
        Power of its load [W], or none.
    source_resistance_ohm
        Of the source [ohm].

    Returns
    -------
    ConductorRequest
        With the route, the ground lead last, and the family of the circuit.
    """
    choice = circuit.conductor
    sizes = tables.series[choice.series]
    return ConductorRequest(
        sizes=sizes,
        material=tables.materials[choice.material],
        insulation=tables.insulations[choice.insulation],
        supply_voltage_v=supply_voltage_v,
        allowed_voltage_drop_v=allowed_voltage_drop_v,
        segments=_segments(circuit, tables),
        load_current_a=load_current_a,
        load_power_w=load_power_w,
        source_resistance_ohm=source_resistance_ohm,
        return_by_conductor=circuit.return_path.path == "conductor",
        chassis_resistance_ohm=circuit.return_path.chassis_resistance_ohm,
        fixed_resistance_ohm=circuit.joint_resistance_ohm,
        smallest_size=_size(sizes, choice.smallest_size),
    )


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
    loads = job.equipment_on(circuit.key)
    if loads[0].power_w is not None:
        return None, sum(item.quantity * (item.power_w or 0.0) for item in loads)
    return sum(item.quantity * (item.current_a or 0.0) for item in loads), None


def has_ground_lead(circuit: Circuit) -> bool:
    """Return whether the last segment of what is asked is a ground lead.

    Parameters
    ----------
    circuit
        The circuit.

    Returns
    -------
    bool
        Whether the current goes back by the chassis.
    """
    return circuit.return_path.path == "chassis"


def _segments(circuit: Circuit, tables: Tables) -> tuple[Segment, ...]:
    """Return the route, and the ground lead as a last stretch of the same conductor."""
    stretches = [
        (segment.length_m, segment.zone, segment.bundled_conductors) for segment in circuit.route
    ]
    if has_ground_lead(circuit):
        stretches.append((circuit.return_path.ground_lead_length_m, circuit.route[-1].zone, 1))
    return tuple(
        Segment(
            length_m=length_m,
            ambient_temperature_k=tables.zones[zone].ambient_temperature_k,
            bundled_conductors=bundled,
            engine_space=tables.zones[zone].engine_space,
        )
        for length_m, zone, bundled in stretches
    )


def _size(sizes: tuple[ConductorSize, ...], key: str | None) -> ConductorSize | None:
    return None if key is None else next((size for size in sizes if size.key == key), None)
