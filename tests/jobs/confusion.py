"""Faults put into simulated installations, and what the diagnosis names: the confusion table.

    python tests/jobs/confusion.py

writes ``confusion.csv`` beside this file and prints the shares named rightly with fewer readings.
Each case is an installation of its own, drawn within the tolerances of one built right, with one
fault of random size and readings of a meter that errs and rounds.
"""

import csv
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.diagnosis import Diagnosis, diagnosis
from loomwright.engineering.measurement.expected import Reading, meter_range
from loomwright.engineering.measurement.hypotheses import (
    ADDED_RESISTANCE_SHARES,
    CAUSE_BY_FAULT,
    FAULTS,
    LOAD_FACTORS_ABOVE,
    LOAD_FACTORS_BELOW,
    SOURCE_RESISTANCE_FACTORS,
    VOLTAGE_LOSSES,
    hypotheses,
)
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    LOAD_LUG_DROP,
    SOURCE_LUG_DROP,
    Quantity,
)
from loomwright.engineering.measurement.uncertainty import (
    USUAL,
    Tolerances,
    Variants,
    drawn_variants,
)
from loomwright.jobs.circuit_conductors import circuit_conductors, feeders
from loomwright.jobs.circuit_fuses import sized_circuits
from loomwright.jobs.demo_library import demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.measured_installation import (
    LOAD,
    MeasuredInstallation,
    measured_installation,
)
from loomwright.jobs.measurements import USUAL_METERS, WORKSHOP_TEMPERATURE_K
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables

FILE = Path(__file__).with_name("confusion.csv")
CASES = 500
SEED = 17
# Circuits of the demo jobs that carry a load, each switched on by itself.
CIRCUITS = (
    ("combustion_car", "amplifier_feed"),
    ("hybrid_jump_start", "bass_feed"),
    ("van_second_battery", "inverter_feed"),
    ("van_second_battery", "charger_input"),
    ("van_second_battery", "light_feed"),
    ("truck_24v", "radio_feed"),
    ("truck_24v", "heater_feed"),
)
# Installations that spread half as wide again as the diagnosis believes.
WIDER = Tolerances(*(1.5 * getattr(USUAL, name) for name in Tolerances.__annotations__))
Array = npt.NDArray[np.float64]
Keep = Callable[[Quantity], bool]


@dataclass(frozen=True)
class Site:
    """A circuit that is measured, with its feeders."""

    circuit: str
    measured: tuple[str, ...]
    installation: MeasuredInstallation
    planned_draws: Array
    built: Variants


@cache
def site(name: str, key: str, tolerances: Tolerances) -> Site:
    job = job_from_document(demo_job(name), tables(), fuse_tables().types)
    conductors = circuit_conductors(job, tables())
    sized = sized_circuits(job, conductors, tables(), fuse_tables())
    circuit = next(item for item in job.circuits if item.key == key)
    measured = tuple(item.key for item in feeders(job, circuit))
    installation = measured_installation(
        job, sized, conductors, tables(), {LOAD: (key,)}, WORKSHOP_TEMPERATURE_K, measured
    )
    network = installation.network
    quantities = sorted(installation.quantities(measured))
    draws = network.values_of(drawn_variants(network, USUAL), quantities)
    # What is built is drawn by another seed than what is expected.
    built = drawn_variants(network, tolerances, 2 * CASES, seed=SEED)
    return Site(key, measured, installation, draws, built)


@dataclass(frozen=True)
class Case:
    """What was wrong, and the readings of it."""

    site: Site
    fault: str
    subject: str
    readings: dict[Quantity, Reading]


@cache
def case(number: int, tolerances: Tolerances) -> Case | None:
    """Return one case; none where a fault of that size lets the circuit collapse."""
    random = np.random.default_rng([SEED, number])
    where = site(*CIRCUITS[number % len(CIRCUITS)], tolerances)
    network = where.installation.network
    found, _ = hypotheses(network, where.installation.others, [where.circuit])
    by_fault = {entry.fault: entry for entry in found}
    # The thinnest of its series has no thinner one: then the other way of a bad conductor.
    fault = FAULTS[(number // len(CIRCUITS)) % len(FAULTS)]
    hypothesis = by_fault.get(fault) or by_fault["copper_clad_conductor"]
    built = Variants(*(getattr(where.built, name)[number : number + 1].copy() for name in NAMES))
    put_in(built, where, hypothesis.fault, hypothesis.subject, random)
    quantities = where.installation.quantities(where.measured)
    shown = network.values_of(built, quantities)[0]
    if np.isnan(shown).any():
        return None
    gains = {kind: random.uniform(-1.0, 1.0) for kind in ("voltage", "drop", "current")}
    readings = {}
    for quantity, true in zip(quantities, shown, strict=True):
        meter = USUAL_METERS[quantity.what]
        value = true * (1.0 + meter.share * gains[meter_range(quantity)])
        value += random.uniform(-1.0, 1.0) * meter.digits * meter.resolution
        readings[quantity] = Reading(
            max(round(value / meter.resolution), 0) * meter.resolution, meter
        )
    return Case(where, hypothesis.fault, hypothesis.subject, readings)


NAMES = tuple(Variants.__annotations__)


def put_in(
    built: Variants, where: Site, fault: str, subject: str, random: np.random.Generator
) -> None:
    """Put a fault of random size into one installation."""
    network = where.installation.network
    places = network.circuits[where.circuit]
    stretches = [*places.feed_stretches, *places.return_stretches]
    parts = {
        "poor_ground": places.return_parts[-1],
        "loose_source_lug": places.source_lug,
        "loose_load_lug": places.load_lug,
        "fuse_or_holder": places.fuse,
    }
    if fault in parts:
        wiring = network.planned.ambient_resistance_ohm[0, stretches].sum()
        added = wiring * np.exp(random.uniform(*np.log(ADDED_RESISTANCE_SHARES)))
        built.part_resistance_ohm[0, parts[fault]] += added
    elif fault in {"undersized_conductor", "copper_clad_conductor"}:
        others = [
            other for other in where.installation.others[where.circuit] if other.fault == fault
        ]
        other = others[random.integers(len(others))]
        planned = network.planned.ambient_resistance_ohm[0, stretches]
        drawn = built.ambient_resistance_ohm[0, stretches] / planned
        built.ambient_resistance_ohm[0, stretches] = drawn * other.ambient_resistance_ohm
        built.resistance_slope_ohm_per_k[0, stretches] = drawn * other.resistance_slope_ohm_per_k
        built.share_per_ampere[0, stretches] = other.share_per_ampere
    elif fault.startswith("load_"):
        below = fault == "load_below_plan"
        factor = random.uniform(*(LOAD_FACTORS_BELOW if below else LOAD_FACTORS_ABOVE))
        built.load_power_w[0, places.load] *= factor
        built.load_current_a[0, places.load] *= factor
    elif fault == "weak_source":
        factor = np.exp(random.uniform(*np.log(SOURCE_RESISTANCE_FACTORS)))
        built.source_resistance_ohm[0, network.sources[subject]] *= factor
    elif fault == "low_charge":
        built.emf_v[0, network.sources[subject]] *= 1.0 - random.uniform(*VOLTAGE_LOSSES)


def diagnosed(found: Case, keep: Keep) -> Diagnosis:
    installation = found.site.installation
    quantities = installation.quantities(found.site.measured)
    meters = {quantity: USUAL_METERS[quantity.what] for quantity in quantities}
    readings = {quantity: entry for quantity, entry in found.readings.items() if keep(quantity)}
    return diagnosis(
        installation.network,
        found.site.planned_draws,
        meters,
        readings,
        installation.others,
        found.site.measured,
    )


def everything(quantity: Quantity) -> bool:
    return bool(quantity.what)


def no_current(quantity: Quantity) -> bool:
    return quantity.what != CURRENT


def no_joints(quantity: Quantity) -> bool:
    return quantity.what not in (SOURCE_LUG_DROP, LOAD_LUG_DROP)


def voltages_and_current(quantity: Quantity) -> bool:
    return quantity.what.endswith("voltage") or quantity.what == CURRENT


READINGS: dict[str, Keep] = {
    "all readings": everything,
    "without the drops over the lugs": no_joints,
    "without the currents": no_current,
    "voltages and currents alone": voltages_and_current,
}


@cache
def outcomes(
    readings: str = "all readings", tolerances: Tolerances = USUAL
) -> list[tuple[str, str, bool, bool]]:
    """Return for each case the fault put in, the one named, and whether cause and group hold it."""
    found = []
    number = 0
    while len(found) < CASES:
        one = case(number, tolerances)
        number += 1
        if one is None:
            continue
        result = diagnosed(one, READINGS[readings])
        first = result.causes[0]
        right = (CAUSE_BY_FAULT[one.fault], one.subject)
        group = {(cause.fault, cause.subject) for cause in result.causes[: result.alike]}
        found.append(
            (
                one.fault,
                first.fault,
                (first.cause, first.subject) == right,
                (one.fault, one.subject) in group,
            )
        )
    return found


def table(found: list[tuple[str, str, bool, bool]]) -> list[list[str]]:
    counts = Counter((put, named) for put, named, _, _ in found)
    rows = [["fault_put_in", *FAULTS, "cause_named_rightly"]]
    for put in FAULTS:
        right = sum(is_right for fault, _, is_right, _ in found if fault == put)
        rows.append([put, *(str(counts[put, named]) for named in FAULTS), str(right)])
    return rows


def share_right(found: list[tuple[str, str, bool, bool]]) -> float:
    return sum(right for _, _, right, _ in found) / len(found)


def share_within_group(found: list[tuple[str, str, bool, bool]]) -> float:
    return sum(within for _, _, _, within in found) / len(found)


if __name__ == "__main__":
    with FILE.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(table(outcomes()))
    for row in table(outcomes()):
        print(*(cell[:14].ljust(15) for cell in row))
    for words in READINGS:
        found = outcomes(words)
        print(f"{words}: {share_right(found):.3f}, in the group {share_within_group(found):.3f}")
    print(f"all readings, half as wide again: {share_right(outcomes(tolerances=WIDER)):.3f}")
