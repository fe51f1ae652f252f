"""Measure batches: quotes per second in process and over HTTP, as ratios of one run.

    python tests/bench/batch.py [--pairs 1000000] [--vehicles 4000] [--runs 3] [part ...]

Parts: ``engine`` (array engine against single HTTP calls and against a bare NumPy kernel),
``http`` (rows over HTTP as CSV), ``flat`` (cost per row from ten thousand to ten million pairs, and
peak memory), ``profile`` (where the time goes). Packages and vehicles are those of the test's
``catalogue.py``.
"""

import argparse
import cProfile
import importlib.util
import json
import os
import pstats
import resource
import statistics
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))
# Under another name than the standard library's.
_SPEC = importlib.util.spec_from_file_location("http_bench", ROOT / "tests" / "bench" / "http.py")
assert _SPEC is not None
assert _SPEC.loader is not None
http_bench = importlib.util.module_from_spec(_SPEC)
sys.modules["http_bench"] = http_bench
_SPEC.loader.exec_module(http_bench)

import numpy as np  # noqa: E402

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
from loomwright.jobs.demo_library import demo_book  # noqa: E402
from loomwright.tables.load import tables  # noqa: E402

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


def seconds_of(engine: Engine, batch: Batch) -> float:
    """Return the time that all rows of a batch take, as Arrow columns."""
    begun = time.perf_counter()
    rows = sum(part.flat.num_rows for part in batches(engine, batch, None, ROWS_AT_ONCE))
    taken = time.perf_counter() - begun
    assert rows == len(batch.packages) * len(batch.vehicles)
    return taken


def kernel_seconds(batch: Batch) -> float:
    """Return the time that a bare kernel takes to find the thinnest conductor of each circuit.

    Voltage drop at 20 C over the route and back against what is allowed, nothing else: no heat, no
    fuse, no price.
    """
    lengths = {
        circuit["key"]: np.array(
            [
                sum(segment["length"] for segment in vehicle.circuits[circuit["key"]]["route"])
                for vehicle in batch.vehicles
            ]
        )
        for circuit in batch.vehicles[0].circuits.values()
    }
    sized = 0
    taken = 0.0
    for package in batch.packages:
        job = pair_job(package, batch.vehicles[0])
        begun = time.perf_counter()
        for circuit in job.circuits:
            series = tables().series[circuit.conductor.series]
            ohm_per_m = np.array([1.724e-8 / size.cross_section_m2 for size in series])
            allowed_v = circuit.allowed_drop_fraction * 12.0
            drop_v = 20.0 * (2.0 * lengths[circuit.key][:, None] * ohm_per_m + 0.001)
            sized += int((drop_v <= allowed_v).argmax(axis=1).size)
        taken += time.perf_counter() - begun
    assert sized >= len(batch.packages) * len(batch.vehicles)
    return taken


def measure_engine(options: argparse.Namespace) -> None:
    """Print the rate of the array engine beside single calls and the kernel."""
    batch = batch_of(options.pairs, options.vehicles)
    count = len(batch.packages) * len(batch.vehicles)
    seconds_of(engine_of(batch), batch_of(options.vehicles, options.vehicles))
    bodies = [
        json.dumps({"job": pair_document(package, vehicle)}).encode()
        for package in batch.packages[:8]
        for vehicle in batch.vehicles[:8]
    ]
    requests = [http_bench.http_request("build-bill-of-materials", body) for body in bodies]
    to_calls, to_kernel, rates = [], [], []
    with http_bench.server("loomwright.web.app:create_app()", ["--workers", "2"], {}) as port:
        http_bench.load(port, requests, 3.0, 2)
        for _ in range(options.runs):
            calls = http_bench.load(port, requests, 5.0, 1).requests_per_second
            rate = count / seconds_of(engine_of(batch), batch)
            rates.append(rate)
            to_calls.append(rate / calls)
            to_kernel.append(rate / (count / kernel_seconds(batch)))
    _say("quotes a second in process", rates, LEAST_PER_SECOND)
    _say("times single HTTP calls one after another", to_calls, LEAST_RATIO_TO_CALLS)
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
    with http_bench.server("loomwright.web.app:create_app()", ["--workers", "1"], {}) as port:
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

    A thousand vehicles in each. Reading them and putting them into frames is work on vehicles, not
    on rows; it is timed by itself.
    """
    costs = []
    for pairs in SIZES:
        seen = subprocess.run(
            [sys.executable, __file__, "--one", str(pairs), "--vehicles", "1000"],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ},
        ).stdout.split()
        cost, peak, made_ready = map(float, seen)
        costs.append(cost)
        print(
            f"  {pairs:>10} pairs: {cost:6.2f} us a row, peak {peak:6.0f} MiB,"
            f" vehicles made ready in {made_ready:.2f} s"
        )
    print(f"  dearest over cheapest row: {max(costs) / min(costs):.3f} (at most 1.15 wanted)")


def measure_one(pairs: int, variants: int) -> None:
    """Print microseconds a row, peak memory [MiB] of this process and seconds of making ready."""
    warm = batch_of(4 * variants, variants)
    seconds_of(engine_of(warm), warm)
    batch = batch_of(pairs, variants)
    begun = time.perf_counter()
    engine = engine_of(batch)
    made_ready = time.perf_counter() - begun
    cost = seconds_of(engine, batch) / pairs
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{1e6 * cost} {peak} {made_ready}")


def profile(options: argparse.Namespace) -> None:
    """Print which functions the time of a batch goes to."""
    batch = batch_of(min(options.pairs, 200_000), options.vehicles)
    engine = engine_of(batch)
    seconds_of(engine, batch_of(options.vehicles, options.vehicles))
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
    parser.add_argument("parts", nargs="*", choices=[[], *PARTS], default=list(PARTS))
    parser.add_argument("--pairs", type=int, default=1_000_000)
    parser.add_argument("--vehicles", type=int, default=4000)
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
    for part in options.parts:
        print(part)
        measures[part](options)


if __name__ == "__main__":
    main()
