"""Measure batches: quotes per second in process and over HTTP, as ratios of one run.

    python tests/bench/batch.py [--pairs 1000000] [--vehicles 20000] [--runs 3] [part ...]

Parts: ``engine`` (array engine against single HTTP calls and against a bare NumPy kernel),
``http`` (rows over HTTP as CSV), ``flat`` (cost per row from ten thousand to ten million pairs, and
peak memory), ``profile`` (where the time goes). Packages and vehicles are those of the test's
``catalogue.py``.
"""

import argparse
import cProfile
import gc
import json
import multiprocessing
import os
import pstats
import resource
import statistics
import subprocess
import sys
import time
import urllib.request
from dataclasses import replace
from multiprocessing.synchronize import Barrier
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

import calls  # noqa: E402
import numpy as np  # noqa: E402
import numpy.typing as npt  # noqa: E402

from catalogue import packages, vehicles  # noqa: E402
from loomwright.batch.array_engine import engine_of  # noqa: E402
from loomwright.batch.engine import Batch, Engine, batches  # noqa: E402
from loomwright.batch.pair import (  # noqa: E402
    package_from_document,
    pair_document,
    pair_job,
    vehicle_from_document,
)
from loomwright.batch.quote import Pricing  # noqa: E402
from loomwright.jobs.circuit_conductors import feeding_source  # noqa: E402
from loomwright.jobs.demo_library import demo_book  # noqa: E402
from loomwright.jobs.job import Circuit, Job  # noqa: E402
from loomwright.tables.load import tables  # noqa: E402

Array = npt.NDArray[np.float64]
PARTS = ("engine", "http", "flat", "profile")
ROWS_AT_ONCE = 50_000
LEAST_RATIO_TO_CALLS, LEAST_RATIO_TO_KERNEL = 1000.0, 1.0 / 20.0
LEAST_PER_SECOND, LEAST_PER_SECOND_OVER_HTTP = 200_000.0, 60_000.0
SIZES = (10_000, 100_000, 1_000_000, 10_000_000)


def batch_of(pairs: int, variants: int) -> Batch:
    """Return a batch of so many pairs, each package with each vehicle."""
    return Batch(
        [package_from_document(document) for document in packages(max(1, pairs // variants))],
        [vehicle_from_document(document) for document in vehicles(variants)],
        Pricing(demo_book(), {}),
    )


def by_a_new_book(batch: Batch) -> Batch:
    """Return a batch by a copy of its price book, by which nothing was met before."""
    pricing = batch.pricing
    return replace(batch, pricing=replace(pricing, book=replace(pricing.book)))


def seconds_of(engine: Engine, batch: Batch) -> float:
    """Return the time that all rows of a batch take, as Arrow columns."""
    begun = time.perf_counter()
    rows = sum(part.flat.num_rows for part in batches(engine, batch, None, ROWS_AT_ONCE))
    taken = time.perf_counter() - begun
    assert rows == len(batch.packages) * len(batch.vehicles)
    return taken


def seconds_on_both_cores(engine: Engine, batch: Batch) -> float:
    """Return the time that two processes take for a batch, each for half of the packages.

    Both know what the engine knows by now, as worker processes do after a while.
    """
    ready = multiprocessing.get_context("fork").Barrier(3)
    halves = [
        multiprocessing.get_context("fork").Process(
            target=_rows_of_packages, args=(engine, batch, first, ready)
        )
        for first in (0, 1)
    ]
    for half in halves:
        half.start()
    ready.wait()
    begun = time.perf_counter()
    for half in halves:
        half.join()
    taken = time.perf_counter() - begun
    assert all(half.exitcode == 0 for half in halves)
    return taken


def _rows_of_packages(engine: Engine, batch: Batch, first: int, ready: Barrier) -> None:
    everyone = np.arange(len(batch.vehicles))
    ready.wait()
    for package in range(first, len(batch.packages), 2):
        assert engine.rows(package, everyone).flat.num_rows == everyone.size


def warm_up() -> None:
    """Load the machine code, and take what lives on out of the collector's way, as runs do."""
    batch = by_a_new_book(batch_of(4000, 1000))
    seconds_of(engine_of(batch), batch)
    gc.collect()
    gc.freeze()


def kernel_seconds(batch: Batch) -> float:
    """Return the time that a bare kernel takes to find the thinnest conductor of each circuit.

    Whole arrays, vehicles by sizes: the drop of route, ground lead, chassis and joints at the
    temperature that the insulation bears, against what is allowed, and the current against the
    published ampacity. No heat balance, no bundles, no fuse, no price.
    """
    sized = 0
    taken = 0.0
    for package in batch.packages:
        job = pair_job(package, batch.vehicles[0])
        for circuit in job.circuits:
            route_m, ground_m, emf_v = _numbers(batch, job, circuit)
            begun = time.perf_counter()
            sized += _thinnest(job, circuit, route_m, ground_m, emf_v).size
            taken += time.perf_counter() - begun
    assert sized >= len(batch.packages) * len(batch.vehicles)
    return taken


def _numbers(batch: Batch, job: Job, circuit: Circuit) -> tuple[Array, Array, Array]:
    """Return route, ground lead [m] and open-circuit voltage [V] of a circuit in each vehicle."""
    stated = [vehicle.circuits[circuit.key] for vehicle in batch.vehicles]
    route_m = [sum(segment["length"] for segment in each["route"]) for each in stated]
    ground_m = [each.get("return_path", {}).get("ground_lead_length", 0.0) for each in stated]
    source = feeding_source(job, circuit).key
    emf_v = [
        next(own["source_voltage"] for own in vehicle.job["power_sources"] if own["key"] == source)
        for vehicle in batch.vehicles
    ]
    return np.array(route_m), np.array(ground_m), np.array(emf_v)


def _thinnest(job: Job, circuit: Circuit, route_m: Array, ground_m: Array, emf_v: Array) -> Array:
    choice, back = circuit.conductor, circuit.return_path
    sizes = tables().series[choice.series]
    insulation = tables().insulations[choice.insulation]
    warmer_k = insulation.temperature_rating_k - 293.15
    section_m2 = np.array([size.cross_section_m2 for size in sizes])
    ohm_per_m = 1.724e-8 * (1.0 + 0.00393 * warmer_k) / section_m2
    # Some 6 A for each square millimetre, less where it is thick: any table would do.
    ampacity_a = 14.0 * (1e6 * section_m2) ** 0.7
    ways = 1.0 if back.path == "chassis" else 2.0
    fixed_ohm = back.chassis_resistance_ohm + circuit.joint_resistance_ohm
    allowed_v = circuit.allowed_drop_fraction * feeding_source(job, circuit).system_voltage_v
    loads = job.equipment_on(circuit.key)
    power_w = sum(item.quantity * (item.power_w or 0.0) for item in loads)
    current_a = sum(item.quantity * (item.current_a or 0.0) for item in loads)
    load_a = (current_a + power_w / (emf_v - allowed_v))[:, None]
    loop_ohm = (ways * route_m + ground_m)[:, None] * ohm_per_m + fixed_ohm
    serves = (load_a * loop_ohm <= allowed_v) & (load_a <= ampacity_a)
    return np.where(serves.any(axis=1), serves.argmax(axis=1), -1)


def measure_engine(options: argparse.Namespace) -> None:
    """Print the rate of the array engine beside single calls and the kernel."""
    batch = batch_of(options.pairs, options.vehicles)
    count = len(batch.packages) * len(batch.vehicles)
    warm_up()
    bodies = [
        json.dumps({"job": pair_document(package, vehicle)}).encode()
        for package in batch.packages[:8]
        for vehicle in batch.vehicles[:8]
    ]
    requests = [calls.http_request("build-bill-of-materials", body) for body in bodies]
    engine = engine_of(batch)
    first, to_calls, to_kernel, rates = [], [], [], []
    seconds_of(engine, batch)
    both: list[float] = []
    with calls.server("loomwright.web.app:create_app()", ["--workers", "2"], {}) as port:
        calls.load(port, requests, 3.0, 2)
        for _ in range(options.runs):
            single = calls.load(port, requests, 5.0, 1).requests_per_second
            rate = count / seconds_of(engine, batch)
            rates.append(rate)
            to_calls.append(rate / single)
            to_kernel.append(rate / (count / kernel_seconds(batch)))
            unmet = by_a_new_book(batch)
            first.append(count / seconds_of(engine_of(unmet), unmet))
            both.append(count / seconds_on_both_cores(engine, batch) / single)
    _say("quotes a second in process, nothing known before", first, LEAST_PER_SECOND)
    _say("quotes a second in process, as a long run goes on", rates, LEAST_PER_SECOND)
    _say("times single HTTP calls one after another, one process", to_calls, LEAST_RATIO_TO_CALLS)
    _say("times single HTTP calls one after another, both cores", both, LEAST_RATIO_TO_CALLS)
    _say("of the rate of a bare kernel for conductors", to_kernel, LEAST_RATIO_TO_KERNEL)


def measure_http(options: argparse.Namespace) -> None:
    """Print the rate of rows over HTTP as CSV, request and all rows read."""
    batch = batch_of(options.pairs, options.vehicles)
    document = {
        "packages": packages(len(batch.packages)),
        "vehicles": vehicles(len(batch.vehicles)),
    }
    body = json.dumps(document).encode()
    rates = []
    with calls.server("loomwright.web.app:create_app()", ["--workers", "1"], {}) as port:
        for _ in range(options.runs + 1):
            begun = time.perf_counter()
            request = urllib.request.Request(
                f"http://127.0.0.1:{port}/v1/price-packages",
                body,
                {"Content-Type": "application/json", "Accept": "text/csv"},
            )
            rows = -1
            with urllib.request.urlopen(request) as answer:
                while piece := answer.read(1 << 20):
                    rows += piece.count(b"\n")
            taken = time.perf_counter() - begun
            assert rows == len(batch.packages) * len(batch.vehicles), rows
            rates.append(rows / taken)
    # The first run fills memos of the server.
    _say("rows a second over HTTP as CSV", rates[1:], LEAST_PER_SECOND_OVER_HTTP)


def measure_flat(_: argparse.Namespace) -> None:
    """Print the cost of a row and the peak memory by the size of the batch, each in a process.

    1250 vehicles in each, so that packages of one, one, four and six circuits come in the same mix
    in all of them. Reading vehicles and putting them into frames is work on vehicles, not on rows;
    it is timed by itself. So is what a process pays once for a price book: the first batches by it
    meet most cases of bills and covers that the book has to offer.
    """
    costs = []
    for pairs in SIZES:
        seen = subprocess.run(
            [sys.executable, __file__, "--one", str(pairs), "--vehicles", "1250"],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ},
        ).stdout.split()
        cost, peak, made_ready, first = map(float, seen)
        costs.append(cost)
        print(
            f"  {pairs:>10} pairs: {cost:6.2f} us a row, peak {peak:6.0f} MiB,"
            f" vehicles made ready in {made_ready:.2f} s;"
            f" {first:6.2f} us a row of the first {SIZES[0]} by the book"
        )
    print(f"  dearest over cheapest row: {max(costs) / min(costs):.3f} (at most 1.15 wanted)")


def measure_one(pairs: int, variants: int) -> None:
    """Print microseconds a row, peak memory [MiB], seconds of making ready, microseconds at first.

    The last are those of a row of the smallest batch where the process meets the price book. Each
    batch is worked out by an engine of its own, small ones several times.
    """
    warm_up()
    first, _ = (
        seconds_of(engine_of(unmet), unmet) / size
        for size in SIZES[:2]
        for unmet in [batch_of(size, variants)]
    )
    batch = batch_of(pairs, variants)
    begun = time.perf_counter()
    engine = engine_of(batch)
    made_ready = time.perf_counter() - begun
    times = [seconds_of(engine, batch)]
    times += [seconds_of(engine_of(batch), batch) for _ in range(min(20, SIZES[2] // pairs))]
    cost = statistics.median(times) / pairs
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{1e6 * cost} {peak} {made_ready} {1e6 * first}")


def profile(options: argparse.Namespace) -> None:
    """Print which functions the time of a batch goes to."""
    batch = batch_of(min(options.pairs, 200_000), options.vehicles)
    warm_up()
    profiler = cProfile.Profile()
    profiler.runcall(seconds_of, engine_of(batch), batch)
    pstats.Stats(profiler).strip_dirs().sort_stats("tottime").print_stats(30)


def _say(what: str, seen: list[float], least: float) -> None:
    middle = statistics.median(seen)
    verdict = "met" if middle >= least else "NOT MET"
    spread = f"{min(seen):,.4g} to {max(seen):,.4g}"
    print(f"  {middle:>12,.4g} {what} ({spread}); {least:,.4g} wanted: {verdict}")


def main() -> None:
    """Measure what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("parts", nargs="*", choices=[[], *PARTS], default=[])
    parser.add_argument("--pairs", type=int, default=1_000_000)
    parser.add_argument("--vehicles", type=int, default=20_000)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        measure_one(options.one, options.vehicles)
        return
    measures = {
        "engine": measure_engine,
        "http": measure_http,
        "flat": measure_flat,
        "profile": profile,
    }
    for part in options.parts or PARTS:
        print(part)
        measures[part](options)


if __name__ == "__main__":
    main()
