"""One source, one feed, one return and one load, with figures simple enough to follow by hand."""

from collections.abc import Mapping

import numpy as np

from loomwright.engineering.measurement.expected import (
    Expectation,
    Reading,
    expectations_of_draws,
)
from loomwright.engineering.measurement.hypotheses import COPPER_CLAD, UNDERSIZED, OtherConductor
from loomwright.engineering.measurement.measured_network import (
    CURRENT,
    DROPS,
    EQUIPMENT_VOLTAGE,
    REST,
    SOURCE_VOLTAGE,
    CircuitPlaces,
    MeasuredNetwork,
    Quantity,
    Variants,
)
from loomwright.engineering.measurement.meter import Meter
from loomwright.engineering.measurement.uncertainty import USUAL, Tolerances, drawn_variants
from loomwright.engineering.network.draft import REFERENCE, NetworkDraft, Stretch

LOAD = "load"
EMF_V, SOURCE_OHM, CURRENT_A = 12.5, 0.005, 10.0
# Of the feed 8 mohm, of the return 2 mohm; a curve that never warms keeps them so.
FEED_OHM, RETURN_OHM = 0.008, 0.002
PARTS_OHM = (0.0001, 0.0006, 0.0001, 0.0002, 0.001)
SLOPE_PER_K = 0.004
VOLTMETER = Meter(0.005, 2.0, 0.01)
DROPMETER = Meter(0.005, 2.0, 1e-4)
CLAMP = Meter(0.02, 5.0, 0.1)

METERS = {
    Quantity(SOURCE_VOLTAGE, "battery", REST): VOLTMETER,
    Quantity(EQUIPMENT_VOLTAGE, "lamp", REST): VOLTMETER,
    Quantity(SOURCE_VOLTAGE, "battery", LOAD): VOLTMETER,
    Quantity(EQUIPMENT_VOLTAGE, "lamp", LOAD): VOLTMETER,
    **{Quantity(what, "lamp", LOAD): DROPMETER for what in DROPS},
    Quantity(CURRENT, "lamp", LOAD): CLAMP,
}


def of_lamp(what: str) -> Quantity:
    return Quantity(what, "lamp", LOAD)


AT_REST = Quantity(SOURCE_VOLTAGE, "battery", REST)
LOADED = Quantity(SOURCE_VOLTAGE, "battery", LOAD)


def lamp_network(*, power_w: float = 0.0, current_a: float = CURRENT_A) -> MeasuredNetwork:
    """One lamp on a battery, its planned values as above."""
    draft = NetworkDraft()
    cold = np.zeros((33, 4))
    draft.source("battery", REFERENCE, "battery.plus", EMF_V, SOURCE_OHM)
    feed = Stretch(FEED_OHM, SLOPE_PER_K * FEED_OHM, 0.01, cold)
    back = Stretch(RETURN_OHM, SLOPE_PER_K * RETURN_OHM, 0.01, cold)
    draft.branch("feed", "battery.plus", "lamp.plus", sum(PARTS_OHM[:3]), (feed,))
    draft.branch("return", "lamp.minus", REFERENCE, sum(PARTS_OHM[3:]), (back,))
    draft.load("lamp", "lamp.plus", "lamp.minus", power_w=power_w, current_a=current_a)
    elements = draft.elements()
    nodes = draft.nodes
    return MeasuredNetwork(
        shape=draft.shape(),
        elements=elements,
        planned=Variants(
            part_resistance_ohm=np.array([PARTS_OHM]),
            ambient_resistance_ohm=elements.ambient_resistance_ohm,
            resistance_slope_ohm_per_k=elements.resistance_slope_ohm_per_k,
            share_per_ampere=elements.share_per_ampere,
            emf_v=elements.emf_v,
            source_resistance_ohm=elements.source_resistance_ohm,
            load_power_w=elements.load_power_w,
            load_current_a=elements.load_current_a,
        ),
        part_branch=np.array([0, 0, 0, 1, 1]),
        circuits={
            "lamp": CircuitPlaces(
                feed_stretches=(0,),
                return_stretches=(1,),
                source_lug=0,
                fuse=1,
                load_lug=2,
                return_parts=(3, 4),
                feed_branch=0,
                supply_node=nodes["battery.plus"],
                load_plus=nodes["lamp.plus"],
                load_minus=nodes["lamp.minus"],
                return_node=0,
                load=0,
                source=0,
            )
        },
        sources={"battery": 0},
        source_nodes={"battery": nodes["battery.plus"]},
        states={REST: frozenset(), LOAD: frozenset({"lamp"})},
    )


def times(fault: str, label: str, ratio: float) -> OtherConductor:
    """A conductor with a resistance so many times the planned."""
    ohm = np.array([FEED_OHM, RETURN_OHM]) * ratio
    return OtherConductor(fault, label, ohm, SLOPE_PER_K * ohm, np.full(2, 0.01))


OTHERS = {"lamp": (times(UNDERSIZED, "thin", 1.6), times(COPPER_CLAD, "clad", 1.55))}


def expectations(
    network: MeasuredNetwork,
    meters: Mapping[Quantity, Meter],
    readings: Mapping[Quantity, Reading] | None = None,
    tolerances: Tolerances = USUAL,
) -> dict[Quantity, Expectation]:
    """What meters are expected to show of draws of a network."""
    drawn = drawn_variants(network, tolerances)
    shown = network.values_of(drawn, sorted(meters))
    return expectations_of_draws(network, drawn, shown, meters, readings or {})
