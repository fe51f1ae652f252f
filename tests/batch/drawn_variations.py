"""Rows of one job, drawn so that every number that may differ does."""

import numpy as np
import numpy.typing as npt

from loomwright.batch.variation import (
    COLD_CRANKING_CURRENT,
    GROUND_LEAD_LENGTH,
    SEGMENT_LENGTH,
    SOURCE_RESISTANCE,
    SOURCE_VOLTAGE,
    Place,
    Variation,
)
from loomwright.jobs.job import Job

Array = npt.NDArray[np.float64]


def drawn_variation(job: Job, count: int, seed: int) -> Variation:
    """Return rows with lengths of a centimetre to 100 m and sources from weak to stiff.

    Some sources are below the voltage of the cranking test; a place in ten stays that of the job.
    """
    rng = np.random.default_rng(seed)

    def spread(least: float, greatest: float) -> Array:
        return np.exp(rng.uniform(np.log(least), np.log(greatest), count))

    values: dict[Place, Array] = {}
    for circuit in job.circuits:
        longest = rng.choice([0.3, 3.0, 12.0, 100.0], count)
        for index in range(len(circuit.route)):
            values[Place(SEGMENT_LENGTH, circuit.key, index)] = longest * spread(0.03, 1.0)
        values[Place(GROUND_LEAD_LENGTH, circuit.key)] = spread(0.01, 100.0)
    for source in job.power_sources.values():
        usual, any_other = rng.uniform(0.9, 1.2, count), rng.uniform(0.4, 1.5, count)
        share = np.where(rng.random(count) < 0.8, usual, any_other)
        values[Place(SOURCE_VOLTAGE, source.key)] = source.system_voltage_v * share
        if source.internal_resistance_ohm is None:
            values[Place(COLD_CRANKING_CURRENT, source.key)] = spread(20.0, 1200.0)
        else:
            values[Place(SOURCE_RESISTANCE, source.key)] = spread(1e-5, 3.0)
    return Variation(
        job, count, {place: array for place, array in values.items() if rng.random() < 0.9}
    )
