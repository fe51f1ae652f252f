"""The answer for a set of readings as plain JSON values, in a fixed order."""

from collections.abc import Mapping
from typing import Any

from loomwright.engineering.measurement.diagnosis import Cause, Diagnosis
from loomwright.engineering.measurement.expected import Expectation
from loomwright.engineering.measurement.hypotheses import (
    COPPER_CLAD,
    FUSE_OR_HOLDER,
    LOAD_ABOVE,
    LOAD_BELOW,
    LOOSE_LOAD_LUG,
    LOOSE_SOURCE_LUG,
    LOW_CHARGE,
    NONE,
    POOR_GROUND,
    UNDERSIZED,
    WEAK_SOURCE,
)
from loomwright.engineering.measurement.measured_network import CURRENT, SOURCE_VOLTAGE, Quantity
from loomwright.engineering.measurement.propagation import ExpectedReadings
from loomwright.figures import six_digits, six_digits_of_each
from loomwright.jobs.cautions import cautions_of_job
from loomwright.jobs.job import Job
from loomwright.jobs.measurements import DRAIN, GAIN_VOLTAGE, CheckedMeasurements, JudgedReading
from loomwright.tables.conductor_words import MATERIALS
from loomwright.tables.records import Provenance, Tables

VOLT, AMPERE = "V", "A"
# What is less likely than this is not worth a line, beyond the first two.
LEAST_PROBABILITY = 0.001
_ADDED = (POOR_GROUND, LOOSE_SOURCE_LUG, LOOSE_LOAD_LUG, FUSE_OR_HOLDER)
_CONDUCTOR = (UNDERSIZED, COPPER_CLAD)
_FACTOR = (LOAD_BELOW, LOAD_ABOVE, WEAK_SOURCE)
_PROBE_CAUTIONS = ("measure_under_load", "meter_leads")
# Of a job, those that have to do with holding probes to it.
_JOB_CAUTIONS = (
    "high_voltage",
    "airbag",
    "fuse_not_above_conductor",
    "mains_output",
    "moving_and_hot_parts",
)
PROVENANCES = (
    Provenance("jcgm_101", "5.9, 7.6 and 7.7", "memory"),
    Provenance("jcgm_100", "4.3.7 and 5.2.2", "memory"),
    Provenance("common_practice", "tolerances, meters and sizes of faults", "practice"),
)


def measurements_document(checked: CheckedMeasurements) -> dict[str, Any]:
    """Return the answer for a set of readings as plain JSON values.

    Parameters
    ----------
    checked
        The answer.

    Returns
    -------
    dict
        The document, without cautions and sources.
    """
    found = checked.diagnosis
    return {
        "verdict": checked.verdict,
        "readings": [_judged(entry) for entry in checked.readings],
        "diagnosis": None if found is None else _diagnosis(found, _names(checked.job)),
        "expected": [_expectation(entry) for entry in checked.unread],
    }


def cautions_of_measurements(checked: CheckedMeasurements, tables: Tables) -> tuple[str, ...]:
    """Return the keys of the cautions for measuring on a job, each once."""
    of_job = cautions_of_job(checked.job, tables)
    sets_gain = any(entry.stated.quantity.what == GAIN_VOLTAGE for entry in checked.readings)
    return (
        *_PROBE_CAUTIONS,
        *(key for key in _JOB_CAUTIONS if key in of_job),
        *(("hearing",) if sets_gain else ()),
        "defer_to_maker",
    )


def readings_document(readings: ExpectedReadings) -> list[dict[str, Any]]:
    """Return what meters are expected to read as plain JSON values."""
    expected, low, high, _ = six_digits_of_each(readings.figures).tolist()
    return [
        _quantity(quantity, expected=value, low=least, high=most)
        for quantity, value, least, most in zip(
            readings.quantities, expected, low, high, strict=True
        )
    ]


def _quantity(quantity: Quantity, **figures: object) -> dict[str, Any]:
    """Return what is read, where and in which state, and then figures of it."""
    what, subject, state = quantity
    of_source = what in (SOURCE_VOLTAGE, DRAIN)
    return {
        "what": what,
        "source": subject if of_source else None,
        "circuit": None if of_source else subject,
        "state": state,
        "unit": AMPERE if what in (CURRENT, DRAIN) else VOLT,
        **figures,
    }


def _expectation(entry: Expectation) -> dict[str, Any]:
    return _quantity(
        entry.quantity,
        expected=six_digits(entry.expected),
        low=six_digits(entry.low),
        high=six_digits(entry.high),
        standard_uncertainty=six_digits(entry.standard_uncertainty),
        rests_on=entry.rests_on,
    )


def _judged(entry: JudgedReading) -> dict[str, Any]:
    value = entry.stated.reading.value
    return {
        **_expectation(entry.expectation),
        "reading": six_digits(value),
        "deviation": _six_places(value - entry.expectation.expected),
        "normalised_error": _six_places(entry.normalised_error),
        "verdict": entry.verdict,
    }


def _six_places(difference: float) -> float:
    """Return a difference without the digits that only rounding made; zero has no sign."""
    return round(difference, 6) + 0.0


def _names(job: Job) -> Mapping[str, str]:
    """Return what a fault can be at, in words by key: the circuits and sources of a job."""
    circuits = {item.key: f"the circuit {item.description}" for item in job.circuits}
    sources = job.power_sources.items()
    return {key: f"the source {source.description}" for key, source in sources} | circuits


def _diagnosis(found: Diagnosis, names: Mapping[str, str]) -> dict[str, Any]:
    shown = [
        cause
        for place, cause in enumerate(found.causes)
        if place < max(2, found.alike) or cause.probability >= LEAST_PROBABILITY
    ]
    following = found.next_reading
    return {
        "is_explained": found.explains,
        "is_decided": found.alike == 1,
        "causes": [_cause(place < found.alike, cause, names) for place, cause in enumerate(shown)],
        "next_reading": None
        if following is None
        else _quantity(
            following.quantity,
            if_first=six_digits(following.if_first),
            if_second=six_digits(following.if_second),
            separation=six_digits(following.separation),
        ),
    }


def _cause(is_likely: bool, cause: Cause, names: Mapping[str, str]) -> dict[str, Any]:
    of_source = cause.fault in (WEAK_SOURCE, LOW_CHARGE)
    return {
        "fault": cause.fault,
        "cause": cause.cause,
        "source": cause.subject if of_source else None,
        "circuit": None if of_source or cause.fault == NONE else cause.subject,
        "probability": _six_places(cause.probability),
        "is_in_question": is_likely,
        "added_resistance_ohm": _of(cause, _ADDED),
        "conductor": cause.label or None,
        "resistance_ratio": _of(cause, _CONDUCTOR),
        "factor": _of(cause, _FACTOR),
        "lost_voltage_v": _of(cause, (LOW_CHARGE,)),
        "advice": advice(cause, names),
    }


def _of(cause: Cause, faults: tuple[str, ...]) -> float | None:
    return six_digits(cause.magnitude) if cause.fault in faults else None


def advice(cause: Cause, names: Mapping[str, str]) -> str:
    """Return what to do about a cause, with its size.

    Parameters
    ----------
    cause
        One hypothesis.
    names
        Circuits and sources in words, by key.

    Returns
    -------
    str
        One or two sentences.
    """
    milliohm, size = 1e3 * cause.magnitude, cause.magnitude
    place = "" if cause.fault == NONE else names[cause.subject]
    material = MATERIALS[cause.label] if cause.fault == COPPER_CLAD else ""
    return {
        NONE: "Nothing to do: the readings fit the plan.",
        UNDERSIZED: f"See which conductor is fitted on {place}: its resistance is that of "
        f"{cause.label}, {size:.2f} times the planned. Fit the planned size.",
        COPPER_CLAD: f"Cut and scrape a strand of the conductor on {place}: its resistance is that "
        f"of {material}, {size:.2f} times that of copper. Fit copper, or a thicker conductor.",
        POOR_GROUND: f"Re-make the return of {place}: clean to bare metal, tighten and protect it. "
        f"It has about {milliohm:.3g} mohm too much.",
        LOOSE_SOURCE_LUG: f"Re-make the lug of {place} where it is fed from: it has about "
        f"{milliohm:.3g} mohm too much.",
        LOOSE_LOAD_LUG: f"Re-make the end of {place} at its equipment: it has about "
        f"{milliohm:.3g} mohm too much.",
        FUSE_OR_HOLDER: f"Clean or replace fuse and holder of {place} and re-make its lugs: they "
        f"have about {milliohm:.3g} mohm too much.",
        LOAD_BELOW: f"See what is switched on at {place}: it draws about {size:.2f} times what the "
        "job states.",
        LOAD_ABOVE: f"See what else is fed by {place}, and whether its fuse and conductor bear it: "
        f"it draws about {size:.2f} times what the job states.",
        WEAK_SOURCE: f"Charge and test {place}: its internal resistance is about {size:.2g} times "
        "the stated; look at its own terminals too.",
        LOW_CHARGE: f"Charge {place}, and measure again: at rest it lacks about {size:.2g} V.",
    }[cause.fault]
