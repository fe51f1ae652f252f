"""What a quote says of its circuits, from their sizes in many rows of one job."""

from collections.abc import Hashable

import numpy as np
import numpy.typing as npt

from loomwright.batch.codes import coded_numbers, coded_rows
from loomwright.batch.quote import QuotedCircuit
from loomwright.batch.sizing.sizes import NONE, CircuitSizes, SizedRows
from loomwright.batch.variation import GREATEST_CURRENT, Place, Variation
from loomwright.engineering.record import record
from loomwright.figures import KELVIN_AT_0_C, six_digits_of_each
from loomwright.jobs.circuit_conductors import feeding_source
from loomwright.jobs.job import Circuit, Job
from loomwright.jobs.priced_job import COMPLETE, INCOMPLETE, SOURCE_OVERLOADED, VERDICTS
from loomwright.jobs.sized_circuit import SIZED
from loomwright.jobs.sized_circuit import VERDICTS as CIRCUIT_VERDICTS
from loomwright.tables.load import tables

Array = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@record
class Quoted:
    """What quotes of many rows say of their circuits.

    Parameters
    ----------
    circuits
        Lists of circuits, each once.
    which
        Index of the list of each row.
    load_current_a
        Taken from all sources [A], six digits.
    voltage_drop_percent
        Greatest of the circuits [%], six digits, NaN without a conductor.
    conductor_temperature_c
        Of the hottest conductor [C], six digits, NaN without one.
    overloaded
        Whether a source is asked for more than its maker allows.
    all_sized
        Whether every circuit is sized.
    """

    circuits: tuple[tuple[QuotedCircuit, ...], ...]
    which: Indices
    load_current_a: Array
    voltage_drop_percent: Array
    conductor_temperature_c: Array
    overloaded: Mask
    all_sized: Mask


def quoted_key(job: Job) -> tuple[Hashable, ...]:
    """Return what jobs with the same bills have in common whose rows are quoted as those of one.

    In the order of the sources, as it is in that order that currents are added.
    """
    return tuple((key, source.system_voltage_v) for key, source in job.power_sources.items())


def quote_verdicts(overloaded: Mask, all_sized: Mask, leaves_open: Mask) -> npt.NDArray[np.int8]:
    """Return the verdict of each row as an index into ``VERDICTS``.

    Parameters
    ----------
    overloaded
        Whether a source is asked for more than its maker allows.
    all_sized
        Whether every circuit is sized.
    leaves_open
        Whether the bill leaves something unpriced.

    Returns
    -------
    ndarray
        As ``priced_job.verdict_of`` says for one.
    """
    complete = all_sized & ~leaves_open
    usual = np.where(complete, VERDICTS.index(COMPLETE), VERDICTS.index(INCOMPLETE))
    found = np.where(overloaded, VERDICTS.index(SOURCE_OVERLOADED), usual)
    return found.astype(np.int8)


def quoted_circuits(variation: Variation, sizes: SizedRows) -> Quoted:
    """Return what quotes say of the circuits of a job.

    Parameters
    ----------
    variation
        Rows of the job.
    sizes
        Their circuits.

    Returns
    -------
    Quoted
        Of every row; those of ``sizes.unusual`` mean nothing.
    """
    job, count = variation.job, variation.count
    circuits, which = _lists(job, sizes, count)
    total, overloaded = _asked_of_sources(variation, sizes)
    drop, kelvin = np.full(count, np.nan), np.full(count, np.nan)
    all_sized = np.ones(count, np.bool_)
    for circuit in job.circuits:
        entry = sizes.circuits[circuit.key]
        voltage = feeding_source(job, circuit).system_voltage_v
        drop = np.fmax(drop, 100.0 * entry.voltage_drop_v / voltage)
        kelvin = np.fmax(kelvin, entry.conductor_temperature_k)
        all_sized &= entry.verdict == CIRCUIT_VERDICTS.index(SIZED)
    return Quoted(
        circuits=circuits,
        which=which,
        load_current_a=six_digits_of_each(total),
        voltage_drop_percent=six_digits_of_each(drop),
        conductor_temperature_c=six_digits_of_each(kelvin - KELVIN_AT_0_C),
        overloaded=overloaded,
        all_sized=all_sized,
    )


def _lists(
    job: Job, sizes: SizedRows, count: int
) -> tuple[tuple[tuple[QuotedCircuit, ...], ...], Indices]:
    """Return the unlike lists of circuits, and which one each row has."""
    if not count:
        return (), np.zeros(0, np.int64)
    known = [_kinds(circuit, sizes.circuits[circuit.key]) for circuit in job.circuits]
    which, lists = coded_rows([codes for codes, _ in known])
    return tuple(
        tuple(kinds[code] for code, (_, kinds) in zip(each, known, strict=True)) for each in lists
    ), which


def _kinds(circuit: Circuit, entry: CircuitSizes) -> tuple[Indices, list[QuotedCircuit]]:
    """Return a code of what a quote says of a circuit in each row, and that by its code."""
    rating, ratings = coded_numbers(np.nan_to_num(entry.rated_current_a))
    columns = [part.astype(np.int64) for part in (entry.verdict, entry.size, entry.fuse_type)]
    codes, kinds = coded_rows([*columns, rating])
    series = tables().series[circuit.conductor.series]
    return codes, [
        QuotedCircuit(
            circuit.key,
            CIRCUIT_VERDICTS[verdict],
            None if size == NONE else series[size].key,
            None if fuse == NONE else circuit.fuse_types[fuse],
            None if fuse == NONE else ratings[rated],
        )
        for verdict, size, fuse, rated in kinds
    ]


def _asked_of_sources(variation: Variation, sizes: SizedRows) -> tuple[Array, Mask]:
    """Return what is taken from all sources together, and whether one is asked for too much.

    Added in the order in which the single call adds, as sums of floats depend on it.
    """
    job = variation.job
    total, overloaded = np.zeros(variation.count), np.zeros(variation.count, np.bool_)
    for source in job.power_sources.values():
        taken = np.zeros(variation.count)
        for circuit in job.circuits:
            if circuit.fed_from == source.key and not circuit.charges_source:
                taken = taken + np.nan_to_num(sizes.circuits[circuit.key].load_current_a)
        greatest = variation.numbers(Place(GREATEST_CURRENT, source.key))
        if greatest is not None:
            overloaded |= taken > greatest
        total = total + taken
    return total, overloaded
