"""Fixed words of answers, by their keys, as documents for people say them."""

from collections.abc import Mapping
from types import MappingProxyType

from loomwright.marked import marked


def _words(texts: Mapping[str, str]) -> Mapping[str, str]:
    return MappingProxyType(dict(texts))


# What the verdict of a bill or plan says to whom the document is for.
VERDICTS = _words(
    {
        "complete": marked("Every circuit is sized and protected, and every part is priced."),
        "incomplete": marked(
            "Something is open: a circuit has no conductor or fuse that meets its limits, or a part"
            " has no price."
        ),
        "source_overloaded": marked(
            "A feeding point is asked for more than it is allowed to give."
        ),
        "no_operating_point": marked(
            "The sources cannot deliver what is asked for: the voltage would collapse."
        ),
        "not_consistent": marked(
            "No sizes were found with which all circuits agree as one network."
        ),
        "voltage_too_low": marked("Equipment would get less voltage than it is allowed to have."),
        "supply_insufficient": marked(
            "The vehicle's charging or its battery does not suffice for the equipment."
        ),
    }
)
UNSIZED = _words(
    {
        "no_conductor": marked("no conductor meets its limits"),
        "no_fuse": marked("no fuse protects its conductor"),
        "no_feeder": marked("the circuit that feeds it is not sized"),
    }
)
CLAIMS = _words(
    {
        "plausible": marked("within reach"),
        "doubtful": marked("doubtful: only at the limit of fuse and efficiency"),
        "impossible": marked("out of reach of its fuse and supply"),
        "output_estimated": marked("no output is claimed"),
    }
)
PLANS = _words(
    {
        "leanest": marked("Leanest plan"),
        "recommended": marked("Recommended plan"),
        "headroom": marked("Plan with headroom"),
    }
)
PURPOSES = _words(
    {
        "leanest": marked(
            "The least copper that is safe: heat, short circuit and fuses as always, and up to "
            "10 % of voltage drop from the source to each load."
        ),
        "recommended": marked(
            "Conductors keep the voltage drop within what is asked for each circuit."
        ),
        "headroom": marked(
            "Conductors and fuses are sized for growth of every load; what feeds them stays."
        ),
    }
)
# Names of zones in the tables, and what stands before their first comma.
ZONES = _words(
    {
        "cargo_space": marked("load bed or cargo space of a van or truck"),
        "engine_compartment": marked("engine compartment"),
        "engine_space_50_c": marked("engine space at the reference ambient of the federal table"),
        "luggage_compartment": marked("luggage compartment or boot"),
        "open_air_30_c": marked("free air at the reference ambient of the ampacity tables"),
        "passenger_compartment": marked("passenger compartment"),
        "roof_lining": marked("above the roof lining or in the dash under direct sun"),
        "underbody": marked("outside the body"),
    }
)
UNITS_SOLD = _words(
    {
        "C62": marked("one"),
        "CMT": marked("centimetre"),
        "EA": marked("each"),
        "FOT": marked("foot"),
        "GRM": marked("gram"),
        "H87": marked("piece"),
        "HUR": marked("hour"),
        "INH": marked("inch"),
        "KGM": marked("kilogram"),
        "MMT": marked("millimetre"),
        "MTR": marked("metre"),
        "PR": marked("pair"),
        "SET": marked("set"),
    }
)
# Signs of units in lists of parts.
UNIT_SIGNS = MappingProxyType(
    {
        "CMT": "cm",
        "FOT": "ft",
        "GRM": "g",
        "HUR": "h",
        "INH": "in",
        "KGM": "kg",
        "MMT": "mm",
        "MTR": "m",
    }
)
TOOLS = _words(
    {
        "axle_stands": marked("axle stands"),
        "cable_cutter": marked("cable cutter"),
        "clamp_meter": marked("clamp meter"),
        "crimping_tool": marked("crimping tool"),
        "deburring_tool": marked("deburring tool"),
        "fuse_puller": marked("fuse puller"),
        "heat_gun": marked("heat gun"),
        "hole_cutter": marked("hole cutter"),
        "insulated_spanner": marked("insulated spanner"),
        "multimeter": marked("multimeter"),
        "soldering_iron": marked("soldering iron"),
        "torque_wrench": marked("torque wrench"),
        "trim_lever": marked("trim lever"),
        "wire_brush": marked("wire brush"),
        "wire_stripper": marked("wire stripper"),
    }
)
# Where a conductor ends.
ENDS = _words(
    {
        text: text
        for text in (
            marked("at the feeding point"),
            marked("into the fuse holder"),
            marked("out of the fuse holder"),
            marked("at the load"),
            marked("at the loads"),
            marked("at the ground point"),
            marked("of the return, at the feeding point"),
            marked("of the return, at the load"),
            marked("of the return, at the loads"),
        )
    }
)
TERMINALS = _words(
    {
        text: text
        for text in (
            marked("ring terminal"),
            marked("tab terminal"),
            marked("ferrule"),
            marked("splice"),
            marked("soldered splice"),
        )
    }
)
READINGS = _words(
    {
        "source_voltage": marked("voltage of the source"),
        "equipment_voltage": marked("voltage at the equipment"),
        "feed_drop": marked("drop of the feed"),
        "return_drop": marked("drop of the return"),
        "source_lug_drop": marked("drop of the lug at the source"),
        "fuse_drop": marked("drop of fuse and holder"),
        "load_lug_drop": marked("drop of the lug at the load"),
        "current": marked("current"),
    }
)
STATES = _words({"rest": marked("at rest"), "load": marked("everything on")})
# Headings of a work order: the kinds of steps under each, in the order of the phases.
STAGES: tuple[tuple[str, tuple[str, ...]], ...] = (
    (marked("Make safe"), ("make_safe", "isolate", "prove_dead")),
    (marked("Open up"), ("uncover", "protect")),
    (marked("Cut and lay"), ("cut", "lay")),
    (
        marked("Make off, mount and connect"),
        (
            "terminate",
            "ground",
            "fit_holder",
            "fit_block",
            "mount",
            "connect_load",
            "signal",
            "remote",
            "tap",
            "other",
            "connect_feed",
        ),
    ),
    (marked("Test dead"), ("test_dead", "clear")),
    (marked("Fuse and test live"), ("fuse", "reconnect", "test_load")),
    (marked("Close and hand over"), ("cover", "hand_over")),
)
# What a customer has to know beside the shop; keys of the cautions of answers.
CUSTOMER_CAUTIONS = (
    "hearing",
    "mains_output",
    "combustion_heater",
    "battery_in_living_space",
    "battery_gas",
    "deep_discharge",
    "raised_idle",
    "converter_never_overloaded",
    "claim_in_bursts_only",
    "claim_conditions_unknown",
    "driver_overload",
    "near_collapse",
    "stock_out_of_date",
)
