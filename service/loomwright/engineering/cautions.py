"""The cautions that answers carry, by key; each text stands alone."""

from types import MappingProxyType

CAUTIONS = MappingProxyType(
    {
        "defer_to_maker": (
            "The vehicle maker's instructions, the equipment's manual, local codes and licensed "
            "practice come before these figures."
        ),
        "isolate_battery": (
            "Isolate the battery as the vehicle maker describes before work; fit the fuse last."
        ),
        "fuse_at_source": (
            "Fuse the positive conductor as near the source as practicable; the fuse protects the "
            "conductor, not the equipment."
        ),
        "fuse_not_above_conductor": "Never fit a fuse larger than the conductor can bear.",
        "high_voltage": (
            "Keep away from orange high-voltage cables and their connectors; only trained people "
            "may open a high-voltage system."
        ),
        "airbag": "Keep conductors and probes away from airbag and seat-belt tensioner circuits.",
        "moving_and_hot_parts": (
            "Route clear of exhaust, moving and sharp parts; protect every pass through metal."
        ),
        "engine_bay_heat": (
            "A conductor in the engine compartment meets heat and fluids: use insulation made for "
            "it and keep clear of the exhaust."
        ),
        "copper_clad": (
            "Copper-clad aluminium has more resistance than copper of equal section and needs "
            "terminals made for it; never take its gauge number for a copper one."
        ),
        "aluminium": (
            "Aluminium needs terminals, compound and torque made for it; keep it out of wet places."
        ),
        "parallel_runs": (
            "Parallel runs must be equal in length, size and terminal, and each needs protection "
            "that clears a fault in one run."
        ),
        "chassis_return": (
            "Ground to bare, clean metal at a point the vehicle maker allows; measure the drop of "
            "the return under load."
        ),
        "near_collapse": (
            "The load takes more than half of what the circuit can deliver at all; small faults "
            "will let the voltage collapse."
        ),
        "figures_from_memory": (
            "Some figures rest on values recalled, not seen in the published table; the sources "
            "say which."
        ),
        "outside_published_curve": (
            "Part of the time-current curve is not published; nothing is claimed there."
        ),
        "hearing": (
            "Sound at these levels damages hearing within minutes; set gains with ear protection "
            "and inform the customer."
        ),
        "amplifier_heat": "Leave free air around the amplifier for the heat stated.",
        "short_bursts": (
            "A fuse carries short bursts above its rating; do not size conductors on that."
        ),
    }
)
