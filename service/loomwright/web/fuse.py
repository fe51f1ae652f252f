"""The operation size-fuse."""

from typing import Any

from flask import Blueprint

from loomwright.engineering.conductors.choice import ConductorRequest
from loomwright.engineering.conductors.sizing import loop_resistance_at_current_ohm
from loomwright.engineering.protection.faults import (
    FaultSource,
    internal_resistance_from_en_cold_cranking_ohm,
    internal_resistance_from_sae_cold_cranking_ohm,
)
from loomwright.engineering.protection.fuse_request import (
    FuseLoad,
    FuseOptions,
    FusePlacement,
    FuseRequest,
    GivenFuse,
    ProtectedConductor,
)
from loomwright.engineering.protection.fuse_selection import size_fuse
from loomwright.engineering.protection.protected_conductor import protected_candidate
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Tables
from loomwright.web.calculators import calculator
from loomwright.web.fuse_document import fuse_document
from loomwright.web.route import DEFAULT_ZONE, request_fields, segments_of
from loomwright.web.schemas.fuse import SizeFuseRequest
from loomwright.web.sensitivity import fuse_sensitivity

NOMINAL_BATTERY_V = 12.0
# The engineering's names of what the request calls otherwise.
FIELDS = {
    "emf_v": "source_voltage",
    "internal_resistance_ohm": "source_resistance",
    "ambient_temperature_k": "fuse_ambient_temperature",
    "continuous_current_a": "load_current",
    "inrush_current_a": "inrush_current",
    "checked_fuse": "given_fuse_type",
}

blueprint = Blueprint("fuse", __name__)


@calculator(blueprint, "size-fuse", SizeFuseRequest())
def size_fuse_answer(values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of size-fuse to loaded values."""
    with request_fields(values, FIELDS):
        asked = fuse_request(values, tables())
        answer = size_fuse(asked, fuse_tables())
    document = fuse_document(values, asked, answer)
    if values["sensitivity"]:
        document["sensitivity"] = fuse_sensitivity(values, answer, tables(), fuse_request)
    return document


def fuse_request(values: dict[str, Any], known: Tables) -> FuseRequest:
    """Return the engineering request of loaded values, with the conductor at its load.

    Parameters
    ----------
    values
        Loaded under ``SizeFuseRequest``.
    known
        The tables.

    Returns
    -------
    FuseRequest
        In coherent SI.

    Raises
    ------
    EngineeringError
        The circuit lies outside the models.
    """
    return FuseRequest(
        load=FuseLoad(
            continuous_current_a=values["load_current"],
            inrush_current_a=values.get("inrush_current"),
            inrush_duration_s=values.get("inrush_time"),
            on_time_s=values.get("on_time"),
            off_time_s=values.get("off_time"),
        ),
        conductor=_protected_conductor(values, known),
        source=_source(values),
        system_voltage_v=float(values["system_voltage"]),
        ambient_temperature_k=_fuse_ambient_k(values, known),
        fuse_types=tuple(values.get("fuse_types", ())),
        placement=FusePlacement(
            distance_from_source_m=values["distance_from_source"],
            sheathed=values["sheathed"],
            on_battery_terminal=values["on_battery_terminal"],
            is_main=values["is_main"],
            rules=values["placement_rules"],
        ),
        upstream_fuse=_given_fuse(values, "upstream"),
        equipment_fuse=_given_fuse(values, "equipment"),
        options=FuseOptions(
            loading_factor=values.get("loading_factor"),
            clearing_time_s=values.get("clearing_time"),
            rating_may_exceed_ampacity=values["rating_may_exceed_ampacity"],
            selectivity_required=values["selectivity_required"],
            rating_may_be_below_equipment_fuse=values["rating_may_be_below_equipment_fuse"],
            breaking_capacity_may_be_exceeded=values["breaking_capacity_may_be_exceeded"],
        ),
        checked_fuse=_given_fuse(values, "given"),
    )


def _protected_conductor(values: dict[str, Any], known: Tables) -> ProtectedConductor:
    wanted = _conductor_request(values, known)
    # One size makes one candidate for each number of runs.
    index = values["parallel_runs"] - 1
    frame, loop_resistance_ohm = loop_resistance_at_current_ohm(wanted, index, known)
    return protected_candidate(wanted, frame, index, loop_resistance_ohm, known)


def _conductor_request(values: dict[str, Any], known: Tables) -> ConductorRequest:
    size = known.conductors[values["size"]]
    supply = values["source_voltage"]
    return ConductorRequest(
        sizes=(size,),
        material=known.materials[values["material"]],
        insulation=known.insulations[values["insulation"]],
        supply_voltage_v=supply,
        allowed_voltage_drop_v=supply,
        segments=segments_of(values, known),
        load_current_a=values["load_current"],
        return_by_conductor=values["return_path"] == "conductor",
        chassis_resistance_ohm=values.get("chassis_resistance", 0.0),
        fixed_resistance_ohm=values["fixed_resistance"],
        on_time_s=values.get("on_time"),
        off_time_s=values.get("off_time"),
        given_size=size,
        given_parallel_runs=values["parallel_runs"],
    )


def _source(values: dict[str, Any]) -> FaultSource:
    emf = values["source_voltage"]
    cranking = values.get("cold_cranking_current")
    if cranking is None:
        resistance: float = values["source_resistance"]
    else:
        batteries = round(float(values["system_voltage"]) / NOMINAL_BATTERY_V)
        from_test = (
            internal_resistance_from_sae_cold_cranking_ohm
            if values["cold_cranking_standard"] == "sae_j537"
            else internal_resistance_from_en_cold_cranking_ohm
        )
        resistance = from_test(emf, cranking, batteries)
    return FaultSource(
        emf_v=emf,
        internal_resistance_ohm=resistance,
        resistance_before_fuse_ohm=values["resistance_before_fuse"],
        current_limit_a=values.get("source_current_limit"),
        cold_cranking_a=cranking,
        internal_resistance_is_cold=cranking is not None,
    )


def _fuse_ambient_k(values: dict[str, Any], known: Tables) -> float:
    stated = values.get("fuse_ambient_temperature")
    if stated is not None:
        return float(stated)
    if "fuse_zone" in values:
        return known.zones[values["fuse_zone"]].ambient_temperature_k
    first = values["route"][0] if "route" in values else values
    if "ambient_temperature" in first:
        return float(first["ambient_temperature"])
    return known.zones[first.get("zone", DEFAULT_ZONE)].ambient_temperature_k


def _given_fuse(values: dict[str, Any], place: str) -> GivenFuse | None:
    rating = values.get(f"{place}_fuse_rating")
    return None if rating is None else GivenFuse(rating, values.get(f"{place}_fuse_type"))
