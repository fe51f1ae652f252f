"""A job as a network that is measured: places, load states, and what else may be fitted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.measurement.hypotheses import COPPER_CLAD, UNDERSIZED, OtherConductor
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    DROPS,
    EQUIPMENT_VOLTAGE,
    REST,
    SOURCE_VOLTAGE,
    CircuitPlaces,
    MeasuredNetwork,
    Quantity,
    Variants,
)
from loomwright.jobs.circuit_conductors import CircuitConductor, feeders, feeding_source
from loomwright.jobs.installation_network import (
    FUSE,
    GROUND,
    LOAD_LUG,
    RETURN_LUGS,
    SOURCE_LUG,
    InstallationNetwork,
    installation_network,
    stretches_there_and_back,
)
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.sized_circuit import SizedCircuit
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]

# State in which everything that the job feeds is switched on.
LOAD = "load"
GREATEST_SIZES_TOO_THIN = 3
CLAD_MATERIALS = ("cca_10", "cca_15")


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredInstallation:
    """A job's network in its load states.

    Parameters
    ----------
    network
        At the temperature of the day.
    others
        Conductors that may be fitted in place of the planned one, by circuit.
    """

    network: MeasuredNetwork
    others: Mapping[str, tuple[OtherConductor, ...]]

    def quantities(self, circuits: Sequence[str]) -> list[Quantity]:
        """Return everything that can be read of circuits and of their sources."""
        return quantities_of(self.network, circuits)


def quantities_of(network: MeasuredNetwork, circuits: Sequence[str]) -> list[Quantity]:
    """Return everything that can be read of circuits and of their sources.

    Parameters
    ----------
    network
        The network.
    circuits
        Keys.

    Returns
    -------
    list of Quantity
        Voltages at rest, then each load state in which a circuit carries current.
    """
    heads = {network.circuits[key].source for key in circuits}
    sources = [key for key, place in network.sources.items() if place in heads]
    found = [Quantity(SOURCE_VOLTAGE, key, REST) for key in sources]
    found += [Quantity(EQUIPMENT_VOLTAGE, key, REST) for key in circuits]
    for state in network.states:
        if state == REST:
            continue
        found += [Quantity(SOURCE_VOLTAGE, key, state) for key in sources]
        found += [
            Quantity(what, key, state)
            for key in circuits
            if key in network.states[state]
            for what in (EQUIPMENT_VOLTAGE, *DROPS, CURRENT)
        ]
    return found


def measured_installation(
    job: Job,
    sized: Sequence[SizedCircuit],
    conductors: Mapping[str, CircuitConductor],
    tables: Tables,
    states: Mapping[str, Sequence[str]],
    ambient_temperature_k: float,
    measured: Sequence[str],
) -> MeasuredInstallation:
    """Return what is measured of a job.

    Parameters
    ----------
    job
        The job.
    sized
        Its circuits.
    conductors
        What each was sized for.
    tables
        Tables of the engineering.
    states
        Circuits whose loads are switched on, by name of the state.
    ambient_temperature_k
        Of the conductors before they carry current [K]. The heat that a current adds is that at the
        ambient of the mounting zone, which differs by a few tenths of the rise.
    measured
        Circuits that are measured.

    Returns
    -------
    MeasuredInstallation
        Of these circuits, those switched on, and those that feed either.

    Raises
    ------
    EngineeringError
        ``circuit_not_sized`` where one of them has no conductor.
    """
    among = {key for keys in states.values() for key in keys} | set(measured)
    drawn = installation_network(job, sized, conductors, tables, among)
    _refuse_left_out(job, drawn)
    candidates = {entry.circuit.key: entry.candidate or 0 for entry in sized}
    others = {
        key: _others(_request(conductors[key]), candidates[key], tables, ambient_temperature_k)
        for key in drawn.supply_nodes
    }
    network = measured_network(job, drawn, conductors, states, ambient_temperature_k)
    return MeasuredInstallation(network, others)


def measured_network(
    job: Job,
    drawn: InstallationNetwork,
    conductors: Mapping[str, CircuitConductor],
    states: Mapping[str, Sequence[str]],
    ambient_temperature_k: float,
) -> MeasuredNetwork:
    """Return a drawn network with the places where it is measured.

    Parameters
    ----------
    job
        The job.
    drawn
        Its network, or a part of it.
    conductors
        What each circuit was sized for.
    states
        Circuits whose loads are switched on, by name of the state; all are in the network.
    ambient_temperature_k
        Of the conductors before they carry current [K].

    Returns
    -------
    MeasuredNetwork
        At that temperature.
    """
    by_key = {circuit.key: circuit for circuit in job.circuits}
    part_places = {name: place for place, name in enumerate(drawn.parts)}
    circuits = {key: _places(job, drawn, by_key[key], part_places) for key in drawn.supply_nodes}
    part_ohm = np.array([[part.resistance_ohm for part in drawn.parts.values()]])
    carrying = {
        state: frozenset(feeder.key for key in keys for feeder in feeders(job, by_key[key]))
        for state, keys in states.items()
    }
    return MeasuredNetwork(
        shape=drawn.shape,
        elements=drawn.elements,
        planned=planned_variants(
            drawn, part_ohm, stretch_ambients_k(drawn, conductors), ambient_temperature_k
        ),
        part_branch=np.array([part.branch for part in drawn.parts.values()], np.int64),
        circuits=circuits,
        sources=drawn.sources,
        source_nodes={key: drawn.nodes[f"{key}.plus"] for key in drawn.sources},
        states={REST: frozenset(), **carrying},
    )


def _refuse_left_out(job: Job, drawn: InstallationNetwork) -> None:
    for circuit in job.circuits:
        if circuit.key in drawn.left_out:
            raise EngineeringError(
                "circuit_not_sized",
                f"Circuit {circuit.key}: no conductor meets its criteria, so nothing can be "
                "expected of it; correct the job, or measure other circuits.",
                field=f"circuits/{circuit.index}",
            )


def _request(conductor: CircuitConductor) -> ConductorRequest:
    assert conductor.request is not None  # what is drawn was sized
    return conductor.request


def _places(
    job: Job, drawn: InstallationNetwork, circuit: Circuit, part_places: Mapping[str, int]
) -> CircuitPlaces:
    key = circuit.key
    back = [f"{key}.{name}" for name in (RETURN_LUGS, GROUND)]
    return CircuitPlaces(
        feed_stretches=drawn.stretches[f"{key}.feed"],
        return_stretches=drawn.stretches[f"{key}.return"],
        source_lug=part_places[f"{key}.{SOURCE_LUG}"],
        fuse=part_places[f"{key}.{FUSE}"],
        load_lug=part_places[f"{key}.{LOAD_LUG}"],
        return_parts=tuple(part_places[name] for name in back if name in part_places),
        feed_branch=drawn.branches[f"{key}.feed"],
        supply_node=drawn.supply_nodes[key],
        load_plus=drawn.nodes[f"{key}.load_plus"],
        load_minus=drawn.nodes[f"{key}.load_minus"],
        return_node=drawn.return_nodes[key],
        load=drawn.loads.get(key),
        source=drawn.sources[feeding_source(job, circuit).key],
    )


def stretch_ambients_k(
    drawn: InstallationNetwork, conductors: Mapping[str, CircuitConductor]
) -> Array:
    """Return the ambient temperature that each stretch of conductor was sized for.

    Parameters
    ----------
    drawn
        The network.
    conductors
        What each circuit was sized for.

    Returns
    -------
    ndarray
        One row [K].
    """
    found = [0.0] * drawn.elements.share_per_ampere.size
    for key in drawn.supply_nodes:
        ambient = [segment.ambient_temperature_k for segment in _request(conductors[key]).segments]
        feed, back = drawn.stretches[f"{key}.feed"], drawn.stretches[f"{key}.return"]
        # The return is the ground lead, the last segment, or as long as the feed.
        for places, along in ((feed, ambient[: len(feed)]), (back, ambient[-len(back) :])):
            for place, ambient_k in zip(places, along, strict=True):
                found[place] = ambient_k
    return np.array([found])


def planned_variants(
    drawn: InstallationNetwork,
    part_resistance_ohm: Array,
    stretch_ambient_k: Array,
    ambient_temperature_k: float,
) -> Variants:
    """Return the planned values with the conductors at the temperature of the day.

    Parameters
    ----------
    drawn
        The network.
    part_resistance_ohm
        Of its parts, one row [ohm].
    stretch_ambient_k
        What its conductors were sized for, one row [K].
    ambient_temperature_k
        Of the conductors before they carry current [K].

    Returns
    -------
    Variants
        One row.
    """
    elements = drawn.elements
    slope = elements.resistance_slope_ohm_per_k
    return Variants(
        part_resistance_ohm=part_resistance_ohm,
        ambient_resistance_ohm=elements.ambient_resistance_ohm
        + slope * (ambient_temperature_k - stretch_ambient_k),
        resistance_slope_ohm_per_k=slope,
        share_per_ampere=elements.share_per_ampere,
        emf_v=elements.emf_v,
        source_resistance_ohm=elements.source_resistance_ohm,
        load_power_w=elements.load_power_w,
        load_current_a=elements.load_current_a,
    )


def _others(
    request: ConductorRequest, candidate: int, tables: Tables, ambient_temperature_k: float
) -> tuple[OtherConductor, ...]:
    """Return thinner sizes of the series, and copper-clad aluminium in place of copper."""
    thinner = range(candidate - 1, max(candidate - 1 - GREATEST_SIZES_TOO_THIN, -1), -1)
    # Rising in resistance.
    found = [
        _other(UNDERSIZED, request.sizes[place].key, request, place, tables, ambient_temperature_k)
        for place in thinner
    ]
    if not request.material.key.startswith("cca"):
        found += [
            _other(
                COPPER_CLAD,
                key,
                replace(request, material=tables.materials[key]),
                candidate,
                tables,
                ambient_temperature_k,
            )
            for key in CLAD_MATERIALS
        ]
    return tuple(found)


def _other(
    fault: str,
    label: str,
    request: ConductorRequest,
    candidate: int,
    tables: Tables,
    ambient_temperature_k: float,
) -> OtherConductor:
    feed, back = stretches_there_and_back(request, candidate, tables)
    zones = [segment.ambient_temperature_k for segment in request.segments]
    zones = [*zones, *zones] if request.return_by_conductor else zones
    stretches = [*feed, *back]
    slope = np.array([stretch.resistance_slope_ohm_per_k for stretch in stretches])
    cold = np.array([stretch.ambient_resistance_ohm for stretch in stretches])
    return OtherConductor(
        fault,
        label,
        cold + slope * (ambient_temperature_k - np.array(zones)),
        slope,
        np.array([stretch.share_per_ampere for stretch in stretches]),
    )
