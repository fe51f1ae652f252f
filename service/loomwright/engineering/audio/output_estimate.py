"""What an amplifier can really put out, what it draws, and what its claim is worth.

``output_bounds`` says what ends the output; here the draw, the heat, the level and the verdict on
the claim follow from it.
"""

from dataclasses import dataclass

import numpy as np

from loomwright.engineering.audio.amplifiers import (
    CTA_2006_LOAD_IMPEDANCE_OHM,
    CTA_2006_SUPPLY_VOLTAGE_V,
    gain_setting_voltage_v,
    heat_w,
    input_power_w,
    loss_model,
    rail_limited_output_w,
    rail_limited_square_wave_output_w,
    rerated_output_w,
)
from loomwright.engineering.audio.levels import power_level_db, programme_power_fraction
from loomwright.engineering.audio.loudspeakers import (
    EXPOSURE_LIMIT_DB,
    permitted_exposure_s,
    sound_pressure_level_in_free_field_db,
)
from loomwright.engineering.audio.output_answer import OutputEstimate
from loomwright.engineering.audio.output_bounds import (
    FUSE_BURST,
    FUSE_OVERLOAD,
    TIE,
    OutputBound,
    OutputBounds,
    OutputCircuit,
    input_at_current_w,
    output_bounds,
)
from loomwright.engineering.audio.output_request import (
    OutputRequest,
    check_output_request,
    claim_of_request,
    crest_factor_of_request_db,
    efficiencies_of_request,
    fuse_rating_total_a,
    source_of_request,
)
from loomwright.engineering.elementwise import (
    Flag,
    Key,
    chosen_key,
    holds_anywhere,
    lesser,
)
from loomwright.engineering.network.operating_point import Number, constant_power_operating_point
from loomwright.tables.records import Provenance

CTA_2006_GREATEST_SUPPLY_VOLTAGE_V = 16.0
CTA_2006_LEAST_OUTPUT_W = 5.0

CTA_2006 = Provenance("cta_2006", "primary rating: 14.4 V, 4 ohm, 1 % THD+N", "page")
FUSE_OVERLOAD_LIMITS = Provenance("iso_8820_3", "operating times, types C and F", "memory")
NIOSH_LIMIT = Provenance("niosh_98_126", "section 1.1, recommended exposure limit", "memory")
EIGHTH_POWER = Provenance("cfr_16_432", "432.3(c), preconditioning at 1/8 of rated power", "page")
THIRD_POWER = Provenance("pro_audio_convention", "current-draw tables, 1/3 of full power", "memory")


@dataclass(frozen=True, slots=True)
class _Played:
    """What is played and claimed."""

    crest_factor_db: Number
    power_fraction: Number
    claim_w: Number | None
    claim_here_w: Number | None


@dataclass(frozen=True, slots=True)
class _Draw:
    """Currents at the drive levels that matter, and the supply voltage at the likely output."""

    supply_voltage_v: Number
    full_sine_a: Number
    at_high_a: Number
    programme_a: Number
    eighth_power_a: Number
    third_power_a: Number
    idle_a: Number


def output_estimate(request: OutputRequest) -> OutputEstimate:
    """Estimate what an amplifier can really put out, and what it draws.

    Steady state. The fuse tells the size of the amplifier: its likely output is taken as its full
    drive. Onset of clipping is taken as 1 % THD+N. Resistive loads at nominal impedance. With a
    source and route, currents are those of a constant-power load behind their resistance, and each
    bound sees the voltage at its own current.

    Parameters
    ----------
    request
        Amplifier, supply, load, claim and programme.

    Returns
    -------
    OutputEstimate
        Bounds with reasons, claim verdict, currents, heat, normalised figure, cautions.

    Raises
    ------
    EngineeringError
        As ``check_output_request`` raises.

    Notes
    -----
    ``low``, ``likely`` and ``high`` are ``eta * I (E - I R)`` with the fuse loaded to the share
    that the class's row gives (low, likely) or in full (high), never past the greatest power that
    source and route deliver; without a converter at most ``k**2 U**2 / (2 R)`` per bridged channel.
    The claim caps low and likely, not high.
    """
    check_output_request(request)
    emf_v, resistance_ohm = source_of_request(request)
    circuit = OutputCircuit(
        fuse_a=fuse_rating_total_a(request),
        emf_v=emf_v,
        resistance_ohm=resistance_ohm,
        rail_output_per_v2=None
        if request.converter != "none"
        else request.channels
        * rail_limited_output_w(1.0, request.load_impedance_ohm, bridged=request.bridged),
    )
    efficiencies = efficiencies_of_request(request)
    crest_factor = crest_factor_of_request_db(request)
    fraction = programme_power_fraction(crest_factor)
    claim = claim_of_request(request)
    claim_here = None if claim is None else _claim_here_w(request, claim, emf_v)
    bounds = output_bounds(request.amplifier_class, circuit, efficiencies, fraction, claim_here)
    return _estimate(
        request, circuit, efficiencies, bounds, _Played(crest_factor, fraction, claim, claim_here)
    )


def _claim_here_w(request: OutputRequest, claim_w: Number, emf_v: Number) -> Number:
    # The open-circuit voltage stands for the supply, in favour of the claim.
    claim_v = request.claim_supply_voltage_v
    claim_ohm = request.claim_load_impedance_ohm
    return rerated_output_w(
        claim_w,
        1.0 if claim_v is None else emf_v / claim_v,
        1.0 if claim_ohm is None else claim_ohm / request.load_impedance_ohm,
        rail_follows_supply=request.converter != "regulated",
    )


def _draw(circuit: OutputCircuit, input_powers_w: tuple[Number, ...]) -> _Draw:
    """Return currents at full sine, high estimate, programme, 1/8, 1/3 and idle power."""
    if not isinstance(circuit.resistance_ohm, np.ndarray) and circuit.resistance_ohm == 0.0:
        return _Draw(circuit.emf_v, *(power / circuit.emf_v for power in input_powers_w))
    emf, resistance = circuit.emf_v, circuit.resistance_ohm
    if any(isinstance(number, np.ndarray) for number in (*input_powers_w, emf, resistance)):
        *spread, emf, resistance = np.broadcast_arrays(*input_powers_w, emf, resistance)
        powers = np.stack(spread)
    else:
        powers = np.array(input_powers_w)
    # The short-circuit current of next to no resistance is out of range and plays no part.
    with np.errstate(over="ignore"):
        point = constant_power_operating_point(powers, emf, resistance)
    currents = np.asarray(point.load_current_a)
    voltages = np.asarray(point.load_voltage_v)
    if currents.ndim == 1:
        return _Draw(float(voltages[0]), *currents.tolist())
    return _Draw(voltages[0], *currents)


def _estimate(
    request: OutputRequest,
    circuit: OutputCircuit,
    efficiencies: tuple[Number, Number, Number, Number],
    bounds: OutputBounds,
    played: _Played,
) -> OutputEstimate:
    # One flat record of the answer: longer than the house rule, and without a branch.
    low, likely, high, limit = efficiencies
    model = loss_model(request.amplifier_class, likely)
    full = bounds.likely.output_w
    channels, ohm = request.channels, request.load_impedance_ohm
    programme_w = played.power_fraction * full
    programme_input = input_power_w(model, programme_w, full)
    full_input = input_power_w(model, full, full)
    draw = _draw(
        circuit,
        (
            full_input,
            bounds.high.output_w / high,
            programme_input,
            input_power_w(model, 0.125 * full, full),
            input_power_w(model, full / 3.0, full),
            model.idle * full,
        ),
    )
    ceiling, ceiling_limited = input_at_current_w(circuit, circuit.fuse_a)
    cta = _cta_2006(request, circuit, likely, full / channels, draw.supply_voltage_v)
    sound = _sound(request, full, programme_w)
    claim = played.claim_here_w
    return OutputEstimate(
        fuse_rating_total_a=circuit.fuse_a,
        supply_voltage_v=draw.supply_voltage_v,
        input_ceiling_w=ceiling,
        input_ceiling_overload_w=input_at_current_w(circuit, FUSE_OVERLOAD * circuit.fuse_a)[0],
        input_ceiling_burst_w=input_at_current_w(circuit, FUSE_BURST * circuit.fuse_a)[0],
        efficiency_low=low,
        efficiency_likely=likely,
        efficiency_high=high,
        efficiency_limit=limit,
        output_low_w=bounds.low.output_w,
        output_likely_w=full,
        output_high_w=bounds.high.output_w,
        output_limit_w=bounds.limit_w,
        output_burst_w=bounds.burst.output_w,
        output_likely_per_channel_w=full / channels,
        low_bound=bounds.low.key,
        likely_bound=bounds.likely.key,
        high_bound=bounds.high.key,
        burst_bound=bounds.burst.key,
        rail_limited_output_w=bounds.rail_w,
        rail_limited_output_per_channel_w=None
        if bounds.rail_w is None
        else bounds.rail_w / channels,
        rail_limited_square_wave_output_per_channel_w=None
        if bounds.rail_w is None
        else rail_limited_square_wave_output_w(circuit.emf_v, ohm, bridged=request.bridged),
        claimed_output_w=played.claim_w,
        claimed_output_here_w=claim,
        claim_verdict=None if claim is None else _verdict(claim, bounds),
        claim_above_likely_db=None if claim is None else power_level_db(claim / full),
        claim_above_high_db=None if claim is None else power_level_db(claim / bounds.high.output_w),
        crest_factor_db=played.crest_factor_db,
        programme_power_fraction=played.power_fraction,
        full_sine_input_w=full_input,
        programme_input_w=programme_input,
        programme_output_w=programme_w,
        full_sine_heat_w=heat_w(model, full, full),
        programme_heat_w=heat_w(model, programme_w, full),
        full_sine_route_loss_w=draw.full_sine_a * draw.full_sine_a * circuit.resistance_ohm,
        full_sine_current_a=draw.full_sine_a,
        full_sine_current_at_high_a=draw.at_high_a,
        programme_current_a=draw.programme_a,
        eighth_power_current_a=draw.eighth_power_a,
        third_power_current_a=draw.third_power_a,
        idle_current_a=draw.idle_a,
        gain_setting_voltage_v=gain_setting_voltage_v(full / channels, ohm),
        cta_2006_output_per_channel_w=cta.output_w,
        cta_2006_claim_per_channel_w=_cta_2006_claim_w(request, played.claim_w),
        cta_2006_rerating="none_regulated"
        if request.converter == "regulated"
        else "square_of_supply_voltage",
        cta_2006_bound=cta.key,
        sound_pressure_level_db=sound[0],
        programme_sound_pressure_level_db=sound[1],
        permitted_exposure_s=None if sound[1] is None else permitted_exposure_s(sound[1]),
        loss_model=model,
        cautions=_cautions(request, circuit, bounds, played, ceiling_limited, sound[1], full),
        provenances=_provenances(request),
    )


def _verdict(claim_w: Number, bounds: OutputBounds) -> Key:
    # A claim that equals a bound belongs below it, whatever the last digit of the product says.
    slack = 1.0 + 1e-9
    beyond = chosen_key(claim_w <= bounds.limit_w * slack, "doubtful", "impossible")
    return chosen_key(claim_w <= bounds.high.output_w * slack, "plausible", beyond)


def _cta_2006(
    request: OutputRequest,
    circuit: OutputCircuit,
    efficiency: Number,
    per_channel_w: Number,
    supply_voltage_v: Number,
) -> OutputBound:
    """Return the likely output of a channel at 14.4 V at its terminals into 4 ohm."""
    rerated = rerated_output_w(
        per_channel_w,
        CTA_2006_SUPPLY_VOLTAGE_V / supply_voltage_v,
        request.load_impedance_ohm / CTA_2006_LOAD_IMPEDANCE_OHM,
        rail_follows_supply=request.converter != "regulated",
    )
    by_fuse = (
        efficiency
        * request.amplifier_class.fuse_loading_likely
        * circuit.fuse_a
        * CTA_2006_SUPPLY_VOLTAGE_V
        / request.channels
    )
    # At 14.4 V and 4 ohm a fuse that ends the output gives both; rounding must not choose.
    ends = by_fuse < rerated * (1.0 - TIE)
    return OutputBound(
        lesser(rerated, by_fuse), chosen_key(ends, "fuse_and_efficiency", "rail_voltage")
    )


def _cta_2006_claim_w(request: OutputRequest, claim_w: Number | None) -> Number | None:
    volt, ohm = request.claim_supply_voltage_v, request.claim_load_impedance_ohm
    if claim_w is None or volt is None or ohm is None:
        return None
    return rerated_output_w(
        claim_w / request.channels,
        CTA_2006_SUPPLY_VOLTAGE_V / volt,
        ohm / CTA_2006_LOAD_IMPEDANCE_OHM,
        rail_follows_supply=request.converter != "regulated",
    )


def _sound(
    request: OutputRequest, full_w: Number, programme_w: Number
) -> tuple[Number, Number] | tuple[None, None]:
    sensitivity, distance = request.loudspeaker_sensitivity_db, request.listening_distance_m
    if sensitivity is None:
        return None, None
    return (
        sound_pressure_level_in_free_field_db(sensitivity, full_w, distance),
        sound_pressure_level_in_free_field_db(sensitivity, programme_w, distance),
    )


def _cautions(
    request: OutputRequest,
    circuit: OutputCircuit,
    bounds: OutputBounds,
    played: _Played,
    source_limited: Flag,
    programme_level_db: Number | None,
    full_w: Number,
) -> tuple[str, ...]:
    found = ["common_practice_factors", "amplifier_heat"]
    claim = played.claim_here_w
    if claim is not None:
        if request.claim_supply_voltage_v is None or request.claim_load_impedance_ohm is None:
            found.append("claim_conditions_unknown")
        in_bursts = (claim > bounds.limit_w) & (claim <= bounds.burst.output_w)
        if holds_anywhere(in_bursts):
            found.append("claim_in_bursts_only")
    if holds_anywhere(source_limited):
        found.append("source_limits_output")
    if holds_anywhere(circuit.emf_v > CTA_2006_GREATEST_SUPPLY_VOLTAGE_V) or holds_anywhere(
        full_w <= CTA_2006_LEAST_OUTPUT_W
    ):
        found.append("outside_cta_2006_scope")
    if programme_level_db is not None:
        found.append("free_field_level")
        if holds_anywhere(programme_level_db > EXPOSURE_LIMIT_DB):
            found.append("hearing")
    return tuple(found)


def _provenances(request: OutputRequest) -> tuple[Provenance, ...]:
    kind = request.amplifier_class
    found = [kind.practice_provenance, FUSE_OVERLOAD_LIMITS, CTA_2006, EIGHTH_POWER, THIRD_POWER]
    if request.measured_efficiency is None:
        found.insert(0, kind.provenance)
    if request.programme is not None:
        found.append(request.programme.provenance)
    if request.loudspeaker_sensitivity_db is not None:
        found.append(NIOSH_LIMIT)
    return tuple(dict.fromkeys(found))
