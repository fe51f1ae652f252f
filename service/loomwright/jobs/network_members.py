"""The members of a document that states a network, with their bounds and defaults."""

from collections.abc import Mapping
from functools import cache

from loomwright.engineering.network.draft import REFERENCE
from loomwright.jobs.job import SYSTEM_VOLTAGES_V
from loomwright.jobs.job_members import GREATEST_CURRENT_A
from loomwright.pricing.members import (
    Choice,
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

# Nodes are at most one more than branches and sources: what is not joined is refused.
GREATEST_BRANCHES = 100
GREATEST_SOURCES = 20
GREATEST_LOADS = 100
# Heat curves of a branch, each of which takes a few milliseconds where it is new.
GREATEST_STRETCHES = 6
# What has less is no branch but one node, and the solver asks for some.
LEAST_RESISTANCE_OHM = 1e-6
LEAST_SOURCE_RESISTANCE_OHM = 1e-5


def _optional(lower: float, upper: float, unit: str, quantity: str, about: str) -> Number:
    return Number(lower, upper, unit, quantity, required=False, about=about)


def _part(about: str) -> Number:
    return Number(0.0, 1.0, "ohm", "resistance", 0.0, about=about)


POWER_SOURCE: Mapping[str, Member] = {
    "key": Text(about="Unique among the sources."),
    "plus_node": Text(about="Node of its positive terminal."),
    "minus_node": Text(
        required=False, about="Node of its negative terminal; the reference if absent."
    ),
    "source_voltage": Number(1.0, 100.0, "V", "voltage", about="Open-circuit voltage."),
    "source_resistance": Number(
        LEAST_SOURCE_RESISTANCE_OHM, 10.0, "ohm", "resistance", about="Internal resistance."
    ),
    "greatest_current": _optional(
        0.001,
        GREATEST_CURRENT_A,
        "A",
        "current",
        "What it gives at most, its voltage falling as far as the rest asks; no limit if absent.",
    ),
    "takes_back": Truth(
        True,
        about="Whether current can flow back into it: a battery; not an alternator or a converter.",
    ),
}
LOAD: Mapping[str, Member] = {
    "key": Text(about="Unique among the loads."),
    "plus_node": Text(about="Node that its current comes from."),
    "minus_node": Text(
        required=False, about="Node that its current goes to; the reference if absent."
    ),
    "load_power": _optional(
        0.001,
        100_000.0,
        "W",
        "power",
        "Constant power. At least one of the three is needed, and they add up.",
    ),
    "load_current": _optional(0.001, GREATEST_CURRENT_A, "A", "current", "Constant current."),
    "load_resistance": _optional(0.001, 1e6, "ohm", "resistance", "Of a resistive load."),
}
_BRANCH_ENDS: Mapping[str, Member] = {
    "key": Text(about="Unique among the branches."),
    "from_node": Text(about="Node that its current is counted from."),
    "to_node": Text(about="The other node; the reference for a ground."),
    "resistance": _optional(
        LEAST_RESISTANCE_OHM,
        1000.0,
        "ohm",
        "resistance",
        "Of what does not depend on current, such as a chassis; instead of conductor.",
    ),
}


def _segment_members(tables: Tables) -> Mapping[str, Member]:
    return {
        "length": Number(0.01, 100.0, "m", "length", about="One-way length of the stretch."),
        "zone": Choice(
            tuple(tables.zones),
            about="Mounting zone; gives the ambient temperature unless that is stated.",
        ),
        "ambient_temperature": _optional(
            -40.0, 150.0, "degC", "temperature", "Of the stretch; overrides that of the zone."
        ),
        "bundled_conductors": Whole(
            1,
            200,
            1,
            about="Loaded conductors in the bundle, this one included; parallel runs beyond the "
            "first are added to them.",
        ),
    }


def _conductor_members(tables: Tables) -> Mapping[str, Member]:
    return {
        "series": Choice(tuple(tables.series), about="Conductor series; never assumed."),
        "size": Choice(tuple(tables.conductors), about="Size, of that series."),
        "material": Choice(tuple(tables.materials), default="copper", about="Conductor material."),
        "insulation": Choice(
            tuple(tables.insulations),
            default="pvc_105",
            about="Insulation with its temperature rating.",
        ),
        "parallel_runs": Whole(1, 4, 1, about="Equal conductors side by side."),
        "route": Records(
            "NetworkSegment",
            _segment_members(tables),
            1,
            GREATEST_STRETCHES,
            about="Its stretches, one way; a return conductor is a branch of its own.",
        ),
    }


@cache
def network_record(tables: Tables) -> Record:
    """Return the rules of a request of solve-network.

    Parameters
    ----------
    tables
        Tables whose keys a conductor may name.

    Returns
    -------
    Record
        With all that hangs on it.
    """
    branch: Mapping[str, Member] = {
        **_BRANCH_ENDS,
        "conductor": Record(
            "NetworkConductor",
            _conductor_members(tables),
            required=False,
            about="A conductor that its current heats; instead of resistance.",
        ),
        "joint_resistance": _part("Of all its joints; added."),
        "fuse_resistance": _part("Of its fuse with the holder; added."),
    }
    return Record(
        "SolveNetworkRequest",
        {
            "system_voltage": NumberChoice(
                SYSTEM_VOLTAGES_V,
                "V",
                required=False,
                about="Nominal voltage, for drops in per cent of it.",
            ),
            "reference_node": Text(
                default=REFERENCE,
                about="Node that voltages are counted from, at 0 V: the negative terminal of the "
                "battery, as a rule.",
            ),
            "power_sources": Records(
                "NetworkSource", POWER_SOURCE, 1, GREATEST_SOURCES, "key", about="What feeds it."
            ),
            "branches": Records(
                "NetworkBranch",
                branch,
                0,
                GREATEST_BRANCHES,
                "key",
                about="Feeds, returns and grounds; what they and the sources name is a node.",
            ),
            "loads": Records(
                "NetworkLoad", LOAD, 0, GREATEST_LOADS, "key", about="All of them switched on."
            ),
            "explain": Truth(False, about="Whether the answer carries its working."),
        },
    )
