"""Reading of jobs from plain JSON documents: numbers in the stated units, every fault listed."""

from collections.abc import Collection

from loomwright.jobs.job import (
    DRIVES,
    ENDS,
    EQUIPMENT,
    STUDS,
    TAP_POINTS,
    Circuit,
    ConductorChoice,
    Equipment,
    Job,
    PowerSource,
    RemoteLead,
    ReturnPath,
    Segment,
    SignalLead,
    Tap,
    Vehicle,
    WantedLabour,
)
from loomwright.jobs.job_checks import check_feeding, check_loads, in_feeding_order
from loomwright.pricing.reading import (
    DocumentError,
    Fault,
    ObjectReader,
    QuantityText,
    refuse_duplicates,
)
from loomwright.tables.records import Tables

JOB_MEMBERS = ("title", "vehicle", "conductors", "power_sources", "equipment", "circuits", "labour")
VEHICLE_MEMBERS = ("description", "drive", "system_voltage")
CONDUCTOR_MEMBERS = (
    "series",
    "material",
    "insulation",
    "smallest_size",
    "colour",
    "return_colour",
)
SOURCE_MEMBERS = (
    "key",
    "description",
    "tap_point",
    "system_voltage",
    "emf",
    "internal_resistance",
    "cold_cranking_current",
    "greatest_current",
)
EQUIPMENT_MEMBERS = (
    "key",
    "description",
    "what",
    "quantity",
    "reference",
    "circuit",
    "load_current",
    "load_power",
    "fuse_rating",
    "inrush_current",
    "inrush_duration",
    "fitted",
    "operation",
)
SEGMENT_MEMBERS = ("length", "zone", "bundled_conductors", "through_bulkhead", "loomed")
RETURN_MEMBERS = ("by", "ground_lead_length", "stud", "chassis_resistance")
CIRCUIT_MEMBERS = (
    "key",
    "description",
    "fed_from",
    "charges_source",
    "route",
    "return_path",
    "conductor",
    "allowed_voltage_drop_percent",
    "joint_resistance",
    "fuse_types",
    "fuse_distance",
    "fuse_sheathed",
    "source_end",
    "load_end",
    "signal_leads",
    "remote_leads",
    "taps",
)
SIGNAL_MEMBERS = ("form", "length")
REMOTE_MEMBERS = ("length", "cross_section")
TAP_MEMBERS = ("use", "quantity")
LABOUR_MEMBERS = ("operation", "quantity", "reason")

SHORTEST_M = 0.01
LONGEST_M = 100.0
GREATEST_CURRENT_A = 5000.0
SYSTEM_VOLTAGES_V = (12, 24, 48)


def job_from_document(
    document: object,
    tables: Tables,
    fuse_types: Collection[str],
    quantity_text: QuantityText | None = None,
) -> Job:
    """Return the job that a plain JSON document states.

    Numbers are in metre, volt, ampere, watt, ohm, square millimetre and percent, as the member's
    name implies; table keys are checked against the tables.

    Parameters
    ----------
    document
        The job as plain JSON values.
    tables
        Tables whose keys the job may name.
    fuse_types
        Keys of the fuse types that the job may name.
    quantity_text
        Reader of quantities such as ``"16 ft"``: the quantity's key and the text become the number
        in the stated unit, or none. Without it only numbers are read.

    Returns
    -------
    Job
        The checked job; circuits in feeding order, otherwise in the order of the document.

    Raises
    ------
    DocumentError
        Anything is wrong; ``faults`` lists all of it by JSON pointer.
    """
    faults: list[Fault] = []
    reader = ObjectReader(document, "", faults, JOB_MEMBERS, quantity_text)
    title = reader.text("title")
    vehicle = _vehicle(reader.object("vehicle", VEHICLE_MEMBERS))
    shared = reader.object("conductors", CONDUCTOR_MEMBERS)
    choice = _conductor_choice(shared, tables, None)
    sources = _keyed(reader, "power_sources", SOURCE_MEMBERS, most=10)
    equipment = _keyed(reader, "equipment", EQUIPMENT_MEMBERS, most=100)
    circuits = _keyed(reader, "circuits", CIRCUIT_MEMBERS, most=50)
    labour = reader.objects("labour", LABOUR_MEMBERS, most=100)
    read_sources = [_source(item, vehicle) for item in sources]
    read_equipment = [_equipment(item) for item in equipment]
    read_circuits = [
        _circuit(index, item, tables, fuse_types, choice) for index, item in enumerate(circuits)
    ]
    read_labour = [_labour(item) for item in labour]
    check_feeding(reader, sources, circuits, read_circuits)
    check_loads(equipment, read_equipment, circuits, read_circuits)
    if faults:
        raise DocumentError("job", faults)
    return Job(
        title=title,
        vehicle=vehicle,
        power_sources={source.key: source for source in read_sources},
        equipment=tuple(read_equipment),
        circuits=in_feeding_order(read_circuits),
        labour=tuple(read_labour),
    )


def _keyed(
    reader: ObjectReader, name: str, members: tuple[str, ...], *, most: int
) -> list[ObjectReader]:
    readers = reader.objects(name, members, least=1, most=most)
    refuse_duplicates(readers, "key")
    return readers


def _vehicle(reader: ObjectReader) -> Vehicle:
    return Vehicle(
        reader.text("description"), reader.choice("drive", DRIVES), _system_voltage_v(reader, None)
    )


def _system_voltage_v(reader: ObjectReader, default_v: float | None) -> float:
    if default_v is not None and not reader.has("system_voltage"):
        return default_v
    voltage = reader.number("system_voltage", upper=1e3, quantity="voltage")
    if reader.has("system_voltage") and voltage not in SYSTEM_VOLTAGES_V:
        reader.fault("system_voltage", "A system voltage of 12, 24 or 48 V is needed.")
    return voltage


def _conductor_choice(
    reader: ObjectReader, tables: Tables, shared: ConductorChoice | None
) -> ConductorChoice:
    """Return the choice that an object states; without ``shared`` the first three are required."""
    fall_back = {
        name: {"default": getattr(shared, name)} if shared else {}
        for name in ("series", "material", "insulation")
    }
    series = reader.choice("series", tables.series, **fall_back["series"])
    choice = ConductorChoice(
        series=series,
        material=reader.choice("material", tables.materials, **fall_back["material"]),
        insulation=reader.choice("insulation", tables.insulations, **fall_back["insulation"]),
        smallest_size=None,
        colour=reader.text("colour", shared.colour if shared else "red"),
        return_colour=reader.text("return_colour", shared.return_colour if shared else "black"),
    )
    sizes = [size.key for size in tables.series.get(series, ())]
    smallest: str | None = None
    if reader.has("smallest_size"):
        smallest = reader.choice("smallest_size", sizes)
    elif shared and shared.smallest_size in sizes:
        smallest = shared.smallest_size
    return ConductorChoice(
        choice.series,
        choice.material,
        choice.insulation,
        smallest,
        choice.colour,
        choice.return_colour,
    )


def _optional(
    reader: ObjectReader, name: str, upper: float, quantity: str, lower: float = 0.001
) -> float | None:
    if not reader.has(name):
        return None
    return reader.number(name, lower=lower, upper=upper, quantity=quantity)


def _one_of(reader: ObjectReader, first: str, second: str) -> None:
    if reader.has(first) == reader.has(second):
        reader.fault(first, f"State either {first} or {second}, not both and not neither.")


def _source(reader: ObjectReader, vehicle: Vehicle) -> PowerSource:
    _one_of(reader, "internal_resistance", "cold_cranking_current")
    system_v = _system_voltage_v(reader, vehicle.system_voltage_v)
    before = len(reader.faults)
    emf_v = reader.number("emf", lower=1.0, upper=100.0, quantity="voltage")
    read = len(reader.faults) == before
    if read and system_v in SYSTEM_VOLTAGES_V and not 0.75 <= emf_v / system_v <= 1.34:
        reader.fault(
            "emf",
            f"From {0.75 * system_v:g} to {1.34 * system_v:g} V fits a {system_v:g} V system.",
        )
    return PowerSource(
        key=reader.text("key"),
        description=reader.text("description"),
        tap_point=reader.choice("tap_point", TAP_POINTS),
        system_voltage_v=system_v,
        emf_v=emf_v,
        internal_resistance_ohm=_optional(reader, "internal_resistance", 10.0, "resistance", 1e-5),
        cold_cranking_current_a=_optional(
            reader, "cold_cranking_current", GREATEST_CURRENT_A, "current"
        ),
        greatest_current_a=_optional(reader, "greatest_current", GREATEST_CURRENT_A, "current"),
    )


def _equipment(reader: ObjectReader) -> Equipment:
    what = reader.choice("what", EQUIPMENT)
    if reader.has("circuit"):
        _one_of(reader, "load_current", "load_power")
    elif reader.has("load_current") or reader.has("load_power"):
        reader.fault("circuit", "A load needs the circuit that feeds it.")
    if reader.has("inrush_current") != reader.has("inrush_duration"):
        reader.fault("inrush_current", "State inrush_current and inrush_duration together.")
    return Equipment(
        key=reader.text("key"),
        description=reader.text("description"),
        what=what,
        quantity=reader.integer("quantity", 1, lower=1, upper=100),
        reference=reader.text("reference") if reader.has("reference") else None,
        circuit=reader.text("circuit") if reader.has("circuit") else None,
        current_a=_optional(reader, "load_current", GREATEST_CURRENT_A, "current"),
        power_w=_optional(reader, "load_power", 100_000.0, "power"),
        fuse_rating_a=_optional(reader, "fuse_rating", GREATEST_CURRENT_A, "current"),
        inrush_current_a=_optional(reader, "inrush_current", GREATEST_CURRENT_A, "current"),
        inrush_duration_s=_optional(reader, "inrush_duration", 60.0, "time"),
        fitted=reader.boolean("fitted", default=True),
        operation=reader.text("operation", f"fit_{what}"),
    )


def _segment(reader: ObjectReader, tables: Tables) -> Segment:
    return Segment(
        length_m=reader.number("length", lower=SHORTEST_M, upper=LONGEST_M, quantity="length"),
        zone=reader.choice("zone", tables.zones),
        bundled_conductors=reader.integer("bundled_conductors", 1, lower=1, upper=100),
        through_bulkhead=reader.boolean("through_bulkhead", default=False),
        loomed=reader.boolean("loomed", default=True),
    )


def _return_path(reader: ObjectReader) -> ReturnPath:
    path = reader.choice("by", ("chassis", "conductor"))
    if path != "chassis":
        for name in RETURN_MEMBERS[1:]:
            if reader.has(name):
                reader.fault(name, "Only a return by chassis has this member.")
        return ReturnPath(path, 0.0, "", 0.0)
    return ReturnPath(
        path=path,
        ground_lead_length_m=reader.number(
            "ground_lead_length", lower=SHORTEST_M, upper=LONGEST_M, quantity="length"
        ),
        stud=reader.choice("stud", STUDS),
        chassis_resistance_ohm=reader.number(
            "chassis_resistance", 0.001, upper=1.0, quantity="resistance"
        ),
    )


def _circuit(
    index: int,
    reader: ObjectReader,
    tables: Tables,
    fuse_types: Collection[str],
    shared: ConductorChoice,
) -> Circuit:
    if reader.has("conductor"):
        own = reader.object("conductor", CONDUCTOR_MEMBERS)
        choice = _conductor_choice(own, tables, shared)
    else:
        choice = shared
    return Circuit(
        key=reader.text("key"),
        index=index,
        description=reader.text("description"),
        fed_from=reader.text("fed_from"),
        charges_source=reader.boolean("charges_source", default=False),
        route=tuple(
            _segment(item, tables)
            for item in reader.objects("route", SEGMENT_MEMBERS, least=1, most=20)
        ),
        return_path=_return_path(reader.object("return_path", RETURN_MEMBERS)),
        conductor=choice,
        allowed_drop_fraction=0.01
        * reader.number("allowed_voltage_drop_percent", 3.0, lower=0.1, upper=20.0),
        # A milliohm for six crimped joints and a fuse: common practice, no source.
        joint_resistance_ohm=reader.number(
            "joint_resistance", 0.001, upper=1.0, quantity="resistance"
        ),
        fuse_types=_fuse_types(reader, fuse_types),
        fuse_distance_m=reader.number("fuse_distance", 0.15, upper=LONGEST_M, quantity="length"),
        fuse_sheathed=reader.boolean("fuse_sheathed", default=False),
        source_end=reader.choice("source_end", ENDS),
        load_end=reader.choice("load_end", ENDS),
        signal_leads=tuple(
            SignalLead(
                item.text("form"),
                item.number("length", lower=SHORTEST_M, upper=LONGEST_M, quantity="length"),
            )
            for item in reader.objects("signal_leads", SIGNAL_MEMBERS, most=20)
        ),
        remote_leads=tuple(
            RemoteLead(
                item.number("length", lower=SHORTEST_M, upper=LONGEST_M, quantity="length"),
                1e-6 * item.number("cross_section", 0.75, lower=0.1, upper=10.0),
            )
            for item in reader.objects("remote_leads", REMOTE_MEMBERS, most=20)
        ),
        taps=tuple(
            Tap(item.text("use"), item.integer("quantity", 1, lower=1, upper=100))
            for item in reader.objects("taps", TAP_MEMBERS, most=20)
        ),
    )


def _fuse_types(reader: ObjectReader, known: Collection[str]) -> tuple[str, ...]:
    value = reader.raw("fuse_types")
    if value is None:
        return ()
    if not isinstance(value, list | tuple) or not 1 <= len(value) <= 20:
        reader.fault("fuse_types", "An array of 1 to 20 fuse types is needed.")
        return ()
    path = reader.path("fuse_types")
    for index, item in enumerate(value):
        if not isinstance(item, str) or item not in known:
            listed = ", ".join(known)
            reader.faults.append(Fault(f"{path}/{index}", f"One of these is needed: {listed}."))
    return tuple(str(item) for item in value)


def _labour(reader: ObjectReader) -> WantedLabour:
    return WantedLabour(
        operation=reader.text("operation"),
        quantity=reader.integer("quantity", 1, lower=1, upper=1000),
        reason=reader.text("reason", "asked for by the job"),
    )
