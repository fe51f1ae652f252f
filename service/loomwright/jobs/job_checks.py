"""Checks across the sources, circuits and equipment of a job document."""

from collections.abc import Mapping, Sequence

from loomwright.jobs.job import Circuit, Equipment
from loomwright.pricing.reading import ObjectReader

GREATEST_CHAINED_DROP = 0.3


def check_feeding(
    job: ObjectReader,
    sources: Sequence[ObjectReader],
    readers: Sequence[ObjectReader],
    circuits: Sequence[Circuit],
) -> None:
    """Note a fault at each circuit that no source reaches, and at branches of unlike fuse types.

    Parameters
    ----------
    job
        Reader of the job.
    sources
        Readers of its sources.
    readers
        Readers of its circuits.
    circuits
        The circuits as read.
    """
    stated = (source.stated("key") for source in sources)
    source_keys = {key for key in stated if isinstance(key, str)}
    by_key = {circuit.key: circuit for circuit in circuits}
    keys = source_keys | by_key.keys()
    for reader, circuit in zip(readers, circuits, strict=True):
        if circuit.key in source_keys:
            reader.fault("key", "A source has the same key; keys are unique in a job.")
        elif circuit.fed_from and circuit.fed_from not in keys:
            reader.fault("fed_from", "No source and no circuit of the job has this key.")
        else:
            _check_chain(reader, circuit, by_key)
    for key in dict.fromkeys(circuit.fed_from for circuit in circuits):
        branches = [circuit for circuit in circuits if circuit.fed_from == key]
        if key in by_key and len({circuit.fuse_types for circuit in branches}) > 1:
            job.fault("circuits", f"The branches of {key} share one block and so one fuse type.")


def _check_chain(reader: ObjectReader, circuit: Circuit, by_key: Mapping[str, Circuit]) -> None:
    chain = [circuit]
    while (feeder := by_key.get(chain[-1].fed_from)) is not None:
        if len(chain) == len(by_key):
            reader.fault("fed_from", "The circuit feeds itself in a ring; start at a source.")
            return
        chain.append(feeder)
    drop = sum(item.allowed_drop_fraction for item in chain)
    if drop > GREATEST_CHAINED_DROP:
        reader.fault(
            "allowed_voltage_drop_percent",
            f"With the circuits before it {100.0 * drop:g} %; "
            f"{100.0 * GREATEST_CHAINED_DROP:g} % is the most.",
        )


def check_loads(
    readers: Sequence[ObjectReader],
    equipment: Sequence[Equipment],
    circuit_readers: Sequence[ObjectReader],
    circuits: Sequence[Circuit],
) -> None:
    """Note a fault at each load without a circuit and each circuit without a load.

    Parameters
    ----------
    readers
        Readers of the equipment.
    equipment
        The equipment as read.
    circuit_readers
        Readers of the circuits.
    circuits
        The circuits as read.
    """
    keys = {circuit.key for circuit in circuits}
    feeding = {circuit.fed_from for circuit in circuits}
    for reader, item in zip(readers, equipment, strict=True):
        if item.circuit is not None and item.circuit not in keys:
            reader.fault("circuit", "No circuit of the job has this key.")
        elif item.circuit in feeding:
            reader.fault("circuit", "This circuit feeds a distribution block; name a branch of it.")
    for circuit_reader, circuit in zip(circuit_readers, circuits, strict=True):
        loads = [item for item in equipment if item.circuit == circuit.key]
        if not loads and circuit.key not in feeding:
            circuit_reader.fault(None, "The circuit feeds neither equipment nor a branch.")
        if len({item.power_w is None for item in loads}) > 1:
            circuit_reader.fault(
                None, "State the loads of one circuit all as current or all as power."
            )


def in_feeding_order(circuits: Sequence[Circuit]) -> tuple[Circuit, ...]:
    """Return circuits so that each stands after the one that feeds it.

    Parameters
    ----------
    circuits
        Circuits without a ring.

    Returns
    -------
    tuple of Circuit
        Otherwise in the given order.
    """
    waiting, ordered, done = list(circuits), list[Circuit](), set[str]()
    keys = {circuit.key for circuit in circuits}
    while waiting:
        ready = [item for item in waiting if item.fed_from not in keys or item.fed_from in done]
        ordered += ready
        done |= {item.key for item in ready}
        waiting = [item for item in waiting if item.key not in done]
    return tuple(ordered)
