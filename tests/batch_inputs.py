"""Packages, vehicles and books for runs of batches, made up by counting."""

import json
from pathlib import Path
from typing import Any

from loomwright.jobs.demo_library import demo_job, demo_price_book

OF_VEHICLES = ("vehicle", "power_sources")


def package_documents(count: int) -> list[dict[str, Any]]:
    """Return packages of one installation, each of which lets its conductors lose less voltage."""
    documents = []
    for number in range(count):
        job = demo_job("combustion_car")
        for circuit in job["circuits"]:
            circuit["allowed_voltage_drop_percent"] = 4 - 0.25 * number
        stated = {name: value for name, value in job.items() if name not in OF_VEHICLES}
        documents.append({"key": f"deal-{number}", "job": stated})
    return documents


def vehicle_documents(count: int) -> list[dict[str, Any]]:
    """Return vehicles that differ in how far the battery is away; every tenth has no such place."""
    job = demo_job("combustion_car")
    documents = []
    for number in range(count):
        document = {name: job[name] for name in OF_VEHICLES}
        circuits = []
        for circuit in job["circuits"]:
            route = [dict(segment) for segment in circuit["route"]]
            route[-1]["length"] = 1 + number * 5 / count
            circuits.append({"key": circuit["key"], "route": route})
        if number % 10 == 9:
            circuits[0]["fed_from"] = "roof"
        documents.append({"key": f"car-{number:04d}", **document, "circuits": circuits})
    return documents


def dearer_copper(percent: int) -> dict[str, Any]:
    """Return the demo price book with conductors dearer by a share."""
    book = demo_price_book()
    for part in book["parts"]:
        if part["kind"] == "conductor":
            part["unit_price"] = f"{float(part['unit_price']) * (100 + percent) / 100:.2f}"
    return book


def write_inputs(folder: Path, packages: int, vehicles: int) -> list[str]:
    """Write packages and vehicles as NDJSON; return the words of the command that name them."""
    words = []
    for name, documents in (
        ("packages", package_documents(packages)),
        ("vehicles", vehicle_documents(vehicles)),
    ):
        path = folder / f"{name}.ndjson"
        lines = "".join(json.dumps(document) + "\n" for document in documents)
        path.write_text(lines, encoding="utf-8")
        words += [f"--{name}", str(path)]
    return words
