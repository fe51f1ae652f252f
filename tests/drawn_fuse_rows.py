"""Requests for a fuse that differ in all that a row shares, and rows of them."""

import math
from dataclasses import replace

import numpy as np

from loomwright.engineering.protection.faults import FaultSource
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FuseOptions,
    FusePlacement,
    FuseRequest,
    GivenFuse,
    ProtectedConductor,
)
from loomwright.engineering.protection.fuse_rows import CircuitFuses, FuseNumbers
from loomwright.engineering.protection.transient import lumped_conductor_in_air, steady_current_a
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance

TABLES = tables()
FUSES = fuse_tables()
COPPER = TABLES.materials["copper"]
SIZES = TABLES.series["awg"]
KEYS = tuple(FUSES.types)
HEAT_BALANCE = Provenance("common_practice", "heat balance", "formula")


def conductor(rank, insulation, runs, share):
    lump = lumped_conductor_in_air(
        SIZES[rank], COPPER, TABLES.insulations[insulation], COPPER, TABLES.air, 313.15
    )
    ampacity = float(steady_current_a(lump, lump.temperature_rating_k))
    return ProtectedConductor(lump, runs * share * ampacity, 1.0, HEAT_BALANCE, runs)


def drawn_requests(rng):
    """One request for each of three conductors, alike in all else than the conductor."""
    starts, cycles = rng.random() < 0.4, rng.random() < 0.2
    load = FuseLoad(
        1.0,
        inrush_current_a=float(rng.uniform(5.0, 300.0)) if starts else None,
        inrush_duration_s=float(np.exp(rng.normal(-2.0, 3.0))) if starts else None,
        on_time_s=float(np.exp(rng.normal(3.0, 2.0))) if cycles else None,
        off_time_s=30.0 if cycles else None,
    )
    voltage = float(rng.choice([12.0, 24.0, 48.0]))
    insulation = str(rng.choice(["pvc_105", "xlpe_125", "pvc_70"]))
    runs, share = int(rng.integers(1, 3)), float(rng.uniform(0.5, 1.1))
    wanted = rng.choice(KEYS, int(rng.integers(1, 4)), replace=False)
    types = () if rng.random() < 0.3 else tuple(map(str, wanted))
    asked = FuseRequest(
        load=load,
        conductor=conductor(0, insulation, runs, share),
        source=FaultSource(1.05 * voltage, 1.0),
        system_voltage_v=voltage,
        ambient_temperature_k=float(rng.uniform(253.15, 373.15)),
        fuse_types=types,
        placement=FusePlacement(float(rng.choice([0.0, 0.15, 1.0]))),
        equipment_fuse=GivenFuse(float(rng.choice([5.0, 30.0]))) if rng.random() < 0.3 else None,
        upstream_fuse=GivenFuse(100.0, KEYS[0]) if rng.random() < 0.3 else None,
        options=FuseOptions(
            breaking_capacity_may_be_exceeded=bool(rng.random() < 0.3),
            rating_may_exceed_ampacity=bool(rng.random() < 0.3),
            rating_may_be_below_equipment_fuse=bool(rng.random() < 0.3),
            clearing_time_s=float(np.exp(rng.normal(0.0, 2.0))) if rng.random() < 0.3 else None,
            loading_factor=float(rng.uniform(0.5, 1.0)) if rng.random() < 0.3 else None,
        ),
    )
    ranks = rng.choice(len(SIZES), 3, replace=False).tolist()
    return [replace(asked, conductor=conductor(rank, insulation, runs, share)) for rank in ranks]


def drawn_numbers(rng, asked, count):
    """Numbers of every row; a few lie on listed ratings and on bounds to the last digit."""
    current = np.exp(rng.normal(2.5, 1.2, (count, 3)))
    listed = rng.choice(FUSES.types[KEYS[0]].ratings_a, (count, 3))
    current = np.where(rng.random((count, 3)) < 0.2, listed * 0.7, current)
    limited = rng.random() < 0.2
    starting = asked.load.inrush_current_a
    return FuseNumbers(
        current_a=current,
        loop_resistance_ohm=np.exp(rng.normal(-4.5, 1.5, (count, 3))),
        starting_current_a=np.full(count, math.nan if starting is None else starting),
        emf_v=asked.source.emf_v * rng.uniform(0.8, 1.2, count),
        internal_resistance_ohm=np.exp(rng.normal(-4.5, 1.5, count)),
        resistance_before_fuse_ohm=np.where(rng.random(count) < 0.5, 0.0, rng.uniform(0, 0.1)),
        current_limit_a=rng.uniform(20.0, 400.0, count) if limited else np.full(count, math.inf),
    )


def fused(asked, numbers, candidate, rows=None):
    rows = np.arange(candidate.size) if rows is None else rows
    fuses = CircuitFuses(asked.__getitem__, len(asked), asked[0].fuse_types, FUSES)
    return fuses.of_rows(rows, candidate, numbers)
