"""Vehicles by frames: each pair is the job that it is by itself."""

import copy

import numpy as np
import pytest

from catalogue import packages, vehicles
from loomwright.batch.frames import frames_of, variation_of
from loomwright.batch.pair import (
    Vehicle,
    package_from_document,
    pair_job,
    vehicle_from_document,
)
from loomwright.pricing.faults import DocumentError

VEHICLES = vehicles(200)
PACKAGES = [package_from_document(document) for document in packages(4)]


def read(documents: list[dict]) -> list[Vehicle]:
    return [vehicle_from_document(document) for document in documents]


def test_each_vehicle_is_in_one_frame_once():
    frames = frames_of(read(VEHICLES))
    members = np.concatenate([frame.members for frame in frames.frames])
    assert sorted(members.tolist()) == list(range(len(VEHICLES)))
    for index in range(len(VEHICLES)):
        frame = frames.frames[frames.frame_of[index]]
        assert frame.members[frames.row_of[index]] == index
    # Three difficulties, two ways to state a battery, two sets of zones.
    assert len(frames.frames) == 12


def test_a_row_of_a_frame_is_the_job_of_its_pair():
    stated = read(VEHICLES)
    for frame in frames_of(stated).frames:
        for package in PACKAGES:
            job = pair_job(package, frame.vehicle)
            variation = variation_of(job, frame, np.arange(frame.members.size))
            for row, index in enumerate(frame.members.tolist()):
                own = pair_job(package, stated[index])
                found = variation.job_of(row)
                assert found.circuits == own.circuits
                assert [entry.emf_v for entry in found.power_sources.values()] == [
                    entry.emf_v for entry in own.power_sources.values()
                ]
                assert found.vehicle.difficulty == own.vehicle.difficulty


def changed(path: tuple, value: object) -> dict:
    document = copy.deepcopy(VEHICLES[0])
    place = document
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    return document


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("vehicle", "description"), "Another one"),
        (("vehicle", "drive"), "electric"),
        (("vehicle", "hazards"), ["airbags_on_route"]),
        (("power_sources", 0, "description"), "Another one"),
        (("power_sources", 0, "source_voltage"), "12.55 V"),
        (("circuits", 0, "route", 0, "length"), "5 ft"),
        (("circuits", 0, "return_path", "ground_lead_length"), 1),
    ],
)
def test_words_and_numbers_that_read_well_join_a_frame(path, value):
    both = read([VEHICLES[0], changed(path, value)])
    assert len(frames_of(both).frames) == 1


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("vehicle", "description"), " begins with a space"),
        (("vehicle", "drive"), "steam"),
        (("vehicle", "hazards"), ["airbags_on_route", "airbags_on_route"]),
        (("vehicle", "hazards"), ["dragons"]),
        (("vehicle", "hazards"), "airbags_on_route"),
        (("power_sources", 0, "description"), 7),
        (("power_sources", 0, "source_voltage"), 24.0),
        (("power_sources", 0, "source_voltage"), None),
        (("power_sources", 0, "greatest_current"), 10**400),
        (("circuits", 0, "route", 0, "length"), 0.0),
        (("circuits", 0, "route", 0, "length"), "5 yards"),
        (("circuits", 0, "route", 0, "length"), float("nan")),
        (("circuits", 0, "route", 0, "length"), True),
        (("circuits", 0, "route"), [1]),
        (("circuits", 0, "route"), "straight"),
        (("circuits", 0, "remote_leads"), [{"length": -1}]),
    ],
)
def test_what_does_not_read_has_a_frame_of_its_own(path, value):
    both = read([VEHICLES[0], changed(path, value)])
    assert len(frames_of(both).frames) == 2
    with pytest.raises(DocumentError):
        pair_job(PACKAGES[0], both[1])


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("vehicle", "difficulty"), "fitted_out_otherwise"),
        (("circuits", 0, "route", 0, "zone"), "roof_lining"),
        (("circuits", 0, "route", 0, "through_bulkhead"), False),
        (("power_sources", 0, "tap_point"), "distribution"),
    ],
)
def test_facts_tell_frames_apart(path, value):
    assert len(frames_of(read([VEHICLES[0], changed(path, value)])).frames) == 2


def test_an_absent_member_is_not_one_that_is_null():
    without = copy.deepcopy(VEHICLES[0])
    del without["circuits"][0]["return_path"]["ground_lead_length"]
    null = changed(("circuits", 0, "return_path", "ground_lead_length"), None)
    assert len(frames_of(read([VEHICLES[0], without, null])).frames) == 3
