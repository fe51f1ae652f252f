"""The answer of size-fuse as a JSON document.

What does not change from one request to the next, as the band of a type at a rating, is kept as
ready JSON in bounded memos.
"""

from functools import lru_cache
from typing import Any

import orjson

from loomwright.engineering.protection.damage import DamagePoint
from loomwright.engineering.protection.fuse_answer import (
    BandPoint,
    Bound,
    FuseAnswer,
    FuseProvenances,
    FuseTypeAnswer,
    FuseWindow,
)
from loomwright.engineering.protection.fuse_request import FuseRequest
from loomwright.engineering.protection.fuse_working import fuse_working
from loomwright.engineering.protection.selectivity import Selectivity
from loomwright.figures import KELVIN_AT_0_C, six_digits
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.load import tables
from loomwright.web.answers import ENGINE_VERSION, cautions_of, sources_of, working_of


def fuse_document(values: dict[str, Any], asked: FuseRequest, answer: FuseAnswer) -> dict[str, Any]:
    """Return the answer of size-fuse as a JSON document.

    Parameters
    ----------
    values
        Loaded request.
    asked
        The engineering request.
    answer
        Its answer.

    Returns
    -------
    dict
        As the schema ``SizeFuseAnswer`` describes.
    """
    shared = {bound.rule for bound in (*answer.window.lower_bounds, *answer.window.upper_bounds)}
    document: dict[str, Any] = {
        "verdict": answer.verdict,
        "fuse_type": answer.chosen_type,
        "rated_current_a": answer.rated_current_a,
        "window": _window(answer.window),
        "types": [_type_document(entry, shared) for entry in answer.types],
        "equivalent_continuous_current_a": six_digits(answer.equivalent_continuous_current_a),
        "loading_factor": answer.loading_factor,
        "ambient_rating_factor": six_digits(answer.ambient_rating_factor),
        "fuse_ambient_temperature_c": round(asked.ambient_temperature_k - KELVIN_AT_0_C, 3),
        "required_rated_voltage_v": answer.required_rated_voltage_v,
        "conductor": _conductor(values, asked, answer),
        "faults": _faults(answer),
        "position": _position(answer),
        "damage_curve": _damage_curve(answer.damage_curve),
        "sensitivity": None,
        "cautions": cautions_of(answer.cautions),
        "sources": _sources(answer.provenances),
        "engine_version": ENGINE_VERSION,
    }
    if values["explain"]:
        document["working"] = working_of(fuse_working(asked, answer))
    return document


def _window(window: FuseWindow) -> dict[str, Any]:
    return {
        "lower_a": six_digits(window.lower_a),
        "upper_a": six_digits(window.upper_a),
        "lower_rule": window.lower_rule,
        "upper_rule": window.upper_rule,
        "lower_bounds": [_bound(bound) for bound in window.lower_bounds],
        "upper_bounds": [_bound(bound) for bound in window.upper_bounds],
    }


def _bound(bound: Bound) -> dict[str, Any]:
    return {
        "rule": bound.rule,
        "rated_current_a": six_digits(bound.rated_current_a),
        "source": bound.provenance.source,
        "locator": bound.provenance.locator,
    }


def _type_document(answer: FuseTypeAnswer, shared: set[str]) -> dict[str, Any]:
    window = answer.window
    kind = fuse_tables().types[answer.fuse_type]
    return {
        "fuse_type": answer.fuse_type,
        "name": kind.name,
        "mounting": kind.mounting,
        "verdict": answer.verdict,
        "failures": list(answer.failures),
        "rated_current_a": answer.rated_current_a,
        "candidate_rating_a": answer.candidate_rating_a,
        "lower_a": six_digits(window.lower_a),
        "upper_a": six_digits(window.upper_a),
        "lower_rule": window.lower_rule,
        "upper_rule": window.upper_rule,
        "own_bounds": [
            _bound(bound)
            for bound in (*window.lower_bounds, *window.upper_bounds)
            if bound.rule not in shared
        ],
        "rated_voltage_v": answer.rated_voltage_v,
        "is_higher_voltage_variant": answer.is_higher_voltage_variant,
        "breaking_capacity_a": answer.breaking_capacity_a,
        "lacking_resistance_before_fuse_ohm": six_digits(answer.lacking_resistance_before_fuse_ohm),
        "greatest_rating_by_33_cfr_183_455_a": six_digits(
            answer.greatest_rating_by_33_cfr_183_455_a
        ),
        "far_end_opening": _far_end_opening(answer),
        "coordination": _coordination(answer),
        "upstream_selectivity": _selectivity(answer.upstream_selectivity),
        "equipment_selectivity": _selectivity(answer.equipment_selectivity),
        "opening_band": _opening_band(answer.band),
    }


@lru_cache(maxsize=2048)
def _opening_band(band: tuple[BandPoint, ...]) -> orjson.Fragment:
    """Return a band as JSON: the same for each request in which a type has the same rating."""
    return orjson.Fragment(
        orjson.dumps(
            [
                {
                    "current_multiple": point.current_multiple,
                    "current_a": six_digits(point.current_a),
                    "least_opening_time_s": point.least_s,
                    "greatest_opening_time_s": point.greatest_s,
                }
                for point in band
            ]
        )
    )


def _far_end_opening(answer: FuseTypeAnswer) -> dict[str, Any] | None:
    opening = answer.far_end_opening
    if opening is None:
        return None
    return {
        "current_multiple": six_digits(opening.current_multiple),
        "least_opening_time_s": six_digits(opening.least_s),
        "greatest_opening_time_s": six_digits(opening.greatest_s),
        "opens_within_s": six_digits(opening.opens_within_s),
        "state": opening.state,
        "is_cleared": opening.is_cleared,
    }


def _coordination(answer: FuseTypeAnswer) -> dict[str, Any] | None:
    coordination = answer.coordination
    if coordination is None:
        return None
    return {
        "holds": coordination.holds,
        "least_margin": six_digits(coordination.least_margin),
        "least_margin_current_a": six_digits(coordination.least_margin_current_a),
        "beyond_published_curve": coordination.beyond_published_curve,
    }


def _selectivity(found: Selectivity | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "state": found.state,
        "selective_up_to_a": six_digits(found.selective_up_to_a),
        "ended_by": found.ended_by,
    }


def _conductor(values: dict[str, Any], asked: FuseRequest, answer: FuseAnswer) -> dict[str, Any]:
    section_m2 = asked.conductor.thermal.cross_section_m2
    return {
        "size": values["size"],
        "parallel_runs": values["parallel_runs"],
        "cross_section_mm2": round(section_m2 * 1e6, 4),
        "ampacity_a": six_digits(asked.conductor.ampacity_a),
        "loop_resistance_ohm": six_digits(asked.conductor.there_and_back_resistance_ohm),
        "damage_threshold_current_a": six_digits(answer.damage_threshold_current_a),
        "initial_temperature_c": round(answer.damage_initial_temperature_k - KELVIN_AT_0_C, 3),
        "overload_temperature_c": round(answer.overload_temperature_k - KELVIN_AT_0_C, 3),
        "short_circuit_temperature_c": round(answer.short_circuit_temperature_k - KELVIN_AT_0_C, 3),
    }


def _faults(answer: FuseAnswer) -> dict[str, Any]:
    faults = answer.faults
    return {
        "near_source_fault_a": six_digits(faults.near_source_fault_a),
        "warm_near_source_fault_a": six_digits(faults.warm_near_source_fault_a),
        "far_end_fault_a": six_digits(faults.far_end_fault_a),
        "required_breaking_capacity_a": six_digits(faults.required_breaking_capacity_a),
        "interrupting_capacity_main_a": faults.interrupting_capacity_main_a,
        "interrupting_capacity_branch_a": faults.interrupting_capacity_branch_a,
        "clearing_time_s": faults.clearing_time_s,
    }


def _position(answer: FuseAnswer) -> dict[str, Any]:
    position = answer.position
    return {
        "distance_from_source_m": position.distance_from_source_m,
        "is_met": position.is_met,
        "rules": [
            {
                "rule": rule.rule,
                "greatest_distance_from_source_m": six_digits(rule.greatest_distance_m),
                "is_met": rule.is_met,
                "is_binding": rule.is_binding,
            }
            for rule in position.rules
        ],
    }


@lru_cache(maxsize=2048)
def _damage_curve(points: tuple[DamagePoint, ...]) -> orjson.Fragment:
    """Return a damage curve as JSON: the same for each request with the same conductor."""
    return orjson.Fragment(
        orjson.dumps(
            [
                {
                    "current_a": six_digits(point.current_a),
                    "damage_time_s": six_digits(point.damage_time_s),
                }
                for point in points
            ]
        )
    )


@lru_cache(maxsize=1024)
def _sources(provenances: FuseProvenances) -> orjson.Fragment:
    return sources_of(provenances.rows, tables())
