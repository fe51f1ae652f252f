"""Packages and vehicles as they are stated, and the job that one of each make together."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

from loomwright.engineering.record import record
from loomwright.jobs.job import Job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.job_members import job_record
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.members import Member, Record, Records, Text
from loomwright.pricing.pricing_options import BATCH_PRICING_RECORD
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.units import quantity_text

# What a vehicle states of a job, and in what a job without a vehicle lacks.
OF_VEHICLES = ("vehicle", "power_sources")


@record
class Package:
    """A package deal: a job as far as it does not depend on the vehicle.

    Parameters
    ----------
    key
        Unique among the packages.
    job
        Members of a job document; those of ``OF_VEHICLES`` and members of circuits may be left to
        the vehicle.
    pricing
        Members of the pricing options in which this package differs from the rest of the batch.
    faults
        What is wrong with the package whatever the vehicle, in which case it has no quotes;
        pointers are into what it came with.
    """

    key: str
    job: Mapping[str, Any]
    pricing: Mapping[str, Any]
    faults: tuple[Fault, ...] = ()


@record
class Vehicle:
    """A vehicle variant: what it states of any job.

    Parameters
    ----------
    key
        Unique among the vehicles.
    job
        Members of a job document that ``OF_VEHICLES`` names.
    circuits
        Members of circuits, by the key of the circuit; a job takes those of its own circuits.
    faults
        What is wrong with the vehicle whatever the package, in which case it has no quotes;
        pointers are into what it came with.
    """

    key: str
    job: Mapping[str, Any]
    circuits: Mapping[str, Mapping[str, Any]]
    faults: tuple[Fault, ...] = ()


def _optional(member: Member) -> Member:
    if isinstance(member, Records):
        return replace(member, required=False, least=0)
    return replace(member, required=False)


def _circuits_with_keys_only(members: Mapping[str, Member]) -> dict[str, Member]:
    return {
        name: member if name == "key" else _optional(member) for name, member in members.items()
    }


@cache
def package_record() -> Record:
    """Return the rules of a package, whose circuits may leave out what the vehicle states."""
    job = job_record(tables(), tuple(fuse_tables().types))
    members = {
        name: _optional(member) if name in OF_VEHICLES else member
        for name, member in job.members.items()
    }
    circuits = members["circuits"]
    assert isinstance(circuits, Records)
    members["circuits"] = replace(
        circuits, name="PackageCircuit", members=_circuits_with_keys_only(circuits.members)
    )
    return Record(
        "Package",
        {
            "key": Text(about="Unique among the packages."),
            "job": Record("PackageJob", members, about="The job, as far as no vehicle decides it."),
            "pricing": replace(
                BATCH_PRICING_RECORD,
                about="Where the package differs from the pricing of the batch.",
            ),
        },
    )


@cache
def vehicle_record() -> Record:
    """Return the rules of a vehicle."""
    job = job_record(tables(), tuple(fuse_tables().types)).members
    circuits = job["circuits"]
    assert isinstance(circuits, Records)
    return Record(
        "VehicleVariant",
        {
            "key": Text(about="Unique among the vehicles."),
            "vehicle": job["vehicle"],
            "power_sources": replace(
                job["power_sources"],
                required=False,
                about="Its feeding points; those of the package if absent.",
            ),
            "circuits": replace(
                circuits,
                name="VehicleCircuit",
                members=_circuits_with_keys_only(circuits.members),
                required=False,
                least=0,
                about="Routes and whatever else it decides, by the key of the circuit; a package "
                "takes those of its own circuits.",
            ),
        },
    )


def package_from_document(document: object, pointer: str = "") -> Package:
    """Return the package that a plain JSON document states.

    What it says of its job is checked with each vehicle, not here.

    Parameters
    ----------
    document
        As ``package_record`` says.
    pointer
        JSON pointer of the document in what it came with.

    Returns
    -------
    Package
        Its key and members.

    Raises
    ------
    DocumentError
        It is no object, has no key, or members that no package has.
    """
    faults: list[Fault] = []
    reader = ObjectReader(document, pointer, faults, package_record().members)
    key = reader.text("key")
    parts = {name: _object(reader, name) for name in ("job", "pricing")}
    if not reader.has("job"):
        reader.fault("job", "Missing; it is required.")
    if faults:
        raise DocumentError("package", faults)
    return Package(key, parts["job"], parts["pricing"])


def vehicle_from_document(document: object, pointer: str = "") -> Vehicle:
    """Return the vehicle that a plain JSON document states.

    What it says of jobs is checked with each package, not here.

    Parameters
    ----------
    document
        As ``vehicle_record`` says.
    pointer
        JSON pointer of the document in what it came with.

    Returns
    -------
    Vehicle
        Its key and members.

    Raises
    ------
    DocumentError
        It is no object, has no key, members that no vehicle has, or circuits without a key of their
        own.
    """
    faults: list[Fault] = []
    reader = ObjectReader(document, pointer, faults, vehicle_record().members)
    key = reader.text("key")
    circuits: dict[str, Mapping[str, Any]] = {}
    stated = reader.stated("circuits")
    if reader.has("circuits") and not isinstance(stated, list):
        reader.fault("circuits", "An array of objects is needed.")
    for index, circuit in enumerate(stated if isinstance(stated, list) else ()):
        circuit_key = circuit.get("key") if isinstance(circuit, Mapping) else None
        if not isinstance(circuit_key, str):
            reader.fault_at("circuits", index, "An object with the key of a circuit is needed.")
        elif circuit_key in circuits:
            reader.fault_at("circuits", index, "An earlier one has the same key.")
        else:
            circuits[circuit_key] = circuit
    if faults:
        raise DocumentError("vehicle", faults)
    assert isinstance(document, Mapping)
    return Vehicle(
        key, {name: document[name] for name in OF_VEHICLES if name in document}, circuits
    )


def _object(reader: ObjectReader, name: str) -> Mapping[str, Any]:
    stated = reader.stated(name)
    if not reader.has(name):
        return {}
    if not isinstance(stated, Mapping):
        reader.fault(name, "An object is needed.")
        return {}
    return stated


def pair_document(package: Package, vehicle: Vehicle) -> dict[str, Any]:
    """Return the job of a package for a vehicle as a document.

    Members that the vehicle states stand in place of those of the package. Of a circuit that both
    state, members of the vehicle stand in place of those of the package; where both have an
    object, such as ``return_path``, its members do.

    Parameters
    ----------
    package
        The package.
    vehicle
        The vehicle.

    Returns
    -------
    dict
        As build-bill-of-materials takes it under ``job``; parts of it are those of the arguments.
    """
    document = {**package.job, **vehicle.job}
    circuits = package.job.get("circuits")
    if isinstance(circuits, list):
        document["circuits"] = [_merged_circuit(circuit, vehicle) for circuit in circuits]
    return document


def _merged_circuit(circuit: object, vehicle: Vehicle) -> object:
    key = circuit.get("key") if isinstance(circuit, Mapping) else None
    theirs = vehicle.circuits.get(key) if isinstance(key, str) else None
    if theirs is None or not isinstance(circuit, Mapping):
        return circuit
    merged = {**circuit, **theirs}
    for name, value in theirs.items():
        own = circuit.get(name)
        if isinstance(value, Mapping) and isinstance(own, Mapping):
            merged[name] = {**own, **value}
    return merged


def pair_job(package: Package, vehicle: Vehicle) -> Job:
    """Return the job of a package for a vehicle.

    Parameters
    ----------
    package
        The package.
    vehicle
        The vehicle.

    Returns
    -------
    Job
        Checked; quantities as text with a unit are read like those of a request.

    Raises
    ------
    DocumentError
        Anything is wrong; pointers are into the job that both make together.
    """
    return job_from_document(
        pair_document(package, vehicle), tables(), fuse_tables().types, quantity_text
    )
