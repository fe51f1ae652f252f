"""Reading of networks: what a document means in coherent SI, and every fault at its place."""

from collections.abc import Callable

import pytest

from loomwright.jobs.network_members import GREATEST_BRANCHES, GREATEST_LOADS, GREATEST_SOURCES
from loomwright.tables.load import tables
from stated_networks import BATTERY, FEED, LAMP, Document, cable, divider, read, stated

Change = Callable[[Document], object]


def test_ends_and_defaults_are_filled_in() -> None:
    network = stated(divider())
    (source,), (branch,), (load,) = network.sources, network.branches, network.loads
    assert (network.reference, network.system_voltage_v) == ("reference", None)
    assert (source.key, source.plus, source.minus) == ("battery", "plus", "reference")
    assert (source.emf_v, source.resistance_ohm) == (12.0, 0.1)
    assert (source.greatest_current_a, source.takes_back) == (None, True)
    assert (branch.key, branch.start, branch.end) == ("feed", "plus", "load")
    assert (branch.fixed_resistance_ohm, branch.conductor) == (0.4, None)
    assert (load.key, load.plus, load.minus) == ("lamp", "load", "reference")
    assert (load.power_w, load.current_a, load.resistance_ohm) == (0.0, 0.0, 1.5)


def test_what_is_stated_goes_before_defaults() -> None:
    document = divider()
    document |= {"system_voltage": 24, "reference_node": "frame"}
    document["power_sources"][0] |= {
        "minus_node": "frame", "greatest_current": 30.0, "takes_back": False,
    }  # fmt: skip
    document["loads"][0] |= {"minus_node": "plus", "load_power": 5.0, "load_current": 2.0}
    network = stated(document)
    (source,), (load,) = network.sources, network.loads
    assert (network.reference, network.system_voltage_v) == ("frame", 24.0)
    assert (source.minus, source.greatest_current_a, source.takes_back) == ("frame", 30.0, False)
    assert (load.minus, load.power_w, load.current_a) == ("plus", 5.0, 2.0)


def test_the_reference_that_is_stated_is_the_default_of_minus_nodes() -> None:
    network = stated(divider() | {"reference_node": "frame"})
    assert network.sources[0].minus == network.loads[0].minus == "frame"


def test_joints_and_fuse_are_added() -> None:
    document = divider()
    document["branches"][0] |= {"joint_resistance": 0.03, "fuse_resistance": 0.005}
    assert stated(document).branches[0].fixed_resistance_ohm == pytest.approx(0.435, rel=1e-12)


def test_a_conductor_is_read_with_its_surroundings() -> None:
    known = tables()
    conductor = cable("4 AWG", material="tinned_copper", insulation="xlpe_125", parallel_runs=3)
    conductor["route"].append(
        {"length": 2.5, "zone": "engine_compartment", "bundled_conductors": 4}
    )
    document = divider()
    document["branches"][0] |= {"conductor": conductor, "joint_resistance": 0.002}
    del document["branches"][0]["resistance"]
    branch = stated(document).branches[0]
    assert branch.fixed_resistance_ohm == 0.002
    assert branch.conductor is not None
    request = branch.conductor.request
    assert request.sizes == known.series["awg"]
    assert request.given_size is known.conductors["4 AWG"]
    assert request.given_parallel_runs == 3
    assert request.material is known.materials["tinned_copper"]
    assert request.insulation is known.insulations["xlpe_125"]
    assert not request.return_by_conductor
    first, second = request.segments
    assert (first.length_m, first.ambient_temperature_k) == (1.0, pytest.approx(293.15))
    assert (first.bundled_conductors, first.engine_space) == (1, False)
    # 80 C in the engine compartment.
    assert (second.length_m, second.ambient_temperature_k) == (2.5, pytest.approx(353.15))
    assert (second.bundled_conductors, second.engine_space) == (4, True)
    # The stated ambient of the first rests on no zone.
    assert branch.conductor.zones == ("engine_compartment",)


def test_material_and_insulation_are_those_of_common_cable_if_absent() -> None:
    document = divider()
    document["branches"][0] = {**FEED, "conductor": cable()}
    del document["branches"][0]["resistance"]
    conductor = stated(document).branches[0].conductor
    assert conductor is not None
    assert (conductor.request.material.key, conductor.request.insulation.key) == (
        "copper", "pvc_105",
    )  # fmt: skip
    assert conductor.request.given_parallel_runs == 1


def set_in(*path: str | int, to: object) -> Change:
    """Return a change that sets a member."""

    def change(document: Document) -> None:
        holder = document
        for step in path[:-1]:
            holder = holder[step]  # type: ignore[index]
        holder[path[-1]] = to  # type: ignore[index]

    return change


def with_conductor(**more: object) -> Change:
    """Return a change that makes the feed a conductor."""

    def change(document: Document) -> None:
        del document["branches"][0]["resistance"]
        document["branches"][0]["conductor"] = {**cable(), **more}

    return change


def without(*path: str | int) -> Change:
    """Return a change that leaves a member out."""

    def change(document: Document) -> None:
        holder = document
        for step in path[:-1]:
            holder = holder[step]  # type: ignore[index]
        del holder[path[-1]]  # type: ignore[arg-type]

    return change


SAME = "Both ends are at the same node."
UNIQUE = "The same value stands earlier in the list; it is unique."
APART = "Nothing but loads joins this node to reference; join it by a branch or a source."
NOWHERE = "No branch or source ends at this node."
HOT = {"length": 1.0, "zone": "engine_compartment"}
LOADS = {**LAMP, "key": "other"}
ISLAND = {"key": "island", "from_node": "a", "to_node": "b", "resistance": 1.0}
FAULTS: list[tuple[str, Change, list[tuple[str, str]]]] = [
    ("source at one node", set_in("power_sources", 0, "minus_node", to="plus"),
     [("/power_sources/0/minus_node", SAME)]),
    ("source at the reference", set_in("power_sources", 0, "plus_node", to="reference"),
     [("/power_sources/0/plus_node", SAME)]),
    ("branch at one node", set_in("branches", 0, "to_node", to="plus"),
     [("/branches/0/to_node", SAME)]),
    ("load at one node", set_in("loads", 0, "minus_node", to="load"),
     [("/loads/0/minus_node", SAME)]),
    ("load at the reference", set_in("loads", 0, "plus_node", to="reference"),
     [("/loads/0/plus_node", SAME)]),
    ("no source", set_in("power_sources", to=[]),
     [("/power_sources", "An array of 1 to 20 items is needed.")]),
    ("sources left out", without("power_sources"),
     [("/power_sources", "Missing; it is required.")]),
    ("no resistance at all", set_in("branches", 0, "resistance", to=0.0),
     [("/branches/0/resistance", "A number in ohm from 1e-06 to 1000 is needed.")]),
    ("neither resistance nor conductor", without("branches", 0, "resistance"),
     [("/branches/0", "Either resistance or conductor is needed, and not both.")]),
    ("both of them", set_in("branches", 0, "conductor", to=cable()),
     [("/branches/0", "Either resistance or conductor is needed, and not both.")]),
    ("load of nothing", without("loads", 0, "load_resistance"),
     [("/loads/0", "At least one of load_power, load_current, load_resistance is needed.")]),
    ("source without resistance", set_in("power_sources", 0, "source_resistance", to=0.0),
     [("/power_sources/0/source_resistance", "A number in ohm from 1e-05 to 10 is needed.")]),
    ("two sources of one key", set_in("power_sources", to=[BATTERY, BATTERY]),
     [("/power_sources/1/key", UNIQUE)]),
    ("two branches of one key", set_in("branches", to=[FEED, FEED]),
     [("/branches/1/key", UNIQUE)]),
    ("two loads of one key", set_in("loads", to=[LAMP, LAMP]), [("/loads/1/key", UNIQUE)]),
    ("system voltage", set_in("system_voltage", to=13),
     [("/system_voltage",
       "One of these numbers is needed, in V or with that unit: 12, 24, 48.")]),
    ("unknown member", set_in("frequency", to=50),
     [("/frequency", "Unknown member; remove it or check its spelling.")]),
    ("reference nowhere", set_in("power_sources", 0, "minus_node", to="frame"),
     [("/reference_node",
       "No branch or source ends at reference: name the node that voltages are counted from.")]),
    ("island of a branch", set_in("branches", to=[FEED, ISLAND]),
     [("/branches/1/from_node", APART), ("/branches/1/to_node", APART)]),
    ("island of a source",
     set_in("power_sources", to=[BATTERY, {**BATTERY, "key": "other", "minus_node": "a",
                                           "plus_node": "b"}]),
     [("/power_sources/1/plus_node", APART), ("/power_sources/1/minus_node", APART)]),
    ("unknown node of a load", set_in("loads", 0, "plus_node", to="laod"),
     [("/loads/0/plus_node", NOWHERE)]),
    ("unknown return of a load", set_in("loads", 0, "minus_node", to="ground"),
     [("/loads/0/minus_node", NOWHERE)]),
    ("told once", set_in("loads", to=[{**LAMP, "plus_node": "x"}, {**LOADS, "plus_node": "x"}]),
     [("/loads/0/plus_node", NOWHERE)]),
    ("size of another series", with_conductor(size="16 mm2", series="awg"),
     [("/branches/0/conductor/size", "Not of series awg; it has ")]),
    ("no route", with_conductor(route=[]),
     [("/branches/0/conductor/route", "An array of 1 to 6 items is needed.")]),
    ("unknown material", with_conductor(material="silver"),
     [("/branches/0/conductor/material", "One of these is needed: ")]),
    ("unknown insulation", with_conductor(insulation="paper"),
     [("/branches/0/conductor/insulation", "One of these is needed: ")]),
    ("unknown zone", with_conductor(route=[{"length": 1.0, "zone": "moon"}]),
     [("/branches/0/conductor/route/0/zone", "One of these is needed: ")]),
    ("zone as hot as the insulation", with_conductor(insulation="pvc_70", route=[HOT]),
     [("/branches/0/conductor/route/0/zone",
       "It is at 80 C and the insulation is rated 70 C, so no current is left to carry; ")]),
    ("ambient at the rating", with_conductor(route=[{**HOT, "ambient_temperature": 105.0}]),
     [("/branches/0/conductor/route/0/ambient_temperature",
       "It is at 105 C and the insulation is rated 105 C, so no current is left to carry; ")]),
    ("conductor that is none", set_in("branches", 0, to={
        **{name: value for name, value in FEED.items() if name != "resistance"},
        "conductor": "4 AWG"}),
     [("/branches/0/conductor", "An object is needed.")]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "wanted"), [row[1:] for row in FAULTS], ids=[row[0] for row in FAULTS]
)
def test_a_fault_is_named_at_its_place(change: Change, wanted: list[tuple[str, str]]) -> None:
    document = divider()
    change(document)
    network, faults = read(document)
    assert network is None
    assert [fault.pointer for fault in faults] == [pointer for pointer, _ in wanted]
    for fault, (_, message) in zip(faults, wanted, strict=True):
        assert fault.message.startswith(message)


def test_an_ambient_just_below_the_rating_is_read() -> None:
    document = divider()
    with_conductor(route=[{**HOT, "ambient_temperature": 104.9}])(document)
    assert stated(document).branches[0].conductor is not None


def test_faults_of_all_parts_are_found_at_once() -> None:
    document = divider()
    document["power_sources"][0]["source_voltage"] = "12 V"
    document["branches"][0]["to_node"] = 5
    del document["loads"][0]["key"]
    _, faults = read(document)
    assert [fault.pointer for fault in faults] == [
        "/power_sources/0/source_voltage", "/branches/0/to_node", "/loads/0/key",
    ]  # fmt: skip


def test_a_node_that_only_a_source_joins_is_joined() -> None:
    # Two batteries in series: the middle has no branch.
    document = divider()
    document["power_sources"] = [
        {**BATTERY, "plus_node": "middle"},
        {**BATTERY, "key": "upper", "minus_node": "middle"},
    ]
    assert len(stated(document).sources) == 2


def test_a_long_chain_is_joined_from_its_far_end() -> None:
    document = divider()
    document["branches"] = [
        {"key": f"{n}", "from_node": f"n{n + 1}", "to_node": f"n{n}", "resistance": 0.01}
        for n in reversed(range(50))
    ]
    document["power_sources"][0]["plus_node"] = "n0"
    document["loads"][0]["plus_node"] = "n50"
    assert len(stated(document).branches) == 50


@pytest.mark.parametrize(
    ("name", "item", "greatest"),
    [
        ("power_sources", BATTERY, GREATEST_SOURCES),
        ("branches", FEED, GREATEST_BRANCHES),
        ("loads", LAMP, GREATEST_LOADS),
    ],
)
def test_counts_are_bounded(name: str, item: Document, greatest: int) -> None:
    document = divider()
    document[name] = [{**item, "key": str(n)} for n in range(greatest)]
    assert read(document)[1] == []
    document[name].append({**item, "key": "one more"})
    (fault,) = read(document)[1]
    assert fault.pointer == f"/{name}"
