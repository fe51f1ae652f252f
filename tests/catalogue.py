"""An invented catalogue of package deals and vehicle variants, of any size, from a seed.

Packages are those of the demo jobs with other loads and allowances; vehicles feed all of them, and
differ in lengths, sources, zones and fitting. Lengths are to the millimetre.
"""

import copy
import random
from typing import Any

from loomwright.jobs.demo_library import DEMO_JOBS, demo_job

Document = dict[str, Any]

OF_VEHICLES = ("vehicle", "power_sources", "supply")
# What a vehicle decides of a circuit, beside its lengths.
DIFFICULTIES = (None, "tight_cabin", "fitted_out")


def packages(count: int, seed: int = 1) -> list[Document]:
    """Return packages, whose names say which demo job they come from."""
    draw = random.Random(f"packages {seed}")
    return [_package(number, draw) for number in range(count)]


def vehicles(count: int, seed: int = 1) -> list[Document]:
    """Return vehicle variants."""
    draw = random.Random(f"vehicles {seed}")
    return [_vehicle(number, draw) for number in range(count)]


def _package(number: int, draw: random.Random) -> Document:
    name = DEMO_JOBS[number % len(DEMO_JOBS)]
    job = {key: value for key, value in demo_job(name).items() if key not in OF_VEHICLES}
    job["title"] = f"{job['title']}, deal {number}"
    larger = draw.choice((0.6, 0.8, 1.0, 1.2, 1.5))
    for item in job["equipment"]:
        for load in ("load_current", "load_power"):
            if load in item:
                item[load] = round(item[load] * larger, 2)
    for circuit in job["circuits"]:
        circuit["allowed_voltage_drop_percent"] = draw.choice((2, 3, 4, 5))
        if circuit["return_path"]["by"] == "chassis":
            del circuit["return_path"]["ground_lead_length"]
        for member in ("route", "remote_leads"):
            circuit.pop(member, None)
    package: Document = {"key": f"{name}-{number:04d}", "job": job}
    if draw.random() < 0.2:
        off = {"kind": "labour", "percent": draw.choice(("5", "12.5"))}
        package["pricing"] = {"line_discounts": [off]}
    return package


def _vehicle(number: int, draw: random.Random) -> Document:
    difficulty = draw.choice(DIFFICULTIES)
    vehicle: Document = {
        "description": f"Variant {number} (invented)",
        "drive": draw.choice(("combustion", "hybrid")),
        "system_voltage": 12,
    }
    if difficulty is not None:
        vehicle["difficulty"] = difficulty
    stretch = draw.uniform(0.7, 1.8)
    warm = draw.random() < 0.5
    return {
        "key": f"variant-{number:06d}",
        "vehicle": vehicle,
        "power_sources": _sources(draw),
        "circuits": [
            _circuit(circuit, stretch, warm, draw)
            for name in DEMO_JOBS
            for circuit in demo_job(name)["circuits"]
        ],
    }


def _sources(draw: random.Random) -> list[Document]:
    stated = []
    by_cranking = draw.random() < 0.5
    for name in DEMO_JOBS:
        job = demo_job(name)
        for source in job["power_sources"]:
            own = copy.deepcopy(source)
            own["system_voltage"] = job["vehicle"]["system_voltage"]
            own["source_voltage"] = round(source["source_voltage"] * draw.uniform(0.98, 1.02), 2)
            if by_cranking and source["tap_point"] == "battery":
                own.pop("source_resistance", None)
                own["cold_cranking_current"] = draw.randrange(400, 900, 10)
            elif "source_resistance" in source:
                own["source_resistance"] = round(
                    source["source_resistance"] * draw.uniform(0.6, 1.2), 4
                )
            stated.append(own)
    return stated


def _circuit(circuit: Document, stretch: float, warm: bool, draw: random.Random) -> Document:
    route = copy.deepcopy(circuit["route"])
    for segment in route:
        segment["length"] = round(segment["length"] * stretch * draw.uniform(0.8, 1.3), 3)
        if warm and segment["zone"] == "passenger_compartment":
            segment["zone"] = "underbody"
    stated: Document = {"key": circuit["key"], "route": route}
    if circuit["return_path"]["by"] == "chassis":
        stated["return_path"] = {"ground_lead_length": round(draw.uniform(0.2, 0.9), 3)}
    if "remote_leads" in circuit:
        stated["remote_leads"] = [{"length": round(draw.uniform(1.5, 5.0), 3)}]
    return stated
