"""The operation estimate-real-output."""

from functools import lru_cache
from typing import Any

import orjson
from flask import Blueprint

from loomwright.engineering.audio.output_answer import OutputEstimate
from loomwright.engineering.audio.output_estimate import output_estimate
from loomwright.engineering.audio.output_request import DEFAULT_PROGRAMME, OutputRequest
from loomwright.engineering.audio.output_words import (
    BURST_BOUNDS,
    RERATINGS,
    VERDICTS,
    bound_reason,
)
from loomwright.engineering.audio.output_working import output_working
from loomwright.figures import six_digits
from loomwright.tables.audio_load import audio_tables
from loomwright.tables.load import tables
from loomwright.tables.records import Provenance
from loomwright.web.answers import ENGINE_VERSION, cautions_of, sources_of, working_of
from loomwright.web.calculators import calculator
from loomwright.web.route import request_fields
from loomwright.web.schemas.output import EstimateRealOutputRequest
from loomwright.web.sensitivity import output_sensitivity

FIELDS = {
    "fuse_ratings_a": "fuse_ratings",
    "supply_voltage_v": "supply_voltage",
    "source_resistance_ohm": "source_resistance",
    "claimed_output_total_w": "claimed_output",
}

blueprint = Blueprint("output", __name__)


@calculator(blueprint, "estimate-real-output", EstimateRealOutputRequest())
def estimate_real_output_answer(values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of estimate-real-output to loaded values."""
    with request_fields(values, FIELDS):
        asked = output_request(values)
        estimate = output_estimate(asked)
    document = output_document(values, asked, estimate)
    if values["sensitivity"]:
        document["sensitivity"] = output_sensitivity(values, asked, tables(), output_request)
    return document


def output_request(values: dict[str, Any]) -> OutputRequest:
    """Return the engineering request of loaded values.

    Parameters
    ----------
    values
        Loaded under ``EstimateRealOutputRequest``.

    Returns
    -------
    OutputRequest
        In coherent SI.
    """
    known = audio_tables()
    programme = values.get("programme")
    if programme is None and "crest_factor_db" not in values:
        programme = DEFAULT_PROGRAMME
    return OutputRequest(
        fuse_ratings_a=tuple(values.get("fuse_ratings") or (values["fuse_rating"],)),
        amplifier_class=known.amplifier_classes[values["amplifier_class"]],
        load_impedance_ohm=values["load_impedance"],
        bridged=values["bridged"],
        converter=values["converter"],
        channels=float(values["channels"]),
        supply_voltage_v=values.get("supply_voltage"),
        source_emf_v=values.get("source_voltage"),
        source_resistance_ohm=values.get("source_resistance"),
        route_resistance_ohm=values.get("route_resistance"),
        measured_efficiency=values.get("measured_efficiency"),
        claimed_output_total_w=values.get("claimed_output"),
        claimed_output_per_channel_w=values.get("claimed_output_per_channel"),
        claim_supply_voltage_v=values.get("claim_supply_voltage"),
        claim_load_impedance_ohm=values.get("claim_load_impedance"),
        crest_factor_db=values.get("crest_factor_db"),
        programme=None if programme is None else known.programmes[programme],
        loudspeaker_sensitivity_db=values.get("loudspeaker_sensitivity_db"),
        listening_distance_m=values["listening_distance"],
    )


def output_document(
    values: dict[str, Any], asked: OutputRequest, estimate: OutputEstimate
) -> dict[str, Any]:
    """Return the answer of estimate-real-output as a JSON document.

    Parameters
    ----------
    values
        Loaded request.
    asked
        The engineering request.
    estimate
        Its answer.

    Returns
    -------
    dict
        As the schema ``EstimateRealOutputAnswer`` describes.
    """
    document: dict[str, Any] = {
        "verdict": estimate.claim_verdict or "output_estimated",
        "input": {
            "fuse_rating_total_a": six_digits(estimate.fuse_rating_total_a),
            "supply_voltage_v": six_digits(estimate.supply_voltage_v),
            "ceiling_w": six_digits(estimate.input_ceiling_w),
            "ceiling_overload_w": six_digits(estimate.input_ceiling_overload_w),
            "ceiling_burst_w": six_digits(estimate.input_ceiling_burst_w),
        },
        "efficiency": {
            "low": six_digits(estimate.efficiency_low),
            "likely": six_digits(estimate.efficiency_likely),
            "high": six_digits(estimate.efficiency_high),
            "limit": six_digits(estimate.efficiency_limit),
        },
        "low": _bound("low", estimate.output_low_w, estimate.low_bound),
        "likely": _bound("likely", estimate.output_likely_w, estimate.likely_bound),
        "high": _bound("high", estimate.output_high_w, estimate.high_bound),
        "output_limit_w": six_digits(estimate.output_limit_w),
        "likely_output_per_channel_w": six_digits(estimate.output_likely_per_channel_w),
        "burst": {
            "power_w": six_digits(estimate.output_burst_w),
            "bound": estimate.burst_bound,
            "reason": BURST_BOUNDS[str(estimate.burst_bound)],
        },
        "rail": _rail(estimate),
        "claim": _claim(estimate),
        "programme": {
            "crest_factor_db": six_digits(estimate.crest_factor_db),
            "power_fraction": six_digits(estimate.programme_power_fraction),
            "output_w": six_digits(estimate.programme_output_w),
        },
        "draw": _draw(estimate),
        "heat": {
            "full_sine_heat_w": six_digits(estimate.full_sine_heat_w),
            "programme_heat_w": six_digits(estimate.programme_heat_w),
        },
        "gain_setting_voltage_v": six_digits(estimate.gain_setting_voltage_v),
        "cta_2006": {
            "output_per_channel_w": six_digits(estimate.cta_2006_output_per_channel_w),
            "claim_per_channel_w": six_digits(estimate.cta_2006_claim_per_channel_w),
            "rerating": estimate.cta_2006_rerating,
            "rerating_reason": RERATINGS[estimate.cta_2006_rerating],
            "bound": estimate.cta_2006_bound,
        },
        "sound": _sound(estimate),
        "sensitivity": None,
        "cautions": cautions_of(estimate.cautions),
        "sources": _sources(estimate.provenances),
        "engine_version": ENGINE_VERSION,
    }
    if values["explain"]:
        document["working"] = working_of(output_working(asked, estimate))
    return document


def _bound(name: str, power_w: Any, key: Any) -> dict[str, Any]:
    return {"power_w": six_digits(power_w), "bound": key, "reason": bound_reason(name, key)}


def _rail(estimate: OutputEstimate) -> dict[str, Any] | None:
    if estimate.rail_limited_output_w is None:
        return None
    return {
        "sine_output_w": six_digits(estimate.rail_limited_output_w),
        "sine_output_per_channel_w": six_digits(estimate.rail_limited_output_per_channel_w),
        "square_wave_output_per_channel_w": six_digits(
            estimate.rail_limited_square_wave_output_per_channel_w
        ),
    }


def _claim(estimate: OutputEstimate) -> dict[str, Any] | None:
    if estimate.claim_verdict is None:
        return None
    return {
        "verdict": estimate.claim_verdict,
        "reason": VERDICTS[str(estimate.claim_verdict)],
        "claimed_output_w": six_digits(estimate.claimed_output_w),
        "claimed_output_here_w": six_digits(estimate.claimed_output_here_w),
        "claim_above_likely_db": six_digits(estimate.claim_above_likely_db),
        "claim_above_high_db": six_digits(estimate.claim_above_high_db),
    }


def _draw(estimate: OutputEstimate) -> dict[str, Any]:
    return {
        "full_sine_current_a": six_digits(estimate.full_sine_current_a),
        "full_sine_current_at_high_a": six_digits(estimate.full_sine_current_at_high_a),
        "programme_current_a": six_digits(estimate.programme_current_a),
        "eighth_power_current_a": six_digits(estimate.eighth_power_current_a),
        "third_power_current_a": six_digits(estimate.third_power_current_a),
        "idle_current_a": six_digits(estimate.idle_current_a),
        "full_sine_input_w": six_digits(estimate.full_sine_input_w),
        "programme_input_w": six_digits(estimate.programme_input_w),
        "full_sine_route_loss_w": six_digits(estimate.full_sine_route_loss_w),
    }


def _sound(estimate: OutputEstimate) -> dict[str, Any] | None:
    if estimate.sound_pressure_level_db is None:
        return None
    return {
        "level_db": six_digits(estimate.sound_pressure_level_db),
        "programme_level_db": six_digits(estimate.programme_sound_pressure_level_db),
        "permitted_exposure_s": six_digits(estimate.permitted_exposure_s),
    }


@lru_cache(maxsize=1024)
def _sources(provenances: tuple[Provenance, ...]) -> orjson.Fragment:
    return sources_of(provenances, tables())
