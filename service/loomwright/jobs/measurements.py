"""Readings of a technician against what a job's network lets expect."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.diagnosis import Diagnosis, diagnosis
from loomwright.engineering.measurement.expected import (
    FROM_PLAN,
    Expectation,
    Reading,
    expectations_of_draws,
)
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    DROPS,
    EQUIPMENT_VOLTAGE,
    SOURCE_VOLTAGE,
    Quantity,
)
from loomwright.engineering.measurement.meter import RECTANGULAR, Meter
from loomwright.engineering.measurement.propagation import (
    ExpectedReadings,
    PlacedMeters,
    expected_readings,
    placed_meters,
)
from loomwright.engineering.measurement.uncertainty import USUAL, Tolerances, drawn_variants
from loomwright.engineering.measurement.verdict import (
    normalised_error,
    overall_verdict,
    verdict_of,
)
from loomwright.jobs.circuit_conductors import CircuitConductor, feeders
from loomwright.jobs.installation_network import InstallationNetwork
from loomwright.jobs.job import Job
from loomwright.jobs.measured_installation import (
    LOAD,
    measured_installation,
    measured_network,
    quantities_of,
    stretch_ambients_k,
)
from loomwright.jobs.plan.alternatives import RECOMMENDED, PlanOptions, planned_job
from loomwright.jobs.plan.alternatives import USUAL as USUAL_PLANS
from loomwright.jobs.plan.consistent import consistent_circuits
from loomwright.tables.fuse_records import FuseTables
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]

DRAIN, GAIN_VOLTAGE = "drain", "gain_voltage"
ASLEEP, SET_UP = "asleep", "gain_setting"
WORKSHOP_TEMPERATURE_K = 293.15
# Meters as they are usual in the trade: common practice, no source.
_VOLTMETER, _CLAMP = Meter(0.005, 2.0, 0.01), Meter(0.02, 5.0, 0.1)
USUAL_METERS: Mapping[str, Meter] = {
    SOURCE_VOLTAGE: _VOLTMETER,
    EQUIPMENT_VOLTAGE: _VOLTMETER,
    **dict.fromkeys(DROPS, Meter(0.005, 2.0, 1e-4)),
    CURRENT: _CLAMP,
    DRAIN: Meter(0.01, 3.0, 1e-3),
    GAIN_VOLTAGE: Meter(0.01, 3.0, 0.01),
}
# Half-width of a standby current, and of a gain that is set by a meter: common practice, no source.
STANDBY_SHARE, GAIN_SHARE = 0.2, 0.05
# Half of a rectangular and of a normal distribution's 95 % interval, over the half-width and the
# standard deviation of each.
_NORMAL_95 = 1.96


@dataclass(frozen=True, slots=True)
class StatedReading:
    """A reading as the request states it, in its order.

    ``expected`` is what the request itself lets expect: a standby current, a gain-setting voltage;
    ``None`` where the network says it.
    """

    quantity: Quantity
    reading: Reading
    expected: float | None


@dataclass(frozen=True, slots=True)
class Measurements:
    """What a technician posts: the plan that was fitted, load states, temperature and readings.

    ``states`` are the circuits that are switched on, by name of the state.
    """

    states: Mapping[str, tuple[str, ...]]
    ambient_temperature_k: float
    readings: tuple[StatedReading, ...]
    plan: str = RECOMMENDED
    plan_options: PlanOptions = USUAL_PLANS


@dataclass(frozen=True, slots=True)
class JudgedReading:
    """A reading with what was expected, and the verdict on it."""

    stated: StatedReading
    expectation: Expectation
    normalised_error: float
    verdict: str


@dataclass(frozen=True, slots=True)
class CheckedMeasurements:
    """The answer for a set of readings.

    ``unread`` is what else is expected of the circuits that were measured, of all of them where
    none was. ``diagnosis`` is ``None`` where no reading depends on the network.
    """

    job: Job
    verdict: str
    readings: tuple[JudgedReading, ...]
    diagnosis: Diagnosis | None
    unread: tuple[Expectation, ...]


def all_on(job: Job) -> dict[str, tuple[str, ...]]:
    """Return the one load state in which everything is switched on that the job feeds."""
    feeding = {circuit.fed_from for circuit in job.circuits}
    on = [item for item in job.circuits if item.key not in feeding and not item.charges_source]
    return {LOAD: tuple(circuit.key for circuit in on)}


class JobReadings:
    """Expected readings of one job, whose meters are placed once for each set of circuits.

    Lives for one request. Between the sizings of a job conductors and loads alone differ, not where
    a meter is put. The readings of each network are those that it has alone.

    Parameters
    ----------
    ambient_temperature_k
        Of the workshop [K].
    """

    def __init__(self, ambient_temperature_k: float = WORKSHOP_TEMPERATURE_K) -> None:
        self._ambient_temperature_k = ambient_temperature_k
        self._placed: dict[tuple[str, ...], PlacedMeters] = {}

    def of(
        self, job: Job, drawn: InstallationNetwork, conductors: Mapping[str, CircuitConductor]
    ) -> ExpectedReadings:
        """Return what a technician will read, at rest and with everything on.

        Parameters
        ----------
        job
            The job; allowances and loads may differ from one sizing to the next, nothing else.
        drawn
            Its network.
        conductors
            What each circuit was sized for.

        Returns
        -------
        ExpectedReadings
            Of every circuit that carries current with everything on: voltages at rest first, then
            under load by circuit; with the usual meters, uncertainties by propagation.

        Raises
        ------
        EngineeringError
            ``no_operating_point``.
        """
        circuits = tuple(drawn.supply_nodes)
        placed = self._placed.get(circuits)
        if placed is None:
            placed = self._placed[circuits] = self._placed_in(job, drawn, conductors)
        return expected_readings(placed, drawn.elements)

    def _placed_in(
        self, job: Job, drawn: InstallationNetwork, conductors: Mapping[str, CircuitConductor]
    ) -> PlacedMeters:
        on = tuple(key for key in all_on(job)[LOAD] if key in drawn.supply_nodes)
        ambient_k = self._ambient_temperature_k
        network = measured_network(job, drawn, conductors, {LOAD: on}, ambient_k)
        carrying = [key for key in network.circuits if key in network.states[LOAD]]
        meters = {
            quantity: USUAL_METERS[quantity.what] for quantity in quantities_of(network, carrying)
        }
        # The zones of a route are the same whatever its conductor is.
        warmer_k = ambient_k - stretch_ambients_k(drawn, conductors)
        return placed_meters(network, meters, warmer_k)


def checked_measurements(
    job: Job,
    measurements: Measurements,
    tables: Tables,
    fuse_tables: FuseTables,
    tolerances: Tolerances = USUAL,
) -> CheckedMeasurements:
    """Return the verdict on each reading and the likely causes.

    Parameters
    ----------
    job
        The job.
    measurements
        States and readings that belong to it.
    tables
        Tables of the engineering.
    fuse_tables
        Fuse tables of the engineering.
    tolerances
        What is not known of an installation that is built right.

    Returns
    -------
    CheckedMeasurements
        The same for the same request.

    Raises
    ------
    EngineeringError
        A circuit lies outside the models; ``circuit_not_sized``; ``no_operating_point``.
    """
    planned = planned_job(job, measurements.plan, measurements.plan_options)
    fitted = consistent_circuits(planned, tables, fuse_tables)
    sized, conductors = fitted.sized, fitted.conductors
    of_network = [entry for entry in measurements.readings if entry.expected is None]
    measured = _measured_circuits(job, measurements, of_network)
    installation = measured_installation(
        job,
        sized,
        conductors,
        tables,
        measurements.states,
        measurements.ambient_temperature_k,
        measured,
    )
    network = installation.network
    meters = {
        quantity: USUAL_METERS[quantity.what] for quantity in installation.quantities(measured)
    }
    meters |= {entry.quantity: entry.reading.meter for entry in of_network}
    readings = {entry.quantity: entry.reading for entry in of_network}
    drawn = drawn_variants(network, tolerances)
    planned_draws = network.values_of(drawn, sorted(meters))
    expected = expectations_of_draws(network, drawn, planned_draws, meters, readings)
    found = None
    if of_network:
        found = diagnosis(network, planned_draws, meters, readings, installation.others, measured)
    judged = tuple(_judged(entry, expected) for entry in measurements.readings)
    return CheckedMeasurements(
        job=job,
        verdict=overall_verdict([entry.verdict for entry in judged]),
        readings=judged,
        diagnosis=found,
        unread=tuple(entry for key, entry in expected.items() if key not in readings),
    )


def _measured_circuits(
    job: Job, measurements: Measurements, readings: Sequence[StatedReading]
) -> tuple[str, ...]:
    """Return the circuits that readings tell of with those that feed them; all that are on if none.

    A reading at a source tells of every circuit on it that is switched on.
    """
    named = {entry.quantity.subject for entry in readings}
    on = {key for keys in measurements.states.values() for key in keys}
    wanted = [
        circuit
        for circuit in job.circuits
        if circuit.key in named or (circuit.key in on and not named & set(_circuit_keys(job)))
    ]
    chain = {feeder.key for circuit in wanted for feeder in feeders(job, circuit)}
    return tuple(circuit.key for circuit in job.circuits if circuit.key in chain)


def _circuit_keys(job: Job) -> tuple[str, ...]:
    return tuple(circuit.key for circuit in job.circuits)


def _judged(stated: StatedReading, expected: Mapping[Quantity, Expectation]) -> JudgedReading:
    expectation = (
        expected[stated.quantity] if stated.expected is None else _stated_expectation(stated)
    )
    error = normalised_error(stated.reading.value, expectation)
    # A battery that loses less than it may is as good.
    verdict = verdict_of(error, only_above=stated.quantity.what == DRAIN)
    return JudgedReading(stated, expectation, error, verdict)


def _stated_expectation(stated: StatedReading) -> Expectation:
    """Return the expectation of what no network says, by propagation of standard deviations.

    JCGM 100:2008, 5.1.2: two rectangular inputs, taken as normal together.
    """
    assert stated.expected is not None
    share = STANDBY_SHARE if stated.quantity.what == DRAIN else GAIN_SHARE
    own, meter = share * stated.expected, stated.reading.meter.limit(stated.expected)
    deviation = RECTANGULAR * float(np.hypot(own, meter))
    return Expectation(
        stated.quantity,
        stated.expected,
        max(stated.expected - _NORMAL_95 * deviation, 0.0),
        stated.expected + _NORMAL_95 * deviation,
        deviation,
        FROM_PLAN,
    )
