"""What is asked of the engineering for the conductor of a circuit of a job."""

from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.jobs.job import Circuit
from loomwright.tables.records import ConductorSize, Tables


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
