"""The job of a package for a vehicle, member by member; common practice, no source."""

import copy

import pytest

from loomwright.batch.pair import (
    package_from_document,
    pair_document,
    pair_job,
    vehicle_from_document,
)
from loomwright.jobs.demo_library import DEMO_JOBS, demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.pricing.faults import DocumentError
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.units import quantity_text


def parted(name: str) -> tuple[dict, dict]:
    """A demo job as a package and a vehicle: routes are the vehicle's."""
    job = demo_job(name)
    vehicle = {"key": "a vehicle", **{part: job.pop(part) for part in ("vehicle", "power_sources")}}
    vehicle["circuits"] = []
    for circuit in job["circuits"]:
        stated = {"key": circuit["key"], "route": circuit.pop("route")}
        if "ground_lead_length" in circuit["return_path"]:
            length = circuit["return_path"].pop("ground_lead_length")
            stated["return_path"] = {"ground_lead_length": length}
        vehicle["circuits"].append(stated)
    return {"key": name, "job": job}, vehicle


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_a_job_in_two_parts_is_the_job(name):
    package, vehicle = parted(name)
    whole = job_from_document(demo_job(name), tables(), fuse_tables().types, quantity_text)
    found = pair_job(package_from_document(package), vehicle_from_document(vehicle))
    assert found == whole


def test_what_the_vehicle_states_stands_in_place_of_what_the_package_does():
    package, vehicle = parted("combustion_car")
    package["job"]["vehicle"] = {"description": "any", "drive": "electric", "system_voltage": 24}
    package["job"]["circuits"][0]["route"] = [{"length": 9, "zone": "underbody"}]
    package["job"]["circuits"][0]["return_path"]["chassis_resistance"] = 0.002
    document = pair_document(package_from_document(package), vehicle_from_document(vehicle))
    assert document["vehicle"] == vehicle["vehicle"]
    (circuit,) = document["circuits"]
    assert circuit["route"] == vehicle["circuits"][0]["route"]
    # Members of an object are those of both.
    assert circuit["return_path"] == {
        "by": "chassis",
        "stud": "M8",
        "chassis_resistance": 0.002,
        "ground_lead_length": 0.5,
    }


def test_a_vehicle_may_state_circuits_that_the_package_does_not_have():
    package, vehicle = parted("combustion_car")
    vehicle["circuits"].append({"key": "winch_feed", "route": [{"length": 3, "zone": "underbody"}]})
    job = pair_job(package_from_document(package), vehicle_from_document(vehicle))
    assert [circuit.key for circuit in job.circuits] == ["amplifier_feed"]


def test_making_a_pair_changes_neither_part():
    package, vehicle = parted("van_second_battery")
    before = copy.deepcopy((package, vehicle))
    pair_job(package_from_document(package), vehicle_from_document(vehicle))
    assert (package, vehicle) == before


def test_what_both_leave_out_is_a_fault_of_the_job():
    package, vehicle = parted("combustion_car")
    del vehicle["circuits"]
    with pytest.raises(DocumentError) as caught:
        pair_job(package_from_document(package), vehicle_from_document(vehicle))
    assert [fault.pointer for fault in caught.value.faults] == [
        "/circuits/0/route",
        "/circuits/0/return_path/ground_lead_length",
    ]


@pytest.mark.parametrize(
    ("document", "pointers"),
    [
        (7, [""]),
        ({}, ["/key", "/job"]),
        ({"key": "", "job": {}}, ["/key"]),
        ({"key": "deal", "job": []}, ["/job"]),
        ({"key": "deal", "job": {}, "price": 1}, ["/price"]),
        ({"key": "deal", "job": {}, "pricing": 7}, ["/pricing"]),
    ],
)
def test_a_package_needs_a_key_and_a_job(document, pointers):
    with pytest.raises(DocumentError) as caught:
        package_from_document(document)
    assert [fault.pointer for fault in caught.value.faults] == pointers


@pytest.mark.parametrize(
    ("document", "pointers"),
    [
        ([], [""]),
        ({}, ["/key"]),
        ({"key": "v", "wheels": 4}, ["/wheels"]),
        ({"key": "v", "circuits": {}}, ["/circuits"]),
        ({"key": "v", "circuits": [{}, 7]}, ["/circuits/0", "/circuits/1"]),
        ({"key": "v", "circuits": [{"key": "a"}, {"key": "a"}]}, ["/circuits/1"]),
    ],
)
def test_a_vehicle_needs_a_key_and_circuits_with_unlike_ones(document, pointers):
    with pytest.raises(DocumentError) as caught:
        vehicle_from_document(document)
    assert [fault.pointer for fault in caught.value.faults] == pointers
