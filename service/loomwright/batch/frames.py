"""Vehicles that are alike but for numbers and difficulty, so that one job stands for all of them.

What a job makes of a vehicle is read once for each frame. A member joins the numbers of a frame
only if it reads without a fault, so that a vehicle at fault has a frame of its own.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from loomwright.batch.pair import Vehicle
from loomwright.batch.variation import (
    COLD_CRANKING_CURRENT,
    GREATEST_CURRENT,
    GROUND_LEAD_LENGTH,
    OF_SOURCES,
    REMOTE_LEAD_LENGTH,
    SEGMENT_LENGTH,
    SIGNAL_LEAD_LENGTH,
    SOURCE_RESISTANCE,
    SOURCE_VOLTAGE,
    Place,
    Variation,
)
from loomwright.engineering.record import record
from loomwright.jobs.job import DRIVES, HAZARDS, SYSTEM_VOLTAGES_V, Job
from loomwright.jobs.job_document import emf_fits
from loomwright.jobs.job_members import RETURN_PATH, SIGNAL_LEAD, SOURCE, length_member
from loomwright.pricing.members import Member, Number
from loomwright.pricing.reading import is_text
from loomwright.pricing.stated_numbers import stated_number
from loomwright.units import quantity_text

Array = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
# Canonical document and places of the numbers that were taken out of it.
_Key = tuple[str, tuple[Place, ...]]

_SOURCE_NUMBERS = {
    "source_voltage": SOURCE_VOLTAGE,
    "source_resistance": SOURCE_RESISTANCE,
    "cold_cranking_current": COLD_CRANKING_CURRENT,
    "greatest_current": GREATEST_CURRENT,
}
_LEADS = {"signal_leads": SIGNAL_LEAD_LENGTH, "remote_leads": REMOTE_LEAD_LENGTH}
_LENGTH = length_member("")


@record
class Frame:
    """Vehicles alike but for numbers and difficulty.

    Parameters
    ----------
    vehicle
        The first of them.
    members
        Index of each among all vehicles, ascending.
    values
        Numbers of each, in coherent SI, by their place in a job.
    difficulty
        Index of the difficulty of each.
    """

    vehicle: Vehicle
    members: Indices
    values: Mapping[Place, Array]
    difficulty: Indices


@record
class Frames:
    """All vehicles of a batch by frames.

    Parameters
    ----------
    frames
        In the order of their first vehicles.
    frame_of
        Index of the frame of each vehicle.
    row_of
        Index of each vehicle within its frame.
    difficulties
        Every difficulty that a vehicle states, and none.
    """

    frames: tuple[Frame, ...]
    frame_of: Indices
    row_of: Indices
    difficulties: tuple[str | None, ...]


def frames_of(vehicles: Sequence[Vehicle]) -> Frames:
    """Return vehicles by frames.

    Parameters
    ----------
    vehicles
        All vehicles of a batch.

    Returns
    -------
    Frames
        Each vehicle in one of them.
    """
    known: dict[_Key, int] = {}
    difficulties: dict[str | None, int] = {}
    difficulty_of = np.empty(len(vehicles), np.int64)
    members: list[list[int]] = []
    numbers: list[list[list[float]]] = []
    frame_of, row_of = np.empty(len(vehicles), np.int64), np.empty(len(vehicles), np.int64)
    for index, vehicle in enumerate(vehicles):
        key, values, difficulty = _taken_apart(vehicle)
        difficulty_of[index] = difficulties.setdefault(difficulty, len(difficulties))
        frame = known.setdefault(key, len(known))
        if frame == len(members):
            members.append([])
            numbers.append([])
        frame_of[index], row_of[index] = frame, len(members[frame])
        members[frame].append(index)
        numbers[frame].append(values)
    frames = tuple(
        Frame(
            vehicles[rows[0]],
            np.array(rows, np.int64),
            dict(zip(places, np.array(values, float).reshape(len(rows), -1).T.copy(), strict=True)),
            difficulty_of[rows],
        )
        for (_, places), rows, values in zip(known, members, numbers, strict=True)
    )
    return Frames(frames, frame_of, row_of, tuple(difficulties))


def variation_of(job: Job, frame: Frame, members: Indices) -> Variation:
    """Return some vehicles of a frame as rows of a job that takes what it needs of them.

    Parameters
    ----------
    job
        Job of a package for one of them.
    frame
        The frame.
    members
        Indices of vehicles within the frame.

    Returns
    -------
    Variation
        One row for each of them.
    """
    return Variation(
        job,
        members.size,
        {place: values[members] for place, values in frame.values.items() if _needed(job, place)},
    )


def _needed(job: Job, place: Place) -> bool:
    return place.key in (job.power_sources if place.what in OF_SOURCES else job.circuit_by_key)


def _taken_apart(vehicle: Vehicle) -> tuple[_Key, list[float], str | None]:
    """Return what frames tell apart of a vehicle, its numbers and its difficulty."""
    taken: dict[Place, float] = {}
    of_vehicle, difficulty = _without_words(vehicle.job.get("vehicle"))
    rest = {
        "vehicle": of_vehicle,
        "power_sources": _sources(vehicle, taken),
        "circuits": {
            key: _circuit(key, circuit, taken) for key, circuit in vehicle.circuits.items()
        },
        "stated": sorted(vehicle.job),
    }
    # Whatever a document holds has a representation; not all of it has a JSON text.
    return (repr(rest), tuple(taken)), list(taken.values()), difficulty


def _without_words(stated: Any) -> tuple[Any, str | None]:
    """Return the vehicle of a job without what no quote depends on, and its difficulty.

    What is not right stays.
    """
    if not isinstance(stated, Mapping):
        return stated, None
    kept = dict(stated)
    difficulty: str | None = None
    # It decides hours and no sizes.
    if is_text(kept.get("difficulty")):
        difficulty = kept.pop("difficulty")
    if is_text(kept.get("description")):
        kept["description"] = ""
    if kept.get("drive") in DRIVES:
        kept["drive"] = ""
    hazards = kept.get("hazards", ())
    if hazards and isinstance(hazards, list) and _each_once(hazards, HAZARDS):
        del kept["hazards"]
    return kept, difficulty


def _each_once(stated: list[Any], choices: tuple[str, ...]) -> bool:
    return all(item in choices for item in stated) and len(set(stated)) == len(stated)


def _sources(vehicle: Vehicle, taken: dict[Place, float]) -> Any:
    stated = vehicle.job.get("power_sources")
    if not isinstance(stated, list):
        return stated
    of_vehicle = vehicle.job.get("vehicle")
    nominal = of_vehicle.get("system_voltage") if isinstance(of_vehicle, Mapping) else None
    return [_source(source, nominal, taken) for source in stated]


def _source(source: Any, nominal: object, taken: dict[Place, float]) -> Any:
    key = source.get("key") if isinstance(source, Mapping) else None
    if not isinstance(key, str):
        return source
    kept = dict(source)
    if is_text(kept.get("description")):
        kept["description"] = ""
    system_v = kept.get("system_voltage", nominal)
    for name, what in _SOURCE_NUMBERS.items():
        value = _number(SOURCE[name], kept.get(name))
        # A voltage that does not fit its system is a fault that tells the two figures.
        if value is None or (name == "source_voltage" and not _fits(value, system_v)):
            continue
        kept[name] = None
        taken[Place(what, key)] = value
    return kept


def _fits(emf_v: float, system_v: object) -> bool:
    return system_v in SYSTEM_VOLTAGES_V and emf_fits(emf_v, float(system_v))


def _circuit(key: str, circuit: Mapping[str, Any], taken: dict[Place, float]) -> dict[str, Any]:
    kept = dict(circuit)
    route, back = kept.get("route"), kept.get("return_path")
    if isinstance(route, list):
        kept["route"] = [
            _with_length_taken(item, _LENGTH, Place(SEGMENT_LENGTH, key, number), taken)
            for number, item in enumerate(route)
        ]
    if isinstance(back, Mapping):
        value = _number(RETURN_PATH["ground_lead_length"], back.get("ground_lead_length"))
        if value is not None:
            kept["return_path"] = {**back, "ground_lead_length": None}
            taken[Place(GROUND_LEAD_LENGTH, key)] = value
    for name, what in _LEADS.items():
        leads = kept.get(name)
        if isinstance(leads, list):
            kept[name] = [
                _with_length_taken(item, SIGNAL_LEAD["length"], Place(what, key, number), taken)
                for number, item in enumerate(leads)
            ]
    return kept


def _with_length_taken(item: Any, rule: Member, place: Place, taken: dict[Place, float]) -> Any:
    value = _number(rule, item.get("length")) if isinstance(item, Mapping) else None
    if value is None:
        return item
    taken[place] = value
    return {**item, "length": None}


def _number(rule: Member, value: object) -> float | None:
    assert isinstance(rule, Number)
    # Most are plain numbers, which need no reader of quantities.
    if type(value) is float and rule.lower <= value <= rule.upper:
        return value
    return None if value is None else stated_number(rule, value, quantity_text)
