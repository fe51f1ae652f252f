"""Rows of one job that differ in numbers only."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.record import record
from loomwright.jobs.job import Circuit, Job, PowerSource

Array = npt.NDArray[np.float64]

SEGMENT_LENGTH, GROUND_LEAD_LENGTH = "segment_length_m", "ground_lead_length_m"
SIGNAL_LEAD_LENGTH, REMOTE_LEAD_LENGTH = "signal_lead_length_m", "remote_lead_length_m"
SOURCE_VOLTAGE, SOURCE_RESISTANCE = "emf_v", "internal_resistance_ohm"
COLD_CRANKING_CURRENT, GREATEST_CURRENT = "cold_cranking_current_a", "greatest_current_a"
OF_SOURCES = (SOURCE_VOLTAGE, SOURCE_RESISTANCE, COLD_CRANKING_CURRENT, GREATEST_CURRENT)


class Place(NamedTuple):
    """A number of a job.

    Parameters
    ----------
    what
        ``segment_length_m`` and the like, of this module.
    key
        Of the circuit or of the power source.
    number
        From 0, of the segment or lead within the circuit, 0 where there is one only.
    """

    what: str
    key: str
    number: int = 0


@record
class Variation:
    """Rows of one job, which differ in some numbers and are alike in all else.

    Parameters
    ----------
    job
        The job; where rows differ, it has the numbers of one of them.
    count
        Rows.
    values
        Numbers in coherent SI of every row, by their place; a place that is not named has the
        number of the job in all rows.
    """

    job: Job
    count: int
    values: Mapping[Place, Array]

    def numbers(self, place: Place) -> Array | float | None:
        """Return a number of the job, or of each row where rows differ.

        Parameters
        ----------
        place
            Where it stands.

        Returns
        -------
        ndarray, float or None
            In coherent SI; none where the job does not state it.
        """
        found = self.values.get(place)
        return self._of_job(place) if found is None else found

    def job_of(self, row: int) -> Job:
        """Return one row as a job of its own.

        Parameters
        ----------
        row
            From 0.

        Returns
        -------
        Job
            As it would be read from a document with the numbers of the row.
        """
        numbers = {place: float(array[row]) for place, array in self.values.items()}
        return replace(
            self.job,
            power_sources={
                key: _source(source, numbers) for key, source in self.job.power_sources.items()
            },
            circuits=tuple(_circuit(circuit, numbers) for circuit in self.job.circuits),
        )

    def circuit_of(self, row: int, key: str) -> Circuit:
        """Return one circuit of one row as a circuit of its own."""
        numbers = {
            place: float(array[row]) for place, array in self.values.items() if place.key == key
        }
        return _circuit(self.job.circuit_by_key[key], numbers)

    def rows(self, chosen: npt.NDArray[np.int64]) -> "Variation":
        """Return some rows, in the order of their indices."""
        taken = {place: array[chosen] for place, array in self.values.items()}
        return Variation(self.job, int(chosen.size), taken)

    def _of_job(self, place: Place) -> float | None:
        if place.what in OF_SOURCES:
            stated: float | None = getattr(self.job.power_sources[place.key], place.what)
            return stated
        circuit = self.job.circuit_by_key[place.key]
        if place.what == SEGMENT_LENGTH:
            return circuit.route[place.number].length_m
        if place.what == GROUND_LEAD_LENGTH:
            return circuit.return_path.ground_lead_length_m
        if place.what == SIGNAL_LEAD_LENGTH:
            return circuit.signal_leads[place.number].length_m
        return circuit.remote_leads[place.number].length_m


def joined(parts: Sequence[Variation]) -> Variation:
    """Return the rows of jobs that are alike in all that matters but numbers as rows of one.

    Parameters
    ----------
    parts
        Rows of each job, one job or more; a number that one of them does not vary is that of its
        job.

    Returns
    -------
    Variation
        Rows of the first job, in the order of the parts.
    """
    if len(parts) == 1:
        return parts[0]
    places = dict.fromkeys(place for part in parts for place in part.values)
    return Variation(
        parts[0].job,
        sum(part.count for part in parts),
        {place: _joined_numbers(parts, place) for place in places},
    )


def _joined_numbers(parts: Sequence[Variation], place: Place) -> Array:
    found, first = np.empty(sum(part.count for part in parts)), 0
    for part in parts:
        numbers = part.numbers(place)
        found[first : first + part.count] = math.nan if numbers is None else numbers
        first += part.count
    return found


def _source(source: PowerSource, numbers: Mapping[Place, float]) -> PowerSource:
    def number(what: str, stated: float | None) -> float | None:
        return numbers.get(Place(what, source.key), stated)

    return replace(
        source,
        emf_v=numbers.get(Place(SOURCE_VOLTAGE, source.key), source.emf_v),
        internal_resistance_ohm=number(SOURCE_RESISTANCE, source.internal_resistance_ohm),
        cold_cranking_current_a=number(COLD_CRANKING_CURRENT, source.cold_cranking_current_a),
        greatest_current_a=number(GREATEST_CURRENT, source.greatest_current_a),
    )


def _circuit(circuit: Circuit, numbers: Mapping[Place, float]) -> Circuit:
    def length(what: str, index: int, stated: float) -> float:
        return numbers.get(Place(what, circuit.key, index), stated)

    return replace(
        circuit,
        route=tuple(
            replace(segment, length_m=length(SEGMENT_LENGTH, index, segment.length_m))
            for index, segment in enumerate(circuit.route)
        ),
        return_path=replace(
            circuit.return_path,
            ground_lead_length_m=length(
                GROUND_LEAD_LENGTH, 0, circuit.return_path.ground_lead_length_m
            ),
        ),
        signal_leads=tuple(
            replace(lead, length_m=length(SIGNAL_LEAD_LENGTH, index, lead.length_m))
            for index, lead in enumerate(circuit.signal_leads)
        ),
        remote_leads=tuple(
            replace(lead, length_m=length(REMOTE_LEAD_LENGTH, index, lead.length_m))
            for index, lead in enumerate(circuit.remote_leads)
        ),
    )
