"""The members of a job document, with their bounds and defaults."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

from loomwright.jobs.amplifier import AMPLIFIER
from loomwright.jobs.job import (
    CRIMP,
    DRIVES,
    ENDS,
    EQUIPMENT,
    HAZARDS,
    JOININGS,
    STUDS,
    SYSTEM_VOLTAGES_V,
    TAP_POINTS,
)
from loomwright.jobs.signal_members import OPTIONAL_SIGNAL_RECORD
from loomwright.jobs.supply_members import VEHICLE_SUPPLY_RECORD
from loomwright.pricing.members import (
    Choice,
    Choices,
    Member,
    Number,
    NumberChoice,
    Record,
    Records,
    Text,
    Truth,
    Whole,
)
from loomwright.tables.records import Tables

CHASSIS = "chassis"
RETURN_PATHS = (CHASSIS, "conductor")
GREATEST_CURRENT_A = 5000.0
_SHORTEST_M, _LONGEST_M = 0.01, 100.0


def length_member(about: str) -> Number:
    """Return the rule of a length of conductor."""
    return Number(_SHORTEST_M, _LONGEST_M, "m", "length", about=about)


def _current(about: str) -> Number:
    return Number(0.001, GREATEST_CURRENT_A, "A", "current", required=False, about=about)


def _system_voltage(about: str, *, required: bool) -> NumberChoice:
    return NumberChoice(SYSTEM_VOLTAGES_V, "V", required=required, about=about)


VEHICLE: Mapping[str, Member] = {
    "description": Text(about="The vehicle in words."),
    "drive": Choice(DRIVES, about="What drives it; hybrids and electric ones add cautions."),
    "system_voltage": _system_voltage("Nominal voltage of its low-voltage system.", required=True),
    "difficulty": Text(
        required=False,
        about="Key of a difficulty factor of the price book; none for standard.",
    ),
    "hazards": Choices(
        HAZARDS, 0, len(HAZARDS), required=False, about="What the work has to beware of."
    ),
}
SOURCE: Mapping[str, Member] = {
    "key": Text(about="Unique among the sources; circuits name it in fed_from."),
    "description": Text(about="The source in words."),
    "tap_point": Choice(tuple(TAP_POINTS), about="Kind of point that the circuits are fed from."),
    "system_voltage": _system_voltage("That of the vehicle if absent.", required=False),
    "source_voltage": Number(1.0, 100.0, "V", "voltage", about="Open-circuit voltage."),
    "source_resistance": Number(
        1e-5,
        10.0,
        "ohm",
        "resistance",
        required=False,
        about="Instead of cold_cranking_current.",
    ),
    "cold_cranking_current": _current("By EN 50342-1; instead of source_resistance."),
    "greatest_current": _current("What the maker allows to be taken from the point."),
}
EQUIPMENT_ITEM: Mapping[str, Member] = {
    "key": Text(about="Unique among the equipment."),
    "description": Text(about="The equipment in words."),
    "what": Choice(EQUIPMENT, about="Kind of equipment."),
    "quantity": Whole(1, 100, 1, about="Pieces."),
    "reference": Text(required=False, about="Reference of the part in the price book."),
    "circuit": Text(required=False, about="Key of the circuit that feeds it."),
    "load_current": _current("Of one piece; instead of load_power."),
    "load_power": Number(
        0.001,
        100_000.0,
        "W",
        "power",
        required=False,
        about="Constant power of one piece; instead of load_current.",
    ),
    "fuse_rating": _current("Rated current of the fuse in the equipment."),
    "inrush_current": _current("Of one piece as it starts; with inrush_time."),
    "inrush_time": Number(
        0.001, 60.0, "s", "time", required=False, about="How long the starting current lasts."
    ),
    "standby_current": _current("Of one piece as the vehicle stands parked."),
    "average_current_share": Number(
        0.0, 1.0, required=False, about="Average over peak draw while in use."
    ),
    "least_voltage": Number(
        1.0, 100.0, "V", "voltage", required=False, about="At which it still works."
    ),
    "fitted": Truth(True, about="False for equipment that is there already: its load counts."),
    "operation": Text(
        required=False, about="Labour operation that fits it; fit_ and its kind if absent."
    ),
    "fixings": Text(
        required=False, about="Use of a fixing set of the price book; absent if it brings its own."
    ),
    "amplifier": Record(
        "Amplifier",
        AMPLIFIER,
        required=False,
        about="What its real output follows from, with its fuse_rating.",
    ),
}
RETURN_PATH: Mapping[str, Member] = {
    "by": Choice(RETURN_PATHS, about="How the current goes back."),
    "ground_lead_length": length_member("From the equipment to the ground point."),
    "stud": Choice(STUDS, about="Stud of the ground point."),
    "chassis_resistance": Number(
        0.0, 1.0, "ohm", "resistance", 0.001, about="Of the chassis with its ground point."
    ),
}
SIGNAL_LEAD: Mapping[str, Member] = {
    "form": Text(about="Form of the lead, as the price book calls it."),
    "length": length_member("Length that is needed."),
}
REMOTE_LEAD: Mapping[str, Member] = {
    "length": length_member("Length that is needed."),
    "cross_section": Number(0.1, 10.0, "mm2", default=0.75, about="Least nominal cross-section."),
}
TAP: Mapping[str, Member] = {
    "use": Text(about="What it connects to, as the price book calls it."),
    "quantity": Whole(1, 100, 1, about="Pieces."),
}
LABOUR: Mapping[str, Member] = {
    "operation": Text(about="Key of the operation in the price book."),
    "quantity": Whole(1, 1000, 1, about="Pieces."),
    "reason": Text(default="asked for by the job", about="Printed on the line."),
}


def conductor_members(tables: Tables, *, of_job: bool) -> dict[str, Member]:
    """Return what conductors are chosen from, for the whole job or for one circuit of it."""
    families: tuple[tuple[str, tuple[str, ...], str], ...] = (
        ("series", tuple(tables.series), "Conductor series; never assumed."),
        ("material", tuple(tables.materials), "Conductor material."),
        ("insulation", tuple(tables.insulations), "Insulation with its temperature rating."),
    )
    sizes = tuple(tables.conductors)
    return {
        **{name: Choice(keys, required=of_job, about=about) for name, keys, about in families},
        "smallest_size": Choice(
            sizes, required=False, about="Mechanically smallest size, of the same series."
        ),
        "colour": Text(required=False, about="Of the feed; red if absent."),
        "return_colour": Text(required=False, about="Of the return; black if absent."),
    }


def _segment_members(tables: Tables) -> dict[str, Member]:
    return {
        "length": length_member("One-way length of the stretch."),
        "zone": Choice(tuple(tables.zones), about="Mounting zone."),
        "bundled_conductors": Whole(
            1, 100, 1, about="Loaded conductors in the bundle, this one included."
        ),
        "through_bulkhead": Truth(False, about="Whether it passes a panel at its end."),
        "loomed": Truth(True, about="Whether it is covered with loom."),
        "taped": Truth(True, about="Whether it is wrapped in cloth tape where it is not loomed."),
    }


def _circuit_members(tables: Tables, fuse_types: tuple[str, ...]) -> dict[str, Member]:
    return {
        "key": Text(about="Unique among circuits and sources."),
        "description": Text(about="The circuit in words."),
        "fed_from": Text(about="Key of a source, or of a circuit that ends in a block."),
        "charges_source": Truth(False, about="Whether the equipment feeds the source."),
        "route": Records(
            "RouteSegment", _segment_members(tables), 1, 20, about="From the source on."
        ),
        "return_path": Record("ReturnPath", RETURN_PATH, about="How the current goes back."),
        "conductor": Record(
            "CircuitConductorChoice",
            conductor_members(tables, of_job=False),
            required=False,
            about="Where it differs from that of the job.",
        ),
        "allowed_voltage_drop_percent": Number(
            0.1, 20.0, "%", default=3.0, about="Of the system voltage, there and back."
        ),
        # A milliohm for six crimped joints and a fuse: common practice, no source.
        "joint_resistance": Number(
            0.0, 1.0, "ohm", "resistance", 0.001, about="Joints, fuse and holder together."
        ),
        "fuse_types": Choices(fuse_types, 1, 20, about="Tried in this order."),
        "distance_from_source": Number(
            0.0, _LONGEST_M, "m", "length", 0.15, about="Conductor before the fuse."
        ),
        "sheathed": Truth(False, about="Whether that length runs in a sheath."),
        "source_end": Choice(ENDS, about="What the conductor ends in at the feeding point."),
        "load_end": Choice(ENDS, about="What it ends in at the equipment."),
        "joining": Choice(
            JOININGS, default=CRIMP, about="How splices are made; terminals are crimped."
        ),
        "signal_leads": Records("SignalLead", SIGNAL_LEAD, 0, 20, about="Ready-made leads."),
        "remote_leads": Records("RemoteLead", REMOTE_LEAD, 0, 20, about="Turn-on leads."),
        "taps": Records("Tap", TAP, 0, 20, about="Connections into the vehicle's own wiring."),
    }


@cache
def job_record(tables: Tables, fuse_types: tuple[str, ...]) -> Record:
    """Return the rules of a job document.

    Parameters
    ----------
    tables
        Tables whose keys a job may name.
    fuse_types
        Keys of the fuse types that a job may name.

    Returns
    -------
    Record
        With all that hangs on it.
    """
    members: dict[str, Member] = {
        "title": Text(about="Printed on the bill."),
        "vehicle": Record("Vehicle", VEHICLE, about="The vehicle."),
        "conductors": Record(
            "ConductorChoice",
            conductor_members(tables, of_job=True),
            about="What conductors are chosen from.",
        ),
        "power_sources": Records("PowerSource", SOURCE, 1, 10, "key", about="Feeding points."),
        "equipment": Records(
            "Equipment", EQUIPMENT_ITEM, 1, 100, "key", about="What is fitted or fed."
        ),
        "circuits": Records(
            "Circuit",
            _circuit_members(tables, fuse_types),
            1,
            50,
            "key",
            about="Protected runs; each feeds equipment or other circuits.",
        ),
        "supply": replace(VEHICLE_SUPPLY_RECORD, required=False),
        "labour": Records(
            "WantedLabour", LABOUR, 0, 100, about="Work beside what follows from the job."
        ),
        "signal": OPTIONAL_SIGNAL_RECORD,
    }
    return Record("Job", members)
