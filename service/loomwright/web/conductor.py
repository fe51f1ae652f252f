"""The operation size-conductor."""

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import numpy as np
import orjson
from flask import Blueprint

from loomwright.engineering.conductors.choice import (
    CRITERIA,
    CandidateFrame,
    Candidates,
    ConductorAnswer,
    ConductorRequest,
)
from loomwright.engineering.conductors.loaded_route import (
    AMPACITY_MARGIN,
    CURRENT,
    DROP,
    GREATEST_LENGTH,
    LOAD_VOLTAGE,
    LOSS,
    TEMPERATURE,
)
from loomwright.engineering.conductors.provenances import conductor_provenances
from loomwright.engineering.conductors.sizing import size_conductor
from loomwright.engineering.conductors.sizing_working import conductor_working
from loomwright.engineering.conductors.surroundings import LEAST_SINGLE_SECTION_M2
from loomwright.figures import KELVIN_AT_0_C, rounded_lines
from loomwright.tables.load import tables
from loomwright.tables.records import ConductorSize, Insulation, Material, Tables
from loomwright.web.answers import ENGINE_VERSION, cautions_of, sources_of, working_of
from loomwright.web.calculators import calculator
from loomwright.web.route import request_fields, segments_of, zone_keys
from loomwright.web.schemas.conductor import SizeConductorRequest
from loomwright.web.sensitivity import conductor_sensitivity

DEFAULT_DROP_PERCENT = 3.0

blueprint = Blueprint("conductor", __name__)


@calculator(blueprint, "size-conductor", SizeConductorRequest())
def size_conductor_answer(values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of size-conductor to loaded values."""
    known = tables()
    asked = conductor_request(values, known)
    with request_fields(values, {}):
        answer = size_conductor(asked, known)
    document = conductor_document(values, asked, answer, known)
    if values["sensitivity"]:
        document["sensitivity"] = conductor_sensitivity(values, answer, known, conductor_request)
    return document


def conductor_request(values: dict[str, Any], known: Tables) -> ConductorRequest:
    """Return the engineering request of loaded values.

    Parameters
    ----------
    values
        Loaded under ``SizeConductorRequest``.
    known
        The tables.

    Returns
    -------
    ConductorRequest
        In coherent SI.
    """
    supply = values["supply_voltage"]
    percent = values.get("allowed_voltage_drop_percent", DEFAULT_DROP_PERCENT)
    smallest, given = values.get("smallest_size"), values.get("given_size")
    return ConductorRequest(
        sizes=known.series[values["series"]],
        material=known.materials[values["material"]],
        insulation=known.insulations[values["insulation"]],
        supply_voltage_v=supply,
        allowed_voltage_drop_v=values.get("allowed_voltage_drop", supply * percent / 100.0),
        segments=segments_of(values, known),
        load_current_a=values.get("load_current"),
        load_power_w=values.get("load_power"),
        source_resistance_ohm=values["source_resistance"],
        return_by_conductor=values["return_path"] == "conductor",
        chassis_resistance_ohm=values.get("chassis_resistance", 0.0),
        fixed_resistance_ohm=values["joints"] * values["joint_resistance"]
        + values["fuse_resistance"],
        on_time_s=values.get("on_time"),
        off_time_s=values.get("off_time"),
        greatest_parallel_runs=values["greatest_parallel_runs"],
        smallest_size=None if smallest is None else known.conductors[smallest],
        given_size=None if given is None else known.conductors[given],
        given_parallel_runs=1 if given is None else values["given_parallel_runs"],
        fault_current_a=values.get("fault_current"),
        clearing_time_s=values.get("clearing_time"),
    )


def conductor_document(
    values: dict[str, Any], asked: ConductorRequest, answer: ConductorAnswer, known: Tables
) -> dict[str, Any]:
    """Return the answer of size-conductor as a JSON document.

    Parameters
    ----------
    values
        Loaded request.
    asked
        The engineering request.
    answer
        Its answer.
    known
        The tables.

    Returns
    -------
    dict
        As the schema ``SizeConductorAnswer`` describes.
    """
    frame, candidates = answer.candidates.frame, _columns(asked, answer.candidates)
    index = answer.chosen if answer.checked is None else answer.checked
    document: dict[str, Any] = {
        "verdict": answer.verdict,
        "conductor": _row(frame, candidates, answer.chosen),
        "checked_conductor": _row(frame, candidates, answer.checked),
        "deciding_criterion": answer.deciding_criterion,
        "allowed_voltage_drop_v": round(asked.allowed_voltage_drop_v, 6),
        "greatest_power_w": round(answer.greatest_power_w, 3),
        "power_balance": None if index is None else _power_balance(asked, answer, index),
        "candidates": candidates,
        "assumptions": _assumptions(values, asked),
        "sensitivity": None,
        "cautions": cautions_of(tuple(_caution_keys(asked, answer, index))),
        "sources": _sources(values, asked, answer, known),
        "engine_version": ENGINE_VERSION,
    }
    if values["explain"] and index is not None:
        document["working"] = working_of(conductor_working(asked, answer, index, known))
    return document


# Name of each number of a candidate, the row of the state that it is a straight line of, and its
# decimal digits: a tenth of a millivolt, a milliampere, a hundredth of a kelvin, a millimetre.
_NUMBERS = (
    ("load_current_a", CURRENT, 3),
    ("load_voltage_v", LOAD_VOLTAGE, 4),
    ("voltage_drop_v", DROP, 4),
    ("voltage_drop_percent", DROP, 3),
    ("conductor_temperature_c", TEMPERATURE, 2),
    ("wiring_loss_w", LOSS, 3),
    ("greatest_length_m", GREATEST_LENGTH, 3),
    ("voltage_drop_margin_v", DROP, 4),
    ("temperature_margin_k", TEMPERATURE, 2),
    ("ampacity_margin_a", AMPACITY_MARGIN, 2),
)
_NAMES = tuple(name for name, _, _ in _NUMBERS)
_ROWS = np.array([row for _, row, _ in _NUMBERS])
_SCALES = np.array([10.0**digits for _, _, digits in _NUMBERS])
# Which criteria fail, by the number whose binary digits are the failures.
_FAILURES = tuple(
    [key for place, key in enumerate(CRITERIA) if number >> place & 1]
    for number in range(2 ** len(CRITERIA))
)
_BASES = ("heat_balance", "published")


def _columns(asked: ConductorRequest, found: Candidates) -> dict[str, Any]:
    """Return the candidates as columns; NaN stands for "not modelled" and is written as null."""
    percent = 100.0 / asked.supply_voltage_v
    allowed, rating = asked.allowed_voltage_drop_v, asked.insulation.temperature_rating_k
    slopes = (1.0, 1.0, 1.0, percent, 1.0, 1.0, 1.0, -1.0, -1.0, 1.0)
    offsets = (0.0, 0.0, 0.0, 0.0, -KELVIN_AT_0_C, 0.0, 0.0, allowed, rating, 0.0)
    numbers = rounded_lines(found.state, _ROWS, slopes, offsets, _SCALES)
    if not all(found.operating_point_exists.tolist()):
        numbers[1, ~found.operating_point_exists] = np.nan
    return {
        **_frame_columns(found.frame),
        **dict(zip(_NAMES, numbers, strict=True)),
        "fails": [_FAILURES[failing] for failing in found.failing.tolist()],
    }


@lru_cache(maxsize=1024)
def _frame_values(frame: CandidateFrame) -> dict[str, list[Any]]:
    """Return the columns that no load changes."""
    return {
        "size": [size.key for size in frame.sizes],
        "parallel_runs": frame.parallel_runs.tolist(),
        "cross_section_mm2": np.round(frame.cross_section_m2 * 1e6, 4).tolist(),
        "ampacity_a": np.round(frame.ampacity_a, 2).tolist(),
        "ampacity_basis": [_BASES[tabled] for tabled in frame.ampacity_is_published.tolist()],
        "published_ampacity_a": np.round(frame.published_ampacity_a, 2).tolist(),
    }


@lru_cache(maxsize=1024)
def _frame_columns(frame: CandidateFrame) -> dict[str, orjson.Fragment]:
    """Return the columns that no load changes as ready JSON."""
    return {
        name: orjson.Fragment(orjson.dumps(values)) for name, values in _frame_values(frame).items()
    }


def _row(frame: CandidateFrame, columns: dict[str, Any], index: int | None) -> Any:
    """Return one candidate as an object, or none."""
    if index is None:
        return None
    row = {name: values[index] for name, values in _frame_values(frame).items()}
    for name in _NAMES:
        row[name] = columns[name].item(index)
    row["fails"] = columns["fails"][index]
    return row


def _power_balance(
    asked: ConductorRequest, answer: ConductorAnswer, index: int
) -> dict[str, float] | None:
    found = answer.candidates
    if not found.operating_point_exists[index]:
        return None
    state = found.state[:, index].tolist()
    current = state[CURRENT]
    return {
        "source_power_w": round(current * asked.supply_voltage_v, 6),
        "load_power_w": round(current * state[LOAD_VOLTAGE], 6),
        "wiring_loss_w": round(state[LOSS], 6),
        "source_loss_w": round(current * current * asked.source_resistance_ohm, 6),
    }


def _assumptions(values: dict[str, Any], asked: ConductorRequest) -> dict[str, Any]:
    least = (
        LEAST_SINGLE_SECTION_M2
        if asked.smallest_size is None
        else asked.smallest_size.cross_section_m2
    )
    return {
        "series": values["series"],
        "material": asked.material.key,
        "insulation": asked.insulation.key,
        "insulation_rating_c": round(asked.insulation.temperature_rating_k - KELVIN_AT_0_C, 3),
        "route_length_m": round(asked.route_length_m, 6),
        "ambient_temperatures_c": [
            round(segment.ambient_temperature_k - KELVIN_AT_0_C, 3) for segment in asked.segments
        ],
        "bundled_conductors": [segment.bundled_conductors for segment in asked.segments],
        "return_path": values["return_path"],
        "fixed_resistance_ohm": round(asked.wiring_fixed_resistance_ohm, 9),
        "source_resistance_ohm": asked.source_resistance_ohm,
        "least_cross_section_mm2": round(least * 1e6, 4),
        "duty": "continuous" if asked.on_time_s is None else "cyclic",
    }


def _caution_keys(
    asked: ConductorRequest, answer: ConductorAnswer, index: int | None
) -> Iterator[str]:
    yield "defer_to_maker"
    yield "isolate_battery"
    yield "fuse_at_source"
    if any(segment.engine_space for segment in asked.segments):
        yield "engine_bay_heat"
    yield "moving_and_hot_parts"
    if asked.material.key.startswith("cca"):
        yield "copper_clad"
    if asked.material.key == "aluminium":
        yield "aluminium"
    if not asked.return_by_conductor:
        yield "chassis_return"
    if index is not None:
        found = answer.candidates
        if found.parallel_runs[index] > 1:
            yield "parallel_runs"
        drawn = float(found.load_current_a[index] * found.load_voltage_v[index])
        resistance = float(found.loop_resistance_ohm[index]) + asked.source_resistance_ohm
        if drawn > asked.supply_voltage_v**2 / (8.0 * resistance):
            yield "near_collapse"


def _sources(
    values: dict[str, Any], asked: ConductorRequest, answer: ConductorAnswer, known: Tables
) -> orjson.Fragment:
    index = answer.chosen if answer.checked is None else answer.checked
    return _sources_of_rows(
        answer.candidates.sizes[-1 if index is None else index],
        asked.material,
        asked.insulation,
        tuple(zone_keys(values)),
        tuple((segment.bundled_conductors, segment.engine_space) for segment in asked.segments),
        known,
    )


@lru_cache(maxsize=4096)
def _sources_of_rows(
    size: ConductorSize,
    material: Material,
    insulation: Insulation,
    zones: tuple[str, ...],
    places: tuple[tuple[int, bool], ...],
    known: Tables,
) -> orjson.Fragment:
    rows = conductor_provenances(size, material, insulation, places, known)
    return sources_of([*rows, *(known.zones[zone].provenance for zone in zones)], known)
