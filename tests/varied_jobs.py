"""Rows of jobs that differ in numbers, and demo jobs with other sources, loads and fuse types."""

from typing import Any

import numpy as np
import numpy.typing as npt

from loomwright.batch.variation import (
    COLD_CRANKING_CURRENT,
    GREATEST_CURRENT,
    GROUND_LEAD_LENGTH,
    SEGMENT_LENGTH,
    SOURCE_RESISTANCE,
    SOURCE_VOLTAGE,
    Place,
    Variation,
)
from loomwright.jobs.job import Job
from loomwright.tables.fuse_load import fuse_tables

Array = npt.NDArray[np.float64]
Document = dict[str, Any]


def vehicles(job: Job, count: int, seed: int) -> Variation:
    """Vehicles as they come: routes of 60 to 170 % of those stated, sources like that stated."""
    rng = np.random.default_rng(seed)

    def around(stated: float, least: float, greatest: float) -> Array:
        return stated * rng.uniform(least, greatest, count)

    values: dict[Place, Array] = {}
    for circuit in job.circuits:
        for index, segment in enumerate(circuit.route):
            values[Place(SEGMENT_LENGTH, circuit.key, index)] = around(segment.length_m, 0.6, 1.7)
    for key, source in job.power_sources.items():
        values[Place(SOURCE_VOLTAGE, key)] = around(source.emf_v, 0.97, 1.03)
        for what, stated in (
            (SOURCE_RESISTANCE, source.internal_resistance_ohm),
            (COLD_CRANKING_CURRENT, source.cold_cranking_current_a),
        ):
            if stated is not None:
                values[Place(what, key)] = around(stated, 0.7, 1.4)
    return Variation(job, count, values)


def extremes(job: Job, count: int, seed: int) -> Variation:
    """Rows from a few centimetres to tens of metres, behind sources from stiff to nearly dead."""
    rng = np.random.default_rng(seed)

    def spread(least: float, greatest: float) -> Array:
        return np.exp(rng.uniform(np.log(least), np.log(greatest), count))

    values: dict[Place, Array] = {}
    for circuit in job.circuits:
        for index in range(len(circuit.route)):
            values[Place(SEGMENT_LENGTH, circuit.key, index)] = spread(0.05, 20.0)
        values[Place(GROUND_LEAD_LENGTH, circuit.key)] = spread(0.05, 3.0)
    for key, source in job.power_sources.items():
        values[Place(SOURCE_VOLTAGE, key)] = source.emf_v * rng.uniform(0.5, 1.3, count)
        if source.internal_resistance_ohm is None:
            values[Place(COLD_CRANKING_CURRENT, key)] = spread(30.0, 1500.0)
        else:
            values[Place(SOURCE_RESISTANCE, key)] = spread(5e-4, 0.5)
        if source.greatest_current_a is not None:
            values[Place(GREATEST_CURRENT, key)] = spread(10.0, 500.0)
    return Variation(job, count, values)


def changed(document: Document, seed: int) -> Document:
    """A demo job with drawn sources, loads and fuse types, its circuits as they are."""
    rng = np.random.default_rng(seed)
    document.pop("signal", None)
    document.pop("supply", None)
    for source in document["power_sources"]:
        drawn = rng.random()
        if drawn < 0.5:
            source.pop("source_resistance", None)
            source["cold_cranking_current"] = float(rng.uniform(200.0, 900.0))
        elif drawn < 0.7:
            source["tap_point"] = "converter_output"
            source["greatest_current"] = float(rng.uniform(30.0, 300.0))
    for item in document["equipment"]:
        if "circuit" not in item:
            continue
        if rng.random() < 0.5 and item.pop("load_current", None) is not None:
            item["load_power"] = float(rng.uniform(20.0, 900.0))
        if rng.random() < 0.4:
            item["inrush_current"] = float(rng.uniform(2.0, 90.0))
            item["inrush_time"] = float(np.exp(rng.uniform(-6.0, 3.0)))
        if rng.random() < 0.2:
            item["fuse_rating"] = float(rng.choice([3.0, 10.0, 30.0]))
    # The branches of a block share its fuse types.
    keys = tuple(fuse_tables().types)
    types = rng.choice(keys, int(rng.integers(1, 4)), replace=False).tolist()
    for circuit in document["circuits"]:
        circuit["fuse_types"] = types
        circuit["distance_from_source"] = float(rng.choice([0.0, 0.15, 0.5]))
    return document
