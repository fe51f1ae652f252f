"""Reading of what a technician posts beside a job: load states, temperature and readings."""

from collections.abc import Mapping

from loomwright.engineering.measurement.expected import Reading
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    EQUIPMENT_VOLTAGE,
    REST,
    SOURCE_VOLTAGE,
    Quantity,
)
from loomwright.engineering.measurement.meter import Meter
from loomwright.figures import KELVIN_AT_0_C
from loomwright.jobs.circuit_conductors import feeders
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.measured_installation import LOAD
from loomwright.jobs.measurements import (
    ASLEEP,
    DRAIN,
    GAIN_VOLTAGE,
    SET_UP,
    USUAL_METERS,
    Measurements,
    StatedReading,
    all_on,
)
from loomwright.jobs.plan.alternatives import PlanOptions
from loomwright.pricing.reading import ObjectReader

_AT_REST = (SOURCE_VOLTAGE, EQUIPMENT_VOLTAGE)
_OF_SOURCE = (SOURCE_VOLTAGE, DRAIN)
_WITHOUT_STATE = {DRAIN: ASLEEP, GAIN_VOLTAGE: SET_UP}
_IN_AMPERE = (CURRENT, DRAIN)


def measurements_from_document(reader: ObjectReader, job: Job) -> Measurements:
    """Return the measurements that a request states.

    Parameters
    ----------
    reader
        Of the request, under ``MEASUREMENT_MEMBERS``; notes every fault.
    job
        The job that was measured.

    Returns
    -------
    Measurements
        Of no use where a fault was noted.
    """
    states = _states(reader, job)
    carrying = {
        state: {feeder.key for key in keys for feeder in _chain(job, key)}
        for state, keys in states.items()
    }
    standby = _standby(reader, job)
    seen: set[Quantity] = set()
    readings = []
    for item in reader.objects("readings"):
        stated = _reading(item, job, carrying, standby)
        if stated is None:
            continue
        if stated.quantity in seen:
            item.fault("what", "The same was read before in this state; give it once.")
        seen.add(stated.quantity)
        readings.append(stated)
    return Measurements(
        states=states,
        ambient_temperature_k=KELVIN_AT_0_C + reader.number("ambient_temperature"),
        readings=tuple(readings),
        plan=reader.choice("plan"),
        plan_options=PlanOptions.of_percent(reader.number("headroom_percent")),
    )


def _chain(job: Job, key: str) -> list[Circuit]:
    return [
        feeder for circuit in job.circuits if circuit.key == key for feeder in feeders(job, circuit)
    ]


def _states(reader: ObjectReader, job: Job) -> dict[str, tuple[str, ...]]:
    listed = reader.objects("load_states")
    if not listed:
        return all_on(job)
    states: dict[str, tuple[str, ...]] = {}
    loads = {key for keys in all_on(job).values() for key in keys}
    for item in listed:
        key, circuits = item.text("key"), item.texts("circuits")
        if key == REST:
            item.fault("key", "In the state rest nothing is on; give another key.")
        for place, circuit in enumerate(circuits):
            if circuit not in loads:
                item.fault_at(
                    "circuits", place, "No circuit of the job with this key feeds equipment."
                )
        states[key] = circuits
    return states


def _standby(reader: ObjectReader, job: Job) -> dict[str, float]:
    totals: dict[str, float] = {}
    for item in reader.objects("standby_currents"):
        source, current = item.text("source"), item.number("current")
        item.optional_text("description")
        if source and source not in job.power_sources:
            item.fault("source", "No source of the job has this key.")
        totals[source] = totals.get(source, 0.0) + current
    return totals


def _reading(
    item: ObjectReader,
    job: Job,
    carrying: Mapping[str, set[str]],
    standby: Mapping[str, float],
) -> StatedReading | None:
    """Return one reading; none where a fault leaves open what it is of."""
    before = len(item.faults)
    what = item.choice("what")
    members = {
        name: item.optional_number(name)
        for name in ("voltage", "current", "output_power", "load_impedance")
    }
    meter = _meter(item.object("meter"), what)
    if not what:
        return None
    subject = _subject(item, what, job)
    state = _state(item, what, subject, carrying)
    needed = {"current" if what in _IN_AMPERE else "voltage"}
    if what == GAIN_VOLTAGE:
        needed |= {"output_power", "load_impedance"}
    for name in members:
        if item.has(name) != (name in needed):
            missing = name in needed
            item.fault(name, f"Missing; {what} has it." if missing else f"{what} has none.")
    if what == DRAIN and subject not in standby:
        item.fault("source", "State its standby_currents, so that a drain can be expected.")
    if len(item.faults) > before:
        return None
    value = members["current" if what in _IN_AMPERE else "voltage"]
    assert value is not None  # its absence is a fault
    expected = standby[subject] if what == DRAIN else None
    if what == GAIN_VOLTAGE:
        expected = ((members["output_power"] or 0.0) * (members["load_impedance"] or 0.0)) ** 0.5
    return StatedReading(Quantity(what, subject, state), Reading(value, meter), expected)


def _meter(item: ObjectReader, what: str) -> Meter:
    usual = USUAL_METERS.get(what, USUAL_METERS[CURRENT])
    percent = item.optional_number("accuracy_percent")
    digits = item.optional_number("accuracy_digits")
    resolution = item.optional_number("resolution")
    return Meter(
        usual.share if percent is None else 0.01 * percent,
        usual.digits if digits is None else digits,
        usual.resolution if resolution is None else resolution,
    )


def _subject(item: ObjectReader, what: str, job: Job) -> str:
    name, other = ("source", "circuit") if what in _OF_SOURCE else ("circuit", "source")
    keys = set(job.power_sources) if name == "source" else {entry.key for entry in job.circuits}
    subject = item.optional_text(name)
    if subject is None:
        item.fault(name, f"Missing; {what} is read at a {name}.")
    elif subject not in keys:
        item.fault(name, f"No {name} of the job has this key.")
    if item.has(other):
        item.fault(other, f"{what} is read at a {name}.")
    return subject or ""


def _state(item: ObjectReader, what: str, subject: str, carrying: Mapping[str, set[str]]) -> str:
    if what in _WITHOUT_STATE:
        if item.has("state"):
            item.fault("state", f"{what} has none.")
        return _WITHOUT_STATE[what]
    state = item.optional_text("state") or LOAD
    if state == REST:
        if what not in _AT_REST:
            item.fault("state", "At rest no current flows: only voltages are read.")
    elif state not in carrying:
        listed = ", ".join((REST, *carrying))
        item.fault("state", f"One of these is needed: {listed}.")
    elif what not in _AT_REST and subject not in carrying[state]:
        item.fault("state", "The circuit carries nothing in this state.")
    return state
