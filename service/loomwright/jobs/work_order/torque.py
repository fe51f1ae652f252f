"""How tight the connections of a circuit are made."""

from collections.abc import Iterable

from loomwright.jobs.circuit_build import UNKNOWN_CONNECTION
from loomwright.jobs.circuit_layout import AT_GROUND, AT_SOURCE, RING, End
from loomwright.jobs.work_order.outline import EndedCircuit
from loomwright.jobs.work_order.steps import MAKER, PUBLISHED, Tool, Torque
from loomwright.tables.records import Provenance, Tables

TERMINAL, BOLT = "terminal", "bolt"


def torques_of(ended: EndedCircuit, places: Iterable[str], tables: Tables) -> tuple[Torque, ...]:
    """Return the torques of the studs of a circuit at some of its places, each once.

    A published figure holds where the maker of the device states none. At a source nobody but the
    maker can say: its posts may be of lead, and no standard gives a figure for them.

    Parameters
    ----------
    ended
        The circuit as it is built.
    places
        Where its conductors end: at the source, the holder, the load or the ground point.
    tables
        Published torques.

    Returns
    -------
    tuple of Torque
        In the order of the ends.
    """
    wanted = frozenset(places)
    ends = (end for end in ended.ends if end.part == RING and end.place in wanted)
    found = {(end.place, end.words): _torque(ended, end, tables) for end in ends}
    return tuple(found.values())


def _torque(ended: EndedCircuit, end: End, tables: Tables) -> Torque:
    if end.place == AT_SOURCE and ended.from_source:
        return Torque(end.words, end.connection, None, None, MAKER)
    figure = tables.torques.get((TERMINAL, end.connection))
    if figure is None:
        stud = "" if end.connection == UNKNOWN_CONNECTION else end.connection
        return Torque(end.words, stud, None, None, MAKER)
    # The bolt of a ground point comes with the job; that of a device is the device's.
    bolt = tables.torques.get((BOLT, end.connection)) if end.place == AT_GROUND else None
    greatest_n_m = None if bolt is None else bolt.torque_n_m
    return Torque(end.words, end.connection, figure.torque_n_m, greatest_n_m, PUBLISHED)


def torque_rows(torques: Iterable[Torque], tables: Tables) -> tuple[Provenance, ...]:
    """Return where the figures of torques come from."""
    rows: list[Provenance] = []
    for torque in torques:
        if torque.torque_n_m is not None:
            rows.append(tables.torques[TERMINAL, torque.stud].provenance)
        if torque.greatest_torque_n_m is not None:
            rows.append(tables.torques[BOLT, torque.stud].provenance)
    return tuple(rows)


def torque_tools(torques: Iterable[Torque]) -> tuple[Tool, ...]:
    """Return the wrench that torques ask for, with its range; none without any torque."""
    torques = tuple(torques)
    if not torques:
        return ()
    stated = [
        figure
        for torque in torques
        for figure in (torque.torque_n_m, torque.greatest_torque_n_m)
        if figure is not None
    ]
    if not stated:
        return (Tool("torque_wrench", "for the torque that the maker states"),)
    least, greatest = min(stated), max(stated)
    span = f"{least:g} N m" if least == greatest else f"{least:g} to {greatest:g} N m"
    return (Tool("torque_wrench", span),)
