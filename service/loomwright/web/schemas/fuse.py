"""Request of size-fuse."""

from typing import Any, ClassVar

from loomwright.engineering.protection.fuse_request import PLACEMENT_RULES, ROAD_VEHICLE
from loomwright.tables.fuse_load import fuse_tables
from loomwright.units import CURRENT, LENGTH, RESISTANCE, TEMPERATURE, TIME, VOLTAGE
from loomwright.web.quantities import Flag, Key, KeyList, PlainNumber, Quantity, WholeNumber
from loomwright.web.schemas.base import (
    describe,
    exactly_one_of,
    faults_of_choice,
    faults_of_pair,
    together,
)
from loomwright.web.schemas.common import (
    RETURN_RULE,
    SIZE_KEYS,
    SYSTEM_VOLTAGES,
    ZONE_KEYS,
    ConductorFamilyFields,
    faults_of_return,
    faults_of_series,
    size_of_series,
)
from loomwright.web.schemas.sensitivity import (
    FUSE_INPUTS,
    FuseToleranceRequest,
    sensitivity_flag,
    tolerance_list,
)

FUSE_TYPE_KEYS = tuple(fuse_tables().types)


class SizeFuseRequest(ConductorFamilyFields):
    """A circuit whose fuse is chosen or checked."""

    json_schema_rules: ClassVar[tuple[dict[str, Any], ...]] = (
        exactly_one_of("source_resistance", "cold_cranking_current"),
        together("inrush_current", "inrush_time"),
        together("on_time", "off_time"),
        together("given_fuse_rating", "given_fuse_type"),
        {"dependentRequired": {"upstream_fuse_type": ["upstream_fuse_rating"]}},
        {"dependentRequired": {"equipment_fuse_type": ["equipment_fuse_rating"]}},
        size_of_series("size"),
        RETURN_RULE,
    )

    load_current = Quantity(
        CURRENT,
        0.001,
        2000.0,
        required=True,
        metadata=describe("Continuous current of the load, or its current while on."),
    )
    inrush_current = Quantity(
        CURRENT,
        0.001,
        10000.0,
        metadata=describe("Greatest starting current; with inrush_time."),
    )
    inrush_time = Quantity(
        TIME, 0.001, 60.0, metadata=describe("How long the starting current lasts.")
    )
    on_time = Quantity(
        TIME, 0.001, 86400.0, metadata=describe("Time under load in each cycle; with off_time.")
    )
    off_time = Quantity(
        TIME, 0.0, 86400.0, metadata=describe("Time without load in each cycle; with on_time.")
    )
    size = Key(SIZE_KEYS, required=True, metadata=describe("Conductor size, of the series stated."))
    parallel_runs = WholeNumber(
        1, 4, load_default=1, metadata=describe("Equal runs in parallel.", default=1)
    )
    return_path = Key(
        ("conductor", "chassis"),
        load_default="conductor",
        metadata=describe("Return by an equal conductor or by the chassis.", default="conductor"),
    )
    chassis_resistance = Quantity(
        RESISTANCE,
        0.0,
        1.0,
        metadata=describe("Resistance of the chassis return; required with return_path chassis."),
    )
    fixed_resistance = Quantity(
        RESISTANCE,
        0.0,
        1.0,
        load_default=0.0,
        metadata=describe("Joints, holder and fuse in the loop together.", default=0.0),
    )
    system_voltage = Key(
        tuple(str(voltage) for voltage in SYSTEM_VOLTAGES),
        load_default="12",
        metadata=describe("Nominal system voltage [V] as text.", default="12"),
    )
    source_voltage = Quantity(
        VOLTAGE,
        5.0,
        60.0,
        required=True,
        metadata=describe("Open-circuit voltage of the source."),
    )
    source_resistance = Quantity(
        RESISTANCE,
        0.0001,
        1.0,
        metadata=describe("Internal resistance of the source; instead of cold_cranking_current."),
    )
    cold_cranking_current = Quantity(
        CURRENT,
        10.0,
        20000.0,
        metadata=describe(
            "Cold-cranking current of the battery bank, from which the internal resistance at "
            "-18 C follows; instead of source_resistance."
        ),
    )
    cold_cranking_standard = Key(
        ("en_50342_1", "sae_j537"),
        load_default="en_50342_1",
        metadata=describe(
            "Test behind the cold-cranking current: 7.5 V for each 12 V battery after 10 s, or "
            "7.2 V after 30 s.",
            default="en_50342_1",
        ),
    )
    source_current_limit = Quantity(
        CURRENT,
        1.0,
        10000.0,
        metadata=describe("Greatest current of a converter or alternator; none for a battery."),
    )
    resistance_before_fuse = Quantity(
        RESISTANCE,
        0.0,
        1.0,
        load_default=0.0,
        metadata=describe(
            "Conductors and joints between source and fuse, with the return that a fault right "
            "behind the fuse uses.",
            default=0.0,
        ),
    )
    fuse_types = KeyList(
        FUSE_TYPE_KEYS,
        metadata=describe("Wanted fuse types in order of preference; all if absent."),
    )
    fuse_zone = Key(
        ZONE_KEYS,
        metadata=describe("Where the fuse sits; the first zone of the route if absent."),
    )
    fuse_ambient_temperature = Quantity(
        TEMPERATURE,
        -40.0,
        125.0,
        metadata=describe("Air around the fuse; overrides that of the zone."),
    )
    distance_from_source = Quantity(
        LENGTH,
        0.0,
        50.0,
        load_default=0.0,
        metadata=describe("Length of conductor between source and fuse.", default=0.0),
    )
    sheathed = Flag(
        load_default=False,
        metadata=describe("Whether that length runs in a sheath throughout.", default=False),
    )
    on_battery_terminal = Flag(
        load_default=True,
        metadata=describe("Whether that length starts at the battery terminal.", default=True),
    )
    is_main = Flag(
        load_default=True,
        metadata=describe("Whether the fuse is the first behind the source.", default=True),
    )
    placement_rules = Key(
        PLACEMENT_RULES,
        load_default=ROAD_VEHICLE,
        metadata=describe("Whose rule on the place of the fuse governs.", default=ROAD_VEHICLE),
    )
    upstream_fuse_rating = Quantity(
        CURRENT, 0.5, 1000.0, metadata=describe("Rated current of the fuse before this one.")
    )
    upstream_fuse_type = Key(
        FUSE_TYPE_KEYS, metadata=describe("Its type; with upstream_fuse_rating.")
    )
    equipment_fuse_rating = Quantity(
        CURRENT, 0.5, 1000.0, metadata=describe("Rated current of the fuse in the equipment.")
    )
    equipment_fuse_type = Key(
        FUSE_TYPE_KEYS, metadata=describe("Its type; with equipment_fuse_rating.")
    )
    given_fuse_rating = Quantity(
        CURRENT,
        0.5,
        1000.0,
        metadata=describe("A fuse to be checked instead of chosen; with given_fuse_type."),
    )
    given_fuse_type = Key(FUSE_TYPE_KEYS, metadata=describe("Its type."))
    loading_factor = PlainNumber(
        0.3,
        1.0,
        metadata=describe(
            "Greatest continuous load over rating at 23 C; 0.75 if absent (common practice)."
        ),
    )
    clearing_time = Quantity(
        TIME,
        0.01,
        60.0,
        metadata=describe("Time in which a fault at the far end must be cleared; 5 s if absent."),
    )
    rating_may_exceed_ampacity = Flag(
        load_default=False,
        metadata=describe(
            "Look at ratings up to the limit of 33 CFR 183.455(c); the conductor must still be "
            "protected thermally.",
            default=False,
        ),
    )
    selectivity_required = Flag(
        load_default=False,
        metadata=describe("Require selectivity with the upstream fuse.", default=False),
    )
    rating_may_be_below_equipment_fuse = Flag(
        load_default=False,
        metadata=describe("Allow a rating below that of the equipment's fuse.", default=False),
    )
    breaking_capacity_may_be_exceeded = Flag(
        load_default=False,
        metadata=describe(
            "Only caution where the near-source fault exceeds the breaking capacity.",
            default=False,
        ),
    )
    explain = Flag(
        load_default=False, metadata=describe("Add the working, step by step.", default=False)
    )
    sensitivity = sensitivity_flag()
    tolerances = tolerance_list(FuseToleranceRequest, len(FUSE_INPUTS))

    def faults_between(
        self, values: dict[str, Any], document: dict[str, Any]
    ) -> list[tuple[str, str]]:
        """Name every fault between fields."""
        found = [
            *super().faults_between(values, document),
            *faults_of_choice(
                document, "source_resistance", "cold_cranking_current", required=True
            ),
            *faults_of_pair(document, "inrush_current", "inrush_time"),
            *faults_of_pair(document, "on_time", "off_time"),
            *faults_of_pair(document, "given_fuse_rating", "given_fuse_type"),
            *faults_of_return(values, document),
            *faults_of_series(values, "size"),
        ]
        for place in ("upstream", "equipment"):
            if f"{place}_fuse_type" in document and f"{place}_fuse_rating" not in document:
                found.append((f"{place}_fuse_rating", f"give it with {place}_fuse_type"))
        return found
