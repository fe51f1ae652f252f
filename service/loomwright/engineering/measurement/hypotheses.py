"""What can be wrong with an installation, each with the sizes that it can have."""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from loomwright.engineering.measurement.measured_network import (
    CircuitPlaces,
    MeasuredNetwork,
    Variants,
)
from loomwright.engineering.record import record

Array = npt.NDArray[np.float64]

NONE = "none"
UNDERSIZED, COPPER_CLAD = "undersized_conductor", "copper_clad_conductor"
POOR_GROUND = "poor_ground"
LOOSE_SOURCE_LUG, LOOSE_LOAD_LUG = "loose_source_lug", "loose_load_lug"
FUSE_OR_HOLDER = "fuse_or_holder"
LOAD_BELOW, LOAD_ABOVE = "load_below_plan", "load_above_plan"
WEAK_SOURCE, LOW_CHARGE = "weak_source", "low_charge"
FAULTS = (
    NONE,
    UNDERSIZED,
    COPPER_CLAD,
    POOR_GROUND,
    LOOSE_SOURCE_LUG,
    LOOSE_LOAD_LUG,
    FUSE_OR_HOLDER,
    LOAD_BELOW,
    LOAD_ABOVE,
    WEAK_SOURCE,
    LOW_CHARGE,
)
# What a workshop does about them is the same within one cause.
CAUSE_BY_FAULT = {
    NONE: "none",
    UNDERSIZED: "conductor",
    COPPER_CLAD: "conductor",
    POOR_GROUND: "poor_ground",
    LOOSE_SOURCE_LUG: "loose_lug",
    LOOSE_LOAD_LUG: "loose_lug",
    FUSE_OR_HOLDER: "fuse_or_holder",
    LOAD_BELOW: "load",
    LOAD_ABOVE: "load",
    WEAK_SOURCE: "weak_source",
    LOW_CHARGE: "weak_source",
}
CAUSES = tuple(dict.fromkeys(CAUSE_BY_FAULT.values()))
# Common practice, no source. A resistance that a joint gains, over that of the circuit's wiring;
# factors on the internal resistance of a source and on what a load draws; share of the open-circuit
# voltage that is lost. Each is as likely in equal steps of its logarithm, the last in equal steps.
ADDED_RESISTANCE_SHARES = (0.25, 8.0)
SOURCE_RESISTANCE_FACTORS = (2.5, 30.0)
LOAD_FACTORS_BELOW, LOAD_FACTORS_ABOVE = (0.1, 0.75), (1.33, 4.0)
VOLTAGE_LOSSES = (0.03, 0.2)
_STEPS = 14


class OtherConductor(NamedTuple):
    """Conductor that may be fitted in place of the one that was planned.

    Parameters
    ----------
    fault
        ``UNDERSIZED`` or ``COPPER_CLAD``.
    label
        Key of its size or material.
    ambient_resistance_ohm, resistance_slope_ohm_per_k, share_per_ampere
        Of the stretches of the feed and then of the return.
    """

    fault: str
    label: str
    ambient_resistance_ohm: Array
    resistance_slope_ohm_per_k: Array
    share_per_ampere: Array


@record
class Hypothesis:
    """One thing that may be wrong, with its sizes as rows of variants.

    Parameters
    ----------
    fault
        One of ``FAULTS``.
    subject
        Key of the circuit or of the source; empty for ``NONE``.
    magnitudes
        Rising, or one for each of ``labels``: added resistance [ohm], factor [1], lost voltage [V],
        or resistance of the conductor over the planned one [1].
    labels
        Of conductors; empty where magnitudes are a range, between which values are interpolated.
    rows
        Slice of the variants.
    """

    fault: str
    subject: str
    magnitudes: Array
    labels: tuple[str, ...]
    rows: slice


def hypotheses(
    network: MeasuredNetwork,
    others: Mapping[str, Sequence[OtherConductor]],
    circuits: Sequence[str],
) -> tuple[tuple[Hypothesis, ...], Variants]:
    """Return what may be wrong with circuits and their sources, and all of it as variants.

    Parameters
    ----------
    network
        As planned.
    others
        Other conductors of each circuit.
    circuits
        Circuits that were measured.

    Returns
    -------
    tuple
        Hypotheses, the first being that nothing is wrong; networks of all their sizes as rows.
    """
    blocks: list[Variants] = [network.planned.repeated(1)]
    found = [Hypothesis(NONE, "", np.zeros(1), (), slice(0, 1))]
    count = 1
    for fault, subject, magnitudes, labels, block in _all(network, others, circuits):
        rows = slice(count, count + magnitudes.size)
        found.append(Hypothesis(fault, subject, magnitudes, labels, rows))
        blocks.append(block)
        count = rows.stop
    return tuple(found), _stacked(blocks)


_Found = Iterator[tuple[str, str, Array, tuple[str, ...], Variants]]


def _all(
    network: MeasuredNetwork,
    others: Mapping[str, Sequence[OtherConductor]],
    circuits: Sequence[str],
) -> _Found:
    for key in circuits:
        places = network.circuits[key]
        yield from _conductors(network.planned, key, places, others.get(key, ()))
        yield from _joints(network.planned, key, places)
        yield from _loads(network.planned, key, places)
    heads = {network.circuits[key].source for key in circuits}
    for key, source in network.sources.items():
        if source in heads:
            yield from _sources(network.planned, key, source)


def _conductors(
    planned: Variants, key: str, places: CircuitPlaces, others: Sequence[OtherConductor]
) -> _Found:
    stretches = [*places.feed_stretches, *places.return_stretches]
    for fault in (UNDERSIZED, COPPER_CLAD):
        of_fault = [other for other in others if other.fault == fault]
        if not of_fault:
            continue
        block = planned.repeated(len(of_fault))
        for row, other in enumerate(of_fault):
            block.ambient_resistance_ohm[row, stretches] = other.ambient_resistance_ohm
            block.resistance_slope_ohm_per_k[row, stretches] = other.resistance_slope_ohm_per_k
            block.share_per_ampere[row, stretches] = other.share_per_ampere
        before = planned.ambient_resistance_ohm[0, stretches].sum()
        ratios = block.ambient_resistance_ohm[:, stretches].sum(axis=1) / before
        yield fault, key, ratios, tuple(other.label for other in of_fault), block


def _joints(planned: Variants, key: str, places: CircuitPlaces) -> _Found:
    wiring = _wiring_ohm(planned, places)
    for fault, part in (
        (POOR_GROUND, places.return_parts[-1]),
        (LOOSE_SOURCE_LUG, places.source_lug),
        (LOOSE_LOAD_LUG, places.load_lug),
        (FUSE_OR_HOLDER, places.fuse),
    ):
        added = wiring * np.geomspace(*ADDED_RESISTANCE_SHARES, _STEPS)
        block = planned.repeated(added.size)
        block.part_resistance_ohm[:, part] += added
        yield fault, key, added, (), block


def _wiring_ohm(planned: Variants, places: CircuitPlaces) -> float:
    """Return the resistance of the wiring of a circuit there and back, without current [ohm]."""
    stretches = [*places.feed_stretches, *places.return_stretches]
    parts = [places.source_lug, places.fuse, places.load_lug, *places.return_parts]
    return float(
        planned.ambient_resistance_ohm[0, stretches].sum()
        + planned.part_resistance_ohm[0, parts].sum()
    )


def _loads(planned: Variants, key: str, places: CircuitPlaces) -> _Found:
    if places.load is None:
        return
    for fault, factors in ((LOAD_BELOW, LOAD_FACTORS_BELOW), (LOAD_ABOVE, LOAD_FACTORS_ABOVE)):
        factor = np.geomspace(*factors, _STEPS)
        block = planned.repeated(factor.size)
        block.load_power_w[:, places.load] *= factor
        block.load_current_a[:, places.load] *= factor
        yield fault, key, factor, (), block


def _sources(planned: Variants, key: str, source: int) -> _Found:
    factor = np.geomspace(*SOURCE_RESISTANCE_FACTORS, _STEPS)
    block = planned.repeated(factor.size)
    block.source_resistance_ohm[:, source] *= factor
    yield WEAK_SOURCE, key, factor, (), block
    lost = planned.emf_v[0, source] * np.linspace(*VOLTAGE_LOSSES, _STEPS)
    block = planned.repeated(lost.size)
    block.emf_v[:, source] -= lost
    yield LOW_CHARGE, key, lost, (), block


def _stacked(blocks: Sequence[Variants]) -> Variants:
    return Variants(
        *(np.concatenate([getattr(block, name) for block in blocks]) for name in _FIELDS)
    )


_FIELDS = tuple(Variants.__annotations__)
