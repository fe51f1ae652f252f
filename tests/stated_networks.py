"""Documents of solve-network for tests, read and solved without the web."""

from copy import deepcopy
from typing import Any

from loomwright.jobs.network_document import StatedNetwork, network_from_document
from loomwright.jobs.network_members import network_record
from loomwright.jobs.solved_network import SolvedNetwork, solved_network
from loomwright.pricing.faults import Fault
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.load import tables

Document = dict[str, Any]
BATTERY: Document = {
    "key": "battery",
    "plus_node": "plus",
    "source_voltage": 12.0,
    "source_resistance": 0.1,
}
FEED: Document = {"key": "feed", "from_node": "plus", "to_node": "load", "resistance": 0.4}
LAMP: Document = {"key": "lamp", "plus_node": "load", "load_resistance": 1.5}


def divider() -> Document:
    """Return a battery that feeds a lamp: 12 V over 0.1, 0.4 and 1.5 ohm, so 6 A."""
    return deepcopy({"power_sources": [BATTERY], "branches": [FEED], "loads": [LAMP]})


def cable(size: str = "14 AWG", **more: Any) -> Document:
    """Return a conductor of one metre at 20 C."""
    route = [{"length": 1.0, "zone": "passenger_compartment", "ambient_temperature": 20.0}]
    return {"series": "awg", "size": size, "route": route, **more}


def read(document: object) -> tuple[StatedNetwork | None, list[Fault]]:
    """Return the network that a document states, and its faults."""
    faults: list[Fault] = []
    reader = ObjectReader(document, "", faults, network_record(tables()).members)
    return network_from_document(reader, tables()), faults


def stated(document: object) -> StatedNetwork:
    """Return the network of a document without faults."""
    network, faults = read(document)
    assert faults == []
    assert network is not None
    return network


def solved(document: object) -> SolvedNetwork:
    """Return the solved network of a document without faults."""
    return solved_network(stated(document), tables())
