"""Reading of jobs from plain JSON documents: numbers in the stated units, every fault listed."""

from collections.abc import Collection

from loomwright.jobs.amplifier import amplifier_of
from loomwright.jobs.job import (
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
from loomwright.jobs.job_members import CHASSIS, RETURN_PATH, job_record
from loomwright.jobs.signal_document import signal_path
from loomwright.jobs.supply_document import supply_from_reader
from loomwright.pricing.faults import DocumentError, Fault
from loomwright.pricing.reading import ObjectReader
from loomwright.pricing.stated_numbers import QuantityText
from loomwright.tables.records import Tables
from loomwright.tables.supply_load import supply_tables

LEAST_EMF_SHARE = 0.75
GREATEST_EMF_SHARE = 1.34


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
    rules = job_record(tables, tuple(fuse_types))
    reader = ObjectReader(document, "", faults, rules.members, quantity_text)
    title = reader.text("title")
    vehicle = _vehicle(reader.object("vehicle"))
    choice = _conductor_choice(reader.object("conductors"), tables, None)
    sources = reader.objects("power_sources")
    equipment = reader.objects("equipment")
    circuits = reader.objects("circuits")
    labour = reader.objects("labour")
    read_sources = [_source(item, vehicle) for item in sources]
    read_equipment = [_equipment(item) for item in equipment]
    read_circuits = [_circuit(index, item, tables, choice) for index, item in enumerate(circuits)]
    read_labour = [_labour(item) for item in labour]
    signal = None
    if reader.has("signal"):
        signal = signal_path(reader.object("signal"), {item.key for item in read_equipment})
    supply = None
    if reader.has("supply"):
        supply = supply_from_reader(
            reader.object("supply"), vehicle.system_voltage_v, supply_tables()
        )
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
        signal=signal,
        supply=supply,
    )


def _vehicle(reader: ObjectReader) -> Vehicle:
    return Vehicle(
        description=reader.text("description"),
        drive=reader.choice("drive"),
        system_voltage_v=reader.number_choice("system_voltage"),
        difficulty=reader.optional_text("difficulty"),
        hazards=reader.choices("hazards"),
    )


def _conductor_choice(
    reader: ObjectReader, tables: Tables, shared: ConductorChoice | None
) -> ConductorChoice:
    """Return the choice that an object states; what it leaves out is that of the job."""
    series = reader.choice("series", shared.series if shared else None)
    sizes = tuple(size.key for size in tables.series.get(series, ()))
    smallest: str | None = None
    if reader.has("smallest_size"):
        smallest = reader.choice("smallest_size", among=sizes if sizes else None)
    elif shared and shared.smallest_size in sizes:
        smallest = shared.smallest_size
    return ConductorChoice(
        series=series,
        material=reader.choice("material", shared.material if shared else None),
        insulation=reader.choice("insulation", shared.insulation if shared else None),
        smallest_size=smallest,
        colour=reader.text("colour", shared.colour if shared else "red"),
        return_colour=reader.text("return_colour", shared.return_colour if shared else "black"),
    )


def _one_of(reader: ObjectReader, first: str, second: str) -> None:
    if reader.has(first) == reader.has(second):
        reader.fault(first, f"State either {first} or {second}, not both and not neither.")


def emf_fits(emf_v: float, system_voltage_v: float) -> bool:
    """Return whether a source of an open-circuit voltage is one of its system.

    Parameters
    ----------
    emf_v
        Open-circuit voltage [V].
    system_voltage_v
        Nominal [V], above 0.

    Returns
    -------
    bool
        Whether it lies between a flat battery and one that is charged.
    """
    return LEAST_EMF_SHARE <= emf_v / system_voltage_v <= GREATEST_EMF_SHARE


def _source(reader: ObjectReader, vehicle: Vehicle) -> PowerSource:
    _one_of(reader, "source_resistance", "cold_cranking_current")
    system_v = vehicle.system_voltage_v
    if reader.has("system_voltage"):
        system_v = reader.number_choice("system_voltage")
    before = len(reader.faults)
    emf_v = reader.number("source_voltage")
    read = len(reader.faults) == before
    if read and system_v and not emf_fits(emf_v, system_v):
        least, greatest = LEAST_EMF_SHARE * system_v, GREATEST_EMF_SHARE * system_v
        reader.fault(
            "source_voltage", f"From {least:g} to {greatest:g} V fits a {system_v:g} V system."
        )
    return PowerSource(
        key=reader.text("key"),
        description=reader.text("description"),
        tap_point=reader.choice("tap_point"),
        system_voltage_v=system_v,
        emf_v=emf_v,
        internal_resistance_ohm=reader.optional_number("source_resistance"),
        cold_cranking_current_a=reader.optional_number("cold_cranking_current"),
        greatest_current_a=reader.optional_number("greatest_current"),
    )


def _equipment(reader: ObjectReader) -> Equipment:
    what = reader.choice("what")
    if reader.has("circuit"):
        _one_of(reader, "load_current", "load_power")
    elif reader.has("load_current") or reader.has("load_power"):
        reader.fault("circuit", "A load needs the circuit that feeds it.")
    if reader.has("inrush_current") != reader.has("inrush_time"):
        reader.fault("inrush_current", "State inrush_current and inrush_time together.")
    return Equipment(
        key=reader.text("key"),
        description=reader.text("description"),
        what=what,
        quantity=reader.whole("quantity"),
        reference=reader.optional_text("reference"),
        circuit=reader.optional_text("circuit"),
        current_a=reader.optional_number("load_current"),
        power_w=reader.optional_number("load_power"),
        fuse_rating_a=reader.optional_number("fuse_rating"),
        inrush_current_a=reader.optional_number("inrush_current"),
        inrush_duration_s=reader.optional_number("inrush_time"),
        fitted=reader.truth("fitted"),
        operation=reader.text("operation", f"fit_{what}"),
        fixings=reader.optional_text("fixings"),
        amplifier=amplifier_of(reader),
        standby_current_a=reader.optional_number("standby_current"),
        average_current_share=reader.optional_number("average_current_share"),
        least_voltage_v=reader.optional_number("least_voltage"),
    )


def _segment(reader: ObjectReader) -> Segment:
    return Segment(
        length_m=reader.number("length"),
        zone=reader.choice("zone"),
        bundled_conductors=reader.whole("bundled_conductors"),
        through_bulkhead=reader.truth("through_bulkhead"),
        loomed=reader.truth("loomed"),
        taped=reader.truth("taped"),
    )


def _return_path(reader: ObjectReader) -> ReturnPath:
    path = reader.choice("by")
    if path != CHASSIS:
        for name in RETURN_PATH:
            if name != "by" and reader.has(name):
                reader.fault(name, "Only a return by chassis has this member.")
        return ReturnPath(path, 0.0, "", 0.0)
    return ReturnPath(
        path=path,
        ground_lead_length_m=reader.number("ground_lead_length"),
        stud=reader.choice("stud"),
        chassis_resistance_ohm=reader.number("chassis_resistance"),
    )


def _circuit(index: int, reader: ObjectReader, tables: Tables, shared: ConductorChoice) -> Circuit:
    choice = shared
    if reader.has("conductor"):
        choice = _conductor_choice(reader.object("conductor"), tables, shared)
    return Circuit(
        key=reader.text("key"),
        index=index,
        description=reader.text("description"),
        fed_from=reader.text("fed_from"),
        charges_source=reader.truth("charges_source"),
        route=tuple([_segment(item) for item in reader.objects("route")]),
        return_path=_return_path(reader.object("return_path")),
        conductor=choice,
        allowed_drop_fraction=0.01 * reader.number("allowed_voltage_drop_percent"),
        joint_resistance_ohm=reader.number("joint_resistance"),
        fuse_types=reader.choices("fuse_types"),
        distance_from_source_m=reader.number("distance_from_source"),
        sheathed=reader.truth("sheathed"),
        source_end=reader.choice("source_end"),
        load_end=reader.choice("load_end"),
        joining=reader.choice("joining"),
        signal_leads=tuple(
            [
                SignalLead(item.text("form"), item.number("length"))
                for item in reader.objects("signal_leads")
            ]
        ),
        remote_leads=tuple(
            [
                RemoteLead(item.number("length"), 1e-6 * item.number("cross_section"))
                for item in reader.objects("remote_leads")
            ]
        ),
        taps=tuple(
            [Tap(item.text("use"), item.whole("quantity")) for item in reader.objects("taps")]
        ),
    )


def _labour(reader: ObjectReader) -> WantedLabour:
    return WantedLabour(
        operation=reader.text("operation"),
        quantity=reader.whole("quantity"),
        reason=reader.text("reason"),
    )
