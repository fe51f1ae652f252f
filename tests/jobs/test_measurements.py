"""Readings of a job: expectations of the demo jobs, verdicts, places, and the least request."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from loomwright.engineering.errors import EngineeringError
from loomwright.engineering.measurement.diagnosis import Cause
from loomwright.engineering.measurement.expected import Expectation, Reading
from loomwright.engineering.measurement.hypotheses import COPPER_CLAD, NONE, UNDERSIZED, WEAK_SOURCE
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    EQUIPMENT_VOLTAGE,
    FEED_DROP,
    FUSE_DROP,
    REST,
    RETURN_DROP,
    SOURCE_VOLTAGE,
    Quantity,
)
from loomwright.engineering.measurement.meter import Meter
from loomwright.jobs.circuit_conductors import circuit_conductors
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.installation_network import installation_network
from loomwright.jobs.job import Job
from loomwright.jobs.measured_installation import LOAD, MeasuredInstallation, measured_installation
from loomwright.jobs.measurement_answer import advice, measurements_document
from loomwright.jobs.measurements import (
    ASLEEP,
    DRAIN,
    GAIN_VOLTAGE,
    SET_UP,
    USUAL_METERS,
    WORKSHOP_TEMPERATURE_K,
    CheckedMeasurements,
    JobReadings,
    Measurements,
    StatedReading,
    all_on,
    checked_measurements,
)
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

Document = dict[str, Any]
ReadJob = Callable[[object], Job]


def stated(what: str, subject: str, value: float, state: str = LOAD) -> StatedReading:
    return StatedReading(Quantity(what, subject, state), Reading(value, USUAL_METERS[what]), None)


def checked(job: Job, *readings: StatedReading) -> CheckedMeasurements:
    measurements = Measurements(all_on(job), WORKSHOP_TEMPERATURE_K, readings)
    return checked_measurements(job, measurements, tables(), fuse_tables())


def installation(job: Job, measured: tuple[str, ...], kelvin: float) -> MeasuredInstallation:
    conductors = circuit_conductors(job, tables())
    sized = sized_circuits(job, conductors, tables(), fuse_tables())
    return measured_installation(job, sized, conductors, tables(), all_on(job), kelvin, measured)


def expected_measurements(job: Job) -> tuple[Expectation, ...]:
    """What is expected of a job whose circuits are sized each for itself."""
    conductors = circuit_conductors(job, tables())
    sized = sized_circuits(job, conductors, tables(), fuse_tables())
    drawn = installation_network(job, sized, conductors, tables())
    return JobReadings().of(job, drawn, conductors).each


def test_a_cold_feed_has_the_resistance_of_the_table(
    small_job: Document, read_job: ReadJob
) -> None:
    # 2.5 mm2 copper at 20 C has 7.98 mohm/m (ISO 6722): 4 m of feed, 0.5 m of ground lead.
    network = installation(read_job(small_job), ("lamp_feed",), 293.15).network
    lamp = network.circuits["lamp_feed"]
    cold = network.planned.ambient_resistance_ohm[0]
    assert cold[list(lamp.feed_stretches)].sum() == pytest.approx(4 * 7.98e-3, rel=1e-3)
    assert cold[list(lamp.return_stretches)].sum() == pytest.approx(0.5 * 7.98e-3, rel=1e-3)
    warm = installation(read_job(small_job), ("lamp_feed",), 303.15).network
    # 10 K by the 0.004 /K of IEC 60228, annex A: 250 / (230 + t).
    shares = warm.planned.ambient_resistance_ohm[0] / cold
    assert shares == pytest.approx(np.full(shares.size, 1.04), rel=1e-9)


def test_expected_drops_of_a_small_job_are_those_derived_by_hand(
    small_job: Document, read_job: ReadJob
) -> None:
    # 6 A: feed 31.92 + 0.8 mohm, return 3.99 + 0.2 + 1 mohm, 14 mohm in the source, at 20 C; heat
    # adds up to 3 % to the conductors, the mean of a lognormal spread of 0.35 adds 6 % to joints.
    found = {entry.quantity: entry for entry in expected_measurements(read_job(small_job))}
    feed = found[Quantity(FEED_DROP, "lamp_feed", LOAD)]
    back = found[Quantity(RETURN_DROP, "lamp_feed", LOAD)]
    assert 6 * 32.72e-3 < feed.expected < 6 * 32.72e-3 * 1.035
    assert 6 * 5.19e-3 < back.expected < 6 * 5.19e-3 * 1.05
    assert found[Quantity(CURRENT, "lamp_feed", LOAD)].expected == pytest.approx(6.0, rel=1e-3)
    source = found[Quantity(SOURCE_VOLTAGE, "battery", LOAD)]
    assert source.expected == pytest.approx(12.6 - 6 * 0.014, abs=0.01)
    assert found[Quantity(SOURCE_VOLTAGE, "battery", REST)].expected == pytest.approx(
        12.6, abs=1e-3
    )
    at_load = found[Quantity(EQUIPMENT_VOLTAGE, "lamp_feed", LOAD)].expected
    assert at_load == pytest.approx(source.expected - feed.expected - back.expected, abs=1e-3)


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_every_loaded_circuit_of_a_job_has_its_expected_measurements(
    name: str, read_job: ReadJob
) -> None:
    job = read_job(demo_job(name))
    found = expected_measurements(job)
    assert {entry.quantity.subject for entry in found if entry.quantity.what == FUSE_DROP} >= set(
        all_on(job)[LOAD]
    )
    assert len({entry.quantity for entry in found}) == len(found)
    assert all(entry.low < entry.expected < entry.high for entry in found)
    assert [entry.quantity.state for entry in found] == sorted(
        [entry.quantity.state for entry in found], reverse=True
    )


def test_circuits_without_a_conductor_are_left_out_of_what_is_expected(
    small_job: Document, read_job: ReadJob
) -> None:
    lamps = small_job["circuits"][0]
    far = [{"length": 60, "zone": "passenger_compartment"}]
    small_job["circuits"] += [
        {**lamps, "key": "far", "route": far, "allowed_voltage_drop_percent": 0.1}
    ]
    small_job["equipment"] += [{**small_job["equipment"][0], "key": "more", "circuit": "far"}]
    job = read_job(small_job)
    found = expected_measurements(job)
    assert {entry.quantity.subject for entry in found} == {"battery", "lamp_feed"}
    with pytest.raises(EngineeringError, match="Circuit far") as caught:
        checked(job, stated(CURRENT, "lamp_feed", 6.0))
    assert caught.value.code == "circuit_not_sized"
    assert caught.value.field == "circuits/1"


def test_a_poor_ground_is_found_with_its_resistance(small_job: Document, read_job: ReadJob) -> None:
    # By hand as above, with 30 mohm added to the return: 0.18 V at 6 A.
    job = read_job(small_job)
    answer = checked(
        job,
        stated(SOURCE_VOLTAGE, "battery", 12.6, REST),
        stated(SOURCE_VOLTAGE, "battery", 12.52),
        stated(EQUIPMENT_VOLTAGE, "lamp_feed", 12.11),
        stated(CURRENT, "lamp_feed", 6.0),
        stated(FEED_DROP, "lamp_feed", 0.199),
        stated(RETURN_DROP, "lamp_feed", 0.212),
    )
    assert answer.verdict == "fail"
    verdicts = {entry.stated.quantity.what: entry.verdict for entry in answer.readings[1:]}
    assert verdicts == {
        SOURCE_VOLTAGE: "pass",
        EQUIPMENT_VOLTAGE: "fail",
        CURRENT: "pass",
        FEED_DROP: "pass",
        RETURN_DROP: "fail",
    }
    assert answer.diagnosis is not None
    first = answer.diagnosis.causes[0]
    assert (first.fault, first.subject) == ("poor_ground", "lamp_feed")
    assert first.magnitude == pytest.approx(0.030, rel=0.1)
    assert answer.diagnosis.alike == 1
    assert Quantity(FUSE_DROP, "lamp_feed", LOAD) in {entry.quantity for entry in answer.unread}
    told = measurements_document(answer)["diagnosis"]["causes"][0]
    assert told["circuit"] == "lamp_feed"
    assert told["advice"].startswith("Re-make the return of the circuit Battery to lamps: clean ")


@pytest.mark.parametrize(
    ("fault", "subject", "label", "text"),
    [
        (COPPER_CLAD, "lamp_feed", "cca_10", "that of copper-clad aluminium, 10 %, 1.60 times"),
        (UNDERSIZED, "lamp_feed", "1.5 mm2", "that of 1.5 mm2, 1.60 times"),
        (WEAK_SOURCE, "battery", "", "Charge and test the source Test battery: "),
        (NONE, "", "", "Nothing to do"),
    ],
)
def test_advice_names_place_and_metal_in_words(
    fault: str, subject: str, label: str, text: str
) -> None:
    names = {"lamp_feed": "the circuit Battery to lamps", "battery": "the source Test battery"}
    assert text in advice(Cause(fault, subject, fault, 1.0, 1.6, label), names)


def test_what_is_expected_passes_and_nothing_is_wrong(
    small_job: Document, read_job: ReadJob
) -> None:
    job = read_job(small_job)
    expected = checked(job).unread
    readings = [
        StatedReading(
            entry.quantity, Reading(entry.expected, USUAL_METERS[entry.quantity.what]), None
        )
        for entry in expected
    ]
    answer = checked(job, *readings)
    assert answer.verdict == "pass"
    assert answer.diagnosis is not None
    assert answer.diagnosis.causes[0].fault == "none"
    assert answer.unread == ()
    backwards = checked(job, *reversed(readings))
    assert backwards.diagnosis == answer.diagnosis
    assert backwards.readings == tuple(reversed(answer.readings))


def test_nothing_measured_is_said(small_job: Document, read_job: ReadJob) -> None:
    answer = checked(read_job(small_job))
    assert answer.verdict == "nothing_measured"
    assert answer.diagnosis is None
    assert len(answer.unread) == 10


def test_a_reading_behind_a_block_asks_about_its_feeder_too(read_job: ReadJob) -> None:
    job = read_job(demo_job("truck_24v"))
    answer = checked(job, stated(EQUIPMENT_VOLTAGE, "radio_feed", 22.0))
    assert answer.diagnosis is not None
    assert {cause.subject for cause in answer.diagnosis.causes} == {
        "", "cab_main", "radio_feed", "body_connection",
    }  # fmt: skip
    # A source tells of all that hangs on it.
    answer = checked(job, stated(SOURCE_VOLTAGE, "body_connection", 24.0))
    assert answer.diagnosis is not None
    assert {cause.subject for cause in answer.diagnosis.causes} >= {"heater_feed", "radio_feed"}


def test_a_drain_is_held_against_the_standby_currents_and_only_upwards(
    small_job: Document, read_job: ReadJob
) -> None:
    # 50 mA: half-widths 20 % = 10 mA and 1 % + 3 counts of 1 mA = 3.5 mA; over sqrt(3) and by 1.96.
    job = read_job(small_job)

    def drain(value: float) -> CheckedMeasurements:
        meter = Meter(0.01, 3.0, 1e-3)
        return checked(
            job, StatedReading(Quantity(DRAIN, "battery", ASLEEP), Reading(value, meter), 0.05)
        )

    (judged,) = drain(0.05).readings
    half = 1.96 * (0.010**2 + 0.0035**2) ** 0.5 / 3**0.5
    assert judged.expectation.high == pytest.approx(0.05 + half)
    assert judged.expectation.low == pytest.approx(0.05 - half)
    assert judged.expectation.standard_uncertainty == pytest.approx(half / 1.96)
    assert judged.normalised_error == 0.0
    assert [drain(value).verdict for value in (0.0, 0.06, 0.065, 0.2)] == [
        "pass", "pass", "doubtful", "fail",
    ]  # fmt: skip
    assert drain(0.2).diagnosis is None


def test_an_unused_source_has_no_negative_drain(small_job: Document, read_job: ReadJob) -> None:
    reading = StatedReading(
        Quantity(DRAIN, "battery", ASLEEP), Reading(0.0, Meter(0.01, 3.0, 1e-3)), 0.001
    )
    (judged,) = checked(read_job(small_job), reading).readings
    assert judged.expectation.low == 0.0
    assert judged.verdict == "pass"


def test_a_gain_is_held_against_its_voltage_both_ways(
    small_job: Document, read_job: ReadJob
) -> None:
    # 20 V: half-widths 5 % = 1 V and 1 % + 3 counts of 10 mV = 0.23 V.
    job = read_job(small_job)
    quantity = Quantity(GAIN_VOLTAGE, "lamp_feed", SET_UP)

    def gain(value: float) -> str:
        return checked(
            job, StatedReading(quantity, Reading(value, Meter(0.01, 3.0, 0.01)), 20.0)
        ).verdict

    half = 1.96 * (1.0**2 + 0.23**2) ** 0.5 / 3**0.5
    assert gain(20.0 + 0.99 * half) == gain(20.0 - 0.99 * half) == "pass"
    assert gain(20.0 + 1.01 * half) == gain(20.0 - 1.01 * half) == "doubtful"
    assert gain(20.0 + 1.7 * half) == gain(20.0 - 1.7 * half) == "fail"


def test_other_conductors_are_thinner_and_copper_clad(
    small_job: Document, read_job: ReadJob
) -> None:
    job = read_job(small_job)
    found = installation(job, ("lamp_feed",), 293.15)
    others = found.others["lamp_feed"]
    assert [(other.fault, other.label) for other in others] == [
        (UNDERSIZED, "1.5 mm2"),
        (UNDERSIZED, "1 mm2"),
        (UNDERSIZED, "0.75 mm2"),
        (COPPER_CLAD, "cca_10"),
        (COPPER_CLAD, "cca_15"),
    ]
    # Copper-clad over copper of equal section: 2.741 and 2.6772 over 1.7241, by their resistivity;
    # a table resistance of copper stands up to a few percent above it.
    planned = found.network.planned.ambient_resistance_ohm.sum()
    ratios = [other.ambient_resistance_ohm.sum() / planned for other in others[3:]]
    assert ratios == pytest.approx([1.590, 1.553], rel=0.08)
    rising = [other.ambient_resistance_ohm.sum() for other in others[:3]]
    assert rising == sorted(rising)
    assert rising[0] > planned


def test_copper_clad_that_is_planned_is_no_fault(small_job: Document, read_job: ReadJob) -> None:
    small_job["conductors"]["material"] = "cca_15"
    found = installation(read_job(small_job), ("lamp_feed",), 293.15)
    assert {other.fault for other in found.others["lamp_feed"]} == {UNDERSIZED}


def test_the_thinnest_of_a_series_has_no_thinner(small_job: Document, read_job: ReadJob) -> None:
    small_job["equipment"][0]["load_current"] = 0.01
    small_job["conductors"]["smallest_size"] = tables().series["metric"][0].key
    found = installation(read_job(small_job), ("lamp_feed",), 293.15)
    faults = [other.fault for other in found.others["lamp_feed"]]
    assert faults.count(COPPER_CLAD) == 2
    chosen = found.others["lamp_feed"]
    assert all(other.label != "2.5 mm2" for other in chosen)


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_everything_that_a_job_feeds_is_on(name: str, read_job: ReadJob) -> None:
    job = read_job(demo_job(name))
    on = all_on(job)[LOAD]
    feeding = {circuit.fed_from for circuit in job.circuits}
    charging = {circuit.key for circuit in job.circuits if circuit.charges_source}
    assert not set(on) & (feeding | charging)
    assert {circuit.key for circuit in job.circuits} == set(on) | charging | (
        feeding - set(job.power_sources)
    )
