"""Lengths of the circuits of many rows, exact to the micrometre as those of one bill are."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.variation import (
    GROUND_LEAD_LENGTH,
    OF_SOURCES,
    REMOTE_LEAD_LENGTH,
    SEGMENT_LENGTH,
    SIGNAL_LEAD_LENGTH,
    Place,
    Variation,
)
from loomwright.jobs.circuit_layout import stretch_segments
from loomwright.pricing.minor_units import Units
from loomwright.pricing.requirements import (
    GROUND_LEAD,
    REMOTE_LEAD,
    SIGNAL_LEAD,
    Stretch,
    exact_length_m,
)

MICROMETRES = 10**6
# As far from half a micrometre the nearest one is beyond doubt: a product in binary lies within
# 4e-6 of the decimal one up to 10 km.
_DOUBT = 1e-4
# Beyond these a length is none that the rules are for.
_SHORTEST_M, _LONGEST_M = 1e-6, 1e4
_OF_LEADS = {
    GROUND_LEAD: GROUND_LEAD_LENGTH,
    SIGNAL_LEAD: SIGNAL_LEAD_LENGTH,
    REMOTE_LEAD: REMOTE_LEAD_LENGTH,
}


class CircuitStretch(NamedTuple):
    """A length of a circuit, by the key of the circuit."""

    circuit: str
    stretch: Stretch


def exact_micrometres(lengths_m: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    """Return lengths as whole micrometres.

    Parameters
    ----------
    lengths_m
        Lengths [m], 0 to 10000.

    Returns
    -------
    ndarray
        Those of ``exact_length_m`` [um].
    """
    scaled = lengths_m * MICROMETRES
    found = np.rint(scaled).astype(np.int64)
    doubtful = np.abs(np.abs(scaled - found) - 0.5) < _DOUBT
    for place in np.flatnonzero(doubtful).tolist():
        found[place] = exact_micrometre_count(float(lengths_m[place]))
    return found


def exact_micrometre_count(length_m: float) -> int:
    """Return one length as ``exact_length_m`` has it [um]."""
    return int(exact_length_m(length_m).scaleb(6))


def rows_out_of_range(variation: Variation) -> npt.NDArray[np.bool_]:
    """Return the rows with a length that no rule is for."""
    found = np.zeros(variation.count, np.bool_)
    for place, numbers in variation.values.items():
        if place.what not in OF_SOURCES:
            # A comparison with NaN is false.
            found |= ~((numbers >= _SHORTEST_M) & (numbers <= _LONGEST_M))
    return found


class RowLengths:
    """Lengths of some rows, each worked out when first asked for.

    Parameters
    ----------
    variation
        Rows of a job.
    rows
        Indices of those that are looked at; their lengths are in range.
    """

    def __init__(self, variation: Variation, rows: npt.NDArray[np.int64] | slice) -> None:
        self._variation, self._rows = variation, rows
        self._places: dict[Place, Units] = {}
        self._stretches: dict[CircuitStretch, Units] = {}

    def micrometres(self, asked: CircuitStretch) -> Units:
        """Return a length in each row [um], or the one of all rows.

        Parameters
        ----------
        asked
            Circuit and stretch.

        Returns
        -------
        int or ndarray
            Sum of the segments, each to the micrometre.
        """
        found = self._stretches.get(asked)
        if found is None:
            found = self._stretches[asked] = sum((self._at(each) for each in self._of(asked)), 0)
        return found

    def _of(self, asked: CircuitStretch) -> list[Place]:
        key, stretch = asked
        if stretch.what in _OF_LEADS:
            return [Place(_OF_LEADS[stretch.what], key, stretch.number)]
        circuit = self._variation.job.circuit_by_key[key]
        segments = stretch_segments(circuit, stretch.what)
        return [Place(SEGMENT_LENGTH, key, number) for number in segments]

    def _at(self, place: Place) -> Units:
        found = self._places.get(place)
        if found is None:
            numbers = self._variation.numbers(place)
            assert numbers is not None
            if isinstance(numbers, np.ndarray):
                found = exact_micrometres(numbers[self._rows])
            else:
                found = exact_micrometre_count(numbers)
            self._places[place] = found
        return found
