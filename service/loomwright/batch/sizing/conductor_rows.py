"""Conductors of the circuits of a job in many rows, by the engineering."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.batch.sizing.conductor_columns import NO_SIZED_BRANCH, NONE, ConductorRows
from loomwright.batch.sizing.source_rows import column, working_resistances_ohm
from loomwright.batch.variation import (
    GROUND_LEAD_LENGTH,
    SEGMENT_LENGTH,
    SOURCE_VOLTAGE,
    Place,
    Variation,
)
from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.conductors.sizing_rows import RequestRows, size_rows
from loomwright.jobs.circuit_conductors import (
    allowed_drop_v,
    carried_current_a,
    equipment_load,
    feeders,
    feeding_voltage_v,
)
from loomwright.jobs.conductor_requests import conductor_request, has_ground_lead
from loomwright.jobs.job import Circuit
from loomwright.tables.records import Tables

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


class _Asked(NamedTuple):
    """Numbers that are asked of a circuit in every row, in the order of ``conductor_request``."""

    supply_voltage_v: Array
    allowed_voltage_drop_v: Array
    load_current_a: Array
    load_power_w: Array
    source_resistance_ohm: Array


def conductor_rows(variation: Variation, tables: Tables) -> dict[str, ConductorRows]:
    """Return the conductor of every circuit of a job in every row.

    What ``circuit_conductors`` answers for the job of each row, to the last digit.

    Parameters
    ----------
    variation
        Rows of one job.
    tables
        Tables of the engineering.

    Returns
    -------
    dict
        By key of the circuit, in the order of the job. ``unusual`` is the same in all of them.
    """
    found: dict[str, ConductorRows] = {}
    for circuit in reversed(variation.job.circuits):
        found[circuit.key] = _circuit_rows(variation, circuit, found, tables)
    # An error of one circuit is one of the job.
    unusual = np.logical_or.reduce([conductors.unusual for conductors in found.values()])
    return {
        circuit.key: replace(found[circuit.key], unusual=unusual)
        for circuit in variation.job.circuits
    }


def _circuit_rows(
    variation: Variation,
    circuit: Circuit,
    found: Mapping[str, ConductorRows],
    tables: Tables,
) -> ConductorRows:
    asked, known = _asked(variation, circuit, found)
    if not known.any():
        return _without_request(asked, known)
    request = _request_of_row(circuit, tables, asked, int(known.argmax()))
    rows = RequestRows(
        request=request,
        tables=tables,
        segment_lengths_m=_segment_lengths_m(variation, circuit),
        wiring_fixed_resistance_ohm=np.full(variation.count, request.wiring_fixed_resistance_ohm),
        **asked._asdict(),
    )
    sized = size_rows(rows)
    candidates = sized.candidates
    return ConductorRows(
        request=request,
        frame=sized.frame,
        known=known,
        verdict=np.where(known, sized.verdict, np.int16(NO_SIZED_BRANCH)),
        chosen=sized.chosen,
        failing=candidates.failing,
        current_a=candidates.load_current_a,
        drop_v=candidates.voltage_drop_v,
        temperature_k=candidates.conductor_temperature_k,
        loop_resistance_ohm=candidates.loop_resistance_ohm,
        supply_voltage_v=asked.supply_voltage_v,
        source_resistance_ohm=asked.source_resistance_ohm,
        # Without a load the engineering was not asked.
        unusual=sized.unusual & known,
        asked=rows,
    )


def _asked(
    variation: Variation, circuit: Circuit, found: Mapping[str, ConductorRows]
) -> tuple[_Asked, Mask]:
    """Return what is asked of a circuit in every row, and in which rows its load is known."""
    count, job = variation.count, variation.job
    nothing = np.full(count, np.nan)
    branches = job.branches(circuit.key)
    if branches:
        total_a = carried_current_a([found[branch.key].load_current_a for branch in branches])
        known = total_a > 0.0
        load_a, load_w = np.where(known, total_a, nothing), nothing
    else:
        current_a, power_w = equipment_load(job, circuit)
        load_a = nothing if current_a is None else np.full(count, float(current_a))
        load_w = nothing if power_w is None else np.full(count, float(power_w))
        known = np.ones(count, np.bool_)
    path = feeders(job, circuit)
    source = job.power_sources[path[0].fed_from]
    emf_v = column(variation, Place(SOURCE_VOLTAGE, source.key))
    asked = _Asked(
        feeding_voltage_v(emf_v, path, source),
        np.full(count, allowed_drop_v(circuit, source)),
        load_a,
        load_w,
        working_resistances_ohm(variation, source.key),
    )
    return asked, known


def _request_of_row(circuit: Circuit, tables: Tables, asked: _Asked, row: int) -> ConductorRequest:
    supply_v, allowed_v, current_a, power_w, resistance_ohm = (
        float(values[row]) for values in asked
    )
    return conductor_request(
        circuit,
        tables,
        supply_v,
        allowed_v,
        None if math.isnan(current_a) else current_a,
        None if math.isnan(power_w) else power_w,
        resistance_ohm,
    )


def _segment_lengths_m(variation: Variation, circuit: Circuit) -> Array:
    """Return the lengths of the segments that are asked for, rows by segments."""
    places = [Place(SEGMENT_LENGTH, circuit.key, index) for index in range(len(circuit.route))]
    if has_ground_lead(circuit):
        places.append(Place(GROUND_LEAD_LENGTH, circuit.key))
    return np.column_stack([column(variation, place) for place in places])


def _without_request(asked: _Asked, known: Mask) -> ConductorRows:
    """Return the conductor of a circuit whose load no row knows."""
    count = known.size
    nothing = np.empty((count, 0))
    return ConductorRows(
        request=None,
        frame=None,
        known=known,
        verdict=np.full(count, NO_SIZED_BRANCH, np.int16),
        chosen=np.full(count, NONE, np.int16),
        failing=np.empty((count, 0), np.uint8),
        current_a=nothing,
        drop_v=nothing,
        temperature_k=nothing,
        loop_resistance_ohm=nothing,
        supply_voltage_v=asked.supply_voltage_v,
        source_resistance_ohm=asked.source_resistance_ohm,
        unusual=np.zeros(count, np.bool_),
    )
