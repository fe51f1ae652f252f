"""Reading of a network that a request states."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from loomwright.engineering.conductors.choice import ConductorRequest, Segment
from loomwright.figures import KELVIN_AT_0_C
from loomwright.pricing.reading import ObjectReader
from loomwright.tables.records import Tables


@dataclass(frozen=True, slots=True, eq=False)
class StatedConductor:
    """A conductor of a branch.

    ``request`` holds its family, segments, size and runs; ``zones`` are those whose ambient
    temperature it rests on.
    """

    request: ConductorRequest
    zones: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class StatedBranch:
    """A branch; ``fixed_resistance_ohm`` is what of it no current changes [ohm]."""

    key: str
    start: str
    end: str
    fixed_resistance_ohm: float
    conductor: StatedConductor | None


@dataclass(frozen=True, slots=True, eq=False)
class StatedSource:
    """A source; ``greatest_current_a`` is none where it has no limit."""

    key: str
    plus: str
    minus: str
    emf_v: float
    resistance_ohm: float
    greatest_current_a: float | None
    takes_back: bool


@dataclass(frozen=True, slots=True, eq=False)
class StatedLoad:
    """A load whose parts add up; ``resistance_ohm`` is none where it has no resistive part."""

    key: str
    plus: str
    minus: str
    power_w: float
    current_a: float
    resistance_ohm: float | None


@dataclass(frozen=True, slots=True, eq=False)
class StatedNetwork:
    """A network in coherent SI; ``system_voltage_v`` is none where it is not stated."""

    reference: str
    system_voltage_v: float | None
    sources: tuple[StatedSource, ...]
    branches: tuple[StatedBranch, ...]
    loads: tuple[StatedLoad, ...]


def network_from_document(reader: ObjectReader, tables: Tables) -> StatedNetwork | None:
    """Return the network that a request states.

    Parameters
    ----------
    reader
        Of the request, under ``network_record``; notes every fault.
    tables
        Sizes, materials, insulations and zones.

    Returns
    -------
    StatedNetwork or None
        None where anything is wrong.
    """
    reference = reader.text("reference_node")
    system_v = reader.number_choice("system_voltage") if reader.has("system_voltage") else None
    sources, branches = reader.objects("power_sources"), reader.objects("branches")
    loads = reader.objects("loads")
    network = StatedNetwork(
        reference,
        system_v,
        tuple([_source(item, reference) for item in sources]),
        tuple([_branch(item, tables) for item in branches]),
        tuple([_load(item, reference) for item in loads]),
    )
    if reader.faults:
        # Who is joined to whom is open while an end is wrong.
        return None
    _refuse_nodes_apart(reader, (sources, branches, loads), network)
    return None if reader.faults else network


def _ends(item: ObjectReader, first: str, second: str, reference: str | None) -> tuple[str, str]:
    """Return the nodes of an element; noted where they are one."""
    ends = item.text(first), item.text(second, reference)
    if ends[0] and ends[0] == ends[1]:
        item.fault(second if item.has(second) else first, "Both ends are at the same node.")
    return ends


def _source(item: ObjectReader, reference: str) -> StatedSource:
    plus, minus = _ends(item, "plus_node", "minus_node", reference)
    return StatedSource(
        key=item.text("key"),
        plus=plus,
        minus=minus,
        emf_v=item.number("source_voltage"),
        resistance_ohm=item.number("source_resistance"),
        greatest_current_a=item.optional_number("greatest_current"),
        takes_back=item.truth("takes_back"),
    )


def _load(item: ObjectReader, reference: str) -> StatedLoad:
    plus, minus = _ends(item, "plus_node", "minus_node", reference)
    parts = ("load_power", "load_current", "load_resistance")
    if not any(item.has(name) for name in parts):
        item.fault(None, f"At least one of {', '.join(parts)} is needed.")
    return StatedLoad(
        key=item.text("key"),
        plus=plus,
        minus=minus,
        power_w=item.optional_number("load_power") or 0.0,
        current_a=item.optional_number("load_current") or 0.0,
        resistance_ohm=item.optional_number("load_resistance"),
    )


def _branch(item: ObjectReader, tables: Tables) -> StatedBranch:
    start, end = _ends(item, "from_node", "to_node", None)
    if item.has("resistance") == item.has("conductor"):
        item.fault(None, "Either resistance or conductor is needed, and not both.")
    fixed_ohm = (
        (item.optional_number("resistance") or 0.0)
        + item.number("joint_resistance")
        + item.number("fuse_resistance")
    )
    conductor = _conductor(item.object("conductor"), tables) if item.has("conductor") else None
    return StatedBranch(item.text("key"), start, end, fixed_ohm, conductor)


def _conductor(item: ObjectReader, tables: Tables) -> StatedConductor | None:
    before = len(item.faults)
    series, size = item.choice("series"), item.choice("size")
    sizes = tables.series.get(series, ())
    given = tables.conductors.get(size)
    if sizes and given is not None and given not in sizes:
        listed = ", ".join(entry.key for entry in sizes)
        item.fault("size", f"Not of series {series}; it has {listed}.")
    insulation = tables.insulations.get(item.choice("insulation"))
    material = tables.materials.get(item.choice("material"))
    rating_k = insulation.temperature_rating_k if insulation else None
    runs = item.whole("parallel_runs")
    route = item.objects("route")
    segments = tuple([_segment(segment, rating_k, tables) for segment in route])
    if len(item.faults) > before or material is None or insulation is None:
        return None
    # Only now, as each reading of a wrong zone notes its fault again.
    zones = tuple(
        [segment.choice("zone") for segment in route if not segment.has("ambient_temperature")]
    )
    request = ConductorRequest(
        sizes=sizes,
        material=material,
        insulation=insulation,
        # Neither has a part in what a given conductor is like.
        supply_voltage_v=0.0,
        allowed_voltage_drop_v=0.0,
        segments=segments,
        return_by_conductor=False,
        given_size=given,
        given_parallel_runs=runs,
    )
    return StatedConductor(request, zones)


def _segment(item: ObjectReader, rating_k: float | None, tables: Tables) -> Segment:
    zone = tables.zones.get(item.choice("zone"))
    ambient_c = item.optional_number("ambient_temperature")
    ambient_k = KELVIN_AT_0_C + (ambient_c or 0.0)
    if ambient_c is None and zone is not None:
        ambient_k = zone.ambient_temperature_k
    if rating_k is not None and ambient_k >= rating_k:
        item.fault(
            "zone" if ambient_c is None else "ambient_temperature",
            f"It is at {ambient_k - KELVIN_AT_0_C:g} C and the insulation is rated "
            f"{rating_k - KELVIN_AT_0_C:g} C, so no current is left to carry; choose an "
            "insulation with a higher rating or another route.",
        )
    return Segment(
        length_m=item.number("length"),
        ambient_temperature_k=ambient_k,
        bundled_conductors=item.whole("bundled_conductors"),
        engine_space=zone is not None and zone.engine_space,
    )


def _refuse_nodes_apart(
    reader: ObjectReader,
    readers: tuple[Sequence[ObjectReader], Sequence[ObjectReader], Sequence[ObjectReader]],
    network: StatedNetwork,
) -> None:
    """Note each node that branches and sources do not join to the reference, where it is named."""
    sources, branches, loads = readers
    source_ends = [(item.plus, item.minus) for item in network.sources]
    branch_ends = [(item.start, item.end) for item in network.branches]
    load_ends = [(item.plus, item.minus) for item in network.loads]
    joins = [*source_ends, *branch_ends]
    known = {node for ends in joins for node in ends}
    if network.reference not in known:
        reader.fault(
            "reference_node",
            f"No branch or source ends at {network.reference}: name the node that voltages are "
            "counted from.",
        )
        return
    joined = _joined(network.reference, joins)
    told: set[str] = set()
    for item, name, node in (
        *_named(sources, ("plus_node", "minus_node"), source_ends),
        *_named(branches, ("from_node", "to_node"), branch_ends),
        *_named(loads, ("plus_node", "minus_node"), load_ends),
    ):
        if node in joined or node in told:
            continue
        told.add(node)
        item.fault(
            name,
            f"Nothing but loads joins this node to {network.reference}; join it by a branch or a "
            "source."
            if node in known
            else "No branch or source ends at this node.",
        )


def _named(
    items: Sequence[ObjectReader], names: tuple[str, str], ends: Sequence[tuple[str, str]]
) -> Iterator[tuple[ObjectReader, str, str]]:
    for item, nodes in zip(items, ends, strict=True):
        for name, node in zip(names, nodes, strict=True):
            yield item, name, node


def _joined(reference: str, joins: Sequence[tuple[str, str]]) -> set[str]:
    """Return the nodes that the joins connect to the reference, itself included."""
    beside: Mapping[str, list[str]] = {node: [] for ends in joins for node in ends}
    for one, other in joins:
        beside[one].append(other)
        beside[other].append(one)
    joined, waiting = {reference}, [reference]
    while waiting:
        fresh = [node for node in beside[waiting.pop()] if node not in joined]
        joined.update(fresh)
        waiting += fresh
    return joined
